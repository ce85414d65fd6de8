"""Student's t against an independent library."""

import math

import numpy as np
import pytest

from bench.judge.student import coverage_factor, cumulative, quantile, upper_tail

pytestmark = pytest.mark.together("scipy.stats")


def test_quantile_agrees_with_an_independent_library():
    from scipy import stats

    rng = np.random.default_rng(20240)
    dofs = np.concatenate([np.arange(1, 60), np.exp(rng.uniform(0, 15, 600))])
    tails = 10 ** rng.uniform(-9, math.log10(0.5), dofs.size)
    for levels in (tails, 1 - tails):
        for p, dof, wanted in zip(levels, dofs, stats.t.ppf(levels, dofs), strict=True):
            assert quantile(float(p), float(dof)) == pytest.approx(float(wanted), rel=1e-10, abs=1e-12)


def test_tail_agrees_with_an_independent_library():
    from scipy import stats

    rng = np.random.default_rng(7)
    dofs = np.repeat(np.concatenate([np.arange(1, 40), np.exp(rng.uniform(0, 10, 300))]), 3)
    ts = rng.normal(0, 4, dofs.size)
    for t, dof, above, below in zip(ts, dofs, stats.t.sf(ts, dofs), stats.t.cdf(ts, dofs), strict=True):
        assert upper_tail(float(t), float(dof)) == pytest.approx(float(above), rel=1e-10)
        assert cumulative(float(t), float(dof)) == pytest.approx(float(below), rel=1e-10)


@pytest.mark.parametrize("t", [-40.0, -3.0, 0.0, 1.0, 8.0, 37.0])
def test_infinite_degrees_of_freedom_are_normal(t):
    from scipy import stats

    assert upper_tail(t, math.inf) == pytest.approx(stats.norm.sf(t), rel=1e-12)
    assert upper_tail(t, 1e12) == pytest.approx(upper_tail(t, math.inf), rel=1e-3, abs=1e-300)


def test_expansion_meets_the_exact_quantile_where_it_takes_over():
    from scipy import stats

    for p in (0.6, 0.95, 0.975, 0.999999):
        assert quantile(p, 1e5) == pytest.approx(quantile(p, 0.99999e5), rel=1e-9)
        assert quantile(p, 1e5) == pytest.approx(stats.t.ppf(p, 1e5), rel=1e-12)


def test_coverage_factor_falls_with_degrees_of_freedom_and_rises_with_level():
    factors = [coverage_factor(0.95, dof) for dof in (1, 2, 3, 5, 10, 100, 1e6, math.inf)]
    assert factors == sorted(factors, reverse=True)
    assert factors[-1] == pytest.approx(1.959964, abs=1e-6)
    assert coverage_factor(0.99, 9) > coverage_factor(0.95, 9)


def test_middle_is_zero():
    assert quantile(0.5, 3) == 0.0
    assert cumulative(0.0, 5) == 0.5
