"""A folder of records as one: each record distilled once, quick where nothing has changed since."""

from __future__ import annotations

import functools
import hashlib
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from pathlib import Path
from typing import Final

import msgspec

from bench.collector import put_off
from bench.job.damage import Damaged, look_at
from bench.job.known import KnownRecords, counts_of
from bench.job.order import Order
from bench.job.reach import Reaching, differences
from bench.job.readiness import void
from bench.job.rows import Chapter, Evidence, Told, distil, every_reading, in_time
from bench.plant.model import Plant
from bench.plant.resolve import resolve
from bench.record.index import (
    DISTURBANCES,
    Cache,
    Chain,
    Head,
    chain_of,
    declared,
    end_of,
    files_in,
    hash_at,
    head_of,
    records_in,
)
from bench.record.read import BrokenRecord, Followed, read_record
from bench.record.replay import follow
from bench.walk.events import Disturbed, Entry, Seen

Tell = Callable[[int, int], None]
"""Is told which record of how many is read; may raise to end the reading."""
DEPENDS_ON: Final = (
    "walk",
    "judge",
    "network",
    "say",
    "plant",
    "sequence",
    "record",
    "job/rows.py",
    "quantity.py",
    "roles.py",
    "files.py",
)
"""The code that a chapter rests on: when it changes, chapters are made anew."""


class NoRecords(ValueError):
    """A folder that should hold records is not there, or holds none."""


class Folder(msgspec.Struct, dict=True):
    """Everything that the records of a folder say, distilled.

    Attributes:
        path: the folder.
        chapters: one for each record, in the order of time, without its evidence (:meth:`evidence_of`).
        heads: record name to what it begins with.
        declared: disturbances that were told outside any walk.
        broken: records that cannot be used, in words; their evidence does not count.
        damaged: those of them that may have spoken of something.
        left_out: why other records do not count: record name to reason.
        practice: records of simulated benches, where there are real ones: they say nothing of the plant.
        notes: files of disturbances that were told outside any walk, with their last line.
        counts: record name to how many of its readings came to which verdict.
        distilled: evidence that was read so far, by record.
    """

    path: Path
    chapters: list[Chapter] = msgspec.field(default_factory=list)
    heads: dict[str, Head] = msgspec.field(default_factory=dict)
    declared: list[Told] = msgspec.field(default_factory=list)
    broken: list[BrokenRecord] = msgspec.field(default_factory=list)
    damaged: list[Damaged] = msgspec.field(default_factory=list)
    left_out: dict[str, str] = msgspec.field(default_factory=dict)
    practice: list[Chapter] = msgspec.field(default_factory=list)
    notes: dict[str, Seen] = msgspec.field(default_factory=dict)
    counts: dict[str, dict[str, int]] = msgspec.field(default_factory=dict)
    distilled: dict[str, tuple[Evidence, ...]] = msgspec.field(default_factory=dict)

    @cached_property
    def order(self) -> Order:
        """In which order the records were written, as they themselves say."""
        return self._order(self.chapters)

    @cached_property
    def whole_order(self) -> Order:
        """The same of all records, those of simulated benches among them."""
        return self._order([*self.chapters, *self.practice])

    def _order(self, chapters: list[Chapter]) -> Order:
        def hash_of(record: str, number: int) -> str:
            return hash_at(self.heads[record].path, number)

        notes = {name: seen.id for name, seen in self.notes.items()}
        return Order(chapters, self.declared, notes, hash_of, self.damaged)

    @property
    def told(self) -> list[Told]:
        """All that was told, in walks and outside them, and of damaged records, in the order of time."""
        told = [one for chapter in self.chapters for one in chapter.told] + self.declared
        told += [one.told for one in self.damaged]
        return sorted(told, key=in_time)

    @property
    def rows(self) -> list[Evidence]:
        """The evidence of all chapters.

        Raises:
            BrokenRecord: a record was changed since the folder was opened.
        """
        return [row for chapter in self.chapters for row in self.evidence_of(chapter)]

    def evidence_of(self, chapter: Chapter) -> tuple[Evidence, ...]:
        """The evidence of one chapter, read when it is first asked for.

        Raises:
            BrokenRecord: its record was changed since the folder was opened.
        """
        known = self.distilled.get(chapter.record)
        if known is None:
            whole = _kept_chapter(self.path, chapter.record, chapter.last)
            if whole is None:
                head = self.heads[chapter.record]
                whole = chapter_of(self.path, chapter.record, head)
                if whole.last != chapter.last:
                    raise BrokenRecord(head.path, 0, "was changed while it was read; begin again")
            known = self.distilled[chapter.record] = whole.evidence
        return known

    def counting(self, plant: Plant) -> list[Evidence]:
        """The evidence that still counts for a plant as it is now: what was disturbed or changed since is void.

        Raises:
            BrokenRecord: a record's plant cannot be read.
        """
        return void(self.rows, self.told, Reaching(plant), changes_since(self, plant), self.order)

    def read_after(self, plant: Plant, names: Iterable[str], when: str) -> dict[str, list[Evidence]]:
        """What was read of some things after a time, by clocks that nothing contradicts: record to its readings.

        Args:
            plant: as it is now.
            names: what was touched then.
            when: the time, UTC.
        """
        reaching = Reaching(plant)
        reach = reaching.of(names)
        found: dict[str, list[Evidence]] = {}
        for row in self.rows:
            if (
                row.at > when
                and reach.voids(row.subject, reaching.rests_on(row))
                and self.order.has_a_clock(row.record)
            ):
                found.setdefault(row.record, []).append(row)
        return found

    def later(self, found: dict[str, list[Evidence]]) -> dict[str, int]:
        """The same as a disturbance that is told later keeps it: first line's hash to the last line before."""
        ids = {chapter.record: chapter.id for chapter in self.chapters}
        return {ids[name]: min(row.n for row in rows) - 1 for name, rows in found.items()}

    @property
    def simulated(self) -> bool:
        """Whether the evidence that counts comes from simulated benches."""
        return any(chapter.simulated for chapter in self.chapters)


