"""Student's t distribution: the coverage factors that go with few readings.

Own code, so that judging needs no numerical library. The distribution function is the regularised incomplete beta
function by its continued fraction (Lentz's method); the quantile is found from it by bracketed Newton steps. For very
many degrees of freedom the quantile comes from its expansion about the normal quantile (the Cornish-Fisher form in
Abramowitz and Stegun 26.7.5, from memory; checked against an independent library in the tests).
"""

from __future__ import annotations

import math
from functools import lru_cache
from statistics import NormalDist

from bench.judge.judge_error import degrees_of_freedom, number, probability

_NORMAL = NormalDist()
# From here on the expansions are exact to the last digits, and the fraction would need thousands of terms.
_MANY = 1e5
_VERY_MANY = 1e6


def _log_gamma_half_step(x: float) -> float:
    """Return ``lgamma(x + 1/2) - lgamma(x)`` without the cancellation that large x brings."""
    if x < 50.0:
        return math.lgamma(x + 0.5) - math.lgamma(x)
    # Stirling's series of the difference
    return 0.5 * math.log(x) - 1 / (8 * x) + 1 / (192 * x**3) - 1 / (640 * x**5)


@lru_cache(maxsize=256)
def _log_scale(dof: float) -> float:
    """Logarithm of what the density is scaled by, times the root of the degrees of freedom."""
    return _log_gamma_half_step(dof / 2.0) - 0.5 * math.log(math.pi)


def _beta_fraction(a: float, b: float, x: float) -> float:
    """Continued fraction of the incomplete beta function, valid for x < (a + 1) / (a + b + 2)."""
    tiny = 1e-300
    c, d = 1.0, 1.0 / max(1.0 - (a + b) * x / (a + 1.0), tiny)
    value = d
    for m in range(1, 100_000):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        d = 1.0 / ((1.0 + even * d) or tiny)
        c = (1.0 + even / c) or tiny
        value *= d * c
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        d = 1.0 / ((1.0 + odd * d) or tiny)
        c = (1.0 + odd / c) or tiny
        step = d * c
        value *= step
        if abs(step - 1.0) < 1e-16:
            break
    return value


def upper_tail(t: float, dof: float) -> float:
    """Probability that a Student t value exceeds ``t``.

    Args:
        t: any finite number.
        dof: degrees of freedom, at least 1, or infinite for the normal distribution.

    Raises:
        JudgeError: ``t`` is not finite or ``dof`` is below 1.
    """
    return known_tail(number("t", t), degrees_of_freedom("degrees of freedom", dof))


def known_tail(t: float, dof: float) -> float:
    """The same as :func:`upper_tail` for numbers that were looked at before: a convolution asks a thousand times."""
    if t < 0:
        return 1.0 - known_tail(-t, dof)
    if t == 0:
        return 0.5
    if dof == math.inf:
        return 0.5 * math.erfc(t / math.sqrt(2.0))
    if dof >= _VERY_MANY:
        return _nearly_normal_tail(t, dof)
    a, b = dof / 2.0, 0.5
    square = t * t
    # ln of x^a (1-x)^b / B(a, b), with x = dof / (dof + t²)
    log_front = _log_scale(dof) - a * math.log1p(square / dof) + b * (2.0 * math.log(t) - math.log(dof + square))
    front = math.exp(log_front)
    x = dof / (dof + square)
    if x < (a + 1.0) / (a + b + 2.0):
        return 0.5 * front * _beta_fraction(a, b, x) / a
    return 0.5 * (1.0 - front * _beta_fraction(b, a, square / (dof + square)) / b)


def _nearly_normal_tail(t: float, dof: float) -> float:
    """Tail by the normal value that has the same tail, to second order in 1/dof (Cornish and Fisher)."""
    if t > 40.0:
        return 0.0  # below the smallest number there is
    z = t - (t**3 + t) / (4 * dof) + (13 * t**5 + 8 * t**3 + 3 * t) / (96 * dof**2)
    return 0.5 * math.erfc(z / math.sqrt(2.0))


def cumulative(t: float, dof: float) -> float:
    """Probability that a Student t value is at most ``t``.

    Raises:
        JudgeError: ``t`` is not finite or ``dof`` is below 1.
    """
    return upper_tail(-t, dof)


def density(t: float, dof: float) -> float:
    """Probability density of Student's t, at finite degrees of freedom.

    Args:
        t: any finite number.
        dof: degrees of freedom, finite.
    """
    return math.exp(_log_scale(dof) - 0.5 * math.log(dof) - (dof + 1.0) / 2.0 * math.log1p(t * t / dof))


@lru_cache(maxsize=1024)
def quantile(p: float, dof: float) -> float:
    """Value that a Student t value stays below with probability ``p``.

    Args:
        p: between 0 and 1, both excluded.
        dof: degrees of freedom, at least 1, or infinite for the normal distribution. Not cut to an integer here.

    Raises:
        JudgeError: ``p`` or ``dof`` is out of range.
    """
    p = probability("probability", p)
    dof = degrees_of_freedom("degrees of freedom", dof)
    if p == 0.5:
        return 0.0
    z = _NORMAL.inv_cdf(p)
    if dof == math.inf:
        return z
    if dof >= _MANY:
        g1 = (z**3 + z) / 4
        g2 = (5 * z**5 + 16 * z**3 + 3 * z) / 96
        g3 = (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384
        return z + g1 / dof + g2 / dof**2 + g3 / dof**3
    tail, sign = (1.0 - p, 1.0) if p > 0.5 else (p, -1.0)
    low, high = 0.0, max(abs(z), 1.0)
    while upper_tail(high, dof) > tail:
        low, high = high, high * 4.0
    t = min(max(abs(z), low), high)
    for _ in range(200):
        excess = upper_tail(t, dof) - tail
        if excess > 0:
            low = t
        else:
            high = t
        step = t + excess / density(t, dof)
        if not low < step < high:
            step = 0.5 * (low + high)
        if abs(step - t) <= 1e-15 * t:
            t = step
            break
        t = step
    return sign * t


@lru_cache(maxsize=1024)
def coverage_factor(level: float, dof: float) -> float:
    """Factor k that turns a standard uncertainty into an interval holding ``level`` of the values (GUM table G.2).

    Args:
        level: coverage probability of the two-sided interval, such as 0.95.
        dof: degrees of freedom. The GUM (G.6.4) cuts effective degrees of freedom to an integer first; that is done
            by the budget, not here.

    Raises:
        JudgeError: ``level`` or ``dof`` is out of range.
    """
    level = probability("coverage level", level)
    return quantile(0.5 + level / 2.0, dof)
