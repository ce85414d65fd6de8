"""What a sequence's texts can say about the objects of a plant: a fixed table of names, nothing else.

``{conductor}`` stands for the object's name, ``{conductor.colour}`` for one of its properties. A property that an
object lacks (the pair of an unpaired conductor) reads as an empty text.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from itertools import groupby
from typing import Any, Final

import msgspec

from bench.files import near, one_of
from bench.plant.model import NoPath, Plant
from bench.plant.things import Bond, Breaker, Cable, Conductor, Inlet, Shelf, Terminal
from bench.sequence.file import Over

_NAME: Final = re.compile(r"\{([a-z]+)(?:\.([a-z-]+))?\}")
_ANY_BRACE: Final = re.compile(r"\{[^{}]*\}|[{}]")


class View(msgspec.Struct, frozen=True):
    """One object of a loop.

    Attributes:
        word: the name that stands for it in texts, such as ``conductor``.
        name: the object's name; of a pair of pins both, joined by ``~``.
        subjects: plant names that a step with it handles.
        properties: property to text.
    """

    word: str
    name: str
    subjects: tuple[str, ...]
    properties: Mapping[str, str]


class UnknownProperty(ValueError):
    """A text asks for a name that does not stand for anything here.

    Attributes:
        found, expected, hint: for the problem.
    """

    def __init__(self, found: str, expected: str, hint: str = "") -> None:
        super().__init__(f"found {found}, expected {expected}")
        self.found, self.expected, self.hint = found, expected, hint


def fill(text: str, views: Mapping[str, View]) -> str:
    """Replace every ``{name.property}`` in a text.

    Raises:
        UnknownProperty: a name or a property does not exist here, or a brace stands alone.
    """

    def value(match: re.Match[str]) -> str:
        whole = match.group(0)
        known = _NAME.fullmatch(whole)
        if known is None:
            raise UnknownProperty(f"'{whole}'", "a name in braces such as '{conductor.near}'")
        word, prop = known.groups()
        view = views.get(word)
        if view is None:
            raise UnknownProperty(f"'{whole}'", one_of(f"{{{name}}}" for name in views), near(word, views))
        if prop is None:
            return view.name
        if prop not in view.properties:
            raise UnknownProperty(
                f"'{whole}'",
                one_of((f"{{{word}.{name}}}" for name in view.properties), most=20),
                near(prop, view.properties),
            )
        return view.properties[prop]

    return _ANY_BRACE.sub(value, text)


def objects(plant: Plant, over: Over, of: str) -> list[View]:
    """The objects that a loop runs over, in plant order.

    Raises:
        UnknownName: ``of`` names nothing, or something that has no such objects.
    """
    find, make = _LOOPS[over]
    found = [make(plant, one) for one in find(plant)(of)]
    return _one_stays(found) if WORD_OF[over] == "neighbours" else found


def _conductor(plant: Plant, one: Conductor) -> View:
    near_end, far_end = one.near_end.name, one.far_end.name
    return View(
        "conductor",
        one.name,
        (one.name, near_end, far_end),
        {
            "name": one.name,
            "number": str(one.number),
            "cable": one.cable,
            "pair": str(one.pair or ""),
            "leg": one.leg or "",
            "near": near_end,
            "far": far_end,
            "colour": one.looks,
            "mate": one.mate,
            "mate-colour": one.mate_colour,
            "where-near": plant.where(near_end),
            "where-far": plant.where(far_end),
        },
    )


def _pair(plant: Plant, one: tuple[Conductor, Conductor]) -> View:
    tip, ring = one
    return View(
        "pair",
        f"{tip.cable}/{tip.pair}",
        (tip.name, ring.name),
        {
            "number": str(tip.pair or ""),
            "cable": tip.cable,
            "tip": tip.name,
            "ring": ring.name,
            "tip-near": tip.near_end.name,
            "tip-far": tip.far_end.name,
            "ring-near": ring.near_end.name,
            "ring-far": ring.far_end.name,
            "tip-colour": tip.looks,
            "ring-colour": ring.looks,
        },
    )


def _pin(plant: Plant, one: Terminal) -> View:
    return View(
        "pin",
        one.name,
        (one.name,),
        {"name": one.name, "connector": one.owner, "number": one.pin, "where": plant.where(one.name)},
    )


def _neighbours(plant: Plant, one: tuple[Terminal, Terminal]) -> View:
    pin, other = one
    return View(
        "neighbours",
        f"{pin.name}~{other.name}",
        (pin.name, other.name),
        {
            "pin": pin.name,
            "other": other.name,
            "connector": pin.owner,
            "where": plant.where(pin.name),
            "where-other": plant.where(other.name),
        },
    )


def _in_turn(found: Iterable[tuple[Terminal, Terminal]]) -> list[tuple[Terminal, Terminal]]:
    """Neighbours of one connector after the other: those in one row first, along the row."""
    by_connector = groupby(found, key=lambda pins: pins[0].owner)
    return [two for _, mine in by_connector for two in sorted(mine, key=lambda pins: pins[0].row != pins[1].row)]


def _one_stays(found: Iterable[View]) -> list[View]:
    """Two and two with the place of either lead: one that was for the two before stays where it was."""
    led: list[View] = []
    red = black = ""
    for view in found:
        pin, other = view.subjects
        red, black = (other, pin) if pin == black or other == red else (pin, other)
        led.append(msgspec.structs.replace(view, properties={**view.properties, "red": red, "black": black}))
    return led


def _shelf(plant: Plant, one: Shelf) -> View:
    inlets = {f"{inlet.feed.lower()}": inlet for inlet in one.inlets}
    typical, least, most = plant.idle_current(one.name)
    properties = {
        "name": one.name,
        "title": one.title,
        "bay": one.bay,
        "idle": f"{typical:.3g} A",
        "least": f"{least:.3g} A",
        "most": f"{most:.3g} A",
        "where": plant.where(one.name),
    }
    for feed, inlet in inlets.items():
        properties[f"inlet-{feed}"] = inlet.live.name
        properties[f"return-{feed}"] = inlet.back.name
    return View("shelf", one.name, (one.name,), properties)


def _inlet(plant: Plant, one: Inlet) -> View:
    feed = plant.feeds[one.feed]
    try:
        breakers = plant.supply_path(one.shelf, one.feed).breakers
    except NoPath:
        breakers = ()
    last = plant.breakers[breakers[-1]] if breakers else None
    return View(
        "inlet",
        one.name,
        (one.name, one.shelf, one.live.name, one.back.name),
        {
            "name": one.name,
            "shelf": one.shelf,
            "feed": one.feed,
            "live": one.live.name,
            "return": one.back.name,
            "nominal": f"{feed.nominal_v:g} V",
            "where": plant.where(one.live.name),
            "breaker": last.name if last else "",
            "line": last.line.name if last else "",
            "load": last.load.name if last else "",
            "where-breaker": plant.where(last.name) if last else "",
        },
    )


def _breaker(plant: Plant, one: Breaker) -> View:
    bars = plant.busbars_of(one.feed, "return")
    return View(
        "breaker",
        one.name,
        (one.name, one.line.name, one.load.name),
        {
            "name": one.name,
            "title": one.title,
            "feed": one.feed,
            "rating": f"{one.rating_a:g} A",
            "line": one.line.name,
            "load": one.load.name,
            "return": plant.feeds[one.feed].back or (bars[0].name if bars else ""),
            "where": plant.where(one.name),
        },
    )


def _cable(plant: Plant, one: Cable) -> View:
    return View(
        "cable",
        one.name,
        (one.name,),
        {
            "name": one.name,
            "title": one.title,
            "count": str(len(one.conductors)),
            "near": ", ".join(one.near),
            "far": ", ".join(one.far),
            "length": f"{one.length_m:g} m",
            "where": plant.where(one.name),
        },
    )


def _bond(plant: Plant, one: Bond) -> View:
    return View(
        "bond",
        one.name,
        (one.name, one.a.name, one.b.name),
        {
            "name": one.name,
            "from": one.a.name,
            "to": one.b.name,
            "where-from": plant.where(one.a.name),
            "where-to": plant.where(one.b.name),
        },
    )


_LOOPS: Final[dict[str, tuple[Callable[[Plant], Callable[[str], Iterable[Any]]], Callable[[Plant, Any], View]]]] = {
    "conductors": (lambda plant: plant.conductors_of, _conductor),
    "pairs": (lambda plant: plant.pairs_of, _pair),
    "pins": (lambda plant: plant.pins_of, _pin),
    "neighbours": (lambda plant: plant.neighbours_of, _neighbours),
    "wires-beside": (lambda plant: plant.wires_beside, _neighbours),
    "wires-in-turn": (lambda plant: lambda of: _in_turn(plant.wires_beside(of)), _neighbours),
    "shelves": (lambda plant: plant.shelves_of, _shelf),
    "inlets": (lambda plant: plant.inlets_of, _inlet),
    "breakers": (lambda plant: plant.breakers_of, _breaker),
    "cables": (lambda plant: plant.cables_of, _cable),
    "bonds": (lambda plant: plant.bonds_of, _bond),
}

WORD_OF: Final[dict[str, str]] = {
    "conductors": "conductor",
    "pairs": "pair",
    "pins": "pin",
    "neighbours": "neighbours",
    "wires-beside": "neighbours",
    "wires-in-turn": "neighbours",
    "shelves": "shelf",
    "inlets": "inlet",
    "breakers": "breaker",
    "cables": "cable",
    "bonds": "bond",
}
"""The word that stands for a loop's object in texts."""
