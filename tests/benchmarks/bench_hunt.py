"""How soon a loose place among 24 is found, and how true the chances are that are told.

Run by hand from the top folder; 250 searches a row take some ten minutes:

    python -m tests.benchmarks.bench_hunt
    python -m tests.benchmarks.bench_hunt --count 50
    python -m tests.benchmarks.bench_hunt --only sure --count 1000

``--only sure`` holds what is said against what is so: in one search of ten none of the places is loose, as the ranking
takes for granted; each search counts once in each band, when a place is first said to be so likely.

A place is drawn by the kinds' weights, jumps as :mod:`tests.diagnose.hunt.wiggled` says. The baseline of the same
drawing goes in the order of the list and takes what was named when a jump came.
"""

from __future__ import annotations

import argparse
import random
from collections import Counter
from dataclasses import replace

from scipy.stats import beta

from bench.diagnose.hunt.ranking import NONE
from tests.diagnose.hunt.wiggled import Habit, searched

MOVES = (6, 12, 24, 36, 48)
HABITS = {
    "0.3/s while moved, once in 600 s alone, 10 readings/s": Habit(),
    "0.08/s while moved": Habit(moved=0.08),
    "once a minute alone": Habit(alone=1 / 60),
    "neighbours get 0.6": Habit(neighbour=0.6),
    "30 ms dips at 5 readings/s": Habit(dip=0.03, rate=5.0),
    "none of them is loose, once a minute alone": Habit(alone=1 / 60, there=False),
}
BANDS = (0.5, 0.8, 0.9, 0.95, 0.985, 1.01)


def study(name: str, habit: Habit, count: int, way: str, said: Counter[float], true: Counter[float]) -> None:
    """One row: the part of searches in which the true place is among the first two named."""
    hits = dict.fromkeys(MOVES, 0)
    for seed in range(count):
        wiggle, rankings = searched(habit, f"{name} {seed}", MOVES[-1], way)
        by_ear = wiggle.by_ear() if way == "ear" else None
        for moves in MOVES:
            if by_ear is not None:
                hits[moves] += moves == MOVES[-1] and wiggle.true in by_ear[:2]
                continue
            ranking = rankings[moves]
            hits[moves] += wiggle.true in ranking.order[:2]
            best = ranking.order[0]
            band = next((one for one in reversed(BANDS) if ranking.chances[best] >= one), None)
            if band is not None:
                said[band] += 1
                true[band] += habit.there and best == wiggle.true
    row = "".join(f"{hits[moves] / count:7.2f}" if hits[moves] or way != "ear" else "      -" for moves in MOVES)
    print(f"{way:8}{row}   {name}", flush=True)


SURE = (0.5, 0.8, 0.9, 0.95, 0.99)


def sure(habit: Habit, count: int, first: int = 0) -> dict[float, tuple[int, int]]:
    """Of what was first said to be at least so likely: how often it was so, and how often that was said.

    Args:
        habit: how contact and world behave; whether a place is loose at all is drawn.
        count: searches.
        first: number of the first one.
    """
    right, said = dict.fromkeys(SURE, 0), dict.fromkeys(SURE, 0)
    for seed in range(first, first + count):
        there = random.Random(f"there {seed}").random() >= NONE
        wiggle, rankings = searched(replace(habit, there=there), f"sure {seed}", MOVES[-1])
        for band in SURE:
            told = next((one for one in rankings if one.chances[one.order[0]] >= band), None)
            if told is not None:
                said[band] += 1
                right[band] += there and told.order[0] == wiggle.true
    return {band: (right[band], said[band]) for band in SURE}


def calibration(count: int) -> None:
    """What is said against what is so, for habits that the ranking takes for granted and for others."""
    print("a place is said to be so likely for the first time in a search: right, of, 95 % of what is believable")
    for name, habit in HABITS.items():
        if not habit.there:
            continue
        for band, (right, said) in sure(habit, count).items():
            if said:
                low, high = (
                    beta.ppf(0.025, right + 0.5, said - right + 0.5),
                    beta.ppf(0.975, right + 0.5, said - right + 0.5),
                )
                print(f"{band:6.2f} {right / said:6.3f} {said:5}   {low:.3f} to {high:.3f}   {name}", flush=True)


def main() -> None:
    """All rows."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=250)
    parser.add_argument("--only", choices=("found", "sure"))
    options = parser.parse_args()
    count = options.count
    if options.only != "found":
        calibration(count)
    if options.only == "sure":
        return
    said: Counter[float] = Counter()
    true: Counter[float] = Counter()
    print("true place among the first two, after so many movements")
    print(" " * 8 + "".join(f"{moves:7}" for moves in MOVES))
    for name, habit in HABITS.items():
        for way in ("ear", "order", "groups"):
            if habit.there or way == "groups":
                study(name, habit, count, way, said, true)
    print("\nthe likeliest place: said at least, right in, of so many")
    for band in BANDS[:-1]:
        if said[band]:
            print(f"{band:6.3f} {true[band] / said[band]:6.3f} {said[band]:6}")


if __name__ == "__main__":
    main()
