"""Decision rules against ILAC-G8, ISO 14253-1 and JCGM 106, as quoted."""

import math

import pytest

from bench.judge.decision import Rule, acceptance_zone, conformance_probability, decide, four_way
from bench.judge.limit import Limit
from bench.judge.student import quantile, upper_tail
from bench.judge.uncertainty import Budget, Component
from tests.published.values import published

PUBLISHED = published("judge_values.yaml")
TWO_SIGMA = math.erf(2 / math.sqrt(2))
"""The level at which k is 2 exactly, as these documents take U."""


def reading(value, expanded, unit="V"):
    return Budget(value, unit, (Component("all", expanded / 2),), level=TWO_SIGMA)


@pytest.mark.parametrize("row", PUBLISHED["guard_bands"], ids=lambda row: f"{row['factor']} U")
def test_guard_band_factor_and_its_false_accept_risk(row):
    """A reading on the acceptance limit may be wrong with at most the stated risk."""
    limit = Limit.at_most(10.0, "V", "test")
    rule = Rule.guarded_by_factor(row["factor"])
    probe = reading(10.0, 0.2)
    guard = rule.guard_band(probe)
    assert guard == pytest.approx(row["factor"] * 0.2)
    on_the_edge = reading(10.0 - guard, 0.2)
    assert decide(on_the_edge, limit, rule).verdict == "pass"
    risk = 1.0 - conformance_probability(on_the_edge, limit)
    # 1 - p loses digits beyond a part in 1e16, so the tail is asked for itself too
    assert risk == pytest.approx(row["exact"], rel=0.01, abs=1e-12)
    assert upper_tail(2 * row["factor"], math.inf) == pytest.approx(row["exact"], rel=0.005)
    assert risk < row["bound"]


def test_simple_acceptance_at_the_limit_is_a_coin_toss():
    """w = 0: half of such items are outside (JCGM 106; ILAC-G8 says up to 50 %)."""
    limit = Limit.at_most(10.0, "V", "test")
    decision = decide(reading(10.0, 0.2), limit, Rule.simple())
    assert decision.verdict == "pass"
    assert decision.conformance == pytest.approx(0.5)


@pytest.mark.parametrize("row", PUBLISHED["four_way"]["rows"], ids=lambda row: f"{row[0]} {row[1]}")
def test_four_way_statement(row):
    upper, expanded = PUBLISHED["four_way"]["upper"], PUBLISHED["four_way"]["expanded"]
    limit = Limit.between(-upper, upper, "", "a laboratory's worked example of ILAC-G8")
    for sign in (1, -1):
        assert four_way(sign * row[0], limit, expanded) == row[1]
        decision = decide(reading(sign * row[0], expanded, ""), limit, Rule.guarded_by_factor(1.0))
        assert decision.statement == row[1]
        assert decision.verdict == {"pass": "pass", "fail": "fail"}.get(row[1], "undecided")


def test_worked_acceptance_zone():
    """10 +- 1 with U 0.2 and w = U accepts 9.2 to 10.8; +-0.5 with a 20 % band accepts +-0.4 (worked on ILAC-G8)."""
    low, high = acceptance_zone(Limit.between(9.0, 11.0, "V", "worked example"), 0.2)
    assert (low, high) == (pytest.approx(9.2), pytest.approx(10.8))
    low, high = acceptance_zone(Limit.between(-0.5, 0.5, "Ω", "worked example"), 0.2 * 0.5)
    assert (low, high) == (pytest.approx(-0.4), pytest.approx(0.4))


def test_guard_band_is_tolerance_limit_less_acceptance_limit():
    """ILAC-G8:09/2019: w = TL - AL, and w = 0 is simple acceptance."""
    limit = Limit.at_most(2.0, "Ω", "test")
    assert acceptance_zone(limit, 0.3)[1] == pytest.approx(2.0 - 0.3)
    assert acceptance_zone(limit, 0.0)[1] == 2.0


def test_uncertainty_counts_against_whoever_proves():
    """ISO 14253-1 as quoted: between the zones neither conformance nor its lack is proven."""
    limit = Limit.at_most(2.0, "Ω", "test")
    rule = Rule.guarded_by_factor(1.0)
    verdicts = [decide(reading(v, 0.1, "Ω"), limit, rule).verdict for v in (1.89, 1.95, 2.05, 2.11)]
    assert verdicts == ["pass", "undecided", "undecided", "fail"]


@pytest.mark.parametrize("row", PUBLISHED["one_sided_z"]["rows"], ids=lambda row: f"p {row[0]}")
def test_one_sided_z(row):
    """JCGM 106 table 1, from memory; the normal quantile itself is mathematics."""
    assert quantile(row[0], math.inf) == pytest.approx(row[1], abs=0.0055)


def test_zener_example():
    """JCGM 106 example, from memory: limit -5.40 V, reading -5.47 V, u 0.05 V gives 0.92."""
    limit = Limit.at_most(-5.40, "V", "JCGM 106 example, from memory")
    budget = Budget(-5.47, "V", (Component("all", 0.05),))
    assert conformance_probability(budget, limit) == pytest.approx(0.9192, abs=5e-5)
    assert decide(budget, limit).verdict == "undecided"
    assert decide(budget, limit, Rule.guarded(0.90)).verdict == "pass"
