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
from bench.job.folder import open_folder
from bench.plant.model import Plant
from bench.record.chain import FIRST, hash_of
from bench.record.index import records_in
from bench.record.read import read_lines
from bench.record.verify import verify
from bench.walk.events import Entry
from tests.job.season_folder import plant, season

SIZES = (20, 100, 400)
SEAL = b',"hash":"'


def in_year(line: bytes, year: int, previous: bytes) -> tuple[bytes, bytes]:
    """A line so many years later, with its place in another chain; returns it and its hash."""
    body = line[: line.rindex(SEAL)]
    at = re.sub(rb'"at":"(\d{4})-', lambda found: b'"at":"%d-' % (int(found[1]) + year), body, count=1)
    digest = hash_of(at, previous)
    return b'%s%s%s"}\n' % (at, SEAL, digest), digest


def written(folder: Path, records: int) -> None:
    """A folder of records, oldest first."""
    source = sorted(season().glob("2*.jsonl"))
    for number in range(records):
        chain, lines = FIRST, []
        for line in source[number % len(source)].read_bytes().splitlines():
            sealed, chain = in_year(line, number // len(source), chain)
            lines.append(sealed)
        (folder / f"{number:04d}.jsonl").write_bytes(b"".join(lines))


def one_more(folder: Path, year: int) -> None:
    """Another record, that nobody has read yet."""
    source = max(season().glob("2*.jsonl"))
    chain, lines = FIRST, []
    for line in source.read_bytes().splitlines():
        sealed, chain = in_year(line, year, chain)
        lines.append(sealed)
    (folder / f"new-{year}.jsonl").write_bytes(b"".join(lines))


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
    open_folder(folder, of.name).ready(of)


def table(records: int, of: Plant) -> None:
    """Print the figures of one size."""
    with tempfile.TemporaryDirectory(prefix="job-") as scratch:
        folder = Path(scratch)
        written(folder, records)
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
            one_more(folder, year)
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
