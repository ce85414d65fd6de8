"""How right and how sure the answers of a survey are on made piles, and what the way to the goal costs.

Run it with ``python -m tests.benchmarks.bench_survey [--piles N]``. Every figure is against two others on the very same
piles: the ends with the nearest labels laid together, and the best assignment alone. The piles are made by
``tests/diagnose/survey/piles.py``: they and the likelihood come from one family, so the figures are optimistic; with
twice the errors that the survey believes in they are less so. What it is worth to know the kinds of cable that there
are, which is else learned from the finds, is told pile by pile (``--only kinds``).
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is loaded

import argparse
from collections.abc import Sequence
from pathlib import Path
from statistics import mean, stdev
from tempfile import TemporaryDirectory

from tests.diagnose.survey.piles import Noise
from tests.diagnose.survey.study import Figures, by_hand, figures, reliability, told_kinds, way_to_goal
from tests.job.test_proven_claims import chance_of_falsehood

SIZES = {20: 60, 60: 40, 150: 15, 400: 5}
KINDS_TOLD = 100
WAYS = 24
LANDINGS = 1000


def spread(values: Sequence[float]) -> float:
    """Standard error of a mean."""
    return stdev(values) / len(values) ** 0.5 if len(values) > 1 else 0.0


def tell(count: int, found: list[Figures], name: str) -> None:
    called = sum(int(one.called.sum()) for one in found)
    right = sum(int(one.hits[one.called].sum()) for one in found)
    print(
        f"{count:3} ends {name:8} log {mean(one.log for one in found):.3f} +- {spread([one.log for one in found]):.3f} "
        f"(best assignment alone {mean(one.best_log for one in found):.2f})  "
        f"right {mean(one.right for one in found):.3f} +- {spread([one.right for one in found]):.3f} "
        f"(best alone {mean(one.best_right for one in found):.3f}, "
        f"nearest label {mean(one.nearest_right for one in found):.3f})  "
        f"called {called / sum(len(one.tops) for one in found):.2f}, of these right {right}/{called}  "
        f"CPU s {mean(one.seconds for one in found):.2f}, at most {max(one.seconds for one in found):.2f}  "
        f"chances off by at most {max(one.doubt for one in found):.3f}",
        flush=True,
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--piles", type=float, default=1.0, help="share of the piles of the full study")
    parser.add_argument("--only", choices=("figures", "kinds", "ways", "landings"), help="only this part of the study")
    options = parser.parse_args()
    if options.only in (None, "figures"):
        all_figures(options.piles)
    if options.only in (None, "kinds"):
        all_kinds(max(2, round(KINDS_TOLD * options.piles)))
    if options.only in (None, "ways"):
        all_ways(max(2, round(WAYS * options.piles)))
    if options.only in (None, "landings"):
        runs = max(20, round(LANDINGS * options.piles))
        with TemporaryDirectory() as folder:
            false = chance_of_falsehood(Path(folder), runs)
        print(f"claims of which most are false, proven by readings: {false} false ones accepted in {runs} runs")
    return 0


def all_figures(share: float) -> None:
    for noise, name in ((Noise(), "believed"), (Noise().doubled(), "doubled")):
        everything = []
        for count, piles in SIZES.items():
            found = [figures(count, seed, noise) for seed in range(max(2, round(piles * share)))]
            tell(count, found, name)
            everything += found
        print(f"reliability, noise {name}: said, right +- standard error over piles, ends")
        for said, right, error, total in reliability(everything):
            print(f"  {said:.3f}  {right:.3f} +- {error:.3f}  {total}", flush=True)


def all_kinds(piles: int) -> None:
    """The same piles of 20 ends without and with what may be known of the kinds of cable, pile by pile."""
    bare = [figures(20, seed) for seed in range(piles)]
    tell(20, bare, "kinds learned")
    for jackets, name in ((False, "kinds as a plant file tells them"), (True, "kinds told with their jackets")):
        told = [figures(20, seed, kinds=told_kinds(jackets)) for seed in range(piles)]
        tell(20, told, name)
        less = [one.log - other.log for one, other in zip(bare, told, strict=True)]
        print(f"  log score of the same pile smaller by {mean(less):.3f} +- {spread(less):.3f}", flush=True)


def all_ways(ways: int) -> None:
    for noise, name in ((Noise(), "believed"), (Noise().doubled(), "doubled")):
        trips = [way_to_goal(60, seed, noise) for seed in range(ways)]
        print(
            f"60 ends, noise {name}: to 95 % called and right {mean(way.minutes for way in trips):.0f} min "
            f"+- {spread([way.minutes for way in trips]):.0f}, {mean(way.climbs for way in trips):.0f} climbs, "
            f"{mean(way.readings for way in trips):.0f} readings, wrongly sure "
            f"{100 * mean(way.wrongly_sure for way in trips):.2f} % of ends, "
            f"{sum(way.reached for way in trips)} of {ways} reach it",
            flush=True,
        )
        called, right = sum(way.called for way in trips), sum(way.right for way in trips)
        # ends of one pile hang together, so the error is that of a ratio over piles
        error = sum((way.right - way.called * right / called) ** 2 for way in trips) ** 0.5 / called
        print(f"  after these trips: called {called}, of these right {right}, {right / called:.4f} +- {error:.4f}")
    for nearest, name in ((False, "ringing every pair"), (True, "nearest label first")):
        trips = [by_hand(60, seed, nearest) for seed in range(ways)]
        print(
            f"60 ends, {name}: {mean(way.minutes for way in trips):.0f} min, "
            f"{mean(way.climbs for way in trips):.0f} climbs, {mean(way.readings for way in trips):.0f} readings"
        )


if __name__ == "__main__":
    raise SystemExit(main())
