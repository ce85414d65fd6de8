"""Wrong passes, drawn: 10,000 decisions for each rule and shape of budget, against the chance that the rule states."""

import math

import numpy as np
import pytest

from bench.judge.decision import Rule, decide
from bench.judge.limit import Limit
from bench.judge.spread import spread_of
from bench.judge.typea import repeated
from bench.judge.uncertainty import Budget, Component

DRAWS = 10_000
WIDTH = {"rectangular": math.sqrt(3), "triangular": math.sqrt(6), "u-shaped": math.sqrt(2)}
SHAPES = {
    "rectangular alone": [("rectangular", 1.0)],
    "rectangular over normal": [("rectangular", 1.0), ("normal", 0.2)],
    "two rectangular": [("rectangular", 1.0), ("rectangular", 0.6)],
    "five rectangular": [("rectangular", each) for each in (1.0, 0.8, 0.5, 0.3, 0.2)],
    "triangular": [("triangular", 1.0), ("rectangular", 0.3)],
    "u-shaped": [("u-shaped", 1.0), ("rectangular", 0.3)],
    "u-shaped alone": [("u-shaped", 1.0)],
    "normal": [("normal", 1.0), ("normal", 0.5)],
}
LEVELS = (0.6, 0.7, 0.8, 0.9, 0.93, 0.95, 0.99)
# true value just beyond the limit: there a wrong pass is likeliest
LIMIT = Limit.at_most(100.0, "Ω", "drawn")


def errors(rng, parts, size):
    total = np.zeros(size)
    for shape, u in parts:
        if shape == "normal":
            total += rng.normal(0.0, u, size)
        elif shape == "rectangular":
            total += rng.uniform(-1, 1, size) * u * WIDTH[shape]
        elif shape == "triangular":
            total += (rng.uniform(-1, 1, size) + rng.uniform(-1, 1, size)) * 0.5 * u * WIDTH[shape]
        else:
            total += np.cos(rng.uniform(0, np.pi, size)) * u * WIDTH[shape]
    return total


def at_most(stated):
    return stated + 4.0 * math.sqrt(stated * (1 - stated) / DRAWS) + 1e-9


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("shape", SHAPES)
def test_a_wrong_pass_is_no_likelier_than_stated(shape, level):
    parts = SHAPES[shape]
    rng = np.random.default_rng(20260512)
    components = tuple(Component(f"part {n}", u, kind) for n, (kind, u) in enumerate(parts))
    rule = Rule.guarded(level)
    band = rule.guard_band(Budget(0.0, "Ω", components))
    readings = 100.0 + 1e-9 + errors(rng, parts, DRAWS)
    wrong = int(np.count_nonzero(readings <= 100.0 - band))
    # the decisions themselves agree with the band, on a part of the draws
    for value in readings[:50]:
        passed = decide(Budget(float(value), "Ω", components), LIMIT, rule).verdict == "pass"
        assert passed == (value <= 100.0 - band)
    print(f"{shape:24} stated {1 - level:6.1%} drawn {wrong / DRAWS:6.2%}")
    assert wrong / DRAWS <= at_most(1 - level)


BESIDE = ([("rectangular", 0.7)], [("normal", 0.7)], [("normal", 0.3), ("rectangular", 1.0)])
FEW = [
    pytest.param(count, level, beside, marks=() if (count, level) == (2, 0.95) else pytest.mark.slow)
    for beside in BESIDE
    for count in (2, 3, 5)
    for level in (0.8, 0.9, 0.95)
]


@pytest.mark.parametrize(("count", "level", "beside"), FEW)
def test_few_readings_keep_their_word(count, level, beside):
    """Each draw takes its own readings; their scatter is all that is known of the spread."""
    rng = np.random.default_rng(7)
    draws = 1000
    rule = Rule.guarded(level)
    others = tuple(Component(f"part {n}", u, kind) for n, (kind, u) in enumerate(beside))
    wrong = 0
    for _ in range(draws):
        shown = 100.0 + 1e-9 + errors(rng, beside, 1)[0] + rng.normal(0.0, 1.0, count)
        several = repeated([float(v) for v in shown], "reading")
        budget = Budget(several.mean, "Ω", (several.component("scatter"), *others))
        wrong += decide(budget, LIMIT, rule).verdict == "pass"
    stated = 1 - level
    print(f"{count} readings beside {beside} stated {stated:.0%} drawn {wrong / draws:.2%}")
    assert wrong / draws <= stated + 4.0 * math.sqrt(stated * (1 - stated) / draws)


@pytest.mark.parametrize("chance", (0.55, 0.8, 0.95, 0.999))
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
