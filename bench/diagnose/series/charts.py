"""Control charts and plain statistics of a series: EWMA, individuals, CUSUM."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from bench.diagnose.diagnose_error import DiagnoseError


def ewma(values: Sequence[float], target: float, weight: float) -> list[float]:
    """Exponentially weighted moving average; the target comes first.

    z(i) = weight x(i) + (1 - weight) z(i - 1), as in the NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.

    Raises:
        DiagnoseError: a weight that is not above 0 and at most 1.
    """
    if not 0.0 < weight <= 1.0:
        raise DiagnoseError(f"found an EWMA weight of {weight:g}, expected one above 0 and at most 1")
    found = [target]
    for value in values:
        found.append(weight * value + (1.0 - weight) * found[-1])
    return found


def ewma_limits(
    target: float, sigma: float, weight: float, width: float = 3.0, run: int | None = None
) -> tuple[float, float]:
    """Lower and upper control limit of an EWMA: target ± width sigma sqrt(weight / (2 - weight)).

    Args:
        target: in the readings' unit.
        sigma: standard deviation of one reading.
        weight: of the newest reading.
        width: how many standard deviations of the average.
        run: counted from 1, for the narrower limits of the first runs; None for those of the long run.

    Raises:
        DiagnoseError: a weight or a sigma out of range.
    """
    if not 0.0 < weight <= 1.0 or sigma < 0:
        raise DiagnoseError(f"found weight {weight:g} and sigma {sigma:g}, expected 0 < weight <= 1 and sigma >= 0")
    part = weight / (2.0 - weight)
    if run is not None:
        part *= 1.0 - (1.0 - weight) ** (2 * run)
    half = width * sigma * math.sqrt(part)
    return target - half, target + half


def individuals(values: Sequence[float]) -> tuple[float, float, float, float]:
    """Individuals chart: mean, mean moving range, lower and upper limit.

    The limits are the mean ± 3 MR / 1.128, as in the NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

    Raises:
        DiagnoseError: fewer than two values.
    """
    if len(values) < 2:
        raise DiagnoseError(f"found {len(values)} values, expected at least two")
    mean = math.fsum(values) / len(values)
    moving = math.fsum(abs(b - a) for a, b in pairwise(values)) / (len(values) - 1)
    half = 3.0 * moving / 1.128
    return mean, moving, mean - half, mean + half


@dataclass(frozen=True, slots=True)
class Cusum:
    """A tabular CUSUM.

    Attributes:
        upper: the upper sums, one for each value.
        lower: the lower sums.
        alarm: index of the first value whose sum exceeds the decision interval; None where none does.
        began: index of the first value after which that sum stayed above zero: where the shift is dated.
        mean: estimate of the new mean at the alarm; None without one.
    """

    upper: tuple[float, ...]
    lower: tuple[float, ...]
    alarm: int | None
    began: int | None
    mean: float | None


def cusum(values: Sequence[float], target: float, sigma: float, k: float = 0.5, h: float = 5.0) -> Cusum:
    """Tabular CUSUM with reference value k sigma and decision interval h sigma.

    C+(i) = max(0, x(i) - (target + K) + C+(i - 1)), C-(i) = max(0, (target - K) - x(i) + C-(i - 1)); the new mean is
    target + K + C+ / N+, where N+ counts the runs since the sum left zero (tabular CUSUM as in textbooks of statistical
    quality control).

    Raises:
        DiagnoseError: a sigma or a decision interval that is not above zero.
    """
    if sigma <= 0 or h <= 0 or k < 0:
        raise DiagnoseError(f"found sigma {sigma:g}, k {k:g} and h {h:g}, expected sigma and h above 0, k not below")
    slack, interval = k * sigma, h * sigma
    up, down, up_runs, down_runs = 0.0, 0.0, 0, 0
    upper, lower = [], []
    alarm, began, mean = None, None, None
    for i, value in enumerate(values):
        up = max(0.0, value - (target + slack) + up)
        down = max(0.0, (target - slack) - value + down)
        up_runs, down_runs = (up_runs + 1 if up > 0 else 0), (down_runs + 1 if down > 0 else 0)
        upper.append(up)
        lower.append(down)
        if alarm is None and max(up, down) > interval:
            alarm = i
            runs = up_runs if up > interval else down_runs
            began = i - runs + 1
            mean = target + slack + up / runs if up > interval else target - slack - down / runs
    return Cusum(tuple(upper), tuple(lower), alarm, began, mean)


def mean_and_spread(values: Sequence[float]) -> tuple[float, float, float]:
    """Mean, standard deviation with n - 1, and lag-1 autocorrelation, without loss of digits.

    The deviations are taken from a mean that is summed exactly. A nearly constant series of large numbers keeps its
    spread (NIST StRD, univariate sets).

    Raises:
        DiagnoseError: fewer than two values, or all the same.
    """
    if len(values) < 2:
        raise DiagnoseError(f"found {len(values)} values, expected at least two")
    mean = math.fsum(values) / len(values)
    off = [value - mean for value in values]
    squares = math.fsum(one * one for one in off)
    if squares == 0.0:
        raise DiagnoseError("found values that are all the same, expected some that differ")
    lagged = math.fsum(a * b for a, b in pairwise(off))
    return mean, math.sqrt(squares / (len(values) - 1)), lagged / squares
