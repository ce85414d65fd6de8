"""Turn-on, turn-off and guaranteed range are three numbers: at a bound no digit decides who is on."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.judge.ramp import Finished, RampJudge
from bench.plant.model import Plant
from bench.quantity import Voltage
from bench.sequence.file import Energise, Ramp
from bench.sequence.power_steps import at_stages, ramp
from bench.sequence.power_tree import Powered, PowerTree
from tests.power import small_hall

ALL = ("FA", "FA2A", "FA2B", "FA2C")


@pytest.mark.parametrize("plant_of", ["hall", "gannet"])
def test_at_exactly_the_lowest_voltage_all_draw_at_the_most(plant_of: str, request: pytest.FixtureRequest) -> None:
    """Constant power draws 48 / 40.5 = 1.185 of its current there (arithmetic), and rounding switches nothing."""
    plant: Plant = request.getfixturevalue(plant_of)
    tree = PowerTree(plant)
    closed = frozenset(plant.breakers)
    at = {v: tree.flow(Powered(("GA",), -v, closed=closed), 1).amps for v in (40.5, 40.499, 40.501, 48.0)}
    assert at[40.499] == pytest.approx(at[40.5], rel=1e-3) == pytest.approx(at[40.501], rel=1e-3)
    assert at[40.5] > 1.1 * at[48.0]


def test_between_turn_on_and_guaranteed_range_anything_from_nothing_to_all_is_right(hall: Plant) -> None:
    tree = PowerTree(hall)
    what = Powered(("GA",), -36.0, closed=frozenset(("FA", "FA2A")))
    least, most = tree.flow(what, -1).amps, tree.flow(what, 1).amps
    assert least < 0.01 and most > 1.2 * tree.flow(Powered(what.at, -48.0, closed=what.closed), 1).amps


def test_relays_draw_below_turn_on_and_are_no_leak(hall: Plant) -> None:
    """2C holds a converter and a resistive alarm card: 0.1 A at 48 V, 50 mA at 24 V (arithmetic)."""
    tree = PowerTree(hall)
    low = Powered(("GA",), -24.0, closed=frozenset(("FA", "FA2C")))
    assert tree.flow(low).amps == pytest.approx(0.05, rel=0.01)
    step = Energise(
        text="On.",
        at=["GA"],
        voltage=Voltage(48.0),
        current_limit=small_hall.amps(1.0),
        ramp=[Ramp(to=Voltage(24.0), limit=small_hall.amps(0.5), leakage=small_hall.amps(0.008))],
    )
    at_48 = tree.forecast(Powered(("GA",), -48.0, closed=low.closed))
    judge = RampJudge(ramp(step, at_48, at_stages(step, tree, at_48.powered)))
    judge.begin()
    orders = []
    for k in range(400):
        amps = 0.05 if judge.level == 0 else 0.165
        order = judge.sample(0.15 * k, amps)
        if order is not None:
            orders.append(order)
            judge.was_set(0.15 * k)
    assert isinstance(orders[-1], Finished), "a relay's current is let pass at the lower stage"


def test_turns_off_is_below_turns_on(tmp_path: Path) -> None:
    from bench.files import BadFile

    text = small_hall.SMALL.replace("spread: 20 %,", "spread: 20 %, turns-on: 34 V, turns-off: 35 V,")
    with pytest.raises(BadFile, match="turns-off"):
        small_hall.small(tmp_path, text)
