"""Nets held apart by a search: how its places are told, and that it asks what its script asks."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from bench.diagnose.apart.isolation import find_shorts, prove_insulation
from bench.diagnose.apart.search import _charged, listed
from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.script import Script
from bench.diagnose.script_search import Ended, Speech, spoken
from bench.diagnose.search_settings import ohms_of
from bench.files import shipped
from bench.plant.load import load_plant
from bench.quantity import Amount
from bench.sequence.file import Measure, Seek
from bench.walk import events as e
from bench.walk.adviser import NoAdvice, followed
from bench.walk.outcome import Figure, Outcome
from bench.walk.seeking import Answer, Wanted

SPEECH = Speech(place=lambda end, name: name)


def asked(script: Script[Any], trail: Sequence[Answer]) -> Measure | Ended[Any]:
    """What a script wants at the end of a trail, or what it came to."""
    search = followed(spoken(script, SPEECH, lambda act, answers: Wanted(act)), tuple(trail))
    try:
        act = next(search).act
    except StopIteration as end:
        ended: Ended[Any] = end.value
        return ended
    assert isinstance(act, Measure)
    return act


def read(want: Measure, verdict: str, ohms: float | None) -> Answer:
    reading = e.Read(number=1, instrument="m", function="resistance 2w", unit="Ω", value=ohms)
    return Answer(want, 1, Outcome(0, "1/1", 1, verdict, "", reading=reading, figure=Figure(ohms)))  # type: ignore[arg-type]


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
    trail: list[Answer] = []
    while isinstance(want := asked(find_shorts("ABCDEFG"), trail), Measure):
        red, black = sides(want)
        meets = any({a, b} == set(joined) for a in red for b in black)
        trail.append(read(want, "fail" if meets else "pass", 0.1 if meets else 1e7))
    assert want.result is not None and want.result.groups == (joined,)
    assert want.readings == len(trail) == want.result.readings


def test_what_straddles_the_limit_is_looked_at_closer() -> None:
    trail: list[Answer] = []
    # with two nets there is nothing closer: they count as joined
    while isinstance(want := asked(find_shorts("AB"), trail), Measure):
        trail.append(read(want, "undecided", 1e5))
    assert want.result is not None and want.result.groups == (("A", "B"),)


def test_a_yes_or_no_that_was_skipped_is_asked_again_and_then_ends_the_search() -> None:
    first = asked(find_shorts("ABC"), [])
    assert isinstance(first, Measure)
    skipped = read(first, "skipped", None)
    skipped = replace(skipped, outcome=msgspec.structs.replace(skipped.outcome, reading=None))
    again = asked(find_shorts("ABC"), [skipped])
    assert isinstance(again, Measure) and again.between == first.between and "skipped" in again.text
    after = asked(find_shorts("ABC"), [skipped, read(again, "pass", 1e7)])
    assert isinstance(after, Measure) and "skipped" not in after.text
    twice = asked(find_shorts("ABC"), [skipped, skipped])
    assert isinstance(twice, Ended) and twice.result is None and twice.stopped and twice.readings == 0
    # a resistance that was skipped counts as poor, and the plan goes on
    assert isinstance(asked(prove_insulation("ABC", 1e6), [skipped]), Measure)


def test_a_trail_of_another_plan_is_refused() -> None:
    first = asked(find_shorts("ABC"), [])
    assert isinstance(first, Measure)
    with pytest.raises(NoAdvice, match="does not follow from this plan"):
        asked(find_shorts("XYZ"), [read(first, "pass", 1e7)])


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
