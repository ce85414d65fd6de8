"""Whether a reading that should stay has moved while it was watched, with a stated rate of false alarms.

The soak is cut into ten blocks (fewer where the meter is slow, seven at the least), and only their means are looked at:
readings of one meter lean on one another, means over blocks hardly do. Two questions are put to the means.

* *Slope*: least squares over the blocks. It fires where the slope is over t(0.998) of its standard error.
* *Split*: at which place do the means before and after differ most? It fires where that difference, by the pooled
  spread, is over a value that chance reaches in 0.4 % of soaks.

**False alarms: at most 1 %** of soaks in which nothing moves (drawn over noise of 1 to 20 mA, readings each 0.1 to 4 s,
30 to 300 s, 1 mA steps: 0.5 to 1.0 %, 0.73 % in the mean; and drawn again by the tests here).

What is *steady* is not what did not fire: the slope, with its doubt, must stay within what matters.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from itertools import pairwise
from typing import Final, Literal

import msgspec

from bench.judge.ramp import slope
from bench.judge.student import quantile

FALSE_ALARMS: Final = 0.01
"""Of a hundred soaks in which nothing moves, at most this many are said to move."""
BLOCKS: Final = 10
FEWEST_BLOCKS: Final = 7
UPDATES_IN_A_BLOCK: Final = 2
"""Of the meter's own: what it shows again and again is one reading."""
CORRELATION_TIMES_IN_A_BLOCK: Final = 15
FEWEST_FOR_MEMORY: Final = 30
"""Fewer updates say nothing about the memory of noise."""
QUIET: Final = 10.0
"""Noise that is smaller than what matters by this factor is small."""
LEAST_MEMORY: Final = 0.3
"""What neighbours have in common by chance."""
FIRES: Final = 0.998
"""Of the slope's t: 0.4 % of chance, on both sides together."""
STEADY: Final = 0.995
SPLIT: Final = {7: 7.501, 8: 6.635, 9: 6.086, 10: 5.696}
"""Number of blocks to the largest split that chance reaches in 0.4 % of soaks (drawn, a million soaks each)."""
FOUND_90: Final = 5.68
"""A slope of this many standard errors is found with 90 % (noncentral t, 8 degrees of freedom)."""

Answer = Literal["steady", "moves", "undecided"]


class Soak(msgspec.Struct, frozen=True):
    """What a soak showed.

    Attributes:
        answer: ``steady``, ``moves``, or ``undecided``: the readings scatter too much, or are too few, to say.
        each_minute: the slope, in the unit of the readings.
        doubt: half of its 99 % interval, in the same.
        jump: how far the readings jumped where that explains them better than a slope; 0 where they did not.
        jump_at: when, in seconds after the first reading.
        spread: standard deviation of single readings about the slope.
        wants_s: how long a soak would have to be to tell, in seconds; 0 where it could.
    """

    answer: Answer
    each_minute: float
    doubt: float
    jump: float
    jump_at: float
    spread: float
    wants_s: float


