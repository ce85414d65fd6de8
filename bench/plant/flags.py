"""Flags: numbered tags of paper that an operator ties to the loose wires of a bundle whose labels are gone.

A loose end of a conductor (``W512.7.far``) is a place that the plant knows by the conductor's name; a person in front
of a cut bundle cannot know which of its wires that is. A flag is what that person can know: ``W512.far/7`` is the wire
that flag 7 was tied to. Which conductor it is, nobody knows before it is identified; the plant says nothing of it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, Literal

from bench.plant.things import Cable, Conductor, Terminal

Side = Literal["near", "far"]
SIDES: Final[tuple[Side, Side]] = ("near", "far")


def flag_name(cable: str, side: Side, number: int) -> str:
    """The place of a flag: ``W512.far/7``."""
    return f"{cable}.{side}/{number}"


def loose(cable: Cable, side: Side) -> list[Conductor]:
    """The conductors of a cable that land nowhere at one end, its screen not among them, in order."""
    return [one for one in cable.conductors if (one.near if side == "near" else one.far) is None]


def flags_of(cables: Iterable[Cable]) -> dict[str, Terminal]:
    """A place for every flag that may be tied on: as many at each end of a cable as conductors are loose there.

    A flag is a node of its own in the plant as designed, since nothing is known of it.
    """
    found: dict[str, Terminal] = {}
    for cable in cables:
        for side in SIDES:
            for number in range(1, len(loose(cable, side)) + 1):
                name = flag_name(cable.name, side, number)
                found[name] = Terminal(name, cable.name, f"{side}/{number}", "end", name)
    return found
