"""Drafts readings that single findings call for: what a repair touched, and what may be where nobody looked."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from bench.plant.model import Plant
from bench.sequence.drafts import looking
from bench.sequence.drafts.parts import AMBIENT, CLOSING, OPENING, Draft, Part, apart_limit, dead, unique
from bench.sequence.file import Each, Limit, Measure, Seek


def again(
    plant: Plant, what: str, about: str, wires: Sequence[str], apart: Sequence[tuple[str, str]], *, look: bool = False
) -> Draft:
    """Steps that prove wires to get through, and pins to be apart.

    Args:
        plant: the plant.
        what: what is handled, in words.
        about: what the sequence finds.
        wires: conductors to prove from end to end.
        apart: places, two by two, that should be apart.
        look: whether to look for what became of those that do not get through.
    """
    places = [name for pair in apart for name in pair if name in plant.terminals]
    cables = [plant.conductors[name].cable for name in wires if name in plant.conductors]
    cables += [end.cable for name in places for end in plant.landings.get(name, ())]
    there = looking.around_all(plant, unique(cables))
    looks = [*looking.nothing_on(plant, there), *looking.plugs(there)]
    parts: list[Part] = [*dead(what, looks, there.stands_on), AMBIENT, *OPENING]
    if wires:
        parts.append(
            Each(over="conductors", only=list(wires), title="Conductors from pin to pin", steps=[through_conductor()])
        )
    parts += [
        Measure(title=f"{one} against {other}", read="resistance", between=(one, other), limit=apart_limit())
        for one, other in apart
    ]
    if look:
        parts.append(Seek(title="What became of wires that do not get through", find="landings"))
    return Draft(about, [*parts, *CLOSING])


def through_conductor(wires: Literal[2, 4] = 2) -> Measure:
    """The reading of one conductor from pin to pin, within a loop over conductors.

    Args:
        wires: four where two leads cannot be zeroed well enough.
    """
    return Measure(
        title="{conductor.name}, {conductor.colour}",
        read="resistance",
        wires=wires,
        between=("{conductor.near}", "{conductor.far}"),
        limit=Limit(computed="conductor"),
    )
