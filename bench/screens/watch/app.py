"""A watch on a terminal of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from bench.screens.program.settings import Settings
from bench.screens.program.terminal import Terminal
from bench.screens.program.terminal import run as show

if TYPE_CHECKING:
    from bench.screens.program.program import Program
    from bench.screens.watch.talk import Talk


def watch_terminal(talk: Talk, settings: Settings | None = None) -> Terminal:
    """A terminal with a watch on it. Use :func:`run`, or :meth:`App.run_test` in tests.

    Args:
        talk: the conversation.
        settings: how the screen behaves.
    """

    def load(terminal: Terminal) -> Program[Any]:
        from bench.screens.watch.program import WatchProgram

        return WatchProgram(terminal, talk)

    return Terminal(load, settings, "Opening the watch ...")


def run(talk: Talk, settings: Settings | None = None) -> None:
    """Show a watch until it is left."""
    show(watch_terminal(talk, settings))
