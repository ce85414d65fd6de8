"""Drawn histories of readings whose truth is known: steady, step, drift, coming and going."""

import random
from dataclasses import dataclass

U = 0.012
"""Standard uncertainty of one reading, in ohms: that of a two-wire reading with nulled leads."""


@dataclass(frozen=True)
class History:
    """A history with its truth.

    Attributes:
        values: readings.
        uncertainties: of each.
        first_bad: index of the first run that is truly different; None for a steady one.
        limit: upper limit.
    """

    values: list[float]
    uncertainties: list[float]
    first_bad: int | None
    limit: float


def _noise(draw, runs, spread):
    doubts = [U * draw.uniform(0.8, 1.25) for _ in range(runs)]
    extra = draw.choice([0.0, 0.0, 0.3, 0.6]) * spread * U
    base = draw.uniform(0.5, 5.0)
    return [base + draw.gauss(0.0, u) + draw.gauss(0.0, extra) for u in doubts], doubts, base


def steady(seed, least=8, most=40, spread=1.0):
    """Nothing happens."""
    draw = random.Random(f"steady {seed}")
    values, doubts, base = _noise(draw, draw.randint(least, most), spread)
    return History(values, doubts, None, base * 1.1)


def step(seed, size=None, least=8, most=40, spread=1.0):
    """Another level from some run on, at least two runs from either end; by default 5 to 15 uncertainties away."""
    draw = random.Random(f"step {seed}")
    values, doubts, base = _noise(draw, draw.randint(least, most), spread)
    at = draw.randrange(2, len(values) - 1)
    rise = (size if size is not None else draw.uniform(5.0, 15.0)) * U * draw.choice([-1.0, 1.0])
    return History([v + rise * (i >= at) for i, v in enumerate(values)], doubts, at, base * 1.1)


def drift(seed, slope=None, least=12, most=40, spread=0.0):
    """A rise in every run from some run on, by default of 2 to 4 uncertainties; the first bad run is over the limit."""
    draw = random.Random(f"drift {seed}")
    rise = (slope if slope is not None else draw.uniform(2.0, 4.0)) * U
    runs = draw.randint(least, most)
    values, doubts, base = _noise(draw, runs, spread)
    onset = draw.randrange(1, runs - 8)
    true = [base + rise * max(0, i - onset) for i in range(runs)]
    limit = base + rise * draw.uniform(3.0, min(8.0, runs - onset - 2))
    first = next(i for i, value in enumerate(true) if value > limit)
    return History([v + t - base for v, t in zip(values, true, strict=True)], doubts, first, limit)


def comes_and_goes(seed, times=2, least=12, most=40):
    """Single runs far away, the first two and the last two sound."""
    draw = random.Random(f"comes and goes {seed}")
    values, doubts, base = _noise(draw, draw.randint(least, most), 0.0)
    away = sorted(draw.sample(range(2, len(values) - 2), times))
    for i in away:
        values[i] += draw.uniform(8.0, 60.0) * U
    return History(values, doubts, away[0], base * 1.1), tuple(away)
