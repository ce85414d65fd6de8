"""How well an explanation fits the readings: the most likely bond values, and the evidence.

The model: the logarithm of each bond's resistance is normal about the design's value with the bond's
spread; a reading is the true two-point resistance plus normal noise of its own standard uncertainty. Readings with
one meter share an error besides (`SHARED`): a zero or a gain that is off stays so.
An explanation (`Case`) adds *extra* paths, lets bonds be *poor* or has them *open*; the logarithm of an extra
path's resistance, and of how much worse a poor bond is, are normal too (`Prior`).

The resistances of many cases at once, and their slopes, come from :mod:`bench.network.cases`. The best values are
found by damped Gauss-Newton steps, for many cases at once, and the evidence by Laplace's approximation
(MacKay, Information Theory, Inference, and Learning Algorithms, chapter 27).

Readings taken with bonds lifted, and readings that showed *open*, take part: an open reading tells what
is joined to what, and a case that says otherwise is charged `MISMATCH`.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from math import exp, hypot, inf, isfinite, isnan, log

import msgspec
import numpy as np

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.model import BondNetwork
from bench.network.cases import Cases, Flags, Floats, Ints, solve_cases
from bench.network.joined import Joined

# Log likelihood of a reading that is open where the case says joined, or the other way round: a probe
# that missed. Not minus infinity, so that one slip does not kill the truth for ever.
MISMATCH = -25.0

SHARED = 0.7
"""The error that is one and the same in all readings with one meter, as a part of a reading's own standard uncertainty.
A leaflet gives limits, and not how much of them is a zero or a gain that is off: so each reading keeps all of them for
its own, and so much is shared besides (own choice)."""

_STEPS = 25
_ENOUGH = 1e-4  # nats of objective between two steps


class Meter(msgspec.Struct, frozen=True):
    """Standard uncertainty of a resistance reading: ``relative`` of the reading plus ``floor_ohms``.

    ``open_above`` is the most that the meter can show, in ohm; more reads as open.
    """

    relative: float = 0.005
    floor_ohms: float = 10e-6
    open_above: float = 1e3

    def __post_init__(self) -> None:
        if not (0 <= self.relative < 1 and self.floor_ohms >= 0 and self.open_above > 0):
            raise DiagnoseError(
                f"meter: relative {self.relative}, floor {self.floor_ohms} ohm,"
                f" open above {self.open_above} ohm; expected 0 to 1, 0 or more, above 0"
            )
        if self.relative == 0 and self.floor_ohms == 0:
            raise DiagnoseError("meter: an uncertainty above 0 is expected")

    def u(self, ohms: Floats | float) -> Floats:
        """Standard uncertainty in ohm of readings of ``ohms``, of the same shape."""
        return np.asarray(self.relative * np.abs(ohms) + self.floor_ohms, dtype=np.float64)


class Reading(msgspec.Struct, frozen=True):
    """A resistance read between two points, four-wire or with the leads' share taken off.

    ``ohms`` is infinite when the meter showed open; ``u`` its standard uncertainty in ohm; ``lifted``
    names the bonds that were off while it was taken; ``above`` the ohms beyond which the meter shows open; ``meter``
    what took it: readings with the same one share an error, and those without a name share none.
    """

    a: str
    b: str
    ohms: float
    u: float
    lifted: tuple[str, ...] = ()
    above: float = 1e3
    meter: str = ""

    def __post_init__(self) -> None:
        if self.a == self.b:
            raise DiagnoseError(f"a reading from {self.a!r} to itself")
        if isnan(self.ohms) or self.ohms == -inf or (isfinite(self.ohms) and not (isfinite(self.u) and self.u > 0)):
            raise DiagnoseError(
                f"reading {self.a} to {self.b}: {self.ohms} ohm, uncertainty {self.u} ohm;"
                " a number with an uncertainty above 0 is expected"
            )

    @property
    def is_open(self) -> bool:
        """Whether the meter showed open."""
        return self.ohms == inf

    @property
    def error(self) -> float:
        """Standard deviation of all that it may be off by, in ohm: its own, and what it shares."""
        return self.u * (hypot(1.0, SHARED) if self.meter else 1.0)

    @property
    def key(self) -> tuple[frozenset[str], frozenset[str]]:
        """What was measured, whichever way round the probes were."""
        return frozenset((self.a, self.b)), frozenset(self.lifted)


class Prior(msgspec.Struct, frozen=True):
    """What is believed before measuring.

    ``extra`` and ``poor`` are the chances that the plant has (at least) one second path, one poor (or
    else open) bond; ``doubled`` is the part of ``extra`` that lies beside a designed bond. A second fault is
    as likely again, given a first. An extra path's resistance is lognormal: median ``extra_ohms``, one
    standard deviation a factor of ``extra_factor``; a poor bond is ``poor_times`` its design, with
    ``poor_factor`` likewise.
    """

    extra: float = 0.2
    doubled: float = 0.1
    poor: float = 0.05
    extra_ohms: float = 10e-3
    extra_factor: float = 6.0
    poor_times: float = 8.0
    poor_factor: float = 4.5

    def __post_init__(self) -> None:
        if not (self.extra > 0 and self.poor > 0 and self.extra + self.poor < 1):
            raise DiagnoseError("prior: extra and poor must be above 0 and together below 1")
        if not 0 < self.doubled < 1:
            raise DiagnoseError("prior: doubled must lie between 0 and 1")
        if self.extra_ohms <= 0 or self.poor_times <= 1:
            raise DiagnoseError("prior: extra_ohms above 0 and poor_times above 1 are expected")
        if min(self.extra_factor, self.poor_factor) <= 1:
            raise DiagnoseError("prior: the factors must be above 1")


class Case(msgspec.Struct, frozen=True):
    """An explanation: extra paths by the places of their ends, poor and open bonds by their places."""

    extras: tuple[tuple[int, int], ...] = ()
    poor: tuple[int, ...] = ()
    opened: tuple[int, ...] = ()

    @property
    def faults(self) -> int:
        """How many faults it supposes."""
        return len(self.extras) + len(self.poor) + len(self.opened)

    def single(self) -> tuple[Case, ...]:
        """Its faults one by one."""
        return (
            *(Case((pair,)) for pair in self.extras),
            *(Case(poor=(k,)) for k in self.poor),
            *(Case(opened=(k,)) for k in self.opened),
        )

    def and_also(self, other: Case) -> Case:
        """Both together, each fault once, in a fixed order."""
        return Case(
            tuple(sorted({*self.extras, *other.extras})),
            tuple(sorted({*self.poor, *other.poor})),
            tuple(sorted({*self.opened, *other.opened})),
        )

    def without(self, other: Case) -> Case:
        """What is left when the other's faults are taken out."""
        return Case(
            tuple(pair for pair in self.extras if pair not in other.extras),
            tuple(k for k in self.poor if k not in other.poor),
            tuple(k for k in self.opened if k not in other.opened),
        )


