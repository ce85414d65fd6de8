"""Which nodes belong together, as a distribution over matchings of a weighted graph.

A matching M has the probability prod(w_ij for ij in M) / Z; a node that is left alone weighs 1. Loose ends and their
mates are such a graph; ends and free places are one too, with edges between the two kinds only.

Three ways, one answer each node with its chance of each mate and of none:

- *Exact*, for a part of the graph of no more than `SMALL` nodes: with Z(S) summed over the matchings of a set of nodes,
  Z(S + i) = Z(S) + sum over j in S of w_ij Z(S - j), and P(ij) = w_ij Z(V - i - j) / Z(V). (From memory: the recursion
  over subsets that counts perfect matchings, with nodes that may stay alone.)
- *Belief propagation*, m_ij = 1 / (1 + sum over k != j of w_ik m_ki), P(ij) = w m_ij m_ji / (1 + w m_ij m_ji): quick,
  not exact on a graph with circles. It only says which edges are worth proposing. (Williams & Lau, arXiv 1209.6299.)
- *Sampling*, for larger parts: add, remove and slide one edge (Jerrum & Sinclair, SIAM J. Comput. 18 (1989) 1149), and
  switch two pairs over. Edges are proposed with fixed chances from belief propagation, accepted by Hastings' ratio.
  Many chains step at once, half of them from the best matching and half anyhow: where the two halves differ is how far
  the figures can be trusted.
"""

from __future__ import annotations

import itertools
from typing import Final

import msgspec
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SMALL: Final = 16
"""Nodes of a part that is still counted out: 2 to this power numbers are kept."""
CHAINS: Final = 256
"""Chains that step at once: one step of numpy's costs little more for many than for one."""
ALONE: Final = -1
"""Stands for no mate."""
_DROP: Final = 1e-7
"""An edge whose weight is below this and that belief propagation gives less than this is left out."""
_DAMPING: Final = 0.3
"""Of belief propagation, in logarithms: the best of several tried on hard piles."""
_ROUNDS: Final = 600
_SETTLED: Final = 1e-4


class Belief(msgspec.Struct, frozen=True):
    """What a weighted graph says of each node."""

    pairs: Floats
    """Chance of each pair, symmetric."""
    alone: Floats
    """Chance of each node to have no mate."""
    samples: Ints
    """Matchings drawn from the distribution: a row each, a node's mate or ``ALONE`` in each column."""
    doubt: float
    """Largest difference of a chance between chains that began differently; 0 where all was counted out."""


def solve(weights: Floats, rng: np.random.Generator, steps: int = 0) -> Belief:
    """The chance of each pair of nodes.

    Args:
        weights: symmetric, not negative, 0 on the diagonal and where two nodes cannot belong together.
        rng: for the sampling; the same seed gives the same answer.
        steps: of each chain; by default as many as the graph's size wants.

    Returns:
        Chances and samples.
    """
    count = len(weights)
    pairs = np.zeros((count, count))
    alone = np.ones(count)
    weights = _worth_it(weights)
    parts, part_of = connected_components(csr_array(weights > 0), directed=False)
    drawn: list[tuple[Ints, Ints]] = []
    doubt = 0.0
    for part in range(parts):
        nodes = np.flatnonzero(part_of == part)
        if len(nodes) == 1:
            continue
        inner = weights[np.ix_(nodes, nodes)]
        if len(nodes) <= SMALL:
            chances, samples = _counted(inner, rng)
        else:
            chances, samples, differ = _sampled(inner, rng, steps or 3000 + 40 * len(nodes))
            doubt = max(doubt, differ)
        pairs[np.ix_(nodes, nodes)] = chances
        alone[nodes] = np.clip(1.0 - chances.sum(axis=1), 0.0, 1.0)
        drawn.append((nodes, samples))
    rows = max((len(samples) for _, samples in drawn), default=CHAINS)
    mates = np.full((rows, count), ALONE, dtype=np.int64)
    for nodes, samples in drawn:
        # parts are independent: their rows may be put beside each other in any order
        taken = samples[rng.permutation(rows) % len(samples)]
        mates[:, nodes] = np.where(taken == ALONE, ALONE, nodes[taken])
    return Belief(pairs, alone, mates, doubt)


def _worth_it(weights: Floats) -> Floats:
    """The weights without edges that can never matter, so that the graph falls into parts."""
    if not weights.any():
        return weights
    kept = np.where(weights < _DROP, 0.0, weights)
    chances = _propagated(kept)
    return np.where((chances < _DROP) & (kept < 1e-2), 0.0, kept)


def _counted(weights: Floats, rng: np.random.Generator) -> tuple[Floats, Ints]:
    """Exact chances of a small part, and samples of it."""
    count = len(weights)
    scale = max(1.0, float(weights.max()))
    # scaled by node, so that no product of weights leaves the range of a float
    sums = subset_sums(weights / scale, 1.0 / np.sqrt(scale))
    full = (1 << count) - 1
    chances = np.zeros((count, count))
    for one in range(count):
        for other in range(one):
            if weights[one, other] > 0:
                rest = full ^ (1 << one) ^ (1 << other)
                chances[one, other] = chances[other, one] = weights[one, other] / scale * sums[rest] / sums[full]
    return chances, _drawn(weights / scale, 1.0 / np.sqrt(scale), sums, rng)


