"""Watching a load come up: when to go on, when it has settled, and when to switch off at once.

Everything here is sans-IO: samples go in with their times, and out comes what to set the supply to, or that its output
goes off. So whoever talks to the supply, a test with a paper trace and a record that is read again all see the same
decisions.

A meter may be asked more often than it has a new value. What it says in between is the same reading once more: it is
no second reading for "settled", for a leakage that has gone or for a soak, and the inrush may show for as long after it
is over. So all of these wait for new values, and a current beyond the window is seen later by as long: until then the
supply's limit alone stands.

A trip is decided by a single reading: the first one beyond the window switches off. Waiting for a second would be kind
to noise and unkind to a short. What is let through is the inrush, for a time that the level of the ramp names, since
an input capacitor may take whatever the supply's current limit allows.

Two close samples are a known trap for "settled": a slow exponential looks flat to them long before it is. Here it is an
equivalence test: the slope over a span, with its doubt, times that span must stay within a band, and must do so for a
second span, since a falling and a rising part can cancel for a moment. The span must be as long as the slowest time
constant that matters (own computation: a span of 10 s leaves 5 % of a 1 A tail of 30 s).
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from itertools import pairwise
from typing import Final, Literal

import msgspec

LIMITING: Final = 0.98
"""A reading above this part of the supply's current limit means that the supply limits."""
VOLTS_WITHIN: Final = (0.02, 0.3)
"""How far the terminals may be from what was set: a part of it, and volts (common practice, no source)."""
QUIET_READINGS: Final = 3
"""This number of readings in a row below the leakage limit end a wait for it."""
LEAST_READINGS: Final = 8
"""Fewer readings in a span say nothing about its slope."""
SOAK_READINGS: Final = 20
"""A soak goes on until it has this many: fewer cannot be cut into blocks."""
CONFIDENT: Final = 1.96
"""Standard errors on each side of 95 %."""
LONGER: Final = (1, 2, 4, 8)
"""Where the readings of one span scatter too much to say, or are too few, this number of spans is taken together."""

Why = Literal["done", "over", "limit", "volts", "leaks", "restless", "no-number"]
"""Why it ended."""


class Level(msgspec.Struct, frozen=True):
    """One step of a ramp.

    Attributes:
        volts: what the supply's terminals are set to.
        limit_a: the supply's current limit meanwhile.
        inrush_s: how long after setting the current may reach the limit.
        most_a: the first reading above this, after the inrush, switches off.
        leakage_a: the current must have fallen below this before the next level; None: it need not.
        hold_s: the least time on this level.
        within_s: the most time until the leakage has fallen or, on the last level, the current has settled.
    """

    volts: float
    limit_a: float
    inrush_s: float
    most_a: float
    leakage_a: float | None
    hold_s: float
    within_s: float


class RampUp(msgspec.Struct, frozen=True):
    """A whole ramp with what follows it.

    Attributes:
        levels: from the lowest up, one at least.
        span_s: for the settled test; as long as the slowest time constant.
        band_a: what may change over the span.
        soak_s: how long the last level is watched after it has settled.
        renews_s: from one new value of the meter to the next; 0: each reading is new.
    """

    levels: tuple[Level, ...]
    span_s: float
    band_a: float
    soak_s: float
    renews_s: float = 0.0

    def inrush_ends(self, level: Level) -> float:
        """Seconds after a setting from which on no reading can be one of the inrush."""
        return level.inrush_s + self.renews_s


class Setting(msgspec.Struct, frozen=True):
    """Set the supply's voltage and current limit, output on."""

    volts: float
    limit_a: float


class Off(msgspec.Struct, frozen=True):
    """Switch the output off now."""

    why: Why


class Finished(msgspec.Struct, frozen=True):
    """All is done; the output stays on."""


Order = Setting | Off | Finished


