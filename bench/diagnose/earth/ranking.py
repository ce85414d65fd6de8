"""Which explanation do the readings of an earthing network support: none, a second path, a poor bond?

`explain` returns the posterior over `Case`s. Every pair of points is screened as a possible second path,
and every bond as a possible poor one (`earth_screen`); the few that matter are fitted in full
(`earth_fit`), and the screen is repeated about the best of them, since a strong second path moves the
bond values a long way. When one fault leaves something unexplained, the screen is run on top of the best
single faults, and pairs of faults are fitted too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cached_property
from math import exp, sqrt

import msgspec
import numpy as np

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.fit import Case, Fit, Prior, Problem, Reading, fit
from bench.diagnose.earth.linear import Odds, Pairs, Screened, all_pairs, screen
from bench.diagnose.earth.model import BondNetwork
from bench.network.cases import Floats

_REFINE = 48  # cases fitted in full at most, each round
_SECOND = 16  # the same, of pairs of faults on top of one
_DROP = 10.0  # nats below the best at which a screened case is not worth a full fit
_WORTH = -6.0  # nats below no fault at which the same holds
_BASES = 4  # single faults on top of which a second is looked for
_MORE = 10  # the same, when no single fault explains the readings, however unlikely these are alone
_ODD = 2.0  # standard deviations of misfit from which readings count as unexplained
_ROUNDS = 4  # times that a pair of faults is improved one fault at a time


class Explained(msgspec.Struct, frozen=True):
    """A case with its chance, and its fit where it was worth one."""

    case: Case
    chance: float
    fit: Fit | None


class Suspect(msgspec.Struct, frozen=True):
    """One fault (a `Case` of one), its chance, and the likeliest explanation that holds it."""

    fault: Case
    chance: float
    within: Explained

    @property
    def ohms(self) -> tuple[float, float, float] | None:
        """Ohms of the suspected path or bond and the ends of their 95 % interval; None if open or not fitted."""
        found = self.within.fit
        if found is None or self.fault.opened:
            return None
        if self.fault.poor:
            return found.ohms(self.fault.poor[0])
        bonds = len(found.x) - len(found.case.extras)
        return found.ohms(bonds + found.case.extras.index(self.fault.extras[0]))


class Posterior(msgspec.Struct, frozen=True, dict=True):
    """What the readings leave standing.

    ``ranked`` are all cases of no fault, one fault and (where they were tried) two, the likeliest
    first; their chances add to 1. ``none`` is the fit without any fault.
    """

    network: BondNetwork
    readings: tuple[Reading, ...]
    prior: Prior
    ranked: tuple[Explained, ...]
    none: Fit

    @property
    def best(self) -> Explained:
        """The likeliest case."""
        return self.ranked[0]

    @cached_property
    def alarm(self) -> float:
        """Chance that something is wrong: an unwanted path, or a poor bond."""
        return sum(e.chance for e in self.ranked if is_fault(self.network, e.case))

    @cached_property
    def second_crossing(self) -> float:
        """Chance of a path from inside to outside away from the single-point connection."""
        return self._chance_of_path(self.network.crosses)

    @cached_property
    def not_listed(self) -> float:
        """Chance of a path from inside to outside that the design does not have, be it at the single-point connection
        itself, where it would be one connection with that."""
        points = self.network.points
        return self._chance_of_path(lambda u, v: points[u].outside != points[v].outside)

    @cached_property
    def inside_loop(self) -> float:
        """Chance of a path inside that closes a loop where the design wants a star."""
        network = self.network
        return self._chance_of_path(lambda u, v: network.wanted_nowhere(u, v) and not network.crosses(u, v))

    def _chance_of_path(self, is_one: Callable[[int, int], bool]) -> float:
        """Chance of a second path between two places of which that is so."""
        return sum(e.chance for e in self.ranked if any(is_one(u, v) for u, v in e.case.extras))

    @cached_property
    def suspects(self) -> tuple[Suspect, ...]:
        """Every single fault with its chance over all cases that hold it, the likeliest first."""
        chances: dict[Case, float] = {}
        first: dict[Case, Explained] = {}
        for explained in self.ranked:
            for fault in explained.case.single():
                chances[fault] = chances.get(fault, 0.0) + explained.chance
                first.setdefault(fault, explained)
        found = [Suspect(fault, chance, first[fault]) for fault, chance in chances.items()]
        found = [suspect for suspect in found if is_fault(self.network, suspect.fault)]
        return tuple(sorted(found, key=lambda suspect: -suspect.chance))

    def credible(self, share: float = 0.95) -> tuple[Suspect, ...]:
        """The likeliest suspects whose chances add up to ``share`` of all suspects' chances."""
        wanted = share * sum(suspect.chance for suspect in self.suspects)
        total = 0.0
        held = []
        for suspect in self.suspects:
            held.append(suspect)
            total += suspect.chance
            if total >= wanted:
                break
        return tuple(held)

    def place_of(self, fault: Case) -> int | None:
        """Place of a single fault among the suspects, 0 for the first; None if it was not tried."""
        for place, suspect in enumerate(self.suspects):
            if suspect.fault == fault:
                return place
        return None

    @property
    def misfit(self) -> float:
        """Squared misfit of readings and values of the best case, about 1 for each reading when all is well."""
        best = self.best.fit or self.none
        return (best.chi2 + best.against_design) / max(len(self.readings), 1)


