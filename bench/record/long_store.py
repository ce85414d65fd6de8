"""What a long watch keeps beside its record: statistics a minute, full readings around events, in sealed Parquet files.

Beside ``watch-NAME.jsonl`` lies the folder ``watch-NAME``. What is in it:

* ``raw.journal``: the readings of the minute that runs, appended and synced every few seconds;
* ``rows.journal``: finished minutes and readings around events, since the last sealing;
* ``minutes-0001.parquet``, ``readings-0001.parquet``: what was sealed; the record has the hash of each.

A reading is kept for good (acknowledged) once the journal that it stands in is synced. Whatever ends the program
between two of these steps loses none of those and counts none twice: a minute goes to the row journal before the raw
journal loses its readings, and readings of a minute that has a row are not counted again; a Parquet file is written
under another name, synced, renamed, told in the record, and only then the row journal is emptied. Rows that are found
in it although a sealed file has them are left out.

Journal lines are JSON with a checksum, so a torn or damaged end is known for what it is and cut off.
"""

from __future__ import annotations

import hashlib
import json
import os
import zlib
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import msgspec

from bench.record.append import RecordTrouble
from bench.record.export import NoParquet
from bench.record.read import BrokenRecord
from bench.walk.watching import Sealed

if TYPE_CHECKING:
    import pyarrow

MINUTE_S: Final = 60.0
SEAL_ROWS: Final = 6 * 60
"""Minutes of one point after which a file is sealed: six hours. Few files, and little to read again after a crash."""
SEAL_READINGS: Final = 50_000
"""Readings around events after which it is sealed too, whatever the hour."""
HELD: Final = 200_000
"""Readings that are held while the disk takes none; then the oldest half is given up, and that is told."""
MINUTE_COLUMNS: Final = ("point", "minute", "n", "mean", "sd", "min", "max", "p01", "p99", "bad")
READING_COLUMNS: Final = ("point", "at", "value")


class Minute(msgspec.Struct, frozen=True):
    """What one minute of a point came to.

    Attributes:
        point: index of the point.
        minute: which, counted from the watch's beginning.
        n: readings that were figures.
        mean: of these; not a number where there were none.
        sd: standard deviation.
        low: the lowest.
        high: the highest.
        p01: what one in a hundred lies below.
        p99: what one in a hundred lies above.
        bad: readings over range.
    """

    point: int
    minute: int
    n: int
    mean: float
    sd: float
    low: float
    high: float
    p01: float
    p99: float
    bad: int = 0


Reading = tuple[int, float, float | None]
"""Point, seconds, value; None: over range."""


def minute_of(point: int, minute: int, values: Iterable[float | None]) -> Minute:
    """The statistics of one minute.

    Args:
        point: index of the point.
        minute: which.
        values: its readings; None: over range.
    """
    import numpy as np

    given = list(values)
    figures = np.array([value for value in given if value is not None], dtype=float)
    bad = len(given) - len(figures)
    if not len(figures):
        nothing = float("nan")
        return Minute(point, minute, 0, nothing, nothing, nothing, nothing, nothing, nothing, bad)
    sd = float(np.std(figures, ddof=1)) if len(figures) > 1 else 0.0
    low, high = (float(one) for one in np.quantile(figures, (0.01, 0.99)))
    least, most = float(figures.min()), float(figures.max())
    return Minute(point, minute, len(figures), float(np.mean(figures)), sd, least, most, low, high, bad)


