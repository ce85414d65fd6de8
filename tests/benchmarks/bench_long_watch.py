"""A week of logging at ten readings a second with five kills: what is lost, what it takes; and false alarms in days.

Run by hand from the top folder; the whole takes some twenty minutes:

    python -m tests.benchmarks.bench_long_watch
    python -m tests.benchmarks.bench_long_watch --only week
    python -m tests.benchmarks.bench_long_watch --only week --fed 2

The week's readings go through the store alone, as fast as the disk takes them, in a process that is killed five times.
DuckDB reads the same readings from one Parquet file of its own writing.
"""

from __future__ import annotations

import argparse
import random
import re
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from tests.diagnose.hunt.logged import Noise, days

DAY = 86_400 * 10
"""Readings of a day."""


def week(days_fed: int) -> None:
    """Five kills, then file sizes and query times beside DuckDB."""
    import duckdb

    from bench.record.long_store import sealed_tables
    from bench.record.watch import read_watch
    from tests.record.long_feeder import value

    readings = days_fed * DAY
    folder = Path(tempfile.mkdtemp())
    record, rng, on_disk, kills = folder / "watch-week.jsonl", random.Random(5), 0, 0
    peak = 0.0
    began = time.perf_counter()
    while True:
        line = [sys.executable, "-m", "tests.record.long_feeder", str(record), str(readings), "600"]
        with subprocess.Popen(line, stdout=subprocess.PIPE, text=True) as child:
            assert child.stdout is not None
            first = int(child.stdout.readline().split()[1])
            print(f"  begins at {first}; {on_disk} were said to be on disk: {max(0, on_disk - first)} lost", flush=True)
            wanted = on_disk + rng.randint(readings // 10, readings // 6)
            early = most = 0.0
            for said in child.stdout:
                if said.strip() == "done":
                    break
                on_disk = int(said)
                most = _memory(child.pid) or most
                early = most if on_disk - first <= readings // 50 else early
                if kills < 5 and on_disk >= wanted:
                    child.send_signal(signal.SIGKILL)
                    kills += 1
                    break
            # one that grew with what it wrote, or with what lies on disk already, would show here
            print(f"  {on_disk - first} readings, up to {on_disk}: memory {early:.1f} MiB at most in the first "
                  f"{readings // 50}, {most:.1f} MiB in all", flush=True)  # fmt: skip
            peak = max(peak, most)
        if kills >= 5 and on_disk >= readings:
            break
    took = time.perf_counter() - began
    watch = read_watch(record)
    files = sealed_tables(record, watch.sealed, "minutes")
    size = sum(path.stat().st_size for path in (folder / "watch-week").glob("*.parquet")) + record.stat().st_size
    db = duckdb.connect()
    db.execute("SET threads=1")
    names = [str(path) for path in files]
    total = db.execute("SELECT sum(n), count(*), count(DISTINCT minute) FROM read_parquet(?)", [names]).fetchone()
    print(f"  {readings} readings in {took:.0f} s with {kills} kills: counted {total[0]}, {total[1]} minutes, "
          f"{total[2]} of them different; most memory {peak:.0f} MiB")  # fmt: skip
    own = folder / "raw.parquet"
    values = np.array([value(number) for number in range(readings)])
    db.execute("CREATE TABLE raw AS SELECT 0::SMALLINT AS point, unnest(?) AS at, unnest(?) AS value",
               [np.arange(readings) / 10, values])  # fmt: skip
    db.execute(f"COPY raw TO '{own}' (FORMAT parquet, COMPRESSION zstd)")
    print(f"  size: {size / 1e6:.2f} MB kept, {own.stat().st_size / 1e6:.1f} MB as DuckDB writes all readings")
    by_hour = "SELECT {} AS hour, min({}), max({}) FROM read_parquet(?) GROUP BY 1 ORDER BY 1"
    for title, query, source in (
        ("each hour's extremes over the week, from minutes", by_hour.format("minute // 60", "min", "max"), names),
        ("the same from all readings by DuckDB", by_hour.format('"at" // 3600', "value", "value"), [str(own)]),
    ):
        best = min(_timed(lambda query=query, source=source: db.execute(query, [source]).fetchall()) for _ in range(3))
        print(f"  {title}: {best * 1000:.0f} ms")


def _memory(process: int) -> float:
    """The most memory that a process had so far, in MiB; 0: it is gone. What it was begun from does not count."""
    try:
        status = Path(f"/proc/{process}/status").read_text()
    except OSError:
        return 0.0
    found = re.search(r"VmHWM:\s+(\d+) kB", status)
    return int(found[1]) / 1024 if found else 0.0


def _timed(call: object) -> float:
    begun = time.perf_counter()
    call()  # type: ignore[operator]
    return time.perf_counter() - begun


def alarms(count: int) -> None:
    """False alarms a day, and dips found."""
    from tests.diagnose.hunt.test_charts import charted

    for name, noise in {
        "white": Noise(phi=0.0),
        "AR(1) 0.3": Noise(phi=0.3),
        "AR(1) 0.9": Noise(),
        "AR(1) 0.97": Noise(phi=0.97),
        "digit of 3 sigma": Noise(digit=0.06),
        "digit of 1 sigma": Noise(digit=0.02),
        "a day's swing of 2 sigma": Noise(day=2.0),
        "t5 tails": Noise(phi=0.0, tails=5.0),
    }.items():
        found = [len(charted(*days(noise, 1.0, seed))) for seed in range(count)]
        print(f"  {name:26} false alarms a day: {sum(found) / count:.2f} (most {max(found)})", flush=True)
    kinds = ((0.1, 8.0), (0.3, 6.0), (1.0, 5.0), (5.0, 4.0), (30.0, 3.0), (0.1, 12.0))
    for lasts, deep in kinds:
        hits = wanted = 0
        for seed in range(count):
            times, values = days(Noise(), 1.0, 100 + seed)
            places = range(3_000, 86_000, 3_000)
            for at in places:
                values[at * 10 : at * 10 + max(1, round(lasts * 10))] += deep * 0.02
            found_at = [one.at for one in charted(times, values)]
            wanted += len(places)
            hits += sum(any(abs(one - at) < 1.0 for one in found_at) for at in places)
        print(f"  dips of {lasts:g} s and {deep:g} sigma in AR(1) 0.9: {hits} of {wanted} found", flush=True)


def main() -> None:
    """All of it."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--only", choices=("week", "alarms"))
    parser.add_argument("--fed", type=int, default=7, help="days of the week that are fed")
    parser.add_argument("--days", type=int, default=3, help="days of each kind of noise")
    options = parser.parse_args()
    if options.only in (None, "week"):
        print(f"{'a week' if options.fed == 7 else f'{options.fed} days'} at ten readings a second, five kills")
        week(options.fed)
    if options.only in (None, "alarms"):
        print("charts, ten readings a second")
        alarms(options.days)


if __name__ == "__main__":
    main()
