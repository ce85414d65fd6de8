"""Proveout: prove a rebuilt plant wire by wire, and bring it to its first power."""

__version__ = "0.1.0"
