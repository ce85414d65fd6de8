"""The one reading without which the conclusion would be another: worth a second look before anybody opens anything.

One figure may be wrong: a digit mistyped, a probe beside its place. A second path or a poor bond that is there shows in
several readings as a rule, a wrong figure in one. So each reading that is not as designed is left out in turn, and the
faults of the likeliest explanation are held against each other anew: all, some or none of them. A reading without which
one of them would not be believed is then left out in full.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import combinations
from math import exp

from bench.diagnose.earth.fit import Case, Problem, Reading, fit
from bench.diagnose.earth.linear import Odds
from bench.diagnose.earth.ranking import Posterior, explain, is_fault
from bench.diagnose.earth.visible import as_designed

HALF = 0.5
"""A fault that is less likely than this without one reading hangs on that reading (own choice)."""
_TRIED = 3
"""Readings at most that are left out in full."""
_AS_DESIGNED = 2.0
"""Standard deviations of meter and bonds within which a reading is as designed, and points nowhere."""


def decisive(posterior: Posterior, faults: Sequence[Case], among: Collection[Reading]) -> Reading | None:
    """The reading without which the conclusion would be another; None where there is none.

    Args:
        posterior: what the readings leave standing.
        faults: those that are told to stand; empty where all that is told is that something is wrong.
        among: readings that can be asked for once more.
    """
    fitted = (one.case for one in posterior.ranked if one.fit is not None and one.case.faults)
    every = next(fitted, Case()).single()
    cases = [_together(some) for count in range(len(every) + 1) for some in combinations(every, count)]
    odds = Odds.of(posterior.network, posterior.prior)
    hang: list[tuple[float, Reading]] = []
    for reading in _not_as_designed(posterior):
        rest = tuple(one for one in posterior.readings if one is not reading)
        if reading not in among or not rest:
            continue
        fits = fit(Problem(posterior.network, rest, posterior.prior), cases)
        logs = [one.log_evidence + odds.log_chance(one.case) for one in fits]
        shares = [exp(one - max(logs)) for one in logs]
        left = [(one.case, share / sum(shares)) for one, share in zip(fits, shares, strict=True)]
        least = _least(posterior, [one for one in faults if one in every], left)
        if least < HALF:
            hang.append((least, reading))
    hang.sort(key=lambda one: one[0])
    for _, reading in hang[:_TRIED]:
        rest = tuple(one for one in posterior.readings if one is not reading)
        without = explain(posterior.network, rest, posterior.prior)
        if _least(posterior, faults, [(one.case, one.chance) for one in without.ranked]) < HALF:
            return reading
    return None


def _together(faults: Sequence[Case]) -> Case:
    """Some single faults as one case."""
    case = Case()
    for one in faults:
        case = case.and_also(one)
    return case


def _least(posterior: Posterior, faults: Sequence[Case], left: Sequence[tuple[Case, float]]) -> float:
    """The chance of the least likely of some faults, or of any fault at all where none is named."""
    if not faults:
        return sum(chance for case, chance in left if is_fault(posterior.network, case))
    return min(sum(chance for case, chance in left if fault in case.single()) for fault in faults)


def _not_as_designed(posterior: Posterior) -> list[Reading]:
    """The readings that no designed bonds would give, as far as meter and bonds spread."""
    return [
        one
        for group in as_designed(posterior.network, posterior.readings)
        for one, joined, ohms, sigma in zip(group.readings, group.joined, group.ohms, group.sigma, strict=True)
        if joined == one.is_open or (joined and abs(one.ohms - ohms) > _AS_DESIGNED * sigma)
    ]