def open_folder(path: Path, plant: str = "", tell: Tell | None = None) -> Folder:
    """Distil every record below a folder.

    Records of another plant are left out. Simulated ones are left out as soon as there is a real one: what a simulator
    says proves nothing at the rack.

    Args:
        path: the folder.
        plant: the plant's name; empty takes every record.
        tell: is told before each record which one of how many it is.

    Raises:
        NoRecords: no such folder.
    """
    if not path.is_dir():
        raise NoRecords(f"found no folder {path}, expected the one that the records are in; name it with --logs")
    folder = Folder(path)
    records = records_in([path])
    with put_off():
        known = KnownRecords(path, code())
        for number, record in enumerate(records, 1):
            if tell is not None:
                tell(number, len(records))
            name = str(record.relative_to(path))
            try:
                _add(folder, record, name, plant, known)
            except BrokenRecord as error:
                folder.broken.append(error)
                folder.damaged += filter(None, [look_at(record, name, error.why)])
        known.save()
        _settle(folder)
    return folder


def skimmed(path: Path, heads: Mapping[str, Head]) -> Folder:
    """A folder by the first and last lines of its records alone: which count, in which order; without evidence.

    What is wrong inside of a record shows when it is read.

    Args:
        path: the folder.
        heads: record name to what it begins with.
    """
    folder = Folder(path, heads=dict(heads))
    for name, head in heads.items():
        end = end_of(head.path)
        folder.chapters.append(
            Chapter(
                record=name,
                began=head.at,
                ended=end.at,
                sequence=head.sequence,
                bench=head.bench.name,
                simulated=head.bench.simulated,
                operator=head.operator,
                plant_digest="",
                ending="",
                order=head.order,
                saw=head.saw,
                id=head.id,
                lines=end.n,
                last=end.hash,
            )
        )
    ids = Counter(chapter.id for chapter in folder.chapters)
    for chapter in list(folder.chapters):
        if ids[chapter.id] > 1:
            # of several copies one that is damaged must not be the one that counts
            try:
                chain_of(folder.heads[chapter.record].path)
            except BrokenRecord as error:
                folder.chapters.remove(chapter)
                folder.broken.append(error)
    _settle(folder)
    return folder


