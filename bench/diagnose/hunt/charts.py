"""What happened in a log that runs for weeks: dips, steps, trips and drift, with a false-alarm rate that is kept.

Readings of a plant in service are noisy and hang together, so charts on the raw figures cry wolf thousands of times a
week. Here each block of readings is held against the median of the last minute; what a reading owes to the one before
is taken off (a first-order prewhitening); the rest is measured in its own robust standard deviations and clipped. Two
two-sided cumulative sums run over it, a slow one for small long shifts and a quick one for short deep ones. Their
decision intervals are somewhat wider than those for one false alarm a week each at ten independent readings a second
(allowance 0.5 with 14.45, 2 with 3.43: Siegmund's approximation, from memory), since what is left of the correlation
is not known exactly; what that comes to is measured in tests/benchmarks. No single reading alarms that is not well
beyond what the last day brought without any event.

An event is open until readings are back, or have stayed away for a minute. What came to what:

* ``dip``: they came back;  ``step``: they stayed;
* ``trip``: they stayed within a tenth of zero, where they lay clearly off zero before;
* ``drift``: no single moment, but an hour's median has left the level that the point had.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from typing import Final, Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Kind = Literal["dip", "step", "trip", "drift"]
BASE_S: Final = 60.0
"""Seconds whose median is the level."""
LEARN_S: Final = 300.0
"""Seconds of residuals that scatter and correlation are estimated from; five of the baseline's time constants."""
CLIP: Final = 9.0
"""Standard deviations that one reading counts at most in the quick sums."""
SLOW_CLIP: Final = 4.0
"""And in the slow ones, which look for small shifts: heavy tails must not fill them."""
COARSE: Final = 5.0
"""Where all scatter lies below half a digit: a single reading this far off, in half digits, is no noise."""
SLOW: Final = (0.5, 19.0)
"""Allowance and decision interval of the slow sum."""
QUICK: Final = (2.0, 4.5)
"""Of the quick one."""
BEYOND: Final = 1.35
"""How far beyond the largest reading of the last quiet day a single one must lie: with tails that fall as the fifth
power, readings pass an hour's largest by this much five times a day."""
STAYS_S: Final = 60.0
"""Seconds away after which readings have stepped and not dipped."""
MAD: Final = 1.4826
NEAR_ZERO: Final = 0.1
"""Part of the level below which readings are gone: the breaker has tripped, the fuse has blown (our own figure)."""
DRIFTED: Final = (6.0, 0.01)
"""Standard deviations, and part of the level, that an hour's median must both have moved by (our own figures)."""
EARLY: Final = 1.6
"""The same in the first hour."""
HOUR_S: Final = 3600.0
DAY_S: Final = 86_400.0
FEWEST: Final = 24
"""Readings from which on anything is known."""
MOST: Final = 20_000
"""Readings that a chart keeps at most."""


class Happening(msgspec.Struct, frozen=True):
    """Something that happened at a point.

    Attributes:
        kind: what.
        at: seconds at which it began.
        until: seconds at which it was over, or taken for settled.
        level: where readings lay before.
        value: the furthest off; of a step, drift or trip where they lay then.
        sigmas: how far off, in standard deviations of a reading.
    """

    kind: Kind
    at: float
    until: float
    level: float
    value: float
    sigmas: float


