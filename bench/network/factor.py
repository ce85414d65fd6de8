"""One island of a resistive network, factored once: the numerical half of :mod:`bench.network.circuit`.

Theory
------
Nodal analysis solves ``L x = i``, where ``L`` is the Laplacian weighted by conductance, ``x`` the
node potentials and ``i`` the currents put in. One node of each island is held at zero.

A plant spans fifteen decades: bonds of a milliohm beside insulation of a teraohm. The diagonal of
``L`` then adds 1e3 S and 1e-12 S in one double, and the insulation is lost in rounding. So the
unknowns are not the node potentials but differences: nodes joined by good conductors form a
cluster, and each node's unknown is its potential against the root of its cluster; the roots form
clusters at the next lower conductance, and so on up to the island. In these unknowns a strong edge
inside a cluster has no term at all in the root's equation, so each weak edge keeps all its digits.
With ``x = T y`` and incidence ``B`` the matrix is ``(B T)^T G (B T)``: ``B T`` holds only -1, 0, 1,
so the strong terms cancel exactly, not nearly. It stays symmetric and positive definite.

The wiring of a plant is nearly a tree. Eliminating the unknown with the fewest neighbours first then makes hardly any
new terms, and plain Python is done before scipy is loaded. An island with many loops fills up as it is eliminated; that
one goes to scipy's sparse LU, in symmetric mode without pivoting. Which way is taken follows from the island alone, so
the same network gives the same digits every time.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from itertools import chain
from typing import Any, Final, Protocol, TypeAlias

import msgspec

from bench.network import dense
from bench.network.joined import Joined

LEVEL_RATIO: Final = 1e-5
"""Conductances within this ratio share a level. Five decades leave ten of a double's fifteen digits to the answer
inside one level."""
SMALL_LOOPS: Final = 100
"""An island with more loops than this is left to scipy: plain Python takes about twice as long there (own measurement),
and more and more beyond."""
SMALL_NODES: Final = 2000
"""And so is one with more nodes."""
MAX_UPDATES: Final = 8
"""Up to this many changed edges are carried as an update; beyond it a new factor costs less."""
MAX_AMPLIFICATION: Final = 1e4
"""An update that would lose more than four of a double's fifteen digits is not used."""
KEPT_COLUMNS: Final = 64
"""Solved ports of changed edges that are kept with a factor."""

Port: TypeAlias = dict[int, float]
"""One ampere in at a node and out at another, as a right-hand side: unknown to 1 or -1."""
Vector: TypeAlias = Any
"""A number for each unknown: a list from plain Python, an array from scipy."""
Resistor: TypeAlias = tuple[int, int, float]
"""Two nodes and the ohms between them."""
Changes: TypeAlias = dict[int, tuple[int, int, float, float]]
"""Edge to its two nodes, and its ohms before and now."""


class Factor(Protocol):
    """What answers for one island."""

    def port(self, a: int, b: int) -> Port:
        """One ampere in at node ``a`` and out at node ``b``; empty where zero ohms join them.

        Args:
            a: node that the ampere goes in at.
            b: node that it comes out at.
        """

    def solve(self, port: Port) -> Vector:
        """The unknowns with these currents put in."""

    def plus(self, one: Vector, factor: float, other: Vector) -> Vector:
        """``one + factor * other``."""


def across(port: Port, unknowns: Vector) -> float:
    """Volts between the two nodes of a port."""
    return float(sum(sign * unknowns[place] for place, sign in port.items()))


def factorise(nodes: Sequence[int], resistors: Sequence[Resistor]) -> Whole:
    """Factor one island.

    Args:
        nodes: all of it.
        resistors: those inside it, which join all nodes. Zero ohms merges two nodes.
    """
    place = {node: number for number, node in enumerate(nodes)}
    merged = Joined(len(nodes))
    merged.join_all([(place[a], place[b]) for a, b, ohms in resistors if ohms == 0.0])
    twin = merged.labels()
    edges = []
    for a, b, ohms in resistors:
        one, other = twin[place[a]], twin[place[b]]
        if one != other:
            edges.append((one, other, 1.0 / ohms))
    chains = _chains(len(nodes), edges)
    unknown = {node: number for number, node in enumerate(k for k in range(len(nodes)) if chains[k] and twin[k] == k)}
    rows = [tuple(unknown[k] for k in chains[twin[node]]) for node in range(len(nodes))]
    terms = [(g, _difference(rows[a], rows[b])) for a, b, g in edges]
    loops = len(edges) - len(unknown)
    kind = _Sparse if loops > SMALL_LOOPS or len(unknown) > SMALL_NODES else _Plain
    return Whole(place, rows, kind(len(unknown), terms))


