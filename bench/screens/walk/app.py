"""The operator's screen on a terminal: it paints at once, then calls the runner, then shows what its record says.

All words and drawing are loaded behind the first picture.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, Any

from bench.screens.program.settings import Ended, Settings
from bench.screens.program.terminal import Terminal
from bench.screens.program.terminal import run as show

if TYPE_CHECKING:
    from bench.screens.program.program import Program
    from bench.screens.walk.link import Connect


def walk_terminal(
    connect: Connect,
    settings: Settings | None = None,
    *,
    clock: Callable[[], float] = time.monotonic,
    now: Callable[[], datetime] = lambda: datetime.now().astimezone(),
) -> Terminal:
    """A terminal with the walk on it. Use :func:`run`, or :meth:`App.run_test` in tests.

    Args:
        connect: makes the line to the runner; called in a thread of its own after the first picture.
        settings: how the screen behaves.
        clock: monotonic seconds.
        now: time on the wall, with its zone.
    """

    def load(terminal: Terminal) -> Program[Any]:
        from bench.screens.walk.program import WalkProgram

        program = WalkProgram(terminal, clock, now)
        program.connected(connect(program.follower.hear))
        return program

    return Terminal(load, settings, (settings or Settings()).starting)


def ended(terminal: Terminal) -> Ended:
    """How the walk's screen ended, with the last state."""
    found = getattr(terminal.first, "ended", None)
    return found if isinstance(found, Ended) else Ended("ended" if terminal.told else "left")


def run(connect: Connect, settings: Settings | None = None) -> Ended:
    """Show the screen until it is left.

    Args:
        connect: makes the line to the runner, in a thread of its own; see :data:`bench.screens.walk.link.Connect`.
        settings: how the screen behaves.

    Returns:
        How it ended, with the last state.

    Raises:
        Exception: whatever ``connect`` raised; the terminal is itself again by then.
    """
    terminal = walk_terminal(connect, settings)
    show(terminal)
    return ended(terminal)
