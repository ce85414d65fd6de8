"""Type A evaluation: what repeated readings say about their own scatter (GUM 4.2, 5.2.3)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import msgspec

from bench.judge.judge_error import JudgeError, number
from bench.judge.uncertainty import Component, Correlation


class RepeatedReadings(msgspec.Struct, frozen=True):
    """Mean and scatter of repeated readings of one thing.

    Attributes:
        mean: their mean.
        deviation: standard deviation of a single reading, with n - 1.
        count: how many there were.
    """

    mean: float
    deviation: float
    count: int

    @property
    def standard(self) -> float:
        """Standard uncertainty of the mean: the deviation over the root of the count."""
        return self.deviation / math.sqrt(self.count)

    @property
    def dof(self) -> float:
        """Degrees of freedom: one less than the count."""
        return float(self.count - 1)

    def component(self, name: str = "scatter of the readings") -> Component:
        """Return it as a component of a budget."""
        return Component(
            name,
            self.standard,
            dof=self.dof,
            role="scatter",
            kind="A",
            basis=f"{self.count} readings, standard deviation {self.deviation:.3g}",
        )


def repeated(readings: Sequence[float], what: str = "readings") -> RepeatedReadings:
    """Return mean and standard deviation of at least two readings.

    Args:
        readings: one value each, all of the same thing.
        what: what they are, for messages.

    Raises:
        JudgeError: fewer than two, or one that is not a finite number.
    """
    if len(readings) < 2:
        raise JudgeError(what, f"{len(readings)} of them", "at least 2, to see any scatter")
    values = [number(f"{what} {place}", value) for place, value in enumerate(readings, 1)]
    # shifting by the first value keeps all digits of readings that differ in their last places only
    origin = values[0]
    shifted = [value - origin for value in values]
    centre = math.fsum(shifted) / len(values)
    squares = math.fsum((value - centre) ** 2 for value in shifted)
    return RepeatedReadings(origin + centre, math.sqrt(squares / (len(values) - 1)), len(values))


class Estimate(msgspec.Struct, frozen=True):
    """An input quantity of a computation: its value and how sure it is.

    Attributes:
        name: unique among the inputs.
        value: best estimate.
        standard: standard uncertainty.
        dof: degrees of freedom of it.
        distribution: shape.

    Raises:
        JudgeError: not finite, or a negative uncertainty.
    """

    name: str
    value: float
    standard: float
    dof: float = math.inf
    distribution: str = "normal"

    def __post_init__(self) -> None:
        number(f"{self.name}: value", self.value)
        number(f"{self.name}: standard uncertainty", self.standard, least=0.0)


def read_together(
    columns: Mapping[str, Sequence[float]],
) -> tuple[tuple[Estimate, ...], tuple[Correlation, ...]]:
    """Means of quantities that were read at the same moments, with their correlations (GUM 5.2.3, H.2).

    Args:
        columns: name to readings, all of the same length n of at least 2; row i of each column was read together.

    Returns:
        The estimates, n - 1 degrees of freedom each, and the correlation of each pair that varies.

    Raises:
        JudgeError: no columns, columns of different length, or fewer than two rows.
    """
    lengths = {len(column) for column in columns.values()}
    if len(lengths) != 1:
        raise JudgeError("readings taken together", f"columns of {sorted(lengths)} rows", "one length")
    stats = {name: repeated(column, name) for name, column in columns.items()}
    estimates = tuple(Estimate(name, stat.mean, stat.standard, stat.dof) for name, stat in stats.items())
    names = list(columns)
    pairs = []
    for place, first in enumerate(names):
        for second in names[place + 1 :]:
            one, two = stats[first], stats[second]
            if one.deviation == 0.0 or two.deviation == 0.0:
                continue
            together = math.fsum(
                (a - one.mean) * (b - two.mean) for a, b in zip(columns[first], columns[second], strict=True)
            )
            coefficient = together / ((one.count - 1) * one.deviation * two.deviation)
            pairs.append(Correlation(first, second, min(1.0, max(-1.0, coefficient))))
    return estimates, tuple(pairs)
