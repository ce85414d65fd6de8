"""Drafts readings that single findings call for: what a repair touched, and what may be where nobody looked."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from bench.sequence.drafts.parts import AMBIENT, CLOSING, OPENING, Draft, Part, apart_limit, dead
from bench.sequence.file import Each, Limit, Measure, Seek


def again(
    what: str, about: str, wires: Sequence[str], apart: Sequence[tuple[str, str]], *, look: bool = False
) -> Draft:
    """Steps that prove wires to get through, and pins to be apart.

    Args:
        what: what is handled, in words.
        about: what the sequence finds.
        wires: conductors to prove from end to end.
        apart: places, two by two, that should be apart.
        look: whether to look for what became of those that do not get through.
    """
    parts: list[Part] = [*dead(what), AMBIENT, *OPENING]
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
