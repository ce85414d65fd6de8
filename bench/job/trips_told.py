"""What tripped, reset or failed as the records of a folder tell it: people, consoles' lines and alarm contacts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from bench.diagnose.hunt.trips import TOUCHED_S, Backdrop, Trip
from bench.judge.jumps import leaves_rest
from bench.record.export import NoParquet
from bench.record.index import files_in, records_in
from bench.record.long_store import bands
from bench.record.read import read_record
from bench.record.replay import follow
from bench.record.watch import follow_watch, is_watch
from bench.walk import events as e
from bench.walk import watching as w
from bench.walk.facts import AlarmFacts
from bench.walk.state import State

APART_S: Final = 3600.0
"""Where a walk's record is silent for longer, nobody was there (our own figure)."""
REPEATED_S: Final = 10.0
"""The same thing within this time is one event: a console and a person tell of it, and a relay bounces."""


class _Time:
    """The time that records cover, with what was touched and how warm it was in it."""

    def __init__(self) -> None:
        self.spans: list[tuple[datetime, datetime]] = []
        self.touched: dict[str, float] = {}
        self.degrees: list[float] = []

    def take(self, begin: datetime, end: datetime, touched: Sequence[tuple[datetime, str]]) -> None:
        """Take a stretch of time, with all that was touched before its end, in order."""
        if end <= begin:
            return
        self.spans.append((begin, end))
        for number, (when, text) in enumerate(touched):
            until = min([when + timedelta(seconds=TOUCHED_S), end, *(one for one, _ in touched[number + 1 :][:1])])
            self.touched[text] = self.touched.get(text, 0.0) + max(0.0, (until - max(begin, when)).total_seconds())

    def backdrop(self) -> Backdrop:
        """All of it."""
        touched = {text: seconds for text, seconds in self.touched.items() if seconds > 0.0}
        return Backdrop(tuple(sorted(self.spans)), touched, tuple(self.degrees))


def trips_in(folder: Path) -> list[Trip]:
    """All such events of a folder's records, each once, in the order of time.

    Raises:
        BrokenRecord: a record cannot be read.
    """
    return trips_and_time(folder)[0]


def trips_and_time(folder: Path) -> tuple[list[Trip], Backdrop]:
    """The same, and the time that the records cover, in which such events could have come.

    Raises:
        BrokenRecord: a record cannot be read.
    """
    found, time = list[Trip](), _Time()
    for path in records_in([folder]):
        found += _of_walk(path, time)
    for path in files_in([folder]):
        if is_watch(path):
            found += _of_watch(path, time)
    return once_each(found), time.backdrop()


def once_each(trips: Iterable[Trip]) -> list[Trip]:
    """The events in the order of time; what was told twice of one thing counts once."""
    kept: list[Trip] = []
    for one in sorted(trips, key=lambda trip: (trip.at, trip.thing)):
        same = next((k for k in reversed(kept) if k.thing == one.thing), None)
        if same is None or (one.at - same.at).total_seconds() > REPEATED_S:
            kept.append(one)
    return kept


def _of_walk(path: Path, time: _Time) -> Iterator[Trip]:
    touched: list[tuple[datetime, str]] = []
    spans: list[tuple[datetime, datetime]] = []
    degrees: dict[datetime, float] = {}
    for before, entry, state in follow(path, read_record(path)):
        at, setting = _local(entry.at), state.setting
        near = spans and (at - spans[-1][1]).total_seconds() <= APART_S
        spans[-1 if near else len(spans) :] = [(spans[-1][0], max(at, spans[-1][1]))] if near else [(at, at)]
        warm = _looked(state)
        if warm is not None:
            degrees[at.replace(minute=0, second=0, microsecond=0)] = warm
        match entry.event:
            case e.Disturbed() as one:
                touched.append((_local(one.when) if one.when else at, ", ".join(one.touches)))
            case e.Answered() if before.step is not None and before.step.kind == "do" and before.step.touches:
                touched.append((at, before.step.title))
            case e.Tripped() as one:
                yield Trip(at, one.thing, one.what, warm, _before(touched, at), one.by or "a person")
            case e.Said() as said if setting is not None:
                for ago, text, thing in _alarms(setting.bench.alarms, said.console, said.lines):
                    then = at - timedelta(seconds=ago)
                    yield Trip(then, thing, text, warm, _before(touched, then), f"console {said.console}")
            case _:
                pass
    time.degrees += degrees.values()
    for begin, end in spans:
        time.take(begin, end, sorted(touched))


