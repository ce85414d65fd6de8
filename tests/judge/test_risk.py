"""Wrong passes, drawn, against the chance that a rule states: a sample of ``tests/benchmarks/bench_risk.py``."""

import math

import numpy as np
import pytest

from bench.judge.decision import Rule
from bench.judge.spread import spread_of
from bench.judge.uncertainty import Budget, Component
from tests.judge.drawn_risk import BESIDE, SHAPES, at_most, errors, rules, wrong, wrong_of_few

DRAWS = 400


@pytest.mark.parametrize("level", [0.8, pytest.param(0.93, marks=pytest.mark.slow)])
@pytest.mark.parametrize("shape", SHAPES)
def test_a_wrong_decision_is_no_likelier_than_stated(shape, level):
    for rule in rules(level).values():
        for share in wrong(rule, SHAPES[shape], DRAWS):
            assert share is None or share <= at_most(1 - level, DRAWS)


def test_simple_acceptance_at_the_limit_is_a_coin_toss():
    passes, fails = wrong(Rule.simple(), SHAPES["normal"], 2000)
    assert passes == pytest.approx(0.5, abs=0.05) and fails == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize("count", [2, 3])
@pytest.mark.parametrize("beside", BESIDE)
@pytest.mark.quick_cases(1)
def test_few_readings_keep_their_word(count, beside):
    """Each draw takes its own readings; their scatter is all that is known of the spread."""
    assert max(wrong_of_few(Rule.guarded(0.9), count, BESIDE[beside], DRAWS)) <= at_most(0.1, DRAWS)


@pytest.mark.parametrize("chance", (0.55, 0.8, 0.95, 0.999))
@pytest.mark.quick_cases(2)
def test_the_convolved_distribution_against_draws(chance):
    rng = np.random.default_rng(3)
    for parts in SHAPES.values():
        drawn = np.quantile(errors(rng, parts, 400_000), chance)
        found = spread_of(tuple((shape, u, math.inf) for shape, u in parts)).quantile(chance)
        assert found == pytest.approx(drawn, rel=0.03, abs=0.01)


def test_few_readings_say_that_the_interval_falls_short():
    two = Budget(1.0, "Ω", (Component("scatter", 0.1, dof=1), Component("meter", 0.1, "rectangular")))
    assert "falls short where two or three readings rule" in two.sentence
    many = Budget(1.0, "Ω", (Component("scatter", 0.1, dof=20), Component("meter", 0.1, "rectangular")))
    assert "95 % sure" in many.sentence
