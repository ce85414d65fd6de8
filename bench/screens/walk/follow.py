"""Follows a runner: folds what comes over the line into one picture that a screen can show.

``hear`` is called from the line's thread and does the folding there, so that a long record never holds up painting.
What a screen must react to goes into a queue; the rest is read from the latest picture.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from queue import SimpleQueue
from typing import TYPE_CHECKING, Final

import msgspec

from bench.quantity import engineering
from bench.runner import protocol as p
from bench.screens.walk.display import on_display
from bench.screens.walk.pace import Pace
from bench.walk import events as e
from bench.walk.outcome import History, Outcome
from bench.walk.state import OutOfTurn, Phase, Refused, Stale, State, start, take

if TYPE_CHECKING:
    from bench.judge.ramp import RampUp
    from bench.screens.walk.link import Heard


class Happened(msgspec.Struct, frozen=True):
    """An entry was folded.

    Attributes:
        entry: the entry.
        before: the state before it.
        after: the state after it.
        brought: the outcomes that it brought: its own first, then those of steps that the walk passed by itself.
    """

    entry: e.Entry
    before: State
    after: State
    brought: tuple[Outcome, ...]

    @property
    def outcome(self) -> Outcome | None:
        """Its own outcome, if any."""
        return self.brought[0] if self.brought else None


class Said(msgspec.Struct, frozen=True):
    """The runner said something that is not in the record: a refusal, a failing record."""

    why: str
    failing: bool = False


class Misset(msgspec.Struct, frozen=True):
    """The instrument's dial is not where the step needs it; empty again where it is."""

    wrong: str


class Felt(msgspec.Struct, frozen=True):
    """The probes touch, or their contact has settled.

    Attributes:
        settled: the contact holds still.
    """

    settled: bool


class Lost(msgspec.Struct, frozen=True):
    """The line is cut, or the runner said goodbye.

    Attributes:
        why: what the runner said; empty where it just went.
        broken: what came over the line is not understood.
    """

    why: str = ""
    broken: bool = False


class Rose(msgspec.Struct, frozen=True):
    """A load that comes up reached another level, or has settled."""

    rise: p.Rise
    ramp: RampUp


class Going(msgspec.Struct, frozen=True):
    """Charge that leaves an output while it is made safe: how much is left, in words."""

    text: str


class Volts(msgspec.Struct, frozen=True):
    """An insulation test voltage comes, is on, leaves or is gone."""

    now: p.Voltage
    last: p.Voltage | None


STAYS: Final = 3
"""How many live readings show the same before a display is told of line by line."""
News = Happened | Said | Misset | Felt | Lost | Rose | Going | Volts
LONGEST: Final = 600
"""Points of a trend that are kept; beyond that every second one is dropped."""


