"""A survey as a program on a terminal, or in a browser on a tablet: one large question, what can be chosen, one line.

Everything that is typed goes into the line, so a scanner needs no key pressed before it. A number and Enter are enough
for nearly everything: one hand stays on the ladder.
"""

from __future__ import annotations

from typing import Final

from bench.screens.program.cells import EMPTY, Line, Span, cut, line, sides, wrap
from bench.screens.program.keys import Key, close_help, help_page, one_row, typed_on
from bench.screens.program.moment import Moment
from bench.screens.program.picture import Picture, inner, note_line, scrolled
from bench.screens.program.program import Host, Program, signs_of
from bench.screens.survey.talk import HELP, Asked, Talk

_KEYS: Final = (
    Key("send", ("enter",), "Enter", "answer", "Takes what was typed; with nothing typed what stands there stays."),
    Key("back", ("escape",), "Esc", "back", "Empties the line; with an empty line one question back."),
    Key("finish", ("tab",), "Tab", "this find is done", "Ends this find; what was not asked stays open."),
    Key("help", ("f1",), "F1", "help", "Shows what every key does."),
    Key("theme", ("f2",), "F2", "light or dark", "Changes between a dark and a light screen."),
    Key("leave", ("ctrl+q",), "Ctrl+Q", "leave", "Leaves the survey. All of it is written down already."),
)


class SurveyMoment(Moment, frozen=True, kw_only=True):
    """One moment of a survey.

    Attributes:
        asked: what is asked.
        entry: what was typed so far.
    """

    asked: Asked
    entry: str = ""


class SurveyProgram(Program[SurveyMoment]):
    """One survey on the screen.

    Args:
        host: the terminal.
        talk: the conversation.
    """

    def __init__(self, host: Host, talk: Talk) -> None:
        super().__init__(host, SurveyMoment(asked=talk.asked(), glyphs=signs_of(host.settings)))
        self._talk = talk

    def keys_of(self, moment: SurveyMoment) -> tuple[Key, ...]:
        """All keys that do something; every other one types."""
        if moment.help:
            return (close_help("back to the survey"),)
        return _KEYS

    def paint(self, cells: int, rows: int) -> Picture:
        """See :func:`paint`."""
        return paint(self.moment, cells, rows, self.known)

    def press(self, key: str, character: str | None) -> None:
        """A key: letters and digits type, wherever one is."""
        if self.moment.help:
            super().press(key, character)
        elif character is not None and character.isprintable():
            self.change(entry=typed_on(self.moment.entry, key, character), note="")
        elif key in ("backspace", "ctrl+u"):
            self.change(entry=typed_on(self.moment.entry, key, None))
        else:
            super().press(key, character)

    def _send(self, text: str) -> None:
        self._talk.take(text)
        if self._talk.over:
            self.leave()
            return
        self.change(asked=self._talk.asked(), entry="", note=self._talk.note, scroll=0)

    # acts

    def do_send(self) -> None:
        """Take what was typed."""
        self._send(self.moment.entry)

    def do_back(self) -> None:
        """Empty the line, or go one question back."""
        if self.moment.entry:
            self.change(entry="")
        elif not self._talk.resting:
            self._send("<")

    def do_finish(self) -> None:
        """End this find."""
        if not self._talk.resting:
            self._send(".")


def paint(moment: SurveyMoment, cells: int, rows: int, known: tuple[Key, ...]) -> Picture:
    """The whole screen; exactly ``rows`` lines, none wider than ``cells``.

    Args:
        moment: what there is to show.
        cells: width.
        rows: height.
        known: the keys of the moment.
    """
    glyphs, room = moment.glyphs, inner(cells)
    foot: list[Line] = [note_line(text, room, glyphs) for text in wrap(moment.note, room - 4)[:4]]
    foot.append(one_row(known, room, glyphs.ellipsis))
    head = [sides(line(Span("survey", "accent")), line(Span(moment.say(moment.asked.title), "dim")), room), EMPTY]
    body = help_page(HELP, (*_KEYS, *known[:1]), room) if moment.help else _question(moment, room)
    return scrolled(head, body, foot, moment.scroll, (cells, rows), glyphs)


def _question(moment: SurveyMoment, room: int) -> list[Line]:
    asked = moment.asked
    lines: list[Line] = [line(Span(part, "title")) for part in wrap(moment.say(asked.question), room)]
    if asked.hint:
        lines += [line(Span(part, "dim")) for part in wrap(moment.say(asked.hint), room)]
    lines.append(EMPTY)
    for number, choice in enumerate(asked.choices, 1):
        lines.append(line(Span(f"{number:2} ", "key"), cut(moment.say(choice), room - 3, moment.glyphs.ellipsis)))
    if asked.choices:
        lines.append(EMPTY)
    if asked.stands:
        lines.append(line(Span("stands: ", "dim"), Span(moment.say(asked.stands), "strong")))
    lines.append(line(Span("> ", "key"), Span(f"{moment.say(moment.entry)}_", "watch")))
    if asked.page:
        lines.append(EMPTY)
        for text in asked.page:
            indent = " " * (len(text) - len(text.lstrip()))
            lines += [line(f"{indent}{part}") for part in wrap(moment.say(text), room - len(indent))]
    return lines
