"""Every two-point resistance of an earthing network, by the way that a search solves its cases."""

import numpy as np

from bench.diagnose.earth.fit import Case, solve


def resistance_matrix(network, ohms=None, without=()):
    """Ohms between every two points, (points, points); infinite where nothing joins them.

    ``ohms`` replaces the expected values; bonds named in ``without`` are lifted.
    """
    values = np.log(network.ohms if ohms is None else ohms)
    circuit = solve(network, [Case()], values[None, :], [network.bond_place(name) for name in without])
    count = len(network.points)
    i, j = (places.ravel() for places in np.indices((count, count)))
    found = np.where(circuit.joined(i, j)[0], circuit.resistances(i, j)[0], np.inf)
    return found.reshape(count, count)
