"""Which search looks for what.

Each has a module with a generator ``search(state, step, trail)``; see :mod:`bench.walk.adviser` for how one is written.
"""

from __future__ import annotations

from importlib import import_module
from typing import Final

from bench.sequence.file import Find
from bench.walk.adviser import Adviser, Begin

SEARCHES: Final[dict[Find, str]] = {
    "conductors": "bench.diagnose.identify.search",
    "crosses": "bench.diagnose.apart.search",
    "landings": "bench.diagnose.explain.landings",
    "isolation": "bench.diagnose.apart.search",
    "second-path": "bench.diagnose.earth.search",
    "supply-fault": "bench.diagnose.supply.search",
}
"""What is looked for to the module that looks; loaded when a search begins, since some load a solver."""


def search_for(find: Find) -> Begin:
    """The search that looks for something."""
    begin: Begin = import_module(SEARCHES[find]).search
    return begin


def adviser() -> Adviser:
    """Somebody to ask for all searches of one walk."""
    return Adviser(search_for)