def _looked(state: State) -> float | None:
    """°C in the hall where somebody said so; None where it is only taken for it."""
    fixed = state.setting is not None and state.setting.began.sequence.ambient is not None
    return state.conditions.ambient if fixed or "ambient" in state.conditions.answers else None


def _of_watch(path: Path, time: _Time) -> Iterator[Trip]:
    watch, said = w.Watch(), list[tuple[float, str, str, str]]()
    warm: list[tuple[float, float]] = []
    for entry, watch in follow_watch(path):
        match entry.event:
            case w.Said() as one:
                alarms = _alarms(watch.head.alarms, one.console, one.lines)
                said += [(one.at - ago, text, thing, one.console) for ago, text, thing in alarms]
            case w.Heard() as heard if watch.head.points[heard.point].reads == "temperature":
                warm += [(heard.at, value) for value in heard.values[-1:] if value is not None]
            case _:
                pass
    if watch.began is None:
        return
    began = _local(watch.begun)
    warm += _minutes_of(path, watch)
    warm.sort()
    time.degrees += {int(at // 3600): degrees for at, degrees in warm}.values()
    touches = [(began + timedelta(seconds=one.named), ", ".join(one.places)) for one in watch.moved]
    last = 0.0
    # where nobody watched nothing could be told
    for gap in sorted((one.begin, one.end) for one in watch.gaps if one.point < 0):
        time.take(began + timedelta(seconds=last), began + timedelta(seconds=gap[0]), touches)
        last = max(last, gap[1])
    time.take(began + timedelta(seconds=last), began + timedelta(seconds=watch.now), touches)
    happened = [(one.at, one.thing, one.what, one.by or "a person") for one in watch.tripped]
    happened += [(at, thing, text, f"console {console}") for at, text, thing, console in said]
    happened += _by_contacts(watch)
    for at, thing, what, how in happened:
        moved = [", ".join(one.places) for one in watch.moved if 0 <= at - one.named <= TOUCHED_S]
        degrees = next((value for moment, value in reversed(warm) if moment <= at), None)
        yield Trip(began + timedelta(seconds=at), thing, what, degrees, moved[-1] if moved else "", how)


def _minutes_of(path: Path, watch: w.Watch) -> list[tuple[float, float]]:
    """Seconds and temperature of a long watch's minutes, where they can be read here."""
    points = {number for number, point in enumerate(watch.head.points) if point.reads == "temperature"}
    if not points or not watch.sealed:
        return []
    try:
        rows = bands(path, watch.sealed)
    except NoParquet:
        return []
    return [((minute + 0.5) * 60.0, (low + high) / 2) for point, minute, low, high in rows if point in points]


def _by_contacts(watch: w.Watch) -> list[tuple[float, str, str, str]]:
    """What alarm contacts told: each change away from where the contact rests."""
    found = []
    for number, point in enumerate(watch.head.points):
        if not point.thing:
            continue
        changes = [(one.jump.at, one.jump.level, one.jump.value) for one in watch.jumps if one.point == number]
        changes += [(one.at, one.level, one.value) for one in watch.noticed if one.point == number]
        changes.sort()
        rest = changes[0][1] if changes else 0.0
        for at, level, value in changes:
            if leaves_rest(level, rest, value):
                found.append((at, point.thing, "its alarm contact changed", f"contact {point.name}"))
    return found


def _alarms(
    alarms: Sequence[AlarmFacts], console: str, lines: Sequence[tuple[float, str]]
) -> Iterator[tuple[float, str, str]]:
    for ago, text in lines:
        for one in alarms:
            if one.console == console and one.says in text:
                yield ago, text, one.thing


def _before(touched: Sequence[tuple[datetime, str]], at: datetime) -> str:
    """What was touched last before a moment, where that was not long ago."""
    near = [(when, text) for when, text in touched if 0.0 <= (at - when).total_seconds() <= TOUCHED_S]
    return max(near)[1] if near else ""


def _local(at: str) -> datetime:
    """A record's time on the clock on the wall, as tables of events have it."""
    return datetime.fromisoformat(at).astimezone().replace(tzinfo=None)
