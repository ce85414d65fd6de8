"""Somebody wiggles 24 places one after the other, and one of them is loose: drawn as people and contacts do it."""

from __future__ import annotations

import random
from dataclasses import dataclass

from bench.diagnose.hunt.ranking import LATE_S, LATE_SPREAD_S, Movement, Ranking

KINDS = (4.0, 2.0, 1.0, 1.0, 1.0, 2.0, 4.0, 2.0)
"""How likely each place is beforehand: connector, termination, stretches, termination, connector, lug, and again."""
WEIGHTS = KINDS * 3
MOVES_S, REST_S = 5.0, 1.5


@dataclass(frozen=True)
class Habit:
    """How a loose place and its world behave.

    Attributes:
        moved: jumps a second while it is moved.
        alone: jumps a second that come by themselves.
        rate: readings a second.
        dip: seconds of a dip, on average.
        neighbour: what of a movement arrives at the next place.
        there: whether any of the places is loose at all.
    """

    moved: float = 0.3
    alone: float = 1 / 600
    rate: float = 10.0
    dip: float = 0.12
    neighbour: float = 0.3
    there: bool = True


class Wiggle:
    """One search, movement after movement."""

    def __init__(self, habit: Habit, seed: object) -> None:
        self.habit, self.rng = habit, random.Random(f"wiggle {seed}")
        self.true = self.rng.choices(range(len(WEIGHTS)), WEIGHTS)[0]
        self.now = 0.0
        self.movements: list[Movement] = []
        self.jumps: list[float] = []
        self.when_named: list[float] = [0.0] * len(WEIGHTS)

    def move(self, places: tuple[int, ...]) -> None:
        """Move some places together, and name them a little late."""
        habit, begin = self.habit, self.now
        reach = habit.neighbour ** min(abs(place - self.true) for place in places) if habit.there else 0.0
        late = self.rng.gammavariate((LATE_S / LATE_SPREAD_S) ** 2, LATE_SPREAD_S**2 / LATE_S)
        self._jump(begin, begin + MOVES_S, habit.moved * reach + habit.alone)
        self._jump(begin + MOVES_S, begin + MOVES_S + REST_S, habit.alone)
        self.movements.append(Movement(begin + late, begin + late + MOVES_S, places))
        self.now = begin + MOVES_S + REST_S

    def _jump(self, begin: float, end: float, rate: float) -> None:
        at = begin + self.rng.expovariate(rate)
        while at < end:
            dead = self.jumps and at - self.jumps[-1] < 1.0
            length = self.rng.expovariate(1 / self.habit.dip)
            if not dead and self.rng.random() < min(1.0, length * self.habit.rate):
                self.jumps.append(at)
            at += self.rng.expovariate(rate)

    def ranking(self) -> Ranking:
        return Ranking(WEIGHTS, self.movements, self.jumps, self.now)

    def by_ear(self) -> list[int]:
        """What people do: each jump speaks against what was named last."""
        score = [0.0] * len(WEIGHTS)
        for jump in self.jumps:
            for movement in reversed(self.movements):
                if movement.named <= jump:
                    score[movement.places[0]] += 1
                    break
        return sorted(range(len(WEIGHTS)), key=lambda place: (-score[place], -WEIGHTS[place]))


def searched(habit: Habit, seed: object, moves: int, way: str = "groups") -> tuple[Wiggle, list[Ranking]]:
    """A whole search: the ranking after each movement."""
    wiggle = Wiggle(habit, seed)
    rankings = [wiggle.ranking()]
    for number in range(moves):
        if way in ("order", "ear"):
            places: tuple[int, ...] = (number % len(WEIGHTS),)
        else:
            wanted = rankings[-1].next(MOVES_S, groups=way == "groups")
            assert wanted is not None
            places = wanted.places
        wiggle.move(places)
        rankings.append(wiggle.ranking() if way != "ear" else rankings[-1])
    return wiggle, rankings
