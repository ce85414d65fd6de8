"""What is so at the moment when a shelf gets volts: looked up in the plant as it really is, for the figures alone."""

from __future__ import annotations

from collections.abc import Collection, Iterable

import msgspec

from bench.plant import faults as k
from bench.plant.model import Plant
from tests.rebuild.plants import signal_cables
from tests.rebuild.site import Site

SAFE = 5.0
"""Volts that a shelf may meet before it has been shown that it is the right one, the right way round."""
HURTS = ("reversed", "crossed", "short")
"""With cards in and more than :data:`SAFE` volts these harm cards (assumed)."""


class Over(msgspec.Struct, frozen=True):
    """A shelf that had volts although something was wrong that readings could have shown.

    Attributes:
        shelf: the shelf.
        kind: what was wrong.
        fault: that, as it was put in.
        volts: at the supply.
        cards: whether cards were in.
        hidden: it came about after the last reading that could have shown it, and nobody told.
    """

    shelf: str
    kind: str
    fault: k.Fault
    volts: float
    cards: bool
    hidden: bool = False

    @property
    def harms(self) -> bool:
        """Whether cards take harm."""
        return self.cards and self.kind in HURTS and self.volts > SAFE


def over(
    site: Site, shelves: Iterable[str], volts: float, cards: Collection[str], hidden: Collection[k.Fault]
) -> list[Over]:
    """What is wrong with shelves that get volts now.

    Args:
        site: the plant as it is.
        shelves: that get them.
        volts: how many.
        cards: shelves with cards in.
        hidden: faults that came about untold.
    """
    found = []
    for shelf in shelves:
        for fault in site.faults:
            kind = _against(site.plant, fault, shelf, volts, shelf in cards)
            if kind:
                found.append(Over(shelf, kind, fault, volts, shelf in cards, fault in hidden))
    return found


def _against(plant: Plant, fault: k.Fault, shelf: str, volts: float, cards: bool) -> str:
    """What a fault is called where the shelf must not have these volts with it; empty where it may."""
    match fault:
        case k.ShelfShort(shelf=where) if where == shelf and volts > 0.0:
            return "short"
        case k.PolarityReversed(shelf=where) if where == shelf and volts > SAFE:
            return "reversed"
        case k.FeedsCrossed(shelf=where) if where == shelf and volts > SAFE:
            return "crossed"
        case k.SecondEarthPath():
            return "second path"
        case k.BondPoor(bond=bond) | k.BondOpen(bond=bond) if bond == f"GE{plant.shelves[shelf].bay}":
            return "bond"
        case k.Exchanged() | k.Shifted() | k.ConnectorsExchanged() | k.Short() | k.Open() if cards:
            return "signal wires" if cable_of(plant, fault) & set(signals_of(plant, shelf)) else ""
    return ""


def signals_of(plant: Plant, shelf: str) -> list[str]:
    """The signal cables that end on a shelf."""
    own = {connector.name for connector in plant.connectors_of(shelf)}
    return [name for name in signal_cables(plant) if own & {*plant.cables[name].near, *plant.cables[name].far}]


def cable_of(plant: Plant, fault: k.Fault) -> set[str]:
    """The cables that a fault of wires is at."""
    match fault:
        case k.Open() | k.HighResistance() | k.Damaged() | k.Intermittent():
            return {plant.conductors[fault.conductor].cable}
        case k.Short() | k.Leakage():
            return {plant.conductors[one].cable if one in plant.conductors else cable
                    for one in fault.between for cable in _landed(plant, one)}  # fmt: skip
        case k.Exchanged():
            return {cable for pin in fault.pins for cable in _landed(plant, pin)}
        case k.Shifted():
            return _on(plant, fault.connector)
        case k.ConnectorsExchanged():
            return {cable for one in fault.connectors for cable in _on(plant, one)}
    return set()


def _landed(plant: Plant, pin: str) -> set[str]:
    if pin in plant.conductors:
        return {plant.conductors[pin].cable}
    return {one.cable for one in plant.landings.get(pin, ())}


def _on(plant: Plant, connector: str) -> set[str]:
    return {cable.name for cable in plant.cables.values() if connector in (*cable.near, *cable.far)}


def fed(plant: Plant, at: Iterable[str], closed: Collection[str]) -> set[str]:
    """The shelves that what stands at these supplies feeds through the breakers that are really closed."""
    found = set()
    for inlet in plant.inlets.values():
        path = plant.supply_path(inlet.shelf, inlet.feed)
        if path.supply in at and set(path.breakers) <= set(closed):
            found.add(inlet.shelf)
    return found
