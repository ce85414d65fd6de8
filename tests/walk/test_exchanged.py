"""What hangs on an instrument falls with it: another meter, other leads or another calibration is checked anew."""

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

CHECKS = [4, 5, 6]
"""Open leads, zero and reference, before anything is read."""


def at_readings(small: Made, index: int = 9) -> Desk:
    """A walk among its readings, with a meter that tells its number."""
    desk = Desk(small.began)
    desk.until(phase=Phase.MEETING)
    desk.add(met(desk, "0001"))
    return desk.until(phase=Phase.PLACING, index=index)


def resumed(small: Made) -> Desk:
    """The same, broken off there and made safe again."""
    desk = at_readings(small)
    desk.resume()
    return desk.until(phase=Phase.MEETING)


def met(desk: Desk, serial: str, version: str = "1.0", **changes: object) -> e.Met:
    """The meter says who it is."""
    fields = {"serial": serial, "version": version, "identity": f"Gannet Head,meter,{serial},{version}", **changes}
    return e.Met(number=desk.state.number, instrument="meter", roles=["ohms", "volts"], **fields)  # type: ignore[arg-type]


def placed_until(desk: Desk, index: int) -> list[int]:
    """Go on until a step's probes are wanted; the steps whose probes were wanted before."""
    seen: list[int] = []
    while True:
        desk.until(phase=Phase.PLACING)
        cursor = desk.state.place.cursor
        if cursor == index:
            return seen
        seen.append(cursor)
        desk.one()
        desk.read()


def test_another_meter_is_known_by_its_number_and_a_new_version_is_not(small: Made) -> None:
    desk = resumed(small)
    assert not is_other(desk.state, met(desk, "0001"))
    assert not is_other(desk.state, met(desk, "0001", "1.1"))
    assert is_other(desk.state, met(desk, "0002"))


def test_every_check_of_the_first_meter_is_asked_of_the_second_and_the_walk_goes_on_where_it_stood(small: Made) -> None:
    desk = resumed(small)
    before = results(desk.state)
    desk.add(met(desk, "0002", other=True))
    assert desk.state.conditions.zeros == {}
    assert "0002" in desk.state.kept.notes[-1][1].text
    assert placed_until(desk, 9) == CHECKS
    assert desk.state.conditions.zeros == {"meter": (paper.LEADS,)}
    after = results(desk.state)
    # what was read with the first one, and checked with it, stands
    assert {index: after[index].verdict for index in (7, 8)} == {index: before[index].verdict for index in (7, 8)}
    desk.finish()
    found = results(desk.state)
    assert found[9].verdict == before[7].verdict == "pass" and found[9].figure.zero == paper.LEADS
    assert refold(desk.entries) == desk.state


def test_one_without_a_number_that_was_away_is_checked_anew_since_nobody_can_tell(small: Made) -> None:
    nameless = {"serial": "", "version": "", "identity": ""}
    desk = Desk(small.began)
    desk.until(phase=Phase.MEETING)
    desk.add(met(desk, **nameless))
    desk.until(phase=Phase.PLACING, index=9)
    desk.resume()
    desk.until(phase=Phase.MEETING)
    assert not is_other(desk.state, met(desk, **nameless)), "it was there all the time"
    assert is_other(desk.state, met(desk, **nameless, other=True))
    desk.add(met(desk, **nameless, other=True))
    assert desk.state.conditions.zeros == {}
    assert "no number of its own" in desk.state.kept.notes[-1][1].text
    assert placed_until(desk, 9) == CHECKS
    desk.finish()
    assert results(desk.state)[9].verdict == "pass" and refold(desk.entries) == desk.state


def test_what_was_never_met_in_this_walk_is_no_other(small: Made) -> None:
    desk = Desk(small.began)
    desk.until(phase=Phase.MEETING)
    assert not is_other(desk.state, met(desk, serial="", version="", identity="", other=True))


def test_within_a_walk_too(small: Made) -> None:
    desk = at_readings(small)
    desk.trouble("stranger")
    desk.answer("retry")
    desk.until(phase=Phase.MEETING)
    desk.add(met(desk, "0002", other=True))
    assert placed_until(desk, 9) == CHECKS
    desk.finish()
    assert results(desk.state)[9].verdict == "pass" and refold(desk.entries) == desk.state


def test_what_is_read_with_an_instrument_that_was_not_checked_is_void_until_it_was(small: Made) -> None:
    desk = resumed(small)
    desk.add(met(desk, "0002", other=True))
    desk.until(phase=Phase.PLACING, index=4)
    desk.went(9, "go-on")  # around the checks
    desk.until(phase=Phase.PLACING)
    assert desk.state.place.cursor == 4, "they come first"
    for _ in CHECKS:
        desk.until(phase=Phase.PLACING)
        desk.skip("no time")
    desk.until(phase=Phase.PLACING, index=9)
    desk.one()
    desk.read()
    told = results(desk.state)[9]
    assert told.verdict == "void" and "another instrument" in told.sentence
    assert results(desk.state)[8].verdict == "pass", "that one was read before"
    desk.went(4)
    desk.one()
    desk.read()
    assert "zero" in results(desk.state)[9].sentence, "one check of three is not all"


