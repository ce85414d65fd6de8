"""How the errors of a budget are really spread: its components' own shapes, convolved (JCGM 101, additive model).

The normal distribution is a poor stand-in in two places. Where one rectangular component rules, a statement at less
than 93 % is wrong more often than it says. Where two or three readings rule beside something that is known well, the
degrees of freedom of Welch and Satterthwaite come out too high. Here the largest rectangular part is convolved exactly
with the bell (normal, or the scaled t of the few readings); what is left is taken by quadrature.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import msgspec

from bench.judge.student import density, known_tail

Part = tuple[str, float, float]
"""Shape, standard uncertainty in the result, degrees of freedom."""

# Gauss-Legendre on -1..1 with six and four nodes, Gauss-Hermite for a standard normal with seven
_SIX: Final = (
    (0.2386191860831969, 0.4679139345726910),
    (0.6612093864662645, 0.3607615730481386),
    (0.9324695142031521, 0.1713244923791704),
)
_FOUR: Final = ((0.3399810435848563, 0.6521451548625461), (0.8611363115940526, 0.3478548451374538))
_SEVEN: Final = (
    (0.0, 0.4571428571428571),
    (1.1544053947399682, 0.2401231786050127),
    (2.3667594107345415, 0.0307571239675865),
    (3.7504397177257425, 0.0005482688559722),
)
_COS_NODES: Final = 24
_COS_NODES_ALONE: Final = 400

SAFE_FROM: Final = 0.95


class Spread(msgspec.Struct, frozen=True):
    """The convolved distribution of a budget's error, symmetric about zero.

    Attributes:
        bell: standard uncertainty of the part that is normal or t.
        dof: degrees of freedom of the bell.
        width: half-width of the largest rectangular part; 0 where there is none.
        shifts: what is left, as values with their weights.
    """

    bell: float
    dof: float
    width: float
    shifts: tuple[tuple[float, float], ...]

    def beyond(self, distance: float) -> float:
        """Probability that the error exceeds a distance to one side."""
        return min(1.0, max(0.0, math.fsum(weight * self._tail(distance - by) for by, weight in self.shifts)))

    def quantile(self, chance: float) -> float:
        """Distance that the error exceeds to one side with the chance ``1 - chance``; 0 at one half.

        By false position, the end that stays put counted half (the Illinois rule); never less than the true distance,
        and by a millionth of it more at most.
        """
        if chance <= 0.5:
            return 0.0
        wanted = 1.0 - chance
        low, too_much = 0.0, 0.5 - wanted
        high = self.width + max((by for by, _ in self.shifts), default=0.0) + self.bell
        while (too_little := self.beyond(high) - wanted) > 0.0:
            low, too_much, high = high, too_little, 2.0 * high
        moved = 0
        for turn in range(200):
            near = 1e-6 * high
            if high - low <= near:
                break
            at = (low * too_little - high * too_much) / (too_little - too_much)
            # a little towards the end that is farther off: so the two ends meet; and halved now and then, to be sure
            at += 0.3 * near if high - at > at - low else -0.3 * near
            if turn % 8 == 7 or not low < at < high:
                at = 0.5 * (low + high)
            off = self.beyond(at) - wanted
            if off > 0.0:
                low, too_much = at, off
                too_little *= 0.5 if moved > 0 else 1.0
                moved = 1
            else:
                high, too_little = at, off
                too_much *= 0.5 if moved < 0 else 1.0
                moved = -1
        return high

    def _tail(self, x: float) -> float:
        if not self.width:
            if not self.bell:
                return 0.0 if x > 0 else 1.0 if x < 0 else 0.5
            return known_tail(_clip(x / self.bell), self.dof)
        return 1.0 - (self._area(x + self.width) - self._area(x - self.width)) / (2.0 * self.width)

    def _area(self, x: float) -> float:
        """Integral of the bell's distribution function from 0 to x."""
        if not self.bell:
            return max(x, 0.0)
        z = _clip(x / self.bell)
        if self.dof == 1.0:
            moment = 0.5 * math.log1p(z * z) / math.pi
        elif self.dof == math.inf:
            moment = (1.0 - math.exp(-0.5 * z * z)) / math.sqrt(2.0 * math.pi)
        else:
            at_zero = self.dof * density(0.0, self.dof)
            moment = (at_zero - (self.dof + z * z) * density(z, self.dof)) / (self.dof - 1.0)
        return self.bell * (z * known_tail(-z, self.dof) - moment)


