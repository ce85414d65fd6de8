"""The insulation proof of a 25-pair screened cable: every single fault, every two faults, readings and charge.

50 wires, the screen and the frame make 1,326 pairs of nets; a fault is 50 kΩ between two of them. Run from the top
folder (use ``nice``):

    python -m tests.benchmarks.bench_insulation           all, about seven minutes of one core
    python -m tests.benchmarks.bench_insulation 10000     so many of the two faults, drawn
"""

from __future__ import annotations

import random
import sys
from itertools import combinations

from tests.diagnose.apart.cable_proof import CABLE_F, NETS, PAIRS, VOLTS, named, proven, wanted


def main(drawn: int | None) -> bool:
    """Print what was found; returns whether every fault was named and nothing else."""
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
    every = combinations(PAIRS, 2)
    chosen = every if drawn is None else random.Random(17).sample(list(every), drawn)
    count = missed = wrong = most = total = at_screen = 0
    for leaks in chosen:
        found, _ = proven(leaks)
        count += 1
        at_screen += any("W.screen" in pair for pair in leaks)
        missed += not wanted(leaks) <= named(found)
        wrong += bool(named(found) - wanted(leaks))
        most, total = max(most, found.readings), total + found.readings
    print(
        f"{'every' if drawn is None else 'drawn'} two faults, {count:,}, {at_screen:,} of them with the screen: "
        f"missed {missed}, named wrongly {wrong}; {total / count:.1f} readings, at most {most}"
    )
    return good and not missed and not wrong


if __name__ == "__main__":
    sys.exit(0 if main(int(sys.argv[1]) if len(sys.argv) > 1 else None) else 1)