class _Journal:
    """Lines that are synced, each with a checksum; a damaged end is cut off when it is opened."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self.lines: list[Any] = []
        good = 0
        if path.exists():
            for line in path.read_bytes().splitlines(keepends=True):
                found = _unsealed(line)
                if found is None:
                    break
                self.lines.append(found)
                good += len(line)
        try:
            self._file = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
            os.ftruncate(self._file, good)
        except OSError as error:
            raise RecordTrouble(f"{path} cannot be written: {error.strerror}") from error
        self._size = good

    def append(self, what: Any) -> None:
        """Write a line and have it on disk.

        Raises:
            RecordTrouble: it could not be written; the journal is as it was.
        """
        body = json.dumps(what, separators=(",", ":")).encode()
        line = b"%08x %s\n" % (zlib.crc32(body), body)
        try:
            view, at = memoryview(line), self._size
            while view:
                wrote = os.pwrite(self._file, view, at)
                view, at = view[wrote:], at + wrote
            os.fdatasync(self._file) if hasattr(os, "fdatasync") else os.fsync(self._file)
        except OSError as error:
            os.ftruncate(self._file, self._size)
            raise RecordTrouble(f"{self._path} cannot be written: {error.strerror}") from error
        self._size += len(line)

    def empty(self) -> None:
        """Forget all of it."""
        os.ftruncate(self._file, 0)
        os.fsync(self._file)
        self._size = 0
        self.lines = []

    def close(self) -> None:
        os.close(self._file)


def _unsealed(line: bytes) -> Any:
    """What a journal's line holds; None where it is torn or damaged."""
    if not line.endswith(b"\n") or line[8:9] != b" ":
        return None
    body = line[9:-1]
    try:
        if int(line[:8], 16) != zlib.crc32(body):
            return None
        return json.loads(body)
    except ValueError:
        return None


