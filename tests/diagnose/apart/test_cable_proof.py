"""A 25-pair screened cable: 50 wires, screen and frame held against each other; every fault is named by its pair.

All pairs of faults are drawn in ``tests/benchmarks/bench_insulation.py``.
"""

from __future__ import annotations

import random
from itertools import combinations

import pytest

from tests.diagnose.apart.cable_proof import CABLE_F, PAIRS, VOLTS, named, proven, wanted


def test_every_single_fault_is_named() -> None:
    for leak in PAIRS:
        found, _ = proven([leak])
        assert named(found) == wanted([leak])


@pytest.mark.parametrize("count", [200, pytest.param(None, marks=pytest.mark.slow)])
def test_every_two_faults_that_share_the_screen_or_the_frame_are_named(count: int | None) -> None:
    at_screen = [pair for pair in PAIRS if "W.screen" in pair or "frame" in pair]
    both = list(combinations(at_screen, 2))
    for leaks in both if count is None else random.Random(5).sample(both, count):
        found, _ = proven(leaks)
        assert named(found) == wanted(leaks)


@pytest.mark.parametrize("count", [200, pytest.param(5_000, marks=pytest.mark.slow)])
def test_two_faults_anywhere_are_named(count: int) -> None:
    rng = random.Random(17)
    for _ in range(count):
        leaks = rng.sample(PAIRS, 2)
        found, _ = proven(leaks)
        assert named(found) == wanted(leaks)


def test_readings_and_charge_against_one_by_one() -> None:
    found, charged = proven([])
    most = max(charged) * CABLE_F * VOLTS
    one_by_one = len(PAIRS)
    print(
        f"{found.readings} readings, at most {most * 1e6:.2f} uC at once; one by one {one_by_one} readings, "
        f"{CABLE_F * VOLTS * 1e6:.2f} uC each"
    )
    assert found.readings == 6 and one_by_one == 1326
    # 26 wires of 12 m hold 3.9 uC at 250 V: below the 0.1 uF that IEC 60335-1 8.1.4 allows up to 450 V
    assert max(charged) == 26 and max(charged) * CABLE_F == pytest.approx(15.6e-9)