class LongChart(msgspec.Struct):
    """Follows one point. Feed it blocks of some seconds.

    Attributes:
        resolution: one step of the meter's last digit; 0 where not known.
        alarms: how many happenings were told.
    """

    resolution: float = 0.0
    alarms: int = 0
    _times: Floats = msgspec.field(default_factory=lambda: np.zeros(0))
    _values: Floats = msgspec.field(default_factory=lambda: np.zeros(0))
    _last: float = math.nan
    _sums: list[float] = msgspec.field(default_factory=lambda: [0.0] * 4)
    _open: tuple[float, float, float, float] | None = None
    _largest: deque[tuple[float, float]] = msgspec.field(default_factory=deque)
    _hour: list[float] = msgspec.field(default_factory=list)
    _hour_at: float = -math.inf
    _reference: float | None = None
    _phi: float = 0.0
    _scale: float = 0.0
    _coarse: bool = False
    _began: float = math.nan
    _level: float = math.nan
    _fitted: float = -math.inf

    @property
    def open(self) -> bool:
        """Whether something is happening now."""
        return self._open is not None

    @property
    def level(self) -> float:
        """Where readings lie; not a number before that is known."""
        return self._level

    def feed(self, times: Sequence[float], values: Sequence[float]) -> list[Happening]:
        """Take a block of readings.

        Args:
            times: seconds, rising.
            values: in the base unit; over range as a large figure of its sign.

        Returns:
            What is over by now.
        """
        if not len(times):
            return []
        at, given = np.asarray(times, dtype=float), np.asarray(values, dtype=float)
        told: list[Happening] = []
        if not self._fit(float(at[0])):
            self._keep(at, given)
            return told
        if self._open is None:
            begun = self._look(at, given)
            if begun is None:
                self._keep(at, given)
            else:
                # what came before it is where readings lie; what comes after is not, until they are back
                self._keep(at[:begun], given[:begun])
                self._begin(float(at[begun]), float(given[begun]))
                told += self._go_on(at[begun:], given[begun:])
        else:
            told += self._go_on(at, given)
        told += self._drift(at, given)
        self.alarms += len(told)
        return told

    # where readings lie

    def _keep(self, at: Floats, given: Floats) -> None:
        if not len(at):
            return
        first = max(0, int(np.searchsorted(self._times, at[-1] - LEARN_S)), len(self._times) - MOST)
        self._times = np.concatenate((self._times[first:], at))
        self._values = np.concatenate((self._values[first:], given))

    def _fit(self, now: float) -> bool:
        """Level, scatter and correlation from what is kept; whether there is enough of it."""
        times, recent = self._times, self._values
        if len(recent) < FEWEST or times[-1] - times[0] < 2.0 * BASE_S:
            return False
        self._level = float(np.median(recent[np.searchsorted(times, times[-1] - BASE_S) :]))
        if now - self._fitted < 10.0 and self._scale > 0.0:
            return True
        self._fitted = now
        # against a running level, so that a slow drift within the window does not count as scatter
        edges = np.arange(times[0], times[-1] + BASE_S, BASE_S)
        place = np.searchsorted(edges, times, side="right") - 1
        kept, begins = np.unique(place, return_index=True)
        medians = np.array([np.median(part) for part in np.split(recent, begins[1:])])
        residual = recent - medians[np.searchsorted(kept, place)]
        if len(residual) > 100:
            limit = 4.0 * MAD * float(np.median(np.abs(residual))) or math.inf
            calm = np.clip(residual, -limit, limit)
            power = float(calm @ calm)
            self._phi = min(0.98, max(0.0, float(calm[1:] @ calm[:-1]) / power)) if power > 0 else 0.0
        white = residual[1:] - self._phi * residual[:-1]
        floor = 0.5 * (self.resolution or _step(recent))
        seen = max(MAD * float(np.median(np.abs(white))), float(np.std(np.clip(white, *_fence(white)))))
        self._scale, self._coarse = max(seen, floor, 1e-12), seen < floor
        if math.isnan(self._began):
            # what was learnt from is the first that a single reading is held against
            self._began = float(times[0])
            self._note_largest(now, float(np.max(np.abs(white))) / self._scale)
        return True

    # events

    def _look(self, at: Floats, given: Floats) -> int | None:
        """Where in a block the charts alarm."""
        residual = given - self._level
        before = residual[0] if math.isnan(self._last) else self._last - self._level
        white = (residual - self._phi * np.concatenate(([before], residual[:-1]))) / self._scale
        self._last = float(given[-1])
        most = self._most(float(at[0]))
        alarms = [self._summed(number, white, most) for number in range(4)]
        if self._coarse and (lone := np.nonzero(np.abs(white) > most)[0]).size:
            alarms.append(int(lone[0]))
        alarm = min((one for one in alarms if one is not None), default=None)
        if alarm is None:
            self._note_largest(float(at[-1]), float(np.max(np.abs(white))))
        return alarm

    def _summed(self, number: int, white: Floats, most: float) -> int | None:
        """Where in a block one of the sums alarms; one reading alone does not, where it is not beyond ``most``."""
        sign, slow = 1.0 if number % 2 == 0 else -1.0, number < 2
        (k, h), clip = (SLOW, SLOW_CLIP) if slow else (QUICK, CLIP)
        steps = np.clip(sign * white, -clip, clip) - k
        total = self._sums[number] + np.cumsum(steps)
        summed = total - np.minimum.accumulate(np.minimum(total, 0.0))
        self._sums[number] = float(summed[-1])
        for first in map(int, np.nonzero(summed > h)[0]):
            # the reading with which the sum left zero is where it began
            zero = np.nonzero(summed[: first + 1] <= 0.0)[0]
            begun = int(zero[-1]) + 1 if len(zero) else 0
            top = begun + int(np.argmax(steps[begun : first + 1]))
            if slow or summed[first] - steps[top] > h or sign * white[top] > most:
                return begun
        # what one wild reading left in a sum is no evidence for the next block
        self._sums[number] = min(self._sums[number], h if slow else 0.5 * h)
        return None

    def _most(self, now: float) -> float:
        """What a single reading must exceed; less behind a coarse digit, where noise shows only as whole digits."""
        while self._largest and self._largest[0][0] < now - DAY_S:
            self._largest.popleft()
        seen = max((size for _, size in self._largest), default=0.0)
        # of so few readings the largest says little of how large a day's will be
        beyond = BEYOND if now - self._began > HOUR_S else EARLY
        return max(COARSE if self._coarse else QUICK[0] + QUICK[1], beyond * seen)

    def _note_largest(self, at: float, size: float) -> None:
        while self._largest and self._largest[-1][1] <= size:
            self._largest.pop()
        self._largest.append((at, size))

    def _begin(self, at: float, value: float) -> None:
        self._open = (at, self._level, value, at)
        self._sums = [0.0] * 4

    def _go_on(self, at: Floats, given: Floats) -> list[Happening]:
        """Follow readings that are away, until they are back or have stayed."""
        assert self._open is not None
        began, level, furthest, _ = self._open
        marginal = self._scale / math.sqrt(max(1e-6, 1.0 - self._phi**2))
        off = np.abs(given - level)
        furthest = max(furthest, float(given[int(np.argmax(off))]), key=lambda value: abs(value - level))
        # back is a stretch of a second nearer to where they lay than to where they went, and within the scatter there
        half = 0.5 * abs(furthest - level)
        near = off <= max(min(3.0 * marginal, half), 1.5 * marginal, 2.0 * self.resolution)
        run, back = 0, None
        each = float(np.median(np.diff(at))) if len(at) > 1 else 1.0
        wanted = max(2, min(20, round(1.0 / each))) if each > 0 else 2
        for place, one in enumerate(near):
            run = run + 1 if one else 0
            if run >= wanted:
                back = place - wanted + 1
                break
        sigmas = abs(furthest - level) / marginal
        if back is not None:
            self._open, self._last = None, float(given[-1])
            self._keep(at[back:], given[back:])
            return [Happening("dip", began, float(at[back]), level, furthest, sigmas)]
        self._open = (began, level, furthest, began)
        if float(at[-1]) - began < STAYS_S:
            return []
        lies = float(np.median(given))
        self._open, self._last = None, math.nan
        gone = abs(lies) < NEAR_ZERO * abs(level) and abs(level) > 10.0 * marginal
        self._times, self._values = np.zeros(0), np.zeros(0)
        self._scale, self._fitted = 0.0, -math.inf
        self._hour, self._hour_at, self._reference = [], -math.inf, lies
        self._keep(at, given)
        return [Happening("trip" if gone else "step", began, float(at[-1]), level, lies, abs(lies - level) / marginal)]

    def _drift(self, at: Floats, given: Floats) -> list[Happening]:
        if self._open is not None:
            return []
        if self._hour_at == -math.inf:
            self._hour_at = float(at[0])
        self._hour.append(float(np.median(given)))
        if float(at[-1]) - self._hour_at < HOUR_S:
            return []
        middle, began = float(np.median(self._hour)), self._hour_at
        self._hour, self._hour_at = [], float(at[-1])
        if self._reference is None:
            self._reference = middle
            return []
        marginal = self._scale / math.sqrt(max(1e-6, 1.0 - self._phi**2))
        moved = abs(middle - self._reference)
        if moved <= DRIFTED[0] * marginal or moved <= DRIFTED[1] * abs(self._reference):
            return []
        level, self._reference = self._reference, middle
        return [Happening("drift", began, float(at[-1]), level, middle, moved / marginal)]


def _fence(white: Floats) -> tuple[float, float]:
    """Where readings are clipped before their standard deviation is taken: heavy tails count, dips do not."""
    wide = 4.0 * MAD * float(np.median(np.abs(white)))
    return (-wide, wide) if wide > 0 else (-math.inf, math.inf)


def _step(values: Floats) -> float:
    """The smallest difference between neighbouring figures: one step of the last digit, or less."""
    steps = np.diff(np.unique(values))
    return float(steps.min()) if len(steps) else 0.0
