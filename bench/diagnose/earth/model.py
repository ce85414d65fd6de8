"""The earthing network on paper: points, bonds, the single-point connection, and what is wrong with it.

Words follow ITU-T K.27. An *isolated bonding network* (here: the *inside*) has one connection to the
common bonding network of the building (the *outside*), at the *single-point connection*, SPC, which in
practice is a bus-bar. K.27 also knows a meshed inside, so two questions are kept apart: whether the
inside is joined to the outside at one place only, and whether the inside is a tree; the second is asked
only of points that the design wants in a star.

Resistance between two points of a network of resistors is ``(e_i - e_j)' G (e_i - e_j)``, where ``G`` is
the inverse of the network's Laplacian with one point of each connected part grounded: for a current
that enters and leaves the same part it equals the pseudo-inverse, and it is cheaper. When one resistor
is added, removed or worsened, all resistances follow from the old ones (`resistance_with_extra`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf, isfinite
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from bench.diagnose.diagnose_error import DiagnoseError

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]

# Above this many points the sparse factor is quicker than a dense inverse (own measurement).
_DENSE_POINTS = 300


@dataclass(frozen=True)
class Point:
    """A place that a probe can touch.

    ``outside`` marks the building's common bonding network; ``mesh`` an inside area where the design
    allows loops; ``is_return`` a conductor of a d.c. return, which may be bonded to earth once only.
    ``run`` and ``metres`` say where the point lies along a named tray, bar or duct, if anyone knows.
    """

    name: str
    title: str = ""
    outside: bool = False
    mesh: bool = False
    is_return: bool = False
    run: str = ""
    metres: float | None = None

    @property
    def label(self) -> str:
        """The title for people, or the name where there is none."""
        return self.title or self.name


@dataclass(frozen=True)
class Bond:
    """A designed conductor between two points.

    ``ohms`` is the expected resistance with its contacts; ``spread`` the relative standard deviation of
    the true value about it (0.15 is a plain default: common practice, no source).
    """

    name: str
    a: str
    b: str
    ohms: float
    spread: float = 0.15


@dataclass(frozen=True)
class PaperFault:
    """A fault of the design itself, found without any reading.

    ``kind`` is ``loop``, ``island``, ``crossing``, ``no crossing`` or ``return``; ``points`` and
    ``bonds`` are the names concerned (for a loop, in order round it).
    """

    kind: Literal["loop", "island", "crossing", "no crossing", "return"]
    points: tuple[str, ...]
    bonds: tuple[str, ...]
    text: str


class Joined:
    """Disjoint sets: which of ``count`` things are joined so far."""

    def __init__(self, count: int) -> None:
        self._above = list(range(count))

    def root(self, item: int) -> int:
        """The number that stands for the set which holds ``item``."""
        while self._above[item] != item:
            self._above[item] = self._above[self._above[item]]
            item = self._above[item]
        return item

    def join(self, a: int, b: int) -> bool:
        """Join two sets; False when they were one already. The lower root stays."""
        a, b = self.root(a), self.root(b)
        self._above[max(a, b)] = min(a, b)
        return a != b

    def labels(self) -> list[int]:
        """The root of every item."""
        return [self.root(item) for item in range(len(self._above))]


class BondNetwork:
    """Points, bonds and the single-point connection; checked when made, never changed.

    Args:
        points: every place that can be probed, or that a stray path might touch.
        bonds: the designed conductors. Two bonds may join the same two points.
        spc: name of the point that is the single-point connection (an inside bus-bar).
        main: name of the main earth bar from which points are measured; the SPC when empty.

    Raises:
        DiagnoseError: with every fault found, one sentence each.
    """

    def __init__(self, points: Iterable[Point], bonds: Iterable[Bond], spc: str, main: str = "") -> None:
        self.points = tuple(points)
        self.bonds = tuple(bonds)
        self.spc = spc
        self.main = main or spc
        self._parts: dict[frozenset[int], list[int]] = {}
        self._check()

    def _check(self) -> None:
        wrong: list[str] = []
        names = [point.name for point in self.points]
        known = set(names)
        wrong += [f"point {name!r} is given twice" for name in _repeated(names)]
        bond_names = [bond.name for bond in self.bonds]
        wrong += [f"bond {name!r} is given twice" for name in _repeated(bond_names)]
        for bond in self.bonds:
            for end in (bond.a, bond.b):
                if end not in known:
                    wrong.append(f"bond {bond.name!r} ends at {end!r}, which is no point")
            if bond.a == bond.b:
                wrong.append(f"bond {bond.name!r} has both ends at {bond.a!r}")
            if not (isfinite(bond.ohms) and bond.ohms > 0):
                wrong.append(f"bond {bond.name!r}: {bond.ohms} ohm found, more than 0 expected")
            if not (isfinite(bond.spread) and bond.spread > 0):
                wrong.append(f"bond {bond.name!r}: spread {bond.spread} found, above 0 expected")
        for role, name in (("single-point connection", self.spc), ("main bar", self.main)):
            if name not in known:
                wrong.append(f"the {role} is {name!r}, which is no point")
        if not wrong and self.points[self.index[self.spc]].outside:
            wrong.append(f"the single-point connection {self.spc!r} must be an inside point")
        if wrong:
            raise DiagnoseError("; ".join(wrong))

    @cached_property
    def index(self) -> Mapping[str, int]:
        """Place of each point by name."""
        return {point.name: place for place, point in enumerate(self.points)}

    @cached_property
    def bond_index(self) -> Mapping[str, int]:
        """Place of each bond by name."""
        return {bond.name: place for place, bond in enumerate(self.bonds)}

    @cached_property
    def tails(self) -> Ints:
        """Place of the first end of each bond, shape (bonds,)."""
        return np.array([self.index[bond.a] for bond in self.bonds], dtype=np.intp)

    @cached_property
    def heads(self) -> Ints:
        """Place of the second end of each bond, shape (bonds,)."""
        return np.array([self.index[bond.b] for bond in self.bonds], dtype=np.intp)

    @cached_property
    def ohms(self) -> Floats:
        """Expected resistance of each bond in ohm, shape (bonds,)."""
        return np.array([bond.ohms for bond in self.bonds], dtype=np.float64)

    @cached_property
    def spreads(self) -> Floats:
        """Standard deviation of the logarithm of each bond's resistance, shape (bonds,)."""
        return np.array([bond.spread for bond in self.bonds], dtype=np.float64)

    def place(self, name: str) -> int:
        """Place of a point; DiagnoseError names the point that is not there."""
        try:
            return self.index[name]
        except KeyError:
            raise DiagnoseError(f"{name!r} is no point of this earthing network") from None

    def bond_place(self, name: str) -> int:
        """Place of a bond; DiagnoseError names the bond that is not there."""
        try:
            return self.bond_index[name]
        except KeyError:
            raise DiagnoseError(f"{name!r} is no bond of this earthing network") from None

    def label(self, name: str) -> str:
        """What to call a point in front of people."""
        return self.points[self.place(name)].label

    def parts(self, without: Iterable[int] = ()) -> list[int]:
        """Label of the connected part of each point, with the bonds at places ``without`` lifted."""
        gone = frozenset(without)
        if gone not in self._parts:
            joined = Joined(len(self.points))
            ends = zip(self.tails.tolist(), self.heads.tolist(), strict=True)
            for place, (a, b) in enumerate(ends):
                if place not in gone:
                    joined.join(a, b)
            self._parts[gone] = joined.labels()
        return self._parts[gone]

    @cached_property
    def bridges(self) -> tuple[int, ...]:
        """Places of the bonds without which the design falls into two: only their gaps can read open."""
        found = []
        for place, (a, b) in enumerate(zip(self.tails.tolist(), self.heads.tolist(), strict=True)):
            labels = self.parts([place])
            if labels[a] != labels[b]:
                found.append(place)
        return tuple(found)

    @cached_property
    def neighbours(self) -> list[list[tuple[int, int]]]:
        """For each point, the (point, bond) places it is bonded to, in the order of the bonds."""
        around: list[list[tuple[int, int]]] = [[] for _ in self.points]
        for bond, (a, b) in enumerate(zip(self.tails, self.heads, strict=True)):
            around[a].append((int(b), bond))
            around[b].append((int(a), bond))
        return around

    def path(self, start: int, end: int, without: Iterable[int] = ()) -> list[int] | None:
        """Places of the bonds on a path with fewest bonds, in order; None when there is none."""
        gone = frozenset(without)
        around = self.neighbours
        came: dict[int, tuple[int, int]] = {start: (-1, -1)}
        front = [start]
        while front and end not in came:
            ahead = []
            for here in front:
                for there, bond in around[here]:
                    if bond not in gone and there not in came:
                        came[there] = (here, bond)
                        ahead.append(there)
            front = ahead
        if end not in came:
            return None
        bonds = []
        while end != start:
            end, bond = came[end]
            bonds.append(bond)
        return bonds[::-1]

    @cached_property
    def loops_allowed(self) -> tuple[bool, ...]:
        """For each point, whether the design lets it stand in a loop (outside, or a meshed area)."""
        return tuple(point.outside or point.mesh for point in self.points)

    @cached_property
    def meshes(self) -> tuple[int, ...]:
        """For each point, the label of the area within which loops are allowed; -1 where star is wanted.

        The outside is one area (in K.27 the common bonding network is always a mesh); inside, meshed
        points that are bonded together make one.
        """
        joined = Joined(len(self.points))
        outside = [place for place, point in enumerate(self.points) if point.outside]
        for place in outside:
            joined.join(outside[0], place)
        free = self.loops_allowed
        for a, b in zip(self.tails.tolist(), self.heads.tolist(), strict=True):
            if free[a] and free[b] and self.points[a].outside == self.points[b].outside:
                joined.join(a, b)
        return tuple(joined.root(p) if free[p] else -1 for p in range(len(free)))

    def wanted_nowhere(self, u: int, v: int) -> bool:
        """Whether a path between two points (places) would break the design.

        It would not within one area where loops are allowed, nor from the SPC itself to the outside: all
        that lands on that bar is one connection.
        """
        a, b = self.meshes[u], self.meshes[v]
        if a >= 0 and a == b:
            return False
        spc = self.index[self.spc]
        return not ((u == spc and self.points[v].outside) or (v == spc and self.points[u].outside))

    def crosses(self, u: int, v: int) -> bool:
        """Whether a path between two points (places) joins inside and outside away from the SPC."""
        return self.points[u].outside != self.points[v].outside and self.wanted_nowhere(u, v)


