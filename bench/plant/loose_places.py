"""Where a circuit could come loose: the places along the way between two terminals that a hand can move, in order."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Final, Literal

import msgspec

from bench.plant.graph import Edge, shortest, ways
from bench.plant.model import Plant
from bench.plant.things import Cable, Conductor, Terminal

Kind = Literal["plug", "termination", "stretch", "breaker"]
WEIGHTS: Final[dict[Kind, float]] = {"plug": 4.0, "termination": 2.0, "breaker": 2.0, "stretch": 1.0}
"""How often each kind is the one that is loose, in proportion (common practice, no source)."""


class NoWay(ValueError):
    """Two terminals are not joined by anything that the plant file knows."""


class LoosePlace(msgspec.Struct, frozen=True):
    """Something that a hand can move and that may make contact badly.

    Attributes:
        name: short: ``J101`` for a plug, ``J101.12`` for what is crimped there, ``W101 in T1.2`` for a stretch.
        kind: what it is.
        text: in words, with where it is.
        conductor: the conductor that it is on; empty for a plug or a breaker.
    """

    name: str
    kind: Kind
    text: str
    conductor: str = ""


def places_between(plant: Plant, one: str, other: str, join: Sequence[Sequence[str]] = ()) -> tuple[LoosePlace, ...]:
    """The places along the way from one terminal to another.

    Args:
        plant: the plant.
        one: a terminal.
        other: another one.
        join: terminals that are clipped together meanwhile, such as the far ends of a pair.

    Raises:
        UnknownName: a name is no terminal.
        NoWay: nothing joins the two.
    """
    a, b = plant.terminal(one), plant.terminal(other)
    clips = [
        Edge(f"clip {x} {y}", plant.terminal(x).node, plant.terminal(y).node, "fault", 0.0)
        for group in join
        for x, y in pairwise(group)
    ]
    way = shortest(ways([*plant.graph(plant.breakers), *clips]), a.node, [b.node])
    if way is None:
        raise NoWay(f"nothing in the plant file joins {one} and {other}; with 'join' say what is clipped together")
    found: dict[str, LoosePlace] = {}
    node = a.node
    for edge in way:
        forward = edge.a == node
        node = edge.b if forward else edge.a
        for place in _along(plant, edge, forward):
            found.setdefault(place.name, place)
    return tuple(found.values())


def places_on(plant: Plant, name: str) -> tuple[LoosePlace, ...]:
    """The places along one conductor.

    Raises:
        UnknownName: it is no conductor.
    """
    conductor = plant.conductors[name]
    return tuple(_on_conductor(plant, conductor))


def _along(plant: Plant, edge: Edge, forward: bool) -> Iterable[LoosePlace]:
    if edge.kind == "conductor":
        places = _on_conductor(plant, plant.conductors[edge.id])
    elif edge.kind == "breaker":
        breaker = plant.breakers[edge.id]
        places = [
            _termination(plant, breaker.line, breaker.name),
            LoosePlace(breaker.name, "breaker", plant.where(breaker.name)),
            _termination(plant, breaker.load, breaker.name),
        ]
    elif edge.kind == "bond":
        bond = plant.bonds[edge.id]
        places = [_termination(plant, end, bond.name) for end in (bond.a, bond.b)]
    else:
        places = []
    return places if forward else reversed(places)


def _on_conductor(plant: Plant, conductor: Conductor) -> list[LoosePlace]:
    cable = plant.cables[conductor.cable]
    near, far = conductor.near_end, conductor.far_end
    return [
        *_end(plant, near, conductor.name),
        *_stretches(plant, cable, near, far, conductor.name),
        *reversed(_end(plant, far, conductor.name)),
    ]


def _end(plant: Plant, terminal: Terminal, conductor: str) -> list[LoosePlace]:
    places = [_termination(plant, terminal, conductor)]
    if terminal.owner in plant.connectors:
        plug = LoosePlace(terminal.owner, "plug", f"the plug, {plant.where(terminal.owner)}")
        places.insert(0, plug)
    return places


def _termination(plant: Plant, terminal: Terminal, conductor: str) -> LoosePlace:
    word = "where the wire is fixed" if terminal.kind == "pin" else "the lug"
    return LoosePlace(terminal.name, "termination", f"{word}, {plant.where(terminal.name)}", conductor)


def _stretches(plant: Plant, cable: Cable, near: Terminal, far: Terminal, name: str) -> list[LoosePlace]:
    at_near, at_far = (f"{cable.name} at {end.owner}" for end in (near, far))
    found = [LoosePlace(at_near, "stretch", f"cable {cable.name} near {near.owner}", name)]
    for section in cable.sections:
        title = plant.sections[section].title
        text = f"cable {cable.name} in tray {section}{f', {title}' if title else ''}"
        found.append(LoosePlace(f"{cable.name} in {section}", "stretch", text, name))
    found.append(LoosePlace(at_far, "stretch", f"cable {cable.name} near {far.owner}", name))
    return found
