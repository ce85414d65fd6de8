"""A walk that is resumed with another meter, other leads or another calibration takes nothing over from the first."""

from __future__ import annotations

import msgspec
import pytest

from bench.assemble import zero_is_of_other
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.results import results
from bench.walk.state import Phase, is_other
from tests.walk import paper_walk as paper
from tests.walk.paper_walk import Desk, Made, refold


def resumed(small: Made) -> Desk:
    """A walk that was broken off among its readings, with a meter that tells its number, and made safe again."""
    desk = Desk(small.began)
    desk.until(phase=Phase.MEETING)
    desk.add(met(desk, "0001"))
    desk.until(phase=Phase.PLACING, index=9)
    desk.resume()
    desk.until(phase=Phase.MEETING)
    return desk


def met(desk: Desk, serial: str, version: str = "1.0", **changes: object) -> e.Met:
    """The meter says who it is."""
    fields = {"serial": serial, "version": version, "identity": f"Gannet Head,meter,{serial},{version}", **changes}
    return e.Met(number=desk.state.number, instrument="meter", roles=["ohms", "volts"], **fields)  # type: ignore[arg-type]


def test_another_meter_is_known_by_its_number_and_a_new_version_is_not(small: Made) -> None:
    desk = resumed(small)
    assert not is_other(desk.state, met(desk, "0001"))
    assert not is_other(desk.state, met(desk, "0001", "1.1"))
    assert is_other(desk.state, met(desk, "0002"))


def test_the_zero_of_the_first_meter_is_not_taken_off_readings_of_the_second(small: Made) -> None:
    desk = resumed(small)
    before = results(desk.state)
    desk.add(met(desk, "0002", other=True))
    assert desk.state.conditions.zeros == {}
    assert "0002" in desk.state.kept.notes[-1][1].text
    desk.until(phase=Phase.PLACING)
    assert isinstance(desk.asked, r.Place) and desk.asked.step.kind == "zero"
    desk.one()
    desk.read(value=0.4)
    assert desk.state.conditions.zeros == {"meter": (0.4,)}
    desk.until(phase=Phase.PLACING)
    assert desk.state.place.cursor == 9
    after = results(desk.state)
    assert {index: after[index].verdict for index in (7, 8)} == {index: before[index].verdict for index in (7, 8)}
    desk.finish()
    assert results(desk.state)[9].figure.zero == 0.4
    assert refold(desk.entries) == desk.state


def test_the_same_meter_goes_on_with_its_zero(small: Made) -> None:
    desk = resumed(small)
    desk.add(met(desk, "0001", "1.1"))
    assert desk.state.conditions.zeros == {"meter": (paper.LEADS,)}
    desk.until(phase=Phase.PLACING)
    assert desk.state.place.cursor == 9


@pytest.mark.parametrize("changes", [{"leads_ohm": (0.1, 0.2)}, {"calibrated": "2026-04-01"}, {"profile": "another"}])
def test_other_leads_or_another_calibration_ask_for_the_zero_again(small: Made, changes: dict[str, object]) -> None:
    desk = resumed(small)
    meter = msgspec.structs.replace(paper.METER, **changes)
    bench = msgspec.structs.replace(paper.BENCH, instruments=[meter, paper.SUPPLY])
    assert zero_is_of_other(desk.state, bench)
    assert not zero_is_of_other(desk.state, paper.BENCH)
    assert not zero_is_of_other(desk.state, None)