def _difference(one: Sequence[int], other: Sequence[int]) -> Port:
    if len(one) == len(other) == 1 and one != other:  # by far the most, so it is quick
        return {one[0]: 1.0, other[0]: -1.0}
    port = dict.fromkeys(one, 1.0)
    for number in other:
        if port.pop(number, None) is None:
            port[number] = -1.0
    return port


def _chains(count: int, edges: Sequence[Resistor]) -> list[list[int]]:
    """For each node the nodes whose unknowns add up to its potential: itself and its roots, less the island's own."""
    degree = [0.0] * count
    for a, b, siemens in edges:
        degree[a] += siemens
        degree[b] += siemens
    # Roots are the nodes with most conductance: a frame or a busbar, which keeps columns short.
    order = sorted(range(count), key=degree.__getitem__, reverse=True)
    chains = [[node] for node in range(count)]
    every = [siemens for _, _, siemens in edges] or [0.0]
    weakest, threshold = min(every), max(every) * LEVEL_RATIO
    joined, left = Joined(count), edges
    while weakest < threshold:
        joined.join_all([(a, b) for a, b, siemens in left if siemens >= threshold])
        left = [edge for edge in left if edge[2] < threshold]
        labels = joined.labels()
        root: dict[int, int] = {}
        for node in order:
            root.setdefault(labels[node], node)
        for label, its in zip(labels, chains, strict=True):
            if its[-1] != root[label]:
                its.append(root[label])
        threshold *= LEVEL_RATIO
    for its in chains:
        if its[-1] == order[0]:  # the island's root is held at zero
            its.pop()
    return chains


class _Plain:
    """Elimination in plain Python, fewest neighbours first."""

    def __init__(self, size: int, terms: Sequence[tuple[float, Port]]) -> None:
        self._size = size
        diagonal = [0.0] * size
        beside: list[dict[int, float]] = [{} for _ in range(size)]
        for siemens, term in terms:
            for one, sign in term.items():
                diagonal[one] += siemens
                row = beside[one]
                for other, its in term.items():
                    if other != one:
                        row[other] = row.get(other, 0.0) + siemens * sign * its
        self._steps: list[tuple[int, float, list[tuple[int, float]]]] = []
        waiting = [(len(row), number) for number, row in enumerate(beside)]
        heapq.heapify(waiting)
        done = [False] * size
        while waiting:
            degree, pivot = heapq.heappop(waiting)
            row = beside[pivot]
            if done[pivot] or degree != len(row):
                continue
            done[pivot] = True
            lower = [(other, value / diagonal[pivot]) for other, value in row.items()]
            self._steps.append((pivot, diagonal[pivot], lower))
            for other, part in lower:
                mine = beside[other]
                del mine[pivot]
                diagonal[other] -= part * row[other]
                for third, value in row.items():
                    if third != other:
                        mine[third] = mine.get(third, 0.0) - part * value
                heapq.heappush(waiting, (len(mine), other))

    def solve(self, port: Port) -> list[float]:
        found = [0.0] * self._size
        for number, amps in port.items():
            found[number] = amps
        for pivot, diagonal, lower in self._steps:
            amps = found[pivot]
            if amps:
                for other, part in lower:
                    found[other] -= part * amps
                found[pivot] = amps / diagonal
        for pivot, _, lower in reversed(self._steps):
            if lower:
                found[pivot] -= sum(part * found[other] for other, part in lower)
        return found

    def plus(self, one: list[float], factor: float, other: list[float]) -> list[float]:
        return [a + factor * b for a, b in zip(one, other, strict=True)]


class _Sparse:
    """Sparse LU by scipy, which is loaded here."""

    def __init__(self, size: int, terms: Sequence[tuple[float, Port]]) -> None:
        import numpy as np
        from scipy.sparse import csr_matrix, diags
        from scipy.sparse.linalg import splu

        self._zeros, self._size = np.zeros, size
        starts = np.cumsum([0, *(len(term) for _, term in terms)])
        places = np.array(list(chain.from_iterable(term for _, term in terms)), dtype=np.int32)
        signs = np.array(list(chain.from_iterable(term.values() for _, term in terms)))
        drop = csr_matrix((signs, places, starts), shape=(len(terms), size))
        matrix = (drop.T @ diags(np.array([siemens for siemens, _ in terms])) @ drop).tocsc()
        self._solver = splu(
            matrix,
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )

    def solve(self, port: Port) -> Vector:
        right = self._zeros(self._size)
        for number, amps in port.items():
            right[number] = amps
        return self._solver.solve(right)

    def plus(self, one: Vector, factor: float, other: Vector) -> Vector:
        return one + factor * other


