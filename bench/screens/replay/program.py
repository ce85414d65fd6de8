"""A replay as a program: it winds a record to any moment and shows it as the operator had it.

Reading and folding a long record happens off the screen's own thread; the screen shows how far that is, and can be left
meanwhile.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, ClassVar, Final

from bench.record.read import BrokenRecord
from bench.runner.address import address_file, read_address
from bench.runner.all_off import everything_off
from bench.screens.program.keys import Action, Key
from bench.screens.program.picture import Picture
from bench.screens.program.program import Host, Program, signs_of
from bench.screens.program.prompts import Prompt
from bench.screens.program.work import Tell, Work
from bench.screens.replay.keys import JUMP, actions, keys
from bench.screens.replay.paint import paint, paint_reading
from bench.screens.replay.playback import Kind, Playback, Timeline, open_playback
from bench.screens.replay.view import FACES, SPEEDS, Reading, ReplayView

_BAD: Final[tuple[Kind, ...]] = ("fail", "undecided")
_LINES: Final = 8
"""Lines by which a long page is moved at once."""


class ReplayProgram(Program[Reading | ReplayView]):
    """One record on the screen.

    Args:
        host: the terminal.
        record: the record.
        clock: monotonic seconds.
    """

    moves: ClassVar[Mapping[str, int]] = {}
    """Arrows move in time here, and other keys the page."""

    def __init__(self, host: Host, record: Path, clock: Callable[[], float] = time.monotonic) -> None:
        super().__init__(host, Reading(record=record, glyphs=signs_of(host.settings)))
        self._record, self._clock = record, clock
        self._place = 0.0
        self._then = 0.0

    @property
    def view(self) -> ReplayView:
        """The moment, once the record is read; keys that need it are not offered before."""
        assert isinstance(self.moment, ReplayView)
        return self.moment

    @property
    def playback(self) -> Playback | None:
        """The record; None until it was read."""
        return self.moment.playback if isinstance(self.moment, ReplayView) else None

    @property
    def failed(self) -> BrokenRecord | None:
        """Why the record cannot be shown; None where it can."""
        return self.moment.failed if isinstance(self.moment, Reading) else None

    def keys_of(self, moment: Reading | ReplayView) -> tuple[Key, ...]:
        """See :func:`bench.screens.replay.keys.keys`."""
        if isinstance(moment, Reading):
            return (Key("leave", ("q", "escape"), "q", "leave", "Leaves the replay."),)
        return keys(moment)

    def actions(self) -> list[Action]:
        """See :func:`bench.screens.replay.keys.actions`."""
        return actions(self.view)

    def paint(self, cells: int, rows: int) -> Picture:
        """See :func:`bench.screens.replay.paint.paint`."""
        if isinstance(self.moment, Reading):
            return paint_reading(self.moment, cells, rows)
        picture = paint(self.moment, cells, rows, self.known)
        if (picture.furthest > 0) is self.moment.long:
            return picture
        # there are keys for a page that is longer than its room
        self.change(long=picture.furthest > 0)
        return paint(self.moment, cells, rows, self.known)

    # the record

    def begin(self) -> None:
        """Read the record."""

        def read(tell: Tell) -> Playback:
            return open_playback(self._record, lambda count: tell("reading the record", count, 0))

        self.start("reading the record", read, self._opened)

    def came(self, work: Work) -> None:
        """The record is read, or cannot be."""
        if isinstance(work.error, BrokenRecord):
            self.change(failed=work.error)
        else:
            super().came(work)

    def _opened(self, playback: Playback) -> None:
        self.moment = ReplayView(
            playback=playback,
            timeline=Timeline(playback.times, cut=True),
            at=playback.at(0),
            now=playback.local(playback.times[0]),
            glyphs=self.moment.glyphs,
            live=not playback.last.finished and address_file(self._record).exists(),
        )

    # time

    def go(self, index: int | None, *, otherwise: str = "") -> None:
        """Go to an entry and stop; where there is none, say so."""
        view = self.view
        if index is None:
            self.change(note=otherwise)
            return
        index = max(0, min(len(view.playback) - 1, index))
        self._place = view.timeline.places[index]
        now = view.playback.local(view.playback.times[index])
        self.change(at=view.playback.at(index), now=now, playing=False, scroll=0, note="")

    def tick(self) -> None:
        """Go on where it plays."""
        if isinstance(self.moment, ReplayView) and self.moment.playing:
            self._play(self.moment)
        super().tick()

    def _play(self, view: ReplayView) -> None:
        """Go on by the time that has passed."""
        moment = self._clock()
        self._place = min(view.timeline.whole, self._place + (moment - self._then) * view.speed)
        self._then = moment
        index = view.timeline.index(self._place)
        beyond = self._place - view.timeline.places[index]
        now = view.playback.local(view.playback.times[index] + beyond)
        ended = self._place >= view.timeline.whole
        same = index == view.at.index
        if same and not ended and now.replace(microsecond=0) == view.now.replace(microsecond=0):
            return  # nothing looks different
        changes: dict[str, Any] = {} if same else {"at": view.playback.at(index), "scroll": 0}
        self.change(now=now, playing=not ended, **changes)

    # acts

    def do_play(self) -> None:
        """Play from here, or stop."""
        view = self.view
        if view.playing:
            self.change(playing=False)
            return
        if self._place >= view.timeline.whole:
            self.go(0)
        self._then = self._clock()
        self.change(playing=True)

    def do_on(self) -> None:
        """One event on."""
        self.go(self.view.at.index + 1)

    def do_back(self) -> None:
        """One event back."""
        self.go(self.view.at.index - 1)

    def do_step(self) -> None:
        """To where the walk came to its next step."""
        self.go(self.view.playback.step(self.view.at.index, 1))

    def do_step_back(self) -> None:
        """To where it came to the step before."""
        self.go(self.view.playback.step(self.view.at.index, -1))

    def do_failed(self) -> None:
        """To the next reading that failed or stayed undecided."""
        found = self.view.playback.mark(self.view.at.index, 1, _BAD)
        self.go(found, otherwise="no reading after this one failed or stayed undecided")

    def do_failed_before(self) -> None:
        """To the one before."""
        found = self.view.playback.mark(self.view.at.index, -1, _BAD)
        self.go(found, otherwise="no reading before this one failed or stayed undecided")

    def do_mark(self) -> None:
        """To the next mark."""
        self.go(self.view.playback.mark(self.view.at.index, 1), otherwise="there is no mark after this")

    def do_mark_before(self) -> None:
        """To the mark before."""
        self.go(self.view.playback.mark(self.view.at.index, -1), otherwise="there is no mark before this")

    def do_far(self) -> None:
        """A part of the time line on, but one event at least."""
        self.go(max(self._jump(1), self.view.at.index + 1))

    def do_far_back(self) -> None:
        """A part of it back."""
        self.go(min(self._jump(-1), self.view.at.index - 1))

    def _jump(self, by: int) -> int:
        timeline = self.view.timeline
        return timeline.index(timeline.places[self.view.at.index] + by * JUMP * timeline.whole)

    def do_first(self) -> None:
        """To the first event."""
        self.go(0)

    def do_last(self) -> None:
        """To the last one."""
        self.go(len(self.view.playback) - 1)

    def do_go(self) -> None:
        """Ask for an event or a time of day, and go there."""
        playback = self.view.playback

        def check(text: str) -> str:
            if playback.find(text.strip()) is not None:
                return ""
            return f"found {text.strip()!r}, expected a number from 1 to {len(playback)}, or a time such as 18:03"

        def done(text: str | None) -> None:
            if text is not None:
                self.go(playback.find(text))

        lines = [f"An event's number, 1 to {len(playback)}, or a time of day such as 18:03 or 18:03:11."]
        self.change(playing=False)
        self.host.ask(Prompt("Go to", lines, check, unicode=self.host.settings.unicode), done)

    def do_faster(self) -> None:
        """Play faster."""
        self._speed(1)

    def do_slower(self) -> None:
        """Play slower."""
        self._speed(-1)

    def _speed(self, by: int) -> None:
        place = SPEEDS.index(self.view.speed) + by
        self.change(speed=SPEEDS[max(0, min(len(SPEEDS) - 1, place))])

    def do_gaps(self) -> None:
        """Play pauses as long as they were, or shortened."""
        view = self.view
        timeline = Timeline(view.playback.times, cut=not view.timeline.cut)
        self._place = timeline.places[view.at.index]
        self.change(timeline=timeline, now=view.playback.local(view.playback.times[view.at.index]))

    def do_face(self) -> None:
        """Show what fills the screen next."""
        self.change(face=FACES[(FACES.index(self.view.face) + 1) % len(FACES)], scroll=0)

    def do_all_off(self) -> None:
        """Switch off what the walk has on, where it is under way."""
        record = self._record

        def off(tell: Tell) -> str:
            try:
                runner = read_address(address_file(record))
            except FileNotFoundError:
                return "the walk is not under way any more: look at the instruments themselves"
            return " ".join(everything_off([runner]))

        self.change(playing=False)
        self.start("switching everything off", off, lambda came: self.change(note=came))

    def do_mirror(self) -> None:
        """Show the connectors from their other side."""
        self.change(mirrored=not self.view.mirrored)

    def do_actions(self) -> None:
        """Open the list of all actions, and stop."""
        self.change(playing=False)
        super().do_actions()

    def do_help(self) -> None:
        """Open the help page, and stop."""
        self.change(playing=False)
        super().do_help()

    def do_scroll(self) -> None:
        """Move a long page up."""
        self.move(_LINES)

    def do_scroll_back(self) -> None:
        """Move it back."""
        self.move(-_LINES)
