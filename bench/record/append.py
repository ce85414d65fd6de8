"""Writing a record: one owner, one write and one sync for each event."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, Generic, Self, TypeVar

import msgspec

from bench.record.chain import FIRST, LONGEST, BadLine, Numbered, check, decode, in_place, is_torn, lacks_sectors, seal
from bench.record.read import BrokenRecord, read_lines
from bench.walk.events import Began, Entry, Event, Mended, Read

TimeOfDay = Callable[[], datetime]


class RecordBusy(RuntimeError):
    """Another process holds the record open for writing."""


class RecordTrouble(RuntimeError):
    """The record cannot be written: full disk, read-only folder, lost drive. Nothing of the event was kept."""


class CannotKeep(ValueError):
    """An event holds something that a record cannot give back as it is, such as an infinite number."""


class Torn(msgspec.Struct, frozen=True):
    """A torn end that was set aside."""

    bytes: int
    sha256: str
    kept: str


def utc_now() -> datetime:
    """The time of day."""
    return datetime.now(UTC)


def stamp(moment: datetime) -> str:
    """A time as records write it: UTC, ISO 8601, microseconds, Z."""
    return moment.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def _lock(descriptor: int, path: Path) -> None:
    """Take the record for this process alone; the system lets go when the process ends, however it ends.

    Raises:
        RecordBusy: another process has it.
        RecordTrouble: the file system knows no locks.
    """
    try:
        if sys.platform == "win32":
            import msvcrt

            # a byte far beyond the end: locking one in the text would keep readers out
            os.lseek(descriptor, 2**62, os.SEEK_SET)
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in (errno.EAGAIN, errno.EACCES, errno.EDEADLK):
            raise RecordBusy(
                f"{path} is being written by another process; a walk that waits is taken up again with "
                f"'proveout walk --attach {path}'"
            ) from error
        raise RecordTrouble(f"{path} cannot be locked: {error.strerror}") from error


_COPIED: Final = 2**20
"""Bytes that are copied at a time."""
_SYNC: Final = getattr(os, "fdatasync", os.fsync)


def _sync(descriptor: int) -> None:
    """Have what was written reach the disk itself.

    On macOS the plain call leaves it in the drive's own memory: there is one of the system's own that does not. A file
    system that lacks it gets the plain one.
    """
    if sys.platform == "darwin":
        import fcntl

        try:
            fcntl.fcntl(descriptor, fcntl.F_FULLFSYNC)
            return
        except OSError:
            pass
    _SYNC(descriptor)


E = TypeVar("E", bound=Numbered)


class ChainedFile(Generic[E]):
    """Owns a file of chained lines and appends to it. Use as a context manager.

    The file is locked against a second writer and opened for appending. ``append`` returns only after the line is on
    disk; if it cannot be written whole, the file is cut back to what it was and :class:`RecordTrouble` is raised.
    Where the file was moved, removed or replaced meanwhile, it is written again, whole, beside its old place, and
    ``path`` is the new one from then on.
    """

    def __init__(
        self,
        path: Path,
        descriptor: int,
        *,
        last: int,
        chain: bytes,
        size: int,
        now: TimeOfDay,
        decode: Callable[[bytes], E],
    ) -> None:
        self.path = path
        self._decode = decode
        self.last = last
        self._descriptor = descriptor
        self._chain = chain
        self._size = size
        self._now = now
        self._unclean = False

    @classmethod
    def begin(cls, path: Path, now: TimeOfDay, decode: Callable[[bytes], E]) -> Self:
        """Begin a new file; or again one that was cut off in its first line: what is there of that is set aside.

        Args:
            path: the file.
            now: the time of day.
            decode: reads a line's entry.

        Raises:
            FileExistsError: there is one already; a record is never overwritten.
            RecordTrouble: the folder cannot be written.
        """
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise RecordTrouble(f"{path.parent} cannot be made: {error.strerror}") from error
        try:
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_APPEND, 0o644)
        except FileExistsError:
            if not _never_begun(path):
                raise FileExistsError(f"{path} is there already; a record is never overwritten") from None
            descriptor = os.open(path, os.O_RDWR | os.O_APPEND)
        except OSError as error:
            raise RecordTrouble(f"{path} cannot be written: {error.strerror}") from error
        try:
            _lock(descriptor, path)
            _set_aside(path, descriptor, 0)
            _sync_folder(path.parent)
        except BaseException:
            os.close(descriptor)
            raise
        return cls(path, descriptor, last=0, chain=FIRST, size=0, now=now, decode=decode)

    @classmethod
    def go_on(
        cls, path: Path, now: TimeOfDay, begins: type | tuple[type, ...], decode: Callable[[bytes], E]
    ) -> tuple[Self, list[E], Torn | None]:
        """Open a file to go on with it: verify it whole, set a torn end aside.

        Args:
            path: the file.
            now: the time of day.
            begins: what its first event may be.
            decode: reads a line's entry.

        Returns:
            The writer, the record's entries, and what was set aside, if anything. A ``Mended`` event is not written
            here: the caller appends it, so that the machine takes it too.

        Raises:
            RecordBusy: another process is writing it.
            BrokenRecord: something other than the torn end is wrong; nothing is changed then.
            RecordTrouble: it cannot be opened for writing.
        """
        try:
            descriptor = os.open(path, os.O_RDWR | os.O_APPEND)
        except OSError as error:
            raise RecordTrouble(f"{path} cannot be opened for writing: {error.strerror}") from error
        try:
            _lock(descriptor, path)
            entries, chain, size = _verified(path, begins, decode)
            torn = _set_aside(path, descriptor, size)
        except BaseException:
            os.close(descriptor)
            raise
        writer = cls(path, descriptor, last=len(entries), chain=chain, size=size, now=now, decode=decode)
        return writer, entries, torn

    def append(self, entry: E) -> bytes:
        """Write one entry and have it on disk.

        Returns:
            Its raw line.

        Raises:
            RecordTrouble: it could not be written; the record is as it was before.
            CannotKeep: it would not be read back as it is; the record is as it was before.
        """
        if entry.n != self.last + 1:
            raise ValueError(f"entry {entry.n} does not follow {self.last}")
        line, chain = self._sealed(entry)
        try:
            if self._unclean:
                self._cut_back()
            self._unclean = True
            view = memoryview(line)
            while view:
                view = view[os.write(self._descriptor, view) :]
            _sync(self._descriptor)
            if not self._in_place():
                self._write_elsewhere(self._size + len(line))
        except OSError as error:
            there = self._in_place()
            # where even this fails it is done again before the next line is written
            with contextlib.suppress(OSError):
                self._cut_back()
            reason = error.strerror or type(error).__name__
            if not there:
                raise RecordTrouble(
                    f"{self.path} was moved or removed, and cannot be written again: {reason}"
                ) from error
            raise RecordTrouble(f"{self.path} cannot be written: {reason}") from error
        self.last, self._chain, self._size = entry.n, chain, self._size + len(line)
        self._unclean = False
        return line

    def _sealed(self, entry: E) -> tuple[bytes, bytes]:
        try:
            line, chain = seal(entry, self._chain)
            back = self._decode(line)
        except (BadLine, UnicodeEncodeError) as error:
            raise CannotKeep(f"the event could not be read back: {error}") from error
        if len(line) > LONGEST:
            raise CannotKeep(f"{type(entry.event).__name__} takes {len(line)} bytes, more than a line may have")
        if back != entry and _plain(back) != _plain(entry):
            raise CannotKeep(f"{type(entry.event).__name__} holds a number that is none, or infinite")
        return line, chain

    def _in_place(self) -> bool:
        """Whether the file that is written is the one that a reader finds."""
        try:
            return os.path.samestat(os.stat(str(self.path)), os.fstat(self._descriptor))  # noqa: PTH116 - of each line
        except OSError:
            return False

    def _write_elsewhere(self, size: int) -> None:
        """Write the record again beside its old place, from the file that is still open though it has no name there.

        Raises:
            OSError: it cannot be written, or does not come out whole.
        """
        self.path.parent.mkdir(parents=True, exist_ok=True)
        number = 2
        while (path := self.path.with_name(f"{self.path.stem}-again-{number}{self.path.suffix}")).exists():
            number += 1
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_APPEND, 0o644)
        try:
            _lock(descriptor, path)
            os.lseek(self._descriptor, 0, os.SEEK_SET)
            left = size
            while left:
                part = os.read(self._descriptor, min(left, _COPIED))
                if not part:
                    raise OSError(errno.EIO, "the record does not come back whole")
                left -= len(part)
                view = memoryview(part)
                while view:
                    view = view[os.write(descriptor, view) :]
            os.fsync(descriptor)
            _sync_folder(path.parent)
        except BaseException:
            os.close(descriptor)
            path.unlink(missing_ok=True)
            raise
        os.close(self._descriptor)
        self._descriptor, self.path = descriptor, path

    def _cut_back(self) -> None:
        os.ftruncate(self._descriptor, self._size)
        self._unclean = False

    def close(self) -> None:
        """Let go of the record."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class RecordWriter(ChainedFile[Entry]):
    """Owns the record of a walk, or a file of disturbances, and appends to it."""

    @classmethod
    def create(cls, path: Path, now: TimeOfDay = utc_now) -> RecordWriter:
        """Begin a new record.

        Raises:
            FileExistsError: there is one already; a record is never overwritten.
            RecordTrouble: the folder cannot be written.
        """
        return cls.begin(path, now, decode)

    @classmethod
    def reopen(
        cls, path: Path, now: TimeOfDay = utc_now, begins: type | tuple[type, ...] = Began
    ) -> tuple[RecordWriter, list[Entry], Torn | None]:
        """Open a record to go on with it; see :meth:`ChainedFile.go_on`.

        Args:
            path: the record.
            now: the time of day.
            begins: what its first event may be.
        """
        return cls.go_on(path, now, begins, decode)

    def envelope(self, event: Event) -> Entry:
        """Put an event into the envelope that it will have when it is appended next."""
        return Entry(n=self.last + 1, at=stamp(self._now()), event=event)