class Whole:
    """A factored island; it remembers the solved ports of edges that were changed since."""

    __slots__ = ("_columns", "_place", "_rows", "_solver")

    def __init__(self, place: dict[int, int], rows: list[tuple[int, ...]], solver: _Plain | _Sparse) -> None:
        self._place = place
        self._rows = rows
        self._solver = solver
        self._columns: dict[tuple[int, int], tuple[Port, Vector]] = {}

    def port(self, a: int, b: int) -> Port:
        """One ampere in at node ``a`` and out at node ``b``."""
        return _difference(self._rows[self._place[a]], self._rows[self._place[b]])

    def solve(self, port: Port) -> Vector:
        """The unknowns with these currents put in."""
        return self._solver.solve(port)

    def plus(self, one: Vector, factor: float, other: Vector) -> Vector:
        """``one + factor * other``."""
        return self._solver.plus(one, factor, other)

    def column(self, a: int, b: int) -> tuple[Port, Vector]:
        """The port of two nodes and its solution, kept for the next change."""
        found = self._columns.get((a, b))
        if found is None:
            port = self.port(a, b)
            found = (port, self.solve(port))
            if len(self._columns) >= KEPT_COLUMNS:
                self._columns.clear()
            self._columns[a, b] = found
        return found


class Updated(msgspec.Struct, frozen=True, eq=False):
    """A factored island with few edges changed: Woodbury, ``y - z @ (inverse @ (w.T @ y))``.

    Attributes:
        base: the factor.
        changes: edge to its two nodes, its ohms when the factor was made, and its ohms now.
    """

    base: Whole
    changes: Changes
    _w: list[Port]
    _z: list[Vector]
    _inverse: dense.Rows

    def port(self, a: int, b: int) -> Port:
        """One ampere in at node ``a`` and out at node ``b``."""
        return self.base.port(a, b)

    def solve(self, port: Port) -> Vector:
        """The unknowns with these currents put in."""
        found = self.base.solve(port)
        changes = dense.times(self._inverse, [across(one, found) for one in self._w])
        for change, solved in zip(changes, self._z, strict=True):
            found = self.base.plus(found, -change, solved)
        return found

    def plus(self, one: Vector, factor: float, other: Vector) -> Vector:
        """``one + factor * other``."""
        return self.base.plus(one, factor, other)


def updated(base: Whole, changes: Changes) -> Updated | None:
    """An island whose edges changed, by way of the factor that is there.

    Args:
        base: the factor.
        changes: edge to its two nodes, and its ohms before and now.

    Returns:
        None where an update would lose digits, or could not say it: nodes merge or part.
    """
    if len(changes) > MAX_UPDATES or any(0.0 in (old, new) for _, _, old, new in changes.values()):
        return None
    delta = [1.0 / new - 1.0 / old for _, _, old, new in changes.values()]
    pairs = [base.column(a, b) for a, b, _, _ in changes.values()]
    w, z = [port for port, _ in pairs], [solved for _, solved in pairs]
    between = [[across(port, solved) for solved in z] for port in w]
    # How far the update stretches or shrinks a solution: digits lost to cancellation, and
    # without bound when the change cuts the island in two.
    scale = [math.sqrt(abs(change)) for change in delta]
    every = range(len(delta))
    stretch = [[(i == j) + math.copysign(scale[i], delta[i]) * between[i][j] * scale[j] for j in every] for i in every]
    squares, _ = dense.modes([[sum(row[i] * row[j] for row in stretch) for j in every] for i in every])
    least, most = math.sqrt(max(min(squares), 0.0)), math.sqrt(max(squares))
    if least == 0.0 or max(most, 1.0) * max(1.0 / least, 1.0) > MAX_AMPLIFICATION:
        return None
    inner = [[(i == j) / delta[i] + between[i][j] for j in every] for i in every]
    return Updated(base, changes, w, z, dense.inverse(inner))
