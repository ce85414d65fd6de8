"""The insulation proof of a 25-pair screened cable: every single fault, every two faults, readings and charge.

50 wires, the screen and the frame make 1,326 pairs of nets; a fault is 50 kΩ between two of them. Run from the top
folder (use ``nice``):

    python -m tests.benchmarks.bench_insulation           all, about seven minutes of one core
    python -m tests.benchmarks.bench_insulation 10000     10,000 of the two faults, drawn
    python -m tests.benchmarks.bench_insulation 1/4       the first quarter of all two faults, for a busy machine
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator
from itertools import combinations, islice

from tests.diagnose.apart.cable_proof import CABLE_F, NETS, PAIRS, VOLTS, named, proven, wanted


def main(part: str = "") -> bool:
    """Print what was found; returns whether every fault was named and nothing else.

    Args:
        part: a number of two faults that are drawn, a piece of all of them (``1/4``), or empty for all.
    """
    sound, charged = proven([])
    print(
        f"sound, {len(NETS)} nets: {sound.readings} readings, at most {max(charged)} wires charged at once, "
        f"{max(charged) * CABLE_F * VOLTS * 1e6:.2f} µC at {VOLTS:g} V; one by one {len(PAIRS)} readings of "
        f"{CABLE_F * VOLTS * 1e6:.2f} µC"
    )
    missed = wrong = most = total = 0
    for leak in PAIRS:
        found, _ = proven([leak])
        missed += not wanted([leak]) <= named(found)
        wrong += bool(named(found) - wanted([leak]))
        most, total = max(most, found.readings), total + found.readings
    good = not missed and not wrong
    print(
        f"every single fault, {len(PAIRS)}: missed {missed}, named wrongly {wrong}; "
        f"{total / len(PAIRS):.1f} readings, at most {most}"
    )
    every: Iterator[tuple[tuple[str, str], ...]] = combinations(PAIRS, 2)
    which = "every"
    if "/" in part:
        piece, pieces = map(int, part.split("/"))
        every, which = islice(every, piece - 1, None, pieces), f"piece {part} of every"
    elif part:
        every, which = iter(random.Random(17).sample(list(every), int(part))), "drawn"
    count = missed = wrong = most = total = at_screen = at_frame = 0
    for leaks in every:
        found, _ = proven(leaks)
        count += 1
        at_screen += any("W.screen" in pair for pair in leaks)
        at_frame += any("frame" in pair for pair in leaks)
        missed += not wanted(leaks) <= named(found)
        wrong += bool(named(found) - wanted(leaks))
        most, total = max(most, found.readings), total + found.readings
    print(
        f"{which} two faults, {count:,}, {at_screen:,} of them with the screen and {at_frame:,} with the "
        f"frame: missed {missed}, named wrongly {wrong}; {total / count:.1f} readings, at most {most}"
    )
    return good and not missed and not wrong


if __name__ == "__main__":
    sys.exit(0 if main(*sys.argv[1:2]) else 1)
