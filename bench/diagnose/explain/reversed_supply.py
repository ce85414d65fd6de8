"""Supply cables whose two wires arrive at each other's places: one mistake, where each wire by itself reads open."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations

import msgspec

from bench.diagnose.explain.walk_map import Pair, latest_pairs
from bench.plant.model import Plant
from bench.plant.things import Conductor
from bench.walk.state import State


class ReversedSupply(msgspec.Struct, frozen=True):
    """Two wires of a supply cable, of which neither gets through.

    Attributes:
        cable: its name.
        wires: the two conductors, in the order of the cable.
        ends: of the first wire and of the second, near and far.
        read: whether one of them was found where the other belongs; else it is only the likeliest.
        inlet: that they lead to; empty where they lead to bars.
    """

    cable: str
    wires: tuple[str, str]
    ends: tuple[tuple[str, str], tuple[str, str]]
    read: bool
    inlet: str

    @property
    def places(self) -> frozenset[str]:
        """All four ends."""
        return frozenset(name for pair in self.ends for name in pair)


def reversed_supplies(states: Iterable[State]) -> list[ReversedSupply]:
    """The supply cables that are reversed at one end, by the readings of some walks of one plant.

    Two wires of one cable that both read open are likelier exchanged than broken both. A reading from the one to where
    the other belongs settles it: where that was taken and does not conduct, they are two open wires and not told here.
    """
    plant, pairs = latest_pairs(states)
    if plant is None:
        return []
    latest = {frozenset(pair.between): pair for pair in pairs}
    inlets = {inlet.live.name: name for name, inlet in plant.inlets.items()}
    inlets |= {inlet.back.name: name for name, inlet in plant.inlets.items()}
    found = []
    for cable in plant.cables.values():
        wires = [wire for wire in cable.conductors if wire.landed and not _on_connectors(plant, wire)]
        dead = [wire for wire in wires if _is_open(latest.get(frozenset((wire.near_end.name, wire.far_end.name))))]
        for one, other in combinations(dead, 2):
            across = [
                latest.get(frozenset((one.near_end.name, other.far_end.name))),
                latest.get(frozenset((other.near_end.name, one.far_end.name))),
            ]
            crosses = [pair.joined for pair in across if pair is not None]
            if not all(crosses) or not (crosses or len(wires) == 2):
                continue
            ends = tuple((wire.near_end.name, wire.far_end.name) for wire in (one, other))
            at = [inlets[name] for pair in ends for name in pair if name in inlets]
            found.append(
                ReversedSupply(
                    cable.name, (one.name, other.name), (ends[0], ends[1]), bool(crosses), at[0] if at else ""
                )
            )
    return found


def _on_connectors(plant: Plant, wire: Conductor) -> bool:
    """Whether a wire is on a map of pins, where exchanged wires are told by the search for causes."""
    return wire.near_end.owner in plant.connectors or wire.far_end.owner in plant.connectors


def _is_open(pair: Pair | None) -> bool:
    return pair is not None and pair.failed and not pair.joined


def beside_reversed(pairs: Iterable[Pair], reversals: Iterable[ReversedSupply]) -> list[Pair]:
    """What is left to tell beside reversed supplies: readings among the ends of one are told with it.

    Args:
        pairs: what was found wrong, see :func:`bench.diagnose.explain.walk_map.beside_maps`.
        reversals: of the same walks.
    """
    told = [one.places for one in reversals]
    return [pair for pair in pairs if not any(places.issuperset(pair.between) for places in told)]


def reversed_told(one: ReversedSupply) -> str:
    """What is wrong and what to do about it, for a person at the rack.

    Args:
        one: of :func:`reversed_supplies`.
    """
    (near, far), (other_near, other_far) = one.ends
    what = (
        f"feed and return are reversed at inlet {one.inlet}" if one.inlet else "feed and return are reversed behind it"
    )
    mend = (
        "with the supply off and proved dead, swap the two at the end that was landed last (the readings cannot tell "
        f"which). Then prove it again: 'proveout draft PLANT continuity --cable {one.cable}', and the polarity before "
        "its first power."
    )
    if one.read:
        return (
            f"The two wires of {one.cable} are exchanged at one end, {near} to {other_far} and {other_near} to {far}: "
            f"{what}. Do not switch it on. {mend[:1].upper()}{mend[1:]}"
        )
    return (
        f"Neither wire of {one.cable} gets through, {near} to {far} and {other_near} to {other_far}: most likely they "
        f"are exchanged at one end, and {what}. Do not switch it on. Read {near} against {other_far}. If they do not "
        f"conduct, both wires are open: look at each joint on the way. If they do, it is so: {mend}"
    )