def test_a_check_of_the_second_meter_that_fails_says_nothing_of_what_the_first_one_read(small: Made) -> None:
    desk = resumed(small)
    desk.add(met(desk, "0002", other=True))
    desk.until(phase=Phase.PLACING, index=4)
    desk.one()
    desk.read(value=5.0)  # open leads read 5 ohm
    placed_until(desk, 9)
    desk.one()
    desk.read()
    found = results(desk.state)
    assert found[8].verdict == "pass" and found[9].verdict == "void"


def test_the_drift_between_two_meters_is_none(small: Made) -> None:
    desk = resumed(small)
    alone = resumed(small)
    alone.add(met(alone, "0001"))
    alone.finish()
    desk.add(met(desk, "0002", other=True))
    while desk.state.place.cursor != 9:
        desk.until(phase=Phase.PLACING)
        if desk.state.place.cursor == 5:
            desk.one()
            desk.read(value=1.5)  # leads of another make
        elif desk.state.place.cursor != 9:
            desk.one()
            desk.read(**({"value": 101.5} if desk.state.place.cursor == 6 else {"over": "+", "range": 1e6}))
    budget, same = results(desk.state)[8].figure, results(alone.state)[8].figure
    assert budget.expanded == pytest.approx(same.expanded), "what the first one read has its own zero"


def test_the_same_meter_goes_on_with_its_zero(small: Made) -> None:
    desk = resumed(small)
    desk.add(met(desk, "0001", "1.1"))
    assert desk.state.conditions.zeros == {"meter": (paper.LEADS,)}
    desk.until(phase=Phase.PLACING)
    assert desk.state.place.cursor == 9


@pytest.mark.parametrize("changes", [{"leads_ohm": (0.1, 0.2)}, {"calibrated": "2026-04-01"}, {"profile": "another"}])
def test_other_leads_or_another_calibration_ask_for_the_checks_again(small: Made, changes: dict[str, object]) -> None:
    meter = msgspec.structs.replace(paper.METER, **changes)
    bench = msgspec.structs.replace(paper.BENCH, instruments=[meter, paper.SUPPLY])
    desk = at_readings(small)
    assert zero_is_of_other(desk.state, bench)
    assert not zero_is_of_other(desk.state, paper.BENCH)
    assert not zero_is_of_other(desk.state, None)
    desk.resume(bench=bench)
    desk.until(phase=Phase.MEETING)
    desk.add(met(desk, "0001"))
    assert placed_until(desk, 9) == CHECKS
    desk.finish()
    assert results(desk.state)[9].verdict == "pass" and refold(desk.entries) == desk.state


def test_a_bench_file_in_which_only_words_changed_asks_for_nothing(small: Made) -> None:
    meter = msgspec.structs.replace(paper.METER, title="the grey one", due="2027-01-01")
    desk = at_readings(small)
    desk.resume(bench=msgspec.structs.replace(paper.BENCH, instruments=[meter, paper.SUPPLY]))
    desk.until(phase=Phase.MEETING)
    desk.add(met(desk, "0001"))
    assert desk.state.conditions.zeros == {"meter": (paper.LEADS,)}
    assert placed_until(desk, 9) == []


def test_an_instrument_that_takes_over_a_role_is_checked_in_it(small: Made) -> None:
    other = msgspec.structs.replace(paper.METER, name="other meter")
    bench = msgspec.structs.replace(
        paper.BENCH,
        instruments=[paper.METER, other, paper.SUPPLY],
        role_of={**paper.BENCH.role_of, "ohms": "other meter"},
    )
    desk = at_readings(small)
    desk.resume(bench=bench)
    desk.until(phase=Phase.MEETING)
    for name, roles in (("other meter", ["ohms"]), ("meter", ["volts"])):
        desk.add(e.Met(number=desk.state.number, instrument=name, roles=roles, identity=name, serial="1"))
    desk.until(phase=Phase.PLACING)
    assert desk.state.place.cursor == 4


def test_while_something_is_on_no_check_is_asked_and_nothing_counts_before_one_is_made(small: Made) -> None:
    desk = Desk(small.began)
    desk.until(phase=Phase.MEETING)
    desk.add(met(desk, "0001"))
    volts = next(
        step.index
        for step in desk.state.setting.plan.steps  # type: ignore[union-attr]
        if step.kind == "measure" and step.role == "volts"
    )
    desk.until(phase=Phase.PLACING, index=volts)
    assert desk.state.outputs.on
    desk.trouble("stranger")
    desk.answer("retry")
    desk.until(phase=Phase.MEETING)
    desk.add(met(desk, "0002", other=True))
    desk.until(phase=Phase.PLACING)
    assert desk.state.place.cursor == volts, "its volts were never checked, and no probe goes elsewhere now"


def test_a_record_of_before_asks_for_the_zero_alone(small: Made) -> None:
    desk = Desk(msgspec.structs.replace(small.began, edition=3))
    desk.until(phase=Phase.MEETING)
    desk.add(met(desk, "0001"))
    desk.until(phase=Phase.PLACING, index=9)
    desk.resume()
    desk.until(phase=Phase.MEETING)
    desk.add(met(desk, "0002", other=True))
    desk.until(phase=Phase.PLACING)
    assert isinstance(desk.asked, r.Place) and desk.asked.step.kind == "zero"
    desk.one()
    desk.read(value=0.4)
    desk.until(phase=Phase.PLACING)
    assert desk.state.place.cursor == 9
