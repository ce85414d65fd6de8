"""Records: the append-only log of one walk, complete in itself.

A record is a text file of JSON lines. Each line is one event in its envelope and ends with a SHA-256 over the
previous line's hash and this line's own bytes, so a changed, lost, added or moved line shows::

    {"n":7,"at":"2026-05-12T18:03:11.250412Z","event":{"is":"read",...},"hash":"<64 hex digits>"}

The first line's event is always ``began``. A crash can leave a torn last line, and only that; it is set aside in a
file of its own and never dropped in silence.
"""
