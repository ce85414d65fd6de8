"""Control charts for readings that should stay where they are: EWMA and CUSUM.

Both take readings in order with the target and the standard deviation of a single reading, and say at which reading
the process is no longer in control. Readings must be independent of each other: means over stretches of a trace are,
the samples of a slow meter are not.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, sections 6.3.2.3 (CUSUM) and 6.3.2.4 (EWMA).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Ewma:
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
    if not 0 < weight <= 1 or not width > 0:
        raise ValueError(f"weight {weight}, width {width}; expected a weight of 0 to 1 and a width above 0")
    values: list[float] = []
    lower: list[float] = []
    upper: list[float] = []
    alarm: int | None = None
    side: Literal["", "high", "low"] = ""
    average = target
    long_run = width * sigma * math.sqrt(weight / (2 - weight))
    for index, reading in enumerate(readings):
        average = weight * reading + (1 - weight) * average
        half = long_run * math.sqrt(1 - (1 - weight) ** (2 * (index + 1))) if exact_start else long_run
        values.append(average)
        lower.append(target - half)
        upper.append(target + half)
        if alarm is None and abs(average - target) > half:
            alarm, side = index, "high" if average > target else "low"
    return Ewma(tuple(values), tuple(lower), tuple(upper), alarm, side)


@dataclass(frozen=True, slots=True)
class Cusum:
    """A tabular cumulative sum, both ways, in standard deviations of one reading.

    Attributes:
        high: the upper sum after each reading.
        low: the lower sum after each reading, as a positive number.
        alarm: index of the first reading at which a sum exceeds the decision interval; None where none does.
        began: index of the reading with which that sum left zero: the best guess at when the shift began.
        side: which way it went.
    """

    high: tuple[float, ...]
    low: tuple[float, ...]
    alarm: int | None
    began: int | None
    side: Literal["", "high", "low"]


def cusum(
    readings: Iterable[float], target: float, sigma: float, *, slack: float = 0.5, interval: float = 5.0
) -> Cusum:
    """Chart readings by their cumulative sums.

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
    return Cusum(tuple(highs), tuple(lows), alarm, began, side)


def _sensible(sigma: float) -> None:
    if not (sigma > 0 and math.isfinite(sigma)):
        raise ValueError(f"sigma {sigma}; expected a standard deviation above 0")