def subset_sums(weights: Floats, alone: float = 1.0) -> Floats:
    """Sum over the matchings of every set of nodes.

    Args:
        weights: of the pairs, symmetric.
        alone: weight of a node without a mate.

    Returns:
        The sum for each set, a set being the number whose bits are its nodes.
    """
    count = len(weights)
    sums = np.zeros(1 << count)
    sums[0] = 1.0
    for node in range(count):
        half = 1 << node
        sums[half : 2 * half] = alone * sums[:half]
        for other in range(node):
            if weights[node, other] > 0:
                shape = (-1, 2, 1 << other)
                above, below = sums[half : 2 * half].reshape(shape), sums[:half].reshape(shape)
                above[:, 1] += weights[node, other] * below[:, 0]
    return sums


def _drawn(weights: Floats, alone: float, sums: Floats, rng: np.random.Generator, rows: int = CHAINS) -> Ints:
    """Matchings drawn exactly, node by node from the last."""
    count = len(weights)
    mates = np.full((rows, count), ALONE, dtype=np.int64)
    left = np.full(rows, (1 << count) - 1, dtype=np.int64)
    for node in reversed(range(count)):
        there = np.flatnonzero(left >> node & 1)
        if not len(there):
            continue
        rest = left[there] ^ (1 << node)
        choices = np.zeros((len(there), node + 1))
        choices[:, node] = alone * sums[rest]
        for other in range(node):
            has = (rest >> other & 1).astype(bool)
            choices[has, other] = weights[node, other] * sums[rest[has] ^ (1 << other)]
        edges = np.cumsum(choices, axis=1)
        picked = (edges < (rng.random(len(there)) * edges[:, -1])[:, None]).sum(axis=1)
        paired = picked < node
        mates[there[paired], node] = picked[paired]
        mates[there[paired], picked[paired]] = node
        rest[paired] ^= 1 << picked[paired]
        left[there] = rest
    return mates


def _propagated(weights: Floats) -> Floats:
    """Chances by belief propagation: near, not exact."""
    top = float(weights.max(initial=0.0))
    if top <= 0:
        return np.zeros_like(weights)
    logs = np.full(weights.shape, -np.inf)
    np.log(weights, out=logs, where=weights > 0)
    rows = np.arange(len(weights))
    message = np.zeros_like(weights)
    for _ in range(_ROUNDS):
        coming = weights * np.exp(message.T)
        largest = coming.argmax(axis=1)
        total = coming.sum(axis=1)
        rest = np.maximum(total[:, None] - coming, 0.0)
        # what is left after the largest is taken off would be lost in the rounding
        without = coming.copy()
        without[rows, largest] = 0.0
        rest[rows, largest] = without.sum(axis=1)
        new = _DAMPING * message - (1.0 - _DAMPING) * np.log1p(rest)
        moved = float(np.abs(new - message).max())
        message = new
        if moved < _SETTLED:
            break
    joined = np.exp(np.minimum(logs + message + message.T, 700.0))
    return np.asarray(joined / (1.0 + joined))


def best(weights: Floats) -> Ints:
    """One matching of great weight: scipy's assignment of nodes to nodes, its circles cut into pairs.

    It is the best one where the assignment has no circle of an odd number of nodes, and good otherwise. It only begins
    chains and proposes; no chance rests on it.

    Args:
        weights: symmetric.

    Returns:
        Each node's mate, or ``ALONE``.
    """
    count = len(weights)
    gains = np.where(weights > 0, np.log(np.maximum(weights, 1e-300)), -np.inf)
    gains = np.where(gains > 0, gains, 0.0)
    to = linear_sum_assignment(gains, maximize=True)[1]
    mates = np.full(count, ALONE, dtype=np.int64)
    seen = np.zeros(count, dtype=bool)
    for begin in range(count):
        if seen[begin]:
            continue
        circle = [begin]
        seen[begin] = True
        while not seen[to[circle[-1]]]:
            circle.append(int(to[circle[-1]]))
            seen[circle[-1]] = True
        for one, other in _pairs_of_circle(circle, gains):
            mates[one], mates[other] = other, one
    return mates


def _pairs_of_circle(circle: list[int], gains: Floats) -> list[tuple[int, int]]:
    """The best pairs of neighbours in a circle of nodes."""

    def along(nodes: list[int]) -> tuple[float, list[tuple[int, int]]]:
        """The best pairs of neighbours in a row of nodes: the last one is alone or with the one before."""
        before: tuple[float, list[tuple[int, int]]] = (0.0, [])
        last: tuple[float, list[tuple[int, int]]] = (0.0, [])
        for one, other in itertools.pairwise(nodes):
            gain = float(gains[one, other])
            joined = (before[0] + gain, [*before[1], (one, other)]) if gain > 0 else last
            before, last = last, max(last, joined, key=_first)
        return last

    if len(circle) < 2:
        return []
    closing = float(gains[circle[-1], circle[0]])
    with_closing = along(circle[1:-1])
    joined = (with_closing[0] + closing, [*with_closing[1], (circle[-1], circle[0])])
    return max(along(circle), joined if closing > 0 else (0.0, []), key=_first)[1]