class Group(msgspec.Struct, frozen=True):
    """Readings taken with the same bonds lifted: places of their ends, values, uncertainties.

    ``shares``, of shape (readings, meters), is what one standard deviation of each meter's shared error is to a
    reading, in units of ``u``.
    """

    lifted: tuple[int, ...]
    i: Ints
    j: Ints
    ohms: Floats
    u: Floats
    is_open: Flags
    shares: Floats

    @property
    def finite_ohms(self) -> Floats:
        """The values, 0 in place of open."""
        return np.where(self.is_open, 0.0, self.ohms)


class Problem(msgspec.Struct, frozen=True, dict=True):
    """A network with its readings as arrays, ready to be fitted."""

    network: BondNetwork
    readings: tuple[Reading, ...]
    prior: Prior

    @cached_property
    def groups(self) -> tuple[Group, ...]:
        """The readings by what was lifted; the group with nothing lifted is first if there is one."""
        sets: dict[tuple[int, ...], list[Reading]] = {}
        for reading in self.readings:
            key = tuple(sorted(self.network.bond_place(name) for name in reading.lifted))
            sets.setdefault(key, []).append(reading)
        return tuple(self._group(key, sets[key]) for key in sorted(sets))

    @cached_property
    def meters(self) -> tuple[str, ...]:
        """What took readings that share an error."""
        return tuple(sorted({reading.meter for reading in self.readings if reading.meter and not reading.is_open}))

    def _group(self, lifted: tuple[int, ...], readings: Sequence[Reading]) -> Group:
        mine = np.array([[r.meter == name for name in self.meters] for r in readings])
        return Group(
            lifted,
            np.array([self.network.place(r.a) for r in readings], dtype=np.intp),
            np.array([self.network.place(r.b) for r in readings], dtype=np.intp),
            np.array([r.ohms for r in readings]),
            np.array([1.0 if r.is_open else r.u for r in readings]),
            np.array([r.is_open for r in readings], dtype=np.bool_),
            SHARED * mine,
        )

    @cached_property
    def design(self) -> Floats:
        """Logarithm of the expected ohms of each bond, shape (bonds,)."""
        return np.log(self.network.ohms)

    def shape(self, case: Case) -> tuple[Floats, Floats]:
        """Mean and standard deviation of the case's logarithms: bonds, then its extra paths."""
        mean = self.design.copy()
        spread = self.network.spreads.copy()
        for k in case.poor:
            mean[k] += log(self.prior.poor_times)
            spread[k] = np.hypot(spread[k], log(self.prior.poor_factor))
        more = len(case.extras)
        return (
            np.concatenate([mean, np.full(more, log(self.prior.extra_ohms))]),
            np.concatenate([spread, np.full(more, log(self.prior.extra_factor))]),
        )


