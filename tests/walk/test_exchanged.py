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
from tests.walk.paper_walk import Made, PaperWalk, refold

CHECKS = [4, 5, 6]
"""Open leads, zero and reference, before anything is read."""


def at_readings(small: Made, index: int = 9) -> PaperWalk:
    """A walk among its readings, with a meter that tells its number."""
    walker = PaperWalk(small.began)
    walker.until(phase=Phase.MEETING)
    walker.add(met(walker, "0001"))
    return walker.until(phase=Phase.PLACING, index=index)


def resumed(small: Made) -> PaperWalk:
    """The same, broken off there and made safe again."""
    walker = at_readings(small)
    walker.resume()
    return walker.until(phase=Phase.MEETING)


def met(walker: PaperWalk, serial: str, version: str = "1.0", **changes: object) -> e.Met:
    """The meter says who it is."""
    fields = {"serial": serial, "version": version, "identity": f"Gannet Head,meter,{serial},{version}", **changes}
    return e.Met(number=walker.state.number, instrument="meter", roles=["ohms", "volts"], **fields)  # type: ignore[arg-type]


def placed_until(walker: PaperWalk, index: int) -> list[int]:
    """Go on until a step's probes are wanted; the steps whose probes were wanted before."""
    seen: list[int] = []
    while True:
        walker.until(phase=Phase.PLACING)
        cursor = walker.state.place.cursor
        if cursor == index:
            return seen
        seen.append(cursor)
        walker.one()
        walker.read()


def test_another_meter_is_known_by_its_number_and_a_new_version_is_not(small: Made) -> None:
    walker = resumed(small)
    assert not is_other(walker.state, met(walker, "0001"))
    assert not is_other(walker.state, met(walker, "0001", "1.1"))
    assert is_other(walker.state, met(walker, "0002"))


def test_every_check_of_the_first_meter_is_asked_of_the_second_and_the_walk_goes_on_where_it_stood(small: Made) -> None:
    walker = resumed(small)
    before = results(walker.state)
    walker.add(met(walker, "0002", other=True))
    assert walker.state.conditions.zeros == {}
    assert "0002" in walker.state.kept.notes[-1][1].text
    assert placed_until(walker, 9) == CHECKS
    assert walker.state.conditions.zeros == {"meter": (paper.LEADS,)}
    after = results(walker.state)
    # what was read with the first one, and checked with it, stands
    assert {index: after[index].verdict for index in (7, 8)} == {index: before[index].verdict for index in (7, 8)}
    walker.finish()
    found = results(walker.state)
    assert found[9].verdict == before[7].verdict == "pass" and found[9].figure.zero == paper.LEADS
    assert refold(walker.entries) == walker.state


def test_one_without_a_number_that_was_away_is_checked_anew_since_nobody_can_tell(small: Made) -> None:
    nameless = {"serial": "", "version": "", "identity": ""}
    walker = PaperWalk(small.began)
    walker.until(phase=Phase.MEETING)
    walker.add(met(walker, **nameless))
    walker.until(phase=Phase.PLACING, index=9)
    walker.resume()
    walker.until(phase=Phase.MEETING)
    assert not is_other(walker.state, met(walker, **nameless)), "it was there all the time"
    assert is_other(walker.state, met(walker, **nameless, other=True))
    walker.add(met(walker, **nameless, other=True))
    assert walker.state.conditions.zeros == {}
    assert "no number of its own" in walker.state.kept.notes[-1][1].text
    assert placed_until(walker, 9) == CHECKS
    walker.finish()
    assert results(walker.state)[9].verdict == "pass" and refold(walker.entries) == walker.state


def test_what_was_never_met_in_this_walk_is_no_other(small: Made) -> None:
    walker = PaperWalk(small.began)
    walker.until(phase=Phase.MEETING)
    assert not is_other(walker.state, met(walker, serial="", version="", identity="", other=True))


def test_within_a_walk_too(small: Made) -> None:
    walker = at_readings(small)
    walker.trouble("stranger")
    walker.answer("retry")
    walker.until(phase=Phase.MEETING)
    walker.add(met(walker, "0002", other=True))
    assert placed_until(walker, 9) == CHECKS
    walker.finish()
    assert results(walker.state)[9].verdict == "pass" and refold(walker.entries) == walker.state


def test_what_is_read_with_an_instrument_that_was_not_checked_is_void_until_it_was(small: Made) -> None:
    walker = resumed(small)
    walker.add(met(walker, "0002", other=True))
    walker.until(phase=Phase.PLACING, index=4)
    walker.went(9, "go-on")  # around the checks
    walker.until(phase=Phase.PLACING)
    assert walker.state.place.cursor == 4, "they come first"
    for _ in CHECKS:
        walker.until(phase=Phase.PLACING)
        walker.skip("no time")
    walker.until(phase=Phase.PLACING, index=9)
    walker.one()
    walker.read()
    told = results(walker.state)[9]
    assert told.verdict == "void" and "another instrument" in told.sentence
    assert results(walker.state)[8].verdict == "pass", "that one was read before"
    walker.went(4)
    walker.one()
    walker.read()
    assert "zero" in results(walker.state)[9].sentence, "one check of three is not all"


