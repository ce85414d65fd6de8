"""The readings of a folder over time, and what became of a point: what was touched then, what else changed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

import msgspec
from msgspec.structs import replace

from bench.job.common_changes import Across
from bench.job.folder import Tell, chapter_of, declared_in, readings_of, skimmed
from bench.job.points import Point, Surroundings, surroundings
from bench.job.reach import differences
from bench.job.rows import Chapter, Evidence, Told
from bench.job.study import Study, Window, bench_changes, study
from bench.job.suspects import suspects
from bench.plant.model import Plant
from bench.plant.resolve import resolve
from bench.record.append import stamp
from bench.record.index import Head, end_of, has_notes, head_of, records_in, search, tells_beside_readings
from bench.record.read import BrokenRecord


class History:
    """The readings of a folder, record by record, never more than one record's in memory.

    A copy counts once, an altered record not at all, and a simulated one not where there are real ones.

    Args:
        folder: of the records.
        records: the records.
        plant: the plant's name: records of others are passed over.
        tell: is told before each record which one of how many it is; may raise to end the reading.
    """

    def __init__(self, folder: Path, records: list[Path], plant: str, tell: Tell | None = None) -> None:
        self.folder = folder
        self.heads: dict[str, Head] = {}
        self.broken: list[str] = []
        self._tell = tell
        for path in records:
            try:
                head = head_of(path)
            except BrokenRecord as error:
                self.broken.append(str(error))
                continue
            if head.plant_name == plant:
                self.heads[str(path.relative_to(folder))] = head
        counted = skimmed(folder, self.heads)
        self.broken += map(str, counted.broken)
        self.clocks = counted.order.clocks
        names = {chapter.record for chapter in counted.chapters}
        self.heads = {name: head for name, head in self.heads.items() if name in names}
        self.simulated = counted.simulated or not self.heads
        self.moved = _moved(counted.chapters)

    def rows(self, names: Iterable[str] | None = None) -> Iterator[Evidence]:
        """The readings of some names, or all."""
        wanted = None if names is None else frozenset(names)
        for number, (name, head) in enumerate(self.heads.items(), 1):
            if self._tell is not None:
                self._tell(number, len(self.heads))
            try:
                if wanted is not None and not _may_speak_of(head.path, wanted):
                    continue
                for row in readings_of(self.folder, name, head):
                    if wanted is None or row.subject in wanted or not wanted.isdisjoint(row.between):
                        yield self._in_order(name, row)
            except BrokenRecord as error:
                self.broken.append(str(error))

    def _in_order(self, name: str, row: Evidence) -> Evidence:
        """The reading at a time that does not contradict the order of records, where its clock does."""
        late = self.moved.get(name)
        return row if late is None else msgspec.structs.replace(row, at=_later(row.at, late))

    def told(self, plant: Plant, window: Window) -> list[Told]:
        """What happened inside a window, from the records that overlap it and from what was declared outside walks.

        Args:
            plant: as it is now.
            window: between which readings it happened.
        """
        damaged: list[BrokenRecord] = []
        found = declared_in(self.folder, damaged)
        self.broken += [str(error) for error in damaged if str(error) not in self.broken]
        for name, head in self.heads.items():
            if head.at > window.until_at or end_of(head.path).at < window.after_at:
                continue
            try:
                found += chapter_of(self.folder, name, head).told
            except BrokenRecord as error:
                self.broken.append(str(error))
        return [*found, *bench_changes(window), *self._plant_changes(window)]

    def _plant_changes(self, window: Window) -> list[Told]:
        """The plant file was another one at the last reading before."""
        last, first, _ = window.sides
        if last is None:
            return []
        before, after = self.heads[last.record], self.heads[first.record]
        if before.plant_digest == after.plant_digest:
            return []
        changed = differences(resolve(before.plant_file()), resolve(after.plant_file()))
        return [
            Told(record=first.record, n=1, at=after.at, kind="plant", names=(name,), text=words)
            for name, words in changed.items()
        ]


def told_between(folder: Path, plant: str, after: str, until: str) -> list[Told]:
    """What was told to have happened to a plant between two moments, in the order of time.

    Args:
        folder: of the records.
        plant: the plant's name.
        after: the first moment, UTC.
        until: the last one.
    """
    history = History(folder, records_in([folder]), plant)
    found = list(declared_in(folder, []))
    for name, head in history.heads.items():
        found += chapter_of(folder, name, head).told
    return sorted((one for one in found if after < one.happened <= until), key=lambda one: one.happened)


def _moved(chapters: Iterable[Chapter]) -> dict[str, float]:
    """Record to the seconds by which it began later than its clock says: after the end of another one that it saw."""
    by_id = {chapter.id: chapter for chapter in chapters if chapter.id}
    moved: dict[str, float] = {}
    for chapter in sorted(by_id.values(), key=lambda one: (one.order, one.began)):
        late = 0.0
        for saw in chapter.saw:
            before = by_id.get(saw.id)
            # one that was continued afterwards ended later, and rightly so
            if before is not None and before.ended and saw.n >= before.lines:
                apart = _seconds(before.ended) + moved.get(before.record, 0.0) - _seconds(chapter.began)
                late = max(late, apart + 1.0 if apart > 0 else 0.0)
        if late:
            moved[chapter.record] = late
    return moved


def _seconds(at: str) -> float:
    return datetime.fromisoformat(at).timestamp()


def _later(at: str, seconds: float) -> str:
    return stamp(datetime.fromisoformat(at) + timedelta(seconds=seconds))


def _may_speak_of(path: Path, names: frozenset[str]) -> bool:
    """Whether a record may hold a reading of one of these names, by a look at its text alone.

    The notes beside readings say in plain text which names they are about. Records without notes, and loads that were
    brought up, do not: those records are read whole.
    """
    return tells_beside_readings(path) or not has_notes(path) or any(True for _ in search(path, names))


def studies_of(history: History, plant: Plant, point: Point, alone: bool = False) -> list[Study]:
    """Every series of a point: what became of it, what happened then and, unless alone, what else changed.

    Args:
        history: the readings of the folder.
        plant: as it is now.
        point: what is traced.
        alone: whether the other points are left alone; looking at them reads every record.
    """
    studies = study(row for row in history.rows(point.sought) if point.matches(row))
    return _explained(studies, history, plant, surroundings(plant, point), alone)


MOST_COMPARED = 5
"""Series of a point for which it is asked what else changed at the same time; those that changed most."""


def _explained(studies: list[Study], history: History, plant: Plant, around: Surroundings, alone: bool) -> list[Study]:
    """The studies with what happened inside their windows and what else changed then, in one pass over the rest."""
    compared: dict[int, Across] = {}
    for number, one in enumerate(studies):
        if not alone and one.window is not None and one.window.after_at and len(compared) < MOST_COMPARED:
            compared[number] = Across(one.window.after_at, one.window.until_at)
    if compared:
        for row in history.rows():
            for across in compared.values():
                across.take(row)
    found = []
    for number, one in enumerate(studies):
        window = one.window
        if window is None:
            found.append(one)
            continue
        told = suspects(history.told(plant, window), window.after_at, window.until_at, around, plant)
        common = compared[number].common(plant, one.key) if number in compared else None
        found.append(replace(one, suspects=tuple(told), common=common))
    return found
