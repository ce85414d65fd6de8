"""Tags: resistors that say which conductor they sit on, chosen so that no two can be confused.

A tag of R ohms and tolerance t, read through a loop of l0 to l1 ohms by a meter that may be wrong
by the fraction g of the reading plus o ohms, shows something in

    [(R (1 - t) + l0) (1 - g) - o,  (R (1 + t) + l1) (1 + g) + o]

Tags can be told apart when their intervals do not touch. The largest set of such tags is found by
taking, again and again, the one whose interval ends first and begins after the last one taken
(interval scheduling; the greedy choice by right end is the largest possible).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from math import floor, inf, log10

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError

E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
"""The 24 values of a decade, times 10. Source: IEC 60063, as quoted in public tables."""
E96 = tuple(round(100 * 10 ** (k / 96)) for k in range(96))
"""The 96 values of a decade, times 100. Source: IEC 60063; round(100 * 10^(i/96))."""

_ROUNDING = 1e-12


def series_values(series: str, low: float = 100.0, high: float = 1e6) -> tuple[float, ...]:
    """All values of a series, in ohms.

    Args:
        series: ``E24`` or ``E96``.
        low: the lowest, included.
        high: the highest, included.

    Raises:
        DiagnoseError: it is another series, or the range is empty.
    """
    decade = {"E24": (E24, 10), "E96": (E96, 100)}.get(series)
    if decade is None:
        raise DiagnoseError(f"series {series!r}; expected E24 or E96")
    if not 0 < low <= high < inf:
        raise DiagnoseError(f"values from {low} to {high} ohm; expected 0 < low <= high")
    digits, unit = decade
    found = []
    for exponent in range(floor(log10(low)) - 1, floor(log10(high)) + 2):
        for digit in digits:
            value = digit * 10.0**exponent / unit if exponent < 0 else digit * 10**exponent / unit
            if low * (1 - 1e-12) <= value <= high * (1 + 1e-12):
                found.append(value)
    return tuple(found)


class Tag(msgspec.Struct, frozen=True, order=True):
    """A resistor: its value in ohms and its tolerance as a fraction (0.01 for 1 %).

    A tag that was measured before use has the measured value and the fraction by which that
    measurement may be wrong. `drawer` says where it is kept.
    """

    ohms: float
    tolerance: float
    drawer: str = ""

    def __post_init__(self) -> None:
        if not 0 < self.ohms < inf or not 0 <= self.tolerance < 1:
            raise DiagnoseError(
                f"tag of {self.ohms} ohm, tolerance {self.tolerance}; expected ohms above 0 and a "
                "tolerance from 0 to below 1"
            )

    def within(self) -> tuple[float, float]:
        """The least and the largest resistance that it may have, in ohms."""
        return self.ohms * (1 - self.tolerance), self.ohms * (1 + self.tolerance)


def drawer(series: str, tolerance: float, low: float = 100.0, high: float = 1e6, name: str = "") -> tuple[Tag, ...]:
    """One tag of every value of a series.

    Args:
        series: ``E24`` or ``E96``.
        tolerance: of each, as a fraction.
        low: ohms of the lowest.
        high: ohms of the highest.
        name: what the drawer is called; the series and its tolerance if not given.

    Raises:
        DiagnoseError: it is another series, the range is empty, or the tolerance is of no use.
    """
    label = name or f"{series} {tolerance * 100:g} %"
    return tuple(Tag(value, tolerance, label) for value in series_values(series, low, high))


class Meter(msgspec.Struct, frozen=True):
    """How far a reading may be wrong: a fraction of the reading (``gain``) plus some ohms (``offset``)."""

    gain: float = 0.01
    offset: float = 1.0

    def __post_init__(self) -> None:
        if not 0 <= self.gain < 1 or not 0 <= self.offset < inf:
            raise DiagnoseError(
                f"meter of gain {self.gain}, offset {self.offset} ohm; expected a gain from 0 to "
                "below 1 and an offset from 0"
            )

    def true_range(self, reading: float) -> tuple[float, float]:
        """Between which resistances the true one lies, for a reading, in ohms."""
        return (
            max(0.0, (reading - self.offset) / (1 + self.gain)),
            (reading + self.offset) / (1 - self.gain),
        )


class Loop(msgspec.Struct, frozen=True):
    """Between which resistances, in ohms, the conductors and leads of one reading lie."""

    low: float = 0.0
    high: float = 5.0

    def __post_init__(self) -> None:
        if not 0 <= self.low <= self.high < inf:
            raise DiagnoseError(f"loop of {self.low} to {self.high} ohm; expected 0 <= low <= high")

    def doubled(self) -> Loop:
        """The loop through two conductors."""
        return Loop(2 * self.low, 2 * self.high)


def shows(low: float, high: float, loop: Loop, meter: Meter) -> tuple[float, float]:
    """What may be read from a resistance between low and high through the loop, in ohms."""
    return (
        (low + loop.low) * (1 - meter.gain) - meter.offset,
        (high + loop.high) * (1 + meter.gain) + meter.offset,
    )


def short_limit(loop: Loop, meter: Meter) -> float:
    """The most that two joined conductors may read through the loop, in ohms."""
    return shows(0.0, 0.0, loop, meter)[1]


def apart(
    tags: Iterable[Tag], loop: Loop, meter: Meter, gap: float = 1.0, above: float | None = None
) -> tuple[Tag, ...]:
    """The largest set of tags that can be told apart, lowest first.

    Args:
        tags: to choose from.
        loop: between which ohms one conductor with its return lies.
        meter: how far it may be off.
        gap: a reading interval must begin at least this many times higher than the one before it ends.
        above: ohms above which readings must begin; by default above what joined conductors read, so that a short to
            the common is never taken for a tag.
    """
    floor = short_limit(loop, meter) if above is None else above
    return _greedy(_by_right_end(tags, loop, meter), floor, gap)


def _by_right_end(tags: Iterable[Tag], loop: Loop, meter: Meter) -> list[tuple[float, float, Tag]]:
    """Tags with the ends of their reading intervals, the one that ends first in front."""
    return sorted((high, low, tag) for tag in tags for low, high in (shows(*tag.within(), loop, meter),))


def _greedy(intervals: Iterable[tuple[float, float, Tag]], floor: float, gap: float) -> tuple[Tag, ...]:
    chosen = []
    last = floor
    for high, low, tag in intervals:
        if low > last * gap:
            chosen.append(tag)
            last = high
    return tuple(chosen)


def choose(tags: Iterable[Tag], loop: Loop, meter: Meter, count: int | None = None) -> tuple[Tag, ...]:
    """The tags to use: the largest set that stays apart, or `count` that stay furthest apart.

    With a count, the reading intervals are spread so that the least ratio between neighbours is as
    large as it can be; if there are fewer tags than asked for, all that stay apart are returned.
    """
    intervals = _by_right_end(tags, loop, meter)
    floor = short_limit(loop, meter)
    largest = _greedy(intervals, floor, 1.0)
    if count is None or count >= len(largest):
        return largest
    low, high = 1.0, 1e6
    for _ in range(40):
        middle = (low * high) ** 0.5
        if len(_greedy(intervals, floor, middle)) >= count:
            low = middle
        else:
            high = middle
    return _greedy(intervals, floor, low)[:count]


class Scale:
    """Tags on the meter's scale: which tag a reading belongs to.

    Args:
        tags: that are fitted.
        loop: between which ohms one conductor with its return lies.
        meter: how far it may be off.

    Raises:
        DiagnoseError: two tags cannot be told apart.
    """

    def __init__(self, tags: Sequence[Tag], loop: Loop, meter: Meter) -> None:
        self.loop, self.meter = loop, meter
        self.tags = tuple(sorted(tags))
        self._intervals = [shows(*tag.within(), loop, meter) for tag in self.tags]
        self.short = short_limit(loop, meter)
        for k, (low, _) in enumerate(self._intervals):
            before = self._intervals[k - 1][1] if k else self.short
            if low <= before:
                other = f"a tag of {self.tags[k - 1].ohms:g} ohm" if k else "a joined conductor"
                raise DiagnoseError(
                    f"a tag of {self.tags[k].ohms:g} ohm cannot be told from {other} with this "
                    "loop and meter; expected reading intervals that do not touch"
                )
        # A reading right on the edge must not fall out by a rounding.
        self._intervals = [(low * (1 - _ROUNDING), high * (1 + _ROUNDING)) for low, high in self._intervals]
        self._lows = [low for low, _ in self._intervals]

    def tag(self, reading: float) -> Tag | None:
        """The tag that a reading belongs to, None when it is between tags or beyond them."""
        k = bisect_right(self._lows, reading) - 1
        return self.tags[k] if k >= 0 and reading <= self._intervals[k][1] else None

    def beyond(self, reading: float) -> bool:
        """Whether a reading is above what the largest tag may show: open, or nearly so."""
        return not self._intervals or reading > self._intervals[-1][1]

    def alike(self, a: float, b: float) -> bool:
        """Whether two readings may be of one resistance through different conductors."""
        low, high = self.meter.true_range(a)
        other = self.meter.true_range(b)
        spread = self.loop.high - self.loop.low
        return low - spread <= other[1] and other[0] - spread <= high


def parallel_shows(tags: Sequence[Tag], loop: Loop, meter: Meter) -> tuple[float, float]:
    """What may be read where the conductors of these tags are joined with one another, in ohms."""
    low = 1 / sum(1 / tag.within()[0] for tag in tags)
    high = 1 / sum(1 / tag.within()[1] for tag in tags)
    return shows(low, high, loop, meter)
