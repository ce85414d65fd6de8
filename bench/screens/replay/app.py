"""A replay on a terminal of its own; the job screen opens one over itself."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bench.screens.program.settings import Settings
from bench.screens.program.terminal import Terminal
from bench.screens.program.terminal import run as show

if TYPE_CHECKING:
    from bench.screens.program.program import Program
    from bench.screens.replay.playback import Playback


def replay_terminal(
    record: Path, settings: Settings | None = None, *, clock: Callable[[], float] = time.monotonic
) -> Terminal:
    """A terminal with a replay on it. Use :func:`run`, or :meth:`App.run_test` in tests.

    Args:
        record: the record.
        settings: how the screen behaves.
        clock: monotonic seconds.
    """

    def load(terminal: Terminal) -> Program[Any]:
        from bench.screens.replay.program import ReplayProgram

        return ReplayProgram(terminal, record, clock)

    return Terminal(load, settings, "Opening the record ...")


def run(record: Path, settings: Settings | None = None) -> Playback | None:
    """Show a record until it is left; returns it, or None where it was left before it was read.

    Raises:
        BrokenRecord: it is no record of a walk, or not one that the machine could have written.
    """
    terminal = replay_terminal(record, settings)
    show(terminal, mouse=True)
    failed = getattr(terminal.first, "failed", None)
    if failed is not None:
        raise failed
    return getattr(terminal.first, "playback", None)
