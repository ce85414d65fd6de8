"""What is known of a folder's records from an earlier look, in one file: asking again opens no other one.

A record is taken for the one that was read then while its file has the same inode, size, and times of change. Whoever
writes into a file and sets its time back still changes the time that the file system itself keeps; a disk that loses a
bit changes none of them, which is what ``proveout verify`` reads every byte for.
"""

from __future__ import annotations

import os
from collections import Counter
from pathlib import Path
from typing import Any, Final

import msgspec
from msgspec.structs import replace

from bench.job.rows import Chapter, Evidence
from bench.record.index import Cache, Head, settled
from bench.record.read import BrokenRecord


class Known(msgspec.Struct, frozen=True, omit_defaults=True):
    """One record.

    Attributes:
        touched: inode, size and times of change of its file when it was read.
        head: what it begins with.
        chapter: what it says of the plant, without its evidence.
        counts: how many of its readings came to which verdict.
    """

    touched: str
    head: Head
    chapter: Chapter
    counts: dict[str, int] = {}


def counts_of(rows: tuple[Evidence, ...]) -> dict[str, int]:
    """How many readings came to which verdict."""
    return dict(Counter(row.verdict for row in rows))


def _a_path(kind: type, value: Any) -> Any:
    return Path(value)


_all: Final = msgspec.json.Decoder(dict[str, Known], dec_hook=_a_path)


class KnownRecords:
    """What is known of the records of a folder.

    Args:
        folder: of the records.
        code: tells the code that it was worked out by.
    """

    def __init__(self, folder: Path, code: str) -> None:
        self._cache, self._key = Cache(folder, f"known {code}"), "known"
        self._before = self._cache.decoded(self._key, _all) or {}
        self._now: dict[str, Known] = {}

    def get(self, name: str, path: Path) -> Known | None:
        """What is known of a record; None where it was not looked at, or its file was touched since.

        Raises:
            BrokenRecord: the file cannot be read.
        """
        known = self._before.get(name)
        if known is None or known.touched != _touched(_facts(path)):
            return None
        self._now[name] = known
        return replace(known, head=replace(known.head, path=path))

    def look(self, name: str, path: Path) -> Look:
        """Begin to look at a record that is not known.

        Raises:
            BrokenRecord: the file cannot be read.
        """
        return Look(self._now, name, _facts(path))

    def save(self) -> None:
        """Keep what is known now."""
        if self._now != self._before:
            self._cache.put(self._key, msgspec.json.encode(self._now, enc_hook=str))


class Look(msgspec.Struct, frozen=True):
    """A look at a record, begun when its file was as it was then.

    Attributes:
        into: where it is kept.
        name: the record's name.
        facts: of its file.
    """

    into: dict[str, Known]
    name: str
    facts: os.stat_result

    def keep(self, head: Head, chapter: Chapter, counts: dict[str, int]) -> None:
        """Keep what the look gave; not where the file was touched so lately that it may be touched again unseen.

        Args:
            head: what the record begins with.
            chapter: what it says of the plant.
            counts: verdict to how many readings came to it.
        """
        if settled(self.facts):
            self.into[self.name] = Known(_touched(self.facts), head, chapter, counts)


def _facts(path: Path) -> os.stat_result:
    try:
        return path.stat()
    except OSError as error:
        raise BrokenRecord(path, 0, f"cannot be read: {error.strerror}") from error


def _touched(facts: os.stat_result) -> str:
    return f"{facts.st_ino} {facts.st_size} {facts.st_mtime_ns} {facts.st_ctime_ns}"
