"""The search for a second path to earth as a walk does it: the shipped sequence, the simulated plant, nothing else."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest

from bench.assemble import began, load_job
from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.finding import SURE, Ending, found_of, is_earth, picture_of
from bench.diagnose.earth.fit import Reading
from bench.diagnose.earth.hunt import Finding
from bench.diagnose.earth.meter import bench_meter
from bench.diagnose.earth.plant import network_of, where_to_look
from bench.diagnose.earth.ranking import explain
from bench.diagnose.earth.search import settings_of
from bench.job.claims import Claims
from bench.job.rows import distil
from bench.record.replay import follow
from bench.sequence.file import Do, Found, Hold, Seek
from tests.diagnose.earth.earth_walk import JOB, EarthWalk, gone, poor, second_path
from tests.rebuild.plants import drawn

BY_READING = {"lifting": "no", "path": "10 mohm"}


@functools.cache
def looped() -> EarthWalk:
    """A walk to its end with a second path of 6 mΩ over the power tray of bay 3, for whoever only looks at it."""
    walk = EarthWalk([second_path("E3", "ET1", 6.0)])
    walk.search()
    return walk


@functools.cache
def beside_a_poor_bond() -> EarthWalk:
    """The same with a bond that is poor besides."""
    walk = EarthWalk([second_path("E3", "ET1", 6.0), poor("LE5", 25)])
    walk.search()
    return walk


@functools.cache
def sound() -> EarthWalk:
    """A walk of a sound plant to its end."""
    walk = EarthWalk()
    walk.search()
    return walk


def suspects(found: Found) -> list[dict[str, Any]]:
    return list(found.facts["posterior"])


def test_a_sound_plant_passes_and_every_lift_is_put_back_and_proven() -> None:
    walk = sound()
    found = walk.found
    assert found.verdict == "pass", found.sentence
    assert found.sentence.startswith("No second path below 10 mΩ") and "not excluded" in found.sentence
    assert found.facts["sight"]["share"] >= 0.9
    lifted = [name for act in walk.acts for name in act.lift]
    assert lifted[0] == "L1" and len(lifted) > 1, "the isolation check, then at least one lift to see enough"
    assert [name for act in walk.acts for name in act.refit] == lifted
    assert not walk.state.conditions.handled.lifted
    for act, following in zip(walk.acts[2:], walk.acts[3:], strict=False):
        assert not (act.lift and following.lift), "one bond is off at a time"
    proven = [one.subject for one in walk.measures if "gain" in one.title]
    assert proven == lifted, "each was proven again after it was put back"


@pytest.mark.parametrize("seed", [1, pytest.param(0, marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    ("between", "milliohm", "crosses"),
    [(("E3", "ET1"), 6.0, False), (("E3", "X3"), 9.0, True), (("E1", "E2"), 12.0, False), (("ES4", "ET3"), 8.0, False)],
)
@pytest.mark.quick_cases(1)
def test_a_second_path_is_found_and_named_first(
    seed: int, between: tuple[str, str], milliohm: float, crosses: bool
) -> None:
    known = looped() if (between, milliohm, seed) == (("E3", "ET1"), 6.0, 1) else None
    found = known.found if known else EarthWalk([second_path(*between, milliohm)], seed=seed).search()
    first = suspects(found)[0]
    assert found.verdict == "fail"
    assert set(first["between"]) == set(between) and first["chance"] > 0.9
    low, high = first["ohms"][1:]
    assert low / 1.2 < milliohm / 1000 < high * 1.2
    assert set(between) <= set(found.touches)
    assert ("crosses to the building's earth" in found.sentence) == crosses
    assert found.facts["second-crossing"] > 0.9 if crosses else found.facts["second-crossing"] < 0.1


@pytest.mark.slow
def test_the_finding_says_where_to_look_and_how_to_prove_and_break_it() -> None:
    found = looped().found
    text = "\n".join(found.lines)
    assert "T1.3, over bay 3, within about 3 m" in text
    assert "lift bond LE3 and read across its gap" in text
    acts = [(one["act"], one["bond"]) for one in found.facts["plan"]]
    assert acts == [("lift", "LE3"), ("cut", "LE3"), ("close", "LE3")]
    assert found.facts["plan"][1]["expected"] == "open"
    # the loop's total less the bond: 6 mΩ and the tray's bond of 6.15 mΩ
    assert found.facts["plan"][0]["expected"] == pytest.approx(12.1e-3, rel=0.05)


def test_a_bond_that_nobody_lifted_before_the_search_is_not_off() -> None:
    """A step that was to lift it and was skipped changes nothing: the search must not ask to have it put back."""
    walk = EarthWalk(refuse=["LE3"], before=[Hold(text="Locked off."), Do(text="Lift LE3.", lift=["LE3"])])
    while walk.state.seeking is None:
        walk.one()
    walk.reach(3)
    assert not [name for act in walk.acts for name in act.refit if name == "LE3"]


@pytest.mark.slow
def test_what_was_read_stands_beside_what_was_expected() -> None:
    walk = looped()
    found = walk.found
    readings = found.facts["readings"]
    assert len(readings) >= len({frozenset(one.between) for one in walk.measures})
    isolation = next(one for one in readings if one["lifted"])
    assert isolation["read"] == isolation["designed"] == "open"
    for one in readings:
        if one["read"] != "open":
            assert one["explained"] == pytest.approx(one["read"], abs=4 * one["u"] + 0.02 * one["read"])
    assert any(one["read"] != "open" and one["designed"] > 1.5 * one["read"] for one in readings)
    assert msgspec.json.decode(msgspec.json.encode(found.facts)) == found.facts


@pytest.mark.parametrize(("fault", "bond", "kind"), [
    (poor("LE4", 20), "LE4", "poor bond"),
    (gone("LE5"), "LE5", "open bond"),
    pytest.param(poor("LT2", 60), "LT2", "poor bond", marks=pytest.mark.slow),
    pytest.param(gone("LS2"), "LS2", "open bond", marks=pytest.mark.slow),
])  # fmt: skip
@pytest.mark.quick_cases(1)
def test_a_poor_and_an_open_bond_are_named(fault: Any, bond: str, kind: str) -> None:
    found = EarthWalk([fault]).search()
    first = suspects(found)[0]
    assert (found.verdict, first["fault"], first["bond"]) == ("fail", kind, bond)
    assert found.facts["poor-bonds"] == [bond]


@pytest.mark.slow
def test_two_second_paths_at_once_are_both_named() -> None:
    faults = [second_path("E3", "ET1", 6.0), second_path("E1", "E2", 4.0)]
    found = EarthWalk(faults).search()
    named = {frozenset(one["between"]) for one in suspects(found) if one["chance"] > 0.9}
    assert found.verdict == "fail"
    assert named == {frozenset(("E3", "ET1")), frozenset(("E1", "E2"))}
    assert {one["bond"] for one in found.facts["plan"] if one["act"] == "lift"} & {"LE1", "LE2"}


@pytest.mark.slow
def test_a_second_path_beside_a_poor_bond() -> None:
    found = beside_a_poor_bond().found
    told = {one.get("bond") or "-".join(sorted(one["between"])) for one in suspects(found) if one["chance"] > 0.9}
    assert told == {"E3-ET1", "LE5"}


def test_a_meter_that_is_too_poor_says_so_and_names_the_lift_that_would_decide() -> None:
    found = EarthWalk(worse=60, settings=BY_READING).search()
    assert found.verdict == "undecided"
    assert "this meter cannot decide" in found.sentence
    assert any(line.startswith("lifting bond ") for line in found.lines)
    assert found.facts["sight"]["share"] < 0.9 and found.facts["sight"]["blind"]


@pytest.mark.slow
def test_the_same_meter_decides_where_it_may_lift() -> None:
    walk = EarthWalk(worse=60)
    found = walk.search()
    assert found.verdict == "pass", found.sentence
    assert sum(len(act.lift) for act in walk.acts) > 2


def test_a_lift_that_is_refused_is_not_asked_for_again() -> None:
    walk = EarthWalk(refuse=["LE7"])
    found = walk.search()
    asked = [name for act in walk.acts for name in act.lift]
    assert asked.count("LE7") == 1
    assert found.verdict == "pass"
    assert any("could not be read" in line for line in found.lines)


def test_a_bond_that_was_put_back_loosely_fails_by_itself() -> None:
    found = EarthWalk(loosen={"LE7": 0.05}).search()
    assert found.verdict == "fail"
    assert found.facts["worse"].keys() == {"LE7"} and "LE7" in found.touches
    assert "after it was put back" in found.sentence


@pytest.mark.slow
def test_each_reading_counts_with_its_own_uncertainty() -> None:
    fine, blunt = (EarthWalk(worse=worse, settings=BY_READING).search() for worse in (1.0, 10.0))
    by_pair = [{tuple(one["between"]): one["u"] for one in found.facts["readings"]} for found in (fine, blunt)]
    both = by_pair[0].keys() & by_pair[1].keys()
    ratios = [by_pair[1][pair] / by_pair[0][pair] for pair in both if by_pair[0][pair]]
    assert ratios and all(5 < ratio < 11 for ratio in ratios)
    assert len({round(u, 9) for u in by_pair[0].values()}) > 5, "it grows with the reading"


@pytest.mark.slow
def test_the_picture_comes_back_from_the_facts() -> None:
    walk = beside_a_poor_bond()
    found = walk.found
    assert walk.state.setting is not None
    facts = msgspec.json.decode(msgspec.json.encode(found.facts))
    assert is_earth(facts)
    picture = picture_of(walk.state.setting.plant, facts)
    assert [(s.a, s.b) for s in picture.strays] == [("E3", "ET1")] and picture.poor == ("LE5",)


@pytest.mark.parametrize("settings", [
    {"lifting": "maybe"}, {"path": "10 kg"}, {"seen": "120 %"}, {"most": "-1"}, {"per-point": "x"}, {"readings": "3"},
])  # fmt: skip
def test_a_setting_of_no_use_is_refused_by_name(settings: dict[str, str]) -> None:
    with pytest.raises(DiagnoseError, match=next(iter(settings))):
        settings_of(Seek(find="second-path", settings=settings))


def test_where_to_look_follows_cables_and_trays() -> None:
    walk = EarthWalk()
    assert walk.state.setting is not None
    plant = walk.state.setting.plant
    assert where_to_look(plant, "ET3", "E3") == [
        "where the cables of bay 3 enter the power tray: T3.2, over bays 3 and 4, within about 6 m"
    ]
    assert "W101" in where_to_look(plant, "E1", "E2")[0]
    assert where_to_look(plant, "E3", "X3") == ["steel frame of the hall (X3): pillar by bay 3"]
    assert where_to_look(plant, "ES3", "E3")[0].startswith("both are in bay 3")


def test_the_network_is_the_plants() -> None:
    walk = EarthWalk()
    assert walk.state.setting is not None
    plant = walk.state.setting.plant
    network = network_of(plant, 20.0)
    assert network.spc == "EB" and len(network.bonds) == len(plant.bonds) == 20
    warm = network_of(plant, 40.0)
    place = network.bond_place("LE1")
    # copper, IEC 60228 tables: 0.393 % a kelvin; its two lugs do not change
    lugs = 2 * 0.2e-3
    grown = (warm.bonds[place].ohms - lugs) / (network.bonds[place].ohms - lugs)
    assert grown == pytest.approx(1 + 0.00393 * 20, rel=2e-3)
    assert warm.bonds[network.bond_place("LX4")].ohms == network.bonds[network.bond_place("LX4")].ohms


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize(
    ("walked", "passed", "failed"),
    [(sound, 20, set()), (beside_a_poor_bond, 0, {"LE3", "LE5"}), (looped, 0, {"LE3"})],
)
def test_what_it_says_of_bonds_is_evidence(walked: Callable[[], EarthWalk], passed: int, failed: set[str]) -> None:
    walk = walked()
    setting = walk.state.setting
    assert setting is not None
    search = next(step.key for step in setting.plan.steps if step.kind == "seek")
    rows = [row for row in distil("r", follow(Path("r"), walk.entries)).evidence if row.step == search]
    assert sum(row.verdict == "pass" for row in rows) == passed
    assert {row.subject for row in rows if row.verdict == "fail"} == failed
    claims = Claims(setting.plant)
    assert all(claims.keys_of(row) == (("joined", frozenset({row.subject})),) for row in rows)


@pytest.mark.parametrize(
    "between", [("E3", "X3"), *(pytest.param(one, marks=pytest.mark.slow) for one in (("E7", "X4"), ("ES1", "X2")))]
)
@pytest.mark.slow
def test_the_buildings_own_earths_are_never_lifted(between: tuple[str, str]) -> None:
    walk = EarthWalk([second_path(*between, 40.0)], worse=20)
    found = walk.search()
    asked = {name for act in walk.acts for name in act.lift} | {one["bond"] for one in found.facts["plan"]}
    asked.add(found.facts["lift"])
    assert not asked & {"LX2", "LX3", "LX4"}, asked


@pytest.mark.slow
def test_a_figure_that_alone_makes_a_bond_poor_is_read_again_before_anybody_goes_there() -> None:
    """A digit mistyped once is taken back by the next two figures."""
    between = frozenset(("EB", "E5"))
    found = EarthWalk(misread={between: [7.0]}, settings=BY_READING).search()
    (again,) = found.facts["again"]
    first, second, third = again["read"]
    assert frozenset(again["between"]) == between
    assert first == pytest.approx(7 * third, rel=0.05) and second == pytest.approx(third, rel=0.05)
    assert found.verdict != "fail" and not found.facts["poor-bonds"], found.sentence
    assert any("counts, as two of three say" in line for line in found.lines)


@pytest.mark.slow
def test_a_reading_that_is_otherwise_each_time_does_not_count() -> None:
    found = EarthWalk(misread={frozenset(("EB", "E5")): [7.0, 30.0, 1.0]}, settings=BY_READING).search()
    assert not found.facts["poor-bonds"] and found.verdict != "fail"
    assert any("no two of them agree, and none counts" in line for line in found.lines)
    assert frozenset(("EB", "E5")) not in {frozenset(one["between"]) for one in found.facts["readings"]}


@pytest.mark.slow
def test_what_is_wrong_for_many_readings_is_not_asked_twice() -> None:
    assert looped().found.facts["again"] == [] == beside_a_poor_bond().found.facts["again"]


BESIDE_THE_BAR = """
HUB Z1 0.0107 0.00289 G1
HUB Z1 0.0023 0.0006
HUB EM 0.0011 0.00059
HUB ED 0.0029 0.00061
Z1 Z2 0.0025 0.00061
HUB E1 0.0032 0.00061
HUB E2 0.0046 0.00063
HUB E3 0.006 0.00065
HUB Z2 0.002 0.0006
EM ED 0.0038 0.00062
EM Z1 0.0025 0.00061
EM Z2 0.0015 0.0006
"""
"""Readings of a drawn plant of three bays with 1.4 mΩ from its return bar to the mast earth: the ends, ohms, their
standard uncertainty, and what was lifted."""


def test_what_joins_inside_and_outside_is_a_fault_though_no_reading_tells_where() -> None:
    """That it conducts with the single-point connection lifted is sure; that it is away from the bar is not."""
    plant = drawn(2).plant
    network = network_of(plant, 20.0)
    rows = [line.split() for line in BESIDE_THE_BAR.split("\n") if line]
    taken = [Reading(a, b, float(ohms), float(u), tuple(lifted)) for a, b, ohms, u, *lifted in rows]
    posterior = explain(network, taken)
    assert posterior.alarm < SURE < posterior.not_listed
    bench = began(load_job(JOB / "earth.yaml", JOB / "benches" / "low-ohm.yaml"), "Ana").bench
    finding = Finding("undecided", posterior, (), "")
    found = found_of(Ending(plant, 20.0, finding, bench_meter(bench, 20.0, 4), {}, 10e-3, 0.9, 11, 0))
    assert found.verdict == "fail"
    assert found.sentence.startswith(
        "Something joins inside and outside that the plant file does not have (over 99 %), and this meter cannot"
        " decide where: most likely a second path joins main return bar (EM) to mast earth (Z2)"
    )
    assert "belongs into the plant file" in found.sentence
    assert explain(network, taken[5:8]).not_listed < SURE, "readings inside alone say nothing of it"
