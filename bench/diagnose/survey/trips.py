"""What to look at next: the trip that tells most a minute, so that nobody climbs twice for what one climb gives.

A trip tags or clips one conductor of some ends where they hang, goes to other bays and touches ends there: each touch
tells which of the tagged ones it is, or none. While somebody is up the ladder anyway, labels are read again, pairs
counted and lengths taped where that tells more a minute than the trip does as a whole.

What a trip tells is the entropy of what it may find, over the answers drawn from the belief. So two twins that can only
be told apart as a whole count one bit and not two. (Bits of an experiment whose outcome follows from the truth: Lindley
1956; from memory.)
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from bench.diagnose.survey.belief import Answer
from bench.diagnose.survey.matching import ALONE, Ints
from bench.diagnose.survey.rates import Costs
from bench.plant.finds import UNREAD, LooseEnd

Look = Literal["label", "count", "tape"]
MOST_TAGS: Final = 16
"""Tags that are told apart with ease by one reading each."""
_UNSURE: Final = (0.004, 0.996)
_GO_ON: Final = 0.6
"""A trip grows while what is added tells at least this part of its bits a minute: who is there need not come back."""
_DRAWN: Final = 1024
_READ_NEXT_TIME: Final = 0.5
"""Chance that a sign that could not be read is read by better light; an assumption."""


@dataclass(frozen=True, slots=True)
class Looking:
    """Something to look at once more."""

    end: str
    look: Look
    bits: float
    minutes: float


@dataclass(frozen=True, slots=True)
class Trip:
    """One trip.

    Attributes:
        bay: where the tags go on.
        tagged: the ends that get one; a single one is clipped.
        touches: bay to the ends to touch there, in the order of the walk.
        looks: bay to what is looked at there.
        minutes: what it takes.
        climbs: ladders climbed.
        bits: what it tells.
    """

    bay: str
    tagged: tuple[str, ...]
    touches: tuple[tuple[str, tuple[str, ...]], ...]
    looks: tuple[tuple[str, tuple[Looking, ...]], ...]
    minutes: float
    climbs: int
    bits: float

    @property
    def rate(self) -> float:
        """Bits a minute."""
        return self.bits / self.minutes

    @property
    def last_bay(self) -> str:
        """Where the trip ends."""
        return self.touches[-1][0] if self.touches else self.bay


class _Draws:
    """Answers drawn from the belief, and how finely what was asked so far tells them apart."""

    def __init__(self, mates: Ints) -> None:
        self.mates = mates
        self.cells = np.zeros(len(mates), dtype=np.int64)

    def refined(self, by: Ints) -> tuple[float, Ints]:
        """Bits, and cells, if something more were told of each drawn answer."""
        _, cells, counts = np.unique(
            self.cells * (int(by.max(initial=0)) + 2) + by + 1, return_inverse=True, return_counts=True
        )
        share = counts / counts.sum()
        return float(-(share * np.log2(share)).sum()), cells


def next_trips(answer: Answer, costs: Costs | None = None, here: str = "", most: int = 5) -> tuple[Trip, ...]:
    """The trips that tell most a minute, each with another bay of tags; the best first.

    Args:
        answer: what is believed.
        costs: what acts take.
        here: the bay where one stands; empty where it does not matter.
        most: trips at most.
    """
    planner = _Planner(answer, costs or Costs(), here)
    return tuple(sorted(planner.trips(), key=_by_rate)[:most])


def _by_rate(trip: Trip) -> tuple[float, str]:
    return -trip.rate, trip.bay


@dataclass(frozen=True, slots=True)
class _Addition:
    """Something that a trip may have besides; -1 for nothing."""

    gain: float
    cost: float
    cells: Ints
    touch: int = -1
    tag: int = -1


def _addition_rate(addition: _Addition) -> float:
    return addition.gain / addition.cost


class _Planner:
    def __init__(self, answer: Answer, costs: Costs, here: str) -> None:
        self._answer, self._costs, self._here = answer, costs, here
        self._ends = answer.pile.ends
        self._bay_at = {bay: number for number, bay in enumerate(answer.pile.hall.bays)}
        samples = answer.samples
        self._mates = samples[:: max(1, len(samples) // _DRAWN)]
        unsure = (answer.mates > _UNSURE[0]) & (answer.mates < _UNSURE[1])
        # an end that is sure as a whole has nothing left to tell
        sure = np.maximum(answer.mates.max(axis=1, initial=0.0), answer.alone) >= _UNSURE[1]
        self._unsure = unsure & ~sure[:, None] & ~sure[None, :]
        self._looks = {bay: list(self._looks_at(bay)) for bay in {end.bay for end in self._ends}}

    def _walk(self, start: str, to: str) -> float:
        """Minutes from one bay to another; nothing within one."""
        if start == to:
            return 0.0
        apart = abs(self._bay_at.get(start, 0) - self._bay_at.get(to, 0)) if start else 0
        return self._costs.walk + self._costs.per_bay * apart

    def trips(self) -> Iterable[Trip]:
        for bay in sorted({end.bay for end in self._ends}):
            trip = self._trip_from(bay)
            if trip is not None:
                yield trip
            looking = self._only_looking(bay)
            if looking is not None:
                yield looking

    def _trip_from(self, bay: str) -> Trip | None:
        """The best trip that tags in one bay: it grows while what is added tells more a minute than all before."""
        costs = self._costs
        taggable = [at for at, end in enumerate(self._ends) if end.bay == bay and self._unsure[at].any()]
        if not taggable:
            return None
        arriving = self._walk(self._here, bay) + costs.climb
        begun: tuple[float, int, int] | None = None
        nothing = _Draws(self._mates)
        for one in taggable:
            for other in np.flatnonzero(self._unsure[one]).tolist():
                bits, _ = nothing.refined((self._mates[:, other] == one).astype(np.int64))
                rate = bits / (arriving + costs.clip + self._touch_cost(bay, other, {}))
                if begun is None or rate > begun[0]:
                    begun = rate, one, other
        if begun is None or begun[0] <= 0:
            return None
        _, one, other = begun
        tagged, touched = [one], {self._ends[other].bay: [other]}
        draws = _Draws(self._mates)
        bits, draws.cells = draws.refined((self._mates[:, other] == one).astype(np.int64))
        minutes = arriving + costs.clip + self._touch_cost(bay, other, {})
        while True:
            best = self._best_addition(bay, taggable, tagged, touched, draws, bits)
            if best is None or best.gain / best.cost < _GO_ON * bits / minutes:
                break
            draws.cells = best.cells
            bits, minutes = bits + best.gain, minutes + best.cost
            if best.touch >= 0:
                touched.setdefault(self._ends[best.touch].bay, []).append(best.touch)
            if best.tag >= 0:
                tagged.append(best.tag)
        return self._made(bay, tagged, touched, minutes, bits)

    def _best_addition(
        self,
        bay: str,
        taggable: Sequence[int],
        tagged: list[int],
        touched: dict[str, list[int]],
        draws: _Draws,
        bits: float,
    ) -> _Addition | None:
        """What to add to a trip: an end to touch, one to tag, or one of each that may belong together."""
        flat = [end for ends in touched.values() for end in ends]
        free = [end for end in taggable if end not in tagged and end not in flat] if len(tagged) < MOST_TAGS else []
        found: list[_Addition] = []
        for candidate in np.flatnonzero(self._unsure[tagged].any(axis=0)).tolist():
            if candidate not in flat and candidate not in tagged:
                more, cells = draws.refined(_among(self._mates[:, candidate], tagged))
                found.append(_Addition(more - bits, self._touch_cost(bay, candidate, touched), cells, touch=candidate))
        for candidate in free:
            if self._unsure[candidate][flat].any():
                more, cells = draws.refined(_among(self._mates[:, candidate], flat))
                found.append(_Addition(more - bits, self._costs.tag, cells, tag=candidate))
            partners = self._answer.mates[candidate] * self._unsure[candidate]
            for partner in np.argsort(-np.minimum(partners, 1.0 - partners))[:3].tolist():
                if partners[partner] > 0 and partner not in flat and partner not in tagged:
                    cost = self._costs.tag + self._touch_cost(bay, partner, touched)
                    more, cells = draws.refined(_among(self._mates[:, partner], [*tagged, candidate]))
                    found.append(_Addition(more - bits, cost, cells, touch=partner, tag=candidate))
        telling = [addition for addition in found if addition.gain > 1e-6]
        return max(telling, key=_addition_rate, default=None)

    def _touch_cost(self, start: str, end: int, touched: dict[str, list[int]]) -> float:
        bay = self._ends[end].bay
        if bay == start or bay in touched:
            return self._costs.touch
        last = next(reversed(touched), start)
        return self._walk(last, bay) + self._costs.climb + self._costs.touch

    def _made(
        self, bay: str, tagged: Sequence[int], touched: dict[str, list[int]], minutes: float, bits: float
    ) -> Trip:
        names = [end.name for end in self._ends]
        looks = []
        for stop in dict.fromkeys([bay, *touched]):
            worth = [look for look in self._looks.get(stop, ()) if look.bits / look.minutes >= bits / minutes]
            if worth:
                looks.append((stop, tuple(worth)))
                minutes += sum(look.minutes for look in worth)
                bits += sum(look.bits for look in worth)
        climbs = len(dict.fromkeys([bay, *touched]))
        return Trip(
            bay,
            tuple(names[end] for end in tagged),
            tuple((stop, tuple(names[end] for end in ends)) for stop, ends in touched.items()),
            tuple(looks),
            minutes,
            climbs,
            bits,
        )

    def _only_looking(self, bay: str) -> Trip | None:
        """A climb to one bay to look at things there."""
        minutes, bits = self._walk(self._here, bay) + self._costs.climb, 0.0
        worth: list[Looking] = []
        for look in sorted(self._looks.get(bay, ()), key=_look_rate):
            if worth and look.bits / look.minutes < bits / minutes:
                break
            worth.append(look)
            minutes, bits = minutes + look.minutes, bits + look.bits
        if bits <= 0.05:
            return None
        return Trip(bay, (), (), ((bay, tuple(worth)),), minutes, 1, bits)

    def _looks_at(self, bay: str) -> Iterable[Looking]:
        """What could be looked at again in a bay, and what it would tell of whose mate it is."""
        for at, end in enumerate(self._ends):
            if end.bay != bay or not self._unsure[at].any():
                continue
            others = np.flatnonzero(self._answer.mates[at] > _UNSURE[0])
            chance = self._answer.mates[at, others]
            mates = [self._ends[other] for other in others.tolist()]
            for look, bits, minutes in (
                ("label", _label_bits(end, mates, chance), self._costs.reread),
                ("count", _count_bits(end, mates, chance), self._costs.count),
                ("tape", _tape_bits(end, mates, chance), self._costs.tape),
            ):
                if bits > 0.02:
                    yield Looking(end.name, look, bits, minutes)  # type: ignore[arg-type]


def _look_rate(look: Looking) -> float:
    return -look.bits / look.minutes


def _among(mates: Ints, ends: Sequence[int]) -> Ints:
    """Which of some ends each drawn mate is, by number; -1 for none of them."""
    found = np.full(len(mates), ALONE, dtype=np.int64)
    for number, end in enumerate(ends):
        found[mates == end] = number
    return found


def _label_bits(end: LooseEnd, mates: Sequence[LooseEnd], chance: np.ndarray) -> float:
    """Bits of reading the signs of a label that could not be read, if they are read this time."""
    lost = [place for place, sign in enumerate(end.label) if sign == UNREAD]
    if not lost:
        return 0.0
    told: dict[str, float] = {}
    for mate, share in zip(mates, chance.tolist(), strict=True):
        if len(mate.label) == len(end.label):
            signs = "".join(mate.label[place] for place in lost)
            if UNREAD not in signs:
                told[signs] = told.get(signs, 0.0) + share
    return _READ_NEXT_TIME ** len(lost) * _entropy(told.values())


def _count_bits(end: LooseEnd, mates: Sequence[LooseEnd], chance: np.ndarray) -> float:
    """Bits of counting the conductors where nobody did."""
    if end.conductors is not None:
        return 0.0
    told: dict[int, float] = {}
    for mate, share in zip(mates, chance.tolist(), strict=True):
        if mate.conductors is not None:
            told[mate.conductors] = told.get(mate.conductors, 0.0) + share
    return 0.7 * _entropy(told.values())


def _tape_bits(end: LooseEnd, mates: Sequence[LooseEnd], chance: np.ndarray) -> float:
    """Bits of taping the length where it is known by eye only, or not at all."""
    if end.length_by in ("tape", "marks"):
        return 0.0
    known = [(mate.length.value, share) for mate, share in zip(mates, chance.tolist(), strict=True) if mate.length]
    if len(known) < 2:
        return 0.0
    lengths, shares = np.array([length for length, _ in known]), np.array([share for _, share in known])
    # lengths that the tape does not tell apart are one
    cells = np.round(np.log(lengths) / 0.12).astype(int)
    return _entropy(float(shares[cells == cell].sum()) for cell in np.unique(cells))


def _entropy(shares: Iterable[float]) -> float:
    """Bits of a few chances that need not sum to one; what is left out tells nothing."""
    values = np.array([share for share in shares if share > 0])
    total = values.sum()
    if len(values) < 2 or total <= 0:
        return 0.0
    return float(-(values * np.log2(values / total)).sum())