@lru_cache(maxsize=512)
def spread_of(parts: tuple[Part, ...]) -> Spread:
    """The distribution of the sum of independent parts.

    Parts of few degrees of freedom are put together as one t (Welch and Satterthwaite among themselves); of the
    rectangular ones the three largest keep their shape, smaller ones join the normal part.
    """
    normal = 0.0
    few: list[tuple[float, float]] = []
    flat: list[float] = []
    waves: list[float] = []
    for shape, standard, dof in parts:
        if standard <= 0.0:
            continue
        if dof < math.inf:
            few.append((standard, dof))
        elif shape == "rectangular":
            flat.append(math.sqrt(3.0) * standard)
        elif shape == "triangular":
            # the sum of two equal rectangular ones
            flat += [math.sqrt(1.5) * standard] * 2
        elif shape == "u-shaped":
            waves.append(math.sqrt(2.0) * standard)
        else:
            normal += standard**2
    flat.sort(reverse=True)
    waves.sort(reverse=True)
    normal += math.fsum(width**2 / 3.0 for width in flat[3:]) + math.fsum(each**2 / 2.0 for each in waves[1:])
    shifts: list[tuple[float, float]] = [(0.0, 1.0)]
    for width, nodes in zip(flat[1:3], (_SIX, _FOUR), strict=False):
        shifts = _summed(shifts, [(side * at * width, 0.5 * w) for at, w in nodes for side in (1.0, -1.0)])
    if waves:
        count = _COS_NODES if flat else _COS_NODES_ALONE
        turns = [math.pi * (k + 0.5) / count for k in range(count)]
        shifts = _summed(shifts, [(waves[0] * math.cos(turn), 1.0 / count) for turn in turns])
    width = flat[0] if flat else 0.0
    if not few:
        return Spread(math.sqrt(normal), math.inf, width, tuple(shifts))
    variance = math.fsum(standard**2 for standard, _ in few)
    dof = variance**2 / math.fsum(standard**4 / each for standard, each in few)
    # a little over an integer is the integer
    dof = max(1.0, math.floor(dof + 1e-7))
    if normal:
        deviation = math.sqrt(normal)
        bell = [(side * at * deviation, w) for at, w in _SEVEN for side in _sides(at)]
        shifts = _summed(shifts, bell)
    return Spread(math.sqrt(variance), dof, width, tuple(shifts))


@lru_cache(maxsize=512)
def distance_of(parts: tuple[Part, ...], chance: float) -> float:
    """The quantile of their sum at a chance; see :meth:`Spread.quantile`.

    Args:
        parts: of the sum.
        chance: that the error stays within the distance, to one side.
    """
    return spread_of(parts).quantile(chance)


def shapes_matter(parts: Sequence[Part], chance: float) -> bool:
    """Whether the normal (or t) distribution with the combined uncertainty might promise too much at a chance.

    Sums of bounded shapes have shorter tails than the normal one from 93 % on, so that it promises less than it keeps.
    """
    kept = [part for part in parts if part[1] > 0.0]
    few = any(dof < math.inf for _, _, dof in kept)
    if not few and chance >= SAFE_FROM:
        return False
    if len(kept) < 2 and all(shape == "normal" or dof < math.inf for shape, _, dof in kept):
        return False
    return few or any(shape != "normal" for shape, _, _ in kept)


def few_readings(parts: Sequence[Part]) -> bool:
    """Whether two or three readings bring so much that an interval by Welch and Satterthwaite falls short."""
    total = math.fsum(standard**2 for _, standard, _ in parts)
    few = math.fsum(standard**2 for _, standard, dof in parts if dof <= 2.0)
    return 0.1 * total < few < 0.999 * total


def _sides(at: float) -> tuple[float, ...]:
    return (1.0,) if at == 0.0 else (1.0, -1.0)


def _summed(first: Sequence[tuple[float, float]], second: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    return [(x + y, p * q) for x, p in first for y, q in second]


def _clip(t: float) -> float:
    return max(-1e150, min(1e150, t))
