"""Which pairs of a cable's wires nobody held against each other: a join between them would not have shown."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations

import msgspec

from bench.diagnose.explain.walk_map import latest_pairs
from bench.diagnose.halving import counting_width
from bench.plant.graph import Nets
from bench.plant.model import Plant
from bench.say.lists import count
from bench.walk.results import results
from bench.walk.state import State

_NAMED = 3
"""Cables whose figures are told; a bay may have a hundred."""


class UnreadJoins(msgspec.Struct, frozen=True):
    """How far the wires of one cable were held against each other.

    Attributes:
        cable: its name.
        nets: of the design that its wires are on.
        held: pairs of them that were read, or held apart by a search.
    """

    cable: str
    nets: int
    held: int

    @property
    def pairs(self) -> int:
        """All pairs of its nets."""
        return self.nets * (self.nets - 1) // 2


def unread_joins(states: Iterable[State], cables: Iterable[str] = ()) -> list[UnreadJoins]:
    """The cables of which not all wires were held against each other, in the order of the last walk's plant.

    Args:
        states: walks of one plant.
        cables: to look at; by default all of which anything was read.
    """
    walks = list(states)
    plant, pairs = latest_pairs(walks)
    if plant is None:
        return []
    net = _nets(plant)
    read = {frozenset((net[a], net[b])) for a, b in (pair.between for pair in pairs)}
    searched = [group for state in walks for group in _searched(state, net)]
    touched = {end.cable for pair in pairs for name in pair.between for end in plant.landings.get(name, ())}
    wanted = set(cables) or touched
    found = []
    for cable in plant.cables.values():
        # wires of a supply are a net each way, and are held apart at the inlet
        pins = [wire for wire in cable.conductors if wire.landed and wire.near_end.owner in plant.connectors]
        nets = {net[wire.near_end.name] for wire in pins}
        if cable.name not in wanted or len(nets) < 2:
            continue
        held = {pair for pair in read if len(pair) == 2 and pair <= nets}
        for group in searched:
            held |= {frozenset(pair) for pair in combinations(group & nets, 2)}
        one = UnreadJoins(cable.name, len(nets), len(held))
        if one.held < one.pairs:
            found.append(one)
    return found


def _nets(plant: Plant) -> dict[str, str]:
    """Terminal to what stands for its net."""
    nets = Nets(plant.graph())
    return {terminal.name: nets.root(terminal.node) for terminal in plant.terminals.values()}


def _searched(state: State, net: Mapping[str, str]) -> Iterable[set[str]]:
    """The nets that each search for joins or for poor insulation held against each other to its end."""
    for outcome in results(state).values():
        if outcome.found is not None and outcome.verdict in ("pass", "fail"):
            yield {net[name] for name in outcome.found.facts.get("nets", ()) if name in net}


def unread_told(unread: Sequence[UnreadJoins]) -> str:
    """What was not looked at, and the draft that looks at it; empty where everything was.

    Args:
        unread: the cables, see :func:`unread_joins`.
    """
    if not unread:
        return ""
    figures = [f"{one.held:,} of {one.pairs:,} pairs of {one.cable}" for one in unread[:_NAMED]]
    more = f" (so of {count(len(unread) - _NAMED, 'more cable')})" if len(unread) > _NAMED else ""
    first = unread[0]
    return (
        f"Not looked at: joins between pins that lie apart. Held against each other were {', '.join(figures)}{more}. "
        f"'proveout draft PLANT crosses --cable {first.cable}' holds all of them apart on bars, in "
        f"{count(counting_width(first.nets), 'reading')} where all is well."
    )