def _settle(folder: Folder) -> None:
    """Leave out what does not count among the records that were found: copies, and what is not as others saw it."""
    folder.declared = declared_in(folder.path, folder.broken)
    damaged = {error.path for error in folder.broken}
    for file in notes_in(folder.path):
        if file in damaged:
            continue
        chain = chain_of(file)
        if chain.lines:
            folder.notes[str(file.relative_to(folder.path))] = Seen(chain.first, chain.lines, chain.last)
    _once(folder)
    folder.chapters.sort(key=lambda chapter: (chapter.began, chapter.record))
    # a damaged copy of a record that is there whole takes nothing away
    folder.damaged = [one for one in folder.damaged if not any(one.is_copy_of(whole) for whole in folder.chapters)]
    altered = folder.order.altered
    for name, (why, lines) in altered.items():
        path = folder.heads[name].path
        folder.broken.append(BrokenRecord(path, 0, why))
        folder.damaged += filter(None, [look_at(path, name, why, lines)])
    folder.chapters = [chapter for chapter in folder.chapters if chapter.record not in altered]
    if any(not chapter.simulated for chapter in folder.chapters):
        for chapter in folder.chapters:
            if chapter.simulated:
                folder.left_out[chapter.record] = "simulated"
        folder.practice = [chapter for chapter in folder.chapters if chapter.simulated]
        folder.chapters = [chapter for chapter in folder.chapters if not chapter.simulated]
        folder.damaged = [one for one in folder.damaged if not one.simulated]
    del folder.order  # it was of all of them


def _once(folder: Folder) -> None:
    """Count a record once, however many copies there are; none of them where copies go on differently."""
    copies: dict[str, list[Chapter]] = {}
    for chapter in folder.chapters:
        copies.setdefault(chapter.id, []).append(chapter)
    for several in copies.values():
        if len(several) == 1:
            continue
        longest, *rest = sorted(several, key=lambda one: (-one.lines, one.record))
        apart = [one for one in rest if hash_at(folder.heads[longest.record].path, one.lines) != one.last]
        for one in rest:
            folder.left_out[one.record] = f"a copy of {longest.record}"
        gone = {one.record for one in rest}
        if apart:
            why = f"begins like {apart[0].record} and goes on differently: neither counts"
            folder.broken.append(BrokenRecord(folder.heads[longest.record].path, 0, why))
            both = [look_at(folder.heads[one.record].path, one.record, why) for one in (longest, *apart)]
            folder.damaged += filter(None, both)
            gone.add(longest.record)
        folder.chapters = [chapter for chapter in folder.chapters if chapter.record not in gone]


def notes_in(path: Path) -> list[Path]:
    """The files of disturbances that were told outside any walk: the folder's own, and those of folders below it."""
    return [file for file in files_in([path]) if file.name == DISTURBANCES] if path.is_dir() else []


def declared_in(path: Path, broken: list[BrokenRecord]) -> list[Told]:
    """The disturbances of a folder that were told outside any walk; of a damaged file those before the damage.

    Args:
        path: the folder.
        broken: takes up what is wrong with a file that they stand in.
    """
    found = []
    for file in notes_in(path):
        entries: list[Entry] = []
        try:
            declared(file.parent, entries)
        except BrokenRecord as error:
            broken.append(error)
        found += _declared(entries, str(file.relative_to(path)))
    return found


def _declared(entries: Iterable[Entry], name: str) -> list[Told]:
    found = []
    for entry in entries:
        event = entry.event
        if isinstance(event, Disturbed):
            found.append(
                Told(
                    record=name,
                    saw=tuple(event.saw),
                    n=entry.n,
                    at=entry.at,
                    kind="disturbance",
                    names=tuple(event.touches),
                    text=event.text,
                    by=event.by,
                    when=event.when,
                    later=event.later,
                )
            )
    return found


def _add(folder: Folder, record: Path, name: str, plant: str, known: KnownRecords) -> None:
    found = known.get(name, record)
    if found is None:
        look, head = known.look(name, record), head_of(record)
    else:
        head = found.head
    if plant and head.plant_name != plant:
        folder.left_out[name] = f"of the plant {head.plant_name}"
        return
    if found is None:
        whole = chapter_of(folder.path, name, head)
        chapter, counts = msgspec.structs.replace(whole, evidence=()), counts_of(whole.evidence)
        folder.distilled[name] = whole.evidence
        look.keep(head, chapter, counts)
    else:
        chapter, counts = found.chapter, found.counts
    folder.chapters.append(chapter)
    folder.heads[name], folder.counts[name] = head, counts


