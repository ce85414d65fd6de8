"""The plant as it really is, with the things that hands left behind: the only place that knows the truth.

Neither way of working looks in here but through readings, beeps and looks; only :mod:`tests.rebuild.figures` does.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence

from bench.plant import faults as k
from bench.plant.handled import Handled
from bench.plant.model import Plant
from bench.simulate.world.power import PowerWorld
from tests.rebuild.plants import Drawn
from tests.walk.by_hand_hall import Hall


class Clock:
    """Seconds of an evening: they go by where somebody says so."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def now(self) -> float:
        """Since the evening began."""
        return self.seconds

    def jump(self, seconds: float) -> None:
        """Time goes by."""
        self.seconds += max(0.0, seconds)


class Tonight(Hall):
    """The simulated plant in this process for one evening; the simulator's own hands move it."""

    def __init__(self, site: Site) -> None:
        self.clock = Clock()  # type: ignore[assignment]
        self.world = PowerWorld(site.plant, site.faults, seed=site.number, reference_ohms=100.0, broken=())
        self._dials, self._ports, self._machines = {}, {}, []
        self.world.breakers(site.closed, 0.0)
        self.world.cards(site.out, 0.0)
        self.world.lift_bonds(site.lifted)
        self.world.energise(sorted(site.live))


class Site:
    """A plant with its faults.

    Args:
        drawn: what there is.

    Attributes:
        faults: what is wrong now.
        closed, out, lifted, live: how hands left breakers, cards, bonds and supplies, whatever they said.
        apart: supplies of the plant whose own leads were taken off and stay so.
    """

    def __init__(self, drawn: Drawn) -> None:
        self.plant: Plant = drawn.plant
        self.number = drawn.number
        self.faults: list[k.Fault] = list(drawn.faults)
        self.closed: set[str] = set()
        self.out: set[str] = set()
        self.lifted: set[str] = set()
        self.live: set[str] = set()
        self.apart: set[str] = set()
        self.luck = random.Random(f"site {drawn.number}")

    def tonight(self) -> Tonight:
        """The plant, to be read and handled."""
        return Tonight(self)

    def left(self, handled: Handled, closed: Iterable[str]) -> None:
        """How an evening left it; the breakers as they really stand."""
        self.closed = set(closed)
        self.out, self.lifted, self.live = set(handled.out), set(handled.lifted), set(handled.live)

    def seen_at(self, names: Iterable[str]) -> list[k.Fault]:
        """The faults that somebody sees who opens up these places."""
        looked = self._widened(names)
        return [fault for fault in self.faults if places_of(self.plant, fault) & looked]

    def _widened(self, names: Iterable[str]) -> set[str]:
        """The places with what lies under the same hands: a connector's pins, a conductor's two ends."""
        found: set[str] = set()
        for name in names:
            found.add(name)
            conductor = self.plant.conductors.get(name)
            if conductor is not None:
                found |= {conductor.near_end.name, conductor.far_end.name}
            inlet = self.plant.inlets.get(name)
            if inlet is not None:
                found |= {inlet.shelf, inlet.live.name, inlet.back.name}
            if name in self.plant.breakers:
                found |= {f"{name}.line", f"{name}.load"}
            if name in self.plant.bonds:
                bond = self.plant.bonds[name]
                found |= {bond.a.name, bond.b.name}
        return found

    def beside(self, name: str) -> str:
        """The pin beside one; any other place has none like it at hand."""
        terminal = self.plant.terminals.get(name)
        if terminal is None or terminal.kind != "pin":
            return name
        pins = [one.name for one in self.plant.terminals.values() if one.owner == terminal.owner]
        return pins[(pins.index(name) + 1) % len(pins)]

    def mend(self, faults: Sequence[k.Fault]) -> None:
        """These are no more."""
        self.faults = [fault for fault in self.faults if fault not in faults]


def places_of(plant: Plant, fault: k.Fault) -> set[str]:
    """Where a fault is seen by who opens that up: pins, conductors, shelves, bonds, earth points."""
    match fault:
        case k.Open() | k.HighResistance() | k.Loose():
            wire = plant.conductors[fault.conductor]
            return {fault.conductor, wire.near_end.name, wire.far_end.name}
        case k.Intermittent():
            return {fault.at}
        case k.Damaged():
            return {f"{fault.conductor} inside", fault.conductor}
        case k.Short() | k.Leakage() | k.SecondEarthPath():
            return _ends(plant, fault.between)
        case k.Exchanged():
            return set(fault.pins) | {one.name for pin in fault.pins for one in plant.landings.get(pin, ())}
        case k.Shifted():
            return {fault.connector}
        case k.ConnectorsExchanged():
            return set(fault.connectors)
        case k.HighResistanceLug():
            owner = fault.terminal.split(".")[0]
            return {fault.terminal, owner}
        case k.BondPoor() | k.BondOpen():
            return {fault.bond}
        case k.PolarityReversed() | k.ShelfShort() | k.DiodeShorted():
            return {fault.shelf, f"{fault.shelf}.{fault.feed}", f"{fault.shelf}.{fault.feed}-return"}
        case k.FeedsCrossed():
            return {fault.shelf, *(f"{fault.shelf}.{feed}" for feed in fault.feeds)}
        case k.ShelfHeavy() | k.ShelfLight() | k.ShelfDrifts() | k.SlowCapacitor() | k.ShelfCharged():
            return {fault.shelf}
    raise AssertionError(f"nobody put in {fault}")


def _ends(plant: Plant, between: Iterable[str]) -> set[str]:
    found: set[str] = set()
    for name in between:
        found.add(name)
        wire = plant.conductors.get(name)
        if wire is not None:
            found |= {wire.near_end.name, wire.far_end.name}
    return found
