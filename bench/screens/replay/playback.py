"""A record that can be looked at as it stood after any entry.

It is the very fold of the run: every entry goes through the follower that the walking screen uses. States are kept on
the way, so that any moment is a short fold from the nearest one.
"""

from __future__ import annotations

import bisect
import itertools
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, Literal

import msgspec

from bench.record.read import BrokenRecord, read_record
from bench.record.replay import take_next
from bench.say.verdict import WORDS
from bench.screens.walk import findings
from bench.screens.walk.follow import Follower, Happened
from bench.screens.walk.pace import Pace
from bench.walk import events as e
from bench.walk.outcome import Outcome
from bench.walk.state import Phase, State

EVERY: Final = 64
"""Entries between two states that are kept, at first: folding that many takes about a hundredth of a second."""
MOST: Final = 256
"""States that are kept; when there are more, every second one goes and the distance doubles."""
LONGEST_GAP: Final = 4.0
"""Seconds that a gap between two entries may take where gaps are shortened."""
TELL_EVERY: Final = 200
"""Entries between two reports of how far the reading is."""

Kind = Literal["fail", "undecided", "trouble", "disturbance", "pause"]
"""What is marked on the time line."""
RANK: Final[tuple[Kind, ...]] = ("pause", "disturbance", "undecided", "trouble", "fail")
"""Where two marks fall on one place the later one here is shown."""


class Mark(msgspec.Struct, frozen=True):
    """Something on the time line.

    Attributes:
        index: the entry that it stands at, from 0.
        kind: what it is.
    """

    index: int
    kind: Kind


class Snapshot(msgspec.Struct, frozen=True):
    """The walk as it stood after one entry.

    Attributes:
        index: the entry's place, from 0.
        entry: the entry.
        state: the fold up to and with it.
        outcome: the outcome that the entry brought, if any.
        since: when the open request came up, in seconds since 1970.
        left: seconds that the rest was thought to take then; None where that was not known.
    """

    index: int
    entry: e.Entry
    state: State
    outcome: Outcome | None
    since: float
    left: float | None


class _Kept(msgspec.Struct, frozen=True):
    state: State
    pace: Pace
    since: float