def is_fault(network: BondNetwork, case: Case) -> bool:
    """Whether a case holds anything that the design does not want."""
    return bool(case.poor or case.opened) or any(network.wanted_nowhere(u, v) for u, v in case.extras)


def explain(network: BondNetwork, readings: Iterable[Reading], prior: Prior | None = None) -> Posterior:
    """The posterior over explanations of the readings.

    Raises:
        DiagnoseError: no readings, or a reading that names a point or bond that is not there.
    """
    problem = Problem(network, tuple(readings), prior or Prior())
    return _Search(problem).run()


class _Search:
    """One run of `explain`: the cases fitted and screened so far, with their log weights."""

    def __init__(self, problem: Problem) -> None:
        if not problem.readings:
            raise DiagnoseError("no readings to judge by")
        self.problem = problem
        self.pairs: Pairs = all_pairs(problem.network)
        self.odds = Odds.of(problem.network, problem.prior)
        self.none = fit(problem, [Case()])[0]
        self.fits: dict[Case, Fit] = {Case(): self.none}
        self.screened: dict[Case, float] = {}

    def weight(self, found: Fit) -> float:
        """Log of posterior over that of no fault at all."""
        prior = self.odds.log_chance(found.case) - self.odds.none
        return found.log_evidence - self.none.log_evidence + prior

    def run(self) -> Posterior:
        first = screen(self.problem, self.pairs, Case(), self.none.x)
        prior = np.array([self.odds.log_chance(case) for case in first.cases]) - self.odds.none
        weights = first.gain + prior
        self.screened = dict(zip(first.cases, weights.tolist(), strict=True))
        bar = max(float(weights.max(initial=-np.inf)) - _DROP, _WORTH)
        self._refine(first, weights, bar, Case(), self.none.x)
        self._opened()
        best = self._best(1)
        if best is not None and self.weight(best) > _WORTH:
            # About the bond values of the best single fault the linear model is near the truth.
            bonds = best.x[: len(self.problem.network.bonds)]
            again = screen(self.problem, self.pairs, Case(), bonds)
            ranks = again.gain + prior
            least = _MORE if self._unexplained(best) else 0
            self._refine(again, ranks, float(ranks.max()) - _DROP, Case(), bonds, least=least)
            self._refine(first, weights, bar, Case(), self.none.x, least=least)
            self._second()
        return self._posterior()

    def _opened(self) -> None:
        """Where a reading showed open, fit the one or two open bonds that explain what is joined."""
        base = Case()
        for _ in range(2):
            slips = self._slips(base)
            trials = [base.and_also(Case(opened=(k,))) for k in range(len(self.problem.network.bonds))]
            left = [self._slips(case) for case in trials] if slips else []
            least = min(left, default=slips)
            if least >= slips:
                return
            best = [case for case, count in zip(trials, left, strict=True) if count == least][:_REFINE]
            found = fit(self.problem, best)
            self.fits |= {done.case: done for done in found}
            base = max(found, key=self.weight).case

    def _slips(self, case: Case) -> int:
        """Readings that are open where the case joins, or the other way round."""
        count = 0
        for group in self.problem.groups:
            labels = np.array(self.problem.network.parts((*group.lifted, *case.opened)))
            count += int(((labels[group.i] == labels[group.j]) == group.is_open).sum())
        return count

    def _refine(
        self,
        found: Screened,
        weights: Floats,
        bar: float,
        base: Case,
        x: Floats,
        most: int = _REFINE,
        least: int = 0,
    ) -> None:
        """Fit the best screened cases on top of ``base`` that have not been fitted yet.

        At most ``most`` of them; of those below the ``bar`` only what is among the first ``least``.
        """
        order = np.argsort(-weights, kind="stable")[:most]
        cases, start = [], []
        bonds = len(self.problem.network.bonds)
        for rank, place in enumerate(order.tolist()):
            case = base.and_also(found.cases[place])
            if (weights[place] < bar and rank >= least) or case in self.fits or case.faults == base.faults:
                continue
            first = np.empty(bonds + len(case.extras))
            first[:bonds] = x[:bonds]
            for k in found.cases[place].poor:
                first[k] += found.size[place]
            sizes = dict(zip(base.extras, x[bonds:].tolist(), strict=True))
            sizes |= dict.fromkeys(found.cases[place].extras, float(found.size[place]))
            first[bonds:] = [sizes[pair] for pair in case.extras]
            cases.append(case)
            start.append(first)
        fits = fit(self.problem, cases, start)
        self.fits |= {done.case: done for done in fits}

    def _unexplained(self, found: Fit) -> bool:
        """Whether the misfit, about chi-squared with as many degrees as readings, is too large for chance."""
        count = len(self.problem.readings)
        return found.chi2 + found.against_design > count + _ODD * sqrt(2.0 * count)

    def _best(self, faults: int) -> Fit | None:
        found = [done for case, done in self.fits.items() if case.faults == faults]
        return max(found, key=self.weight, default=None)

    def _second(self) -> None:
        """Look for a second fault on top of the best single ones, then improve each in turn."""
        singles = sorted(
            (done for case, done in self.fits.items() if case.faults == 1),
            key=self.weight,
            reverse=True,
        )
        many = _MORE if self._unexplained(singles[0]) else _BASES
        # Open readings are told by an open bond alone, so it is a base whatever else there is.
        opened = [done for done in singles if done.case.opened][:_BASES]
        others = [done for done in singles if not done.case.opened][:many]
        bases = [(done.case, done.x) for done in (*opened, *others)]
        tried: set[Case] = set()
        for _ in range(_ROUNDS):
            for base, x in bases:
                self._on_top_of(base, x)
            best = self._best(2)
            if best is None or self.weight(best) < self.weight(singles[0]) or best.case in tried:
                return
            tried.add(best.case)
            bases = [self._less(pair, place) for pair in (best, *self._crossed(best)) for place in range(2)]

    def _crossed(self, found: Fit) -> list[Fit]:
        """Two extra paths with their ends exchanged: they look alike, and no change of one path leads there."""
        if len(found.case.extras) != 2:
            return []
        (a, b), (c, d) = found.case.extras
        cases = []
        for one, two in (((a, c), (b, d)), ((a, d), (b, c))):
            if one[0] != one[1] and two[0] != two[1]:
                paths = ((min(one), max(one)), (min(two), max(two)))
                cases.append(Case().and_also(Case(paths)))
        fresh = [case for case in cases if case not in self.fits and case.faults == 2]
        sizes = found.x.copy()
        bonds = len(self.problem.network.bonds)
        sizes[bonds:] = sizes[bonds:].mean()
        self.fits |= {done.case: done for done in fit(self.problem, fresh, [sizes] * len(fresh))}
        return [self.fits[case] for case in cases if case in self.fits]

    def _on_top_of(self, base: Case, x: Floats) -> None:
        found = screen(self.problem, self.pairs, base, x)
        start = self.fits[base] if base in self.fits else fit(self.problem, [base], [x])[0]
        chances = [self.odds.log_chance(base.and_also(case)) for case in found.cases]
        weights = found.gain + np.array(chances) - self.odds.none
        weights += start.log_evidence - self.none.log_evidence
        top = max(self.weight(done) for done in self.fits.values())
        self._refine(found, weights, max(top, float(weights.max())) - _DROP, base, x, _SECOND)

    def _less(self, found: Fit, place: int) -> tuple[Case, Floats]:
        """A pair of faults without one of them, at the values that it has in the pair."""
        bonds = len(self.problem.network.bonds)
        case = found.case
        gone = case.single()[place]
        x = found.x.copy()
        for k in gone.poor:
            x[k] = self.problem.design[k]
        left = case.without(gone)
        return left, np.delete(x, [bonds + case.extras.index(pair) for pair in gone.extras])

    def _posterior(self) -> Posterior:
        weights = {**self.screened, **{case: self.weight(f) for case, f in self.fits.items()}}
        top = max(weights.values())
        total = sum(exp(weight - top) for weight in weights.values())
        ranked = sorted(weights, key=lambda case: -weights[case])
        problem = self.problem
        return Posterior(
            problem.network,
            problem.readings,
            problem.prior,
            tuple(Explained(case, exp(weights[case] - top) / total, self.fits.get(case)) for case in ranked),
            self.none,
        )