def test_a_check_of_the_second_meter_that_fails_says_nothing_of_what_the_first_one_read(small: Made) -> None:
    walker = resumed(small)
    walker.add(met(walker, "0002", other=True))
    walker.until(phase=Phase.PLACING, index=4)
    walker.one()
    walker.read(value=5.0)  # open leads read 5 ohm
    placed_until(walker, 9)
    walker.one()
    walker.read()
    found = results(walker.state)
    assert found[8].verdict == "pass" and found[9].verdict == "void"


def test_the_drift_between_two_meters_is_none(small: Made) -> None:
    walker = resumed(small)
    alone = resumed(small)
    alone.add(met(alone, "0001"))
    alone.finish()
    walker.add(met(walker, "0002", other=True))
    while walker.state.place.cursor != 9:
        walker.until(phase=Phase.PLACING)
        if walker.state.place.cursor == 5:
            walker.one()
            walker.read(value=1.5)  # leads of another make
        elif walker.state.place.cursor != 9:
            walker.one()
            walker.read(**({"value": 101.5} if walker.state.place.cursor == 6 else {"over": "+", "range": 1e6}))
    budget, same = results(walker.state)[8].figure, results(alone.state)[8].figure
    assert budget.expanded == pytest.approx(same.expanded), "what the first one read has its own zero"


def test_the_same_meter_goes_on_with_its_zero(small: Made) -> None:
    walker = resumed(small)
    walker.add(met(walker, "0001", "1.1"))
    assert walker.state.conditions.zeros == {"meter": (paper.LEADS,)}
    walker.until(phase=Phase.PLACING)
    assert walker.state.place.cursor == 9


@pytest.mark.parametrize("changes", [{"leads_ohm": (0.1, 0.2)}, {"calibrated": "2026-04-01"}, {"profile": "another"}])
def test_other_leads_or_another_calibration_ask_for_the_checks_again(small: Made, changes: dict[str, object]) -> None:
    meter = msgspec.structs.replace(paper.METER, **changes)
    bench = msgspec.structs.replace(paper.BENCH, instruments=[meter, paper.SUPPLY])
    walker = at_readings(small)
    assert zero_is_of_other(walker.state, bench)
    assert not zero_is_of_other(walker.state, paper.BENCH)
    assert not zero_is_of_other(walker.state, None)
    walker.resume(bench=bench)
    walker.until(phase=Phase.MEETING)
    walker.add(met(walker, "0001"))
    assert placed_until(walker, 9) == CHECKS
    walker.finish()
    assert results(walker.state)[9].verdict == "pass" and refold(walker.entries) == walker.state


def test_a_bench_file_in_which_only_words_changed_asks_for_nothing(small: Made) -> None:
    meter = msgspec.structs.replace(paper.METER, title="the grey one", due="2027-01-01")
    walker = at_readings(small)
    walker.resume(bench=msgspec.structs.replace(paper.BENCH, instruments=[meter, paper.SUPPLY]))
    walker.until(phase=Phase.MEETING)
    walker.add(met(walker, "0001"))
    assert walker.state.conditions.zeros == {"meter": (paper.LEADS,)}
    assert placed_until(walker, 9) == []


def test_an_instrument_that_takes_over_a_role_is_checked_in_it(small: Made) -> None:
    other = msgspec.structs.replace(paper.METER, name="other meter")
    bench = msgspec.structs.replace(
        paper.BENCH,
        instruments=[paper.METER, other, paper.SUPPLY],
        role_of={**paper.BENCH.role_of, "ohms": "other meter"},
    )
    walker = at_readings(small)
    walker.resume(bench=bench)
    walker.until(phase=Phase.MEETING)
    for name, roles in (("other meter", ["ohms"]), ("meter", ["volts"])):
        walker.add(e.Met(number=walker.state.number, instrument=name, roles=roles, identity=name, serial="1"))
    walker.until(phase=Phase.PLACING)
    assert walker.state.place.cursor == 4


def test_while_something_is_on_no_check_is_asked_and_nothing_counts_before_one_is_made(small: Made) -> None:
    walker = PaperWalk(small.began)
    walker.until(phase=Phase.MEETING)
    walker.add(met(walker, "0001"))
    volts = next(
        step.index
        for step in walker.state.setting.plan.steps  # type: ignore[union-attr]
        if step.kind == "measure" and step.role == "volts"
    )
    walker.until(phase=Phase.PLACING, index=volts)
    assert walker.state.outputs.on
    walker.trouble("stranger")
    walker.answer("retry")
    walker.until(phase=Phase.MEETING)
    walker.add(met(walker, "0002", other=True))
    walker.until(phase=Phase.PLACING)
    assert walker.state.place.cursor == volts, "its volts were never checked, and no probe goes elsewhere now"


def test_a_record_of_before_asks_for_the_zero_alone(small: Made) -> None:
    walker = PaperWalk(msgspec.structs.replace(small.began, edition=3))
    walker.until(phase=Phase.MEETING)
    walker.add(met(walker, "0001"))
    walker.until(phase=Phase.PLACING, index=9)
    walker.resume()
    walker.until(phase=Phase.MEETING)
    walker.add(met(walker, "0002", other=True))
    walker.until(phase=Phase.PLACING)
    assert isinstance(walker.asked, r.Place) and walker.asked.step.kind == "zero"
    walker.one()
    walker.read(value=0.4)
    walker.until(phase=Phase.PLACING)
    assert walker.state.place.cursor == 9