def chapter_of(folder: Path, name: str, head: Head) -> Chapter:
    """One record, distilled. Its chain is checked; what follows from it is kept.

    Args:
        folder: where what was worked out is kept.
        name: the record's name.
        head: what it begins with.

    Raises:
        BrokenRecord: its chain does not hold, or the machine does not take it.
    """
    # what a record states of its end is good for guessing whether a chapter is kept, and no more
    stated = end_of(head.path).hash
    kept = _kept_chapter(folder, name, stated)
    if kept is not None:
        last = chain_of(head.path).last
        kept = kept if last == stated else _kept_chapter(folder, name, last)
    if kept is not None:
        return kept
    # chain and entries in one go
    followed = Followed()
    chapter = distil(name, follow(head.path, read_record(head.path, followed)), head.plant_digest)
    if followed.lacking is not None:
        raise followed.lacking
    chain = Chain(followed.lines, followed.last.decode(), followed.torn, followed.first.decode())
    chapter = msgspec.structs.replace(chapter, id=chain.first, lines=chain.lines, last=chain.last)
    _chapters_kept(folder, name).put(chain.last, msgspec.json.encode(chapter))
    return chapter


_chapters: Final = msgspec.json.Decoder(Chapter)
_readings: Final = msgspec.json.Decoder(list[Evidence])


def _chapters_kept(folder: Path, name: str) -> Cache:
    return Cache(folder, f"chapter {name} {code()}")


def _kept_chapter(folder: Path, name: str, last: str) -> Chapter | None:
    """A chapter that was kept, by the last hash of its record; None where none is."""
    return _chapters_kept(folder, name).decoded(last, _chapters)


def readings_of(folder: Path, name: str, head: Head) -> list[Evidence]:
    """All readings of the plant in one record, those that were taken again among them, judged by today's code.

    As for :func:`chapter_of`, the chain is checked every time, and what follows from it is worked out once and kept.

    Args:
        folder: where what was worked out is kept.
        name: the record's name.
        head: what it begins with.

    Raises:
        BrokenRecord: its chain does not hold, or the machine does not take it.
    """
    chain = chain_of(head.path)
    cache = Cache(folder, f"readings {name} {code()}")
    kept = cache.decoded(chain.last, _readings)
    if kept is not None:
        return kept
    found = every_reading(name, follow(head.path))
    cache.put(chain.last, msgspec.json.encode(found))
    return found


@functools.cache
def code(more: tuple[str, ...] = ()) -> str:
    """A digest of the code that chapters rest on, by name, size and time of change.

    Args:
        more: rooms and files besides.
    """
    root = Path(__file__).parents[1]
    digest = hashlib.sha256()
    for part in (*DEPENDS_ON, *more):
        path = root / part
        for file in sorted(path.rglob("*.py")) if path.is_dir() else [path]:
            facts = file.stat()
            digest.update(f"{file.name} {facts.st_size} {facts.st_mtime_ns};".encode())
    return digest.hexdigest()


def changes_since(folder: Folder, plant: Plant, chapters: Iterable[Chapter] | None = None) -> dict[str, dict[str, str]]:
    """Record name to what is different in the plant now, name by name.

    Args:
        folder: the records.
        plant: as it is now.
        chapters: those of the folder that are asked for; None for all.

    Raises:
        BrokenRecord: a record's plant cannot be read.
    """
    by_digest: dict[str, dict[str, str]] = {}
    found = {}
    for chapter in folder.chapters if chapters is None else chapters:
        known = by_digest.get(chapter.plant_digest)
        if known is None:
            file = folder.heads[chapter.record].plant_file()
            known = {} if file == plant.file else differences(resolve(file), plant)
            by_digest[chapter.plant_digest] = known
        found[chapter.record] = known
    return found


def newest_plant(paths: Iterable[Path]) -> Plant:
    """The plant of the newest record, for those who name none.

    Raises:
        NoRecords: there is no record.
        BrokenRecord: it cannot be read.
    """
    newest = None
    for path in paths:
        try:
            head = head_of(path)
        except BrokenRecord:
            continue
        if newest is None or head.at > newest.at:
            newest = head
    if newest is None:
        raise NoRecords("found no record, expected at least one; name their folder with --logs")
    return resolve(newest.plant_file())
