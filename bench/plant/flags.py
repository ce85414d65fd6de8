"""Flags: numbered tags of paper that an operator ties to the loose wires of a bundle whose labels are gone.

A loose end of a conductor (``W512.7.far``) is a place that the plant knows by the conductor's name; a person in front
of a cut bundle cannot know which of its wires that is. A flag is what that person can know: ``W512.far/7`` is the wire
that flag 7 was tied to. Which conductor it is, nobody knows before it is identified; then the plant file keeps it
beside the conductor, and the flag is one place with its end from there on.
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


def flag_of(conductor: Conductor, side: Side) -> int:
    """The number of the flag that is known to be on a conductor's end; 0 where none is."""
    return conductor.near_flag if side == "near" else conductor.far_flag


def loose(cable: Cable, side: Side) -> list[Conductor]:
    """The conductors of a cable that land nowhere at one end, its screen not among them, in order."""
    return [one for one in cable.conductors if (one.near if side == "near" else one.far) is None]


def bundled(cable: Cable, side: Side) -> list[Conductor]:
    """The conductors that were loose when flags were tied on: those that are, and those that landed with a flag."""
    here = {one.number for one in loose(cable, side)}
    return [one for one in cable.conductors if one.number in here or flag_of(one, side)]


def unnamed(cable: Cable, side: Side) -> tuple[list[Conductor], list[str]]:
    """The loose conductors of which no flag is known, and the flags of which no conductor is known."""
    tied = {flag_of(one, side): one for one in cable.conductors}
    count = max(len(bundled(cable, side)), *tied, 0)
    free = [flag_name(cable.name, side, number) for number in range(1, count + 1) if number not in tied]
    return [one for one in loose(cable, side) if not flag_of(one, side)], free


def flags_of(cables: Iterable[Cable]) -> dict[str, Terminal]:
    """A place for every flag that may be tied on: as many at each end of a cable as conductors are loose there.

    A flag is a node of its own in the plant as designed where nothing is known of it.
    """
    found: dict[str, Terminal] = {}
    for cable in cables:
        for side in SIDES:
            tied = {flag_of(one, side): one for one in cable.conductors if flag_of(one, side)}
            for number in range(1, max(len(bundled(cable, side)), *tied, 0) + 1):
                name = flag_name(cable.name, side, number)
                known = tied.get(number)
                end = None if known is None else known.near_end if side == "near" else known.far_end
                node = name if end is None else end.node
                found[name] = Terminal(name, cable.name, f"{side}/{number}", "end", node)
    return found
