"""Readings that hang together: a wave that wanders about a level, seen through a meter with noise of its own.

What wanders is of the first order, ``x[t] = phi x[t-1] + w[t]``. The meter adds to each reading what the next one knows
nothing of: its own noise, and what rounding to the last digit leaves, a variance of ``d**2 / 12`` (Sheppard's
correction; it holds where scatter spans half a digit or more). What comes out has one more term, ``y[t] - phi y[t-1] =
e[t] - theta e[t-1]``, and ``e`` is white. Taken for a plain first-order wave, such readings leave a residual that hangs
together.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final

import msgspec
import numpy as np
from numpy.typing import NDArray

from bench.judge.jumps import NORMAL_MAD
from bench.judge.student import quantile

Floats = NDArray[np.float64]
MOST_PHI: Final = 0.98
"""More cannot be told from a drift in so short a time."""
CLEAR: Final = 4.0
"""Standard errors that a correlation must be off zero before the meter's own noise is split off by it."""
FEW: Final = 50
"""Readings below which no correlation is estimated."""
POOLED: Final = 60
"""Looks at correlation that are pooled, where there were as many: so chance moves it little."""
POOLED_TAILS: Final = 600
"""And at tails, which few readings tell of."""
FURTHEST: Final = 0.01
"""Part of the readings whose size says how heavy tails are."""
HEAVIEST: Final = (3.0, 4.0, 5.0, 6.0, 8.0, 11.0, 16.0, 30.0, 1e6)
"""Degrees of freedom of the Student distributions that tails are held against."""
NEARLY_NORMAL: Final = 1000.0
"""Degrees of freedom from which on tails are taken for normal ones."""
GONE: Final = 1e-4
"""What is left of a term that is dropped."""


class Wander(msgspec.Struct, frozen=True):
    """How readings hang together.

    Attributes:
        phi: what the wave owes to where it was one reading before.
        theta: what the meter's own noise takes back.
        scale: standard deviation of what is new in each reading.
        marginal: and of a reading, about the level.
    """

    phi: float = 0.0
    theta: float = 0.0
    scale: float = 0.0
    marginal: float = 0.0

    @property
    def long_run(self) -> float:
        """Standard deviation that the mean of n readings has, times the root of n."""
        return self.scale * (1.0 - self.theta) / (1.0 - self.phi)

    @property
    def reach(self) -> int:
        """Readings after which what a reading leaves in those after it is forgotten."""
        return 1 if self.theta < GONE else min(400, math.ceil(math.log(GONE) / math.log(self.theta)))

    def news(self, off: Floats) -> Floats:
        """What is new in each reading.

        Args:
            off: readings less their level; the first ones, :attr:`reach` of them, serve to begin with.

        Returns:
            As many, white where readings are as this says; 0 for the first.
        """
        plain = np.concatenate(([0.0], off[1:] - self.phi * off[:-1]))
        if self.reach == 1:
            return plain
        kernel = np.power(self.theta, np.arange(min(self.reach, len(plain)), dtype=float))
        whole: Floats = np.convolve(plain, kernel)[: len(plain)]
        return whole

    def left_by_a_step(self, count: int) -> Floats:
        """What a level that is higher by one, from a reading on, adds to what is new in that and those after it."""
        rest = (1.0 - self.phi) / (1.0 - self.theta)
        powers: Floats = np.power(self.theta, np.arange(count, dtype=float))
        return rest + (1.0 - rest) * powers


