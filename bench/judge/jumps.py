"""Jumps in a stream of readings: found as they come, with a false-alarm rate that is stated beforehand.

A reading jumps where it lies further from the median of the last quiet readings than steady noise would once in a
stated number of hours. Scatter is the median of absolute deviations over the same readings, so neither a jump nor its
return widens it; the quantile is Student's, since few readings tell scatter badly. Over range is a jump from any
figure, and a figure from over range.

Everything here is a value: the same readings in the same order give the same jumps, live and from a record.
"""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import pairwise
from statistics import median
from typing import Final

import msgspec
from msgspec.structs import replace

from bench.judge.student import quantile

WINDOW: Final = 200
"""Quiet readings that say where readings lie; at ten a second the last twenty seconds."""
LEARNT: Final = 12
"""Readings before anything can jump."""
FIT_EACH: Final = 10
"""Readings between two looks at level and scatter."""
NORMAL_MAD: Final = 1.4826
"""Standard deviations in one median absolute deviation of normal readings: 1 / 0.6745 (a fact of the normal curve)."""
MAD_WORTH: Final = 0.37
"""A median absolute deviation tells scatter as well as a standard deviation of this part of the readings does (the
efficiency of the estimator for normal readings; textbook value, from memory)."""
COUNTS: Final = 2.5
"""Counts of the last digit that are no jump, however quiet the meter is."""
WIDEST: Final = 1.3
"""What stayed quiet while it learnt may come again, and a little more."""
DEAD_S: Final = 1.0
"""Contacts bounce: what jumps within this time of a jump's beginning belongs to it."""
SETTLES_S: Final = 6.0
"""Seconds at another level after which that is where readings lie."""
OVER: Final = math.inf
"""Stands for over range."""


class Jump(msgspec.Struct, frozen=True):
    """Readings left where they lay.

    Attributes:
        at: seconds of the first reading that had.
        level: where they lay before; :data:`OVER` for over range.
        value: the reading that lay furthest off; :data:`OVER` for over range.
        until: seconds of the first reading that was back, or at which the new level had settled; None: not yet.
        stayed: whether it never came back.
    """

    at: float
    level: float
    value: float
    until: float | None = None
    stayed: bool = False


NEAR_REST: Final = 0.2
"""Something is at rest within this part of the way to where it goes."""


def leaves_rest(level: float, rest: float, value: float) -> bool:
    """Whether readings that lie at ``level`` and jump to ``value`` leave where they rest, and do not return to it."""
    if OVER in (level, rest):
        return level == rest
    away = abs(value - rest) if value != OVER else abs(rest) + 1.0
    return abs(level - rest) <= NEAR_REST * away


class Finder(msgspec.Struct, frozen=True):
    """Where readings lie, and whether they are away.

    Attributes:
        chance: of a false alarm at one steady reading.
        resolution: one step of the meter's last digit; 0 where not known.
        level: the median of the quiet readings; None before there are enough.
        scale: their standard deviation, estimated robustly.
        reach: how far a reading may lie off before it has jumped.
        open: the jump that readings are away on; None where they are not.
    """

    chance: float
    resolution: float = 0.0
    level: float | None = None
    scale: float = 0.0
    reach: float = math.inf
    open: Jump | None = None
    _quiet: tuple[float, ...] = ()
    _away: tuple[float, ...] = ()
    _unfitted: int = 0
    _since: float = 0.0


def finder(readings_per_second: float, alarms_per_hour: float = 0.1, resolution: float = 0.0) -> Finder:
    """A finder that has seen nothing yet.

    Args:
        readings_per_second: how often readings come.
        alarms_per_hour: how many false alarms an hour of steady readings may bring at most.
        resolution: one step of the meter's last digit; 0 where not known.

    Raises:
        ValueError: a rate that is not above 0.
    """
    if not (readings_per_second > 0 and alarms_per_hour > 0):
        raise ValueError(f"{readings_per_second} readings/s, {alarms_per_hour} alarms/h; expected both above 0")
    return Finder(min(0.01, alarms_per_hour / (3600.0 * readings_per_second)), resolution)


def look(state: Finder, at: float, value: float) -> tuple[Finder, Jump | None, Jump | None]:
    """Take the next reading.

    Args:
        state: before it.
        at: seconds; rising.
        value: the reading; :data:`OVER` for over range.

    Returns:
        The state after it; the jump that begins with it, if one does; the jump that has ended with it, if one has.
    """
    if state.level is None:
        return _learn(state, value), None, None
    if state.open is None:
        if _near(state, value):
            return _stay(state, value), None, None
        jump = Jump(at, state.level, value)
        away = replace(state, open=jump, _away=(value,), _since=at)
        return away, jump, None
    return _away(state, state.open, at, value)


def _away(state: Finder, jump: Jump, at: float, value: float) -> tuple[Finder, Jump | None, Jump | None]:
    if _near(state, value):
        jump = jump if jump.until is not None else replace(jump, until=at)
        if at - jump.at < DEAD_S:
            # it may be bouncing still
            return replace(state, open=jump, _away=()), None, None
        return _stay(replace(state, open=None, _away=()), value), None, jump
    since = state._since if jump.until is None else at
    further = value if _off(jump.level, value) > _off(jump.level, jump.value) else jump.value
    jump, away = replace(jump, value=further, until=None), (*state._away, value)[-WINDOW:]
    if at - since < SETTLES_S:
        return replace(state, open=jump, _away=away, _since=since), None, None
    settled = Finder(state.chance, state.resolution)
    for one in away[-LEARNT:]:
        settled = _learn(settled, one)
    return settled, None, replace(jump, until=at, stayed=True)


def _off(level: float, value: float) -> float:
    if level == value:
        return 0.0
    return abs(value - level)


def _near(state: Finder, value: float) -> bool:
    assert state.level is not None
    return _off(state.level, value) <= state.reach


def _learn(state: Finder, value: float) -> Finder:
    quiet = (*state._quiet, value)
    state = replace(state, _quiet=quiet)
    return _fitted(state, wide=True) if len(quiet) >= LEARNT else state


def _stay(state: Finder, value: float) -> Finder:
    quiet = (*state._quiet, value)[-WINDOW:]
    if state._unfitted + 1 < FIT_EACH:
        return replace(state, _quiet=quiet, _unfitted=state._unfitted + 1)
    return _fitted(replace(state, _quiet=quiet, _unfitted=0))


def _fitted(state: Finder, wide: bool = False) -> Finder:
    quiet = state._quiet
    over = sum(value == OVER for value in quiet)
    if over * 2 > len(quiet):
        return replace(state, level=OVER, scale=0.0, reach=0.0)
    figures = sorted(value for value in quiet if value != OVER)
    level = median(figures)
    off = [abs(value - level) for value in figures]
    step = state.resolution or _step(figures)
    scale = max(NORMAL_MAD * median(off), 0.4 * step, 1e-12)
    reach = max(_reach(state.chance, len(figures)) * scale, COUNTS * step)
    if wide:
        # so few readings have not shown how far they scatter
        reach = max(reach, WIDEST * max(off))
    return replace(state, level=level, scale=scale, reach=reach)


def _step(figures: list[float]) -> float:
    """The smallest difference between neighbouring figures: one step of the last digit, or less."""
    steps = [b - a for a, b in pairwise(figures) if b > a]
    return min(steps, default=0.0)


@lru_cache(maxsize=4096)
def _reach(chance: float, readings: int) -> float:
    """How many standard deviations steady readings stay within, but for this chance either way together."""
    return quantile(1.0 - chance / 2.0, max(4.0, MAD_WORTH * readings))
