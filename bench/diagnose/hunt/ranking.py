"""Which place is loose: the chance of each, from what was moved when and when readings jumped; and what to move next.

Whoever wiggles names each thing as it is moved, a little late. A place that is loose jumps with a certain rate while
it is moved itself, less while a neighbour is (the movement runs along), and anything may jump now and then by itself.
So for a place ``i`` the jumps are a Poisson process with the rate

    rate_1 * sum over movements m of K[i, m] w_m(t)  +  rate_0

where ``w_m(t)`` is the chance that movement ``m`` is under way at ``t``, given when it was named, and ``K`` falls by
``NEIGHBOUR`` with each place in between. Both rates are unknown and are averaged over. 'None of these' has ``rate_0``
alone, and is always possible. What to move next is what tells most, in bits a movement: whether a jump comes or none.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import Final

import msgspec
import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincc, logsumexp

NEIGHBOUR: Final = 0.3
"""What arrives at the next place of a movement (our own figure; 0.6 costs little, see the benchmark)."""
LATE_S: Final = 0.8
"""Seconds after its beginning at which a movement is named, on average (our own figure)."""
LATE_SPREAD_S: Final = 0.5
"""Standard deviation of that."""
DEAD_S: Final = 1.0
"""After a jump the next one counts only after this time: contacts bounce."""
MOVED: Final = (0.03, 0.08, 0.2, 0.5, 1.2)
"""Jumps a second that a loose place may make while it is moved."""
BY_ITSELF: Final = (1 / 3600, 1 / 900, 1 / 240, 1 / 60)
"""Jumps a second that may come by themselves."""
NONE: Final = 0.1
"""The chance beforehand that it is none of the places named (our own figure)."""
GROUP: Final = 4
"""Neighbours that one hand moves together."""
NAMED_FROM: Final = 0.8
"""From this chance on a place is named, and is to be moved alone to confirm it."""

Floats = NDArray[np.float64]


class Movement(msgspec.Struct, frozen=True):
    """Things that were moved.

    Attributes:
        named: seconds at which they were named: a little after it began.
        ended: seconds at which the end was named, or would have been.
        places: their indices.
    """

    named: float
    ended: float
    places: tuple[int, ...]


class Next(msgspec.Struct, frozen=True):
    """What to move next.

    Attributes:
        places: indices.
        bits: what it is expected to tell.
        jumps: the chance that a jump comes of it.
    """

    places: tuple[int, ...]
    bits: float
    jumps: float


class Ranking:
    """What the jumps so far come to.

    Args:
        weights: how likely each place is beforehand, in any measure; in the order in which they sit.
        movements: what was moved.
        jumps: seconds of each.
        watched: seconds that were watched in all.
        chains: of each place, which row of neighbours it sits in; all in one by default.
        seen_by: of each place and jump, whether that jump was on a point that the place carries; all by default.

    Attributes:
        chances: of each place.
        none: that it is none of them.
    """

    def __init__(
        self,
        weights: Sequence[float],
        movements: Iterable[Movement] = (),
        jumps: Sequence[float] = (),
        watched: float = 0.0,
        chains: Sequence[int] = (),
        seen_by: Sequence[Sequence[bool]] = (),
    ) -> None:
        self._count = len(weights)
        self._chains = tuple(chains) or (0,) * self._count
        apart = np.abs(np.subtract.outer(np.arange(self._count), np.arange(self._count)))
        linked = np.equal.outer(self._chains, self._chains)
        self._near = np.hstack([np.where(linked, NEIGHBOUR**apart, 0.0), np.zeros((self._count, 1))])
        prior = np.array([*weights, 0.0], dtype=float)
        prior = prior / prior.sum() * (1.0 - NONE) if prior.sum() > 0 else prior
        prior[-1] = 1.0 - prior[:-1].sum()
        bursts = _apart(jumps)
        self._jumps = tuple(jumps[burst[0]] for burst in bursts)
        self._seen = np.ones((self._count + 1, len(bursts)))
        if seen_by and bursts:
            self._seen[:-1] = [[float(any(row[one] for one in burst)) for burst in bursts] for row in seen_by]
        log = np.log(np.maximum(prior, 1e-300))[:, None, None] + self._likelihood(list(movements), watched)
        log -= logsumexp(log)
        self._joint: Floats = np.exp(log)
        whole = self._joint.sum(axis=(1, 2))
        self.chances: tuple[float, ...] = tuple(float(chance) for chance in whole[:-1])
        self.none = float(whole[-1])

    @cached_property
    def order(self) -> tuple[int, ...]:
        """The places, the likeliest first."""
        return tuple(sorted(range(self._count), key=lambda index: -self.chances[index]))

    @property
    def named(self) -> int | None:
        """The place that is likely enough to be named; None where none is."""
        best = self.order[0] if self.order else None
        return best if best is not None and self.chances[best] >= NAMED_FROM else None

    def _reach(self, places: Sequence[int]) -> Floats:
        """What of a movement of these places arrives at each place, and at none."""
        reach: Floats = np.array([self._near[place] for place in places]).max(axis=0)
        return reach

    def _likelihood(self, movements: list[Movement], watched: float) -> Floats:
        jumps = np.array(self._jumps)
        moved, strength = np.zeros(self._count + 1), np.zeros((self._count + 1, len(jumps)))
        dead = np.linspace(0.0, DEAD_S, 6)[:-1] + DEAD_S / 10
        for movement in movements:
            reach = self._reach(movement.places)
            strength += reach[:, None] * _under_way(movement, jumps)[None, :]
            lost = sum(float(_under_way(movement, jump + dead).mean()) * DEAD_S for jump in self._jumps)
            moved += reach * max(0.0, movement.ended - movement.named - lost)
        one, zero = np.array(MOVED)[:, None, None, None], np.array(BY_ITSELF)[None, :, None, None]
        rates = one * (strength * self._seen)[None, None] + zero
        events = np.log(rates).sum(axis=3) if len(jumps) else np.zeros((len(MOVED), len(BY_ITSELF), self._count + 1))
        still = max(0.0, watched - DEAD_S * len(jumps))
        total = events - one[..., 0] * moved[None, None] - zero[..., 0] * still
        found: Floats = np.moveaxis(total, 2, 0) - math.log(len(MOVED) * len(BY_ITSELF))
        return found

    def worth(self, choices: Sequence[Sequence[int]], seconds: float = 5.0) -> list[Next]:
        """What each of some movements would tell.

        Args:
            choices: for each movement the places that are moved together.
            seconds: how long a movement lasts.
        """
        reach = np.array([self._reach(places) for places in choices])[:, :, None, None]
        one, zero = np.array(MOVED)[:, None], np.array(BY_ITSELF)[None, :]
        quiet = (self._joint[None] * np.exp(-(one * reach + zero) * seconds)).sum(axis=(2, 3))
        whole = self._joint.sum(axis=(1, 2))[None]
        given = 1.0 - quiet / np.maximum(whole, 1e-300)
        together = (whole * given).sum(axis=1)
        bits = np.maximum(0.0, _bits(together) - (whole * _bits(given)).sum(axis=1))
        return [
            Next(tuple(places), float(told), float(jumps))
            for places, told, jumps in zip(choices, bits, together, strict=True)
        ]

    def next(self, seconds: float = 5.0, groups: bool = True) -> Next | None:
        """What tells most a movement: one place, or neighbours together; None where there are no places.

        Args:
            seconds: how long a movement lasts.
            groups: whether neighbours may be moved together.
        """
        choices: list[tuple[int, ...]] = [(index,) for index in range(self._count)]
        for first in range(self._count - GROUP + 1) if groups else ():
            group = tuple(range(first, first + GROUP))
            if len({self._chains[index] for index in group}) == 1:
                choices.append(group)
        return max(self.worth(choices, seconds), key=lambda found: found.bits) if choices else None


def _apart(jumps: Sequence[float]) -> list[list[int]]:
    """The indices of jumps, those together that may be one contact's bounce or one jump at several points."""
    kept: list[list[int]] = []
    for index in sorted(range(len(jumps)), key=lambda one: jumps[one]):
        if kept and jumps[index] - jumps[kept[-1][0]] < DEAD_S:
            kept[-1].append(index)
        else:
            kept.append([index])
    return kept


def _under_way(movement: Movement, times: Floats) -> Floats:
    """The chance that a movement is under way at some times, given when it was named."""
    if len(times) == 0:
        return np.zeros(0)
    begun: Floats = _later(movement.named - times) - _later(movement.ended - times)
    return np.clip(begun, 0.0, 1.0)


def _later(seconds: Floats) -> Floats:
    """The chance that a name comes later than this after the movement it names: a gamma distribution."""
    shape, scale = (LATE_S / LATE_SPREAD_S) ** 2, LATE_SPREAD_S**2 / LATE_S
    found: Floats = gammaincc(shape, np.maximum(seconds, 0.0) / scale)
    return found


def _bits(chance: Floats) -> Floats:
    """Entropy of a yes or no, in bits."""
    p = np.clip(chance, 1e-12, 1.0 - 1e-12)
    found: Floats = -(p * np.log2(p) + (1 - p) * np.log2(1 - p))
    return found
