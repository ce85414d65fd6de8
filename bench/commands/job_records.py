"""What the commands share that look into a folder of records: its chapters, quick where nothing has changed."""

from __future__ import annotations

import functools
import hashlib
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bench.job.rows import Chapter, Evidence, Told
    from bench.plant.model import Plant
    from bench.record.index import Head
    from bench.record.read import BrokenRecord

Tell = Callable[[int, int], None]
"""Is told which record of how many is read; may raise to end the reading."""
DEPENDS_ON = ("walk", "judge", "plant", "sequence", "job/rows.py", "quantity.py", "roles.py", "files.py")
"""The code that a chapter rests on: when it changes, chapters are made anew."""


@dataclass(slots=True)
class Folder:
    """Everything that the records of a folder say, distilled.

    Attributes:
        path: the folder.
        chapters: one for each record, in the order of time.
        heads: record name to what it begins with.
        declared: disturbances that were told outside any walk.
        broken: records that cannot be used; their evidence does not count.
        left_out: why other records do not count: record name to reason.
    """

    path: Path
    chapters: list[Chapter] = field(default_factory=list)
    heads: dict[str, Head] = field(default_factory=dict)
    declared: list[Told] = field(default_factory=list)
    broken: list[BrokenRecord] = field(default_factory=list)
    left_out: dict[str, str] = field(default_factory=dict)

    @property
    def told(self) -> list[Told]:
        """All that was told, in walks and outside them, in the order of time."""
        told = [one for chapter in self.chapters for one in chapter.told] + self.declared
        return sorted(told, key=lambda one: (one.happened, one.record, one.n))

    @property
    def rows(self) -> list[Evidence]:
        """The evidence of all chapters."""
        return [row for chapter in self.chapters for row in chapter.evidence]

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
        tell: is told before each record which one of how many it is; by default a line on the terminal is written over.

    Raises:
        BadRequest: no such folder.
        BrokenRecord: the folder's file of disturbances was changed.
    """
    from bench.errors import BadRequest
    from bench.record.index import records_in
    from bench.record.read import BrokenRecord

    if not path.is_dir():
        raise BadRequest(f"found no folder {path}, expected the one that the records are in; name it with --logs")
    folder = Folder(path)
    records = records_in([path])
    for number, record in enumerate(records, 1):
        (tell or _say_progress)(number, len(records))
        name = str(record.relative_to(path))
        try:
            _add(folder, record, name, plant)
        except BrokenRecord as error:
            folder.broken.append(error)
    if tell is None:
        _say_progress(0, 0)
    folder.declared = declared_in(path)
    if any(not chapter.simulated for chapter in folder.chapters):
        for chapter in folder.chapters:
            if chapter.simulated:
                folder.left_out[chapter.record] = "simulated"
        folder.chapters = [chapter for chapter in folder.chapters if not chapter.simulated]
    folder.chapters.sort(key=lambda chapter: (chapter.began, chapter.record))
    return folder


def declared_in(path: Path) -> list[Told]:
    """The disturbances of a folder that were told outside any walk.

    Raises:
        BrokenRecord: the file that they stand in was changed.
    """
    from bench.job.rows import Told
    from bench.record.index import DISTURBANCES, declared
    from bench.walk.events import Disturbed

    found = []
    for entry in declared(path):
        event = entry.event
        if isinstance(event, Disturbed):
            found.append(
                Told(
                    record=DISTURBANCES,
                    n=entry.n,
                    at=entry.at,
                    kind="disturbance",
                    names=tuple(event.touches),
                    text=event.text,
                    by=event.by,
                    when=event.when,
                )
            )
    return found


def _add(folder: Folder, record: Path, name: str, plant: str) -> None:
    from bench.record.index import head_of

    head = head_of(record)
    if plant and head.plant_name != plant:
        folder.left_out[name] = f"of the plant {head.plant_name}"
        return
    folder.chapters.append(chapter_of(folder.path, name, head))
    folder.heads[name] = head


def chapter_of(folder: Path, name: str, head: Head) -> Chapter:
    """One record, distilled. Its chain is checked every time; what follows from it is worked out once and kept.

    Args:
        folder: where what was worked out is kept.
        name: the record's name.
        head: what it begins with.

    Raises:
        BrokenRecord: its chain does not hold, or the machine does not take it.
    """
    import msgspec

    from bench.job.rows import Chapter, distil
    from bench.record.index import Cache, chain_of
    from bench.record.read import BrokenRecord, read_record
    from bench.walk.state import OutOfTurn, Refused, Stale

    chain = chain_of(head.path)
    cache = Cache(folder, f"chapter {name} {_code()}")
    kept = cache.get(chain.last)
    if kept is not None:
        try:
            return msgspec.json.decode(kept, type=Chapter)
        except msgspec.MsgspecError:
            pass  # written by halves, or by hand: it is made anew
    try:
        chapter = distil(name, read_record(head.path), head.plant_digest)
    except (OutOfTurn, Refused, Stale) as error:
        raise BrokenRecord(head.path, 0, f"does not follow from its own lines: {error}") from error
    cache.put(chain.last, msgspec.json.encode(chapter))
    return chapter


@functools.cache
def _code() -> str:
    """A digest of the code that chapters rest on, by name, size and time of change."""
    import bench

    root = Path(bench.__file__).parent
    digest = hashlib.sha256(bench.__version__.encode())
    for part in DEPENDS_ON:
        path = root / part
        for file in sorted(path.glob("*.py")) if path.is_dir() else [path]:
            facts = file.stat()
            digest.update(f"{file.name} {facts.st_size} {facts.st_mtime_ns};".encode())
    return digest.hexdigest()


def _say_progress(number: int, of: int) -> None:
    """One line that is written over, on a terminal only."""
    if not sys.stderr.isatty():
        return
    text = f"reading records: {number} of {of}" if of else ""
    print(f"\r{text:40}\r" if not text else f"\r{text}", end="", file=sys.stderr, flush=True)


def changes_since(folder: Folder, plant: Plant) -> dict[str, dict[str, str]]:
    """Record name to what is different in the plant now, name by name.

    Raises:
        BrokenRecord: a record's plant cannot be read.
    """
    from bench.job.reach import differences
    from bench.plant.resolve import resolve

    by_digest: dict[str, dict[str, str]] = {}
    found = {}
    for chapter in folder.chapters:
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
        BadRequest: there is no record.
        BrokenRecord: it cannot be read.
    """
    from bench.errors import BadRequest
    from bench.plant.resolve import resolve
    from bench.record.index import head_of
    from bench.record.read import BrokenRecord

    newest = None
    for path in paths:
        try:
            head = head_of(path)
        except BrokenRecord:
            continue
        if newest is None or head.at > newest.at:
            newest = head
    if newest is None:
        raise BadRequest("found no record, expected at least one; name their folder with --logs")
    return resolve(newest.plant_file())
