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
from dataclasses import replace
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


NOISES = {
    "white": Noise(phi=0.0),
    "AR(1) 0.3": Noise(phi=0.3),
    "AR(1) 0.9": Noise(),
    "AR(1) 0.97": Noise(phi=0.97),
    "digit of 3 sigma": Noise(digit=0.06),
    "digit of 2 sigma": Noise(digit=0.04),
    "digit of 1 sigma": Noise(digit=0.02),
    "digit of 1 sigma, AR(1) 0.97": Noise(phi=0.97, digit=0.02),
    "AR(1) 0.9 and as much of the meter's own": Noise(own=1.0),
    "a day's swing of 2 sigma": Noise(day=2.0),
    "t5 tails": Noise(phi=0.0, tails=5.0),
}
SHARES = (0.8, 1.0, 1.2, 1.5, 2.0)
"""Of the depth that the best there can be finds in 0.95."""
DIPS = ((0.1, 8.0), (0.3, 6.0), (1.0, 5.0), (5.0, 4.0), (30.0, 3.0), (0.1, 12.0))


def alarms(count: int, first: int) -> None:
    """False alarms a day, and dips found."""
    from tests.diagnose.hunt.test_charts import charted

    for name, noise in NOISES.items():
        found = [len(charted(*days(noise, 1.0, seed))) for seed in range(first, first + count)]
        print(f"  {name:42} false alarms a day: {sum(found) / count:.2f} (most {max(found)})", flush=True)
    for name in ("AR(1) 0.9", "digit of 1 sigma"):
        for lasts, deep in DIPS:
            hits = wanted = alone = begun = 0
            for seed in range(first, first + count):
                hit, of, events, soon = _dipped(NOISES[name], lasts, [deep], 3_000, 100 + seed)
                hits, wanted, alone, begun = hits + hit[deep], wanted + of[deep], alone + events, begun + soon
            told = f"{hits} of {wanted} found, {begun} to the second, {alone} events"
            print(f"  dips of {lasts:g} s and {deep:g} sigma, {name}: {told}", flush=True)


def _dipped(
    noise: Noise, lasts: float, depths: list[float], every: int, seed: int
) -> tuple[dict[float, int], dict[float, int], int, int]:
    """A day with dips.

    Returns:
        Of each depth how many were found, and how many there were; how many events were told; how many dips have one
        that begins within a second of them.
    """
    from tests.diagnose.hunt.test_charts import charted

    digit = noise.digit
    times, values = days(replace(noise, digit=0.0), 1.0, seed)
    places = {at: depths[number % len(depths)] for number, at in enumerate(range(3_000, 86_000, every))}
    for at, deep in places.items():
        values[at * 10 : at * 10 + max(1, round(lasts * 10))] += deep * noise.sigma
    if digit:
        values = np.round(values / digit) * digit
    told = charted(times, values)
    soon, hits, wanted = 0, dict.fromkeys(depths, 0), dict.fromkeys(depths, 0)
    for at, deep in places.items():
        wanted[deep] += 1
        # one that lies over it, and no longer one that came before
        hits[deep] += any(at - 10.0 < one.at < at + max(1.0, lasts) and one.until >= at + 0.1 for one in told)
        soon += any(abs(one.at - at) < 1.0 for one in told)
    return hits, wanted, len(told), soon


def ideal(phi: float, lasts: int, budget: float) -> float:
    """How deep a dip must be, in standard deviations of a reading, for the best there can be to find 0.95 of them.

    It knows the noise, the level and how long the dip lasts, and spends its false alarms on that length alone: the
    filter that is matched to the whole dip in whitened readings. No detector does better at as many false alarms.

    Args:
        phi: of the noise, a first-order wave.
        lasts: readings that the dip lasts.
        budget: false alarms a day, both ways together.
    """
    shape = np.full(lasts + 1, 1.0 - phi)
    shape[0], shape[-1] = 1.0, -phi
    power = float(shape @ shape)
    rng, highs = np.random.default_rng(lasts), []
    stretch, parts = 200_000, 40
    for _ in range(parts):
        filtered = np.abs(np.convolve(rng.standard_normal(stretch), shape[::-1], "valid")) / np.sqrt(power)
        # what passes within a minute of another is one alarm
        size = len(filtered) // 600 * 600
        highs += list(filtered[:size].reshape(-1, 600).max(axis=1))
    part = budget / 1_440.0
    limit = float(np.quantile(highs, 1.0 - part))
    return (limit + 1.645) / np.sqrt(power) * np.sqrt(1.0 - phi**2)


def depths(count: int, first: int) -> None:
    """The depth from which 0.95 of dips are found, beside the best there can be at two false alarms a day."""
    for name in ("white", "AR(1) 0.9", "AR(1) 0.97"):
        for lasts in (0.1, 0.3, 1.0, 5.0, 30.0):
            best = ideal(NOISES[name].phi, max(1, round(lasts * 10)), 2.0)
            tried = [round(best * share, 3) for share in SHARES]
            hits, wanted = dict.fromkeys(tried, 0), dict.fromkeys(tried, 0)
            for seed in range(first, first + count):
                # each depth has days of its own: many that are just too shallow teach a chart to expect them
                for deep in tried:
                    hit, of, _, _ = _dipped(NOISES[name], lasts, [deep], 3_000, 1_000 + seed)
                    hits[deep] += hit[deep]
                    wanted[deep] += of[deep]
            row = "  ".join(f"{hits[deep] / wanted[deep]:.2f}" for deep in tried)
            print(f"  {name:10} {lasts:4g} s: best there can be 0.95 at {best:5.2f} sigma;   {row}", flush=True)


def main() -> None:
    """All of it."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--only", choices=("week", "alarms", "depths"))
    parser.add_argument("--fed", type=int, default=7, help="days of the week that are fed")
    parser.add_argument("--days", type=int, default=3, help="days of each kind of noise")
    parser.add_argument("--first", type=int, default=0, help="number of the first day that is drawn")
    options = parser.parse_args()
    if options.only in (None, "week"):
        print(f"{'a week' if options.fed == 7 else f'{options.fed} days'} at ten readings a second, five kills")
        week(options.fed)
    if options.only in (None, "alarms"):
        print("charts, ten readings a second")
        alarms(options.days, options.first)
    if options.only in (None, "depths"):
        print(f"dips found, by their depth: {SHARES} times what the best there can be finds in 0.95")
        depths(options.days, options.first)


if __name__ == "__main__":
    main()
