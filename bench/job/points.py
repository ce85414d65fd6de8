"""What can be traced: a pin, conductor, cable, shelf, bond, feed or any other name, and how near things lie to it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

import msgspec

from bench.job.rows import Evidence
from bench.plant.model import NoPath, Plant
from bench.plant.things import (
    KIND_WORDS,
    Bay,
    Bond,
    Breaker,
    Busbar,
    Cable,
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

ELSEWHERE: Final = 0.02
"""Nearness of what lies nowhere near: common practice, no source."""
_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9.+_-]*")


class Point(msgspec.Struct, frozen=True):
    """Something to be traced.

    Attributes:
        name: as it was asked for.
        kind: what it is, in words.
        where: where it is, in words; empty where the plant does not know it.
        names: readings that have one of these as subject or place are readings of it.
        ends: readings between just these two places are readings of it, too.
    """

    name: str
    kind: str
    where: str
    names: frozenset[str]
    ends: frozenset[str] = frozenset()

    def matches(self, row: Evidence) -> bool:
        """Whether a reading is one of this point."""
        return (
            row.subject in self.names
            or not self.names.isdisjoint(row.between)
            or (bool(self.ends) and self.ends == frozenset(row.between))
        )

    @property
    def sought(self) -> frozenset[str]:
        """Names to search records for; a reading that has one may still not match."""
        return self.names | self.ends


def point_of(plant: Plant, name: str) -> Point:
    """What a name stands for.

    Raises:
        UnknownName: the plant has nothing of this name; the text has the near miss.
    """
    thing = plant.find(name)
    names, ends = _names(plant, thing)
    return Point(name, KIND_WORDS[type(thing)], plant.where(name), frozenset(names | {name}), frozenset(ends))


def _names(plant: Plant, thing: Thing) -> tuple[set[str], set[str]]:
    match thing:
        case Conductor():
            # the pins are its own; studs and bars are shared with others
            places = {end.name for end in (thing.near_end, thing.far_end)}
            own = {place for place in places if len(plant.landings.get(place, ())) <= 1}
            return {thing.name} | own, places
        case Bond():
            return {thing.name}, {thing.a.name, thing.b.name}
        case Terminal():
            return {thing.name, *(one.name for one in plant.landings.get(thing.name, ()))}, set()
        case Cable():
            found: set[str] = set()
            for conductor in (*thing.conductors, *([thing.screen] if thing.screen else [])):
                found |= _names(plant, conductor)[0]
            return found, set()
        case Connector():
            return _of_pins(plant, thing.terminals), set()
        case Inlet():
            return {thing.live.name, thing.back.name}, set()
        case Shelf() | Bay():
            found = _of_pins(plant, plant.pins_of(thing.name))
            for inlet in plant.inlets_of(thing.name):
                found |= {inlet.name, inlet.live.name, inlet.back.name}
            return found | {shelf.name for shelf in plant.shelves_of(thing.name)}, set()
        case Feed():
            found = {name for inlet in plant.inlets_of(thing.name) for name in (inlet.name, inlet.live.name)}
            for breaker in plant.breakers_of(thing.name):
                found |= {breaker.name, breaker.line.name, breaker.load.name}
            return found, set()
        case Breaker():
            return {thing.line.name, thing.load.name}, set()
        case Supply():
            return {thing.live.name, thing.back.name}, set()
        case Busbar() | EarthPoint():
            found = {one.name for one in plant.terminals.values() if one.owner == thing.name}
            return found | {bond.name for bond in plant.bonds_of(thing.name)}, set()
        case Tray() | Section():
            return {one.name for cable in plant.cables_of(thing.name) for one in cable.conductors}, set()
        case _:
            return {thing.name}, set()


def _of_pins(plant: Plant, pins: Iterable[Terminal]) -> set[str]:
    found = set()
    for pin in pins:
        found.add(pin.name)
        found |= {one.name for one in plant.landings.get(pin.name, ())}
    return found


class Surroundings(msgspec.Struct, frozen=True):
    """What lies around a point, from near to far: each a degree of nearness, the words for it, and names.

    Attributes:
        rings: nearness from 1 down, words, names; a name counts where it comes first.
    """

    rings: tuple[tuple[float, str, frozenset[str]], ...] = msgspec.field(default=())

    def nearness(self, names: Iterable[str]) -> tuple[float, str]:
        """How near the nearest of some names lies: 1 is the point itself, 0.02 is elsewhere."""
        wanted = set(names)
        for degree, words, ring in self.rings:
            met = sorted(ring & wanted)
            if met:
                return degree, f"{', '.join(met[:3])}: {words}"
        return ELSEWHERE, "elsewhere"


def surroundings(plant: Plant, point: Point) -> Surroundings:
    """What lies around a point. The degrees of nearness are common practice, no source."""
    conductors = {name for name in point.names if name in plant.conductors}
    pins = {name for name in point.names if name in plant.terminals}
    for name in conductors:
        ends = (plant.conductors[name].near_end, plant.conductors[name].far_end)
        pins |= {end.name for end in ends}
    cables = {plant.conductors[name].cable for name in conductors}
    owners = {plant.terminals[pin].owner for pin in pins}
    beside = {other.name for pin in pins for other in plant.neighbours(pin)}
    beside |= {one.name for pin in beside for one in plant.landings.get(pin, ())}
    sections = {section for cable in cables for section in plant.cables[cable].sections}
    trays = {plant.sections[section].tray for section in sections}
    shelves = {plant.terminals[pin].shelf for pin in pins} - {""}
    bays = {plant.terminals[pin].bay for pin in pins} - {""}
    bonds = {name for name in point.names if name in plant.bonds}
    for name in bonds:
        ends = (plant.bonds[name].a, plant.bonds[name].b)
        owners |= {end.owner for end in ends}
        bays |= {plant.earth_points[end.owner].at for end in ends if end.owner in plant.earth_points} - {""}
    path: set[str] = set()
    for name in point.names & plant.inlets.keys():
        path |= _feed_path(plant, name)
        shelves.add(plant.inlets[name].shelf)
    for shelf in tuple(shelves):
        whole = plant.shelves[shelf].half_of if shelf in plant.shelves else ""
        shelves |= {whole} - {""}
    rings = (
        (1.0, "the point itself", set(point.names)),
        (0.9, "its end", pins | owners),
        (0.85, "its cable", cables),
        (0.8, "on its feed's way", path),
        (0.7, "right beside it", beside),
        (0.6, "the tray section that it runs in", sections),
        (0.4, "its shelf or tray", shelves | trays),
        (0.2, "its bay", bays),
    )
    return Surroundings(tuple((degree, words, frozenset(names)) for degree, words, names in rings))


def _feed_path(plant: Plant, inlet: str) -> set[str]:
    one = plant.inlets[inlet]
    try:
        path = plant.supply_path(one.shelf, one.feed)
    except NoPath:
        return set()
    ids = {edge.id for edge in (*path.out, *path.back)}
    cables = {plant.conductors[name].cable for name in ids if name in plant.conductors}
    return ids | cables | {name.rpartition(".")[0] for name in ids if "." in name} | {path.supply}


def names_in(plant: Plant, text: str) -> tuple[str, ...]:
    """The names of the plant that a text mentions, in the order in which it does."""
    found = []
    for word in _NAME.findall(text):
        name = word.rstrip(".-")
        # a lone figure in a remark is seldom a bay
        if name in plant.things and not name.isdigit() and name not in found:
            found.append(name)
    return tuple(found)
