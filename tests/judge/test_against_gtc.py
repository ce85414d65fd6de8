"""Random budgets against GTC, an independent uncertainty library of a national measurement institute."""

import math

import GTC
import numpy as np
import pytest

from bench.judge.student import coverage_factor
from bench.judge.typea import Estimate, read_together
from bench.judge.uncertainty import Budget, Component
from tests.judge.propagate import correlation_between, propagate

CLOSE = {"rel": 1e-9, "abs": 0}


def test_independent_budgets_agree():
    rng = np.random.default_rng(11)
    for _ in range(250):
        size = rng.integers(1, 9)
        u = 10 ** rng.uniform(-6, 3, size)
        c = rng.normal(0, 5, size)
        dof = [math.inf if rng.random() < 0.4 else float(rng.integers(1, 60)) for _ in range(size)]
        parts = tuple(Component(f"c{i}", float(u[i]), sensitivity=float(c[i]), dof=dof[i]) for i in range(size))
        ours = Budget(0.0, "V", parts)
        theirs = sum(float(c[i]) * GTC.ureal(1.0, float(u[i]), dof[i]) for i in range(size))
        assert ours.standard_uncertainty == pytest.approx(GTC.uncertainty(theirs), **CLOSE)
        their_dof = GTC.dof(theirs)
        if math.isinf(their_dof):
            assert ours.effective_dof > 1e10
        else:
            assert ours.effective_dof == pytest.approx(their_dof, **CLOSE)
            if abs(their_dof - round(their_dof)) > 1e-6:
                assert ours.dof == math.floor(their_dof)
        if ours.dof < 1e5:
            assert ours.coverage_factor == pytest.approx(GTC.reporting.k_factor(ours.dof), **CLOSE)
        else:
            # the library calls so many degrees of freedom infinite
            assert ours.coverage_factor == pytest.approx(GTC.reporting.k_factor(math.inf), rel=1e-4)


FUNCTIONS = [
    (lambda a, b, c: a / b * math.cos(c), lambda a, b, c: a / b * GTC.cos(c)),
    (lambda a, b, c: a * math.exp(-b / 10) + c**2, lambda a, b, c: a * GTC.exp(-b / 10) + c**2),
    (lambda a, b, c: math.sqrt(a * a + b * b) - c, lambda a, b, c: GTC.sqrt(a * a + b * b) - c),
    (lambda a, b, c: math.log(a * b) / c, lambda a, b, c: GTC.log(a * b) / c),
    (lambda a, b, c: a * (1 + 0.00393 * (b - 20)) * c, lambda a, b, c: a * (1 + 0.00393 * (b - 20)) * c),
]


@pytest.mark.parametrize("place", range(len(FUNCTIONS)))
def test_propagation_through_functions_agrees(place):
    mine, their_function = FUNCTIONS[place]
    rng = np.random.default_rng(100 + place)
    for _ in range(50):
        values = rng.uniform(0.5, 9.0, 3)
        u = values * 10 ** rng.uniform(-5, -1, 3)
        dofs = [float(rng.integers(2, 40)) for _ in range(3)]
        inputs = [Estimate(f"x{i}", float(values[i]), float(u[i]), dofs[i]) for i in range(3)]
        ours = propagate(mine, inputs, unit="V")
        theirs = their_function(*(GTC.ureal(float(values[i]), float(u[i]), dofs[i]) for i in range(3)))
        assert ours.value == pytest.approx(GTC.value(theirs), **CLOSE)
        assert ours.standard_uncertainty == pytest.approx(GTC.uncertainty(theirs), **CLOSE)
        assert ours.effective_dof == pytest.approx(GTC.dof(theirs), rel=1e-8)


def test_readings_taken_together_agree():
    """Full covariance of simultaneous readings, as in JCGM 100 H.2, on random data."""
    rng = np.random.default_rng(31)
    for _ in range(40):
        n = int(rng.integers(4, 12))
        mix = rng.normal(0, 1, (3, 3))
        data = rng.normal(0, 0.01, (n, 3)) @ mix + np.array([5.0, 2.0, 1.0])
        columns = {name: data[:, i].tolist() for i, name in enumerate("vip")}
        inputs, pairs = read_together(columns)
        v, i, p = GTC.ta.multi_estimate_real([columns[name] for name in "vip"])
        for mine, theirs in (
            (lambda v, i, p: v / i * math.cos(p), v / i * GTC.cos(p)),
            (lambda v, i, p: v / i * math.sin(p), v / i * GTC.sin(p)),
        ):
            ours = propagate(mine, inputs, unit="Ω", correlations=pairs)
            assert ours.standard_uncertainty == pytest.approx(GTC.uncertainty(theirs), rel=1e-8)
            assert ours.dof == n - 1 == pytest.approx(GTC.dof(theirs))
        r = propagate(lambda v, i, p: v / i * math.cos(p), inputs, unit="Ω", correlations=pairs)
        x = propagate(lambda v, i, p: v / i * math.sin(p), inputs, unit="Ω", correlations=pairs)
        theirs = GTC.get_correlation(v / i * GTC.cos(p), v / i * GTC.sin(p))
        assert correlation_between(r, x) == pytest.approx(theirs, rel=1e-7, abs=1e-9)


def test_coverage_factors_agree():
    for dof in (1, 2, 3, 5, 9, 16, 40, 120):
        for percent in (68, 90, 95, 99):
            theirs = GTC.reporting.k_factor(dof, p=percent)
            assert coverage_factor(percent / 100, dof) == pytest.approx(theirs, **CLOSE)
