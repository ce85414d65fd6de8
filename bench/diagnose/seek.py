"""What a search wants next: the one door from a walk to the rooms that diagnose.

A walk that is in a search holds the trail of what was asked for and what came of it. Each kind of search has a module
with a function ``wanted(state, step, trail)`` that works the next act, reading or finding out from that alone; it is
pure, and the same trail always leads to the same answer.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Final

from bench.diagnose.diagnose_error import DiagnoseError
from bench.sequence.file import Find, Found, Seek
from bench.sequence.plan import Step
from bench.walk.events import Advised
from bench.walk.seeking import Link
from bench.walk.state import State

Wanted = Callable[[State, Step, tuple[Link, ...]], Advised]
"""Takes the state, the search's step and its trail."""

SEARCHES: Final[dict[Find, str]] = {
    "conductors": "bench.diagnose.identify.search",
    "crosses": "bench.diagnose.apart.search",
    "isolation": "bench.diagnose.apart.search",
    "second-path": "bench.diagnose.earth.search",
    "supply-fault": "bench.diagnose.supply.search",
}
"""What is looked for to the module that looks; loaded when a search begins, since some load a solver."""


def advise(state: State) -> Advised:
    """The next act or reading of the search under way, or what it came to.

    Args:
        state: a state in which a search is under way.

    Raises:
        DiagnoseError: there is no search, or what came back contradicts itself in a way that the search cannot mend.
    """
    step, seeking = state.planned, state.seeking
    if step is None or seeking is None or not isinstance(step.source, Seek):
        raise DiagnoseError("no search is under way; expected one")
    module = SEARCHES.get(step.source.find)
    if module is None:
        raise DiagnoseError(f"nobody searches for '{step.source.find}' yet")
    wanted: Wanted = import_module(module).wanted
    return wanted(state, step, seeking.trail)


def finding(found: Found, readings: int) -> Advised:
    """The end of a search.

    Args:
        found: what it came to.
        readings: how many readings count.
    """
    return Advised(number=0, want=found, done=readings)