def _repeated(names: Sequence[str]) -> list[str]:
    return sorted({name for name in names if names.count(name) > 1})


def green(points: int, tails: Ints, heads: Ints, ohms: Floats) -> tuple[Floats, list[int]]:
    """Inverse of the Laplacian with one point of each connected part grounded.

    Args:
        points: number of points n.
        tails, heads: places of the ends of each resistor, shape (m,).
        ohms: resistance of each in ohm, shape (m,); an infinite one is left out.

    Returns:
        ``G``, shape (n, n), in ohm, and the label of each point's connected part. Entries of ``G`` mean
        something only within one part.
    """
    joined = Joined(points)
    keep = np.isfinite(ohms)
    tails, heads, conductance = tails[keep], heads[keep], 1.0 / ohms[keep]
    for a, b in zip(tails, heads, strict=True):
        joined.join(int(a), int(b))
    labels = joined.labels()
    roots = np.array([place for place, label in enumerate(labels) if place == label], dtype=np.intp)
    ground = np.full(len(roots), conductance.mean() if len(conductance) else 1.0)
    rows = np.concatenate([tails, heads, tails, heads, roots])
    columns = np.concatenate([tails, heads, heads, tails, roots])
    values = np.concatenate([conductance, conductance, -conductance, -conductance, ground])
    if points <= _DENSE_POINTS:
        laplacian = np.zeros((points, points))
        np.add.at(laplacian, (rows, columns), values)
        return np.asarray(np.linalg.inv(laplacian), dtype=np.float64), labels
    from scipy.sparse import csc_matrix
    from scipy.sparse.linalg import splu

    factor = splu(
        csc_matrix((values, (rows, columns)), shape=(points, points)),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    return np.asarray(factor.solve(np.eye(points)), dtype=np.float64), labels


def resistance_matrix(network: BondNetwork, ohms: Floats | None = None, without: Iterable[str] = ()) -> Floats:
    """Resistance between every two points, shape (n, n), in ohm; infinite where nothing joins them.

    ``ohms`` replaces the expected values, shape (bonds,); bonds named in ``without`` are lifted.
    """
    values = np.array(network.ohms if ohms is None else ohms, dtype=np.float64)
    for name in without:
        values[network.bond_place(name)] = inf
    inverse, labels = green(len(network.points), network.tails, network.heads, values)
    diagonal = np.diag(inverse)
    matrix = diagonal[:, None] + diagonal[None, :] - inverse - inverse.T
    np.fill_diagonal(matrix, 0.0)
    part = np.array(labels)
    return np.where(part[:, None] == part[None, :], matrix, inf)


def resistance_with_extra(matrix: Floats, u: int, v: int, ohms: float | Floats, i: Ints | int, j: Ints | int) -> Floats:
    """Resistance i-j after a resistor of ``ohms`` is put between u and v, from the old matrix alone.

    ``R'_ij = R_ij - ((R_iv + R_ju - R_iu - R_jv) / 2)^2 / (r + R_uv)``: the rank-one update of the
    inverse (Sherman and Morrison) written in two-point resistances. A negative ``ohms`` takes a
    conductance away: see `equivalent_of_change`.

    Args:
        matrix: two-point resistances before, shape (n, n), in ohm, finite among the points used.
        u, v: ends of the new resistor. i, j: places whose resistance is wanted, of one shape.
        ohms: its resistance in ohm, or an array that broadcasts against i and j.
    """
    half = (matrix[i, v] + matrix[j, u] - matrix[i, u] - matrix[j, v]) / 2.0
    return np.asarray(matrix[i, j] - half**2 / (ohms + matrix[u, v]), dtype=np.float64)


def equivalent_of_change(before: float, after: float) -> float:
    """The resistor which, put beside one of ``before`` ohm, makes ``after`` ohm of it.

    Negative when the bond got worse; ``-before`` when it went open (``after`` infinite). A bond that is
    the only path between its ends cannot be taken away so (the denominator above becomes 0): it leaves
    the resistance across it infinite.
    """
    if after == before:
        return inf
    if after == inf:
        return -before
    return before * after / (before - after)


def paper_faults(network: BondNetwork) -> list[PaperFault]:
    """What is wrong with the earthing as designed, before anything is measured.

    * ``island``: points that no bond joins to the SPC.
    * ``crossing``: a bond from inside to outside that does not start at the SPC. Several conductors that
      land on the SPC itself are one connection: the SPC is a bus-bar, not a mere point (ITU-T K.27).
    * ``no crossing``: an inside that reaches the outside nowhere.
    * ``loop``: a loop inside that passes a point where the design wants a star; each is given once,
      with the bonds round it, and their number is bonds - points + parts.
    * ``return``: a d.c. return bonded to the earthing network at more than one place.
    """
    return [
        *_islands(network),
        *_crossings(network),
        *_loops(network),
        *_returns(network),
    ]


def _islands(network: BondNetwork) -> list[PaperFault]:
    labels = network.parts()
    home = labels[network.index[network.spc]]
    faults = []
    for label in sorted(set(labels) - {home}):
        names = tuple(p.name for p, mine in zip(network.points, labels, strict=True) if mine == label)
        if all(network.points[network.index[name]].outside for name in names):
            continue  # building metalwork that the design does not reach
        bonds = tuple(bond.name for bond in network.bonds if bond.a in names)
        shown = _listed([network.label(name) for name in names])
        faults.append(PaperFault("island", names, bonds, f"{shown}: no bond leads to the earth bar"))
    return faults


def _crossings(network: BondNetwork) -> list[PaperFault]:
    faults = []
    at_spc = False
    for bond in network.bonds:
        a, b = (network.points[network.index[end]] for end in (bond.a, bond.b))
        if a.outside == b.outside:
            continue
        inner, outer = (b, a) if a.outside else (a, b)
        if inner.name == network.spc:
            at_spc = True
            continue
        text = (
            f"{bond.name} joins {inner.label} to {outer.label}: a crossing to the building's earth"
            f" away from the single-point connection {network.label(network.spc)}"
        )
        faults.append(PaperFault("crossing", (inner.name, outer.name), (bond.name,), text))
    if not at_spc and any(point.outside for point in network.points):
        text = f"{network.label(network.spc)} has no conductor to the building's earth"
        faults.insert(0, PaperFault("no crossing", (network.spc,), (), text))
    return faults


def _loops(network: BondNetwork) -> list[PaperFault]:
    free = network.loops_allowed
    ends = list(zip(network.tails.tolist(), network.heads.tolist(), strict=True))
    inside = [k for k, (a, b) in enumerate(ends) if not network.points[a].outside and not network.points[b].outside]
    # A loop wholly within a meshed area is as designed: its bonds enter the forest first.
    inside.sort(key=lambda k: not (free[ends[k][0]] and free[ends[k][1]]))
    joined = Joined(len(network.points))
    left_out = [k for k in inside if not joined.join(*ends[k])]
    outer = [k for k in range(len(ends)) if k not in set(inside)]
    faults = []
    for chord in left_out:
        a, b = ends[chord]
        if free[a] and free[b]:
            continue
        back = network.path(b, a, without=[*left_out, *outer])
        if back is None:
            raise AssertionError("a bond left out of a spanning forest closes a loop in it")
        points = [a, b]
        for k in back[:-1]:
            points.append(ends[k][1] if ends[k][0] == points[-1] else ends[k][0])
        names = tuple(network.points[p].name for p in points)
        bonds = tuple(network.bonds[k].name for k in (chord, *back))
        shown = " - ".join(network.label(name) for name in (*names, names[0]))
        faults.append(PaperFault("loop", names, bonds, f"a loop by design: {shown}"))
    return faults


def _returns(network: BondNetwork) -> list[PaperFault]:
    joined = Joined(len(network.points))
    for bond in network.bonds:
        a, b = network.index[bond.a], network.index[bond.b]
        if network.points[a].is_return and network.points[b].is_return:
            joined.join(a, b)
    touching: dict[int, list[Bond]] = {}
    for bond in network.bonds:
        a, b = network.index[bond.a], network.index[bond.b]
        if network.points[a].is_return != network.points[b].is_return:
            conductor = a if network.points[a].is_return else b
            touching.setdefault(joined.root(conductor), []).append(bond)
    faults = []
    for bonds in touching.values():
        if len(bonds) > 1:
            names = tuple(dict.fromkeys(end for bond in bonds for end in (bond.a, bond.b)))
            returns = [network.label(name) for name in names if network.points[network.index[name]].is_return]
            text = (
                f"the return {_listed(returns)} is bonded to earth {len(bonds)} times"
                f" ({_listed([bond.name for bond in bonds])}); once is wanted"
            )
            faults.append(PaperFault("return", names, tuple(bond.name for bond in bonds), text))
    return faults


def _listed(words: Sequence[str]) -> str:
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"
