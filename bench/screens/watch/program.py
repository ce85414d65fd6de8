"""A watch as a program on a terminal: the last minutes as a strip, what jumped, the places ranked."""

from __future__ import annotations

import time
from typing import Final

from bench.diagnose.hunt.watched import clock
from bench.say.lists import count
from bench.screens.program.cells import EMPTY, Line, Span, line, sides, wrap, wrapped
from bench.screens.program.keys import Key, close_help, help_page, one_row, typed_on
from bench.screens.program.moment import Moment
from bench.screens.program.picture import Picture, inner, note_line, scrolled
from bench.screens.program.program import Host, Program, signs_of
from bench.screens.watch.strip import strip
from bench.screens.watch.talk import HELP, How, Talk, Told, place_lines

_KEYS: Final = (
    Key("send", ("enter",), "Enter", "move it", "Takes what was typed; with nothing typed, what is "
        "proposed is moved from now on."),
    Key("off", ("full_stop",), ".", "hands off", "With nothing typed: nothing is moved any more."),
    Key("back", ("escape",), "Esc", "empty", "Empties the line."),
    Key("help", ("f1",), "F1", "help", "Shows what every key does."),
    Key("theme", ("f2",), "F2", "light or dark", "Changes between a dark and a light screen."),
    Key("sound", ("f3",), "F3", "sound", "Switches the tones off and on."),
    Key("places", ("f4",), "F4", "all places", "Shows all places with their numbers, or the ranking again."),
    Key("leave", ("ctrl+q",), "Ctrl+Q", "leave", "Leaves the watch; --resume goes on with it, 'end' ends it for good."),
)  # fmt: skip
PAINT_S: Final = 0.1
"""The strip moves on this often: ten pictures a second are enough."""
SCANNED_S: Final = 0.15
"""A whole name that comes within this time was not typed by fingers."""


class WatchMoment(Moment, frozen=True, kw_only=True):
    """One moment of a watch.

    Attributes:
        told: what there is to show.
        seconds: since the watch began.
        entry: what was typed so far.
        trouble: what is wrong now.
        listed: all places are shown in the place of the likeliest.
    """

    told: Told
    seconds: float = 0.0
    entry: str = ""
    trouble: str = ""
    listed: tuple[str, ...] = ()


class WatchProgram(Program[WatchMoment]):
    """One watch on the screen.

    Args:
        host: the terminal.
        talk: the conversation.
    """

    def __init__(self, host: Host, talk: Talk) -> None:
        super().__init__(host, WatchMoment(told=talk.told(), glyphs=signs_of(host.settings)))
        self._talk = talk
        self._tones = host.settings.tones
        self._heard = _events(talk)
        self._moving = False
        self._painted = 0.0
        self._typed_from = 0.0
        self._list_all = False

    def keys_of(self, moment: WatchMoment) -> tuple[Key, ...]:
        """All keys that do something; every other one types."""
        if moment.help:
            return (close_help("back to the watch"),)
        return _KEYS

    def paint(self, cells: int, rows: int) -> Picture:
        """See :func:`paint`."""
        return paint(self.moment, cells, rows, self.known)

    def tick(self) -> None:
        """Take in what was read; ring where it jumped."""
        keeper = self._talk.keeper
        jumps = _events(self._talk)
        if jumps > self._heard and self._tones:
            self.host.bell()
        self._heard = jumps
        moving = bool(keeper.watch.moving)
        if self._moving and not moving and self._tones:
            self.host.bell()
        self._moving = moving
        now = time.monotonic()
        if now - self._painted >= PAINT_S:
            self._painted = now
            self._renew()
        super().tick()

    def _renew(self, **changes: object) -> None:
        keeper = self._talk.keeper
        told = self._talk.told()
        listed = tuple(place_lines(told.watch, self._talk.ranked()[0])) if self._list_all else ()
        self.change(told=told, seconds=keeper.now, trouble=keeper.trouble, listed=listed, **changes)

    def press(self, key: str, character: str | None) -> None:
        """A key: letters and digits type, wherever one is."""
        entry = self.moment.entry
        if self.moment.help:
            super().press(key, character)
        elif character is not None and character.isprintable() and not (key == "full_stop" and not entry):
            if not entry:
                self._typed_from = time.monotonic()
            self.change(entry=typed_on(entry, key, character), note="")
        elif key in ("backspace", "ctrl+u"):
            self.change(entry=typed_on(entry, key, None))
        else:
            super().press(key, character)

    # acts

    def do_send(self) -> None:
        """Take what was typed."""
        entry = self.moment.entry
        scanned = len(entry) >= 3 and time.monotonic() - self._typed_from < SCANNED_S
        how: How = "scanned" if scanned else "typed"
        self._talk.take(entry, how)
        if self._talk.over:
            self.leave()
            return
        self._renew(entry="", note=self._talk.note)

    def do_off(self) -> None:
        """Hands are off."""
        self._talk.take(".")
        self._renew(note=self._talk.note)

    def do_back(self) -> None:
        """Empty the line."""
        self.change(entry="", note="")

    def do_sound(self) -> None:
        """Switch the tones."""
        self._tones = not self._tones
        self.change(note=f"tones are {'on' if self._tones else 'off'}")

    def do_places(self) -> None:
        """Show all places, or the ranking."""
        self._list_all = not self._list_all
        self._renew(scroll=0)


