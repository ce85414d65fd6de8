"""The plant as a circuit, with the meters' leads at their places.

The leads move only through :class:`PlantWorld`'s own methods, which the simulator's hands call. A touch has a little
resistance of its own, drawn anew for each placing, as tips on metal have.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Sequence
from typing import Final

from bench.plant.graph import Edge as PlantEdge
from bench.plant.model import Plant
from bench.simulate.circuit import Edge, Network, VoltageSource
from bench.simulate.world import HI, LO, SENSE_HI, SENSE_LO

TOUCH_OHM: Final = (0.001, 0.006)
"""Resistance of both tips together, from good to middling (common practice, no source)."""
TOGETHER: Final = "together"
"""Where the leads are when their tips are held together."""
REFERENCE: Final = "reference"
"""Where they are when they are on the bench's reference resistor."""

_PROBE: Final = {HI: 0, SENSE_HI: 0, LO: 1, SENSE_LO: 1}


class PlantWorld:
    """What the meters see. It implements :class:`bench.simulate.world.MeterWorld` for every meter of the bench.

    Args:
        plant: the plant as designed; it gives names and supplies.
        edges: the plant as it really is, faults and all.
        seed: for touches.
        reference_ohms: of the bench's reference resistor.
    """

    def __init__(
        self, plant: Plant, edges: Iterable[PlantEdge], *, seed: int = 0, reference_ohms: float = 100.0
    ) -> None:
        self._plant = plant
        self._random = random.Random(f"touches {seed}")
        self._reference = reference_ohms
        self._edges = [Edge(edge.id, edge.a, edge.b, edge.ohms) for edge in edges if math.isfinite(edge.ohms)]
        nodes = {terminal.node for terminal in plant.terminals.values()}
        self._breakers = {edge.id for edge in edges if edge.kind == "breaker"}
        self._whole = Network(self._edges, nodes)
        self._network = self._whole.changed(dict.fromkeys(self._breakers, math.inf))
        self._closed: frozenset[str] = frozenset()
        self._energised: frozenset[str] = frozenset()
        self._places: Sequence[str] = ()
        self._touch = 0.0
        self._known: dict[tuple[str, str], float] = {}

    # what hands do

    def place(self, red: str, black: str) -> None:
        """Put the leads on two terminals.

        Raises:
            UnknownName: a name is no terminal of the plant.
        """
        self._places = (self._plant.terminal(red).node, self._plant.terminal(black).node)
        self._touch = self._random.uniform(*TOUCH_OHM)

    def hold(self, where: str) -> None:
        """Hold the tips :data:`TOGETHER`, or put them on the :data:`REFERENCE`."""
        if where not in (TOGETHER, REFERENCE):
            raise ValueError(f"found {where!r}, expected '{TOGETHER}' or '{REFERENCE}'")
        self._places = (where,)
        self._touch = self._random.uniform(*TOUCH_OHM)

    def lift(self) -> None:
        """Take the leads off."""
        self._places = ()

    def breakers(self, closed: Iterable[str]) -> None:
        """Close these breakers and open all others.

        Raises:
            ValueError: a name is no breaker.
        """
        wanted = frozenset(closed)
        unknown = wanted - self._breakers
        if unknown:
            raise ValueError(f"found {', '.join(sorted(unknown))}, expected breakers of the plant")
        opened = dict.fromkeys(self._breakers - wanted, math.inf)
        self._network = self._whole.changed(opened)
        self._closed = wanted
        self._known.clear()

    def energise(self, supplies: Iterable[str]) -> None:
        """Switch these supplies of the plant on and all others off.

        Raises:
            ValueError: a name is no supply.
        """
        wanted = frozenset(supplies)
        unknown = wanted - set(self._plant.supplies)
        if unknown:
            raise ValueError(f"found {', '.join(sorted(unknown))}, expected supplies of the plant")
        self._energised = wanted

    # what a meter sees

    def resistance(self, hi: str, lo: str, time: float) -> float:
        """Ohms between the leads, with the touch; infinity when open."""
        return self._between() + self._touch

    def four_wire(self, force_hi: str, sense_hi: str, sense_lo: str, force_lo: str, time: float) -> float:
        """Ohms between the tips: each tip carries a force and a sense lead, so the touch drops out."""
        return self._between()

    def voltage(self, hi: str, lo: str, time: float, loading: float) -> float:
        """Volts between two leads with the meter across them; not a number where they float."""
        if len(self._places) != 2:
            return 0.0 if self._places else math.nan
        a, b = self._places[_PROBE[hi]], self._places[_PROBE[lo]]
        sources = [
            VoltageSource(("source", one.name), one.live.node, one.back.node, one.volts, max(one.ohms, 1e-6))
            for one in self._plant.supplies.values()
            if one.name in self._energised
        ]
        if not sources:
            return 0.0 if math.isfinite(self._between()) else math.nan
        network = self._network
        if math.isfinite(loading):
            network = network.extended([Edge(("meter",), a, b, loading)])
        # without a meter across them two floating places have no voltage between them
        elif not self._joined_by(sources, a, b):
            return math.nan
        return network.solve(voltages=sources).volts(a, b)

    def ac_voltage(self, hi: str, lo: str, time: float, loading: float) -> float:
        """The simulated feeds carry no AC."""
        volts = self.voltage(hi, lo, time, loading)
        return math.nan if math.isnan(volts) else 0.0

    def current(self, into: str, out: str, time: float, burden: float) -> float:
        """Amperes through the meter when it is put between two places."""
        if len(self._places) != 2:
            return 0.0
        volts = self.voltage(HI, LO, time, burden)
        return 0.0 if math.isnan(volts) else volts / burden

    def _between(self) -> float:
        if len(self._places) == 1:
            return 0.0 if self._places[0] == TOGETHER else self._reference
        if not self._places:
            return math.inf
        pair = (self._places[0], self._places[1])
        if pair not in self._known:
            self._known[pair] = self._network.resistance(*pair)
        return self._known[pair]

    def _joined_by(self, sources: Sequence[VoltageSource], a: str, b: str) -> bool:
        bridged = self._network.extended(
            [Edge(("joined", source.id), source.plus, source.minus, source.ohms) for source in sources]
        )
        return bridged.connected(a, b)