class Follower:
    """The picture so far.

    Attributes:
        state: the fold of the entries so far.
        live: the last live reading of the step under way.
        rise: the load that comes up, as it is now; None where none does.
        trend: seconds and amperes of its way so far.
        voltage: the insulation test voltage as it was heard of last, until the page after the one on which it went.
        failing: why the record cannot be written; empty where it can.
        lost: how the line ended; None while it stands.
        since: when the open request came up, in the clock's seconds.
        news: what a screen must react to, in order.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic, wake: Callable[[], None] = lambda: None) -> None:
        self.state: State = start()
        self.live: p.Live | None = None
        self.rise: p.Rise | None = None
        self.trend: tuple[tuple[float, float], ...] = ()
        self.voltage: p.Voltage | None = None
        self.failing = ""
        self.lost: Lost | None = None
        self.since = clock()
        self.news: SimpleQueue[News] = SimpleQueue()
        self.pace = Pace()
        self._clock = clock
        self._told_going = float("-inf")
        self._told_leaving = float("-inf")
        self._gone_at = 0
        self._display, self._stays = (-1, ""), 0
        self._wake = wake

    def hear(self, message: Heard) -> None:
        """Take one message from the line."""
        match message:
            case e.Entry():
                self._fold(message)
            case p.Live() if self.state.phase is Phase.SAFING:
                self.live = message
                self._going(message)
            case p.Live(wrong=wrong):
                before, self.live = self.live, message
                self._shown(message)
                self._felt(message.touch, before.touch if before is not None else "")
                if wrong == (before.wrong if before is not None else ""):
                    return
                self.news.put(Misset(wrong))
            case p.Rise():
                self._rise(message)
                return
            case p.Voltage():
                self._volts(message)
            case p.Refusal(why=why):
                self.news.put(Said(why))
            case p.RecordFailing(why=why):
                self.failing = why
                self.news.put(Said(why, failing=True))
            case p.Bye(why=why):
                self._lose(Lost(why))
            case None:
                self._lose(Lost())
            case _:
                return
        self._wake()

    def _volts(self, now: p.Voltage) -> None:
        """Tell of every change; what is left while it leaves once a second."""
        last, self.voltage = self.voltage, now
        self._gone_at = self.state.number
        still = now.stage == "leaving" and last is not None and last.stage == "leaving"
        if still and self._clock() - self._told_leaving < 1.0:
            return
        self._told_leaving = self._clock()
        self.news.put(Volts(now, last))

    def _shown(self, live: p.Live) -> None:
        """Tell what stands on a display that a person reads, once it stays."""
        text = on_display(self.state, live)
        same = (self.state.number, text)
        self._stays = self._stays + 1 if same == self._display else 0
        self._display = same
        if text and self._stays == STAYS:
            self.news.put(Going(f"The display shows {text}"))
            self._wake()

    def _felt(self, touch: str, before: str) -> None:
        if touch != before and touch in ("touching", "settled"):
            self.news.put(Felt(touch == "settled"))
            self._wake()

    def _going(self, live: p.Live) -> None:
        """Tell now and then how much is left: it is shown all the time, and told line by line once a second."""
        now = self._clock()
        if live.value is not None and now - self._told_going >= 1.0:
            self._told_going = now
            left = engineering(live.value, live.unit, digits=2)
            self.news.put(Going(f"{left} left on {live.role}; it goes by itself."))

    def left(self) -> float | None:
        """Seconds that the rest will take, or None where that is not known."""
        setting, seeking = self.state.setting, self.state.seeking
        if setting is None:
            return None
        cursor = self.state.place.cursor
        advised = seeking.advised if seeking is not None and seeking.index == cursor else None
        asked = advised.left if advised is not None else 0
        return self.pace.left(setting.plan.steps[cursor:], asked)

    def _rise(self, rise: p.Rise) -> None:
        before = self.rise
        self.rise = rise
        if rise.amps is not None:
            kept = self.trend if len(self.trend) < LONGEST else self.trend[::2]
            self.trend = (*kept, (rise.at, abs(rise.amps)))
        settled = rise.settled is not None and (before is None or before.settled is None)
        ramp = self.state.pending.ramp
        if ramp is not None and (before is None or before.level != rise.level or settled):
            self.news.put(Rose(rise, ramp))
            self._wake()

    def _lose(self, lost: Lost) -> None:
        if self.lost is None:
            self.lost = lost
            self.news.put(lost)

    def _fold(self, entry: e.Entry) -> None:
        if self.lost is not None and self.lost.broken:
            return
        try:
            after = take(self.state, entry)
        except (OutOfTurn, Stale, Refused, ValueError) as error:
            # a record that this program cannot fold: another version's, or a bug
            self._lose(Lost(f"event {entry.n} of the record is not understood: {error}", broken=True))
            return
        self.news.put(self.took(entry, after))

    def took(self, entry: e.Entry, after: State) -> Happened:
        """Go on to the state after an entry, and say what became of it."""
        before = self.state
        brought = _brought(before.kept.history, after.kept.history)
        self._time(entry, before, after, brought[0] if brought else None)
        if after.number != before.number:
            self.since = self._clock()
        if after.place.cursor != before.place.cursor or after.phase not in (Phase.PLACING, Phase.MEASURING):
            self.live = None
        if self.voltage is not None and self.voltage.stage == "gone" and after.number > self._gone_at + 1:
            self.voltage = None
        if after.phase is not Phase.ENERGISING:
            self.rise, self.trend = None, ()
        self.failing = ""
        self.state = after
        return Happened(entry, before, after, brought)

    def _time(self, entry: e.Entry, before: State, after: State, fresh: Outcome | None) -> None:
        if fresh is not None and before.step is not None:
            self.pace.done(before.step.kind, entry.at)
        elif isinstance(entry.event, e.Paused | e.Troubled | e.Resumed):
            self.pace.stopped()
        elif after.number != before.number and before.phase not in (Phase.PLACING, Phase.MEASURING, Phase.WAITING):
            self.pace.began(entry.at)


def _brought(before: History | None, after: History | None) -> tuple[Outcome, ...]:
    """The outcomes that came since, oldest first."""
    found: list[Outcome] = []
    while after is not None and after is not before:
        found.append(after.outcome)
        after = after.before
    return tuple(reversed(found))
