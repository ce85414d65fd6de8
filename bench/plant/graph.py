"""One electrical view of a plant: edges between nodes, what is joined with what, and the way between two nodes."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterable, Mapping
from typing import Literal

import msgspec

EdgeKind = Literal["conductor", "breaker", "busbar", "bond", "fault"]


class Edge(msgspec.Struct, frozen=True):
    """A resistance between two nodes.

    Attributes:
        id: the name of the conductor, breaker, busbar stud or bond that it is; of a fault, its key.
        a: one node, the name of a terminal or of a busbar.
        b: the other node.
        kind: what it is.
        ohms: nominal resistance with contacts at the plant's ambient temperature; infinite where it is open.
    """

    id: str
    a: str
    b: str
    kind: EdgeKind
    ohms: float


class Nets:
    """Which nodes are joined: disjoint sets that grow as edges are added."""

    def __init__(self, edges: Iterable[Edge] = ()) -> None:
        self._above: dict[str, str] = {}
        for edge in edges:
            self.join(edge.a, edge.b)

    def root(self, node: str) -> str:
        """The node that stands for the whole net of a node."""
        above = self._above
        top = node
        while (higher := above.get(top, top)) != top:
            top = higher
        while node != top:
            above[node], node = top, above.get(node, node)
        return top

    def join(self, one: str, other: str) -> None:
        """Join the nets of two nodes."""
        lower, upper = self.root(one), self.root(other)
        if lower != upper:
            self._above[lower] = upper

    def joined(self, one: str, other: str) -> bool:
        """Whether two nodes are in one net."""
        return self.root(one) == self.root(other)

    def groups(self, nodes: Iterable[str]) -> dict[str, list[str]]:
        """The given nodes by net, each net under its root."""
        found: dict[str, list[str]] = {}
        for node in nodes:
            found.setdefault(self.root(node), []).append(node)
        return found


Ways = Mapping[str, list[tuple[str, Edge]]]
"""From each node the next nodes, with the edge that leads there."""


def ways(edges: Iterable[Edge]) -> Ways:
    """From each node the next nodes."""
    found: dict[str, list[tuple[str, Edge]]] = {}
    for edge in edges:
        found.setdefault(edge.a, []).append((edge.b, edge))
        found.setdefault(edge.b, []).append((edge.a, edge))
    return found


def shortest(net: Ways, start: str, goals: Collection[str]) -> tuple[Edge, ...] | None:
    """The way with the fewest edges from a node to the nearest of the goals; None where there is none.

    Args:
        net: from each node the next ones; see :func:`ways`.
        start: the node to begin at.
        goals: nodes, any of which will do.
    """
    if start in goals:
        return ()
    came: dict[str, tuple[str, Edge]] = {}
    waiting = deque([start])
    while waiting:
        node = waiting.popleft()
        for following, edge in net.get(node, ()):
            if following in came or following == start:
                continue
            came[following] = (node, edge)
            if following in goals:
                back = [edge]
                while node != start:
                    node, edge = came[node]
                    back.append(edge)
                return tuple(reversed(back))
            waiting.append(following)
    return None
