"""Loads of constant power, and the point at which a network carries them."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from typing import Final

import msgspec

from bench.network import dense

ROUNDS: Final = 200
"""Newton steps at the most; a handful is enough unless the network is near its maximum power."""


class CircuitError(ValueError):
    """The network or the question has no physical answer; the message says which part."""


class UndervoltageCollapse(CircuitError):
    """Constant-power loads ask for more than the network can carry.

    Attributes:
        loads: the loads that were on, the one nearest to collapse first.
    """

    def __init__(self, loads: Sequence[Hashable]) -> None:
        self.loads = tuple(loads)
        names = ", ".join(str(name) for name in self.loads)
        super().__init__(f"does not converge: undervoltage collapse (loads on: {names})")


class PowerLoad(msgspec.Struct, frozen=True):
    """Draws constant power whatever the voltage, as converters do.

    Attributes:
        id: its name.
        plus: the node that it draws from.
        minus: the node that it returns to.
        watts: what it draws.
        cutoff_volts: below this it is off (undervoltage lockout); reversed it is off always.
        starts_volts: a load that is not running starts at this voltage or above; a converter with hysteresis starts
            above its cutoff. Where it is not given it starts at the cutoff.
        running: whether it has been running: then it goes on down to its cutoff.
    """

    id: Hashable
    plus: Hashable
    minus: Hashable
    watts: float
    cutoff_volts: float = 0.0
    starts_volts: float = 0.0
    running: bool = False

    @property
    def wants_volts(self) -> float:
        """The least voltage, with nothing drawn, at which it is on."""
        return self.cutoff_volts if self.running else max(self.cutoff_volts, self.starts_volts)


class LoadState(msgspec.Struct, frozen=True):
    """What a constant-power load met: its voltage, its current, whether it runs."""

    volts: float
    amps: float
    on: bool


class Ports(msgspec.Struct, frozen=True):
    """A network as it looks to several pairs of nodes at once (Thevenin's equivalent).

    Attributes:
        open_volts: at each pair with nothing drawn; not a number where no path joins the two.
        ohms: volts lost at each pair (row) for an ampere drawn at each pair (column).
    """

    open_volts: list[float]
    ohms: list[list[float]]


def settled(fed: Sequence[PowerLoad], seen: Ports) -> dict[int, float]:
    """Which loads stay on where they all want to be.

    A load whose voltage ends below its cutoff goes off, the worst one first; so does one with a cutoff where the bus
    would collapse.

    Args:
        fed: the loads that are on with nothing drawn.
        seen: what the network looks like to each of them.

    Returns:
        The places of those that stay, and the volts at each.

    Raises:
        UndervoltageCollapse: there is no operating point, and nothing gives way.
    """
    on = list(range(len(fed)))
    while on:
        names = [fed[k].id for k in on]
        between = [[seen.ohms[row][column] for column in on] for row in on]
        try:
            volts = operating_point([seen.open_volts[k] for k in on], between, [fed[k].watts for k in on], names)
        except UndervoltageCollapse as collapse:
            # A load with a lockout gives way before the bus collapses.
            locked = [on[names.index(name)] for name in collapse.loads if fed[on[names.index(name)]].cutoff_volts > 0.0]
            if not locked:
                raise
            on.remove(locked[0])
            continue
        short = [fed[k].cutoff_volts - found for k, found in zip(on, volts, strict=True)]
        if max(short) <= 0.0:
            return dict(zip(on, volts, strict=True))
        del on[short.index(max(short))]
    return {}


def operating_point(
    open_volts: Sequence[float], between: dense.Rows, watts: Sequence[float], names: Sequence[Hashable]
) -> list[float]:
    """The upper solution of ``v = open_volts - between @ (watts / v)``.

    Newton from the unloaded voltages comes down on the upper solution. On that side
    ``I - sqrt(c) Z sqrt(c)`` with ``c = watts / v**2`` is positive definite; where it ceases to be,
    the network is past its maximum power (one load: ``v0**2 / 4 R``, the maximum power theorem).

    Args:
        open_volts: at each load with nothing drawn, above 0.
        between: ohms; volts lost at each load for an ampere drawn at each.
        watts: of each load.
        names: of the loads, for the error.

    Returns:
        Volts at each load.

    Raises:
        UndervoltageCollapse: there is no such solution.
    """
    every = range(len(watts))
    v = list(open_volts)
    for _ in range(ROUNDS):
        amps = [power / volts for power, volts in zip(watts, v, strict=True)]
        lost = dense.times(between, amps)
        excess = [v[k] - open_volts[k] + lost[k] for k in every]
        if all(abs(excess[k]) <= 1e-13 * open_volts[k] for k in every):
            return v
        root = [math.sqrt(watts[k]) / v[k] for k in every]
        stable = [[(i == j) - root[i] * between[i][j] * root[j] for j in every] for i in every]
        if not dense.is_positive_definite(stable):
            break
        slope = [[(i == j) - between[i][j] * amps[j] / v[j] for j in every] for i in every]
        v = [volts - step for volts, step in zip(v, dense.solve(slope, excess), strict=True)]
        if not all(volts > 0.0 for volts in v):
            break
    order = sorted(every, key=lambda k: v[k] / open_volts[k])
    raise UndervoltageCollapse([names[k] for k in order])