class Learning(msgspec.Struct):
    """What was learnt of correlation and tails by all looks so far.

    Attributes:
        looks: how many, at most :data:`POOLED`.
        lags: correlation with the reading before, and the one before that.
        far: looks at tails, at most :data:`POOLED_TAILS`.
        excess: how far the furthest readings go beyond where they begin: the mean logarithm of the ratio.
        freedom: degrees of freedom of the Student distribution with such tails.
    """

    looks: int = 0
    lags: tuple[float, float] = (0.0, 0.0)
    far: int = 0
    excess: float = 0.0
    freedom: float = HEAVIEST[-1]

    def add(self, first: float, second: float) -> tuple[float, float]:
        """One look more; what they say together."""
        self.looks = min(POOLED, self.looks + 1)
        one, two = self.lags
        self.lags = (one + (first - one) / self.looks, two + (second - two) / self.looks)
        return self.lags

    def tails(self, news: Floats) -> None:
        """Look at the furthest of some white readings."""
        sizes = np.sort(np.abs(news))
        count = max(3, math.ceil(FURTHEST * len(sizes)))
        if count >= len(sizes) or sizes[-count - 1] <= 0:
            return
        self.far = min(POOLED_TAILS, self.far + 1)
        self.excess += (float(np.mean(np.log(sizes[-count:] / sizes[-count - 1]))) - self.excess) / self.far
        known = [(_excess(freedom), freedom) for freedom in HEAVIEST]
        # between two distributions by the inverse of their freedom, which is 0 for a normal one
        heights, inverse = zip(*((excess, 1.0 / freedom) for excess, freedom in reversed(known)), strict=True)
        self.freedom = 1.0 / max(1e-6, float(np.interp(self.excess, heights, inverse)))

    def normal(self, news: Floats) -> Floats:
        """White readings in standard deviations, as normal noise would have them that is as rare.

        D. L. Wallace's approximation (Annals of Mathematical Statistics 30, 1959, p. 1121; quoted from memory, checked
        against an independent library in the tests).
        """
        free = self.freedom
        if free > NEARLY_NORMAL:
            return news
        spread = free / max(free - 2.0, 0.5)
        sizes: Floats = np.sqrt(free * np.log1p(news**2 * spread / free)) * (8.0 * free + 1.0) / (8.0 * free + 3.0)
        return np.copysign(sizes, news)


@lru_cache(maxsize=64)
def _excess(freedom: float) -> float:
    """:attr:`Learning.excess` of a Student distribution."""
    parts = 50
    begins = quantile(1.0 - FURTHEST / 2.0, freedom)
    beyond = (quantile(1.0 - FURTHEST / 2.0 * (part + 0.5) / parts, freedom) for part in range(parts))
    return math.fsum(math.log(one / begins) for one in beyond) / parts


def estimate(residual: Floats, digit: float, apart: int, learning: Learning) -> Wander:
    """How readings hang together, from calm ones.

    Args:
        residual: readings less a running median.
        digit: step of the last digit; 0 where not known.
        apart: readings that each of those medians was taken over.
        learning: what was learnt before; this look is added.

    Returns:
        It; dips and wild readings that lie among them count little.
    """
    middle = NORMAL_MAD * float(np.median(np.abs(residual)))
    limit = 4.0 * middle if middle > 0 else math.inf
    calm = np.clip(residual, -limit, limit)
    count = len(calm)
    power = float(calm @ calm) / count
    phi = theta = 0.0
    if count > FEW and power > 0:
        seen = (float(calm[lag:] @ calm[:-lag]) / (count - lag) / power for lag in (1, 2))
        first, second = (one * power for one in learning.add(*seen))
        rounding = digit**2 / 12.0 if middle > 0.5 * digit else 0.0
        own = min(rounding, 0.9 * power)
        clear = CLEAR * power / math.sqrt(count)
        if second > clear and first > second:
            own = max(own, min(power - first**2 / second, 0.9 * power))
        phi = max(0.0, first) / (power - own)
        # a median of few readings takes some of the wander along: Marriott and Pope's bias (1954)
        phi = min(MOST_PHI, phi + (1.0 + 3.0 * phi) / max(apart, 8) if first > clear else phi)
        theta = _taken_back(phi, (1.0 - phi**2) * (power - own), own)
    wander = Wander(phi, theta)
    news = wander.news(residual)[wander.reach :] if len(residual) > 2 * wander.reach else wander.news(residual)
    wide = 4.0 * NORMAL_MAD * float(np.median(np.abs(news)))
    if count > FEW:
        learning.tails(news)
    fenced = np.clip(news, -wide, wide) if wide > 0 else news
    scale = max(wide / 4.0, float(np.std(fenced)))
    return Wander(phi, theta, scale, _marginal(phi, theta, scale))


def _marginal(phi: float, theta: float, scale: float) -> float:
    return scale * math.sqrt(1.0 + (phi - theta) ** 2 / max(1e-6, 1.0 - phi**2))


def _taken_back(phi: float, driven: float, own: float) -> float:
    """Theta of the sum of a first-order wave and white noise: the root within the unit circle.

    Args:
        phi: of the wave.
        driven: variance of what drives it.
        own: variance of the white noise.
    """
    if phi <= 0.0 or own <= 0.0:
        return 0.0
    both = (driven + own * (1.0 + phi**2)) / (phi * own)
    return 2.0 / (both + math.sqrt(both**2 - 4.0))


def floored(wander: Wander, floor: float) -> Wander:
    """The same, with no less news in a reading than so much."""
    scale = max(wander.scale, floor)
    return Wander(wander.phi, wander.theta, scale, _marginal(wander.phi, wander.theta, scale))
