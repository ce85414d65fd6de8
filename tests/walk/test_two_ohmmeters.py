"""One walk with two ohmmeters that a person reads: milliohms with the one, megohms with the other."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.assemble import zero_is_old
from bench.commands.draft import idle_ohmmeter
from bench.files import BadFile
from bench.instruments.bench_file import parse_bench
from bench.instruments.profile.library import Library
from bench.plant.faults import BondOpen, BondPoor, Fault, SecondEarthPath
from bench.plant.load import load_plant
from bench.quantity import Resistance
from bench.screens.walk.sayings import page
from bench.sequence.draft import draft
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.outcome import Outcome
from bench.walk.results import outcomes, results
from bench.walk.setting import Setting
from bench.walk.state import Phase, State, fold, start, take, zeros_before
from tests.walk.by_hand_hall import Person, began, walked
from tests.walks.tool import JOB

PLANT = load_plant(JOB / "plant.yaml")
BENCH = """
bench: two ohmmeters
instruments:
  - {name: low-ohm, profile: hand-held-low-ohm-meter, port: typed}
  - {name: desk, profile: scpi-bench-meter, port: typed}
roles: {ohms: low-ohm, high-ohms: desk}
references:
  - {name: the 100 ohm resistor, value: 100 ohm, tolerance: 1 %}
