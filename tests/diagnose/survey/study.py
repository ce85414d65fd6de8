"""Studies over many made piles: how right and how sure the answers are, and what the way to them costs."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from time import process_time

import numpy as np

from bench.diagnose.survey.belief import Answer
from bench.diagnose.survey.matching import ALONE, best
from bench.diagnose.survey.pile import KnownKind, Pile
from bench.diagnose.survey.rates import SURE, Costs
from bench.diagnose.survey.trips import next_trips
from tests.diagnose.survey.piles import KINDS, Made, Noise, looked, pile, rung

FLOOR = 1e-4
"""A chance below this counts as this in the logarithmic score (Gneiting & Raftery, JASA 102 (2007) 359)."""
BINS = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0001)


@dataclass
class Figures:
    """What came of one pile."""

    log: float
    right: float
    best_right: float
    best_log: float
    nearest_right: float
    seconds: float
    doubt: float
    tops: np.ndarray = field(repr=False)
    """The largest chance of each end."""
    hits: np.ndarray = field(repr=False)
    """Whether that answer is right."""

    @property
    def called(self) -> np.ndarray:
        return self.tops >= SURE


def figures(count: int, seed: int, noise: Noise | None = None, kinds: Sequence[KnownKind] = ()) -> Figures:
    """What comes of the pile of a seed.

    Args:
        count: its ends.
        seed: of all that is drawn.
        noise: how badly it is noted.
        kinds: what the answer is told of the kinds of cable that there are.
    """
    made = pile(count, seed, noise)
    begun = process_time()
    answer = Answer(Pile.of([*made.ends, *made.places, *made.lines], made.hall, kinds=kinds))
    whole = np.concatenate([answer.mates, answer.alone[:, None]], axis=1)
    seconds = process_time() - begun
    truth = true_mates(made)
    rows = np.arange(count)
    alone = best(answer.weights)
    alone = np.where(alone == ALONE, count, alone)
    best_hits = alone == truth
    return Figures(
        log=float(-np.log(np.maximum(whole[rows, truth], FLOOR)).mean()),
        right=float((whole.argmax(axis=1) == truth).mean()),
        best_right=float(best_hits.mean()),
        best_log=float(-np.log(np.where(best_hits, 0.999, 0.001 / count)).mean()),
        nearest_right=float((nearest_label(made) == truth).mean()),
        seconds=seconds,
        doubt=answer.doubt,
        tops=whole.max(axis=1),
        hits=whole.argmax(axis=1) == truth,
    )


def told_kinds(jackets: bool = True) -> tuple[KnownKind, ...]:
    """The kinds of cable that the piles are made of.

    Args:
        jackets: whether their jackets are told too: a catalogue has them, a plant file does not.
    """
    return tuple(
        KnownKind(kind.conductors, kind.colours, tuple(sorted(set(kind.jackets))) if jackets else ()) for kind in KINDS
    )


def true_mates(made: Made) -> np.ndarray:
    at = {end.name: number for number, end in enumerate(made.ends)}
    return np.array([at[made.mate[end.name]] if made.mate[end.name] else len(at) for end in made.ends])


def nearest_label(made: Made) -> np.ndarray:
    """What people do by hand: lay together the ends whose labels differ least, the nearest pairs first."""
    count = len(made.ends)
    pairs = []
    for one, end in enumerate(made.ends):
        for other in range(one):
            label = made.ends[other].label
            if end.label and label and len(label) == len(end.label):
                differ = sum(a != b for a, b in zip(end.label, label, strict=True))
                if differ <= 2:
                    pairs.append((differ, other, one))
    mates = np.full(count, count)
    for _, one, other in sorted(pairs):
        if mates[one] == mates[other] == count:
            mates[one], mates[other] = other, one
    return mates


def reliability(found: Iterable[Figures]) -> list[tuple[float, float, float, int]]:
    """For each bin of what was said: said, right, its standard error, number of ends.

    Ends of one pile hang together, so the error is that of a ratio over piles, not over ends.
    """
    piles = list(found)
    rows = []
    for low, high in itertools.pairwise(BINS):
        inside = [(one.tops >= low) & (one.tops < high) for one in piles]
        number = np.array([mask.sum() for mask in inside], dtype=float)
        right = np.array([one.hits[mask].sum() for one, mask in zip(piles, inside, strict=True)], dtype=float)
        total = int(number.sum())
        if not total:
            continue
        said = sum(float(one.tops[mask].sum()) for one, mask in zip(piles, inside, strict=True)) / total
        share = right.sum() / total
        error = float(np.sqrt(((right - share * number) ** 2).sum()) / total) if len(piles) > 1 else 0.0
        # no failure seen: the rule of three
        if share == 1.0:
            error = 3.0 / total
        rows.append((said, float(share), error, total))
    return rows


@dataclass(frozen=True)
class Way:
    """What the way to the goal cost."""

    minutes: float
    climbs: int
    readings: int
    wrongly_sure: float
    reached: bool
    called: int = 0
    """Ends that are called at the end."""
    right: int = 0
    """Of these, those that are called rightly."""


def way_to_goal(count: int, seed: int, noise: Noise | None = None, goal: float = 0.95, most: float = 400.0) -> Way:
    """Trip after trip until so many of the ends are called and right. Only the stop looks at the truth."""
    made = pile(count, seed, noise)
    rng = np.random.default_rng([seed, 1])
    ends, tried, here = list(made.ends), [], ""
    minutes, climbs, readings = 0.0, 0, 0
    while True:
        answer = Answer(Pile.of([*ends, *made.lines], made.hall, tried), seed=len(tried))
        sure = [standing for standing in answer.standings if standing.sure]
        right = sum(standing.fits[0].name == made.mate[standing.name] for standing in sure)
        wrong = (len(sure) - right) / count
        trips = next_trips(answer, Costs(), here, 1)
        if right >= goal * count or not trips or minutes > most:
            return Way(minutes, climbs, readings, wrong, right >= goal * count, len(sure), right)
        trip = trips[0]
        minutes, climbs, here = minutes + trip.minutes, climbs + trip.climbs, trip.last_bay
        for _, name, tagged in trip.touches:
            readings += 1
            tried.append(rung(made, name, list(tagged), rng))
        ends = looked(made, ends, [(look.end, look.look) for look in trip.looks], rng)


def by_hand(count: int, seed: int, nearest_first: bool, noise: Noise | None = None, goal: float = 0.95) -> Way:
    """The same goal by ringing pair after pair: every pair in turn, or those with the nearest labels first."""
    made = pile(count, seed, noise)
    rng = np.random.default_rng([seed, 2])
    costs = Costs()
    bays = made.hall.bays
    left = {end.name: end for end in made.ends}
    done: set[str] = set()
    minutes, climbs, readings, here = 0.0, 0, 0, ""

    rung_before: set[frozenset[str]] = set()

    def differ(one: str, other: str) -> int:
        label, its = left[one].label, left[other].label
        if not label or not its or len(label) != len(its):
            return 3
        return min(3, sum(a != b for a, b in zip(label, its, strict=True)))

    order = sorted(left, key=lambda name: (bays.index(left[name].bay), name))
    pairs = []
    for number, one in enumerate(order):
        others = order[number + 1 :]
        if nearest_first:
            others = sorted(others, key=lambda other: (differ(one, other), order.index(other)))
        pairs += [(one, other) for other in others]
    refused = dict.fromkeys(order, 0)
    clipped = ""
    for one, other in pairs:
        if len(done) >= goal * count:
            break
        if one in done or other in done or frozenset((one, other)) in rung_before:
            continue
        rung_before.add(frozenset((one, other)))
        if clipped != one:
            minutes, climbs, here = arrive(minutes, climbs, here, left[one].bay, bays, costs)
            minutes += costs.clip
            clipped = one
        minutes, climbs, here = arrive(minutes, climbs, here, left[other].bay, bays, costs)
        minutes, readings = minutes + costs.touch, readings + 1
        refused[one] += 1
        refused[other] += 1
        if rung(made, other, [one], rng).answer:
            done |= {one, other}
        # an end that was rung against all that are left has no mate
        done |= {name for name in (one, other) if refused[name] >= count - 1}
    return Way(minutes, climbs, readings, 0.0, True)


def arrive(
    minutes: float, climbs: int, here: str, to: str, bays: Sequence[str], costs: Costs
) -> tuple[float, int, str]:
    """Minutes and climbs after going to another bay."""
    if here == to:
        return minutes, climbs, here
    apart = abs(bays.index(here) - bays.index(to)) if here else 0
    return minutes + costs.walk + costs.per_bay * apart + costs.climb, climbs + 1, to
