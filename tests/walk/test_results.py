"""What counts at the end: checks of the bench, the drift of its zero, disturbances, other rules."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from bench.quantity import Amount, Ratio
from bench.sequence.file import Decide, Limit
from bench.walk import events as e
from bench.walk.results import outcomes, passed, results, tally, verdict_line, verdict_lines
from bench.walk.setting import Rules
from bench.walk.state import Phase, start, take
from tests.walk import paper_walk as paper
from tests.walk.paper_walk import Made, PaperWalk, State, refold

MEASURED = range(7, 12)
"""Indexes of the ohm readings between the checks."""
FIRST_PROOF, FIRST_ZERO, LAST_ZERO, LAST_PROOF = 6, 5, 21, 22


@pytest.fixture
def walker(small: Made) -> PaperWalk:
    return PaperWalk(small.began)


def verdicts(state: State) -> dict[int, str]:
    return {index: outcome.verdict for index, outcome in results(state).items() if outcome.verdict != "done"}


def again(walker: PaperWalk, index: int, **changes: object) -> None:
    """Measure one step again, with this reading."""
    walker.went(index)
    walker.answer()
    walker.read(**changes)


def before_the_end(walker: PaperWalk, **changes: object) -> PaperWalk:
    """Walk up to the last proof and take it with this reading; the walk then ends, or stands at the end."""
    walker.until(phase=Phase.MEASURING, index=LAST_PROOF)
    if changes:
        walker.read(**changes)
    return walker


# bench checks


def test_a_failing_closing_check_voids_what_lies_since_the_check_before(walker: PaperWalk) -> None:
    before_the_end(walker, value=103.0)
    found = results(walker.state)
    assert found[LAST_PROOF].verdict == "fail"
    for index in MEASURED:
        assert found[index].verdict == "void"
        assert found[index].sentence.startswith("Void: the bench's check after it (reference) did not pass. It read: ")
    assert found[16].verdict == "void", "the same meter read the volts"
    assert not passed(walker.state)


def test_an_undecided_closing_check_voids_too(small: Made) -> None:
    bench = msgspec.structs.replace(paper.BENCH, references=[])
    walker = PaperWalk(small.with_bench(bench).began)
    walker.finish()
    assert verdicts(walker.state)[LAST_PROOF] == "undecided"
    assert verdicts(walker.state)[MEASURED[0]] == "void"


def test_a_check_that_is_measured_again_and_passes_gives_the_readings_back(walker: PaperWalk) -> None:
    walker.until(phase=Phase.PLACING, index=LAST_PROOF)
    again(walker, FIRST_PROOF, value=103.0)
    assert {verdicts(walker.state)[index] for index in MEASURED} == {"void"}
    again(walker, FIRST_PROOF)
    assert {verdicts(walker.state)[index] for index in MEASURED} == {"pass"}
    assert sum(1 for outcome in outcomes(walker.state) if outcome.index == FIRST_PROOF) == 3


def test_a_failing_check_is_not_undone_by_skipping_it(walker: PaperWalk) -> None:
    walker.until(phase=Phase.PLACING, index=LAST_PROOF)
    again(walker, FIRST_PROOF, value=103.0)
    walker.went(FIRST_PROOF)
    walker.skip("it passed last week")
    found = verdicts(walker.state)
    assert found[FIRST_PROOF] == "skipped"
    assert {found[index] for index in MEASURED} == {"void"}


def test_a_check_in_between_bounds_what_a_later_one_voids(walker: PaperWalk) -> None:
    """The nearest check before and the nearest after a reading bear on it; those further off do not."""
    walker.until(phase=Phase.PLACING, index=9)
    again(walker, FIRST_PROOF)
    before_the_end(walker, value=103.0)
    found = verdicts(walker.state)
    assert [found[index] for index in MEASURED] == ["pass", "pass", "void", "void", "void"]


def test_a_failing_opening_check_voids_what_was_measured_all_the_same(walker: PaperWalk) -> None:
    def readings(state: State, step: paper.Step) -> dict[str, object]:
        return {"value": 103.0} if step.index == FIRST_PROOF else paper.sound(state, step)

    walker.readings = readings
    walker.finish()
    found = results(walker.state)
    assert "check before it (reference) did not pass" in found[7].sentence
    assert {found[index].verdict for index in MEASURED} == {"void"}


def test_checks_of_one_meter_say_nothing_about_another(small: Made) -> None:
    other = msgspec.structs.replace(paper.METER, name="other meter")
    bench = msgspec.structs.replace(paper.BENCH, instruments=[*paper.BENCH.instruments, other])

    def readings(state: State, step: paper.Step) -> dict[str, object]:
        shown = paper.sound(state, step)
        if step.index == LAST_PROOF:
            shown = {"value": 103.0}
        return {"instrument": "other meter", **shown} if step.index == 8 else shown

    walker = PaperWalk(small.with_bench(bench).began)
    walker.readings = readings
    walker.finish()
    found = verdicts(walker.state)
    assert (found[7], found[8], found[9]) == ("void", "pass", "void")


def test_steps_without_a_reading_are_never_void(walker: PaperWalk) -> None:
    before_the_end(walker, value=103.0)
    assert {outcome.verdict for outcome in results(walker.state).values() if outcome.reading is None} == {"done"}
    assert tally(walker.state).counts == {"pass": 4, "fail": 1, "void": 6}


# the zero's drift


def test_a_zero_that_moved_widens_the_uncertainty_of_what_lies_between(walker: PaperWalk) -> None:
    still = PaperWalk(walker.began).until(index=LAST_PROOF)

    def readings(state: State, step: paper.Step) -> dict[str, object]:
        return {"value": paper.LEADS + 0.03} if step.index == LAST_ZERO else paper.sound(state, step)

    walker.readings = readings
    walker.until(index=LAST_PROOF)
    narrow, wide = results(still.state)[7], results(walker.state)[7]
    assert narrow.figure.value == wide.figure.value
    assert narrow.figure.budget is not None and wide.figure.budget is not None
    # a rectangular distribution of half-width 30 mΩ has a standard uncertainty of 30 mΩ / √3 (GUM 4.3.7)
    drift = next(part for part in wide.figure.budget.components if part.role == "zero")
    assert drift.standard == pytest.approx(0.03 / 3**0.5)
    assert wide.figure.budget.standard_uncertainty == pytest.approx(
        (narrow.figure.budget.standard_uncertainty**2 + drift.standard**2) ** 0.5
    )
    assert walker.state.kept.latest[7].figure.expanded == narrow.figure.expanded, (
        "worked out when asked, not written over"
    )


def test_a_zero_that_moved_can_take_a_pass_away(walker: PaperWalk) -> None:
    def readings(state: State, step: paper.Step) -> dict[str, object]:
        return {"value": paper.LEADS + 0.3} if step.index == LAST_ZERO else paper.sound(state, step)

    walker.readings = readings
    walker.until(index=LAST_PROOF)
    found = verdicts(walker.state)
    assert found[LAST_ZERO] == "pass"
    assert found[7] == "undecided"
    assert found[11] == "pass", "far from its limit, and not nulled to milliohms"


def test_the_drift_is_judged_with_the_bench_that_took_the_reading(walker: PaperWalk) -> None:
    """Resumed with another bench of which the old meter is no part, the old readings keep their uncertainty."""
    walker.until(phase=Phase.PLACING, index=11)
    before = results(walker.state)[7]
    again(walker, FIRST_ZERO, value=paper.LEADS)
    assert results(walker.state)[7].verdict == "pass"
    new = msgspec.structs.replace(paper.METER, name="new meter")
    bench = msgspec.structs.replace(
        paper.BENCH,
        instruments=[new, paper.SUPPLY],
        role_of={"ohms": "new meter", "volts": "new meter", "supply": "supply"},
    )
    walker.resume(bench=bench)
    found = results(walker.state)[7]
    assert (found.verdict, found.figure.value) == (before.verdict, before.figure.value)


def test_a_failing_zero_voids_and_is_not_taken_off(walker: PaperWalk) -> None:
    def readings(state: State, step: paper.Step) -> dict[str, object]:
        return {"value": 5.0} if step.index == FIRST_ZERO else paper.sound(state, step)

    walker.readings = readings
    walker.until(phase=Phase.PLACING, index=11)
    assert walker.state.conditions.zeros == {}
    found = results(walker.state)
    assert found[FIRST_ZERO].sentence.startswith("Fail: the leads read 5 Ω, more than 2 Ω")
    assert "check before it (zero) did not pass" in found[7].sentence


@pytest.mark.parametrize(
    ("shown", "verdict", "sentence"),
    [
        ({"value": 0.2}, "pass", "The leads read 0.2 Ω"),
        ({"over": "+"}, "fail", "the probes do not touch, or a lead is broken"),
        ({"nan": True}, "fail", "the probes do not touch, or a lead is broken"),
        ({"value": 2.1}, "fail", "more than 2 Ω"),
        ({"value": -0.06}, "fail", "Clear the meter's own null"),
    ],
)
def test_zeros(walker: PaperWalk, shown: dict[str, object], verdict: str, sentence: str) -> None:
    walker.until(phase=Phase.MEASURING, index=FIRST_ZERO)
    walker.read(**shown)
    outcome = walker.state.kept.latest[FIRST_ZERO]
    assert outcome.verdict == verdict and sentence in outcome.sentence


# disturbances


def void_after(walker: PaperWalk, *touches: str) -> set[str]:
    """Subjects that are void after something was touched at the end of the ohm readings."""
    walker.until(index=12)
    walker.add(e.Disturbed(touches=list(touches), text="", by="Ben"))
    return {outcome.subject for outcome in results(walker.state).values() if outcome.verdict == "void"}


ALL = {"W1.1", "W1.2", "W1.3", "W1.4", "J1.1~J1.2"}


@pytest.mark.parametrize(
    ("touched", "void"),
    [
        ("W1.1", {"W1.1", "J1.1~J1.2"}),
        ("W1.3", {"W1.3"}),
        ("J1.3", {"W1.3"}),
        ("J2.1", {"W1.1", "J1.1~J1.2"}),
        ("W1", ALL),
        ("J1", ALL),
        ("J2", ALL),
        ("1A", ALL),
        ("2", ALL),
        ("J4", set()),
        ("2B", set()),
        ("W2", set()),
        ("F1", set()),
        ("something that the plant file does not know", set()),
        ("", set()),
    ],
)
def test_a_disturbance_voids_what_it_touched_and_nothing_else(walker: PaperWalk, touched: str, void: set[str]) -> None:
    assert void_after(walker, touched) == void


def test_a_bare_connector_voids_what_was_found_between_its_pins(tmp_path: Path) -> None:
    """Nothing lands on it, so it is known by the owner of the pins alone."""
    plant = paper.PLANT.replace("[{name: J4, type: R4}]", "[{name: J4, type: R4}, {name: J5, type: R4}]")
    limit = "{at-least: 100 kohm, source: a test}"
    text = "sequence: apart\nplant: plant.yaml\nsteps:\n" + "".join(
        f"  - {{step: measure, read: resistance, between: [{owner}.1, {owner}.2], limit: {limit}}}\n"
        for owner in ("J5", "J4")
    )
    walker = PaperWalk(paper.made(tmp_path, text, plant).began)
    for index in (0, 1):
        walker.until(phase=Phase.MEASURING, index=index)
        walker.read(over="+", range=1e6)
    walker.add(e.Disturbed(touches=["J5"]))
    assert verdicts(walker.state) == {0: "void", 1: "pass"}


def test_a_disturbed_reading_says_why_and_what_it_was(walker: PaperWalk) -> None:
    walker.until(index=12)
    walker.add(e.Disturbed(touches=["W1.3"], text="pulled through the tray", by="Ben"))
    outcome = results(walker.state)[9]
    assert outcome.sentence.startswith("Void: disturbed since: pulled through the tray. It read: Pass: 0.857 Ω")
    assert walker.state.kept.latest[9].verdict == "pass"


def test_what_is_measured_after_a_disturbance_counts(walker: PaperWalk) -> None:
    assert "W1.3" in void_after(walker, "J1")
    walker.until(index=12)
    again(walker, 9)
    found = verdicts(walker.state)
    assert found[9] == "pass" and found[10] == "void"


def test_a_disturbance_does_not_undo_acts_and_does_not_make_a_skip_void(walker: PaperWalk) -> None:
    walker.until(phase=Phase.PLACING, index=9)
    walker.skip("not reachable")
    void_after(walker, "J1")
    found = results(walker.state)
    assert found[9].verdict == "skipped"
    assert found[2].verdict == "done"


def test_a_card_that_was_changed_voids_what_its_shelf_draws(tmp_path: Path) -> None:
    text = """
    sequence: idle
    plant: plant.yaml
    steps:
      - step: each
        over: shelves
        of: "1"
        steps:
          - step: measure
            read: current
            between: ["{shelf.inlet-a}", "{shelf.return-a}"]
            limit: {computed: idle-current}
    """
    rows = paper.AccuracyRow("amps", "A", 10.0, percent_of_reading=0.1, percent_of_range=0.01, resolution=1e-3)
    meter = msgspec.structs.replace(paper.METER, roles=["amps"], rows=(rows,), accuracy_of={"current": "amps"})
    bench = msgspec.structs.replace(paper.BENCH, instruments=[meter], role_of={"amps": "meter"})
    walker = PaperWalk(paper.made(tmp_path, text, bench=bench).began).until(phase=Phase.MEASURING)
    walker.read(value=0.5, unit="A", function="current")
    assert verdicts(walker.state) == {0: "pass"}
    walker.add(e.Disturbed(touches=["1A/1"], text="another card"))
    assert verdicts(walker.state) == {0: "void"}


# readings that are no numbers, and meters that nothing is known of


def test_a_meter_of_which_nothing_is_known_decides_nothing(small: Made) -> None:
    bare = msgspec.structs.replace(paper.METER, rows=())
    walker = PaperWalk(small.with_bench(msgspec.structs.replace(paper.BENCH, instruments=[bare, paper.SUPPLY])).began)
    walker.until(phase=Phase.MEASURING, index=7)
    walker.read(value=0.8)
    assert walker.state.kept.latest[7].sentence == (
        "Undecided: nothing is known of the accuracy of meter for resistance 2w."
    )


def test_no_number_is_undecided_and_an_overload_has_a_meaning(walker: PaperWalk) -> None:
    walker.until(phase=Phase.MEASURING, index=7)
    walker.read(nan=True)
    assert walker.state.kept.latest[7].verdict == "undecided"
    walker.until(phase=Phase.MEASURING, index=8)
    walker.read(over="+", range=10.0)
    assert walker.state.kept.latest[8].verdict == "fail"
    assert walker.state.kept.latest[8].figure.over == "+"


def test_a_reading_in_the_wrong_unit_is_undecided_and_breaks_nothing(walker: PaperWalk) -> None:
    walker.until(phase=Phase.MEASURING, index=7)
    walker.read(value=0.8, function="voltage", unit="V")
    assert walker.state.kept.latest[7].verdict == "undecided"


def test_a_reading_in_a_room_that_the_meter_is_not_made_for_is_undecided(tmp_path: Path) -> None:
    cold = paper.EVERY_STEP.replace("least: -10, most: 45", "least: -30, most: 45")
    walker = PaperWalk(paper.made(tmp_path, cold).began).until(index=3, phase=Phase.ASKING)
    walker.answer("-20")
    walker.until(phase=Phase.MEASURING, index=16)
    walker.read(value=-48.0)
    assert walker.state.kept.latest[16].verdict == "undecided"
    assert "no temperature coefficient" in walker.state.kept.latest[16].sentence


def test_averaged_readings_bring_their_scatter(walker: PaperWalk) -> None:
    walker.until(phase=Phase.MEASURING, index=7)
    walker.read(value=0.857, count=9, spread=0.03)
    budget = walker.state.kept.latest[7].figure.budget
    assert budget is not None
    # type A: the experimental standard deviation of the mean is s / √n (GUM 4.2.3)
    scatter = next(part for part in budget.components if part.kind == "A")
    assert scatter.standard == pytest.approx(0.03 / 9**0.5)
    assert scatter.dof == 8


# judged again


def judged(walker: PaperWalk, rules: Rules) -> State:
    state = start(rules)
    for entry in walker.entries:
        state = take(state, entry)
    return state


def test_judged_again_under_a_simple_rule(walker: PaperWalk) -> None:
    """A reading inside the limit, closer to it than its uncertainty."""
    upper = walker.until(phase=Phase.MEASURING, index=7).state
    assert upper.setting is not None and upper.step is not None
    limit = upper.setting.limit(upper.step, upper.conditions).limit.upper
    assert limit is not None
    walker.read(value=round(limit + paper.LEADS - 0.005, 4))
    walker.finish()
    assert verdicts(walker.state)[7] == "undecided"
    simple = judged(walker, Rules(decide=Decide(rule="simple")))
    assert verdicts(simple)[7] == "pass"
    assert {**verdicts(simple), 7: "undecided"} == verdicts(walker.state)
    wary = judged(walker, Rules(decide=Decide(rule="guarded", probability=Ratio(0.6))))
    assert verdicts(wary)[7] == "pass"


@pytest.mark.parametrize("name", ["8:W1.1.1", "W1.1", "*"])
def test_judged_again_under_another_limit(walker: PaperWalk, name: str) -> None:
    walker.finish()
    strict = Limit(at_most=Amount(0.5, "Ω"), source="a stricter customer")
    state = judged(walker, Rules(limits={name: strict}))
    found = results(state)
    assert found[7].verdict == "fail"
    assert found[7].bounds.source == "a stricter customer"
    assert (found[8].verdict == "fail") == (name == "*")
    assert verdicts(refold(walker.entries)) == verdicts(walker.state), "the record has not changed"


def test_another_limit_in_the_wrong_unit_judges_nothing(walker: PaperWalk) -> None:
    walker.finish()
    state = judged(walker, Rules(limits={"*": Limit(at_most=Amount(5.0, "V"), source="a slip")}))
    outcome = state.kept.latest[7]
    assert outcome.verdict == "undecided"
    assert outcome.sentence == "Undecided: no limit: limit: found a bound of 5 V, expected one in Ω."
    assert state.phase is Phase.DONE


def test_other_rules_do_not_change_where_the_walk_goes(walker: PaperWalk) -> None:
    walker.finish()
    other = judged(walker, Rules(decide=Decide(rule="simple")))
    assert (other.phase, other.place.cursor, other.number, other.taken) == (
        walker.state.phase,
        walker.state.place.cursor,
        walker.state.number,
        walker.state.taken,
    )


# lines


def test_verdict_lines_are_made_of_verdict_subject_and_sentence(walker: PaperWalk) -> None:
    walker.until(index=12)
    lines = list(verdict_lines(walker.state))
    assert lines[3] == "pass      W1.1: 0.857 Ω ± 23 mΩ; limit: at most 0.9502 Ω."
    assert lines == [verdict_line(outcome) for outcome in results(walker.state).values() if outcome.verdict != "done"]


def test_probes_that_touch_each_other_pass_no_wire(walker: PaperWalk) -> None:
    walker.until(phase=Phase.MEASURING, index=7)
    walker.read(value=0.23)
    outcome = results(walker.state)[7]
    assert (outcome.verdict, outcome.advice) == ("undecided", ())
    assert "as good as nothing" in outcome.sentence and "touched each other" in outcome.sentence


def test_a_reading_that_is_too_good_is_remarked(walker: PaperWalk) -> None:
    walker.until(phase=Phase.MEASURING, index=7)
    walker.read(value=0.35)
    outcome = results(walker.state)[7]
    assert outcome.verdict == "pass"
    assert outcome.remark.startswith("Lower than this path can be (")
    assert verdict_line(outcome).endswith(outcome.remark)
