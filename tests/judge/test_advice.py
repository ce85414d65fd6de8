"""What would decide, and whether a bench can prove a limit at all."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.judge.accuracy import AccuracyRow, AccuracyTable, MeterInUse
from bench.judge.advice import ACTIONS, what_would_decide
from bench.judge.capability import bench_capability, capability, room_in
from bench.judge.decision import Rule, decide
from bench.judge.limit import Limit
from bench.judge.ohms import Leads, ThermalEmf
from bench.judge.reading import reading_budget
from bench.judge.uncertainty import Budget, Component
from tests.drawn import draws


def ohms(top, test_current=1e-3):
    return AccuracyRow(
        "ohms",
        "Ω",
        top,
        percent_of_reading=0.05,
        percent_of_range=0.02,
        resolution=top * 1e-5,
        highest=top * 1.2,
        test_current_a=test_current,
    )


TABLE = AccuracyTable("bench meter", (ohms(10.0), ohms(100.0), ohms(1000.0)))
LIMIT = Limit.at_most(2.011, "Ω", "harness default")


def in_use(**more):
    return MeterInUse(TABLE, "ohms", **more)


def budget(value, top=10.0, **more):
    return reading_budget(value, TABLE.pick("ohms", 2.0, range_top=top), temperature_c=23.0, **more)


def actions(found):
    return [advice.action for advice in found]


def test_nothing_to_say_when_it_is_decided():
    assert what_would_decide(budget(1.0), LIMIT) == ()
    assert what_would_decide(budget(3.0), LIMIT) == ()
    assert what_would_decide(budget(2.01), LIMIT, Rule.simple()) == ()


def test_leads_that_nobody_read():
    stuck = budget(2.25, leads=Leads.not_nulled())
    assert decide(stuck, LIMIT).verdict == "undecided"
    found = what_would_decide(stuck, LIMIT)
    assert actions(found) == ["null the leads", "four wires"]
    nulled, four = found
    assert nulled.decides and four.decides and nulled.verdict == "pass"
    assert four.expanded_uncertainty < nulled.expanded_uncertainty < stuck.expanded_uncertainty
    assert nulled.sentence == (
        "Short the probes, press null, and read again. "
        "Then the uncertainty is 23 mΩ, and this reading would be decided."
    )


def test_uncertainties_that_are_promised_are_those_that_come():
    """Doing what was proposed gives the uncertainty that was foretold."""
    stuck = budget(2.25, leads=Leads.not_nulled())
    nulled, four = what_would_decide(stuck, LIMIT)
    assert four.expanded_uncertainty == pytest.approx(budget(2.25, leads=Leads.four_wires()).expanded_uncertainty)
    assert nulled.expanded_uncertainty == pytest.approx(budget(2.25, leads=Leads.nulled(0.35)).expanded_uncertainty)


def test_a_lower_range():
    stuck = budget(2.0, top=1000.0)
    (first, *_) = what_would_decide(stuck, LIMIT, meter=in_use())
    assert (first.action, first.decides) == ("another range", True)
    assert first.sentence.startswith("Use the 10 Ω range.")
    assert first.expanded_uncertainty == pytest.approx(budget(2.0).expanded_uncertainty)


def test_the_range_in_use_is_not_proposed_again():
    stuck = budget(2.36, leads=Leads.not_nulled())
    for range_top in (None, 10.0):
        found = what_would_decide(stuck, LIMIT, meter=in_use(range_top=range_top))
        assert "another range" not in actions(found)


def test_a_range_too_small_for_reading_with_leads_is_not_proposed():
    limit = Limit.at_most(12.0, "Ω", "x")
    stuck = reading_budget(12.3, ohms(1000.0), temperature_c=23.0, leads=Leads.not_nulled())
    assert stuck.value < 12.0
    found = what_would_decide(stuck, limit, meter=in_use())
    ranged = [advice for advice in found if advice.action == "another range"]
    assert all("100 Ω range" in advice.sentence for advice in ranged)


def test_thermal_emf():
    stuck = budget(2.0, emf=ThermalEmf(50e-6, 1e-3))
    (first,) = what_would_decide(stuck, LIMIT)
    assert (first.action, first.verdict) == ("offset compensation", "pass")
    compensated = budget(2.0, emf=ThermalEmf(50e-6, 1e-3, "offset compensation"))
    assert first.expanded_uncertainty == pytest.approx(compensated.expanded_uncertainty)
    assert "offset compensation" not in actions(what_would_decide(compensated, Limit.at_most(2.0, "Ω", "x")))


def test_more_readings_and_how_many():
    stuck = budget([1.94, 2.02, 1.97, 2.03])
    assert decide(stuck, LIMIT).verdict == "undecided"
    (first,) = what_would_decide(stuck, LIMIT)
    assert first.action == "more readings"
    count = int(first.sentence.split()[1])
    assert 4 < count < 20
    # one fewer would not do
    (scatter,) = stuck.having("scatter")

    def with_count(n):
        more = Component("s", scatter.standard * 2 / math.sqrt(n), dof=n - 1, role="scatter")
        return decide(stuck.with_components([*stuck.components[:-1], more]), LIMIT).verdict

    assert (with_count(count), with_count(count - 1)) == ("pass", "undecided")


def test_drifting_zero():
    stuck = budget(1.98, zero_drift=0.08)
    (first,) = what_would_decide(stuck, LIMIT)
    assert (first.action, first.verdict) == ("prove the bench again", "pass")


def test_all_together_when_no_single_one_does():
    stuck = budget([2.33, 2.36, 2.345], top=1000.0, leads=Leads.not_nulled(), emf=ThermalEmf(20e-6, 1e-3))
    found = what_would_decide(stuck, LIMIT, meter=in_use())
    assert found[0].action == "all of these" and found[0].decides
    assert not any(advice.decides for advice in found[1:])
    rest = [advice.expanded_uncertainty for advice in found[1:]]
    assert rest == sorted(rest)
    assert found[0].expanded_uncertainty < min(rest)


def test_a_better_meter_and_how_good():
    stuck = Budget(2.0, "Ω", (Component.within("accuracy", 0.05, role="accuracy"),))
    (only,) = what_would_decide(stuck, LIMIT)
    assert (only.action, only.verdict) == ("better meter", "pass")
    # 0.011 = 1.645 a/√3 gives a = 11.58 mΩ, cut to two digits
    assert "good to ± 11 mΩ at 2 Ω" in only.sentence


def test_a_reading_on_the_limit_itself():
    stuck = Budget(2.011, "Ω", (Component.within("accuracy", 0.05, role="accuracy"),))
    (only,) = what_would_decide(stuck, LIMIT)
    assert not only.decides
    assert only.sentence.startswith("The reading lies on the limit itself: look at the limit or at the work")


def test_a_remedy_that_makes_it_worse_is_not_proposed():
    """Two readings leave one degree of freedom; without the well-known EMF part the coverage factor would be 12.7."""
    stuck = budget([2.0, 2.03125], emf=ThermalEmf(43e-6, 1e-3))
    assert decide(stuck, LIMIT).verdict == "undecided"
    found = what_would_decide(stuck, LIMIT)
    assert "offset compensation" not in actions(found)
    assert found[-1].expanded_uncertainty <= stuck.expanded_uncertainty


@pytest.mark.slow
@draws(60)
@given(
    st.floats(1.6, 2.4),
    st.sampled_from([10.0, 100.0, 1000.0]),
    st.one_of(st.none(), st.just(Leads.not_nulled()), st.just(Leads.nulled(0.3))),
    st.floats(0.0, 1e-4),
    st.floats(0.0, 0.1),
    st.lists(st.floats(-0.05, 0.05), min_size=0, max_size=5),
)
def test_advice_is_ranked_and_true(value, top, leads, emf, drift, noise):
    stuck = budget(
        [value, *(value + n for n in noise)], top=top, leads=leads, emf=ThermalEmf(emf, 1e-3), zero_drift=drift
    )
    found = what_would_decide(stuck, LIMIT, meter=in_use(range_top=top, temperature_c=23.0))
    if decide(stuck, LIMIT).verdict != "undecided":
        assert found == ()
        return
    assert found
    flags = [advice.decides for advice in found]
    assert flags == sorted(flags, reverse=True)
    efforts = [ACTIONS.index(advice.action) for advice in found if advice.decides]
    assert efforts == sorted(efforts)
    for advice in found:
        if advice.action != "better meter" or advice.decides:
            assert advice.expanded_uncertainty <= stuck.expanded_uncertainty * (1 + 1e-9)


@pytest.mark.parametrize(
    ("limit", "expected", "room"),
    [
        (Limit.at_most(2.0, "Ω", "x"), 1.2, 0.8),
        (Limit.at_most(2.0, "Ω", "x"), None, 2.0),
        (Limit.at_least(1e6, "Ω", "x"), 5e6, 4e6),
        (Limit.between(9.0, 11.0, "V", "x"), None, 1.0),
        (Limit.between(9.0, 11.0, "V", "x"), 10.5, 0.5),
        (Limit.between(9.0, 11.0, "V", "x"), 12.0, -1.0),
    ],
)
def test_room(limit, expected, room):
    assert room_in(limit, expected) == pytest.approx(room)


def test_bench_that_can():
    answer = bench_capability(LIMIT, in_use(temperature_c=23.0), expected=1.01, leads=Leads.nulled(0.3))
    assert answer.answer == "can prove"
    assert answer.ratio == pytest.approx(1.001 / answer.expanded_uncertainty)
    assert answer.sentence.startswith(
        "Can prove at most 2.011 Ω: the limit leaves 1.001 Ω of room, and a reading is known to ±"
    )


def test_bench_that_can_barely():
    answer = bench_capability(LIMIT, in_use(), expected=1.7, leads=Leads.not_nulled())
    assert answer.answer == "marginal"
    assert 1 < answer.ratio < 4
    assert "Most of the doubt comes from the test leads" in answer.sentence


def test_bench_that_cannot_and_what_helps():
    tight = Limit.between(1.00, 1.05, "Ω", "computed")
    answer = bench_capability(tight, in_use(temperature_c=23.0), expected=1.01, leads=Leads.not_nulled())
    assert answer.answer == "cannot"
    assert answer.ratio < 0.1
    assert answer.advice[0].action == "four wires" and answer.advice[0].decides
    assert "even a sound item would be undecided" in answer.sentence
    assert "Measure with four wires" in answer.sentence
    cured = bench_capability(tight, in_use(temperature_c=23.0), expected=1.01, leads=Leads.four_wires())
    assert cured.answer == "marginal"


def test_range_that_does_not_reach_the_limit():
    answer = bench_capability(Limit.at_least(1e6, "Ω", "site"), in_use(), expected=1e8)
    assert (answer.answer, answer.ratio) == ("cannot", None)
    assert "this bench cannot take such a reading" in answer.sentence
    locked = bench_capability(Limit.at_most(50.0, "Ω", "x"), in_use(range_top=10.0), expected=1.0)
    assert locked.answer == "cannot"


def test_good_insulation_beyond_the_range_is_no_obstacle():
    tester = AccuracyTable(
        "insulation tester", (AccuracyRow("insulation", "Ω", 1e10, percent_of_reading=5, counts=3, resolution=1e4),)
    )
    answer = bench_capability(
        Limit.at_least(1e6, "Ω", "site"), MeterInUse(tester, "insulation", temperature_c=23.0), expected=1e12
    )
    assert answer.answer == "can prove"


def test_expectation_beyond_the_limit_points_at_the_limit():
    answer = bench_capability(LIMIT, in_use(), expected=2.5)
    assert answer.answer == "cannot"
    assert "does not keep the limit itself" in answer.sentence


def test_simple_acceptance_is_no_way_round_a_poor_bench():
    tight = Limit.between(1.00, 1.05, "Ω", "computed")
    answer = bench_capability(tight, in_use(), Rule.simple(), expected=1.01, leads=Leads.not_nulled())
    assert answer.answer == "cannot"
    assert "the uncertainty is larger than the room" in answer.sentence


def test_overdue_calibration_does_not_stop_the_question():
    answer = bench_capability(LIMIT, in_use(calibrated_days_ago=500), expected=1.01)
    assert answer.answer == "can prove"


def test_emf_needs_a_test_current():
    blind = AccuracyTable("meter", (AccuracyRow("ohms", "Ω", 10.0, percent_of_reading=1),))
    answer = bench_capability(LIMIT, MeterInUse(blind, "ohms"), expected=1.0, emf_v=1e-5)
    assert answer.answer == "cannot" and "no test current" in answer.sentence
    seen = bench_capability(LIMIT, in_use(), expected=1.01, emf_v=100e-6)
    cured = bench_capability(LIMIT, in_use(), expected=1.01, emf_v=100e-6, emf_method="reversed pair")
    assert cured.ratio > 2 * seen.ratio


def test_capability_with_a_budget_of_ones_own():
    def budget_at(value):
        return Budget(value, "V", (Component("all", 0.1),))

    limit = Limit.between(9.0, 11.0, "V", "x")
    answer = capability(limit, budget_at)
    # T / 2U with k = 1.96
    assert answer.ratio == pytest.approx(1.0 / 0.196, rel=1e-3)
    assert answer.answer == "can prove"
    assert capability(limit, budget_at, good_ratio=10.0).answer == "marginal"


@given(st.floats(0.1, 1.9), st.floats(1e-3, 2.0), st.floats(1.0, 5.0))
def test_a_worse_bench_is_never_more_capable(expected, u, worse):
    order = ("cannot", "marginal", "can prove")

    def answer(scale):
        return capability(
            LIMIT, lambda value: Budget(value, "Ω", (Component("all", u * scale),)), expected=expected
        ).answer

    assert order.index(answer(worse)) <= order.index(answer(1.0))


def test_four_wires_are_not_proposed_to_a_meter_with_two_terminals() -> None:
    stuck = budget(2.25, leads=Leads.not_nulled())
    assert "four wires" in actions(what_would_decide(stuck, LIMIT))
    two = what_would_decide(stuck, LIMIT, meter=in_use(four_wires=False))
    assert "four wires" not in actions(two) and "null the leads" in actions(two)
    assert not any("four" in advice.sentence for advice in two if advice.action != "better meter")
