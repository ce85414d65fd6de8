"""A watch as a record: points that are read for long, what was moved meanwhile, and the fold over it.

A watch is a walk whose readings do not end. It has no steps; whoever is there moves one thing after the other and says
what, while the bench reads. So its machine is small:

* the first event begins it and says which points are read, by what, and which places are to be moved;
* blocks of readings follow each other in time; jumps are found in them by :mod:`bench.judge.jumps`, here and nowhere
  else, so the same record gives the same jumps live, resumed and replayed;
* what is moved is told by a touch; it is under way until the next one, or until its time is over;
* between two sittings, and where a port was lost, lies a gap: nothing was seen in it;
* the last event ends it; one without an end can be continued.

As everywhere events hold facts only. Which place the jumps speak for is worked out by :mod:`bench.diagnose.hunt`.

Evolution: a new field has a default, a field is never renamed or given another meaning, and an event type is never
removed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, Literal

import msgspec
from msgspec.structs import replace

from bench.judge.jumps import OVER, Finder, Jump, finder, look
from bench.plant.file import PlantFile
from bench.roles import Reads
from bench.walk.facts import AlarmFacts

WATCH_FORMAT: Final = 1
"""The format version of a watch's record."""
STRIP_S: Final = 120.0
"""Seconds of readings that the state keeps, to be drawn."""
LONGEST: Final = 4096
"""Readings of one point that the state keeps for that at most: two minutes of a meter that gives thirty a second."""


SAID: Final = 400
"""Lines of consoles that the state keeps."""


class NotNow(ValueError):
    """An event does not fit what was watched so far."""


