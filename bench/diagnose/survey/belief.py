"""What a pile of finds comes to: each end's mate and place with their chances, what is sure, what fits several ways.

Nothing is guessed: what is not called with at least ``SURE`` is said to be open, with every answer that still fits.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import Final

import msgspec
import numpy as np

from bench.diagnose.survey.matching import ALONE, Belief, Floats, Ints, solve
from bench.diagnose.survey.pile import Pile, known_kinds
from bench.diagnose.survey.rates import SURE, Rates, RatesFile
from bench.diagnose.survey.weights import TOP, Weighing
from bench.plant.file import CableType
from bench.walk.surveying import Survey

_BALANCED: Final = 60
"""Rounds after which rough chances have settled."""
WORTH_NAMING: Final = 0.05
"""A mate with a smaller chance is not named among those that fit."""


class Fit(msgspec.Struct, frozen=True):
    """What an end belongs to, with its chance.

    Attributes:
        name: the other end's or the place's name; empty for none in the pile.
        chance: from 0 to 1.
    """

    name: str
    chance: float


class Standing(msgspec.Struct, frozen=True):
    """What is believed of one end.

    Attributes:
        name: the end.
        fits: what it may belong to, the likeliest first, down to ``WORTH_NAMING``.
        two: chance that it belongs with two.
    """

    name: str
    fits: tuple[Fit, ...]
    two: float = 0.0

    @property
    def sure(self) -> bool:
        """Whether the first answer is called."""
        return bool(self.fits) and self.fits[0].chance >= SURE

    @property
    def open(self) -> bool:
        """Whether several answers fit: then none is given."""
        return not self.sure


class Answer(msgspec.Struct, frozen=True, dict=True):
    """All that is believed of a pile. Worked out when first asked for.

    Attributes:
        pile: the finds.
        rates: what is believed of how they come about.
        seed: of the sampling.
        steps: of each chain, 0 for as many as the pile wants.
    """

    pile: Pile
    rates: Rates = msgspec.field(default_factory=Rates)
    seed: int = 0
    steps: int = 0

    @cached_property
    def weights(self) -> Floats:
        """The weight of each pair of ends."""
        return Weighing(self.pile, self.rates).mates()

    @cached_property
    def _owner(self) -> Ints:
        """Whose node each node is: an end that belongs with two has two."""
        twice = [number for number, end in enumerate(self.pile.ends) for _ in range(end.branches - 1)]
        return np.array([*range(len(self.pile.ends)), *twice], dtype=np.int64)

    @cached_property
    def _solved(self) -> Belief:
        owner = self._owner
        weights = self.weights[np.ix_(owner, owner)]
        weights[owner[:, None] == owner[None, :]] = 0.0
        return solve(weights, np.random.default_rng(self.seed), self.steps)

    @cached_property
    def mates(self) -> Floats:
        """Chance of each end (row) to be one cable with each other end (column)."""
        count, owner = len(self.pile.ends), self._owner
        if len(owner) == count:
            return self._solved.pairs
        pairs = np.zeros((count, count))
        np.add.at(pairs, (owner[:, None], owner[None, :]), self._solved.pairs)
        return pairs

    @cached_property
    def samples(self) -> Ints:
        """Drawn answers, a row each: the mate of each end, ``ALONE`` for none; of an end with two its first one."""
        drawn = self._solved.samples[:, : len(self.pile.ends)]
        return np.where(drawn == ALONE, ALONE, self._owner[drawn])

    @cached_property
    def alone(self) -> Floats:
        """Chance of each end to have no mate in the pile."""
        count, owner = len(self.pile.ends), self._owner
        alone = self._solved.alone[:count].copy()
        for node in range(count, len(owner)):
            both = self._solved.samples[:, [owner[node], node]] == ALONE
            alone[owner[node]] = both.all(axis=1).mean()
        return alone

    @cached_property
    def doubt(self) -> float:
        """How far the chances may be off by the sampling; 0 where all was counted out."""
        return self._solved.doubt

    @cached_property
    def standings(self) -> tuple[Standing, ...]:
        """What is believed of each end's mate, in the order of the pile."""
        names = [end.name for end in self.pile.ends]
        two = np.zeros(len(names))
        for node in range(len(names), len(self._owner)):
            both = self._solved.samples[:, [self._owner[node], node]] != ALONE
            two[self._owner[node]] = both.all(axis=1).mean()
        return tuple(
            Standing(name, _fits(names, self.mates[row], float(self.alone[row])), float(two[row]))
            for row, name in enumerate(names)
        )

    @cached_property
    def _placed(self) -> Belief:
        weighing = Weighing(self.pile, self.rates)
        weights = weighing.places()
        first = self._solved_places(weights)
        ends = len(self.pile.ends)
        # what stands at a place of the same family is known only after a first answer
        family = weighing.by_family(first.pairs[:ends, ends:]) if self.pile.ends and self.pile.places else None
        return first if family is None else self._solved_places(np.minimum(weights * family, TOP))

    def _solved_places(self, weights: Floats) -> Belief:
        ends, places = weights.shape
        graph = np.zeros((ends + places, ends + places))
        graph[:ends, ends:] = weights
        graph[ends:, :ends] = weights.T
        return solve(graph, np.random.default_rng(self.seed + 1), self.steps)

    @cached_property
    def places(self) -> Floats:
        """Chance of each end (row) to belong to each free place (column)."""
        ends = len(self.pile.ends)
        return self._placed.pairs[:ends, ends:]

    @cached_property
    def places_roughly(self) -> Floats:
        """The same in a hundredth of the time and less exactly: enough to plan by, and never called.

        Each chance is taken as w a b, with a and b the chances of the end and the place to be free for it: what row
        and column sums ask for, whatever circles there are.
        """
        weighing = Weighing(self.pile, self.rates)
        weights = weighing.places()
        rough = _balanced(weights)
        family = weighing.by_family(rough)
        return rough if family is None else _balanced(np.minimum(weights * family, TOP))

    @cached_property
    def place_standings(self) -> tuple[Standing, ...]:
        """What is believed of each end's place, in the order of the pile."""
        names = [place.name for place in self.pile.places]
        return tuple(
            Standing(end.name, _fits(names, self.places[row], float(self._placed.alone[row])))
            for row, end in enumerate(self.pile.ends)
        )

    @cached_property
    def pairs(self) -> tuple[tuple[str, str, float], ...]:
        """The pairs that are called, with their chances; the surest first."""
        names = [end.name for end in self.pile.ends]
        rows, columns = np.nonzero(np.triu(self.mates >= SURE))
        found = [
            (names[one], names[other], float(self.mates[one, other])) for one, other in zip(rows, columns, strict=True)
        ]
        return tuple(sorted(found, key=_by_chance))

    @cached_property
    def groups(self) -> tuple[tuple[str, ...], ...]:
        """Ends that fit each other several ways: each group is open as a whole."""
        names = [end.name for end in self.pile.ends]
        left = {row for row, standing in enumerate(self.standings) if standing.open}
        groups = []
        while left:
            group, todo = set(), [min(left)]
            while todo:
                row = todo.pop()
                if row in left:
                    left.discard(row)
                    group.add(row)
                    todo += np.flatnonzero(self.mates[row] >= WORTH_NAMING).tolist()
            groups.append(tuple(names[row] for row in sorted(group)))
        return tuple(sorted(groups, key=len, reverse=True))


