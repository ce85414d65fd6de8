"""The record of a watch on disk: the same chained lines as any record, with a watch's own events."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Final

import msgspec

from bench.files import from_text
from bench.record.append import ChainedFile, TimeOfDay, stamp, utc_now
from bench.record.chain import BadLine
from bench.record.read import BrokenRecord, read_chained
from bench.walk.watching import (
    WATCH_FORMAT,
    NotNow,
    Said,
    TornEnd,
    Watch,
    WatchBegan,
    WatchEntry,
    WatchEvent,
    add,
)

_NAMED: Final = re.compile(r"watch(?:-[\w-]+)?\.jsonl")
_decoder: Final = msgspec.json.Decoder(WatchEntry, dec_hook=from_text)


def is_watch(path: Path) -> bool:
    """Whether a file is a watch's record, by its name: ``watch`` or ``watch-`` and more."""
    return _NAMED.fullmatch(path.name) is not None


def decode_watch(line: bytes) -> WatchEntry:
    """Read one line's entry.

    Raises:
        BadLine: it is not valid, or of a newer format than this program knows.
    """
    try:
        entry = _decoder.decode(line)
    except (msgspec.MsgspecError, ValueError, NotImplementedError, RecursionError) as error:
        raise BadLine(f"no event of a watch that this version knows: {error}") from error
    if isinstance(entry.event, WatchBegan) and entry.event.format > WATCH_FORMAT:
        raise BadLine(f"written in format {entry.event.format} by version {entry.event.software}: use the newer one")
    return entry


def follow_watch(path: Path) -> Iterator[tuple[WatchEntry, Watch]]:
    """Each event of a record with the watch after it, its chain checked; a torn last line is left out.

    Raises:
        BrokenRecord: a line is wrong, or does not follow from those before it.
    """
    watch = Watch()
    for number, _, entry in read_chained(path, decode_watch):
        try:
            watch = add(watch, entry)
        except NotNow as error:
            raise BrokenRecord(path, number, str(error)) from error
        yield entry, watch


def read_watch(path: Path) -> Watch:
    """The watch of a record.

    Raises:
        BrokenRecord: a line is wrong, does not follow from those before it, or there is none.
    """
    watch = Watch()
    for _, after in follow_watch(path):
        watch = after
    if watch.began is None:
        raise BrokenRecord(path, 0, "holds no watch")
    return watch


def spoken(path: Path) -> list[tuple[float, str, str]]:
    """All that consoles said in a watch: seconds, console, text.

    Raises:
        BrokenRecord: a line is wrong.
    """
    found: list[tuple[float, str, str]] = []
    for _, _, entry in read_chained(path, decode_watch):
        if isinstance(entry.event, Said):
            said = entry.event
            found += [(max(0.0, said.at - ago), said.console, text) for ago, text in said.lines]
    return found


class WatchWriter:
    """A watch that is being written: every event is on disk before it is taken. Use as a context manager.

    Args:
        path: the record; one that is there is continued.
        now: the time of day.

    Attributes:
        watch: what it holds now.

    Raises:
        BrokenRecord: something other than a torn end is wrong with what is there, or it has ended.
        RecordBusy: another process is writing it.
        RecordTrouble: it cannot be written.
    """

    def __init__(self, path: Path, now: TimeOfDay = utc_now) -> None:
        self.watch = Watch()
        self._now = now
        if not path.exists():
            self._writer = ChainedFile.begin(path, now, decode_watch)
            return
        self._writer, entries, torn = ChainedFile.go_on(path, now, WatchBegan, decode_watch)
        try:
            for entry in entries:
                self.watch = add(self.watch, entry)
            if self.watch.ended is not None:
                raise NotNow("the watch has ended; begin a new one")
        except NotNow as error:
            self._writer.close()
            raise BrokenRecord(path, 0, str(error)) from error
        if torn is not None:
            self.write(TornEnd(bytes=torn.bytes, sha256=torn.sha256, kept=torn.kept))

    @property
    def path(self) -> Path:
        """Where it is written."""
        return self._writer.path

    def since_begun(self) -> float:
        """Seconds of the time of day since it began; 0 before."""
        if not self.watch.begun:
            return 0.0
        began = datetime.fromisoformat(self.watch.begun)
        return max(0.0, (self._now() - began).total_seconds())

    def write(self, *events: WatchEvent) -> None:
        """Write events down and take them; nothing of one that does not fit is written.

        Raises:
            NotNow: an event does not fit what is there; those before it are written.
            RecordTrouble: the record cannot be written.
        """
        for event in events:
            entry = WatchEntry(n=self._writer.last + 1, at=stamp(self._now()), event=event)
            after = add(self.watch, entry)
            self._writer.append(entry)
            self.watch = after

    def close(self) -> None:
        """Let go of the record."""
        self._writer.close()

    def __enter__(self) -> WatchWriter:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
