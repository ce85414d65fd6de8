"""Whole rebuilds, drawn: from the pile of cables to the last shelf and a year of faults, by hand and with Proveout.

    python -m tests.benchmarks.bench_rebuild                  20 of each
    python -m tests.benchmarks.bench_rebuild --count 1000     the long study: both ways, benches, slips, parts left out
    python -m tests.benchmarks.bench_rebuild --tell           the figures of what is kept

The same draws for both ways (tests/rebuild). Where ``REBUILDS`` names a file, what was done is kept there and a study
goes on where it was left. ``--minutes`` ends it in time. A rebuild that ends in an error is told and not kept, and
the study goes on. The exit code is 1 where there was one, or where a shelf had volts over a fault that its readings
could have shown, and which did not come about untold after them.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is loaded: its matrices are small

import argparse
import sys
import time
import traceback
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from tests.rebuild.bench import NAMES
from tests.rebuild.figures import Kept, chosen, intervals, one, said, shelves_over, table
from tests.rebuild.proveout import PARTS

BOTH: Final = (("by hand", "hand", "middling", 1.0, ""), ("with Proveout", "proveout", "middling", 1.0, ""))
SHARES: Final = {"bench": 0.1, "slips": 0.1, "without": 0.1}
"""Part of the draws for the other benches, for half and twice of the slips, and for each part that is left out."""


def wanted(count: int, only: str = "", first: int = 0) -> Iterator[tuple[int, str, str, float, str]]:
    """What is to be done: number, way, bench, slips, what is left out; the two ways first, number by number."""
    for number in range(first, count):
        for _, way, bench, factor, without in BOTH:
            yield number, way, bench, factor, without
        if only == "both":
            continue
        few = {name: number < max(2, round(share * count)) for name, share in SHARES.items()}
        for way in ("hand", "proveout"):
            for bench in NAMES if few["bench"] else ():
                yield number, way, bench, 1.0, ""
            for factor in (0.5, 2.0) if few["slips"] else ():
                yield number, way, "middling", factor, ""
        for part in PARTS if few["without"] else ():
            yield number, "proveout", "middling", 1.0, part


def study(kept: Kept, count: int, minutes: float, only: str, first: int = 0) -> bool:
    """Do what is not done yet, for that many minutes at most; returns whether none of it ended in an error."""
    begun = time.monotonic()
    good = True
    for number, way, bench, factor, without in wanted(count, only, first):
        if kept.has(number, way, bench, factor, without):
            continue
        if time.monotonic() - begun > 60.0 * minutes:
            return good
        try:
            kept.keep(one(number, way, bench, factor, without))
        except Exception:
            good = False
            print(f"rebuild {number}, {way}, {bench}, slips times {factor:g}, without {without or 'nothing'}:")
            traceback.print_exc()
    return good


def tell(lines: list[dict[str, Any]]) -> bool:
    """Print the figures; returns whether no shelf had volts over a fault that its readings could have shown."""
    print("\n".join(table(lines, BOTH)))
    for bench in NAMES:
        if bench != "middling" and chosen(lines, "proveout", bench):
            columns = [(f"{name}, {bench}", way, bench, 1.0, "") for name, way, *_ in BOTH]
            print("\n" + "\n".join(table(lines, columns)))
    for factor in (0.5, 2.0):
        if chosen(lines, "proveout", factor=factor):
            columns = [
                (f"by hand, slips times {factor:g}", "hand", "middling", factor, ""),
                (f"Proveout, slips times {factor:g}", "proveout", "middling", factor, ""),
            ]
            print("\n" + "\n".join(table(lines, columns)))
    parts = [part for part in PARTS if chosen(lines, "proveout", without=part)]
    if parts:
        # the very same draws with all of it beside them
        numbers = {line["number"] for line in chosen(lines, "proveout", without=parts[0])}
        mine = [line for line in lines if line["number"] in numbers]
        columns = [("all of it", "proveout", "middling", 1.0, "")]
        columns += [(f"without {part}", "proveout", "middling", 1.0, part) for part in parts]
        print("\n" + "\n".join(table(mine, columns)))
    whole = chosen(lines, "proveout")
    print("\n" + "\n".join(intervals(whole)))
    for name, words in (("mates", "which ends are one cable"), ("named", "where a contact comes and goes")):
        for row in said((chance, right) for line in whole for chance, right in line[name]):
            print(f"{words}: {row}")
    good = True
    for line in whole:
        if shelves_over(line):
            good = False
            print(f"rebuild {line['number']}: volts over {line['over']}")
    told: dict[str, list[int]] = {}
    for line in whole:
        for words in line["told"]:
            # of which cable or shelf is left out
            told.setdefault(" ".join(words.split()[:4]), []).append(line["number"])
    for words, numbers in sorted(told.items()):
        print(f"{words}, {len(numbers)} times: {', '.join(map(str, sorted(numbers)))}")
    return good


def main() -> int:
    """Do and tell; see the module's text."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--first", type=int, default=0, help="the number to begin with: two processes share a study")
    parser.add_argument("--minutes", type=float, default=1e9)
    parser.add_argument("--only", choices=("", "both"), default="", help="both: nothing but the two ways")
    parser.add_argument("--tell", action="store_true")
    options = parser.parse_args()
    name = os.environ.get("REBUILDS", "")
    kept = Kept(Path(name) if name else None)
    whole = options.tell or study(kept, options.count, options.minutes, options.only, options.first)
    return 0 if tell(kept.lines) and whole else 1


if __name__ == "__main__":
    sys.exit(main())
