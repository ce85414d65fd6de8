"""The leads of a meter behind a relay matrix: what the closed relays connect is where the leads are.

A :class:`~bench.simulate.world.terminals.MatrixWorld`. Relays that never close leave a lead in the air, and welded ones
hang another place onto it, just as in a real one: the plant's circuit does the rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from bench.simulate.world.plant import REFERENCE, TOGETHER
from bench.simulate.world.power import PowerWorld

Wires = Mapping[int, tuple[Literal["red", "black"], str]]
"""Channel to the bus that it is on and the place that its row is wired to."""


class RelayedLeads:
    """A matrix between a plant and a meter's leads.

    Args:
        world: the plant.
        wires: how it is wired; a channel that is not in it leads nowhere.
    """

    def __init__(self, world: PowerWorld, wires: Wires) -> None:
        self._world = world
        self._wires = wires
        self._on = False

    def switched(self, closed: frozenset[int], time: float) -> None:
        """The leads are where the closed channels put them from ``time`` on; where none is closed, off."""
        sides: dict[str, list[str]] = {"red": [], "black": []}
        for channel in sorted(closed):
            if channel in self._wires:
                side, place = self._wires[channel]
                sides[side].append(place)
        red, black = sides["red"], sides["black"]
        for known in (TOGETHER, REFERENCE):
            if known in red and known in black:
                self._world.hold(known)
                self._on = True
                return
        red, black = ([place for place in side if place not in (TOGETHER, REFERENCE)] for side in (red, black))
        if red and black:
            self._world.place(red[0], black[0], time, join=[side for side in (red, black) if len(side) > 1])
            self._on = True
        elif self._on:
            # a person's hands may hold the leads while no relay is closed: what they hold stays
            self._world.lift()
            self._on = False
