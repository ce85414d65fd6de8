"""How well changes are found in drawn histories, and how long it takes to ask a folder of a million readings.

Run by hand from the top folder; the whole takes some minutes and two gigabytes of disk in the temporary folder:

    python -m tests.benchmarks.bench_evidence
    python -m tests.benchmarks.bench_evidence --only histories --count 1000
    python -m tests.benchmarks.bench_evidence --only folder --readings 100000

Histories are drawn with readings whose own uncertainty u is right, save where it says otherwise. DuckDB reads the very
same files with every column that is needed declared beforehand, on as many threads as there are cores; the tool uses
one. Both find the files in the system's cache. Best of three.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from bench.record.chain import FIRST, hash_of
from tests.job import histories
from tests.job.season_folder import PLANT, season

POINT = "W101.34"
PLACES = ("J101.17", "J205.17")
A_RECORD = 2_500
"""Readings of one record of the large folder."""


def table_histories(count: int) -> None:
    """Exactness and false alarms, by the number of runs and the size of the change."""
    from bench.diagnose.series.change import appraise

    def found(history: histories.History, watched: int = 1) -> Any:
        return appraise(history.values, history.uncertainties, limits=(None, history.limit), watched=watched)

    print(f"\nsteps, {count} histories a cell: named exactly / in the 95 % bracket / taken for steady, in %")
    sizes = (3.0, 4.0, 5.0, 6.0, 8.0, 12.0)
    print("runs   " + "".join(f"{f'{size:g} u':>18}" for size in sizes))
    for runs in (4, 6, 8, 12, 20, 40):
        cells = []
        for size in sizes:
            exact = inside = missed = 0
            for seed in range(count):
                history = histories.step(f"{runs} {seed}", size, runs, runs, 0.0)
                change = found(history)
                exact += change.first_bad == history.first_bad
                inside += change.bracket is not None and change.bracket[0] <= history.first_bad <= change.bracket[1]
                missed += change.kind == "steady"
            cells.append(f"{100 * exact / count:.1f}/{100 * inside / count:.1f}/{100 * missed / count:.1f}")
        print(f"{runs:4}   " + "".join(f"{cell:>18}" for cell in cells))

    print(f"\ndrifts over a limit, {count} a cell: exact / the neighbour at worst / in the bracket, in %")
    slopes = (0.5, 1.0, 1.5, 2.0, 3.0)
    print("runs   " + "".join(f"{f'{slope:g} u a run':>18}" for slope in slopes))
    for runs in (12, 20, 40):
        cells = []
        for slope in slopes:
            exact = near = inside = 0
            for seed in range(count):
                history = histories.drift(f"{runs} {seed}", slope, runs, runs)
                change = found(history)
                off = abs(change.first_bad - history.first_bad) if change.first_bad is not None else 99
                exact += off == 0
                near += off <= 1
                inside += change.bracket is not None and change.bracket[0] <= history.first_bad <= change.bracket[1]
            cells.append(f"{100 * exact / count:.1f}/{100 * near / count:.1f}/{100 * inside / count:.1f}")
        print(f"{runs:4}   " + "".join(f"{cell:>18}" for cell in cells))

    print(f"\nfalse alarms on steady points, {4 * count} a cell, in %; by what readings scatter beyond their own u")
    print("runs   " + "".join(f"{f'{extra:g} u more':>14}" for extra in (0.0, 0.5, 1.0, 2.0)) + f"{'100 watched':>14}")
    for runs in (4, 8, 12, 20, 40):
        cells = []
        for extra, watched in ((0.0, 1), (0.5, 1), (1.0, 1), (2.0, 1), (0.5, 100)):
            alarms = 0
            for seed in range(4 * count):
                draw = random.Random(f"false {runs} {extra} {seed}")
                values = [1.0 + histories.U * (draw.gauss(0, 1) + draw.gauss(0, extra)) for _ in range(runs)]
                alarms += appraise(values, [histories.U] * runs, watched=watched).kind != "steady"
            cells.append(f"{25 * alarms / count:.2f}")
        print(f"{runs:4}   " + "".join(f"{cell:>14}" for cell in cells))

    right = mixed = 0
    began = time.perf_counter()
    for seed in range(count):
        history, away = histories.comes_and_goes(seed, 1 + seed % 3)
        change = found(history)
        right += change.kind == "intermittent" and change.excursions == away
        step = found(histories.step(seed))
        mixed += step.first_bad == histories.step(seed).first_bad
    each = (time.perf_counter() - began) / (2 * count)
    print(f"\ncoming and going, one to three runs away: {100 * right / count:.1f} % found run by run")
    print(f"steps of 5 to 15 u among 8 to 40 runs: {100 * mixed / count:.1f} % named exactly")
    print(f"{1e3 * each:.2f} ms a history")


# A large folder


def large(folder: Path, readings: int) -> int:
    """Write records of many readings, each with its chain, out of the season's lines; returns their bytes."""
    source = season()
    first = next(iter(sorted(source.glob("2*.jsonl")))).read_bytes().splitlines(keepends=True)[0]
    pool = []
    for path in sorted(source.glob("2*.jsonl"))[:6]:
        for line in path.read_bytes().splitlines():
            if b'"event":{"is":"read"' in line and b'"between":["' in line:
                pool.append(line)
    others = [("W101", "J101", "J205"), ("W102", "J102", "J305"), ("W104", "J104", "J505"), ("W105", "J105", "J506")]
    bodies = []
    for cable, near, far in others:
        for line in pool:
            renamed = line.replace(b"W101.", f"{cable}.".encode()).replace(b"J101.", f"{near}.".encode())
            renamed = renamed.replace(b"J205.", f"{far}.".encode())
            bodies.append(re.sub(rb'^\{"n":\d+,"at":"[^"]+"', b"", renamed)[: -len(b',"hash":"') - 64 - 2])
    placed = b',"event":{"is":"answered","number":7,"by":"Ines","how":"contact"}'
    draw, total, left, number = random.Random(1), 0, readings, 0
    while left > 0:
        chain, lines = FIRST, []
        day = time.gmtime(1.77e9 + 86400 * number)

        def add(rest: bytes, second: int, lines: list[bytes] = lines, day: time.struct_time = day) -> None:
            nonlocal chain
            at = (
                time.strftime("%Y-%m-%d", day) + f"T{18 + second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d}"
            )
            body = b'{"n":%d,"at":"%s.000000Z"%s' % (len(lines) + 1, at.encode(), rest)
            chain = hash_of(body, chain)
            lines.append(b'%s,"hash":"%s"}\n' % (body, chain))

        add(re.sub(rb'^\{"n":\d+,"at":"[^"]+"', b"", first)[: -len(b',"hash":"') - 64 - 3], 0)
        for i in range(min(left, A_RECORD)):
            add(placed, i)
            add(draw.choice(bodies), i)
        left -= A_RECORD
        path = folder / f"{number:04d}.jsonl"
        path.write_bytes(b"".join(lines))
        total += path.stat().st_size
        number += 1
    return total