def _balanced(weights: Floats) -> Floats:
    """Chances w a b of which no row and no column sums to more than one; what is left over is that of being alone."""
    row, column = np.ones(len(weights)), np.ones(weights.shape[1])
    for _ in range(_BALANCED):
        row = 1.0 / (1.0 + weights @ column)
        column = 1.0 / (1.0 + row @ weights)
    return np.asarray(weights * row[:, None] * column[None, :])


def answer_of(survey: Survey, rates: RatesFile, types: Iterable[CableType]) -> Answer:
    """What the finds of a survey come to, by what the job says of its finds and knows of its cables.

    Args:
        survey: as it stands.
        rates: the job's.
        types: of the job's plant file; cables of other kinds may be found.
    """
    finds = [kept.find for kept in survey.finds.values()]
    return Answer(Pile.of(finds, survey.hall, survey.tries.values(), known_kinds(types)), rates.finds)


def _by_chance(pair: tuple[str, str, float]) -> tuple[float, str]:
    return -pair[2], pair[0]


def _fits(names: Sequence[str], row: Floats, alone: float) -> tuple[Fit, ...]:
    fits = [Fit(names[at], float(row[at])) for at in np.flatnonzero(row >= WORTH_NAMING).tolist()]
    if alone >= WORTH_NAMING:
        fits.append(Fit("", alone))
    return tuple(sorted(fits, key=_less_likely))


def _less_likely(fit: Fit) -> tuple[float, str]:
    return -fit.chance, fit.name
