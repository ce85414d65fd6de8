"""The job screen on a terminal: the screens around the walk, one page at a time.

It paints at once, reads the job in a thread, and gives the terminal up where a walk wants it: it ends with a wish, and
whoever opened it carries that out and opens it again where it was.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, Any

import msgspec

from bench.screens.program.settings import Settings
from bench.screens.program.terminal import Terminal, run

if TYPE_CHECKING:
    from bench.screens.job.data import Source, Wish
    from bench.screens.job.view import JobView
    from bench.screens.program.program import Program


class Left(msgspec.Struct, frozen=True):
    """How the job screen was left.

    Attributes:
        wish: what is to be done with the terminal; None where it was left for good.
        view: the moment, to open it again there; None where it never came to one.
        day: whether the screen was light.
    """

    wish: Wish | None
    view: JobView | None
    day: bool


def job_terminal(
    source: Callable[[], Source],
    settings: Settings | None = None,
    *,
    view: JobView | None = None,
    now: Callable[[], datetime] = lambda: datetime.now().astimezone(),
) -> Terminal:
    """A terminal with the job screen on it. Use :func:`open_job`, or :meth:`App.run_test` in tests.

    Args:
        source: makes what reads the job; called in a thread of its own after the first picture.
        settings: how the screen behaves.
        view: the moment to begin with.
        now: time on the wall, with its zone.
    """

    def load(terminal: Terminal) -> Program[Any]:
        from bench.screens.job.program import JobProgram

        return JobProgram(terminal, source(), now, view)

    return Terminal(load, settings, "Opening the job ...")


def open_job(source: Callable[[], Source], settings: Settings | None = None, view: JobView | None = None) -> Left:
    """Show the job until it is left.

    Args:
        source: makes what reads the job; called in a thread of its own after the first picture.
        settings: how the screen behaves.
        view: the moment to begin with.

    Returns:
        What is to be done next, and where it was left.

    Raises:
        Exception: what the source raised before there was anything to show, or a bug.
    """
    terminal = job_terminal(source, settings, view=view)
    run(terminal, mouse=True)
    first = terminal.first
    return Left(getattr(first, "wish", None), first.moment if first is not None else None, terminal.theme == "day")
