"""What a disturbance reaches, and what a changed plant file changes: the names that evidence may rest on.

Handling a cable moves its conductors and the pins that they end on; the wires on the pins beside them may have been
bent too. Handling a shelf, a connector, a tray section or a bar touches what ends or lies there. A feed's evidence at
an inlet rests on everything between the inlet and its supply.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from typing import TypeVar

import msgspec

from bench.job.rows import ENERGISED, Evidence
from bench.plant.model import NoPath, Plant, UnknownName
from bench.plant.things import Bay, Bond, Breaker, Busbar, Cable, Conductor, Connector, EarthPoint, Shelf, Tray

T = TypeVar("T")


class Reach(msgspec.Struct, frozen=True):
    """What was reached.

    Attributes:
        own: names that were handled: evidence that rests on one of them is void.
        beside: conductors on the neighbouring pins: evidence about these very conductors is void.
    """

    own: frozenset[str]
    beside: frozenset[str] = frozenset()

    def voids(self, subject: str, rests_on: frozenset[str]) -> bool:
        """Whether evidence is void that is about a subject and rests on these names.

        Args:
            subject: what the evidence is about.
            rests_on: the names that it rests on; see :meth:`Reaching.rests_on`.
        """
        return not self.own.isdisjoint(rests_on) or subject in self.beside


class Reaching:
    """Works out what is reached in one plant, and what evidence rests on in it.

    Args:
        plant: the plant.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._rests: dict[tuple[str, tuple[str, ...], str], frozenset[str]] = {}

    @cached_property
    def inlet_paths(self) -> Mapping[str, frozenset[str]]:
        """Inlet to the names of everything between it and its supply; an inlet that nothing reaches is left out."""
        found = {}
        for inlet in self.plant.inlets.values():
            try:
                path = self.plant.supply_path(inlet.shelf, inlet.feed)
            except NoPath:
                continue
            ids = {edge.id for edge in (*path.out, *path.back)}
            owners = {name.rpartition(".")[0] for name in ids if name in self.plant.terminals}
            found[inlet.name] = frozenset(ids | owners | {path.supply})
        return found

    def of(self, names: Iterable[str]) -> Reach:
        """What is reached when these things are handled; a name that the plant lacks stands for itself alone."""
        own, touched = set(names), set[str]()
        for name in names:
            try:
                touched |= self.plant.touched(name)
                own |= self._parts(name)
            except UnknownName:
                continue
        beside = set[str]()
        for name in touched:
            conductor = self.plant.conductors[name]
            for end in (conductor.near_end, conductor.far_end):
                own.add(end.name)
                if end.kind == "pin":
                    for pin in self.plant.neighbours(end.name):
                        beside |= {one.name for one in self.plant.landings.get(pin.name, ())}
        own |= touched
        own |= {inlet for inlet, path in self.inlet_paths.items() if not path.isdisjoint(own)}
        return Reach(frozenset(own), frozenset(beside - own))

    def _parts(self, name: str) -> set[str]:
        """The parts of a thing that evidence is named by."""
        plant, thing = self.plant, self.plant.find(name)
        card = plant.cards.get(name)
        if card is not None:
            return {card.shelf}
        if isinstance(thing, Cable):
            return {one.name for one in (*thing.conductors, thing.screen) if one is not None}
        if isinstance(thing, Connector):
            return {pin.name for pin in thing.terminals}
        if isinstance(thing, Shelf | Bay):
            parts = {inlet.name for inlet in plant.inlets_of(name)}
            parts |= {pin.name for pin in plant.pins_of(name)}
            parts |= {shelf.name for shelf in plant.shelves_of(name)} if isinstance(thing, Bay) else set()
            return parts | ({bond.name for bond in plant.bonds_of(name)} if isinstance(thing, Bay) else set())
        if isinstance(thing, EarthPoint | Busbar | Tray):
            return {bond.name for bond in plant.bonds_of(name)}
        return set()

    def rests_on(self, row: Evidence) -> frozenset[str]:
        """What evidence rests on: its subject, its places, the conductors that end on these.

        A shelf's current rests on its cards, and how it came up on the way of its feeds.
        """
        key = (row.subject, row.between, row.function)
        known = self._rests.get(key)
        if known is None:
            landings = self.plant.landings
            found = {row.subject, *row.between}
            found |= {one.name for place in row.between for one in landings.get(place, ())}
            if row.reads == "current" and row.subject in self.plant.inlets:
                found.add(self.plant.inlets[row.subject].shelf)
            if row.function == ENERGISED and row.subject in self.plant.shelves:
                found |= {inlet.name for inlet in self.plant.shelves[row.subject].inlets}
            known = self._rests[key] = frozenset(found - {""})
        return known


