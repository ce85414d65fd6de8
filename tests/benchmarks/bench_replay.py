"""What a jump in a replay costs: any moment of a record of 10,000 events against folding it from its beginning.

Run it with ``python -m tests.benchmarks.bench_replay [--events N]``. Both sides are taken in the same run.
"""

from __future__ import annotations

import argparse
import random
import statistics
import time
from pathlib import Path

from bench.screens.replay.paint import paint
from bench.screens.replay.playback import Playback, Timeline
from bench.screens.replay.view import ReplayView
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.state import fold
from tests.screens.gannet import Walk


def long_walk(events: int) -> Walk:
    """One reading taken again and again, until there are so many events."""
    walk = Walk().until(r.Place, "measure")
    walk.one()
    walk.one()
    while len(walk.entries) < events:
        walk.add(e.Went(number=walk.asked.number, to=walk.state.place.cursor - 1, then="return"))
        walk.one()
        walk.one()
    return walk


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--events", type=int, default=10_000)
    walk = long_walk(parser.parse_args().events)
    began = time.perf_counter()
    fold(walk.entries)
    whole = time.perf_counter() - began
    began = time.perf_counter()
    record = Playback(Path("long.jsonl"), walk.entries)
    read = time.perf_counter() - began
    timeline = Timeline(record.times, cut=True)
    jumps, paints = [], []
    for index in random.Random(1).sample(range(len(record)), 200):
        began = time.perf_counter()
        moment = record.at(index)
        jumps.append(1000 * (time.perf_counter() - began))
        began = time.perf_counter()
        view = ReplayView(playback=record, timeline=timeline, at=moment, now=record.local(record.times[index]))
        paint(view, 120, 40)
        paints.append(1000 * (time.perf_counter() - began))
    print(f"{len(record)} events: read once in {read:.2f} s, a bare fold takes {whole:.2f} s, ratio {read / whole:.2f}")
    for name, times in (("jump", jumps), ("paint at 120x40", paints)):
        middle, late = statistics.median(times), sorted(times)[int(0.95 * len(times))]
        share = middle / 1000 / whole
        print(
            f"{name}: p50 {middle:.1f} ms, p95 {late:.1f} ms, max {max(times):.1f} ms; p50 to a bare fold {share:.4f}"
        )


if __name__ == "__main__":
    main()
