"""A contact that opens now and then: often while it is moved, less while a neighbour is, seldom by itself."""

from __future__ import annotations

import math
import random
from collections.abc import Collection, Sequence
from typing import Final

from bench.plant.faults import Intermittent

WARM: Final = 10.0
"""Times as often a contact that warmth opens does so (our own figure)."""


class Wobble:
    """One such contact over time.

    Openings are a Poisson process whose rate follows what hands do; how long each lasts is exponential. Time only goes
    on: asked about an earlier moment it answers as it stood last.

    Args:
        fault: how it behaves.
        places: the names of the places along its conductor, in order.
    """

    def __init__(self, fault: Intermittent, places: Sequence[str]) -> None:
        self.conductor = fault.conductor
        self._fault = fault
        self._places = tuple(places)
        self._at = self._places.index(fault.at)
        self._random = random.Random(f"wobble {fault.seed}")
        self._now = 0.0
        self._moving: frozenset[str] = frozenset()
        self._left = self._random.expovariate(1.0)
        self._closes = -math.inf
        self._warm = False

    def move(self, names: Collection[str], time: float) -> None:
        """Hands move these things from now on, and nothing else.

        Args:
            names: of places; those that are not on this conductor do nothing.
            time: now.
        """
        self._go_on(time)
        self._moving = frozenset(names)

    def is_open(self, time: float, celsius: float) -> bool:
        """Whether it is open now.

        Args:
            time: now.
            celsius: of the hall.
        """
        self._go_on(time)
        self._warm = self._fault.warm is not None and celsius >= self._fault.warm.value
        return self._now < self._closes

    @property
    def _rate(self) -> float:
        """Openings a second."""
        fault = self._fault
        apart = [abs(self._places.index(name) - self._at) for name in self._moving if name in self._places]
        moved = fault.moved.value * fault.neighbour.value ** min(apart) if apart else 0.0
        return moved + (WARM if self._warm else 1.0) / fault.alone.value

    def _go_on(self, time: float) -> None:
        while self._now < time:
            rate = self._rate
            until = self._now + self._left / rate
            if until > time:
                self._left -= (time - self._now) * rate
                self._now = time
                return
            self._now = until
            self._left = self._random.expovariate(1.0)
            self._closes = max(self._closes, until + self._random.expovariate(1.0 / self._fault.lasts.value))
