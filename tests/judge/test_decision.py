"""Decision rules: verdicts, special readings, and the risks that they promise."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from bench.judge.decision import (
    NotANumber,
    Overload,
    Rule,
    acceptance_zone,
    conformance_probability,
    decide,
    four_way,
)
from bench.judge.limit import Limit
from bench.judge.typea import repeated
from bench.judge.uncertainty import Budget, Component

AT_MOST_2 = Limit.at_most(2.0, "Ω", "drawing 7")
MEGOHM = Limit.at_least(1e6, "Ω", "site rule")
FEED = Limit.between(-57.0, -40.5, "V", "equipment sheet")


def reading(value, u, unit="Ω", dof=math.inf):
    return Budget(value, unit, (Component("all", u, dof=dof),), quantity="pin 7")


@pytest.mark.parametrize(
    ("value", "limit", "verdict"),
    [
        (1.80, AT_MOST_2, "pass"),
        (1.95, AT_MOST_2, "undecided"),
        (2.05, AT_MOST_2, "undecided"),
        (2.20, AT_MOST_2, "fail"),
    ],
)
def test_guarded_rule_on_an_upper_limit(value, limit, verdict):
    assert decide(reading(value, 0.05), limit).verdict == verdict


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(-58.0, "fail"), (-57.1, "undecided"), (-48.0, "pass"), (-40.6, "undecided"), (-39.0, "fail")],
)
def test_guarded_rule_on_a_feed(value, verdict):
    assert decide(reading(value, 0.2, "V"), FEED).verdict == verdict


@pytest.mark.parametrize("rule", [Rule.simple(), Rule.guarded(), Rule.guarded_by_factor(1.0)])
def test_a_resistance_below_nothing_passes_nothing(rule):
    """A bond that reads -5 mΩ is no bond that is proven: the zero is wrong, or the sense leads are crossed."""
    found = decide(reading(-0.005, 0.001), Limit.at_most(0.01, "Ω", "bond"), rule)
    assert found.verdict == "undecided" and "less than nothing" in found.sentence
    assert decide(reading(-0.002, 0.001), Limit.at_most(0.01, "Ω", "bond"), rule).verdict == "pass"
    assert decide(reading(-0.005, 0.001, "V"), Limit.at_most(0.01, "V", "a drop"), rule).verdict == "pass"


def test_a_wrong_pass_near_zero_is_no_likelier_than_stated():
    """Bonds of anything from nothing to three times the limit, and a meter that is as coarse as the limit."""
    rng = np.random.default_rng(11)
    limit, u = Limit.at_most(0.010, "Ω", "bond"), 0.008
    rule = Rule.guarded(0.95)
    true = rng.uniform(0.0, 0.030, 200_000)
    read = true + rng.normal(0.0, u, true.size)
    # where the decisions turn, by halving: they are monotone but for what reads surely below nothing
    low, high = -2.5 * u, 0.010
    for _ in range(40):
        at = 0.5 * (low + high)
        low, high = (at, high) if decide(reading(at, u), limit, rule).verdict == "pass" else (low, at)
    passed = read <= low
    wrong = np.count_nonzero(passed & (true > 0.010)) / np.count_nonzero(passed)
    assert np.count_nonzero(passed) > 1000 and wrong <= 0.05
    assert conformance_probability(reading(low, u), limit) == pytest.approx(0.95, abs=0.01)


def test_simple_acceptance_takes_the_reading_at_its_word():
    rule = Rule.simple()
    for value, verdict in ((1.999, "pass"), (2.0, "pass"), (2.001, "fail")):
        assert decide(reading(value, 0.5), AT_MOST_2, rule).verdict == verdict


def test_sentences_are_for_people():
    assert decide(reading(1.0, 0.01), AT_MOST_2).sentence == "Pass: 1.000 Ω ± 20 mΩ; limit: at most 2 Ω."
    assert decide(reading(3.0, 0.01), AT_MOST_2).sentence.startswith("Fail: 3.000 Ω ± 20 mΩ is too high; limit:")
    assert "is too low" in decide(reading(1e5, 1e3), MEGOHM).sentence
    undecided = decide(reading(2.01, 0.05), AT_MOST_2).sentence
    assert undecided.startswith("Undecided: 2.010 Ω ± 98 mΩ lies too close to the limit of 2 Ω")
    for volts, said in ((-39.0, "too little"), (0.0, "too little"), (-58.0, "too much"), (53.0, "the wrong way round")):
        assert f"V ± 20 mV is {said}; limit" in decide(reading(volts, 0.01, "V"), FEED).sentence
    dead = decide(reading(-53.0, 0.01, "V"), Limit.between(-2.0, 2.0, "V", "dead")).sentence
    assert "V ± 20 mV is there, where nothing should be; limit" in dead
    assert AT_MOST_2.sentence == "Limit: at most 2 Ω (drawing 7)."
    assert MEGOHM.asked == "at least 1 MΩ" and FEED.asked == "-57 V to -40.5 V"


def test_rules_say_what_they_do():
    assert "whatever the uncertainty" in Rule.simple().sentence
    assert "at most 5 % chance" in Rule.guarded().sentence
    assert "1 times its uncertainty" in Rule.guarded_by_factor().sentence


def test_few_readings_widen_the_guard():
    many, few = reading(1.9, 0.05), reading(1.9, 0.05, dof=2)
    rule = Rule.guarded(0.95)
    assert rule.guard_band(many) == pytest.approx(1.645 * 0.05, abs=1e-4)
    assert rule.guard_band(few) == pytest.approx(2.920 * 0.05, abs=1e-4)
    assert (decide(many, AT_MOST_2).verdict, decide(few, AT_MOST_2).verdict) == ("pass", "undecided")


def test_perfect_meter_always_decides():
    for value, verdict in ((1.999999, "pass"), (2.0, "pass"), (2.000001, "fail")):
        decision = decide(reading(value, 0.0), AT_MOST_2)
        assert decision.verdict == verdict
        assert decision.conformance == (1.0 if verdict == "pass" else 0.0)


def test_zone_that_is_empty_passes_nothing():
    narrow = Limit.between(1.9, 2.1, "Ω", "x")
    low, high = acceptance_zone(narrow, 0.2)
    assert low > high
    assert decide(reading(2.0, 0.2), narrow).verdict == "undecided"


def test_two_bounds_close_together_count_both_tails():
    """Each bound is cleared by its guard band, yet together they would be broken in more than 5 % of cases."""
    narrow = Limit.between(-1.66, 1.66, "V", "x")
    budget = reading(0.0, 1.0, "V")
    low, high = acceptance_zone(narrow, Rule.guarded().guard_band(budget))
    assert low <= 0.0 <= high
    assert decide(budget, narrow).verdict == "undecided"
    assert conformance_probability(budget, narrow) < 0.95


@pytest.mark.parametrize(
    ("overload", "limit", "verdict"),
    [
        # an open wire: the range reaches beyond the limit
        (Overload(12.0, "Ω", 0.01), AT_MOST_2, "fail"),
        (Overload(2.01, "Ω", 0.01), AT_MOST_2, "undecided"),
        (Overload(1.0, "Ω", 0.01), AT_MOST_2, "undecided"),
        # good insulation, beyond what the tester can show
        (Overload(1e10, "Ω", 5e8), MEGOHM, "pass"),
        (Overload(1.01e6, "Ω", 5e4), MEGOHM, "undecided"),
        (Overload(5e5, "Ω", 1e3), MEGOHM, "undecided"),
        # a feed far out, either way
        (Overload(60.0, "V", 0.1), FEED, "fail"),
        (Overload(60.0, "V", 0.1, negative=True), FEED, "fail"),
        (Overload(50.0, "V", 0.1, negative=True), FEED, "undecided"),
        (Overload(60.0, "V", 0.1), Limit.at_least(50.0, "V", "x"), "pass"),
        (Overload(60.0, "V", 0.1, negative=True), Limit.at_least(50.0, "V", "x"), "fail"),
        (Overload(60.0, "V", 0.1, negative=True), Limit.at_most(5.0, "V", "x"), "pass"),
        (Overload(60.0, "V", 0.1), Limit.at_most(5.0, "V", "x"), "fail"),
    ],
)
@pytest.mark.parametrize("rule", [Rule.simple(), Rule.guarded(), Rule.guarded_by_factor(1.0)], ids=["simple", "p", "r"])
def test_overload_has_a_meaning(overload, limit, verdict, rule):
    decision = decide(overload, limit, rule)
    assert decision.verdict == verdict
    assert decision.conformance is None and decision.statement is None
    assert "overload" in decision.sentence
    if verdict == "undecided":
        assert decision.sentence.endswith("Take a higher range.")


def test_no_number_is_undecided():
    decision = decide(NotANumber("Ω", "the probes slipped"), AT_MOST_2, Rule.simple())
    assert decision.verdict == "undecided"
    assert decision.sentence == "Undecided: the probes slipped. Take the reading again."


values = st.floats(-5.0, 5.0)
doubts = st.floats(1e-4, 3.0)
degrees = st.one_of(st.just(math.inf), st.integers(1, 30).map(float))
rules = st.one_of(
    st.just(Rule.simple()),
    st.floats(0.5, 0.999).map(Rule.guarded),
    st.floats(0.0, 2.0).map(Rule.guarded_by_factor),
)
limits = st.one_of(
    values.map(lambda v: Limit.at_most(v, "V", "x")),
    values.map(lambda v: Limit.at_least(v, "V", "x")),
    st.tuples(values, st.floats(0.01, 5.0)).map(lambda p: Limit.between(p[0], p[0] + p[1], "V", "x")),
)


@given(values, doubts, st.floats(1.0, 50.0), degrees, limits, rules)
def test_more_doubt_never_turns_anything_into_a_pass(value, u, factor, dof, limit, rule):
    sure = decide(reading(value, u, "V", dof), limit, rule).verdict
    unsure = decide(reading(value, u * factor, "V", dof), limit, rule).verdict
    if unsure == "pass":
        assert sure == "pass"
    if unsure == "fail":
        assert sure == "fail"


@given(values, doubts, degrees, limits, rules)
def test_verdicts_and_probability_never_contradict(value, u, dof, limit, rule):
    decision = decide(reading(value, u, "V", dof), limit, rule)
    if rule.kind == "simple":
        assert decision.verdict in ("pass", "fail")
    elif rule.factor is None:
        if decision.verdict == "pass":
            assert decision.conformance >= rule.confidence - 1e-6
        if decision.verdict == "fail":
            assert decision.conformance <= 1 - rule.confidence + 1e-6
    if decision.verdict == "pass":
        assert limit.holds(value)
    if decision.verdict == "fail":
        assert not limit.holds(value)


@given(values, doubts, degrees, values, rules)
def test_upper_and_lower_limits_are_mirror_images(value, u, dof, bound, rule):
    upper = decide(reading(value, u, "V", dof), Limit.at_most(bound, "V", "x"), rule)
    lower = decide(reading(-value, u, "V", dof), Limit.at_least(-bound, "V", "x"), rule)
    assert (upper.verdict, upper.statement) == (lower.verdict, lower.statement)
    assert upper.conformance == pytest.approx(lower.conformance)


@given(st.floats(0.0, 4.0), doubts, degrees, st.floats(0.5, 0.999))
def test_guard_is_symmetric_about_the_limit(distance, u, dof, confidence):
    limit, rule = Limit.at_most(0.0, "V", "x"), Rule.guarded(confidence)
    guard = rule.guard_band(reading(0.0, u, "V", dof))
    assume(abs(distance - guard) > 1e-9 * (1 + guard) and distance > 0)
    inside = decide(reading(-distance, u, "V", dof), limit, rule).verdict
    outside = decide(reading(distance, u, "V", dof), limit, rule).verdict
    assert (inside, outside) in (("pass", "fail"), ("undecided", "undecided"))


@given(values, doubts, degrees, limits)
def test_stricter_confidence_only_adds_undecided(value, u, dof, limit):
    budget = reading(value, u, "V", dof)
    lenient, strict = (decide(budget, limit, Rule.guarded(p)).verdict for p in (0.8, 0.99))
    assert strict in (lenient, "undecided")


@given(values, st.floats(0.0, 3.0), limits)
def test_four_way_statement_refines_simple_acceptance(value, guard, limit):
    assert (four_way(value, limit, guard) in ("pass", "conditional pass")) == limit.holds(value)


@given(values, doubts, degrees, limits, rules)
def test_decisions_do_not_depend_on_the_unit_of_size(value, u, dof, limit, rule):
    """Milli or mega: the same reading in other figures gets the same verdict."""
    scale = 2.0**20

    def grown(bound):
        return None if bound is None else bound * scale

    here = decide(reading(value, u, "V", dof), limit, rule)
    grown_limit = Limit("V", "x", grown(limit.lower), grown(limit.upper))
    assert decide(reading(value * scale, u * scale, "V", dof), grown_limit, rule).verdict == here.verdict


def rate(verdicts, wanted):
    return sum(verdict == wanted for verdict in verdicts) / len(verdicts)


@pytest.mark.parametrize("confidence", [0.80, 0.95, 0.99])
@pytest.mark.quick_cases(1)
def test_false_accept_rate_stays_below_its_level(confidence, capsys):
    """Items just beyond the limit, normal errors: the part that passes is at most 1 - confidence."""
    rng, u, rule, n = np.random.default_rng(42), 0.05, Rule.guarded(confidence), 20_000
    passed = [decide(reading(float(v), u), AT_MOST_2, rule).verdict for v in rng.normal(2.0 + 1e-9, u, n)]
    failed = [decide(reading(float(v), u), AT_MOST_2, rule).verdict for v in rng.normal(2.0, u, n)]
    accept, reject = rate(passed, "pass"), rate(failed, "fail")
    with capsys.disabled():
        print(
            f"\nguarded at {confidence:g}: false accept {accept:.4f}, false reject {reject:.4f} of {1 - confidence:.2f}"
        )
    slack = 3 * math.sqrt(confidence * (1 - confidence) / n)
    assert accept <= 1 - confidence + slack
    assert reject <= 1 - confidence + slack
    # and the guard is no wider than it need be
    assert accept >= 1 - confidence - slack


def test_false_accept_rate_holds_for_few_readings(capsys):
    """Means of four readings with their own scatter: the t guard keeps 5 %, the normal z would not."""
    rng, n = np.random.default_rng(4), 10_000
    guarded = unguarded = 0
    for row in rng.normal(2.0, 0.05, (n, 4)):
        stat = repeated(row.tolist())
        budget = Budget(stat.mean, "Ω", (stat.component(),))
        guarded += decide(budget, AT_MOST_2).verdict == "pass"
        unguarded += stat.mean <= 2.0 - 1.645 * stat.standard
    with capsys.disabled():
        print(f"\nmean of 4: false accept {guarded / n:.4f} with t, {unguarded / n:.4f} with z, of 0.05")
    assert guarded / n <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / n)
    assert unguarded / n > 0.06


def test_false_accept_rate_of_a_real_meter(capsys):
    """Hard accuracy limits (rectangular) and a last digit that falls anywhere against the limit: well below 5 %.

    The tail of the sum of the two is 2.65 % at the guard band (own computation).
    """
    rng, n, half, step = np.random.default_rng(12), 20_000, 0.05, 0.01
    parts = (Component.within("accuracy", half), Component.within("last digit", step / 2))
    bounds = 2.0 + rng.uniform(0, step, n)
    shown = np.round((bounds + 1e-9 + rng.uniform(-half, half, n)) / step) * step
    verdicts = [
        decide(Budget(float(v), "Ω", parts), Limit.at_most(float(bound), "Ω", "x")).verdict
        for v, bound in zip(shown, bounds, strict=True)
    ]
    accept = rate(verdicts, "pass")
    with capsys.disabled():
        print(f"\nmeter with hard limits: false accept {accept:.4f} of 0.05")
    assert accept == pytest.approx(0.0265, abs=0.005)


def test_simple_acceptance_shares_the_risk(capsys):
    rng = np.random.default_rng(2)
    verdicts = [decide(reading(float(v), 0.05), AT_MOST_2, Rule.simple()).verdict for v in rng.normal(2.0, 0.05, 5000)]
    assert rate(verdicts, "pass") == pytest.approx(0.5, abs=0.025)


@pytest.mark.parametrize(
    ("value", "verdicts"),
    [
        # by rule: simple, guarded, guarded-acceptance, guarded-rejection; limit 1, u 0.01, guard 0.0164
        (0.90, ("pass", "pass", "pass", "pass")),
        (0.99, ("pass", "undecided", "undecided", "pass")),
        (1.00, ("pass", "undecided", "undecided", "pass")),
        (1.01, ("fail", "undecided", "fail", "undecided")),
        (1.10, ("fail", "fail", "fail", "fail")),
    ],
)
def test_each_rule_guards_its_own_side(value: float, verdicts: tuple[str, ...]) -> None:
    """JCGM 106, clause 8: guarded acceptance protects from a wrong pass, guarded rejection from a wrong fail."""
    limit = Limit.at_most(1.0, "Ω", "test")
    budget = Budget(value, "Ω", (Component("all", 0.01),))
    rules = (Rule("simple"), Rule("guarded"), Rule("guarded-acceptance"), Rule("guarded-rejection"))
    assert tuple(decide(budget, limit, rule).verdict for rule in rules) == verdicts
    assert len({rule.sentence for rule in rules}) == 4
