"""The one reading without which the conclusion would be another: worth a second look before anybody opens anything.

One figure may be wrong: a digit mistyped, a probe beside its place. A second path or a poor bond that is there shows in
several readings as a rule, a wrong figure in one. So each reading is left out in turn. For the explanations that were
fitted this takes no new fit: where a reading with misfit r (in standard uncertainties) and leverage h is left out, the
logarithm of an explanation's evidence grows by ``r^2 / (2 (1 - h)) - log(1 - h) / 2`` (the usual leave-one-out of a
linear model: Cook and Weisberg, Residuals and Influence in Regression, 1982, section 2.2; from memory). What it points
at is then worked out in full.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from bench.diagnose.earth.fit import MISMATCH, Case, Problem, Reading, solve
from bench.diagnose.earth.ranking import Explained, Posterior, explain, is_fault
from bench.network.cases import Floats

HALF = 0.5
"""A fault that is less likely than this without one reading hangs on that reading (own choice)."""
_TRIED = 3
"""Readings at most that are left out in full."""
_FITTED = 64
"""The likeliest explanations that are looked at."""


def decisive(posterior: Posterior, faults: Sequence[Case], among: Collection[Reading]) -> Reading | None:
    """The reading without which the conclusion would be another; None where there is none.

    Args:
        posterior: what the readings leave standing.
        faults: those that are told to stand; empty where all that is told is that something is wrong.
        among: readings that can be asked for once more.
    """
    fitted = [one for one in posterior.ranked if one.fit is not None][:_FITTED]
    gains = np.array([_gains(posterior, one) for one in fitted])
    logs = np.log([max(one.chance, 1e-300) for one in fitted])
    hang: list[tuple[float, Reading]] = []
    for place, reading in enumerate(posterior.readings):
        if reading not in among:
            continue
        weights = logs + gains[:, place]
        weights = np.exp(weights - weights.max())
        left = [(one.case, share) for one, share in zip(fitted, (weights / weights.sum()).tolist(), strict=True)]
        least = _least(posterior, faults, left)
        if least < HALF:
            hang.append((least, reading))
    hang.sort(key=lambda one: one[0])
    for _, reading in hang[:_TRIED]:
        rest = [one for one in posterior.readings if one is not reading]
        if rest:
            without = explain(posterior.network, rest, posterior.prior)
            if _least(posterior, faults, [(one.case, one.chance) for one in without.ranked]) < HALF:
                return reading
    return None


def _least(posterior: Posterior, faults: Sequence[Case], left: Sequence[tuple[Case, float]]) -> float:
    """The chance of the least likely of some faults, or of any fault at all where none is named."""
    if not faults:
        return sum(chance for case, chance in left if is_fault(posterior.network, case))
    return min(sum(chance for case, chance in left if fault in case.single()) for fault in faults)


def _gains(posterior: Posterior, one: Explained) -> list[float]:
    """By how much the logarithm of an explanation's evidence grows where each reading in turn is left out."""
    assert one.fit is not None
    problem = Problem(posterior.network, posterior.readings, posterior.prior)
    found: dict[int, float] = {}
    places: dict[tuple[int, ...], list[int]] = {}
    for place, reading in enumerate(posterior.readings):
        key = tuple(sorted(posterior.network.bond_place(name) for name in reading.lifted))
        places.setdefault(key, []).append(place)
    for group in problem.groups:
        circuit = solve(problem.network, [one.case], one.fit.x[None, :], group.lifted)
        joined = circuit.joined(group.i, group.j)[0]
        slips = joined == group.is_open
        both = joined & ~group.is_open
        misfit = np.where(both, (circuit.resistances(group.i, group.j)[0] - group.finite_ohms) / group.u, 0.0)
        slope: Floats = circuit.jacobian(group.i, group.j)[0] * (both / group.u)[:, None]
        leverage = np.clip(((slope @ one.fit.covariance) * slope).sum(axis=1), 0.0, 1.0 - 1e-9)
        gain = 0.5 * misfit**2 / (1.0 - leverage) - 0.5 * np.log1p(-leverage)
        gain = np.where(slips, -MISMATCH, gain)
        found |= dict(zip(places[group.lifted], gain.tolist(), strict=True))
    return [found[place] for place in range(len(posterior.readings))]
