"""The bench supply's twin on a plant that has capacitors: the plant itself carries voltage and current on in time."""

from __future__ import annotations

from typing import Any

from bench.simulate.twins.supply import SupplyTwin
from bench.simulate.world.power import PowerWorld
from bench.simulate.world.terminals import OutputState


class Terminals:
    """The plant as the supply's output terminals see it: a :class:`bench.simulate.world.terminals.SupplyWorld`."""

    def __init__(self, world: PowerWorld) -> None:
        self._world = world

    def draw(self, volts: float, time: float) -> float:
        """DC amperes at a voltage, for one short step."""
        return self._world.draw(volts, time)

    def hold(self, volts: float | None, time: float) -> None:
        """The output is off from ``time`` on where ``volts`` is None; how it is on is told by ``drive``."""
        if volts is None:
            self._world.release(time)

    def idle_voltage(self, time: float) -> float:
        """DC volts that the plant puts on the terminals while the output is off."""
        return self._world.idle_voltage(time)


class PlantSupplyTwin(SupplyTwin):
    """A supply whose output the plant works out, since what it draws depends on what it had before.

    Args:
        world: the plant.
        options: as for :class:`bench.simulate.twins.supply.SupplyTwin`.
    """

    def __init__(self, world: PowerWorld, **options: Any) -> None:
        self._plant = world
        super().__init__(Terminals(world), **options)

    def _settled(self, volts: float, limit: float, now: float) -> OutputState:
        return self._plant.drive(volts, limit, now)
