"""Which resistances to read: the first set, and then the next most telling one.

The first set is every bond, every point to the main bar, and as many more pairs as are asked for, each
chosen greedily to separate possible second paths from no fault and from each other at this meter's
uncertainty. The next reading is the one from which most information about the explanation is expected.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from math import ceil

import msgspec
import numpy as np

from bench.diagnose.earth.fit import Case, Fit, Meter, Prior, solve
from bench.diagnose.earth.linear import all_pairs
from bench.diagnose.earth.model import BondNetwork
from bench.diagnose.earth.ranking import Posterior
from bench.network.cases import Flags, Floats, Ints

Pair = tuple[str, str]

_POOL = 700  # pairs among which the first set is chosen
_SUPPOSED = 200  # second paths that it must separate, drawn at random
_NEAR = 2  # like paths, one end moved to a neighbour, that each must be told from
_SATED = 15.0  # squared standard deviations of separation beyond which more is of little use
_SIZES = (-0.9, -0.3, 0.4)  # sizes supposed, in standard deviations about the prior's median
_STANDING = 24  # explanations that the next reading is to separate


def routine_readings(network: BondNetwork) -> list[Pair]:
    """Every bond, every point to the main bar, and the neighbours on each bar in a ring.

    A set that can be written down without a computer; `first_readings` separates better for the same
    number. Points that no bond joins to the main bar are left out.
    """
    chosen = _backbone(network, main=True)
    for hanging in _children(network).values():
        ring = list(pairwise(hanging))
        if len(hanging) > 2:
            ring.append((hanging[-1], hanging[0]))
        chosen += ring
    return _named(network, dict.fromkeys((min(p), max(p)) for p in chosen))


def first_readings(
    network: BondNetwork,
    meter: Meter,
    per_point: float = 2.7,
    prior: Prior | None = None,
    main: bool = True,
    seed: int = 1,
) -> list[Pair]:
    """The first set of readings, in the order in which they should be taken if time runs out.

    Args:
        per_point: readings per point, all told; the bonds (and the main bar) come first in any case.
        main: whether every point is read to the main bar: one lead stays in place. Without, more of the
            set is free to be chosen and it separates a little better.
        seed: of the draw of second paths that are supposed; the same seed gives the same set.
    """
    start = list(dict.fromkeys(_backbone(network, main)))
    wanted = max(len(start), ceil(per_point * len(network.points)))
    chooser = _Chooser(network, meter, prior or Prior(), start, np.random.default_rng(seed))
    return _named(network, chooser.choose(wanted))


def _named(network: BondNetwork, pairs: Iterable[tuple[int, int]]) -> list[Pair]:
    return [(network.points[a].name, network.points[b].name) for a, b in pairs]


def _backbone(network: BondNetwork, main: bool) -> list[tuple[int, int]]:
    ends = zip(network.tails.tolist(), network.heads.tolist(), strict=True)
    chosen = [(min(a, b), max(a, b)) for a, b in ends]
    if main:
        labels = network.parts()
        home = network.index[network.main]
        chosen += [
            (min(home, p), max(home, p)) for p in range(len(network.points)) if p != home and labels[p] == labels[home]
        ]
    return chosen


def _children(network: BondNetwork) -> dict[int, list[int]]:
    """For each point, those bonded to it and further from the main bar."""
    around = network.neighbours
    start = network.index[network.main]
    seen = {start}
    queue = [start]
    below: dict[int, list[int]] = {}
    for here in queue:
        for there, _ in around[here]:
            if there not in seen:
                seen.add(there)
                queue.append(there)
                below.setdefault(here, []).append(there)
    return below


class _Chooser:
    """Greedy choice in the linear model about the design.

    For each supposed difference between two explanations, the innovation of a candidate reading is what
    the readings so far do not predict of it; innovation^2 / variance is the separation it adds. Both
    follow from reading to reading by rank-one updates (recursive least squares).
    """

    def __init__(
        self,
        network: BondNetwork,
        meter: Meter,
        prior: Prior,
        start: list[tuple[int, int]],
        rng: np.random.Generator,
    ) -> None:
        pairs = all_pairs(network)
        labels = np.array(network.parts())
        joined = np.flatnonzero(labels[pairs.u] == labels[pairs.v])
        every = list(zip(pairs.u[joined].tolist(), pairs.v[joined].tolist(), strict=True))
        drawn = rng.permutation(len(every))[:_POOL].tolist()
        self.pool = list(dict.fromkeys([*start, *(every[n] for n in drawn)]))
        self.fixed = len(start)
        i = np.array([a for a, _ in self.pool], dtype=np.intp)
        j = np.array([b for _, b in self.pool], dtype=np.intp)
        circuit = solve(network, [Case()], np.log(network.ohms)[None, :])
        potentials = circuit.potentials(i, j)
        self._slopes = circuit.jacobian(i, j)[0]
        noise = meter.u(circuit.resistances(i, j)[0])
        self._posterior = np.diag(network.spreads**2)
        self._variance = noise**2 + (self._slopes**2) @ network.spreads**2
        self._noise2 = noise**2
        self._innovation = _differences(network, prior, circuit.green[0], potentials[0], rng)
        self._separation = np.zeros(self._innovation.shape[1])

    def choose(self, wanted: int) -> list[tuple[int, int]]:
        """The fixed pairs, then others until there are ``wanted`` or no more to choose from."""
        left = np.ones(len(self.pool), dtype=np.bool_)
        order: list[tuple[int, int]] = []
        for _ in range(min(wanted, len(self.pool))):
            if len(order) < self.fixed:
                place = len(order)
            else:
                added = self._innovation**2
                added /= added + _SATED * self._variance[:, None]
                worth = added @ np.exp(-self._separation / _SATED)
                place = int(np.where(left, worth, -1.0).argmax())
            left[place] = False
            order.append(self.pool[place])
            self._take(place)
        return order

    def _take(self, place: int) -> None:
        reach = self._posterior @ self._slopes[place]
        shared = self._slopes @ reach
        variance = self._variance[place]
        innovation = self._innovation[place].copy()
        self._separation += innovation**2 / variance
        self._innovation -= np.outer(shared / variance, innovation)
        self._posterior -= np.outer(reach, reach) / variance
        self._variance = np.maximum(self._variance - shared**2 / variance, self._noise2)


def _differences(
    network: BondNetwork,
    prior: Prior,
    green: Floats,
    potentials: Floats,
    rng: np.random.Generator,
) -> Floats:
    """Shifts of each pool reading (rows) that tell explanations apart (columns), in ohm."""
    pairs = all_pairs(network)
    labels = np.array(network.parts())
    joined = labels[pairs.u] == labels[pairs.v]
    places = np.flatnonzero(pairs.unwanted & ~pairs.beside & joined)
    drawn = rng.permutation(places)[:_SUPPOSED].tolist()
    around = network.neighbours

    def shift(u: int, v: int, ohms: float) -> Floats:
        across = float(green[u, u] + green[v, v] - 2.0 * green[u, v])
        return np.asarray(-((potentials[u] - potentials[v]) ** 2) / (ohms + across))

    columns = []
    for place in drawn:
        u, v = int(pairs.u[place]), int(pairs.v[place])
        ohms = prior.extra_ohms * prior.extra_factor ** float(rng.choice(_SIZES))
        here = shift(u, v, ohms)
        columns.append(here)
        for _ in range(_NEAR):
            moved, kept = (u, v) if rng.random() < 0.5 else (v, u)
            beside = around[moved][int(rng.integers(len(around[moved])))][0]
            if beside != kept:
                columns.append(here - shift(beside, kept, ohms))
    return np.array(columns).T if columns else np.zeros((potentials.shape[1], 0))


class Telling(msgspec.Struct, frozen=True):
    """A reading worth taking: its ends, the information expected from it in nats, and what each of the
    likeliest explanations predicts (``expected``, ohm, in the posterior's order)."""

    a: str
    b: str
    information: float
    expected: tuple[float, ...]


def next_reading(posterior: Posterior, meter: Meter, only: Iterable[Pair] | None = None) -> Telling | None:
    """The most telling resistance to read next, nothing lifted; None when there is none left.

    A pair that was read before is not proposed again: most of a meter's error repeats itself, and an
    average would not take it away.

    Args:
        only: the pairs that can be reached, if not all.
    """
    standing = [e for e in posterior.ranked if e.fit is not None][:_STANDING]
    network = posterior.network
    done = {frozenset(r.key[0]) for r in posterior.readings if not r.lifted}
    if only is None:
        pairs = all_pairs(network)
        labels = np.array(network.parts())
        ends = zip(pairs.u.tolist(), pairs.v.tolist(), strict=True)
        names = _named(network, [(a, b) for a, b in ends if labels[a] == labels[b]])
    else:
        names = list(only)
    names = [pair for pair in names if frozenset(pair) not in done]
    if len(standing) < 2 or not names:
        return None
    i = np.array([network.place(a) for a, _ in names], dtype=np.intp)
    j = np.array([network.place(b) for _, b in names], dtype=np.intp)
    mean = np.empty((len(standing), len(names)))
    variance = np.empty_like(mean)
    for row, explained in enumerate(standing):
        if explained.fit is None:
            raise AssertionError("only fitted explanations stand")
        true, spread2, joined = _predicted(network, explained.fit, i, j)
        # Open is told from any value, and not from open: all such predictions are alike.
        mean[row] = np.where(joined, true, meter.open_above)
        variance[row] = np.where(joined, spread2, 0.0) + meter.u(mean[row]) ** 2
    chance = np.array([explained.chance for explained in standing])
    information = mixture_information(chance / chance.sum(), mean, variance)
    best = int(information.argmax())
    a, b = names[best]
    return Telling(a, b, float(information[best]), tuple(mean[:, best].tolist()))


def _predicted(network: BondNetwork, found: Fit, i: Ints, j: Ints) -> tuple[Floats, Floats, Flags]:
    """Mean and variance of pairs' true resistances under a fit, in ohm and ohm^2; whether they are joined."""
    circuit = solve(network, [found.case], found.x[None, :])
    slopes = circuit.jacobian(i, j)[0]
    variance = ((slopes @ found.covariance) * slopes).sum(axis=1)
    return circuit.resistances(i, j)[0], variance, circuit.joined(i, j)[0]


def mixture_information(chance: Floats, mean: Floats, variance: Floats) -> Floats:
    """Nats that a reading tells about which of several normal predictions is true; a lower bound.

    ``-sum_i w_i log sum_j w_j exp(-B_ij)`` with B the Bhattacharyya distance of two normal
    distributions (Kolchinsky and Tracey, Entropy 19 (2017) 361; cited from memory, not confirmed).

    Args:
        chance: of each explanation, shape (k,), adding to 1.
        mean, variance: predictions, shape (k, readings).
    """
    total = np.zeros(mean.shape[1])
    for row, weight in enumerate(chance.tolist()):
        if weight <= 0:
            continue
        both = variance[row] + variance
        far = (mean[row] - mean) ** 2 / (4.0 * both)
        far += 0.5 * np.log(both / (2.0 * np.sqrt(variance[row] * variance)))
        total -= weight * np.log(chance @ np.exp(-far))
    return total
