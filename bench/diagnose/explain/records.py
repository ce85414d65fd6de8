"""What several walks measured, explained together; which readings would tell more; what a repair must prove again."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from bench.diagnose.explain.causes import Open, PartOpen, Unplugged
from bench.diagnose.explain.pin_map import Pin, pins_on
from bench.diagnose.explain.reprove import reprove
from bench.diagnose.explain.search import Explanation, explain
from bench.diagnose.explain.seen import Seen
from bench.diagnose.explain.sentences import conductors_of
from bench.diagnose.explain.walk_map import WalkMap, maps_of
from bench.plant.model import Plant
from bench.walk.state import State

MOST = 12
"""With more open wires than this every pin against every other is too much by hand: search for crosses then."""


class Explained(msgspec.Struct, frozen=True):
    """One group of cables with its explanation."""

    map: WalkMap
    explanation: Explanation


def explained(states: Sequence[State]) -> list[Explained]:
    """The maps of some walks of one plant, each explained; of readings between the same pins the latest counts."""
    return [Explained(one, explain(one.design, one.measured)) for one in maps_of(*states)]


def unknown_landings(one: Explained) -> list[str]:
    """Conductors told as open that may be landed at a pin where nobody looked, in the order of the design."""
    measured = one.map.measured
    if measured.crosses == "all":
        return []
    tried: dict[Pin, set[Pin]] = {}
    for a, b in (*measured.joins, *measured.parted):
        tried.setdefault(a, set()).add(b)
        tried.setdefault(b, set()).add(a)
    far = {pin for connector in one.map.design.far for pin in pins_on(connector)}
    names = {
        name
        for cause in one.explanation.causes
        if isinstance(cause, Open | PartOpen | Unplugged)
        for name in conductors_of(one.map.design, cause)
    }
    return [
        wire.name
        for wire in one.map.design.conductors
        if wire.name in names and not far <= tried.get(wire.near, set()) | {wire.near}
    ]


def follow_up(one: Explained) -> list[tuple[str, str]]:
    """Readings that would tell where open wires are landed: the near end of each against the far ends of the others.

    Pairs that were tried are left out; more than :data:`MOST` open wires give none.
    """
    index = {wire.name: wire for wire in one.map.design.conductors}
    wires = [
        index[name]
        for cause in one.explanation.causes
        if isinstance(cause, Open | PartOpen)
        for name in ([cause.conductor] if isinstance(cause, Open) else cause.conductors)
    ]
    if not 2 <= len(wires) <= MOST:
        return []
    measured = one.map.measured
    tried = {frozenset(join) for join in (*measured.joins, *measured.parted)}
    return [
        (_name(a.near), _name(b.far))
        for a in wires
        for b in wires
        if a is not b and frozenset((a.near, b.far)) not in tried
    ]


def to_prove(found: Iterable[Explained], plant: Plant) -> tuple[list[str], list[tuple[str, str]]]:
    """After all causes are repaired: wires to prove from end to end, and pins to prove apart, each pair once."""
    wires: dict[str, None] = {}
    apart: dict[frozenset[str], tuple[str, str]] = {}
    for one in found:
        for proof in reprove(one.map.design, one.explanation.causes) if one.explanation.causes else ():
            wires[proof.conductor] = None
            here = plant.conductors[proof.conductor].near_end.name
            for other in proof.apart:
                there = plant.conductors[other].near_end.name
                if here != there:
                    apart.setdefault(frozenset((here, there)), (here, there))
    return list(wires), list(apart.values())


def found_on(states: Sequence[State], plant: Plant, cable: str, connector: str) -> dict[str, str]:
    """Conductors of a cable that walks found on the pins of a connector, alone and by readings: pin to conductor.

    Args:
        states: the walks.
        plant: the plant.
        cable: whose conductors.
        connector: at one of its ends.
    """
    found: dict[str, str] = {}
    for one in maps_of(*states):
        index, seen = one.design.index, Seen(one.design.index, one.measured)
        if connector not in index.connector_number:
            continue
        far = index.connector_number[connector] >= index.near_connectors
        others, here = (index.near, seen.far) if far else (index.far, seen.near)
        for wire, conductor in enumerate(index.wires):
            group = seen.label[others[wire]]
            # a joint of several tells of none of them
            if conductor.cable != cable or group < 0 or seen.size[group] != 2 or len(here[group]) != 1:
                continue
            pin = index.pins[here[group][0]]
            if pin.connector == connector:
                found[_name(pin)] = conductor.name
    order = {name: number for number, name in enumerate(plant.terminals)}
    return dict(sorted(found.items(), key=lambda item: order.get(item[0], len(order))))


def _name(pin: Pin) -> str:
    return f"{pin.connector}.{pin.name}"
