"""Control charts for readings that should stay where they are (EWMA, CUSUM, individuals), and plain statistics.

EWMA and CUSUM take readings in order with the target and the standard deviation of a single reading, and say at which
reading the process is no longer in control. Readings must be independent of each other: means over stretches of a trace
are, the samples of a slow meter are not.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, sections 6.3.2.2 (individuals), 6.3.2.3 (CUSUM) and 6.3.2.4
(EWMA).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Literal

import msgspec


class Ewma(msgspec.Struct, frozen=True):
    """An exponentially weighted moving average with its limits.

    Attributes:
        values: the average after each reading, in the unit of the readings; the target itself is not among them.
        lower: lower control limit at each reading.
        upper: upper control limit at each reading.
        alarm: index of the first reading whose average lies beyond a limit; None where none does.
        side: which way it went.
    """

    values: tuple[float, ...]
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    alarm: int | None
    side: Literal["", "high", "low"]


def ewma(
    readings: Iterable[float],
    target: float,
    sigma: float,
    *,
    weight: float = 0.2,
    width: float = 3.0,
    exact_start: bool = True,
) -> Ewma:
    """Chart readings by their exponentially weighted moving average.

    Args:
        readings: in order.
        target: what they should be.
        sigma: standard deviation of one reading, above 0.
        weight: of the newest reading, above 0 and at most 1.
        width: of the limits, in standard deviations of the average.
        exact_start: limits that widen from the first reading on, as the average's own deviation does; else the limits
            of the long run, ``width * sigma * sqrt(weight / (2 - weight))``, from the start.

    Raises:
        ValueError: a parameter that makes no sense.
    """
    _sensible(sigma)
    if not width > 0:
        raise ValueError(f"width {width}; expected one above 0")
    long_run = ewma_limits(target, sigma, weight, width)
    values: list[float] = []
    lower: list[float] = []
    upper: list[float] = []
    alarm: int | None = None
    side: Literal["", "high", "low"] = ""
    average = target
    for index, reading in enumerate(readings):
        average = weight * reading + (1 - weight) * average
        low, high = ewma_limits(target, sigma, weight, width, index + 1) if exact_start else long_run
        values.append(average)
        lower.append(low)
        upper.append(high)
        if alarm is None and not low <= average <= high:
            alarm, side = index, "high" if average > target else "low"
    return Ewma(tuple(values), tuple(lower), tuple(upper), alarm, side)


def ewma_limits(
    target: float, sigma: float, weight: float, width: float = 3.0, run: int | None = None
) -> tuple[float, float]:
    """Lower and upper control limit of an EWMA: target ± width sigma sqrt(weight / (2 - weight)).

    Args:
        target: in the readings' unit.
        sigma: standard deviation of one reading.
        weight: of the newest reading, above 0 and at most 1.
        width: how many standard deviations of the average.
        run: counted from 1, for the narrower limits of the first runs; None for those of the long run.

    Raises:
        ValueError: a weight or a sigma out of range.
    """
    if not 0 < weight <= 1 or sigma < 0:
        raise ValueError(f"weight {weight}, sigma {sigma}; expected a weight of 0 to 1 and a sigma of 0 or more")
    part = weight / (2.0 - weight)
    if run is not None:
        part *= 1.0 - (1.0 - weight) ** (2 * run)
    half = width * sigma * math.sqrt(part)
    return target - half, target + half


class Cusum(msgspec.Struct, frozen=True):
    """A tabular cumulative sum, both ways, in standard deviations of one reading.

    Attributes:
        high: the upper sum after each reading.
        low: the lower sum after each reading, as a positive number.
        alarm: index of the first reading at which a sum exceeds the decision interval; None where none does.
        began: index of the reading with which that sum left zero: the best guess at when the shift began.
        side: which way it went.
        mean: estimate of the new mean at the alarm, in the unit of the readings; None without one.
    """

    high: tuple[float, ...]
    low: tuple[float, ...]
    alarm: int | None
    began: int | None
    side: Literal["", "high", "low"]
    mean: float | None


def cusum(
    readings: Iterable[float], target: float, sigma: float, *, slack: float = 0.5, interval: float = 5.0
) -> Cusum:
    """Chart readings by their cumulative sums.

    C+(i) = max(0, z(i) - k + C+(i - 1)), C-(i) = max(0, -z(i) - k + C-(i - 1)), with z the reading's distance from the
    target in standard deviations and k the slack; the new mean is the target + sigma (k + C+ / N+), where N+ counts the
    readings since the sum left zero (tabular CUSUM as in textbooks of statistical quality control).

    Args:
        readings: in order.
        target: what they should be.
        sigma: standard deviation of one reading, above 0.
        slack: how far a reading may lie off without adding to the sum, in standard deviations; half the shift that
            should be found soonest.
        interval: the decision interval, in standard deviations.

    Raises:
        ValueError: a parameter that makes no sense.
    """
    _sensible(sigma)
    if slack < 0 or interval <= 0:
        raise ValueError(f"slack {slack}, interval {interval}; expected a slack of 0 or more, an interval above 0")
    highs: list[float] = []
    lows: list[float] = []
    high = low = 0.0
    high_from = low_from = 0
    alarm: int | None = None
    began: int | None = None
    mean: float | None = None
    side: Literal["", "high", "low"] = ""
    for index, reading in enumerate(readings):
        off = (reading - target) / sigma
        high_from = high_from if high > 0 else index
        low_from = low_from if low > 0 else index
        high = max(0.0, high + off - slack)
        low = max(0.0, low - off - slack)
        highs.append(high)
        lows.append(low)
        if alarm is None and max(high, low) > interval:
            alarm = index
            side, began = ("high", high_from) if high > interval else ("low", low_from)
            shift = slack + max(high, low) / (index - began + 1)
            mean = target + sigma * (shift if side == "high" else -shift)
    return Cusum(tuple(highs), tuple(lows), alarm, began, side, mean)


def individuals(values: Sequence[float]) -> tuple[float, float, float, float]:
    """Individuals chart: mean, mean moving range, lower and upper limit.

    The limits are the mean ± 3 MR / 1.128, as in the NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

    Raises:
        ValueError: fewer than two values.
    """
    if len(values) < 2:
        raise ValueError(f"found {len(values)} values, expected at least two")
    mean = math.fsum(values) / len(values)
    moving = math.fsum(abs(after - before) for before, after in pairwise(values)) / (len(values) - 1)
    half = 3.0 * moving / 1.128
    return mean, moving, mean - half, mean + half


def mean_and_spread(values: Sequence[float]) -> tuple[float, float, float]:
    """Mean, standard deviation with n - 1, and lag-1 autocorrelation, without loss of digits.

    The deviations are taken from a mean that is summed exactly. A nearly constant series of large numbers keeps its
    spread (NIST StRD, univariate sets).

    Raises:
        ValueError: fewer than two values, or all the same.
    """
    if len(values) < 2:
        raise ValueError(f"found {len(values)} values, expected at least two")
    mean = math.fsum(values) / len(values)
    off = [value - mean for value in values]
    squares = math.fsum(one * one for one in off)
    if squares == 0.0:
        raise ValueError("found values that are all the same, expected some that differ")
    lagged = math.fsum(one * next_one for one, next_one in pairwise(off))
    return mean, math.sqrt(squares / (len(values) - 1)), lagged / squares


def _sensible(sigma: float) -> None:
    if not (sigma > 0 and math.isfinite(sigma)):
        raise ValueError(f"sigma {sigma}; expected a standard deviation above 0")