class Playback:
    """All entries of a record, and any moment of it.

    Args:
        record: where the entries come from; for messages.
        entries: the entries in order.
        told: called now and then with how many entries were read; what it raises ends the reading.

    Raises:
        BrokenRecord: the entries are not a record that the machine wrote, or it holds no walk.

    Attributes:
        entries: the entries.
        times: when each came, in seconds since 1970; never running backwards, whatever the clock did.
        verdicts: the verdict that each entry brought; empty where it brought none.
        steps: at which entries the walk came to another step.
        marks: what is on the time line, in order.
        last: the state at the end.
    """

    def __init__(
        self, record: Path, entries: Iterable[e.Entry], told: Callable[[int], None] = lambda read: None
    ) -> None:
        self.record = record
        self.entries: list[e.Entry] = []
        self.times: list[float] = []
        self.verdicts: list[str] = []
        self.steps: list[int] = []
        self.marks: list[Mark] = []
        self._kept: dict[int, _Kept] = {}
        self._every = EVERY
        self._now = 0.0
        self._read(entries, told)
        self._last: Snapshot | None = None
        self._follower = self._follower_after(-1)

    def _read(self, entries: Iterable[e.Entry], told: Callable[[int], None]) -> None:
        follower = self._follower_after(-1)
        for entry in entries:
            if len(self.entries) % TELL_EVERY == 0:
                told(len(self.entries))
            self._now = max(self._now, _seconds(entry.at, self._now))
            happened = self._fold(follower, entry)
            index = len(self.entries)
            self.entries.append(entry)
            self.times.append(self._now)
            self.verdicts.append(happened.outcome.verdict if happened.outcome is not None else "")
            if happened.after.place.cursor != happened.before.place.cursor or index == 0:
                self.steps.append(index)
            kind = _kind(happened)
            if kind is not None:
                self.marks.append(Mark(index, kind))
            if index % self._every == 0:
                self._keep(index, follower)
        self.last = follower.state
        if self.last.setting is None:
            raise BrokenRecord(self.record, 0, "holds no walk")

    def _fold(self, follower: Follower, entry: e.Entry) -> Happened:
        return follower.took(entry, take_next(follower.state, entry, self.record))

    def _keep(self, index: int, follower: Follower) -> None:
        self._kept[index] = _Kept(follower.state, follower.pace.copy(), follower.since)
        if len(self._kept) > MOST:
            self._every *= 2
            self._kept = {at: kept for at, kept in self._kept.items() if at % self._every == 0}

    def _follower_after(self, index: int) -> Follower:
        """A follower that stands after the entry of that index; a kept one, or -1 for the beginning."""
        follower = Follower(lambda: self._now)
        if index >= 0:
            kept = self._kept[index]
            follower.state, follower.pace, follower.since = kept.state, kept.pace.copy(), kept.since
        return follower

    def __len__(self) -> int:
        return len(self.entries)

    def at(self, index: int) -> Snapshot:
        """The moment after an entry.

        Raises:
            IndexError: there is no such entry.
        """
        if not 0 <= index < len(self.entries):
            raise IndexError(index)
        if self._last is not None and self._last.index == index:
            return self._last
        stands = self._last.index if self._last is not None else -1
        kept = (index - 1) // self._every * self._every if index else -1
        if self._last is None or not kept <= stands < index:
            self._follower, stands = self._follower_after(kept), kept
        follower = self._follower
        for place in range(stands + 1, index + 1):
            self._now = self.times[place]
            happened = self._fold(follower, self.entries[place])
        self._last = Snapshot(
            index, self.entries[index], follower.state, happened.outcome, follower.since, follower.left()
        )
        return self._last

    # where to go

    def step(self, index: int, by: int) -> int:
        """The entry at which the step after (``by`` 1) or before (-1) the one at ``index`` came up."""
        return _beside(self.steps, index, by, len(self.entries) - 1)

    def mark(self, index: int, by: int, kinds: Sequence[Kind] = RANK) -> int | None:
        """The nearest mark of these kinds after or before an entry; None where there is none."""
        places = [mark.index for mark in self.marks if mark.kind in kinds]
        found = bisect.bisect_right(places, index) if by > 0 else bisect.bisect_left(places, index) - 1
        return places[found] if 0 <= found < len(places) else None

    def find(self, text: str) -> int | None:
        """The entry that a person means: an event's number, or a time of day (local, ``18:03`` or ``18:03:11``).

        A time of day is the first one of the record at or after it.
        """
        if text.isdecimal():
            number = int(text)
            return number - 1 if 1 <= number <= len(self.entries) else None
        try:
            wanted = datetime.strptime(text, "%H:%M:%S" if text.count(":") == 2 else "%H:%M").time()
        except ValueError:
            return None
        for index, seconds in enumerate(self.times):
            if self.local(seconds).time() >= wanted:
                return index
        return None

    def local(self, seconds: float) -> datetime:
        """A time of the record as the clock on the wall shows it."""
        return datetime.fromtimestamp(seconds, UTC).astimezone()


class Timeline:
    """How the entries lie in playing time.

    Args:
        times: when the entries came.
        cut: shorten long gaps to :data:`LONGEST_GAP`.
    """

    def __init__(self, times: Sequence[float], *, cut: bool) -> None:
        self.cut = cut
        self.places = [0.0]
        for before, after in itertools.pairwise(times):
            gap = after - before
            self.places.append(self.places[-1] + (min(gap, LONGEST_GAP) if cut else gap))

    @property
    def whole(self) -> float:
        """Seconds from the first entry to the last."""
        return self.places[-1]

    def index(self, place: float) -> int:
        """The last entry at or before a place."""
        return max(0, bisect.bisect_right(self.places, place) - 1)

    def share(self, index: int) -> float:
        """0 to 1: where an entry lies."""
        return self.places[index] / self.whole if self.whole else 0.0


def open_playback(record: Path, told: Callable[[int], None] = lambda read: None) -> Playback:
    """Read a record, its chain checked.

    Raises:
        BrokenRecord: it is no record of a walk, or not one that the machine could have written.
    """
    return Playback(record, read_record(record), told)


