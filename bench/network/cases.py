"""Many networks at once that differ in few branches, as arrays: resistances, and how each branch moves them.

Resistance between two points of a network of resistors is ``(e_i - e_j)' G (e_i - e_j)``, where ``G`` is
the inverse of the network's Laplacian with one point of each connected part grounded: for a current
that enters and leaves the same part it equals the pseudo-inverse, and it is cheaper.

For a current of 1 A through a pair, branch k carries i_k and ``dR/dx_k = i_k^2`` (a textbook result, from
Tellegen's theorem), so the slopes come with the solution.

For a statistician's questions: numpy is loaded here. :mod:`bench.network.circuit` is for one network by name.
"""

from __future__ import annotations

import msgspec
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]


class Cases(msgspec.Struct, frozen=True):
    """Several networks over the same points, solved: see :func:`solve_cases`.

    Attributes:
        tails: first end of each branch, (cases, branches).
        heads: its second end.
        conductance: in siemens, 0 for a branch that a case lacks.
        labels: of the connected part that each point is in, (cases, points).
        green: ``G`` in ohm, (cases, points, points); entries mean something only within one part.
    """

    tails: Ints
    heads: Ints
    conductance: Floats
    labels: Ints
    green: Floats

    def joined(self, i: Ints, j: Ints) -> Flags:
        """Whether each case joins the ends of each pair, (cases, pairs).

        Args:
            i: index of the first point of each pair.
            j: index of the second point.
        """
        return np.equal(self.labels[:, i], self.labels[:, j])

    def potentials(self, i: Ints, j: Ints) -> Floats:
        """Potential of each point with 1 A into i and out of j, (cases, points, pairs), in ohm.

        Args:
            i: index of the first point of each pair.
            j: index of the second point.
        """
        return self.green[:, :, i] - self.green[:, :, j]

    def resistances(self, i: Ints, j: Ints) -> Floats:
        """Resistance of each pair, (cases, pairs), in ohm; means something where the pair is joined.

        Args:
            i: index of the first point of each pair.
            j: index of the second point.
        """
        diagonal = np.diagonal(self.green, axis1=1, axis2=2)
        return np.asarray(diagonal[:, i] + diagonal[:, j] - 2.0 * self.green[:, i, j])

    def jacobian(self, i: Ints, j: Ints) -> Floats:
        """Derivative of each pair's resistance by the logarithm of each branch, (cases, pairs, branches).

        That is x_k i_k^2, from the drop along branch k with 1 A through the pair.

        Args:
            i: index of the first point of each pair.
            j: index of the second point.
        """
        here = np.arange(len(self.tails))[:, None]
        along = self.green[here, self.tails] - self.green[here, self.heads]
        drop = along[:, :, i] - along[:, :, j]
        drop *= drop
        drop *= self.conductance[:, :, None]
        return np.swapaxes(drop, 1, 2)


def solve_cases(tails: Ints, heads: Ints, conductance: Floats, labels: Ints, shared: int) -> Cases:
    """Solve several networks over the same points.

    Args:
        tails: first end of each branch, (cases, branches).
        heads: its second end.
        conductance: in siemens, (cases, branches); 0 for a branch that a case lacks.
        labels: of the connected part of each point, (cases, points): the lowest point in it.
        shared: how many branches, the first ones, have the same ends in all cases.
    """
    count, branches = conductance.shape
    points = labels.shape[1]
    incidence = np.zeros((shared, points))
    incidence[np.arange(shared), tails[0, :shared]] = 1.0
    incidence[np.arange(shared), heads[0, :shared]] = -1.0
    laplacian = (incidence.T[None, :, :] * conductance[:, None, :shared]) @ incidence
    here = np.arange(count)
    for slot in range(shared, branches):
        a, b, g = tails[:, slot], heads[:, slot], conductance[:, slot]
        laplacian[here, a, a] += g
        laplacian[here, b, b] += g
        laplacian[here, a, b] -= g
        laplacian[here, b, a] -= g
    # One point of each part is grounded, through a conductance of the network's own order.
    ground = conductance[:, :shared].mean(axis=1) if shared else np.ones(count)
    ground = np.where(ground > 0, ground, 1.0)
    every = np.arange(points)
    laplacian[:, every, every] += (labels == every) * ground[:, None]
    return Cases(tails, heads, conductance, labels, np.asarray(np.linalg.inv(laplacian), dtype=np.float64))