class Settling:
    """The equivalence test for a settled reading.

    Args:
        span_s: seconds that the slope is taken over.
        band: what may change over the span, in the unit of the readings.
    """

    def __init__(self, span_s: float, band: float) -> None:
        self._span = span_s
        self._band = band
        self._points: deque[tuple[float, float]] = deque()
        self._looked = -math.inf
        self._quiet_since: float | None = None
        self.at: float | None = None
        """When it was settled for the first time; None: not yet."""

    def add(self, at: float, value: float) -> bool:
        """Take a reading; times rise. Returns whether it has settled.

        Args:
            at: its time in seconds, later than that of the reading before.
            value: the reading.
        """
        points = self._points
        points.append((at, value))
        while len(points) > LEAST_READINGS and points[1][0] <= at - LONGER[-1] * self._span:
            points.popleft()
        if self.at is not None:
            return True
        # one look for each twentieth of a span is as good as one for each reading, and cheaper
        if at - self._looked < self._span / 20:
            return False
        self._looked = at
        rests = self._rests(at)
        if rests is None:
            return False
        if not rests:
            self._quiet_since = None
        elif self._quiet_since is None:
            self._quiet_since = at
        elif at - self._quiet_since >= self._span:
            self.at = at
        return self.at is not None

    def _rests(self, at: float) -> bool | None:
        """Whether nothing that matters moves over the shortest time that can tell; None while none can."""
        for longer in LONGER:
            begin = at - longer * self._span
            inside = [point for point in self._points if point[0] >= begin - 1e-9]
            if longer == LONGER[-1] and len(inside) < LEAST_READINGS:
                inside = list(self._points)[-LEAST_READINGS:]
            if at - self._points[0][0] < 0.98 * longer * self._span:
                return None
            if len(inside) < LEAST_READINGS:
                continue
            rise, doubt = slope(inside)
            if CONFIDENT * doubt * self._span <= 0.5 * self._band or longer == LONGER[-1]:
                return (abs(rise) + CONFIDENT * doubt) * self._span <= self._band
        return None


def slope(points: Sequence[tuple[float, float]] | deque[tuple[float, float]]) -> tuple[float, float]:
    """The slope of readings over time by least squares, and its standard error.

    Raises:
        ValueError: fewer than three readings, or all at one time.
    """
    count = len(points)
    if count < 3:
        raise ValueError(f"found {count} readings, expected three at least")
    mid_t = sum(t for t, _ in points) / count
    mid_x = sum(x for _, x in points) / count
    sxx = sum((t - mid_t) ** 2 for t, _ in points)
    if sxx <= 0:
        raise ValueError("all readings are of one time")
    rise = sum((t - mid_t) * (x - mid_x) for t, x in points) / sxx
    rest = sum((x - mid_x - rise * (t - mid_t)) ** 2 for t, x in points)
    return rise, math.sqrt(rest / (count - 2) / sxx)


