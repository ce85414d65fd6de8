"""Proveout: prove a rebuilt plant wire by wire, and bring it to its first power.

For scripts and notebooks: ``from bench import open_job, open_record, open_meter, expected_resistance``; see
docs/library.md. They are loaded when they are first asked for, so that the command line answers at once; their types
stand in the stub beside this file.
"""

__version__ = "0.1.0"

__all__ = ["__version__", "expected_resistance", "open_job", "open_meter", "open_record"]


def __getattr__(name: str) -> object:
    if name in __all__:
        import importlib

        return getattr(importlib.import_module("bench.library"), name)
    raise AttributeError(f"module 'bench' has no attribute '{name}'")
