"""The runner: the one process that owns the ports and the open record, and keeps outputs safe.

Screens are clients. They fold the record as it grows and send answers; a dead screen is only a dead screen.
"""
