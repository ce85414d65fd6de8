from __future__ import annotations

import pytest

from bench.plant.faults import Intermittent
from bench.quantity import Duration, Frequency, Temperature
from bench.simulate.world.wobble import Wobble

PLACES = ("J1", "J1.1", "W1 at J1", "W1 at J2", "J2.1", "J2")


def openings(moved: list[str], seconds: float = 4000.0, celsius: float = 20.0, warm: float | None = None) -> int:
    fault = Intermittent(
        conductor="W1.1",
        at="J2.1",
        moved=Frequency(0.3),
        lasts=Duration(0.1),
        warm=Temperature(warm) if warm is not None else None,
    )
    wobble = Wobble(fault, PLACES)
    wobble.move(moved, 0.0)
    count, was = 0, False
    for step in range(int(seconds * 20)):
        now = wobble.is_open(step / 20, celsius)
        count += now and not was
        was = now
    return count


def test_it_opens_as_often_as_is_said_while_it_is_moved() -> None:
    # 1,200 openings in 4,000 s; 61 % of a tenth of a second on average outlast the 50 ms between two looks
    assert 600 < openings(["J2.1"]) < 1200


def test_a_neighbour_moves_it_less_and_what_is_elsewhere_does_not() -> None:
    alone = openings([])
    assert openings(["J2.1"]) > 2 * openings(["J2"]) > 4 * alone
    assert openings(["J9"]) == alone


@pytest.mark.slow
def test_warmth_opens_it_more_often() -> None:
    assert openings([], 20_000, 35.0, warm=30.0) > 4 * openings([], 20_000, 25.0, warm=30.0)