def _beside(places: Sequence[int], index: int, by: int, last: int) -> int:
    if by > 0:
        found = bisect.bisect_right(places, index)
        return places[found] if found < len(places) else last
    found = bisect.bisect_left(places, index) - 1
    return places[found] if found >= 0 else 0


def _kind(happened: Happened) -> Kind | None:
    """What an entry is marked as."""
    outcome = happened.outcome
    if outcome is not None and outcome.verdict in ("fail", "undecided"):
        return "fail" if outcome.verdict == "fail" else "undecided"
    if happened.after.phase is Phase.TROUBLED and happened.before.phase is not Phase.TROUBLED:
        return "trouble"
    match happened.entry.event:
        case e.Disturbed():
            return "disturbance"
        case e.Paused() | e.Resumed():
            return "pause"
        case _:
            return None


def _seconds(at: str, otherwise: float) -> float:
    try:
        return datetime.fromisoformat(at).timestamp()
    except ValueError:
        return otherwise


def words(entry: e.Entry, verdict: str = "") -> tuple[str, str]:
    """One entry for the list of events: what kind it is, and what it says.

    Args:
        entry: the entry.
        verdict: of a reading.
    """
    said = _of_the_bench(entry.event, verdict) or _of_people(entry.event) or _of_the_plant(entry.event)
    return said or (type(entry.event).__name__.lower(), "")


def _of_the_bench(event: e.Event, verdict: str) -> tuple[str, str] | None:
    """What instruments did; None for anything else."""
    match event:
        case e.Met(instrument=instrument, identity=identity):
            return "met", f"{instrument}: {identity}"
        case e.Read() as read:
            return "reading", f"{WORDS.get(verdict, '')} {read.instrument} {findings.raw_reading(read)}".strip()
        case e.Troubled(what=what):
            return "trouble", what
        case e.Switched(instrument=instrument, state=state, confirmed=confirmed):
            return "output", f"{instrument} {state}{'' if confirmed else ', not confirmed'}"
        case e.Energised(instrument=instrument, state=state, why=why):
            return "brought up", f"{instrument} {state}: {why}"
        case e.MadeSafe(confirmed=confirmed):
            return "safe", ", ".join(f"{name} {'off' if off else 'NOT CONFIRMED'}" for name, off in confirmed.items())
        case e.Elapsed(seconds=seconds):
            return "waited", f"{seconds:.1f} s"
        case _:
            return None


def _of_people(event: e.Event) -> tuple[str, str] | None:
    """What people did, and what they said of the walk; None for anything else."""
    match event:
        case e.Began(operator=operator):
            return "began", f"by {operator}" if operator else ""
        case e.Answered(answer=answer, how=how):
            return {"contact": "contact", "simulated": "hands", "matrix": "relays"}.get(how, "answer"), answer
        case e.Skipped(reason=reason):
            return "skipped", reason
        case e.Went(then=then):
            return ("again", "") if then == "return" else ("went back", "")
        case e.Noted(text=text, by=by):
            return "note", f"{text}{f' ({by})' if by else ''}"
        case e.Attached(files=files, text=text):
            return "kept", f"{', '.join(one.name for one in files)}{f': {text}' if text else ''}"
        case e.Paused(why=why):
            return "paused", why
        case e.Seated(by=by):
            return "seat", by or "nobody"
        case e.Aborted(why=why):
            return "given up", why
        case _:
            return None


def _of_the_plant(event: e.Event) -> tuple[str, str] | None:
    """What happened to the plant, and what its consoles said and were sent; None for anything else."""
    match event:
        case e.Disturbed(touches=touches, text=text):
            return "touched", f"{', '.join(touches)}{f': {text}' if text else ''}"
        case e.Tripped(thing=thing, what=what):
            return "tripped", f"{thing}{f': {what}' if what else ''}"
        case e.Said(console=console, lines=lines, wrong=wrong):
            return "said", f"{console}: {' / '.join([*(text for _, text in lines), *([wrong] if wrong else [])])}"
        case e.Sending(console=console, line=line):
            return "sent", f"{console}: {line}"
        case _:
            return None