def _plain(entry: Numbered) -> object:
    """The entry without what the fold never reads, which may hold anything."""
    if isinstance(entry, Entry) and isinstance(entry.event, Read):
        return msgspec.structs.replace(entry, event=msgspec.structs.replace(entry.event, judged={}))
    return entry


def _never_begun(path: Path) -> bool:
    """Whether a file has no whole line: whoever began it was stopped before anything was taken."""
    try:
        return next((not line.endswith(b"\n") for _, line in read_lines(path)), path.is_file())
    except BrokenRecord:
        return False


def _sync_folder(folder: Path) -> None:
    """Make the new file's name durable where the system can."""
    if sys.platform == "win32":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError:
        pass  # some network file systems refuse; the file itself is synced anyway
    finally:
        os.close(descriptor)


def _verified(path: Path, begins: type | tuple[type, ...], decode: Callable[[bytes], E]) -> tuple[list[E], bytes, int]:
    """All whole lines of a record, the last hash, and where the whole lines end.

    A line without its newline, or one that lacks whole sectors, is torn where it is the last one; anything else that
    does not fit was changed.
    """
    entries: list[E] = []
    chain, size, lines = FIRST, 0, read_lines(path)
    for number, line in lines:
        try:
            if is_torn(line, chain):
                break
            digest = check(line, chain)
            entry = decode(line)
            in_place(entry, number, begins)
        except BadLine as error:
            if lacks_sectors(line, size) and next(lines, None) is None:
                break
            raise BrokenRecord(path, number, str(error)) from error
        entries.append(entry)
        chain, size = digest, size + len(line)
    return entries, chain, size


def _set_aside(path: Path, descriptor: int, size: int) -> Torn | None:
    with path.open("rb") as stream:
        stream.seek(size)
        tail = stream.read()
    if not tail:
        return None
    digest = hashlib.sha256(tail).hexdigest()
    kept = path.with_name(f"{path.name}.torn-{digest[:12]}")
    try:
        with kept.open("wb") as stream:
            stream.write(tail)
            stream.flush()
            os.fsync(stream.fileno())
        _sync_folder(path.parent)
        os.ftruncate(descriptor, size)
        _sync(descriptor)
    except OSError as error:
        raise RecordTrouble(f"the torn end of {path} cannot be set aside in {kept}: {error.strerror}") from error
    return Torn(len(tail), digest, kept.name)


def mended(torn: Torn) -> Mended:
    """The event that tells of a torn end."""
    return Mended(bytes=torn.bytes, sha256=torn.sha256, kept=torn.kept)
