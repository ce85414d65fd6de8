"""Distances to faults against worked examples that others published."""

from __future__ import annotations

import pytest

from bench.diagnose.hunt.distance import CableLine, Figure, distance


def exact(length: float) -> CableLine:
    return CableLine(length, length_part=0.0, ohm_part=0.0, unequal=0.0, halves_k=0.0, uneven=0.0)


def test_murray_loop_of_the_hawkins_electrical_guide() -> None:
    # Hawkins Electrical Guide No. 3 (1914), Fig. 597, case II: slide wire 332 of 1000, loop 54.07 ohm, 16.46 ohm a
    # mile: 1.09 miles. The loop is two conductors of one length.
    miles = 54.07 / 2 / 16.46
    told = distance("murray", exact(miles), {"p": Figure(668.0), "q": Figure(332.0)})
    assert told.metres == pytest.approx(1.09, abs=0.005)


def test_murray_loop_of_an_examination_paper() -> None:
    # an examination paper of 2021 (secondary copy): two cores of 600 m, arms 3 to 1: 300 m
    told = distance("murray", exact(600.0), {"p": Figure(3.0), "q": Figure(1.0)})
    assert told.metres == pytest.approx(300.0)


def test_murray_loop_of_a_text_book() -> None:
    # a text book example, from memory: 5.2 km, arms 100 and 41.2: 3.03 km
    told = distance("murray", exact(5.2), {"p": Figure(100.0), "q": Figure(41.2)})
    assert told.metres == pytest.approx(3.03, abs=0.01)


def test_varley_loop_of_an_exercise() -> None:
    # an exercise (secondary copy): P 15, Q 40, 20 ohm for the loop, 10 ohm in balance, 0.5 ohm/km: the loop is 15 km
    # long, so the cable 7.5 km, and the fault 5.4545 km away (the answer from memory)
    line = exact(7.5)
    told = distance(
        "varley", line, {"p": Figure(15.0), "q": Figure(40.0), "whole": Figure(20.0), "balance": Figure(10.0)}
    )
    assert told.metres == pytest.approx(5.4545, abs=1e-4)


def test_capacitances_from_both_ends_of_a_worked_example() -> None:
    # a worked example (secondary copy): 100 pF and 400 pF on 10 m: 2 m
    told = distance("open-both-ends", exact(10.0), {"near": Figure(100e-12), "far": Figure(400e-12)})
    assert told.metres == pytest.approx(2.0)