"""


class Misreading(Person):
    """One to whom a meter shows something else once, and who stands by it when asked: a probe is beside its place.

    Args:
        first: how it begins.
        faults: of the plant.
        wrong: of readings of a search, by the two places and the role, what is shown first, second and so on, in
            ohms; once used up, what is so.
    """

    def __init__(self, first: e.Began, faults: list[Fault], wrong: dict[tuple[frozenset[str], str], list[float]]):
        self._wrong = {places: list(shown) for places, shown in wrong.items()}
        self._by_number: dict[int, float] = {}
        super().__init__(first, faults)

    def _held(self, step: Step) -> float:
        true, number = super()._held(step), self.state.number
        seeking = self.state.seeking is not None and self.state.seeking.advised is not None
        wrong = self._wrong.get((frozenset(step.source.probes or ()), str(step.role))) if seeking else None
        if number not in self._by_number and wrong:
            self._by_number[number] = wrong.pop(0)
        return self._by_number.get(number, true)


def asked_across(state: State, *places: str) -> list[tuple[str, float | None]]:
    """Which role a search asked for two places, in order, and what came of it; None for more than the meter shows."""
    return [
        (str(one.asked.source.role), one.figure.value if not one.figure.over else None)
        for one in sorted(outcomes(state), key=lambda one: one.n)
        if one.asked is not None and set(one.asked.source.probes or ()) == set(places)
    ]


EARTH = draft(PLANT, "earth", "", "plant.yaml", "")
BY_READING = EARTH.replace('lifting: "yes"', 'lifting: "no"')


def begun(folder: Path, bench: str = BENCH, sequence: str = "") -> e.Began:
    first: e.Began = began(folder, sequence or EARTH, bench=bench)
    return first


def by_meter(state: State) -> dict[str, set[str]]:
    """Instrument to the titles of what it read."""
    assert state.setting is not None
    found: dict[str, set[str]] = {}
    for one in outcomes(state):
        if one.reading is not None:
            found.setdefault(one.reading.instrument, set()).add(state.setting.step_of(one).title)
    return found


def searched(state: State) -> Outcome:
    return next(one for one in results(state).values() if one.found is not None)


@pytest.mark.slow
def test_each_reading_of_a_draft_goes_to_the_meter_that_can_prove_it(tmp_path: Path) -> None:
    first = begun(tmp_path)
    plan = Setting.of(first).plan
    by = {step.title: first.bench.role_of[str(step.role)] for step in plan.steps if step.reads}
    assert by["The inside floats"] == "desk"
    assert {name for title, name in by.items() if title.endswith("is proven again")} == {"low-ohm"}
    # what the bench is proven by is done with both
    proofs = [step for step in plan.steps if step.kind == "prove"]
    assert [first.bench.role_of[str(step.role)] for step in proofs] == ["low-ohm", "desk"] * 2
    # a resistor no larger than leads says nothing by two wires: they are held together
    hand = BENCH.replace("scpi-bench-meter", "hand-held-meter").replace("100 ohm", "10 mohm")
    steps = Setting.of(begun(tmp_path, hand)).plan.steps
    assert [step.kind for step in steps if step.role == "high-ohms" and step.kind != "measure"] == ["zero", "zero"]
    # a walk with one meter has the same keys, and nothing is weak that either can prove
    alone = begun(tmp_path, BENCH.replace(", high-ohms: desk", ""))
    keys = [step.key for step in Setting.of(alone).plan.steps]
    assert [step.key for step in plan.steps if not step.key.endswith(":high-ohms")] == keys
    floats = next(step.index for step in plan.steps if step.title == "The inside floats")
    answer = Setting.of(first).capabilities[floats]
    assert not isinstance(answer, str) and answer.answer == "can prove"
    weak = Setting.of(first).weak
    assert any("100 kΩ" in text for text in Setting.of(alone).weak) and not any("100 kΩ" in text for text in weak)
    # a bench whose second ohmmeter lies idle is told so
    assert idle_ohmmeter(Setting.of(first)) == ""
    assert "'high-ohms: desk' below 'roles'" in idle_ohmmeter(Setting.of(alone))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("faults", "named"),
    [
        ([], None),
        ([SecondEarthPath(between=("E3", "X3"), ohms=Resistance(9e-3))], {"E3", "X3"}),
        ([BondPoor(bond="LT3", ohms=Resistance(30e-3))], {"LT3"}),
        # so much that the milliohmmeter shows overload: the other one tells how much
        ([BondPoor(bond="LT3", ohms=Resistance(470.0))], {"LT3"}),
        ([BondOpen(bond="LE5")], {"LE5"}),
    ],
)
def test_an_earthing_network_is_proven_in_one_walk(faults: list[Fault], named: set[str] | None, tmp_path: Path) -> None:
    entries: list[e.Entry] = []
    state = walked(begun(tmp_path), faults, kept=entries)
    assert state.phase is Phase.DONE
    by = by_meter(state)
    assert "The inside floats" in by["desk"]
    assert "The inside floats" not in by["low-ohm"] and len(by["low-ohm"]) > 10
    verdicts = {one.verdict for one in results(state).values()}
    found = searched(state).found
    assert found is not None
    if named is None:
        assert verdicts <= {"pass", "done"}, [one.sentence for one in results(state).values() if one.verdict != "done"]
    else:
        assert "fail" in verdicts
        suspect = found.facts["posterior"][0]
        assert set(suspect.get("between") or [suspect["bond"]]) == named and suspect["chance"] > 0.9
    if faults and isinstance(faults[0], BondPoor) and faults[0].ohms.value > 100.0:
        ends = {PLANT.bonds["LT3"].a.name, PLANT.bonds["LT3"].b.name}
        across = [
            one for one in outcomes(state) if one.asked is not None and set(one.asked.source.probes or ()) == ends
        ]
        assert {one.reading.instrument for one in across if one.reading is not None} == {"low-ohm", "desk"}
    # the record alone says which meter read what
    again_by = by_meter(fold(entries))
    assert again_by == by


@pytest.mark.slow
@pytest.mark.parametrize("both", [True, False])
def test_a_figure_that_alone_makes_a_bond_poor_is_read_again_and_two_of_three_count(both: bool, tmp_path: Path) -> None:
    """With two ohmmeters as with one: it is one that the first shows, and asks nobody else."""
    first = begun(tmp_path, BENCH if both else BENCH.replace(", high-ohms: desk", ""), BY_READING)
    walk = Misreading(first, [], {(frozenset(("EB", "E5")), "ohms"): [0.09]})
    walk.run()
    found = searched(walk.state).found
    assert found is not None
    (again,) = found.facts["again"]
    assert set(again["between"]) == {"EB", "E5"} and again["read"][0] == pytest.approx(0.09)
    assert len(again["read"]) == 3 and again["read"][1] == pytest.approx(again["read"][2])
    assert any("counts, as two of three say" in line for line in found.lines)
    assert found.verdict != "fail" and not found.facts["poor-bonds"], found.sentence
    assert [role for role, _ in asked_across(walk.state, "EB", "E5")] == ["ohms"] * 3
    assert {one.asked.source.role for one in outcomes(walk.state) if one.asked is not None} == {"ohms"}


@pytest.mark.slow
def test_of_two_places_that_each_ohmmeter_read_wrong_once_two_of_three_count(tmp_path: Path) -> None:
    """What the first one showed as more than it can is held back, and what the second one says is asked once more."""
    between = frozenset(("EB", "E5"))
    walk = Misreading(
        begun(tmp_path, BENCH, BY_READING), [], {(between, "ohms"): [1e9], (between, "high-ohms"): [470.0]}
    )
    walk.run()
    found = searched(walk.state).found
    assert found is not None
    (shown, told, *others) = asked_across(walk.state, "EB", "E5")
    assert shown == ("ohms", None) and told[0] == "high-ohms" and told[1] == pytest.approx(470.0, rel=0.01)
    assert [role for role, _ in others] == ["ohms", "ohms"]
    (again,) = found.facts["again"]
    # what was held back is none of the three
    assert again["read"] == pytest.approx([told[1], *(ohms for _, ohms in others)])
    assert any("counts, as two of three say" in line for line in found.lines)
    assert found.verdict != "fail" and not found.facts["poor-bonds"], found.sentence


OPEN_AND_JOINED = """
sequence: joined and apart
plant: plant.yaml
steps:
  - step: zero
  - {step: measure, title: Joined, read: resistance, between: [J101.1, J205.1],
     limit: {at-most: 10 ohm, source: by hand}}
  - {step: measure, title: Apart, read: resistance, between: [J101.1, J101.2],
     limit: {at-least: 30 Mohm, source: by hand}}
  - {step: measure, title: Apart by the first, read: resistance, meter: ohms, between: [J101.1, J101.3],
     limit: {at-least: 30 Mohm, source: by hand}}