class LongStore(msgspec.Struct):
    """Takes readings, keeps minutes and what lies around events. Use :meth:`open`.

    Attributes:
        folder: where it keeps them.
        kept_until: seconds of the newest reading that is on disk; -1 where none is.
    """

    folder: Path
    tell: Callable[[Sealed], None]
    kept_until: float = -1.0
    _number: int = 1
    _raw: _Journal | None = None
    _rows: _Journal | None = None
    _minutes: list[Minute] = msgspec.field(default_factory=list)
    _readings: list[Reading] = msgspec.field(default_factory=list)
    _running: dict[int, tuple[int, list[tuple[float, float | None]]]] = msgspec.field(default_factory=dict)
    _over: list[Minute] = msgspec.field(default_factory=list)
    dropped: tuple[float, float] | None = None
    """What was given up since the disk took nothing for too long: seconds of its beginning and end."""
    _waiting: list[Reading] = msgspec.field(default_factory=list)
    _done: dict[int, int] = msgspec.field(default_factory=dict)

    @classmethod
    def open(cls, record: Path, sealed: Sequence[Sealed], tell: Callable[[Sealed], None]) -> LongStore:
        """Open the store of a record; what a crash left is taken up.

        Args:
            record: the watch's record.
            sealed: what the record knows to be sealed.
            tell: writes down that a file is sealed.

        Raises:
            RecordTrouble: the folder cannot be written.
            NoParquet: pyarrow is not installed.
        """
        try:
            import pyarrow  # noqa: F401
        except ImportError as error:
            raise NoParquet from error
        folder = record.with_suffix("")
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise RecordTrouble(f"{folder} cannot be made: {error.strerror}") from error
        store = cls(folder, tell)
        store._number = max((one.number for one in sealed), default=0) + 1
        known = {Path(one.file).name for one in sealed}
        for path in folder.glob("*.parquet*"):
            if path.name not in known:
                path.unlink()  # written and not told: its rows are in the journal still
        store._rows, store._raw = _Journal(folder / "rows.journal"), _Journal(folder / "raw.journal")
        for one in sealed:
            store._take_done(one)
        numbers = {one.number for one in sealed if one.kind == "readings"}
        for line in store._rows.lines:
            rows = [Minute(*row) for row in line["minutes"]]
            store._minutes += [one for one in rows if one.minute > store._done.get(one.point, -1)]
            if line["number"] not in numbers:
                store._readings += [(point, at, value) for point, at, value in line["readings"]]
        if not store._minutes and not store._readings:
            store._rows.empty()
        for minute in store._minutes:
            store._done[minute.point] = max(store._done.get(minute.point, -1), minute.minute)
            store.kept_until = max(store.kept_until, (minute.minute + 1) * MINUTE_S)
        for line in store._raw.lines:
            for point, at, value in line:
                store._count(point, at, value)
                store.kept_until = max(store.kept_until, at)
        return store

    def _take_done(self, sealed: Sealed) -> None:
        if sealed.kind == "minutes":
            import pyarrow.parquet as pq

            table = pq.read_table(self.folder / Path(sealed.file).name, columns=["point", "minute"])
            for point, minute in zip(table["point"].to_pylist(), table["minute"].to_pylist(), strict=True):
                self._done[point] = max(self._done.get(point, -1), minute)
            self.kept_until = max(self.kept_until, sealed.end)

    def take(self, readings: Sequence[Reading]) -> None:
        """Take readings and have them on disk.

        Raises:
            RecordTrouble: they are not on disk; they are held, and the next call tries again.
        """
        assert self._raw is not None
        self._waiting += readings
        if len(self._waiting) > HELD:
            lost, self._waiting = self._waiting[: HELD // 2], self._waiting[HELD // 2 :]
            begin = lost[0][1] if self.dropped is None else self.dropped[0]
            self.dropped = begin, lost[-1][1]
        if not self._waiting:
            return
        self._raw.append(self._waiting)
        taken, self._waiting = self._waiting, []
        for point, at, value in taken:
            self._count(point, at, value)
            self.kept_until = max(self.kept_until, at)
        self._roll()

    def _count(self, point: int, at: float, value: float | None) -> None:
        minute = int(at // MINUTE_S)
        if minute <= self._done.get(point, -1):
            return
        running = self._running.get(point)
        if running is not None and running[0] != minute:
            self._minutes_over(point)
            running = None
        if running is None:
            running = self._running[point] = (minute, [])
        running[1].append((at, value))

    def _minutes_over(self, point: int) -> None:
        minute, values = self._running.pop(point)
        self._over.append(minute_of(point, minute, (value for _, value in values)))
        self._done[point] = minute

    def _roll(self) -> None:
        """Put finished minutes into the row journal, and keep only what runs in the raw one."""
        if not self._over:
            return
        over, self._over = self._over, []
        try:
            self._append_rows(over, [])
        except RecordTrouble:
            self._over = over
            raise
        assert self._raw is not None
        # only what runs is needed of the raw journal from here on: written anew, and then the old one goes
        running = [(point, at, value) for point, (_, values) in self._running.items() for at, value in values]
        self._rewrite_raw(running)
        if len(self._minutes) >= SEAL_ROWS * max(1, len(self._running)) or len(self._readings) >= SEAL_READINGS:
            self.seal()

    def _rewrite_raw(self, running: list[Reading]) -> None:
        assert self._raw is not None
        path = self.folder / "raw.journal"
        fresh = _Journal(self.folder / "raw.journal.new")
        fresh.empty()
        if running:
            fresh.append(running)
        fresh.close()
        (self.folder / "raw.journal.new").replace(path)
        self._raw.close()
        self._raw = _Journal(path)

    def around(self, readings: Sequence[Reading]) -> None:
        """Keep readings in full: they lie around something that happened.

        Raises:
            RecordTrouble: they are not on disk.
        """
        if readings:
            self._append_rows([], list(readings))

    def _append_rows(self, minutes: list[Minute], readings: list[Reading]) -> None:
        assert self._rows is not None
        self._rows.append(
            {
                "number": self._number,
                "minutes": [[getattr(one, name) for name in Minute.__struct_fields__] for one in minutes],
                "readings": readings,
            }
        )
        self._minutes += minutes
        self._readings += readings

    def seal(self) -> None:
        """Turn what the row journal holds into Parquet files, and have their hashes in the record.

        Raises:
            RecordTrouble: they could not be written; nothing is lost.
        """
        assert self._rows is not None
        if not self._minutes and not self._readings:
            return
        if self._minutes:
            rows = [tuple(getattr(one, name) for name in Minute.__struct_fields__) for one in self._minutes]
            minutes = [one.minute for one in self._minutes]
            span = min(minutes) * MINUTE_S, (max(minutes) + 1) * MINUTE_S
            self.tell(self._write("minutes", MINUTE_COLUMNS, rows, span))
            self._minutes = []
        if self._readings:
            unique = sorted(set(self._readings), key=lambda one: (one[0], one[1]))
            times = [at for _, at, _ in unique]
            self.tell(self._write("readings", READING_COLUMNS, unique, (min(times), max(times))))
            self._readings = []
        self._rows.empty()
        self._number += 1

    def _write(
        self, kind: Any, names: Sequence[str], rows: Sequence[Sequence[Any]], span: tuple[float, float]
    ) -> Sealed:
        import pyarrow.parquet as pq

        table = _table(dict(zip(names, zip(*rows, strict=True), strict=True)))
        path = self.folder / f"{kind}-{self._number:04}.parquet"
        fresh = path.with_suffix(".parquet.new")
        try:
            pq.write_table(table, fresh, compression="zstd", use_dictionary=False)
            data = fresh.read_bytes()
            with fresh.open("rb+") as stream:
                os.fsync(stream.fileno())
            fresh.replace(path)
            folder = os.open(self.folder, os.O_RDONLY)
            os.fsync(folder)
            os.close(folder)
        except OSError as error:
            fresh.unlink(missing_ok=True)
            raise RecordTrouble(f"{path} cannot be written: {error.strerror or error}") from error
        return Sealed(
            file=f"{self.folder.name}/{path.name}",
            sha256=hashlib.sha256(data).hexdigest(),
            kind=kind,
            rows=table.num_rows,
            begin=span[0],
            end=span[1],
            number=self._number,
        )

    def finish(self) -> None:
        """The watch ends: what runs becomes rows, and all is sealed."""
        for point in list(self._running):
            self._minutes_over(point)
        self._roll()
        self.seal()
        assert self._raw is not None
        self._raw.empty()

    def close(self) -> None:
        """Let go of the journals; nothing of them is lost."""
        for journal in (self._raw, self._rows):
            if journal is not None:
                journal.close()


def _table(columns: dict[str, Sequence[Any]]) -> pyarrow.Table:
    import pyarrow as pa

    types = {
        "point": pa.int16(), "minute": pa.int32(), "n": pa.int32(), "bad": pa.int32(), "at": pa.float64(),
        "value": pa.float64(),
    }  # fmt: skip
    return pa.table({name: pa.array(values, types.get(name, pa.float32())) for name, values in columns.items()})


def bands(record: Path, sealed: Sequence[Sealed]) -> list[tuple[int, int, float, float]]:
    """Point, minute, least and most of every sealed minute that had a figure.

    Args:
        record: the watch's record.
        sealed: what it knows to be sealed.

    Raises:
        BrokenRecord: a file is not there, or was changed.
        NoParquet: pyarrow is not installed.
    """
    paths = sealed_tables(record, sealed, "minutes")
    if not paths:
        return []
    try:
        import pyarrow.parquet as pq
    except ImportError as error:
        raise NoParquet from error
    found: list[tuple[int, int, float, float]] = []
    for path in paths:
        table = pq.read_table(path, columns=["point", "minute", "n", "min", "max"])
        columns = (table[name].to_pylist() for name in ("point", "minute", "n", "min", "max"))
        found += [(point, minute, low, high) for point, minute, n, low, high in zip(*columns, strict=True) if n]
    return found


def wrong_with(record: Path, one: Sealed) -> str:
    """What is wrong with a sealed file, in words; empty where it is as it was written.

    Args:
        record: the watch's record.
        one: what the record has of it.
    """
    path = record.parent / one.file
    if not path.is_file():
        return f"{path} is not there any more"
    if hashlib.sha256(path.read_bytes()).hexdigest() != one.sha256:
        return f"{path} was changed after it was sealed"
    return ""


def sealed_tables(record: Path, sealed: Sequence[Sealed], kind: str) -> list[Path]:
    """The sealed files of a kind, in their order, each proven by its hash.

    Args:
        record: the watch's record.
        sealed: what it knows to be sealed.
        kind: ``minutes`` or ``readings``.

    Raises:
        BrokenRecord: a file is not there, or was changed.
    """
    found = []
    for one in sealed:
        if one.kind != kind:
            continue
        wrong = wrong_with(record, one)
        if wrong:
            raise BrokenRecord(record, 0, wrong)
        found.append(record.parent / one.file)
    return found