class Fit(msgspec.Struct, frozen=True):
    """The best values of a case and how much the readings speak for it.

    ``x`` are logarithms of ohms: the bonds, then the case's extra paths. ``log_evidence`` is up to a
    constant that all cases of one problem share. ``chi2`` is the misfit of the readings alone, in
    squared standard uncertainties, ``against_design`` that of the values, and of the errors that readings share,
    against their priors.
    """

    case: Case
    x: Floats
    covariance: Floats
    log_evidence: float
    chi2: float
    against_design: float

    def ohms(self, which: int) -> tuple[float, float, float]:
        """Best value of branch ``which`` and the ends of its 95 % interval, in ohm."""
        half = 1.96 * float(self.covariance[which, which]) ** 0.5
        centre = float(self.x[which])
        return exp(centre), exp(centre - half), exp(centre + half)


def solve(network: BondNetwork, cases: Sequence[Case], x: Floats, lifted: Sequence[int] = ()) -> Cases:
    """Solve the network under each case, with the bonds at places ``lifted`` taken off.

    Args:
        cases: explanations, with at most as many extra paths as ``x`` has room for.
        x: logarithms of ohms, shape (cases, bonds + room for extra paths).
    """
    count, branches = x.shape
    points, bonds = len(network.points), len(network.bonds)
    tails = np.zeros((count, branches), dtype=np.intp)
    heads = np.zeros((count, branches), dtype=np.intp)
    tails[:, :bonds], heads[:, :bonds] = network.tails, network.heads
    conductance = np.exp(-x)
    conductance[:, list(lifted)] = 0.0
    labels = np.empty((count, points), dtype=np.intp)
    for place, case in enumerate(cases):
        for slot, (u, v) in enumerate(case.extras, bonds):
            tails[place, slot], heads[place, slot] = u, v
        conductance[place, bonds + len(case.extras) :] = 0.0
        conductance[place, list(case.opened)] = 0.0
        labels[place] = _joined_by(network.parts((*lifted, *case.opened)), case.extras)
    return solve_cases(tails, heads, conductance, labels, bonds)


def _joined_by(base: Sequence[int], extras: Sequence[tuple[int, int]]) -> Sequence[int]:
    """Labels of connected parts after extra paths are added; the lowest place is each part's label."""
    if all(base[u] == base[v] for u, v in extras):
        return base
    joined = Joined(len(base))
    for place, label in enumerate(base):
        joined.join(place, label)
    for u, v in extras:
        joined.join(u, v)
    return joined.labels()


def fit(problem: Problem, cases: Sequence[Case], start: Sequence[Floats | None] = ()) -> list[Fit]:
    """Fit each case to the readings.

    Args:
        start: for each case, first values of the logarithms (bonds, then extra paths), or None for
            the prior's means; may be empty.

    Raises:
        DiagnoseError: if there are no readings.
    """
    if not problem.readings:
        raise DiagnoseError("no readings to judge by")
    if not cases:
        return []
    return _Batch(problem, cases, start).run()


