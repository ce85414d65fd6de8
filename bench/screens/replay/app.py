"""Replay on the screen: a record is wound to any moment and shown as the operator had it.

The screen can be pushed on any app of the house (:func:`open_record`) or run by itself (:func:`run`). Reading and
folding a long record happens off the screen's own thread; it is shown how far that is, and it can be left meanwhile.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import ClassVar, Final

from textual.app import ComposeResult
from textual.events import Key, Resize
from textual.screen import Screen

from bench.record.read import BrokenRecord
from bench.screens.program.cells import EMPTY, Line, Span, centred, wrapped
from bench.screens.program.glyphs import ASCII, UNICODE
from bench.screens.program.painted import ThemedApp
from bench.screens.program.prompts import Prompt
from bench.screens.program.settings import Settings
from bench.screens.program.sheet import Sheet
from bench.screens.replay.keys import JUMP, replay_keys
from bench.screens.replay.pages import FACES, SPEEDS, Showing, paint
from bench.screens.replay.winding import Axis, Kind, Stopped, Tape, read_tape
from bench.screens.walk.app import TICK
from bench.screens.walk.keys import Key as Shown

_BAD: Final[tuple[Kind, ...]] = ("fail", "undecided")
_LINES: Final = 8
"""Lines by which a long page is moved at once."""


class ReplayScreen(Screen[None], inherit_bindings=False):
    """One record on the screen.

    Args:
        record: the record.
        settings: how the screen behaves.
        left: called when it is left; by default it is popped.
        clock: monotonic seconds.

    Attributes:
        tape: the record once it is read; None until then.
        failed: why it cannot be shown; None where it can.
        showing: what is shown; None until the record is read.
    """

    BINDINGS: ClassVar = []
    ESCAPE_TO_MINIMIZE = False

    def __init__(
        self,
        record: Path,
        settings: Settings | None = None,
        *,
        left: Callable[[], object] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        self.settings = settings or Settings()
        self.record = record
        self.tape: Tape | None = None
        self.failed: BrokenRecord | None = None
        self.showing: Showing | None = None
        self._left, self._clock = left, clock
        self._bare = "NO_COLOR" in os.environ
        self._sheet = Sheet("bare" if self._bare else "day" if self.settings.day else "night")
        self._glyphs = UNICODE if self.settings.unicode else ASCII
        self._bug: BaseException | None = None
        self._read = 0
        self._over = False
        self._place = 0.0
        self._then = 0.0
        self._furthest = 0

    @property
    def sheet(self) -> Sheet:
        """What is painted on."""
        return self._sheet

    def compose(self) -> ComposeResult:
        """The sheet fills it."""
        yield self._sheet

    def on_mount(self) -> None:
        """Paint first, then read."""
        self._paint_waiting()
        threading.Thread(target=self._work, name="reads the record", daemon=True).start()
        self.set_interval(TICK, self.tick)

    def on_unmount(self) -> None:
        """Whatever still reads may stop."""
        self._over = True

    def _work(self) -> None:
        def told(read: int) -> bool:
            self._read = read
            return not self._over

        try:
            self.tape = read_tape(self.record, told)
        except Stopped:
            pass
        except BrokenRecord as error:
            self.failed = error
        except BaseException as error:
            self._bug = error

    @property
    def _palette(self) -> str:
        return "bare" if self._bare else "day" if self.app.theme == "day" else "night"

    # painting

    def tick(self) -> None:
        """Look whether the record is read; go on where it plays."""
        if self._over:
            return
        if self._bug is not None:
            raise self._bug
        if self.showing is None:
            if self.tape is not None:
                self._begin(self.tape)
            else:
                self._paint_waiting()
        elif self.showing.playing:
            self._play(self.showing)

    def _begin(self, tape: Tape) -> None:
        axis = Axis(tape.times, cut=True)
        self.showing = Showing(tape, axis, tape.at(0), tape.local(tape.times[0]), glyphs=self._glyphs)
        self._paint()

    def _paint_waiting(self) -> None:
        size = self.app.size
        rows: list[Line] = [EMPTY] * max(1, size.height // 3)
        rows += [centred((Span("Replay", "accent"),), size.width), EMPTY]
        if self.failed is not None:
            text = self._glyphs.say(f"{self.failed}. 'proveout verify' says more. q leaves.")
            rows += [centred(one, size.width) for one in wrapped(text, max(1, min(72, size.width - 4)), "alarm")]
        else:
            text = self._glyphs.say(f"Reading {self.record.name}: {self._read} events. q leaves.")
            rows.append(centred((Span(text, "strong"),), size.width))
        self._sheet.show(rows, self._palette)

    def _paint(self) -> None:
        showing, size = self.showing, self.app.size
        if showing is None:
            self._paint_waiting()
            return
        known = self._keys(showing)
        picture = paint(replace(showing, keys=known), max(1, size.width), max(1, size.height))
        if (picture.furthest > 0) is not (self._furthest > 0):
            self._furthest = picture.furthest
            self._paint()
            return
        self._furthest = picture.furthest
        self._sheet.show(picture.lines, self._palette)

    def on_resize(self, event: Resize) -> None:
        """Everything is drawn for the size that there is."""
        self._paint()

    def _change(self, **changes: object) -> None:
        assert self.showing is not None
        self.showing = replace(self.showing, **{"note": "", **changes})  # type: ignore[arg-type]
        self._paint()

    # time

    def go(self, index: int | None, *, otherwise: str = "") -> None:
        """Wind to an entry and stop; where there is none, say so."""
        showing = self.showing
        assert showing is not None
        if index is None:
            self._change(note=otherwise)
            return
        index = max(0, min(len(showing.tape) - 1, index))
        self._place = showing.axis.places[index]
        now = showing.tape.local(showing.tape.times[index])
        self._change(moment=showing.tape.at(index), now=now, playing=False, scroll=0)

    def _play(self, showing: Showing) -> None:
        """Go on by the time that has passed."""
        moment = self._clock()
        self._place = min(showing.axis.whole, self._place + (moment - self._then) * showing.speed)
        self._then = moment
        index = showing.axis.index(self._place)
        beyond = self._place - showing.axis.places[index]
        now = showing.tape.local(showing.tape.times[index] + beyond)
        ended = self._place >= showing.axis.whole
        same = index == showing.moment.index
        if same and not ended and now.replace(microsecond=0) == showing.now.replace(microsecond=0):
            return  # nothing looks different
        changes: dict[str, object] = {} if same else {"moment": showing.tape.at(index), "scroll": 0}
        self._change(now=now, playing=not ended, **changes)

    # keys

    def on_key(self, event: Key) -> None:
        """Every key comes here."""
        event.stop()
        event.prevent_default()
        self.pressed(event.key.lower() if len(event.key) == 1 else event.key, event.character or "")

    def pressed(self, key: str, character: str = "") -> None:
        """Do what a key does now.

        Args:
            key: its name, a letter in lower case.
            character: what it types, if anything.
        """
        if self.showing is None:
            if key in ("q", "escape", "ctrl+c", "ctrl+q"):
                self._leave()
            return
        if key in ("ctrl+c", "ctrl+q"):
            self._leave()
            return
        showing = self.showing
        does = next((one.does for one in self._keys(showing) if key in one.keys), "")
        if showing.typed is not None:
            self._pressed_in_list(showing, does, key, character)
        elif does:
            self.act(does)

    def _pressed_in_list(self, showing: Showing, does: str, key: str, character: str) -> None:
        """A key while the list of all actions is open: it types, chooses, or does."""
        typed, found = showing.typed or "", showing.found
        match does:
            case "chosen":
                self._change(typed=None)
                if found:
                    self.act(found[showing.chosen].does)
            case "close":
                self._change(typed=None)
            case "later" | "earlier":
                by = 1 if does == "later" else -1
                self._change(chosen=max(0, min(len(found) - 1, showing.chosen + by)))
            case _ if key == "backspace":
                self._change(typed=typed[:-1], chosen=0)
            case _ if character.isprintable() and character:
                self._change(typed=typed + character, chosen=0)

    def _keys(self, showing: Showing) -> tuple[Shown, ...]:
        return replay_keys(
            playing=showing.playing,
            face=showing.face,
            help=showing.help,
            long=self._furthest > 0,
            listed=showing.typed is not None,
            unicode=self.settings.unicode,
        )

    def act(self, does: str) -> None:
        """One act by its name, as a key or a list of all actions calls it."""
        showing = self.showing
        if showing is None:
            return
        tape, here = showing.tape, showing.moment.index
        match does:
            case "play":
                self._start_or_stop(showing)
            case "on" | "back":
                self.go(here + (1 if does == "on" else -1))
            case "step" | "step-back":
                self.go(tape.step(here, 1 if does == "step" else -1))
            case "failed":
                self.go(tape.mark(here, 1, _BAD), otherwise="no reading after this one failed or stayed undecided")
            case "failed-before":
                self.go(tape.mark(here, -1, _BAD), otherwise="no reading before this one failed or stayed undecided")
            case "mark":
                self.go(tape.mark(here, 1), otherwise="there is no mark after this")
            case "mark-before":
                self.go(tape.mark(here, -1), otherwise="there is no mark before this")
            case "far" | "far-back":
                self._jump(showing, 1 if does == "far" else -1)
            case "first" | "last":
                self.go(0 if does == "first" else len(tape) - 1)
            case "go":
                self._ask_where(showing)
            case "faster" | "slower":
                place = SPEEDS.index(showing.speed) + (1 if does == "faster" else -1)
                self._change(speed=SPEEDS[max(0, min(len(SPEEDS) - 1, place))])
            case "gaps":
                self._change_gaps(showing)
            case "face":
                self._change(face=FACES[(FACES.index(showing.face) + 1) % len(FACES)], scroll=0)
            case "mirror":
                self._change(mirrored=not showing.mirrored)
            case "palette":
                self._change(typed="", chosen=0, playing=False, scroll=0)
            case "help" | "close":
                self._change(help=does == "help", playing=False, scroll=0)
            case "scroll" | "scroll-back":
                by = _LINES if does == "scroll" else -_LINES
                self._change(scroll=max(0, min(self._furthest, showing.scroll + by)))
            case "theme":
                self.app.theme = "night" if self.app.theme == "day" else "day"
                self._paint()
            case _:
                self._leave()

    def _start_or_stop(self, showing: Showing) -> None:
        if showing.playing:
            self._change(playing=False)
            return
        if self._place >= showing.axis.whole:
            self.go(0)
        self._then = self._clock()
        self._change(playing=True)

    def _jump(self, showing: Showing, by: int) -> None:
        """A twentieth of the time line, but one event at least."""
        here = showing.moment.index
        found = showing.axis.index(showing.axis.places[here] + by * JUMP * showing.axis.whole)
        self.go(max(found, here + 1) if by > 0 else min(found, here - 1))

    def _change_gaps(self, showing: Showing) -> None:
        axis = Axis(showing.tape.times, cut=not showing.axis.cut)
        here = showing.moment.index
        self._place = axis.places[here]
        self._change(axis=axis, now=showing.tape.local(showing.tape.times[here]))

    def _ask_where(self, showing: Showing) -> None:
        def check(text: str) -> str:
            if showing.tape.find(text.strip()) is not None:
                return ""
            return f"found {text.strip()!r}, expected a number from 1 to {len(showing.tape)}, or a time such as 18:03"

        def done(text: str | None) -> None:
            if text is not None:
                self.go(showing.tape.find(text))

        lines = [f"An event's number, 1 to {len(showing.tape)}, or a time of day such as 18:03 or 18:03:11."]
        self._change(playing=False)
        self.app.push_screen(Prompt("Go to", lines, check, unicode=self.settings.unicode), done)

    def _leave(self) -> None:
        if self._over:
            return
        self._over = True
        if self._left is not None:
            self._left()
        else:
            self.dismiss(None)


class ReplayApp(ThemedApp, inherit_bindings=False):
    """A replay as a program. Use :func:`run`, or :meth:`App.run_test` in tests."""

    def __init__(
        self, record: Path, settings: Settings | None = None, *, clock: Callable[[], float] = time.monotonic
    ) -> None:
        super().__init__(settings)
        self.replay = ReplayScreen(record, settings, left=self.exit, clock=clock)

    def get_default_screen(self) -> Screen[None]:
        """The replay is there from the start."""
        return self.replay


def open_record(record: Path, settings: Settings | None = None) -> ReplayScreen:
    """A replay of a record, to be pushed on an app; Escape comes back from it."""
    return ReplayScreen(record, settings)


def run(record: Path, settings: Settings | None = None) -> Tape | None:
    """Show a record until it is left; returns it, or None where it was left before it was read.

    Raises:
        BrokenRecord: it is no record of a walk, or not one that the machine could have written.
    """
    app = ReplayApp(record, settings)
    app.run(mouse=False)
    if app.replay.failed is not None:
        raise app.replay.failed
    return app.replay.tape