def _first(pair: tuple[float, list[tuple[int, int]]]) -> float:
    return pair[0]


def _begin_anyhow(state: Ints, guess: Floats, rng: np.random.Generator) -> None:
    """Put each chain into a matching of its own: node by node, in any order, by belief propagation's chances."""
    nobody = guess.shape[0]
    sums = np.cumsum(guess, axis=1)
    for row in state:
        for node, draw in zip(rng.permutation(nobody).tolist(), rng.random((nobody,)).tolist(), strict=True):
            mate = int(np.searchsorted(sums[node], draw))
            if mate < nobody and row[node] == row[mate] == nobody and mate != node:
                row[node], row[mate] = mate, node


def _sampled(weights: Floats, rng: np.random.Generator, steps: int) -> tuple[Floats, Ints, float]:
    """Chances of a larger part by sampling.

    Nobody is a node of its own here, the last: being with it weighs 1, so one rule serves all moves. A chain proposes
    the pair i, j; let their mates be a, b. Where they are each other's, the pair is taken off; otherwise i, j become a
    pair and so do a, b.

    Returns:
        Chances, samples, and the largest difference between the two halves of the chains.
    """
    count = len(weights)
    nobody, wide = count, count + 1
    guess = _propagated(weights)
    ones, others = np.nonzero(np.triu(weights, 1))
    # an edge that belief propagation is sure of, or sure against, is still tried now and then: it may be mistaken
    chance = (np.sqrt(guess * (1.0 - guess)) + 0.02 * guess)[ones, others]
    chance += 0.02 * chance.sum() / len(chance)
    chance /= chance.sum()
    square = np.zeros((2, wide, wide))
    square[0, :count, :count] = weights
    square[0, nobody] = square[0, :, nobody] = 1.0
    square[1, ones, others] = square[1, others, ones] = chance
    weigh, proposed = square[0].reshape(-1), square[1].reshape(-1)

    state = np.full((CHAINS, wide), nobody, dtype=np.int64)
    begun = best(weights)
    state[: CHAINS // 2, :count] = np.where(begun == ALONE, nobody, begun)
    _begin_anyhow(state[CHAINS // 2 :], guess, rng)
    flat = state.reshape(-1)
    base = np.arange(CHAINS) * wide
    tally = np.zeros((2, count * wide))
    burnt, every = steps // 3, max(1, steps // 120)
    kept: list[Ints] = []
    edges = np.cumsum(chance)
    index = np.arange(count) * wide
    for begin in range(0, steps, 256):
        size = min(256, steps - begin)
        picks = np.searchsorted(edges[:-1], rng.random((size, CHAINS)) * edges[-1])
        draws, first, second = rng.random((size, CHAINS)), ones[picks], others[picks]
        at_first, at_second = base + first, base + second
        weight, ahead = weigh[first * wide + second], chance[picks]
        off = 1.0 / weight
        for turn in range(size):
            one, other = first[turn], second[turn]
            mate, others_mate = flat.take(at_first[turn]), flat.take(at_second[turn])
            held, others_held = one * wide + mate, other * wide + others_mate
            left = mate * wide + others_mate
            back = proposed.take(held) + proposed.take(others_held)
            joined = mate == other
            # a pair is put on where both are alone, and taken off, by the same proposal
            same = joined | (back == 0.0)
            ratio = weight[turn] * weigh.take(left) / (weigh.take(held) * weigh.take(others_held))
            hastings = back / (ahead[turn] + proposed.take(left))
            ratio *= np.where(same, 1.0, hastings)
            taken = np.flatnonzero(draws[turn] < np.where(joined, off[turn], ratio))
            if len(taken):
                parted = joined[taken]
                at, mate, others_mate = base[taken], mate[taken], others_mate[taken]
                flat[at + mate] = others_mate
                flat[at + others_mate] = mate
                flat[at_first[turn][taken]] = np.where(parted, nobody, other[taken])
                flat[at_second[turn][taken]] = np.where(parted, nobody, one[taken])
            step = begin + turn
            if step >= burnt and step % every == 0:
                now = state[:, :count]
                for half in (0, 1):
                    place = index + now[half * CHAINS // 2 : (half + 1) * CHAINS // 2]
                    tally[half] += np.bincount(place.reshape(-1), minlength=tally.shape[1])
                kept.append(np.where(now == nobody, ALONE, now))
    shares = tally.reshape(2, count, wide)
    shares /= shares.sum(axis=2, keepdims=True)
    both = shares.mean(axis=0)[:, :count]
    differ = float(np.abs(shares[0] - shares[1]).max())
    samples = np.concatenate(kept[:: max(1, len(kept) // 16)])
    return (both + both.T) / 2.0, samples, differ
