"""Control charts against the NIST/SEMATECH e-Handbook of Statistical Methods, a textbook's table, and run lengths."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bench.judge.charts import cusum, ewma

HANDBOOK = (
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6,
    52.1,
)  # fmt: skip
"""NIST/SEMATECH e-Handbook, section 6.3.2.4: the example's 20 readings."""
AVERAGES = (
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92,
    50.73, 51.23, 51.94, 51.99,
)  # fmt: skip
TEXTBOOK = (
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08, 9.37, 10.62,
    10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
)  # fmt: skip
"""The tabular CUSUM example that statistical process control textbooks carry (mean 10, deviation 1, k 0.5, h 5)."""
UPPER = (
    0, 0, 0, 1.16, 2.82, 2.50, 0.04, 1.00, 0, 0, 0, 0.97, 0.98, 0, 0, 0, 0.12, 0, 0, 0.34, 0.74, 0, 1.79, 2.79, 2.89,
    3.47, 3.35, 4.47, 5.28, 5.30,
)  # fmt: skip


def test_the_handbooks_moving_average() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.4: target 50, s 2.0539, lambda 0.3, k 3; UCL 52.5884, LCL 47.4115, nothing out.

    The handbook rounds the printed averages to two digits, some of them downwards.
    """
    chart = ewma(HANDBOOK, 50.0, 2.0539, weight=0.3, width=3.0, exact_start=False)
    assert chart.values == pytest.approx(AVERAGES, abs=0.0101)
    assert chart.upper[0] == pytest.approx(52.5884, abs=1e-4)
    assert chart.lower[-1] == pytest.approx(47.4115, abs=1e-4)
    assert chart.alarm is None


def test_the_textbooks_cumulative_sum() -> None:
    """First alarm at period 29, the sum having left zero after period 22."""
    chart = cusum(TEXTBOOK, 10.0, 1.0, slack=0.5, interval=5.0)
    assert chart.high == pytest.approx(UPPER, abs=0.021)
    assert chart.low[:3] == pytest.approx((0.05, 1.56, 1.77), abs=1e-9)
    assert (chart.alarm, chart.began, chart.side) == (28, 22, "high")


def run_length(shift: float, interval: float, slack: float = 0.5, states: int = 400) -> float:
    """Mean number of readings until an alarm on one side, by a Markov chain (Brook and Evans, Biometrika 1972)."""
    width = 2 * interval / (2 * states - 1)
    centres = np.arange(states) * width
    phi = np.vectorize(lambda z: 0.5 * math.erfc(-z / math.sqrt(2)))
    upper = phi(centres[None, :] + width / 2 - centres[:, None] + slack - shift)
    lower = phi(centres[None, :] - width / 2 - centres[:, None] + slack - shift)
    moves = upper - lower
    moves[:, 0] = upper[:, 0]
    return float(np.linalg.solve(np.eye(states) - moves, np.ones(states))[0])


def both_sides(shift: float, interval: float) -> float:
    return 1 / (1 / run_length(shift, interval) + 1 / run_length(-shift, interval))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("shift", "interval", "published"), [(0.0, 5.0, 465.0), (1.0, 5.0, 10.4), (0.0, 4.0, 168.0), (1.0, 4.0, 8.38)]
)
def test_run_lengths_are_those_of_the_handbooks(shift: float, interval: float, published: float) -> None:
    """The chain agrees with the handbooks (two-sided, k 0.5), and our chart agrees with the chain."""
    expected = both_sides(shift, interval)
    assert expected == pytest.approx(published, rel=0.01)
    rng = np.random.default_rng(3)
    lengths = []
    for _ in range(300):
        readings = rng.normal(shift, 1.0, 4000)
        alarm = cusum(readings[: 4000 if shift == 0 else 200].tolist(), 0.0, 1.0, interval=interval).alarm
        lengths.append(4000 if alarm is None else alarm + 1)
    standard_error = float(np.std(lengths)) / math.sqrt(len(lengths))
    assert abs(float(np.mean(lengths)) - expected) < 4 * standard_error


@pytest.mark.parametrize("bad", [0.0, -1.0, math.inf, math.nan])
def test_a_deviation_that_is_none_is_refused(bad: float) -> None:
    for chart in (ewma, cusum):
        with pytest.raises(ValueError, match="sigma"):
            chart([1.0], 0.0, bad)  # type: ignore[operator]
