"""Proveout: prove a rebuilt plant wire by wire, and bring it to its first power."""

__version__: str = "0.1.0"
