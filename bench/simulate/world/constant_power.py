"""The operating point of constant-power loads on a resistive network."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np

from bench.simulate.world.factor import Floats

__all__ = ["CircuitError", "UndervoltageCollapse", "operating_point"]


class CircuitError(ValueError):
    """The network or the question has no physical answer; the message says which part."""


class UndervoltageCollapse(CircuitError):
    """Constant-power loads ask for more than the network can carry.

    ``loads`` names the loads that were on, the one nearest to collapse first.
    """

    def __init__(self, loads: Sequence[Hashable]) -> None:
        self.loads = tuple(loads)
        names = ", ".join(str(name) for name in self.loads)
        super().__init__(f"does not converge: undervoltage collapse (loads on: {names})")


def operating_point(open_volts: Floats, between: Floats, watts: Floats, names: Sequence[Hashable]) -> Floats:
    """The upper solution of ``v = open_volts - between @ (watts / v)``; shapes (m,), (m, m), (m,).

    Newton from the unloaded voltages comes down on the upper solution. On that side
    ``I - sqrt(c) Z sqrt(c)`` with ``c = watts / v**2`` is positive definite; where it ceases to be,
    the network is past its maximum power (one load: ``v0**2 / 4 R``, the maximum power theorem).
    """
    v = open_volts.copy()
    for _ in range(200):
        excess = v - open_volts + between @ (watts / v)
        root = np.sqrt(watts) / v
        stable = np.eye(len(v)) - root[:, None] * between * root[None, :]
        small = bool(np.all(np.abs(excess) <= 1e-13 * open_volts))
        try:
            np.linalg.cholesky(stable)
        except np.linalg.LinAlgError:
            if small:
                return v  # at the very maximum, to rounding
            break
        if small:
            return v
        slope = np.eye(len(v)) - between * (watts / v**2)[None, :]
        v = v - np.linalg.solve(slope, excess)
        if not np.all(v > 0.0):
            break
    order = np.argsort(v / open_volts)
    raise UndervoltageCollapse([names[int(k)] for k in order])
