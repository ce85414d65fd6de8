"""What happened in a log that runs for weeks: dips, steps, trips and drift, with a false-alarm rate that is kept.

Readings of a plant in service are noisy and hang together, so charts on the raw figures cry wolf thousands of times a
week. Here readings are taken for a first-order wave that wanders about a level, seen through a meter that adds noise
and a last digit of its own (:class:`Noise`). What each owes to those before it is taken off by that; what a change of
level that began so many readings ago would have left is then looked for at several lengths, up to half a minute (a
matched filter at each, the scan of a generalised likelihood ratio over a window). The level is the median of a minute
that ends where the longest of them begins, so that no dip pulls its own level along.

False alarms are shared out between the lengths: one threshold for all that count several readings, high enough that
all of them together bring less than one a day at ten readings a second of white noise that is known. Noise is not
known but estimated, and has tails: so a single reading must lie beyond what a Student distribution with tails like
those seen brings in days, and each length is held against the furthest that itself went in the last day without any
event as well. What that comes to, and what the best detector there can be would find, is measured in
tests/benchmarks.

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

from bench.diagnose.hunt.wander import Learning, Wander, estimate, floored

Floats = NDArray[np.float64]
Kind = Literal["dip", "step", "trip", "drift"]
BASE_S: Final = 60.0
"""Seconds whose median is the level."""
WINDOW_S: Final = 30.0
"""The longest change that is looked for, in seconds."""
LEARN_S: Final = 300.0
"""Seconds of readings that scatter and correlation are estimated from."""
AGAIN_S: Final = 30.0
"""Seconds between two estimates of them."""
LENGTHS: Final = (1, 3, 5, 8, 13, 21, 34, 55, 89, 144, 233, 300, 600, 1200, 2400)
"""Readings since a change began that are looked at, as far as the window holds so many."""
COARSE: Final = 5.0
"""Where all scatter lies below half a digit: a single reading this far off, in half digits, is no noise."""
LONE: Final = 5.5
"""What a single reading must come to at least, in standard deviations of normal noise."""
ENOUGH: Final = 6.0
"""And a change of several readings, of whatever length."""
FURTHER: Final = 1.2
"""How far beyond what the last day's quarters of an hour brought at most it must lie, where noise is no such wave."""
MOST_QUARTERS: Final = 0.9
"""Part of those quarters that is gone by: what was in the few others may have been dips that were too shallow."""
ENDED: Final = 55
"""The most readings of a change that is looked for whole, its end included: of a longer one the end tells little."""
AFTER: Final = 4
"""Readings after its end that still tell of it, where the meter has noise of its own."""
TELLS: Final = 0.2
"""Where readings hang together by less, the end of a change tells nothing more."""
STAYS_S: Final = 60.0
"""Seconds away after which readings have stepped and not dipped."""
MEDIAN: Final = math.pi / 2.0
"""Variance of a median over that of a mean, of many normal readings."""
NEAR_ZERO: Final = 0.1
"""Part of the level below which readings are gone: the breaker has tripped, the fuse has blown (our own figure)."""
DRIFTED: Final = (6.0, 0.01)
"""Standard deviations, and part of the level, that an hour's median must both have moved by (our own figures)."""
HOUR_S: Final = 3600.0
DAY_S: Final = 86_400.0
FEWEST: Final = 60
"""Readings from which on anything is known."""
LEARN: Final = 600
"""Readings that are learnt from at least, where a slow meter gives fewer in its time."""
BASE: Final = 30
"""And that the level is the median of."""
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
    _away_at: Floats = msgspec.field(default_factory=lambda: np.zeros(0))
    _away: Floats = msgspec.field(default_factory=lambda: np.zeros(0))
    _depth: float = 0.0
    _furthest: deque[tuple[float, Floats]] = msgspec.field(default_factory=deque)
    _waits: deque[tuple[float, Floats]] = msgspec.field(default_factory=deque)
    _limit: Floats = msgspec.field(default_factory=lambda: np.zeros(0))
    _limits_at: float = -math.inf
    _hour: list[float] = msgspec.field(default_factory=list)
    _hour_at: float = -math.inf
    _reference: float | None = None
    _wander: Wander = msgspec.field(default_factory=Wander)
    _learning: Learning = msgspec.field(default_factory=Learning)
    _coarse: bool = False
    _learnt: bool = False
    _level: float = math.nan
    _fitted: float = -math.inf
    _window: int = 0
    _shapes: list[Floats] = []
    _short: list[int] = []
    _bank: Floats = msgspec.field(default_factory=lambda: np.zeros((1, 1)))
    _spreads: list[float] = []

    @property
    def open(self) -> bool:
        """Whether something is happening now."""
        return bool(len(self._away))

    @property
    def began(self) -> float | None:
        """When what is happening now began, in seconds."""
        return float(self._away_at[0]) if self.open else None

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
        if self.open:
            told += self._go_on(at, given)
        elif not self._fit(float(at[0])):
            self._keep(at, given)
            return told
        else:
            pool_at, pool = np.concatenate((self._times, at)), np.concatenate((self._values, given))
            begun = self._look(pool_at, pool, len(self._times))
            if begun is None:
                self._keep(at, given)
            else:
                # what came before it is where readings lie; what comes after is not, until they are back
                self._times, self._values = pool_at[:begun], pool[:begun]
                told += self._go_on(pool_at[begun:], pool[begun:])
        told += self._drift(at, given)
        self.alarms += len(told)
        return told

    # where readings lie

    def _keep(self, at: Floats, given: Floats) -> None:
        if not len(at):
            return
        first = int(np.searchsorted(self._times, at[-1] - LEARN_S))
        first = max(0, min(first, len(self._times) - LEARN), len(self._times) - MOST)
        self._times = np.concatenate((self._times[first:], at))
        self._values = np.concatenate((self._values[first:], given))

    def _fit(self, now: float) -> bool:
        """Level, scatter and correlation from what is kept; whether there is enough of it."""
        times, recent = self._times, self._values
        if len(recent) < FEWEST or times[-1] - times[0] < 2.0 * BASE_S:
            return False
        until = int(np.searchsorted(times, times[-1] - WINDOW_S))
        self._window = min(LENGTHS[-1], len(times) - until)
        from_base = int(np.searchsorted(times, times[-1] - WINDOW_S - BASE_S))
        base = recent[max(0, min(from_base, until - BASE)) : until]
        self._level = float(np.median(base if len(base) else recent))
        if now - self._fitted < AGAIN_S and self._wander.scale > 0.0:
            return True
        self._fitted = now
        # against a running level, so that a slow drift within the window does not count as scatter
        each = (times[-1] - times[0]) / (len(times) - 1)
        place = ((times - times[0]) / max(BASE_S, BASE * each)).astype(int)
        kept, begins = np.unique(place, return_index=True)
        medians = np.array([np.median(part) for part in np.split(recent, begins[1:])])
        residual = recent - medians[np.searchsorted(kept, place)]
        digit = self.resolution or _step(recent)
        seen = estimate(residual, digit, len(recent) // len(kept), self._learning)
        floor = max(0.5 * digit, 1e-12)
        self._wander, self._coarse = floored(seen, floor), seen.scale < floor
        self._shapes = _shapes(self._wander, self._window)
        # the level is not known exactly either
        doubt = MEDIAN / max(1, len(base))
        self._spreads = [math.sqrt(float(one @ one) + doubt * float(one.sum()) ** 2) for one in self._shapes]
        self._short = [row for row, shape in enumerate(self._shapes) if len(shape) <= ENDED + AFTER]
        self._bank = np.zeros((max(len(self._shapes[row]) for row in self._short), len(self._short)))
        for column, row in enumerate(self._short):
            shape = self._shapes[row]
            self._bank[len(self._bank) - len(shape) :, column] = shape / self._spreads[row]
        if not self._learnt:
            # what was learnt from is the first that readings are held against
            self._learnt = True
            first = min(len(recent) - 1, self._wander.reach)
            self._note_furthest(now, np.max(np.abs(self._scanned(self._scores(residual), first)), axis=1))
        return True

    # events

    def _scanned(self, scores: Floats, first: int) -> Floats:
        """What a change of level would come to, in standard deviations.

        Args:
            scores: what is new in readings, as normal noise.
            first: from which reading on it is asked.

        Returns:
            One row for each shape, one column for each reading with which a change of that shape would end; 0 where
            there are too few before it.
        """
        rows = np.zeros((len(self._shapes), len(scores) - first))
        # the short ones all at once, the long ones one by one
        wide = len(self._bank)
        before = scores[max(0, first - wide + 1) :]
        padded = np.concatenate((np.zeros(max(0, wide - 1 - first)), before))
        windows = np.lib.stride_tricks.sliding_window_view(padded, wide)
        rows[self._short] = (windows @ self._bank).T
        for row, (shape, spread) in enumerate(zip(self._shapes, self._spreads, strict=True)):
            if wide < len(shape) <= len(scores):
                sums = np.correlate(scores[max(0, first - len(shape) + 1) :], shape, "valid")
                rows[row, rows.shape[1] - len(sums) :] = sums / spread
        return rows

    def _scores(self, off: Floats) -> Floats:
        return self._learning.normal(self._wander.news(off) / self._wander.scale)

    def _look(self, at: Floats, pool: Floats, new: int) -> int | None:
        """Where a change began that the charts alarm for, if they do.

        Args:
            at: seconds of the readings that are kept, and the new ones.
            pool: those.
            new: the first new one.
        """
        start = max(0, new - self._window - self._wander.reach)
        scores = self._scores(pool[start:] - self._level)
        scanned = self._scanned(scores, new - start)
        if self._limits_at != self._fitted:
            self._limits_at, self._limit = self._fitted, self._limits(float(at[new]))
        over = np.abs(scanned) > self._limit[:, np.newaxis]
        columns = np.nonzero(over.any(axis=0))[0]
        if not columns.size:
            self._note_furthest(float(at[-1]), np.max(np.abs(scanned), axis=1))
            return None
        self._waits.clear()
        column = int(columns[0])
        ends = new - start + column + 1
        row = int(np.argmax(np.abs(scanned[:, column])))
        shape, left = self._shapes[row], self._wander.left_by_a_step(self._window + AFTER)
        after = 0 if shape[-1] * shape[0] > 0 else _after(self._wander)
        # the beginning that explains most, for the end that was found
        lengths = range(1, min(self._window, ends - after) + 1)
        explained = []
        for length in lengths:
            one = _that_ended(left, length, after)
            explained.append(abs(float(scores[ends - len(one) : ends] @ one)) / math.sqrt(float(one @ one)))
        length = lengths[int(np.argmax(explained))]
        self._depth = abs(float(np.median(pool[start + ends - after - length : start + ends - after])) - self._level)
        return start + ends - after - length

    def _limits(self, now: float) -> Floats:
        """What each shape must exceed; less for one reading behind a coarse digit, where noise shows only as digits."""
        while self._furthest and self._furthest[0][0] < now - DAY_S:
            self._furthest.popleft()
        seen = np.quantile([row for _, row in self._furthest], MOST_QUARTERS, axis=0)
        least = np.array([COARSE if self._coarse else LONE, ENOUGH])
        alone, together = np.maximum(least, FURTHER * seen)
        limits = np.full(len(self._shapes), together)
        limits[0] = alone
        return limits

    def _note_furthest(self, at: float, sizes: Floats) -> None:
        """How far single readings, and several together, went: the largest of each quarter of an hour."""
        self._waits.append((at, np.array([sizes[0], np.max(sizes[1:], initial=0.0)])))
        # what a long shallow dip came to before it was found tells nothing of quiet noise
        while self._waits and (self._waits[0][0] <= at - WINDOW_S or not self._furthest):
            self._settle(*self._waits.popleft())

    def _settle(self, at: float, both: Floats) -> None:
        if self._furthest and at - self._furthest[-1][0] < HOUR_S / 4.0:
            begun, most = self._furthest[-1]
            self._furthest[-1] = (begun, np.maximum(most, both))
        else:
            self._furthest.append((at, both))

    def _go_on(self, at: Floats, given: Floats) -> list[Happening]:
        """Follow readings that are away, until they are back or have stayed."""
        self._away_at, self._away = np.concatenate((self._away_at, at)), np.concatenate((self._away, given))
        at, given, level = self._away_at, self._away, self._level
        marginal = self._wander.marginal
        off = np.abs(given - level)
        furthest = float(given[int(np.argmax(off))])
        # noise carries the furthest further than the dip is deep, and the first readings may lie deeper than the rest
        half = 0.5 * max(self._depth - marginal, abs(furthest - level) - 3.0 * marginal)
        # back is a stretch of a second nearer to where they lay than to where they went, and within the scatter there,
        # long enough that noise alone would not bring its mean there
        near = off <= max(min(3.0 * marginal, 0.5 * abs(furthest - level)), 1.5 * marginal, 2.0 * self.resolution)
        each = float(np.median(np.diff(at))) if len(at) > 1 else 1.0
        wanted = max(2, min(20, round(1.0 / each))) if each > 0 else 2
        sure = (3.0 * self._wander.long_run / half) ** 2 if half > 0 else math.inf
        stretch = int(min(max(wanted, sure), max(wanted, 0.5 * STAYS_S / each if each > 0 else wanted)))
        back = self._back(given - level, near, wanted, stretch, max(half, 2.0 * self.resolution))
        sigmas = abs(furthest - level) / marginal
        if back is not None:
            self._away_at, self._away = np.zeros(0), np.zeros(0)
            self._keep(at[back:], given[back:])
            return [Happening("dip", float(at[0]), float(at[back]), level, furthest, sigmas)]
        if float(at[-1] - at[0]) < STAYS_S:
            return []
        lies = float(np.median(given[np.searchsorted(at, at[-1] - 0.5 * STAYS_S) :]))
        self._away_at, self._away = np.zeros(0), np.zeros(0)
        gone = abs(lies) < NEAR_ZERO * abs(level) and abs(level) > 10.0 * marginal
        self._times, self._values = np.zeros(0), np.zeros(0)
        self._wander, self._fitted = Wander(), -math.inf
        self._hour, self._hour_at, self._reference = [], -math.inf, lies
        self._keep(at, given)
        sigmas = abs(lies - level) / marginal
        return [Happening("trip" if gone else "step", float(at[0]), float(at[-1]), level, lies, sigmas)]

    @staticmethod
    def _back(off: Floats, near: NDArray[np.bool_], wanted: int, stretch: int, half: float) -> int | None:
        """The first reading from which on readings are back: those wanted all near, and the mean of the stretch."""
        if len(off) < stretch:
            return None
        runs = np.convolve(near, np.ones(wanted, dtype=int), "valid")[: len(off) - stretch + 1]
        means = np.convolve(off, np.full(stretch, 1.0 / stretch), "valid")
        found = np.nonzero((runs == wanted) & (np.abs(means) <= half))[0]
        return int(found[0]) if found.size else None

    def _drift(self, at: Floats, given: Floats) -> list[Happening]:
        if self.open:
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
        marginal = self._wander.marginal
        moved = abs(middle - self._reference)
        if moved <= DRIFTED[0] * marginal or moved <= DRIFTED[1] * abs(self._reference):
            return []
        level, self._reference = self._reference, middle
        return [Happening("drift", began, float(at[-1]), level, middle, moved / marginal)]


def _after(wander: Wander) -> int:
    """Readings after the end of a change that still tell of it."""
    return 1 if wander.theta < TELLS else AFTER


def _shapes(wander: Wander, window: int) -> list[Floats]:
    """What changes leave in what is new: a single reading; those that last; those that have ended."""
    left = wander.left_by_a_step(max(1, window) + AFTER)
    lengths = [one for one in LENGTHS if one <= max(1, window)]
    shapes = [left[:length] for length in lengths]
    if wander.phi < TELLS:
        return shapes
    after = _after(wander)
    # every length: an end that is one reading off is none
    shapes += [_that_ended(left, length, after) for length in range(1, min(ENDED, window) + 1)]
    return shapes


def _that_ended(left: Floats, length: int, after: int) -> Floats:
    """What a change of so many readings leaves, with those after its end: a step that another one takes back."""
    one: Floats = left[: length + after].copy()
    one[length:] -= left[:after]
    return one


def _step(values: Floats) -> float:
    """The smallest difference between neighbouring figures: one step of the last digit, or less."""
    steps = np.diff(np.unique(values))
    return float(steps.min()) if len(steps) else 0.0
