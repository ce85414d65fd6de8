"""Try one more fault everywhere at once, with the model made linear.

An extra path of r ohm between u and v lowers reading p by ``q_p / (r + R_uv)``, where ``q_p`` is the
square of the potential difference u-v that 1 A through the pair of reading p makes: the rank-one update of
the inverse (Sherman and Morrison). A bond that got worse is an extra path of negative resistance.
So every pair of points, at every size of fault, costs a few multiplications and no new solution, and the
bond values are averaged out by a linear model about the values given.
"""

from __future__ import annotations

from math import log

import msgspec
import numpy as np

from bench.diagnose.earth.fit import MISMATCH, Case, Prior, Problem, solve
from bench.diagnose.earth.model import BondNetwork
from bench.network.cases import Flags, Floats, Ints

_GRID = 21  # sizes of a fault tried, over +-2.6 standard deviations of its prior
_CHUNK = 4096  # pairs screened at a time: bounds the memory


class Pairs(msgspec.Struct, frozen=True):
    """All pairs of points of a network, with what a path between them would mean; arrays (pairs,).

    Attributes:
        u: place of one point.
        v: place of the other.
        beside: whether a designed bond joins the two.
        unwanted: whether the design wants no path there; `BondNetwork.wanted_nowhere`.
    """

    u: Ints
    v: Ints
    beside: Flags
    unwanted: Flags


def all_pairs(network: BondNetwork) -> Pairs:
    """Every pair of points of a network, u before v."""
    count = len(network.points)
    u, v = np.triu_indices(count, 1)
    bonded = np.zeros((count, count), dtype=np.bool_)
    bonded[network.tails, network.heads] = True
    bonded[network.heads, network.tails] = True
    ends = zip(u.tolist(), v.tolist(), strict=True)
    unwanted = np.array([network.wanted_nowhere(a, b) for a, b in ends], dtype=np.bool_)
    return Pairs(u, v, bonded[u, v], unwanted)


class Odds(msgspec.Struct, frozen=True):
    """The prior for one network: logarithms of the chance of each kind of single fault.

    Attributes:
        none: for no fault.
        apart: for a path between two given points that no bond joins.
        beside: for one beside a given pair's bond.
        poor: for a given bond that is poor, and again that is open.
        bonded: pairs of points that a bond joins.
    """

    none: float
    apart: float
    beside: float
    poor: float
    bonded: frozenset[tuple[int, int]]

    @classmethod
    def of(cls, network: BondNetwork, prior: Prior) -> Odds:
        """Share the prior's chances out evenly over the network's pairs and bonds."""
        ends = zip(network.tails.tolist(), network.heads.tolist(), strict=True)
        bonded = frozenset((min(a, b), max(a, b)) for a, b in ends)
        points = len(network.points)
        apart = points * (points - 1) // 2 - len(bonded)
        return cls(
            log(1.0 - prior.extra - prior.poor),
            log(prior.extra * (1.0 - prior.doubled) / max(apart, 1)),
            log(prior.extra * prior.doubled / max(len(bonded), 1)),
            log(prior.poor / max(len(network.bonds), 1)),
            bonded,
        )

    def log_chance(self, case: Case) -> float:
        """Logarithm of the prior chance of a case."""
        if not case.faults:
            return self.none
        return (len(case.poor) + len(case.opened)) * self.poor + sum(
            self.beside if pair in self.bonded else self.apart for pair in case.extras
        )


class Screened(msgspec.Struct, frozen=True):
    """What a screen found.

    Attributes:
        cases: each with one fault more than the base.
        gain: log evidence gained over the base by adding the fault, shape (cases,).
        size: the best logarithm of the extra path's ohms, or of how many times worse the poor bond is, shape (cases,).
    """

    cases: tuple[Case, ...]
    gain: Floats
    size: Floats


class Linear:
    """A problem made linear about values ``x`` of a base case, ready to price more faults.

    Args:
        base: what is already supposed.
        x: logarithms of ohms of the bonds and the base's extra paths, shape (branches,).
    """

    def __init__(self, problem: Problem, base: Case, x: Floats) -> None:
        mean, spread = problem.shape(base)
        self._blocks = [_Block(problem, base, x, place) for place in range(len(problem.groups))]
        jacobian = np.concatenate([block.jacobian for block in self._blocks])
        residual = np.concatenate([block.residual for block in self._blocks])
        self._residual = residual - jacobian @ (mean - x)
        # the errors that readings share, about none
        jacobian = np.concatenate([jacobian, np.concatenate([block.shares for block in self._blocks])], axis=1)
        spread = np.concatenate([spread, np.ones(len(problem.meters))])
        # With W the inverse of U + J S J', and readings in units of u, Woodbury's identity gives
        # W = 1 - J H^-1 J' with H = S^-1 + J' J, applied through the Cholesky factor of H.
        lower = np.linalg.cholesky(jacobian.T @ jacobian + np.diag(spread**-2.0))
        self._pull = np.linalg.solve(lower, jacobian.T)
        self._pulled_residual = self._pull @ self._residual

    def terms(self, u: Ints, v: Ints, present: Flags | None = None) -> tuple[Floats, Floats, Floats, Floats]:
        """What the screen needs of pairs u-v, for each block of readings g (one lifting of bonds).

        Args:
            present: (g, pairs), whether the fault is there in that block; everywhere if None.

        Returns:
            ``linear`` (g, pairs) = q' W e, ``square`` (g, g, pairs) = q' W q, the resistance across the
            pair (g, pairs) in ohm, and the gain by what is open or joined (pairs,).
        """
        count = len(self._blocks)
        linear = np.empty((count, len(u)))
        across = np.empty((count, len(u)))
        square = np.zeros((count, count, len(u)))
        structural = np.zeros(len(u))
        images = []
        first = 0
        for g, block in enumerate(self._blocks):
            rows = slice(first, first + len(block.residual))
            first = rows.stop
            q, across[g], slip = block.effect(u, v)
            if present is not None:
                q = q * present[g]
                slip = slip * present[g]
            structural += slip
            image = self._pull[:, rows] @ q
            images.append(image)
            linear[g] = self._residual[rows] @ q - self._pulled_residual @ image
            square[g, g] = (q**2).sum(axis=0)
        for g in range(count):
            for h in range(count):
                square[g, h] -= (images[g] * images[h]).sum(axis=0)
        return linear, square, across, structural

    def gains(
        self,
        u: Ints,
        v: Ints,
        ohms: Floats,
        log_weight: Floats,
        present: Flags | None = None,
    ) -> tuple[Floats, Ints]:
        """Log evidence gained by a path of ``ohms`` (pairs, sizes), averaged over the sizes.

        ``log_weight`` (sizes,) are the logarithms of the sizes' prior chances; ``present`` as for
        `terms`. Returns the gain of each pair and the place of its best size.
        """
        linear, square, across, structural = self.terms(u, v, present)
        scale = 1.0 / (ohms[None, :, :] + across[:, :, None])
        gain = -np.einsum("gcr,gc->cr", scale, linear)
        gain -= 0.5 * np.einsum("gcr,ghc,hcr->cr", scale, square, scale, optimize=True)
        gain += log_weight
        top = gain.max(axis=1)
        total = top + np.log(np.exp(gain - top[:, None]).sum(axis=1))
        return total + structural, gain.argmax(axis=1)


