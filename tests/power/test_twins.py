"""A joint that passes and loses far more than its twins is pointed at: A against B, shelf against shelf."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.plant.load import plant_of
from bench.sequence import limits
from bench.sequence.file import Limit, Measure
from bench.sequence.power_tree import Powered
from bench.walk.results import passed, results
from bench.walk.state import Phase
from tests.power import pure_walk, small_hall
from tests.power import season_of_both as season

WORN = "{name: FA2A, feed: A, rating: 6 A, contact: {typical: 11 mohm, most: 12 mohm}, at: 2"


@pytest.mark.slow
@pytest.mark.parametrize("worn", [False, True])
def test_a_breaker_with_a_worn_contact_passes_and_is_pointed_at(worn: bool, tmp_path: Path) -> None:
    here = season.hall("small-hall", tmp_path)
    text = small_hall.SMALL
    old = "{name: FA2A, feed: A, rating: 6 A, at: 2"
    assert old in text
    built = plant_of(text.replace(old, WORN), Path("plant.yaml")) if worn else here.plant
    walk = pure_walk.PureWalk(here.first, built, [], 3)
    walk.run()
    assert walk.state.phase is Phase.DONE and passed(walk.state)
    assert walk.state.setting is not None
    steps = walk.state.setting.plan.steps
    odd = {
        step.source.between: outcome.remark
        for index, outcome in results(walk.state).items()
        if outcome.odd and isinstance((step := steps[index]).source, Measure)
    }
    assert set(odd) == ({("FA2A.line", "FA2A.load")} if worn else set()), odd
    for remark in odd.values():
        assert "times as much as its twin" in remark and "cold and dead" in remark


@pytest.mark.parametrize("drop", ["2 V", "0.3 V"])
def test_what_a_feed_may_lose_bounds_the_voltage_at_its_shelves(drop: str) -> None:
    plant = plant_of(small_hall.SMALL.replace("drop: 2 V", f"drop: {drop}"), Path("plant.yaml"))
    inlet = plant.inlets["2A.A"]
    between = (inlet.live.name, inlet.back.name)
    source = Measure(read="voltage", between=between, limit=Limit(computed="shelf-voltage"), live=True)
    powered = Powered(("GA",), -48.0, closed=frozenset(plant.supply_path("2A", "A").breakers))
    held = limits._shelf_voltage(None, source, plant, powered, 0.0)  # type: ignore[arg-type]
    assert held.limit.upper is not None
    lost = 48.0 + held.limit.upper  # the feed is negative: what is nearest to nothing is the upper bound
    if drop == "0.3 V":
        assert lost == pytest.approx(0.3) and "the feed may lose" in held.limit.source
    else:
        assert 0.3 < lost < 2.0 and "computed drop" in held.limit.source
