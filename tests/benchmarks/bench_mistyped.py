"""Slips in typing what a meter shows: of 2,000 seeded ones, all of readings that fail, how many are asked about.

Digits swapped, a prefix lost, a comma lost or moved, another range's prefix, and the value before once more; at a wire,
at two wires and at a feed. Beside them as many readings typed right that pass: how many are asked about for nothing.
Run from the top folder (use ``nice``): ``python -m tests.benchmarks.bench_mistyped``, a few seconds.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.walk.mistyped import MISTAKES, drawn


def main(count: int = 2000) -> bool:
    """Print the shares; returns whether no slip that a range contradicts made a failing reading pass."""
    with tempfile.TemporaryDirectory() as folder:
        found = drawn(Path(folder), count)
    for kind in MISTAKES:
        tried, asked, passed = found.tried[kind], found.asked[kind], found.passed[kind]
        print(f"{kind:18} {tried:4}: asked about {asked:4} ({asked / tried:6.1%}), passed unasked {passed:3}")
    total = found.tried.total()
    print(
        f"{'all':18} {total:4}: asked about {found.asked.total():4} ({found.asked.total() / total:6.1%}), "
        f"passed unasked {found.passed.total():3}, of these contradicted by every range: {len(found.told)}"
    )
    print(f"{'typed right':18} {found.right:4}: asked about {found.needless:4} ({found.needless / found.right:6.1%})")
    return not found.told


if __name__ == "__main__":
    sys.exit(0 if main() else 1)