def best(work: Callable[[], Any], times: int = 3) -> tuple[float, float, Any]:
    """Least seconds by the clock and of all cores together of some tries, and what came of it."""
    clock, cores, came = math.inf, math.inf, None
    for _ in range(times):
        began, worked = time.perf_counter(), time.process_time()
        came = work()
        clock, cores = min(clock, time.perf_counter() - began), min(cores, time.process_time() - worked)
    return clock, cores, came


def traced(folder: Path) -> int:
    """What `proveout trace POINT --alone` does before it prints: search all records, and say what became of it."""
    from bench.job.history import History
    from bench.job.points import point_of
    from bench.job.study import study
    from bench.record.index import records_in
    from tests.job.season_folder import plant

    source = History(folder, records_in([folder]), "gannet-head")
    point = point_of(plant(), POINT)
    return sum(len(one.rows) for one in study(filter(point.matches, source.rows(point.sought))))


def compared(folder: Path) -> int:
    """The second pass of a trace: every reading of every point, to see what else changed."""
    from bench.job.common_changes import Across
    from bench.job.history import History
    from bench.record.index import records_in
    from tests.job.season_folder import plant

    source = History(folder, records_in([folder]), "gannet-head")
    heads = sorted(head.at for head in source.heads.values())
    across = Across(heads[len(heads) // 2], heads[len(heads) // 2 + 1])
    for row in source.rows():
        across.take(row)
    return across.common(plant()).read


QUERY = """
select n, "at", event.judged.subject, event.judged."value", event.judged.standard, event.judged.verdict
from read_json('{files}', format = 'newline_delimited', maximum_object_size = 67108864, columns = {{
  n: 'BIGINT', "at": 'VARCHAR',
  event: 'STRUCT("is" VARCHAR, instrument VARCHAR, "function" VARCHAR, unit VARCHAR, "over" VARCHAR, "range" DOUBLE,
    judged STRUCT(step VARCHAR, subject VARCHAR, "between" VARCHAR[], meter VARCHAR, verdict VARCHAR, sentence VARCHAR,
      "value" DOUBLE, standard DOUBLE, expanded DOUBLE, low DOUBLE, high DOUBLE, ambient DOUBLE))'}})
where event."is" = 'read' and (event.judged.subject = '{point}' or list_has_any(event.judged."between", {places}))
"""


def asked_of_duckdb(folder: Path) -> int:
    """The same question in SQL."""
    import duckdb

    query = QUERY.format(files=f"{folder}/*.jsonl", point=POINT, places=list(PLACES))
    with duckdb.connect() as connection:
        return len(connection.execute(query).fetchall())


def peak_of(what: str, folder: Path) -> float:
    """Most memory of a fresh process that does one thing, in MB."""
    code = (
        "import sys, resource; from pathlib import Path; from tests.benchmarks import bench_evidence as b;"
        f"b.{what}(Path({str(folder)!r})); print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return float(done.stdout.split()[-1])


def table_folder(readings: int) -> None:
    """Time and memory of a trace beside DuckDB, and of verifying."""
    from bench.record.index import chain_of

    folder = Path(tempfile.mkdtemp(prefix="evidence-"))
    try:
        size = large(folder, readings)
        files = sorted(folder.glob("*.jsonl"))
        print(f"\n{readings:,} readings in {len(files)} records, {size / 1e6:,.0f} MB, {os.cpu_count()} cores")
        clock, cores, hits = best(lambda: traced(folder))
        duck_clock, duck_cores, same = best(lambda: asked_of_duckdb(folder))
        print(f"trace of {POINT}: {clock:.2f} s by the clock, {cores:.2f} s of work, {hits} readings")
        print(f"the same in DuckDB: {duck_clock:.2f} s by the clock, {duck_cores:.2f} s of work, {same} rows")
        print(f"ratio {clock / duck_clock:.2f} by the clock (goal 0.5), {cores / duck_cores:.2f} of work")
        clock, cores, read = best(lambda: compared(folder), 1)
        print(
            f"what else changed, over all readings: {clock:.1f} s, {cores:.1f} s of work, {read} series on both sides"
        )
        clock, cores, _ = best(lambda: [chain_of(path) for path in files], 1)
        rate = readings / cores / 500
        print(f"chains checked: {clock:.1f} s, {cores:.1f} s of work, {rate:,.0f} thousand lines a second of work")
        tenth = folder / "tenth"
        tenth.mkdir()
        for path in files[: max(1, len(files) // 10)]:
            (tenth / path.name).hardlink_to(path)
        small, whole = peak_of("traced", tenth), peak_of("traced", folder)
        print(f"most memory of a trace: {small:.0f} MB over a tenth of it, {whole:.0f} MB over all of it")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def table_season(_: int) -> None:
    """The season's folder, as a person meets it: each command with its start."""
    folder = Path(tempfile.mkdtemp(prefix="evidence-")) / "logs"
    shutil.copytree(season(), folder, ignore=shutil.ignore_patterns(".proveout-cache"))
    size = sum(path.stat().st_size for path in folder.glob("*.jsonl"))
    print(f"\nthe season: 20 records, {size / 1e6:.1f} MB; seconds with the command's start")
    one = str(next(folder.glob("*-round-7.jsonl")))
    for name, words in (
        ("ready, the first time", ["ready", str(PLANT), "--logs", str(folder)]),
        ("ready, again", ["ready", str(PLANT), "--logs", str(folder)]),
        (f"trace {POINT}", ["trace", POINT, "--logs", str(folder)]),
        ("trace --all", ["trace", "--all", "--logs", str(folder)]),
        ("verify, with today's verdicts", ["verify", str(folder)]),
        ("verify --chain-only", ["verify", "--chain-only", str(folder)]),
        ("report of one record", ["report", one, "-o", str(folder / "a.html")]),
        ("report of all", ["report", str(folder), "-o", str(folder / "b.html")]),
        ("export to CSV", ["export", str(folder), "-o", str(folder / "a.csv")]),
    ):
        began = time.perf_counter()
        subprocess.run([sys.executable, "-m", "bench.cli", *words], capture_output=True, check=False)
        print(f"  {name:32} {time.perf_counter() - began:6.2f}")
    pages = {name: (folder / name).stat().st_size for name in ("a.html", "b.html")}
    print(f"  pages: {json.dumps({name: f'{size / 1e3:.0f} kB' for name, size in pages.items()})}")
    shutil.rmtree(folder.parent, ignore_errors=True)


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the tables asked for."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--count", type=int, default=300, help="histories a cell")
    parser.add_argument("--readings", type=int, default=1_000_000, help="readings of the large folder")
    parser.add_argument("--only", nargs="*", choices=("histories", "folder", "season"))
    asked = parser.parse_args(arguments)
    tables = (("histories", table_histories, asked.count), ("folder", table_folder, asked.readings))
    for name, table, size in (*tables, ("season", table_season, 0)):
        if asked.only is None or name in asked.only:
            table(size)


if __name__ == "__main__":
    main()