class RampJudge:
    """Judges each reading of one load on its way up its ramp; see the module's text.

    Attributes:
        ramp: what is to be done.
        level: index of the level that is under way.
        tripped: index of the sample that ended it; None: none did.
        settled_at: when the last level had settled; None: not yet.
        why: how it ended; empty while it goes on.
        samples: how many were taken.
    """

    def __init__(self, ramp: RampUp) -> None:
        self.ramp = ramp
        self.level = 0
        self.tripped: int | None = None
        self.settled_at: float | None = None
        self.why: Why | Literal[""] = ""
        self.samples = 0
        self._set_at = 0.0
        self._quiet = 0
        self._last = 0.0
        self._seen = 0.0
        self._soaked = 0
        self._new_at = -math.inf
        self._settling = Settling(self.ramp.span_s, self.ramp.band_a)

    def begin(self) -> Setting:
        """What the supply is set to first."""
        first = self.ramp.levels[0]
        return Setting(first.volts, first.limit_a)

    def was_set(self, at: float) -> None:
        """The supply has taken the setting; the inrush is let through from here."""
        self._set_at = self._last = at
        self._quiet = 0
        self._seen = 0.0
        self._new_at = -math.inf

    def sample(self, at: float, amps: float | None, volts: float | None = None) -> Order | None:
        """Take a reading. Returns an order to the supply, or None: go on reading.

        Args:
            at: its time, rising, in seconds.
            amps: the current; None where the meter showed over range or no number.
            volts: at the supply's terminals, where they were read.
        """
        level, index = self.ramp.levels[self.level], self.samples
        self.samples += 1
        since = at - self._set_at
        self._seen += min(at - self._last, self.ramp.span_s / LEAST_READINGS)
        self._last = at
        if amps is None:
            return self._off("no-number", index)
        amps = abs(amps)  # a meter in the return lead counts the other way
        if since > self.ramp.inrush_ends(level):
            if amps >= LIMITING * level.limit_a:
                return self._off("limit", index)
            if amps > level.most_a:
                return self._off("over", index)
            if volts is not None and abs(volts - level.volts) > VOLTS_WITHIN[0] * level.volts + VOLTS_WITHIN[1]:
                return self._off("volts", index)
        new = at - self._new_at >= self.ramp.renews_s
        if new:
            self._new_at = at
        low = level.leakage_a is None or amps <= level.leakage_a
        self._quiet = self._quiet + new if low else 0
        if self.level + 1 < len(self.ramp.levels):
            return self._climb(level, since, index)
        return self._rest(level, at, since, amps, index) if new else None

    def _climb(self, level: Level, since: float, index: int) -> Order | None:
        if since >= max(level.hold_s, self.ramp.inrush_ends(level)) and self._quiet >= QUIET_READINGS:
            self.level += 1
            following = self.ramp.levels[self.level]
            return Setting(following.volts, following.limit_a)
        return self._off("leaks", index) if self._late(level) else None

    def _late(self, level: Level) -> bool:
        """Whether the level has lasted for longer than it may. Time that nobody read in says nothing of the load, so a
        slow meter, or a machine that was busy, has as many readings as another before anybody is told so."""
        return self._seen > max(level.within_s, level.hold_s) + LONGER[-1] * LEAST_READINGS * self.ramp.renews_s

    def _rest(self, level: Level, at: float, since: float, amps: float, index: int) -> Order | None:
        if since <= self.ramp.inrush_ends(level):
            return None
        if self.settled_at is None:
            if self._settling.add(at, amps) and since >= level.hold_s:
                self.settled_at = at
            elif self._late(level):
                return self._off("restless", index)
        if self.settled_at is None:
            return None
        self._soaked += 1
        enough = self._soaked > SOAK_READINGS or self.ramp.soak_s <= 0
        if at - self.settled_at >= self.ramp.soak_s and enough:
            self.why = "done"
            return Finished()
        return None

    def _off(self, why: Why, index: int) -> Off:
        self.why, self.tripped = why, index
        return Off(why)


class Inrush(msgspec.Struct, frozen=True):
    """What went in after a setting.

    Attributes:
        peak_a: the highest reading; the true peak may be higher and shorter than a meter sees.
        at_s: when, after the setting.
        charge_c: ampere-seconds above the last reading, by the trapezoid rule.
        lasted_s: how long readings stayed above twice the last one.
    """

    peak_a: float
    at_s: float
    charge_c: float
    lasted_s: float


def inrush(times: Sequence[float], amps: Sequence[float], set_at: float, window_s: float) -> Inrush | None:
    """The inrush after one setting; None where no reading fell into the window.

    Args:
        times: of the readings, rising.
        amps: the readings.
        set_at: when the supply was set.
        window_s: how long after that counts.
    """
    inside = [(t - set_at, a) for t, a in zip(times, amps, strict=True) if 0 <= t - set_at <= window_s]
    if not inside:
        return None
    at, peak = max(inside, key=lambda point: point[1])
    base = inside[-1][1]
    charge = sum(
        0.5 * (max(0.0, a0 - base) + max(0.0, a1 - base)) * (t1 - t0) for (t0, a0), (t1, a1) in pairwise(inside)
    )
    above = [t for t, a in inside if a > 2 * max(base, 1e-12)]
    return Inrush(peak, at, charge, above[-1] if above else 0.0)
