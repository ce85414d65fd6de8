"""How fast a record is read with its chain checked, against bare decoding of the same file; and in how much memory.

Run it with ``python -m tests.benchmarks.bench_record [--readings N] [--rounds N]``. The record holds readings as the
runner writes them, with the uncertainty budget, between answers. The baseline decodes each line into the very same
types with msgspec and does nothing else. Both sides by turns in processes of their own, so that the most memory of each
can be told; medians of the processor's seconds are compared. The file is in the system's cache for both.
"""

from __future__ import annotations

import argparse
import os
import re
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from bench.record.chain import FIRST, hash_of
from tests.job.season_folder import season

OURS = """
from bench.record.read import read_record
def read(path):
    return sum(1 for entry in read_record(path))
"""
BARE = """
from bench.record.chain import from_text
from bench.walk.events import Entry
import msgspec
def read(path):
    decode = msgspec.json.Decoder(Entry, dec_hook=from_text).decode
    with path.open("rb") as stream:
        return sum(1 for line in stream if decode(line))
"""
MEASURED = """
import resource, sys, time
from pathlib import Path
path = Path(sys.argv[1])
began = time.process_time()
count = read(path)
print(count, time.process_time() - began, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def write(path: Path, readings: int) -> int:
    """A record with so many readings, its chain whole, out of lines of the season; returns its bytes."""
    first, *lines = next(iter(sorted(season().glob("2*.jsonl")))).read_bytes().splitlines()
    pool = [line for line in lines if b'"is":"read"' in line or b'"is":"answered"' in line]
    bodies = [re.sub(rb'^\{"n":\d+', b"", line)[: -len(b',"hash":"') - 64 - 2] for line in (first, *pool)]
    kinds = [b'"is":"read"' in body for body in bodies]
    chain, number, left, place = FIRST, 0, readings, 0
    with path.open("wb", buffering=1 << 20) as stream:
        while left:
            number += 1
            body = b'{"n":%d%s' % (number, bodies[place])
            chain = hash_of(body, chain)
            stream.write(b'%s,"hash":"%s"}\n' % (body, chain))
            left -= kinds[place]
            place = place % (len(bodies) - 1) + 1
    return path.stat().st_size


def once(code: str, path: Path) -> tuple[float, float]:
    """Seconds and most memory (MB) of reading it in a fresh process."""
    words = [sys.executable, "-c", code + MEASURED, str(path)]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    _, seconds, memory = map(float, done.stdout.split())
    return seconds, memory


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--readings", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as scratch:
        small, path = Path(scratch) / "small.jsonl", Path(scratch) / "large.jsonl"
        write(small, max(1, asked.readings // 10))
        size = write(path, asked.readings)
        for file in (small, path):
            with file.open("rb") as stream:
                os.posix_fadvise(stream.fileno(), 0, 0, os.POSIX_FADV_WILLNEED)
        rounds = [(once(OURS, path), once(BARE, path)) for _ in range(asked.rounds)]
        ours = statistics.median(mine[0] for mine, _ in rounds)
        bare = statistics.median(theirs[0] for _, theirs in rounds)
        print(
            f"reading a record of {asked.readings:,} readings ({size / 1e6:,.0f} MB), chain checked, against bare "
            f"msgspec decoding (target 2): {ours:.2f} s against {bare:.2f} s of work, ratio {ours / bare:.2f}"
        )
        tenth, whole = once(OURS, small)[1], rounds[0][0][1]
        print(f"most memory (target: the same): {tenth:.0f} MB for a tenth of it, {whole:.0f} MB for all of it")


if __name__ == "__main__":
    main()
