"""Where things are, in words for a person at the rack."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from bench.plant.things import (
    Bay,
    Bond,
    Breaker,
    Busbar,
    Cable,
    Card,
    Conductor,
    Connector,
    EarthPoint,
    Feed,
    Inlet,
    Section,
    Shelf,
    Supply,
    Terminal,
    Thing,
    Tray,
)
from bench.quantity import engineering


class Plant(Protocol):
    """What of a plant tells where things are: its things by name."""

    @property
    def bays(self) -> Mapping[str, Bay]:
        """Bays by name."""

    @property
    def shelves(self) -> Mapping[str, Shelf]:
        """Shelves and half-shelves by name."""

    @property
    def connectors(self) -> Mapping[str, Connector]:
        """Connectors by name."""

    @property
    def conductors(self) -> Mapping[str, Conductor]:
        """Conductors by name."""

    @property
    def breakers(self) -> Mapping[str, Breaker]:
        """Breakers by name."""

    @property
    def supplies(self) -> Mapping[str, Supply]:
        """Supplies by name."""

    @property
    def single_point_bonds(self) -> tuple[Bond, ...]:
        """The conductors of the single-point connection."""

    @property
    def busbars(self) -> Mapping[str, Busbar]:
        """Busbars by name."""

    @property
    def earth_points(self) -> Mapping[str, EarthPoint]:
        """Earth points by name."""


def ordinal(number: int) -> str:
    """``1st``, ``2nd``, ``12th``, ``22nd``."""
    if 10 <= number % 100 <= 20:
        return f"{number}th"
    return f"{number}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th') }"


def where(plant: Plant, thing: Thing) -> str:
    """Where a thing of a plant is.

    Args:
        plant: by whose names it is told.
        thing: one of its things.
    """
    match thing:
        case Terminal():
            return _terminal(plant, thing)
        case Conductor():
            return _conductor(thing)
        case Cable():
            return _cable(thing)
        case Connector():
            return f"{_shelf(plant, thing.shelf)} {thing.faces}, connector {thing.name}{_aside(thing.at)}"
        case Card():
            return f"{_shelf(plant, thing.shelf)}, slot {thing.slot}, {thing.type.title or thing.type.name}"
        case Inlet():
            return f"{_shelf(plant, thing.shelf)}, inlet of feed {thing.feed}"
        case Shelf():
            whole = plant.shelves[thing.half_of] if thing.half_of else thing
            return f"{_shelf(plant, thing.name)} ({ordinal(whole.place)} from the top{_tail(thing.title)})"
        case Bay():
            return f"bay {thing.name}{_aside(thing.title)}"
        case Breaker():
            return _at(plant, thing.at, thing.position, f"breaker {thing.name}")
        case Busbar():
            return _at(plant, thing.at, thing.position, f"busbar {thing.name}{_aside(thing.title)}")
        case Supply():
            return _at(plant, thing.at, thing.position, f"supply {thing.name}{_aside(thing.title)}")
        case EarthPoint():
            return _at(plant, thing.at, thing.position, f"earth point {thing.name}{_aside(thing.title)}")
        case Feed():
            return f"feed {thing.name}, {engineering(thing.nominal_v, 'V')}{_aside(thing.title)}"
        case Bond():
            link = ""
            if thing in plant.single_point_bonds:
                link = ", the single-point connection" if thing.single_point else ", beside the single-point connection"
            return f"bond {thing.name}{link}, from {thing.a.name} to {thing.b.name}"
        case Tray():
            return f"cable tray {thing.name}{_aside(thing.title)}"
        case Section():
            return f"cable tray {thing.tray}, section {thing.name}{_aside(thing.title)}"


def _aside(text: str) -> str:
    return f" ({text})" if text else ""


def _tail(text: str) -> str:
    return f"; {text}" if text else ""


def _shelf(plant: Plant, name: str) -> str:
    shelf = plant.shelves[name]
    if shelf.half_of:
        return f"bay {shelf.bay}, half-shelf {name}"
    return f"bay {shelf.bay}, shelf {name}"


def _at(plant: Plant, at: str, position: str, what: str) -> str:
    parts = []
    if at in plant.shelves:
        parts.append(_shelf(plant, at))
    elif at in plant.bays:
        parts.append(f"bay {at}")
    elif at:
        parts.append(f"cable tray {at}")
    if position:
        parts.append(position)
    return ", ".join([*parts, what])


def _terminal(plant: Plant, terminal: Terminal) -> str:
    owner = terminal.owner
    match terminal.kind:
        case "pin":
            connector = plant.connectors[owner]
            side = f", seen from the {connector.layout.view} side"
            spot = f"(row {terminal.row}, {ordinal(terminal.column)} from the left{side})"
            return f"{where(plant, connector)}, pin {terminal.pin} {spot}"
        case "inlet":
            feed, _, back = terminal.pin.partition("-")
            pole = "return" if back else "feed"
            return f"{_shelf(plant, owner)}, inlet of feed {feed}, {pole} terminal"
        case "breaker":
            return f"{where(plant, plant.breakers[owner])}, {terminal.pin} side"
        case "supply":
            return f"{where(plant, plant.supplies[owner])}, {terminal.pin} terminal"
        case "end" if "/" in terminal.pin:
            side, _, flag = terminal.pin.partition("/")
            return f"cable {owner}, {side} end, flag {flag}"
        case "end":
            number, _, side = terminal.pin.partition(".")
            conductor = plant.conductors[f"{owner}.{number}"]
            status = conductor.near_status if side == "near" else conductor.far_status
            state = "cut" if status == "cut" else "not known where it lands"
            return f"cable {owner}, {side} end, {_which(conductor)}, {state}"
        case "busbar" | "earth":
            thing: Busbar | EarthPoint = plant.busbars.get(owner) or plant.earth_points[owner]
            stud = f", stud {terminal.pin}" if terminal.pin else ""
            return f"{where(plant, thing)}{stud}"


def _which(conductor: Conductor) -> str:
    """``conductor 12 (yellow/orange, pair 17 ring)``."""
    if conductor.is_screen:
        return "the screen"
    parts = [conductor.colour] if conductor.colour else []
    if conductor.pair is not None:
        parts.append(f"pair {conductor.pair} {conductor.leg}")
    if conductor.binder:
        parts.append(f"binder {conductor.binder}")
    return f"conductor {conductor.number}{_aside(', '.join(parts))}"


def _conductor(conductor: Conductor) -> str:
    ends = []
    for preposition, terminal, status in (
        ("from", conductor.near, conductor.near_status),
        ("to", conductor.far, conductor.far_status),
    ):
        if terminal is None:
            ends.append(f"{preposition} {'a cut end' if status == 'cut' else 'an unknown end'}")
        else:
            ends.append(f"{preposition} {terminal.name}{' as claimed' if status == 'claimed' else ''}")
    return f"cable {conductor.cable}, {_which(conductor)}, {' '.join(ends)}"


def _cable(cable: Cable) -> str:
    near = ", ".join(cable.near) or "an open end"
    far = ", ".join(cable.far) or "an open end"
    way = f", by {', '.join(cable.sections)}" if cable.sections else ""
    return f"cable {cable.name}{_aside(cable.title)}, from {near} to {far}{way}, {engineering(cable.length_m, 'm')}"
