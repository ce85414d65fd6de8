"""The earthing network on paper: points, bonds, the single-point connection, and what is wrong with it.

Words follow ITU-T K.27. An *isolated bonding network* (here: the *inside*) has one connection to the
common bonding network of the building (the *outside*), at the *single-point connection*, SPC, which in
practice is a bus-bar. K.27 also knows a meshed inside, so two questions are kept apart: whether the
inside is joined to the outside at one place only, and whether the inside is a tree; the second is asked
only of points that the design wants in a star.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from math import isfinite
from typing import Literal

import msgspec
import numpy as np

from bench.diagnose.diagnose_error import DiagnoseError
from bench.network.cases import Floats, Ints
from bench.network.joined import Joined


class Point(msgspec.Struct, frozen=True):
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


class Bond(msgspec.Struct, frozen=True):
    """A designed conductor between two points.

    ``ohms`` is the expected resistance with its contacts; ``spread`` the relative standard deviation of
    the true value about it (0.15 is a plain default: common practice, no source).
    """

    name: str
    a: str
    b: str
    ohms: float
    spread: float = 0.15


class PaperFault(msgspec.Struct, frozen=True):
    """A fault of the design itself, found without any reading.

    ``kind`` is ``loop``, ``island``, ``crossing``, ``no crossing`` or ``return``; ``points`` and
    ``bonds`` are the names concerned (for a loop, in order round it).
    """

    kind: Literal["loop", "island", "crossing", "no crossing", "return"]
    points: tuple[str, ...]
    bonds: tuple[str, ...]
    text: str


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
