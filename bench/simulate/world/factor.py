"""A resistive network, factored once: the numerical half of :mod:`bench.simulate.world.circuit`.

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
so the strong terms cancel exactly, not nearly. It stays symmetric and positive definite, which is
what sparse LU in symmetric mode without pivoting asks for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import sparse
from scipy.sparse import csgraph
from scipy.sparse import linalg as sparse_linalg

__all__ = ["LEVEL_RATIO", "Factor", "factorise"]

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

#: Conductances within this ratio share a level. Five decades leave ten of a double's fifteen
#: digits to the answer inside one level.
LEVEL_RATIO = 1e-5


@dataclass(frozen=True, slots=True)
class Factor:
    """The factored network.

    ``merged`` gives for each node the number of the first node it is joined to by zero ohms;
    ``island`` the island of each node; ``basis`` the matrix ``T`` (nodes x unknowns, CSR).
    ``solver`` is None when no edge conducts.
    """

    merged: Ints
    island: Ints
    basis: Any
    solver: Any
    unknowns: int

    def port(self, a: int, b: int) -> Floats:
        """One ampere in at node ``a`` and out at ``b``, as a right-hand side (shape: unknowns)."""
        out = np.zeros(self.unknowns)
        start, stop = self.basis.indptr[a], self.basis.indptr[a + 1]
        out[self.basis.indices[start:stop]] += 1.0
        start, stop = self.basis.indptr[b], self.basis.indptr[b + 1]
        out[self.basis.indices[start:stop]] -= 1.0
        return out

    def solve(self, currents: Floats) -> Floats:
        """Unknowns for the currents given (shape: unknowns, or unknowns x k)."""
        if self.solver is None:
            return np.zeros_like(currents)
        answer: Floats = self.solver.solve(currents)
        return answer


def _components(n: int, a: Ints, b: Ints) -> Ints:
    graph = sparse.coo_matrix((np.ones(len(a), dtype=np.int8), (a, b)), shape=(n, n))
    _, labels = csgraph.connected_components(graph, directed=False)
    out: Ints = labels.astype(np.int64)
    return out


def _roots(labels: Ints, rank: Ints) -> Ints:
    """For each node the member of its component that comes first in ``rank`` (a permutation)."""
    order = np.argsort(rank, kind="stable")
    first = np.full(labels.max() + 1, -1, dtype=np.int64)
    # Written in reverse order, so that the lowest rank is written last and stays.
    first[labels[order[::-1]]] = order[::-1]
    out: Ints = first[labels]
    return out


def factorise(n: int, a: Ints, b: Ints, ohms: Floats) -> Factor:
    """Factor a network of ``n`` nodes and edges ``a[k]``-``b[k]`` of ``ohms[k]``.

    Shapes: ``a``, ``b``, ``ohms`` are (edges,). Zero ohms merges the two nodes, infinity is an open
    edge. The values must have been checked by the caller.
    """
    everyone = np.arange(n, dtype=np.int64)
    zero = ohms == 0.0
    if zero.any():
        merged = _roots(_components(n, a[zero], b[zero]), everyone)
        a, b = merged[a], merged[b]
    else:
        merged = everyone
    live = np.isfinite(ohms) & ~zero & (a != b)
    a, b, g = a[live], b[live], 1.0 / ohms[live]
    if not len(g):
        basis = sparse.csr_matrix((n, 0), dtype=np.float64)
        return Factor(merged, merged, basis, None, 0)

    # Roots are the nodes with most conductance: a frame or a busbar, which keeps columns short.
    degree = np.bincount(a, g, n) + np.bincount(b, g, n)
    rank = np.empty(n, dtype=np.int64)
    rank[np.lexsort((everyone, -degree))] = everyone

    levels: list[Ints] = []
    threshold = float(g.max()) * LEVEL_RATIO
    while float(g.min()) < threshold:
        strong = g >= threshold
        levels.append(_roots(_components(n, a[strong], b[strong]), rank))
        threshold *= LEVEL_RATIO
    island = _roots(_components(n, a, b), rank)
    levels.append(island)

    # x_i is the sum of the unknowns of i and of its roots below the island's own root.
    rows, columns = [everyone], [everyone]
    previous = everyone
    for roots in levels[:-1]:
        changed = roots != previous
        rows.append(everyone[changed])
        columns.append(roots[changed])
        previous = roots
    row, column = np.concatenate(rows), np.concatenate(columns)
    # An island's root is held at zero, and a node merged away has the basis of its twin.
    is_unknown = (island != everyone) & (merged == everyone)
    keep = is_unknown[column] & (merged[row] == row)
    number = np.cumsum(is_unknown) - 1
    unknowns = int(is_unknown.sum())
    basis = sparse.csr_matrix((np.ones(int(keep.sum())), (row[keep], number[column[keep]])), shape=(n, unknowns))
    basis = basis[merged]
    island = island[merged]

    edges = np.arange(len(g))
    incidence = sparse.csr_matrix(
        (
            np.concatenate([np.ones(len(g)), -np.ones(len(g))]),
            (np.concatenate([edges, edges]), np.concatenate([a, b])),
        ),
        shape=(len(g), n),
    )
    drop = incidence @ basis
    drop.eliminate_zeros()
    matrix = (drop.T @ sparse.diags(g) @ drop).tocsc()
    solver = sparse_linalg.splu(
        matrix,
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    return Factor(merged, island, basis, solver, unknowns)
