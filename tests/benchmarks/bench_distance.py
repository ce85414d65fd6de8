"""How often 95 % hold the true distance, by method, length and meter.

Run by hand from the top folder; 400 cables a cell take some four minutes:

    python -m tests.benchmarks.bench_distance

Cables, places and meters are drawn within what is stated of them (tests/diagnose/hunt/line.py); the fault has 0.5 ohm.
A cell says: held / half width in metres / declined.
"""

from __future__ import annotations

import argparse
from statistics import median

from bench.diagnose.hunt.distance import TITLES, Accuracy, CableLine, CannotTell, Method, distance
from tests.diagnose.hunt.line import drawn

LENGTHS = (5.0, 15.0, 50.0, 200.0)
OHMS = {
    "hand-held 0.5 % + 0.3 ohm": Accuracy(0.005, 0.3),
    "hand-held 0.5 % + 0.03 ohm": Accuracy(0.005, 0.03),
    "four wires 0.2 % + 0.2 mohm": Accuracy(0.002, 0.0002),
}
ROWS: list[tuple[Method, dict[str, Accuracy]]] = [
    ("short-both-ends", OHMS),
    ("loop-by-resistances", OHMS),
    ("earth-one-wire", OHMS),
    ("loop-by-voltages", {"0.1 A, 0.5 % + 0.3 mV": Accuracy(0.005, 0.0003)}),
    ("murray", {"arms 0.1 % + 10 mohm": Accuracy(0.001, 0.01)}),
    ("varley", {"arms 0.1 % + 1 mohm": Accuracy(0.001, 0.001)}),
    ("open-both-ends", {"1 % + 5 pF": Accuracy(0.01, 5e-12)}),
    ("open-by-sibling", {"1 % + 5 pF": Accuracy(0.01, 5e-12)}),
]


def cell(method: Method, length: float, kit: Accuracy, count: int) -> str:
    """One cell."""
    held = told = 0
    halves = []
    line = CableLine(length)
    for seed in range(count):
        truth = drawn(method, line, kit, 0.5, f"{method} {length} {seed}")
        try:
            found = distance(method, line, truth.figures, draws=3_000)
        except CannotTell:
            continue
        told += 1
        held += found.low <= truth.at <= found.high
        halves.append(found.half)
    if not told:
        return f"{'declined':>22}"
    return f"{held / told:8.3f}{median(halves):8.2f} m{count - told:4d}"


def main() -> None:
    """The table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=400)
    count = parser.parse_args().count
    print(" " * 66 + "".join(f"{f'{length:g} m':>22}" for length in LENGTHS))
    for method, kits in ROWS:
        for name, kit in kits.items():
            cells = "".join(cell(method, length, kit, count) for length in LENGTHS)
            print(f"{TITLES[method]:38}{name:28}{cells}", flush=True)


if __name__ == "__main__":
    main()