class _Batch:
    """Cases fitted side by side. Branches a case lacks get a unit prior and no effect at all.

    The last columns are the errors that the readings of each meter share, in their standard deviations.
    """

    def __init__(self, problem: Problem, cases: Sequence[Case], start: Sequence[Floats | None]) -> None:
        self.problem = problem
        self.cases = list(cases)
        bonds = len(problem.network.bonds)
        self.branches = bonds + max(len(case.extras) for case in cases)
        width = self.branches + len(problem.meters)
        self.mean = np.zeros((len(cases), width))
        self.spread = np.ones((len(cases), width))
        self.x = np.zeros((len(cases), width))
        for place, case in enumerate(cases):
            mean, spread = problem.shape(case)
            self.mean[place, : len(mean)] = mean
            self.spread[place, : len(mean)] = spread
            first = start[place] if start else None
            self.x[place, : len(mean)] = mean if first is None else first

    def run(self) -> list[Fit]:
        count = len(self.cases)
        damping = np.full(count, 1e-6)
        live = np.arange(count)
        value, gradient, hessian, _, _ = self._at(live, self.x)
        gradients, hessians = gradient, hessian
        diagonal = np.arange(self.x.shape[1])
        for _ in range(_STEPS):
            damped = hessians[live].copy()
            damped[:, diagonal, diagonal] *= 1.0 + damping[live, None]
            step = -np.linalg.solve(damped, gradients[live][:, :, None])[:, :, 0]
            # A logarithm that moves by more than 2 in one step has left the quadratic model.
            far = np.abs(step[:, : self.branches]).max(axis=1)
            step *= np.minimum(1.0, 2.0 / np.maximum(far, 1e-300))[:, None]
            trial = self.x[live] + step
            new, new_gradient, new_hessian, _, _ = self._at(live, trial)
            better = new <= value[live] + 1e-12
            gain = value[live] - new
            took = live[better]
            self.x[took] = trial[better]
            value[took] = new[better]
            gradients[took], hessians[took] = new_gradient[better], new_hessian[better]
            damping[took] = np.maximum(damping[took] / 10.0, 1e-9)
            damping[live[~better]] = np.maximum(damping[live[~better]] * 30.0, 1e-3)
            done = (better & (gain < _ENOUGH)) | (damping[live] > 1e9)
            live = live[~done]
            if not len(live):
                break
        return self._fits()

    def _at(self, which: Ints, x: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Objective (minus log posterior), gradient, Gauss-Newton Hessian, chi2 and prior misfit."""
        off = (x - self.mean[which]) / self.spread[which]
        against = (off**2).sum(axis=1)
        gradient = off / self.spread[which]
        width = x.shape[1]
        hessian = np.zeros((len(which), width, width))
        hessian[:, np.arange(width), np.arange(width)] = self.spread[which] ** -2.0
        chi2 = np.zeros(len(which))
        slips = np.zeros(len(which))
        cases = [self.cases[place] for place in which]
        logs, errors = x[:, : self.branches], x[:, self.branches :]
        for group in self.problem.groups:
            circuit = solve(self.problem.network, cases, logs, group.lifted)
            joined = circuit.joined(group.i, group.j)
            slips += (joined == group.is_open).sum(axis=1)
            both = joined & ~group.is_open
            misfit = (circuit.resistances(group.i, group.j) - group.finite_ohms) / group.u + errors @ group.shares.T
            residual = np.where(both, misfit, 0.0)
            slope = circuit.jacobian(group.i, group.j) * (both / group.u)[:, :, None]
            jacobian = np.concatenate([slope, both[:, :, None] * group.shares], axis=2)
            chi2 += (residual**2).sum(axis=1)
            gradient += (residual[:, None, :] @ jacobian)[:, 0, :]
            hessian += np.swapaxes(jacobian, 1, 2) @ jacobian
        return 0.5 * (chi2 + against) - MISMATCH * slips, gradient, hessian, chi2, against

    def _fits(self) -> list[Fit]:
        everything = np.arange(len(self.cases))
        value, _, hessian, chi2, against = self._at(everything, self.x)
        _, log_det = np.linalg.slogdet(hessian)
        evidence = -value - 0.5 * log_det - np.log(self.spread).sum(axis=1)
        covariance = np.asarray(np.linalg.inv(hessian), dtype=np.float64)
        fits = []
        for place, case in enumerate(self.cases):
            width = len(self.problem.network.bonds) + len(case.extras)
            fits.append(
                Fit(
                    case,
                    self.x[place, :width],
                    covariance[place, :width, :width],
                    float(evidence[place]),
                    float(chi2[place]),
                    float(against[place]),
                )
            )
        return fits
