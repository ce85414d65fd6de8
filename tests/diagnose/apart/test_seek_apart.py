"""Nets held apart by a search: how its places are told, and that its dialogue is the planner's."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import pytest

from bench.diagnose.apart.search import _charged, listed
from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.isolation import find_shorts, prove_insulation
from bench.diagnose.planned_search import Translation, ohms_of, reached
from bench.files import shipped
from bench.plant.load import load_plant
from bench.quantity import Amount
from bench.sequence.file import Measure, Seek
from bench.walk import events as e
from bench.walk.seeking import Link
from bench.walk.setting import Outcome

WORDS = Translation(place=lambda end, name: name)


def link(want: Measure, verdict: str, ohms: float | None) -> Link:
    reading = e.Read(number=1, instrument="m", function="resistance 2w", unit="Ω", value=ohms)
    return Link(want, 1, Outcome(0, "1/1", 1, verdict, "", value=ohms, reading=reading))  # type: ignore[arg-type]


def sides(want: Measure) -> tuple[set[str], set[str]]:
    groups = {group[0]: set(group) for group in want.join}
    red, black = want.between
    return groups.get(red, {red}), groups.get(black, {black})


@pytest.mark.parametrize(
    ("names", "told"),
    [
        (["J1.3", "J1.1", "J1.2", "J1.7"], "J1.1-3, 7"),
        (["J1.1", "J1.2"], "J1.1, 2"),
        (["J1.1", "W1.screen", "J1.2", "J2.A1", "EB"], "J1.1, 2; W1.screen; J2.A1; EB"),
    ],
)
def test_places_are_told_as_a_person_reads_them_off(names: list[str], told: str) -> None:
    assert listed(names) == told


@pytest.mark.parametrize("joined", list(itertools.combinations("ABCDEFG", 2)))
def test_each_join_of_seven_nets_is_found_along_a_trail(joined: tuple[str, str]) -> None:
    trail: list[Link] = []
    while (at := reached(find_shorts("ABCDEFG"), trail, WORDS)).want is not None:
        assert isinstance(at.want, Measure)
        red, black = sides(at.want)
        meets = any({a, b} == set(joined) for a in red for b in black)
        trail.append(link(at.want, "fail" if meets else "pass", 0.1 if meets else 1e7))
    assert at.result is not None and at.result.groups == (joined,)
    assert at.readings == len(trail) == at.result.readings


def test_what_straddles_the_limit_is_looked_at_closer() -> None:
    (first, *_) = [reached(find_shorts("AB"), [], WORDS).want]
    assert isinstance(first, Measure)
    at = reached(find_shorts("AB"), [link(first, "undecided", 1e5)], WORDS)
    # with two nets there is nothing closer: they count as joined
    while at.want is not None:
        at = reached(find_shorts("AB"), [link(first, "undecided", 1e5)] * (at.readings + 1), WORDS)
    assert at.result is not None and at.result.groups == (("A", "B"),)


def test_a_yes_or_no_that_was_skipped_is_asked_again_and_then_ends_the_search() -> None:
    first = reached(find_shorts("ABC"), [], WORDS).want
    assert isinstance(first, Measure)
    skipped = link(first, "skipped", None)
    skipped = replace(skipped, outcome=replace(skipped.outcome, reading=None))
    again = reached(find_shorts("ABC"), [skipped], WORDS).want
    assert isinstance(again, Measure) and again.between == first.between and "skipped" in again.text
    after = reached(find_shorts("ABC"), [skipped, link(again, "pass", 1e7)], WORDS)
    assert isinstance(after.want, Measure) and "skipped" not in after.want.text
    twice = reached(find_shorts("ABC"), [skipped, skipped], WORDS)
    assert twice.want is None and twice.result is None and twice.stopped
    # a resistance that was skipped counts as poor, and the plan goes on
    assert reached(prove_insulation("ABC", 1e6), [skipped], WORDS).want is not None


def test_a_dialogue_that_is_kept_goes_on_where_it_stood_and_back_when_an_answer_is_taken_back() -> None:
    key = "a dialogue of this test"
    trail: list[Link] = []
    wants = []
    while (at := reached(find_shorts("ABCDE"), trail, WORDS, key)).want is not None:
        assert at == reached(find_shorts("ABCDE"), trail, WORDS)
        wants.append(at.want)
        assert isinstance(at.want, Measure)
        trail.append(link(at.want, "pass", 1e7))
    for length in (1, 0, 2):
        assert reached(find_shorts("ABCDE"), trail[:length], WORDS, key).want == wants[length]


def test_a_trail_of_another_plan_is_refused() -> None:
    first = reached(find_shorts("ABC"), [], WORDS).want
    assert isinstance(first, Measure)
    with pytest.raises(DiagnoseError, match="does not follow from this plan"):
        reached(find_shorts("XYZ"), [link(first, "pass", 1e7)], WORDS)


@pytest.mark.parametrize("text", ["0 ohm", "-1 kohm", "soft", "12 V"])
def test_a_setting_that_is_no_resistance_says_which(text: str) -> None:
    with pytest.raises(DiagnoseError, match="setting 'apart'"):
        ohms_of(text, "apart")


def test_a_group_at_test_voltage_says_how_long_its_charge_takes() -> None:
    plant = load_plant(shipped("sequences") / "gannet-head" / "plant.yaml")
    source = Seek(find="isolation", of="W501", read="insulation", at=Amount(500.0, "V"))
    few, many = (_charged(plant, source, ends) for ends in (2, 100))
    # 45 m at 55 nF/km or so for each wire: what a hundred hold takes fifty times as long
    assert "2 wires" in few and "100 wires" in many and "prove them dead" in many
    waits = [int(text.split(" s at least")[0].rpartition(" ")[2]) for text in (few, many)]
    assert waits[0] <= waits[1]
    cable = plant.cables["W501"]
    farad = 100 * cable.length_m * cable.type.capacitance.value
    assert waits[1] >= 2 * 1e6 * farad * math.log(500 / 60)
