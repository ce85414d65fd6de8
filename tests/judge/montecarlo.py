"""Check of a budget by drawing from its distributions (JCGM 101, additive model).

Where one rectangular component rules, the true interval is narrower than the budget's; this says by how much.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass

from bench.judge.judge_error import JudgeError, number
from bench.judge.uncertainty import Budget, Component
from bench.quantity import engineering


@dataclass(frozen=True, slots=True)
class DrawnInterval:
    """Interval found by drawing.

    Attributes:
        low: lower end, about the budget's value.
        high: upper end.
        standard: standard deviation of the draws.
        draws: how many were made.
        unit: of the values.
    """

    low: float
    high: float
    standard: float
    draws: int
    unit: str

    @property
    def half_width(self) -> float:
        """Half of the interval's length."""
        return (self.high - self.low) / 2.0

    @property
    def sentence(self) -> str:
        """The interval in words."""
        return (
            f"By {self.draws} draws the value lies between {engineering(self.low, self.unit)} and "
            f"{engineering(self.high, self.unit)}."
        )


def draw_interval(budget: Budget, *, draws: int = 20_000, seed: int = 1) -> DrawnInterval:
    """Probabilistically symmetric interval of a budget at its level, by drawing.

    Components with finite degrees of freedom are drawn from a scaled t distribution, as JCGM 101 asks.

    Args:
        budget: without correlations.
        draws: at least 1000.
        seed: of the generator, so that the figure can be had again.

    Raises:
        JudgeError: the budget has correlations, or too few draws.
    """
    if budget.correlations:
        raise JudgeError("budget", "correlated components", "independent ones, which alone can be drawn here")
    number("draws", draws, least=1000)
    generator = random.Random(seed)
    drawers = [_drawer(component, generator) for component in budget.components]
    values = sorted(math.fsum(draw() for draw in drawers) for _ in range(draws))
    mean = math.fsum(values) / draws
    variance = math.fsum((value - mean) ** 2 for value in values) / (draws - 1)
    tail = (1.0 - budget.level) / 2.0
    first = max(0, round(tail * draws) - 1)
    return DrawnInterval(
        budget.value + values[first],
        budget.value + values[draws - 1 - first],
        math.sqrt(variance),
        draws,
        budget.unit,
    )


def _drawer(component: Component, generator: random.Random) -> Callable[[], float]:
    u = abs(component.contribution)
    if component.distribution == "rectangular":
        return lambda: generator.uniform(-u * math.sqrt(3.0), u * math.sqrt(3.0))
    if component.distribution == "triangular":
        return lambda: generator.triangular(-u * math.sqrt(6.0), u * math.sqrt(6.0), 0.0)
    if component.distribution == "u-shaped":
        return lambda: u * math.sqrt(2.0) * math.sin(generator.uniform(-math.pi, math.pi))
    if component.dof == math.inf:
        return lambda: generator.gauss(0.0, u)
    dof = component.dof
    # a t value is a normal one over the root of a mean square
    return lambda: u * generator.gauss(0.0, 1.0) / math.sqrt(generator.gammavariate(dof / 2.0, 2.0 / dof))