def differences(old: Plant, new: Plant) -> dict[str, str]:
    """What is not the same in two plants, conductor by conductor: name to what became of it, in words.

    Titles, colours, remarks and how sure an end is do not count: they change nothing that was measured.
    """
    found: dict[str, str] = {}
    _compare(old.conductors, new.conductors, _conductor, "conductor", found)
    _compare(old.bonds, new.bonds, _bond, "bond", found)
    _compare(old.breakers, new.breakers, _breaker, "breaker", found)
    for name in old.terminals.keys() | new.terminals.keys():
        before = {one.name for one in old.landings.get(name, ())}
        after = {one.name for one in new.landings.get(name, ())}
        if before != after:
            found.setdefault(name, f"{_listed(after)} ends on {name} now, {_listed(before)} did before")
    for connector in old.connectors.keys() & new.connectors.keys():
        if old.connectors[connector].layout != new.connectors[connector].layout:
            for pin in old.connectors[connector].terminals:
                found.setdefault(pin.name, f"the pins of {connector} lie otherwise now")
    paths, new_paths = Reaching(old).inlet_paths, Reaching(new).inlet_paths
    for name in old.inlets.keys() & new.inlets.keys():
        if paths.get(name) != new_paths.get(name) or not paths.get(name, frozenset()).isdisjoint(found):
            found.setdefault(name, f"the way of the feed to {name} has changed")
        was, now = old.feeds[old.inlets[name].feed], new.feeds[new.inlets[name].feed]
        if (was.nominal_v, was.low_v, was.high_v) != (now.nominal_v, now.low_v, now.high_v):
            found.setdefault(name, f"feed {now.name} has other voltages now")
        shelf = old.inlets[name].shelf
        if shelf in new.shelves and old.idle_current(shelf) != new.idle_current(shelf):
            found.setdefault(shelf, f"other cards are in shelf {shelf} now")
    return found


def _compare(
    old: Mapping[str, T], new: Mapping[str, T], facts: Callable[[T], dict[str, str]], kind: str, found: dict[str, str]
) -> None:
    for name in old.keys() | new.keys():
        if name not in new:
            found[name] = f"the plant file has no {kind} {name} any more"
        elif name not in old:
            found[name] = f"{kind} {name} is new in the plant file"
        else:
            before, after = facts(old[name]), facts(new[name])
            changed = [what for what in before if before[what] != after[what]]
            if changed:
                found[name] = "; ".join(f"{name}: {what} is {after[what]} now, was {before[what]}" for what in changed)


def _conductor(one: Conductor) -> dict[str, str]:
    return {
        "its near end": one.near_end.name,
        "its far end": one.far_end.name,
        "its wire": f"{one.wire.size} {one.wire.made_of}, class {one.wire.strands}",
        "its length": f"{one.length_m:g} m ± {one.tolerance_m:g} m",
        "its contacts": "; ".join(f"{joint.typical_ohm:g} to {joint.maximum_ohm:g} Ω" for joint in one.contacts),
    }


def _bond(one: Bond) -> dict[str, str]:
    wire = f"{one.wire.size} {one.wire.made_of}" if one.wire is not None else "no wire"
    return {
        "its first end": one.a.name,
        "its second end": one.b.name,
        "its wire": wire,
        "its length": f"{one.length_m:g} m",
        "its resistance": f"{one.ohms:g} Ω" if one.ohms is not None else "by its wire",
    }


def _breaker(one: Breaker) -> dict[str, str]:
    return {"its line side": one.line.node, "its load side": one.load.node, "its feed": one.feed}


def _listed(names: set[str]) -> str:
    return ", ".join(sorted(names)) or "nothing"