"""
TWO_WIRES = """
bench: two hand-held ones
instruments:
  - {name: small, profile: hand-held-meter, port: typed}
  - {name: desk, profile: scpi-bench-meter, port: typed}
roles: {ohms: small, high-ohms: desk}
"""


@pytest.mark.slow
def test_the_leads_of_both_are_zeroed_and_zeroed_again_after_a_rest(tmp_path: Path) -> None:
    first = begun(tmp_path, TWO_WIRES, OPEN_AND_JOINED)
    steps = Setting.of(first).plan.steps
    told = [(step.key, step.title, first.bench.role_of[str(step.role)]) for step in steps]
    assert told == [
        ("1", "Zero the leads", "small"),
        ("1:high-ohms", "Zero the leads: the second ohmmeter", "desk"),
        ("2", "Joined", "small"),
        ("3", "Apart", "desk"),
        ("4", "Apart by the first", "small"),
    ]
    entries: list[e.Entry] = []
    state = walked(first, kept=entries)
    assert {one.verdict for one in results(state).values()} == {"pass", "undecided"}
    assert set(state.conditions.zeros) == {"small", "desk"}
    # after the second zero, and after the first reading
    folded, pages = start(), []
    for entry in entries:
        folded = take(folded, entry)
        if folded.phase is Phase.PLACING and folded.step is not None:
            pages.append((folded.step.title, page(folded).text.split("\n")[0]))
        if isinstance(entry.event, e.Read) and len(zeros_before(folded)) == 2:
            rested = folded
    assert zero_is_old(rested, "2026-07-01T00:00:00.000000Z")
    resumed = take(rested, e.Entry(n=rested.taken + 1, at=rested.at, event=e.Resumed(software="x", zero_again=True)))
    made_safe = e.MadeSafe(number=resumed.number, confirmed={})
    resumed = take(resumed, e.Entry(n=resumed.taken + 1, at=rested.at, event=made_safe))
    assert resumed.place.cursor == 0 and resumed.place.again[:1] == (1,) and not resumed.conditions.zeros
    # who walks is told which to take, before the reading
    words = dict(pages)
    assert words["Joined"].startswith("Take the leads of small: it reads this.")
    assert words["Apart"].startswith("Take the leads of desk: it reads this.")
    assert words["Apart by the first"].startswith("Take the leads of small: it reads this.")


@pytest.mark.slow
def test_a_meter_that_reads_with_four_wires_alone_leaves_the_rest_to_the_other(tmp_path: Path) -> None:
    first = begun(tmp_path, BENCH, OPEN_AND_JOINED.replace("meter: ohms, ", ""))
    steps = Setting.of(first).plan.steps
    assert [step.role for step in steps] == ["high-ohms"] * 4
    assert set(by_meter(walked(first))) == {"desk"}


@pytest.mark.parametrize(
    ("roles", "said"),
    [
        ("{high-ohms: desk}", "'desk', and nothing for 'ohms'"),
        ("{ohms: desk, high-ohms: desk}", "'desk' again"),
        ("{ohms: small, high-ohms: nobody}", "the instrument 'nobody'"),
    ],
)
def test_a_bench_says_of_both_which_is_which(roles: str, said: str) -> None:
    with pytest.raises(BadFile) as caught:
        parse_bench(TWO_WIRES.replace("{ohms: small, high-ohms: desk}", roles), "bench.yaml", Library.for_job())
    assert said in str(caught.value)


@pytest.mark.slow
def test_a_step_that_wants_the_second_one_wants_a_bench_that_has_it(tmp_path: Path) -> None:
    asked = OPEN_AND_JOINED.replace("meter: ohms", "meter: high-ohms")
    with pytest.raises(BadFile) as caught:
        begun(tmp_path, TWO_WIRES.replace(", high-ohms: desk", ""), asked)
    assert "the role 'high-ohms'" in str(caught.value)
