"""What a job costs as it grows: judged, asked for readiness again, and verified, at 20, 100 and 400 records.

Run it with ``python -m tests.benchmarks.bench_job [RECORDS...]``. The records are those of the simulated season, year
after year, each with a chain of its own. The baseline is typed decoding of the very same lines with nothing else done,
in the same run and by turns; work is counted in processor time of the one core that does it, the least of three tries.
"""

from __future__ import annotations

import re
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import msgspec

from bench.files import from_text
from bench.job.asfound import as_found
from bench.job.folder import open_folder
from bench.plant.model import Plant
from bench.record.chain import FIRST, hash_of
from bench.record.index import records_in
from bench.record.read import read_lines
from bench.record.verify import verify
from bench.walk.events import Entry, Seen
from tests.job.season_folder import plant, season

SIZES = (20, 100, 400)
SEAL = b',"hash":"'


BEGAN = b'"event":{"is":"began",'


def in_year(line: bytes, year: int, previous: bytes, beside: bytes = b"") -> tuple[bytes, bytes]:
    """A line so many years later, with its place in another chain; returns it and its hash.

    Args:
        line: as it was written.
        year: how many years later.
        previous: the hash of the line before.
        beside: what its event says besides.
    """
    body = line[: line.rindex(SEAL)].replace(BEGAN, BEGAN + beside, 1)
    at = re.sub(rb'"at":"(\d{4})-', lambda found: b'"at":"%d-' % (int(found[1]) + year), body, count=1)
    digest = hash_of(at, previous)
    return b'%s%s%s"}\n' % (at, SEAL, digest), digest


def record(folder: Path, number: int, last: Seen | None, source: Path, year: int) -> Seen:
    """Write a record that was begun after another one, as walks are; returns its end."""
    beside = b'"order":%d,"saw":%s,' % (number + 1, msgspec.json.encode([last] if last is not None else []))
    chain, first, lines = FIRST, b"", []
    for line in source.read_bytes().splitlines():
        sealed, chain = in_year(line, year, chain, b"" if lines else beside)
        first = first or chain
        lines.append(sealed)
    (folder / f"{number:04d}.jsonl").write_bytes(b"".join(lines))
    return Seen(first.decode(), len(lines), chain.decode())


def written(folder: Path, records: int) -> Seen | None:
    """A folder of records, oldest first; returns the end of the last one."""
    source, last = sorted(season().glob("2*.jsonl")), None
    for number in range(records):
        last = record(folder, number, last, source[number % len(source)], number // len(source))
    return last


def spent(work: Callable[[], object]) -> float:
    """Seconds of work, on one core."""
    began = time.process_time()
    work()
    return time.process_time() - began


BARE = msgspec.json.Decoder(Entry, dec_hook=from_text)


def decoded(paths: list[Path]) -> int:
    """Decode every line into its types, and nothing else."""
    return sum(BARE.decode(line) is not None for path in paths for _, line in read_lines(path))


def ready(folder: Path, of: Plant) -> None:
    """What `proveout ready` does between reading the plant file and printing."""
    as_found(open_folder(folder, of.name), of)


def table(records: int, of: Plant) -> None:
    """Print the figures of one size."""
    with tempfile.TemporaryDirectory(prefix="job-") as scratch:
        folder = Path(scratch)
        last = written(folder, records)
        paths = records_in([folder])
        lines = sum(1 for path in paths for _ in read_lines(path))
        bare, first, checked = [], [], []
        for _ in range(3):
            shutil.rmtree(folder / ".proveout-cache", ignore_errors=True)
            bare.append(spent(lambda: decoded(paths)))
            first.append(spent(lambda: ready(folder, of)))
            checked.append(spent(lambda: [verify(path) for path in paths]))
        again = min(spent(lambda: ready(folder, of)) for _ in range(3))
        news = []
        for year in (100, 101, 102):
            last = record(folder, records + year, last, max(season().glob("2*.jsonl")), year)  # nobody has read it yet
            news.append(spent(lambda: ready(folder, of)))
    base, judged, proven = min(bare), min(first), min(checked)
    print(
        f"{records} records, {lines:,} lines; typed decoding alone {base:.2f} s\n"
        f"  ready, the first time: {judged:.2f} s, {lines / judged:,.0f} lines a second, "
        f"ratio {judged / base:.1f} (target 10)\n"
        f"  ready again: {again:.2f} s; after one new record: {min(news):.2f} s (target 0.3)\n"
        f"  verify, every verdict derived again: {proven:.2f} s, {lines / proven:,.0f} lines a second, "
        f"ratio {proven / base:.1f}"
    )


def main() -> None:
    """Print the figures of each size."""
    for records in map(int, sys.argv[1:]) if sys.argv[1:] else SIZES:
        table(records, plant())


if __name__ == "__main__":
    main()