def soak(
    times: Sequence[float], values: Sequence[float], matters: float, count: float = 0.0, renews: float = 0.0
) -> Soak | None:
    """What a soak says; None where there are too few readings for any answer.

    Args:
        times: rising, in seconds.
        values: the readings.
        matters: a change over the whole soak that matters, in the unit of the readings.
        count: one step of the meter's last digit, in the unit of the readings.
        renews: seconds from one new value of the meter to the next, where its profile says so.
    """
    if len(values) < FEWEST_BLOCKS or times[-1] <= times[0]:
        return None
    lasted = times[-1] - times[0]
    allowed = matters / lasted
    rise, _ = slope(list(zip(times, values, strict=True)))
    middle, mean = statistics.fmean(times), statistics.fmean(values)
    rest = [v - mean - rise * (t - middle) for t, v in zip(times, values, strict=True)]
    spread = math.sqrt(sum(r * r for r in rest) / (len(rest) - 2))
    updates = [values[0], *(other for one, other in pairwise(values) if one != other)]
    if max(values) - min(values) <= matters:
        # all that was read lies within what matters: no statistics are needed, and a smooth curve has none
        ends = 60 * abs(values[-1] - values[0]) / lasted
        return Soak("steady", 60 * rise, ends, 0.0, 0.0, spread, 0.0)
    update = max(renews, lasted / (len(updates) - 1) if len(updates) > 1 else 0.0)
    # noise that is small beside what matters can fool nobody, and a smooth curve would pass for a long memory
    memory = 0.0 if QUIET * spread <= matters else _correlation_s(updates, update)
    shortest = max(UPDATES_IN_A_BLOCK * update, CORRELATION_TIMES_IN_A_BLOCK * memory)
    number = min(BLOCKS, int(lasted / shortest)) if shortest > 0 else BLOCKS
    blocks = _blocks(times, values, number) if number >= FEWEST_BLOCKS else []
    if len(blocks) < FEWEST_BLOCKS:
        return Soak("undecided", 60 * rise, math.inf, 0.0, 0.0, spread, BLOCKS * max(shortest, lasted / FEWEST_BLOCKS))
    least = max(count**2 / 12, 0.0) / (len(values) / len(blocks))
    rise, doubt = _slope_of(blocks, least)
    jump, at, size = _split(blocks, least)
    freedom = len(blocks) - 2
    leaps = size > SPLIT[len(blocks)]
    within = abs(rise) + quantile(STEADY, freedom) * doubt <= allowed
    answer: Answer = "undecided"
    if within and (not leaps or abs(jump) <= matters):
        answer = "steady"
    elif leaps or abs(rise) > quantile(FIRES, freedom) * doubt:
        answer = "moves"
    wants = 0.0
    if answer == "undecided" and allowed > 0:
        apart = lasted / len(values)
        wants = max(
            1.2 * lasted, (FOUND_90 * math.sqrt(12) * spread * math.sqrt(max(apart, update)) / allowed) ** (2 / 3)
        )
    return Soak(answer, 60 * rise, 60 * quantile(STEADY, freedom) * doubt, jump if leaps else 0.0, at, spread, wants)


def _correlation_s(updates: Sequence[float], update: float) -> float:
    """How long the noise remembers, in seconds, from what neighbouring updates have in common; 0 for white noise.

    Only differences of neighbours are looked at, since a jump or a slope would pass for memory otherwise.
    """
    if len(updates) < FEWEST_FOR_MEMORY:
        return 0.0
    # of an exponential memory r: E (x2 - x0)^2 / E (x1 - x0)^2 = 1 + r
    near = _usual_square([b - a for a, b in pairwise(updates)])
    far = _usual_square([b - a for a, b in zip(updates, updates[2:], strict=False)])
    memory = far / near - 1 if near > 0 else 0.0
    return update / -math.log(min(memory, 0.98)) if memory > LEAST_MEMORY else 0.0


def _usual_square(differences: Sequence[float]) -> float:
    """The mean square without the largest twentieth, which a jump is among."""
    squares = sorted(one * one for one in differences)
    kept = squares[: len(squares) - len(squares) // 20]
    return sum(kept) / len(kept)


def _blocks(times: Sequence[float], values: Sequence[float], number: int) -> list[tuple[float, float]]:
    """Mean time and mean reading of each block that holds readings."""
    each = (times[-1] - times[0]) / number
    held: list[list[tuple[float, float]]] = [[] for _ in range(number)]
    for t, value in zip(times, values, strict=True):
        held[min(number - 1, int((t - times[0]) / each))].append((t, value))
    return [(statistics.fmean(t for t, _ in one), statistics.fmean(v for _, v in one)) for one in held if one]


def _slope_of(blocks: Sequence[tuple[float, float]], least: float) -> tuple[float, float]:
    """Slope over the blocks and its standard error, with a least variance of a block's mean."""
    rise, doubt = slope(list(blocks))
    mean = statistics.fmean(t for t, _ in blocks)
    return rise, max(doubt, math.sqrt(least / sum((t - mean) ** 2 for t, _ in blocks)))


def _split(blocks: Sequence[tuple[float, float]], least: float) -> tuple[float, float, float]:
    """The jump that splits the blocks best, when it was, and its size by the pooled spread."""
    best = (0.0, 0.0, 0.0)
    means = [mean for _, mean in blocks]
    for place in range(1, len(means)):
        before, after = means[:place], means[place:]
        jump = statistics.fmean(after) - statistics.fmean(before)
        inside = sum((x - statistics.fmean(side)) ** 2 for side in (before, after) for x in side)
        variance = max(inside / (len(means) - 2), least)
        # means of one and the same number differ by rounding only
        variance = max(variance, (1e-12 * max(map(abs, means))) ** 2)
        size = abs(jump) / math.sqrt(variance * (1 / len(before) + 1 / len(after))) if variance > 0 else 0.0
        if size > best[2]:
            best = (jump, (blocks[place - 1][0] + blocks[place][0]) / 2 - blocks[0][0], size)
    return best