def _events(talk: Talk) -> int:
    """How often it should have rung so far."""
    watch = talk.keeper.watch
    return len(watch.jumps) + len(watch.noticed)


def paint(moment: WatchMoment, cells: int, rows: int, known: tuple[Key, ...]) -> Picture:
    """The whole screen; exactly ``rows`` lines, none wider than ``cells``.

    Args:
        moment: what there is to show.
        cells: width.
        rows: height.
        known: the keys of the moment.
    """
    glyphs, room = moment.glyphs, inner(cells)
    watch = moment.told.watch
    foot: list[Line] = []
    for text, most in ((moment.trouble, 2), (moment.note, 2)):
        foot += [note_line(part, room, glyphs) for part in wrap(moment.say(text), room - 4)[:most]]
    foot.append(line(Span("> ", "key"), Span(f"{moment.say(moment.entry)}_", "watch")))
    foot.append(one_row(known, room, glyphs.ellipsis))
    title = f"{clock(moment.seconds)}   {count(len(watch.jumps), 'jump')}   {count(len(watch.moved), 'movement')}"
    if watch.head.long:
        title = f"{clock(moment.seconds)}   {count(len(watch.noticed), 'event')}"
    head = [sides(line(Span("watch", "accent")), line(Span(title, "dim")), room), EMPTY]
    body = (
        help_page(HELP, (*_KEYS, *known[:1]), room)
        if moment.help
        else _body(moment, room, rows - len(head) - len(foot))
    )
    return scrolled(head, body, foot, moment.scroll, (cells, rows), glyphs)


def _body(moment: WatchMoment, room: int, rows: int) -> list[Line]:
    told, glyphs = moment.told, moment.glyphs
    watch = told.watch
    lines: list[Line] = []
    # one strip for each point while there is room for it and for the rest
    for point in range(min(len(watch.points), max(1, (rows - 11) // 4))):
        lines += strip(watch, point, moment.seconds, room, glyphs)
    lines += [line(Span(part, "title")) for part in wrap(moment.say(told.verdict), room)[:2]]
    moving = watch.moving
    if moving:
        left = (watch.moved[-1].ended or moment.seconds) - moment.seconds
        text = f"moving {', '.join(moving)}: {max(0.0, left):.0f} s more"
        lines += wrapped(moment.say(text), room, "watch")
    elif told.proposed:
        lines += wrapped(moment.say(f"next: {told.proposed}"), room, "strong")
    if moment.listed:
        return [*lines, *(line(moment.say(text)) for text in moment.listed)]
    lines += [line(moment.say(text)) for text in told.ranked]
    if told.jumps:
        space = max(1, rows - len(lines) - 1)
        lines.append(line(Span("events" if watch.head.long else "jumps", "dim")))
        lines += [line(moment.say(text)) for text in told.jumps[-space:]]
    if told.said:
        space = rows - len(lines) - 1
        if space < 1:
            # what a machine says now is worth more than the oldest jump that is shown
            lines, space = lines[: rows - 2], 1
        lines.append(line(Span("said on consoles", "dim")))
        lines += [line(Span(moment.say(text), "strong")) for text in told.said[-space:]]
    return lines
