"""A survey on a terminal of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from bench.screens.program.settings import Settings
from bench.screens.program.terminal import Terminal
from bench.screens.program.terminal import run as show

if TYPE_CHECKING:
    from bench.screens.program.program import Program
    from bench.screens.survey.talk import Talk


def survey_terminal(talk: Talk, settings: Settings | None = None) -> Terminal:
    """A terminal with a survey on it. Use :func:`run`, or :meth:`App.run_test` in tests.

    Args:
        talk: the conversation.
        settings: how the screen behaves.
    """

    def load(terminal: Terminal) -> Program[Any]:
        from bench.screens.survey.program import SurveyProgram

        return SurveyProgram(terminal, talk)

    return Terminal(load, settings, "Opening the survey ...")


def run(talk: Talk, settings: Settings | None = None) -> None:
    """Show a survey until it is left."""
    show(survey_terminal(talk, settings))