class Point(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One point that is read all the time."""

    name: str
    """Short: the two places, or what the step of the sequence is called."""
    reads: Reads
    unit: str = ""
    between: list[str] = []
    join: list[list[str]] = []
    """What is clipped together meanwhile."""
    instrument: str = ""
    resolution: float = 0.0
    """One step of the meter's last digit, in the base unit; 0 where not known."""
    rate: float = 10.0
    """Readings a second, as they came when it began."""
    thing: str = ""
    """The breaker or shelf whose alarm contact it is: when it changes, that has tripped or failed."""


class Place(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Something that is to be moved."""

    name: str
    text: str = ""
    weight: float = 1.0
    """How likely it is beforehand, in proportion to the others."""
    on: list[int] = []
    """The points that it carries; empty: all."""
    row: int = 0
    """Which row of neighbours it sits in; they stand in their order."""


class _Event(msgspec.Struct, frozen=True, kw_only=True, tag_field="is", omit_defaults=True):
    pass


class WatchBegan(_Event, frozen=True, kw_only=True, tag="watch-began"):
    """A watch began."""

    format: int = WATCH_FORMAT
    software: str
    plant: PlantFile
    points: list[Point]
    places: list[Place] = []
    bench: str = ""
    """The bench file's text, so that it can be continued."""
    job: str = ""
    """The job's folder."""
    seed: int | None = None
    """Of a simulated bench; None on a real one."""
    alarms_per_hour: float = 0.1
    """False alarms that steady readings may bring at most, at each point."""
    moves_for: float = 5.0
    """Seconds for which each thing is moved."""
    by: str = ""
    alarms: list[AlarmFacts] = []
    """Lines of consoles that tell of something that tripped, reset or failed."""
    long: bool = False
    """It runs for days: readings are kept as statistics a minute, and in full around what happened."""


class Heard(_Event, frozen=True, kw_only=True, tag="heard"):
    """Readings of one point, as they came."""

    point: int
    at: float
    """Seconds of the first, since the watch began."""
    after: list[float]
    """Seconds of each after the first, rising."""
    values: list[float | None]
    """In the base unit; None: over range."""


class Touched(_Event, frozen=True, kw_only=True, tag="touched"):
    """Things are moved from now on, and nothing else; nothing named: hands are off."""

    at: float
    places: list[str]
    how: Literal["typed", "said", "scanned", "proposed"] = "typed"
    by: str = ""


class TookTouchBack(_Event, frozen=True, kw_only=True, tag="took-touch-back"):
    """What was said to be moved was not."""

    n: int
    """The event that said it."""
    by: str = ""


class Remarked(_Event, frozen=True, kw_only=True, tag="remarked"):
    """A remark, or something that happened."""

    at: float
    text: str
    by: str = ""


class Unseen(_Event, frozen=True, kw_only=True, tag="unseen"):
    """Nothing was read of a point for a time: its port was lost, or nobody watched."""

    point: int
    """-1: of none."""
    begin: float
    end: float
    why: str = ""


class Said(_Event, frozen=True, kw_only=True, tag="said"):
    """What a console of the plant said, line by line; or what is wrong with what comes from it."""

    at: float
    """Seconds at which it was heard."""
    console: str
    lines: list[tuple[float, str]] = []
    """Of each how many seconds before that its first character came, and its text."""
    wrong: str = ""


class Tripped(_Event, frozen=True, kw_only=True, tag="tripped"):
    """A breaker tripped, a fuse blew, a shelf reset or failed: somebody saw it and says so."""

    at: float
    thing: str
    what: str = ""
    by: str = ""


class Sealed(_Event, frozen=True, kw_only=True, tag="sealed"):
    """A file of a long watch is whole and does not change any more."""

    file: str
    """Its path from the record's folder."""
    sha256: str
    kind: Literal["minutes", "readings"]
    rows: int
    begin: float
    """Seconds of its first row."""
    end: float
    """Seconds of its last row."""
    number: int
    """Counts the sealings: files of one number belong together."""


class Noticed(_Event, frozen=True, kw_only=True, tag="noticed"):
    """Something happened at a point of a long watch. A fact of its record: not all readings that it came from are kept,
    those around it are."""

    point: int
    kind: Literal["dip", "step", "trip", "drift"]
    at: float
    until: float
    level: float
    """Where readings lay before."""
    value: float
    """The furthest off; of a step, drift or trip where they lay then."""
    sigmas: float
    """How far off, in standard deviations of a reading."""


class WatchResumed(_Event, frozen=True, kw_only=True, tag="watch-resumed"):
    """It was continued."""

    at: float
    software: str = ""
    by: str = ""


class WatchEnded(_Event, frozen=True, kw_only=True, tag="watch-ended"):
    """It was ended."""

    at: float
    why: str = ""
    by: str = ""


class TornEnd(_Event, frozen=True, kw_only=True, tag="mended"):
    """The record's torn end was set aside after a crash."""

    bytes: int
    sha256: str
    kept: str


WatchEvent = (
    WatchBegan
    | Heard
    | Touched
    | TookTouchBack
    | Remarked
    | Unseen
    | Said
    | Tripped
    | Sealed
    | Noticed
    | WatchResumed
    | WatchEnded
    | TornEnd
)


class WatchEntry(msgspec.Struct, frozen=True, kw_only=True):
    """An event of a watch in its envelope."""

    n: int
    """Counts from 1 in each record."""
    at: str
    """Time of day, UTC, ISO 8601 with microseconds and a Z."""
    event: WatchEvent


class Sprang(msgspec.Struct, frozen=True):
    """A jump at a point.

    Attributes:
        point: index of the point.
        jump: what jumped, when.
        moved: the places that were said to be moved then.
    """

    point: int
    jump: Jump
    moved: tuple[str, ...] = ()


class Moved(msgspec.Struct, frozen=True):
    """Something that was moved.

    Attributes:
        n: the event's number.
        named: seconds at which it was named.
        ended: seconds at which it was over; None: it goes on.
        places: what.
        how: typed, said, scanned, or as it was proposed.
        by: who.
    """

    n: int
    named: float
    ended: float | None
    places: tuple[str, ...]
    how: str = "typed"
    by: str = ""


class Followed(msgspec.Struct, frozen=True):
    """One point so far.

    Attributes:
        finder: where its readings lie.
        recent: seconds and reading of the last ones; :data:`OVER` for over range.
        count: readings in all.
        last: seconds of the newest reading; None before the first.
        seen: seconds for which it was seen.
    """

    finder: Finder
    recent: tuple[tuple[float, float], ...] = ()
    count: int = 0
    last: float | None = None
    seen: float = 0.0


class Watch(msgspec.Struct, frozen=True):
    """What a watch holds at a moment.

    Attributes:
        began: how it began; None before.
        points: each point as it was followed.
        jumps: all jumps, in the order in which they began.
        moved: what was moved, in order; what was taken back is not among it.
        gaps: what was not seen.
        remarks: seconds, who, text.
        said: seconds, console and text of the newest lines of consoles; the record has all.
        tripped: what somebody said to have tripped.
        sealed: the files of a long watch.
        noticed: what happened in it.
        now: seconds of the newest event.
        last: number of the last event.
        ended: why it ended; None: it goes on.
        begun: time of day at which it began.
    """

    began: WatchBegan | None = None
    points: tuple[Followed, ...] = ()
    jumps: tuple[Sprang, ...] = ()
    moved: tuple[Moved, ...] = ()
    gaps: tuple[Unseen, ...] = ()
    remarks: tuple[tuple[float, str, str], ...] = ()
    said: tuple[tuple[float, str, str], ...] = ()
    tripped: tuple[Tripped, ...] = ()
    sealed: tuple[Sealed, ...] = ()
    noticed: tuple[Noticed, ...] = ()
    now: float = 0.0
    last: int = 0
    ended: str | None = None
    begun: str = ""
    _names: frozenset[str] = msgspec.field(default_factory=frozenset)

    @property
    def head(self) -> WatchBegan:
        """How it began."""
        assert self.began is not None, "a watch is asked only after it began"
        return self.began

    @property
    def moving(self) -> tuple[str, ...]:
        """What is moved at the moment."""
        if not self.moved:
            return ()
        newest = self.moved[-1]
        return newest.places if newest.ended is None or self.now < newest.ended else ()

    @property
    def watched(self) -> float:
        """Seconds for which any point was seen."""
        return max((point.seen for point in self.points), default=0.0)


MOST_STILL_S: Final = 5.0
"""Readings that lie further apart than this, and than three of their usual steps, leave a gap between them."""


def add(watch: Watch, entry: WatchEntry) -> Watch:
    """The watch after one more event.

    Args:
        watch: before it.
        entry: the event.

    Raises:
        NotNow: the event does not fit.
    """
    event = entry.event
    if (watch.began is None) != isinstance(event, WatchBegan):
        raise NotNow("a watch begins once, with its first event")
    if watch.ended is not None and not isinstance(event, TornEnd):
        raise NotNow("the watch has ended")
    watch = replace(watch, last=entry.n)
    match event:
        case WatchBegan():
            return _began(watch, event, entry.at)
        case Heard():
            return _heard(watch, event)
        case Touched():
            return _touched(watch, event, entry.n)
        case TookTouchBack():
            return _took_back(watch, event)
        case Remarked():
            return replace(_on(watch, event.at), remarks=(*watch.remarks, (event.at, event.by, event.text)))
        case Said():
            return _said(watch, event)
        case Tripped():
            return _tripped(watch, event)
        case Unseen():
            return _unseen(watch, event)
        case Sealed():
            return _sealed(watch, event)
        case Noticed():
            return _noticed(watch, event)
        case WatchResumed():
            return _on(_hands_off(watch, watch.now), event.at)
        case WatchEnded():
            return replace(_on(_hands_off(watch, event.at), event.at), ended=event.why)
        case TornEnd():
            return watch


def _began(watch: Watch, event: WatchBegan, begun: str) -> Watch:
    if not event.points:
        raise NotNow("a watch without a point")
    found = tuple(Followed(finder(point.rate, event.alarms_per_hour, point.resolution)) for point in event.points)
    names = frozenset(place.name for place in event.places)
    return replace(watch, began=event, points=found, _names=names, begun=begun)


def _took_back(watch: Watch, event: TookTouchBack) -> Watch:
    kept = tuple(one for one in watch.moved if one.n != event.n)
    if len(kept) == len(watch.moved):
        raise NotNow(f"event {event.n} told of no movement that counts")
    return replace(watch, moved=kept)


def _said(watch: Watch, event: Said) -> Watch:
    fresh = [(max(0.0, event.at - ago), event.console, text) for ago, text in event.lines]
    fresh += [(event.at, event.console, f"({event.wrong})")] if event.wrong else []
    return replace(_on(watch, event.at), said=(*watch.said, *fresh)[-SAID:])


def _tripped(watch: Watch, event: Tripped) -> Watch:
    if event.thing not in things_of(watch.head.plant):
        raise NotNow(f"'{event.thing}' is no breaker or shelf of the plant")
    return replace(_on(watch, event.at), tripped=(*watch.tripped, event))


def _unseen(watch: Watch, event: Unseen) -> Watch:
    if not -1 <= event.point < len(watch.points) or event.end < event.begin:
        raise NotNow(f"a gap of point {event.point} from {event.begin} s to {event.end} s")
    return replace(_on(watch, event.end), gaps=(*watch.gaps, event))


def _sealed(watch: Watch, event: Sealed) -> Watch:
    if event.number < 1 or any(one.file == event.file for one in watch.sealed):
        raise NotNow(f"{event.file} is sealed already, or has no number")
    return replace(_on(watch, event.end), sealed=(*watch.sealed, event))


def _noticed(watch: Watch, event: Noticed) -> Watch:
    if not 0 <= event.point < len(watch.points):
        raise NotNow(f"something at point {event.point}, and there are {len(watch.points)}")
    return replace(_on(watch, event.until), noticed=(*watch.noticed, event))


def things_of(plant: PlantFile) -> list[str]:
    """What can trip, reset or fail: breakers and shelves."""
    return [*(one.name for one in plant.breakers), *(shelf.name for bay in plant.bays for shelf in bay.shelves)]


def _on(watch: Watch, at: float) -> Watch:
    if not math.isfinite(at):
        raise NotNow("a time that is none")
    return replace(watch, now=max(watch.now, at))


def _hands_off(watch: Watch, at: float) -> Watch:
    """What was moved is over at this time, if it was not before."""
    if not watch.moved:
        return watch
    *before, newest = watch.moved
    if newest.ended is not None and newest.ended <= at:
        return watch
    return replace(watch, moved=(*before, replace(newest, ended=max(newest.named, at))))


def _touched(watch: Watch, event: Touched, number: int) -> Watch:
    unknown = [name for name in event.places if name not in watch._names]
    if unknown:
        raise NotNow(f"no place called {', '.join(unknown)}")
    if watch.moved and event.at < watch.moved[-1].named:
        raise NotNow("a movement before the one that was named last")
    watch = _on(_hands_off(watch, event.at), event.at)
    if not event.places:
        return watch
    ended = event.at + watch.head.moves_for
    moved = Moved(number, event.at, ended, tuple(event.places), event.how, event.by)
    return replace(watch, moved=(*watch.moved, moved))


def _heard(watch: Watch, event: Heard) -> Watch:
    if not 0 <= event.point < len(watch.points):
        raise NotNow(f"readings of point {event.point}, and there are {len(watch.points)}")
    if len(event.after) != len(event.values) or not event.after:
        raise NotNow("a block of readings whose times do not fit")
    at = [event.at + after for after in event.after]
    followed = watch.points[event.point]
    if sorted(at) != at or (followed.last is not None and at[0] < followed.last):
        raise NotNow("readings out of order")
    usual = max(MOST_STILL_S, 3.0 / watch.head.points[event.point].rate)
    jumps, state, last, seen = list(watch.jumps), followed.finder, followed.last, followed.seen
    for moment, given in zip(at, event.values, strict=True):
        seen += min(usual, moment - last) if last is not None else 0.0
        last = moment
        state, begun, over = look(state, moment, OVER if given is None else given)
        if over is not None:
            _end(jumps, event.point, over)
        if begun is not None:
            jumps.append(Sprang(event.point, begun, _moving_at(watch, moment)))
    fresh = [(moment, OVER if one is None else one) for moment, one in zip(at, event.values, strict=True)]
    recent = [one for one in (*followed.recent, *fresh) if one[0] > at[-1] - STRIP_S][-LONGEST:]
    now = Followed(state, tuple(recent), followed.count + len(at), last, seen)
    points = (*watch.points[: event.point], now, *watch.points[event.point + 1 :])
    jumps.sort(key=lambda one: one.jump.at)
    return _on(replace(watch, points=points, jumps=tuple(jumps)), at[-1])


def _end(jumps: list[Sprang], point: int, over: Jump) -> None:
    for index in range(len(jumps) - 1, -1, -1):
        if jumps[index].point == point and jumps[index].jump.at == over.at:
            jumps[index] = replace(jumps[index], jump=over)
            return


def _moving_at(watch: Watch, at: float) -> tuple[str, ...]:
    for one in reversed(watch.moved):
        if one.named <= at:
            return one.places if one.ended is None or at <= one.ended + 1.0 else ()
    return ()


def fold(entries: Sequence[WatchEntry]) -> Watch:
    """What a record comes to.

    Raises:
        NotNow: an event does not fit.
    """
    watch = Watch()
    for entry in entries:
        watch = add(watch, entry)
    return watch