class _Block:
    """Readings taken with one set of bonds lifted: misfit and slopes in units of u."""

    def __init__(self, problem: Problem, base: Case, x: Floats, place: int) -> None:
        group = problem.groups[place]
        circuit = solve(problem.network, [base], x[None, :], group.lifted)
        potentials = circuit.potentials(group.i, group.j)
        joined = circuit.joined(group.i, group.j)[0]
        counts = joined & ~group.is_open
        weight = counts / group.u
        ohms = circuit.resistances(group.i, group.j)[0]
        self.residual = (group.finite_ohms - ohms) * weight
        self.jacobian = circuit.jacobian(group.i, group.j)[0] * weight[:, None]
        self.shares = group.shares * counts[:, None]
        # A potential is divided by the root of u, since its square is what counts.
        self._potentials = potentials[0] * np.sqrt(weight)
        self._green = circuit.green[0]
        self._labels = circuit.labels[0]
        points = len(problem.network.points)
        self._slip = np.zeros((points, points))
        for i, j in zip(group.i[~joined], group.j[~joined], strict=True):
            self._slip[self._labels[i], self._labels[j]] -= MISMATCH
        for i, j in zip(group.i[~joined & group.is_open], group.j[~joined & group.is_open], strict=True):
            self._slip[self._labels[i], self._labels[j]] += 2.0 * MISMATCH
        self._slip += self._slip.T

    def effect(self, u: Ints, v: Ints) -> tuple[Floats, Floats, Floats]:
        """Squares of the transfers in units of u (readings, pairs), ohms across, structural gain."""
        a, b = self._labels[u], self._labels[v]
        together = a == b
        q = ((self._potentials[u] - self._potentials[v]) ** 2).T * together
        green = self._green
        across = np.where(together, green[u, u] + green[v, v] - 2.0 * green[u, v], 1.0)
        return q, across, np.where(together, 0.0, self._slip[a, b])


def screen(problem: Problem, pairs: Pairs, base: Case, x: Floats) -> Screened:
    """Price every pair as an extra path, and every bond as poor, on top of ``base`` about ``x``."""
    prior = problem.prior
    linear = Linear(problem, base, x)
    node = np.linspace(-2.6, 2.6, _GRID)
    log_weight = -0.5 * node**2
    log_weight -= np.log(np.exp(log_weight).sum())
    cases: list[Case] = []
    gains, sizes = [], []
    log_ohms = log(prior.extra_ohms) + node * log(prior.extra_factor)
    for first in range(0, len(pairs.u), _CHUNK):
        u, v = pairs.u[first : first + _CHUNK], pairs.v[first : first + _CHUNK]
        ohms = np.broadcast_to(np.exp(log_ohms), (len(u), _GRID))
        gain, best = linear.gains(u, v, ohms, log_weight)
        cases += [Case(((a, b),)) for a, b in zip(u.tolist(), v.tolist(), strict=True)]
        gains.append(gain)
        sizes.append(log_ohms[best])
    bonds = len(problem.network.bonds)
    if bonds:
        # Sizes at or below the design are no poor bond; 5 % worse stands in for them.
        worse = np.maximum(log(prior.poor_times) + node * log(prior.poor_factor), 0.05)
        # before * after / (before - after), with after = before * exp(worse)
        ohms = np.exp(x[:bonds])[:, None] / np.expm1(-worse)[None, :]
        network = problem.network
        fitted = np.ones((len(problem.groups), bonds), dtype=np.bool_)
        for place, group in enumerate(problem.groups):
            fitted[place, [*group.lifted, *base.opened]] = False
        gain, best = linear.gains(network.tails, network.heads, ohms, log_weight, fitted)
        cases += [Case(poor=(k,)) for k in range(bonds)]
        gains.append(gain)
        sizes.append(worse[best])
    return Screened(tuple(cases), np.concatenate(gains), np.concatenate(sizes))
