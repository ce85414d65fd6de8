"""A resistive network: two-terminal and four-terminal resistance, and the network under load.

Nodes and edge names are any hashable things. A network is a value: :meth:`Network.changed` and
:meth:`Network.extended` give a new network and leave the old one as it was. They share what is
factored: islands that no change touches as they are, the others by a low-rank update
(Sherman-Morrison-Woodbury) where it keeps the digits; only what is left is factored afresh, once
somebody asks about it. All ways give the same answers; tests hold them together.

Units are volt, ampere, ohm, watt throughout.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from typing import Any, TypeAlias

import msgspec

from bench.network.factor import Changes, Factor, Port, Updated, Vector, Whole, across, factorise, updated
from bench.network.joined import Joined
from bench.network.loads import CircuitError, LoadState, Ports, PowerLoad, UndervoltageCollapse, settled

__all__ = [
    "CircuitError",
    "CurrentSource",
    "Edge",
    "LoadState",
    "Network",
    "Node",
    "Ports",
    "PowerLoad",
    "Solution",
    "UndervoltageCollapse",
    "VoltageSource",
]

Node: TypeAlias = Hashable


class Edge(msgspec.Struct, frozen=True):
    """A resistor of ``ohms`` between ``a`` and ``b``: 0 joins the nodes, infinity is open."""

    id: Hashable
    a: Node
    b: Node
    ohms: float


class CurrentSource(msgspec.Struct, frozen=True):
    """Pushes ``amps`` out of ``plus``, through the network, back into ``minus``."""

    id: Hashable
    plus: Node
    minus: Node
    amps: float


class VoltageSource(msgspec.Struct, frozen=True):
    """``volts`` between ``plus`` and ``minus`` behind a series resistance ``ohms`` (above 0)."""

    id: Hashable
    plus: Node
    minus: Node
    volts: float
    ohms: float


class _Island(msgspec.Struct, eq=False):
    """Nodes that hang together, the edges inside, and their factor once it was asked for."""

    nodes: list[int]
    edges: list[int]
    factor: Whole | Updated | None = None


_Field: TypeAlias = dict[_Island, Vector]
"""The unknowns of each island that a current flows in."""


class _Table(msgspec.Struct, frozen=True):
    """Names to numbers, and which nodes each edge joins."""

    nodes: dict[Node, int]
    edges: dict[Hashable, int]
    a: list[int]
    b: list[int]


class _Before(msgspec.Struct, frozen=True):
    """The network that this one was made from: its islands by node, its ohms, and the edges touched since."""

    islands: list[_Island]
    ohms: list[float]
    touched: frozenset[int]


class Network:
    """A network of resistors.

    Args:
        edges: the resistors.
        nodes: names of nodes that no edge touches.

    Raises:
        CircuitError: a repeated edge name, or a resistance that is negative or not a number.
    """

    __slots__ = ("_before", "_children", "_holds", "_islands", "_lent", "_ohms", "_table")

    def __init__(self, edges: Iterable[Edge] = (), nodes: Iterable[Node] = ()) -> None:
        self._table, self._ohms = _extend(_Table({}, {}, [], []), [], edges, nodes)
        self._islands: list[_Island] | None = None
        self._before: _Before | None = None
        self._lent: tuple[tuple[Edge, ...], Network] | None = None
        self._children = 0
        self._holds: tuple[Edge, ...] = ()

    # what it is

    @property
    def nodes(self) -> tuple[Node, ...]:
        """All nodes, in the order they were first named."""
        return tuple(self._table.nodes)

    def ohms(self, edge: Hashable) -> float:
        """The resistance of the edge of this name."""
        return self._ohms[self._edge(edge)]

    def changed(self, ohms: Mapping[Any, float]) -> Network:
        """The same network with other resistances for the edges named."""
        new = self._ohms.copy()
        touched = []
        for name, value in ohms.items():
            touched.append(self._edge(name))
            new[touched[-1]] = _checked(name, value)
        return self._child(self._table, new, touched)

    def extended(self, edges: Iterable[Edge], nodes: Iterable[Node] = ()) -> Network:
        """The same network with more edges (and nodes).

        Args:
            edges: to add, under names that are not taken.
            nodes: to add; those of the edges need not be named.
        """
        edges, nodes = tuple(edges), tuple(nodes)
        if not edges and not nodes:
            return self
        table, ohms = _extend(self._table, self._ohms, edges, nodes)
        return self._child(table, ohms, range(len(self._ohms), len(ohms)))

    def _child(self, table: _Table, ohms: list[float], touched: Iterable[int]) -> Network:
        self._children += 1
        if self._children > 1:
            self._ready()  # what several are made from parts its nodes once, and not each of them
        child = Network.__new__(Network)
        child._table, child._ohms = table, ohms
        child._children = 0
        child._islands = child._lent = None
        child._before = None
        child._holds = self._holds
        if self._islands is not None:
            child._before = _Before(self._islands, self._ohms, frozenset(touched))
        elif self._before is not None:
            child._before = _Before(self._before.islands, self._before.ohms, self._before.touched.union(touched))
        return child

    def _edge(self, name: Hashable) -> int:
        try:
            return self._table.edges[name]
        except KeyError:
            raise CircuitError(f"no edge is named {name!r}") from None

    def _node(self, name: Node) -> int:
        try:
            return self._table.nodes[name]
        except KeyError:
            raise CircuitError(f"no node is named {name!r}") from None

    # its islands

    def _ready(self) -> list[_Island]:
        """The island of each node."""
        if self._islands is None:
            if self._before is None:
                self._islands = self._parted(range(len(self._table.nodes)), range(len(self._ohms)), None)
            else:
                self._islands = self._carried_over(self._before)
                self._before = None
        return self._islands

    def _parted(self, nodes: Sequence[int], edges: Iterable[int], islands: list[_Island] | None) -> list[_Island]:
        """Put fresh islands for these nodes, with the edges between them, into a list by node."""
        a, b, ohms = self._table.a, self._table.b, self._ohms
        joined = Joined(len(nodes))
        live = [edge for edge in edges if ohms[edge] < math.inf]
        if islands is None:  # all nodes: each has its number already
            joined.join_all([(a[edge], b[edge]) for edge in live])
        else:
            place = {node: number for number, node in enumerate(nodes)}
            joined.join_all([(place[a[edge]], place[b[edge]]) for edge in live])
        found: dict[int, _Island] = {}
        its = []
        for label in joined.labels():
            if label not in found:
                found[label] = _Island([], [])
            its.append(found[label])
        islands = its if islands is None else islands
        for node, island in zip(nodes, its, strict=True):
            island.nodes.append(node)
            islands[node] = island
        for edge in live:
            islands[a[edge]].edges.append(edge)
        return islands

    def _carried_over(self, before: _Before) -> list[_Island]:
        """The islands of the network before, with those made anew that a changed edge touches."""
        table, ohms, old = self._table, self._ohms, before.ohms
        changes = {
            edge: (table.a[edge], table.b[edge], old[edge] if edge < len(old) else math.inf, ohms[edge])
            for edge in sorted(before.touched)
        }
        changes = {edge: change for edge, change in changes.items() if change[2] != change[3]}
        fresh = range(len(before.islands), len(table.nodes))
        islands = [*before.islands, *(_Island([node], []) for node in fresh)]
        touched: dict[_Island, Changes] = {}
        apart: set[_Island] = set()
        for edge, change in changes.items():
            one, other = islands[change[0]], islands[change[1]]
            touched.setdefault(one, {})[edge] = change
            if one is not other:
                apart |= {one, other}
                touched.setdefault(other, {})[edge] = change
        afresh: list[_Island] = []
        for island, its in touched.items():
            update = None if island in apart else _update(island, its)
            if update is None:
                afresh.append(island)
                continue
            kept = _Island(island.nodes, list(dict.fromkeys((*island.edges, *its))), update)
            for node in island.nodes:
                islands[node] = kept
        if afresh:
            nodes = [node for island in afresh for node in island.nodes]
            edges = {edge for island in afresh for edge in (*island.edges, *touched[island])}
            self._parted(nodes, sorted(edges), islands)
        return islands

    def _factor(self, island: _Island) -> Factor:
        if island.factor is None:
            a, b, ohms = self._table.a, self._table.b, self._ohms
            island.factor = factorise(island.nodes, [(a[edge], b[edge], ohms[edge]) for edge in island.edges])
        return island.factor

    # questions

    def connected(self, a: Node, b: Node) -> bool:
        """Whether any path of finite resistance joins the two nodes."""
        i, j = self._node(a), self._node(b)
        islands = self._ready()
        return islands[i] is islands[j]

    def resistance(self, a: Node, b: Node) -> float:
        """Resistance in ohms between two nodes: infinity when no path joins them."""
        return self.four_wire(a, a, b, b)

    def resistances(self, pairs: Sequence[tuple[Node, Node]]) -> list[float]:
        """Resistance in ohms of each pair of nodes."""
        return [self.resistance(a, b) for a, b in pairs]

    def four_wire(self, force_hi: Node, sense_hi: Node, sense_lo: Node, force_lo: Node) -> float:
        """Four-wire resistance in ohms: sense voltage over forced current.

        Infinity when no path joins the force nodes; not a number when the sense nodes are not
        joined to each other, since the voltage between them is then undefined.

        Args:
            force_hi: node that the current goes in at.
            sense_hi: node of the upper sense lead.
            sense_lo: node of the lower sense lead.
            force_lo: node that the current comes out at.
        """
        fh, sh, sl, fl = (self._node(x) for x in (force_hi, sense_hi, sense_lo, force_lo))
        islands = self._ready()
        if islands[fh] is not islands[fl]:
            return math.inf
        if islands[sh] is not islands[sl]:
            return math.nan
        if islands[fh] is not islands[sh]:
            return 0.0
        factor = self._factor(islands[fh])
        forced = factor.port(fh, fl)
        return across(factor.port(sh, sl), factor.solve(forced)) if forced else 0.0

    def seen_from(self, pairs: Sequence[tuple[Node, Node]], voltages: Sequence[VoltageSource] = ()) -> Ports:
        """What the network with its sources looks like to these pairs of nodes, plus first.

        Args:
            pairs: of nodes, the plus one first.
            voltages: the sources, with their series resistances.
        """
        network = self._lend(voltages)
        return network._seen_from(pairs, network._driven((), voltages))[0]

    def solve(
        self,
        currents: Sequence[CurrentSource] = (),
        voltages: Sequence[VoltageSource] = (),
        loads: Sequence[PowerLoad] = (),
    ) -> Solution:
        """The network with its sources and constant-power loads.

        A load whose voltage ends below its cutoff is switched off, the worst one first; so is a load
        with a cutoff where the bus would collapse.

        Args:
            currents: current sources.
            voltages: voltage sources, with their series resistances.
            loads: loads of constant power.

        Raises:
            UndervoltageCollapse: the loads ask for more than can be carried.
            CircuitError: a current source has no return path, or a value makes no sense.
        """
        names = [s.id for s in currents] + [s.id for s in voltages] + [load.id for load in loads]
        if len(set(names)) != len(names):
            raise CircuitError("a source or load name is used twice")
        network = self._lend(voltages)
        field, states = network._load(network._driven(currents, voltages), loads)
        amps = {drive.id: drive.amps for drive in currents}
        solution = Solution(network, field, amps, states)
        for source in voltages:
            drop = source.volts - solution.volts(source.plus, source.minus)
            amps[source.id] = drop / source.ohms
        return solution

    def held(self, voltages: Sequence[VoltageSource]) -> Network:
        """This network with the sources' series resistances in it, ready to be asked and extended many times.

        Args:
            voltages: the sources that it and whatever extends it will be solved with.
        """
        network = self._lend(voltages)
        islands = network._ready()
        for source in voltages:
            network._factor(islands[network._node(source.plus)])
        return network

    def _lend(self, voltages: Sequence[VoltageSource]) -> Network:
        """This network with the sources' series resistances; the last one is kept."""
        for source in voltages:
            self._node(source.plus), self._node(source.minus)
            if not (source.ohms > 0.0 and math.isfinite(source.ohms)):
                raise CircuitError(
                    f"voltage source {source.id!r} needs a series resistance above 0 ohm, found {source.ohms!r}"
                )
        edges = tuple(Edge(("series of", s.id), s.plus, s.minus, s.ohms) for s in voltages)
        if edges == self._holds:
            return self
        if self._lent is None or self._lent[0] != edges:
            self._ready()
            lent = self.extended(edges)
            lent._holds = edges
            self._lent = (edges, lent)
        return self._lent[1]

    def _driven(self, currents: Sequence[CurrentSource], voltages: Sequence[VoltageSource]) -> _Field:
        """The field of these sources with no load."""
        islands = self._ready()
        rights: dict[_Island, Port] = {}

        def push(plus: int, minus: int, amps: float) -> None:
            right = rights.setdefault(islands[plus], {})
            for number, sign in self._factor(islands[plus]).port(plus, minus).items():
                right[number] = right.get(number, 0.0) + amps * sign

        for drive in currents:
            i, j = self._node(drive.plus), self._node(drive.minus)
            if islands[i] is islands[j]:
                push(i, j, drive.amps)
            elif drive.amps != 0.0:
                raise CircuitError(
                    f"current source {drive.id!r} has no return path from {drive.plus!r} to {drive.minus!r}"
                )
        for source in voltages:
            push(self._node(source.plus), self._node(source.minus), source.volts / source.ohms)
        return {island: self._factor(island).solve(right) for island, right in rights.items()}

    def _seen_from(
        self, pairs: Sequence[tuple[Node, Node]], field: _Field
    ) -> tuple[Ports, list[tuple[_Island, Vector] | None]]:
        """The ports of these pairs, and the field of an ampere through each; None where no path joins the two."""
        islands = self._ready()
        numbers = [(self._node(a), self._node(b)) for a, b in pairs]
        ports = [self._factor(islands[i]).port(i, j) if islands[i] is islands[j] else None for i, j in numbers]
        drawn: list[tuple[_Island, Vector] | None] = []
        for (i, _), port in zip(numbers, ports, strict=True):
            drawn.append(None if port is None else (islands[i], self._factor(islands[i]).solve(port)))
        ohms = [[0.0] * len(pairs) for _ in pairs]
        for row, ((i, _), port) in enumerate(zip(numbers, ports, strict=True)):
            for column, one in enumerate(drawn):
                if port is not None and one is not None and one[0] is islands[i]:
                    ohms[row][column] = across(port, one[1])
        return Ports([self._volts(field, a, b) for a, b in pairs], ohms), drawn

    def _load(self, unloaded: _Field, loads: Sequence[PowerLoad]) -> tuple[_Field, dict[Hashable, LoadState]]:
        """Newton's method over the voltages of the loads that are on."""
        for load in loads:
            if not (load.watts >= 0.0 and math.isfinite(load.watts)):
                raise CircuitError(f"load {load.id!r} has {load.watts!r} W; 0 or more is expected")
        fed = []
        for load in loads:
            volts = self._volts(unloaded, load.plus, load.minus)
            if volts > 0.0 and volts >= load.wants_volts:
                fed.append(load)
        seen, drawn = self._seen_from([(load.plus, load.minus) for load in fed], unloaded)
        field = dict(unloaded)
        states: dict[Hashable, LoadState] = {}
        for k, volts in settled(fed, seen).items():
            amps = fed[k].watts / volts
            states[fed[k].id] = LoadState(volts, amps, on=True)
            island, solved = drawn[k]  # type: ignore[misc]  # what has a voltage is joined
            field[island] = self._factor(island).plus(field[island], -amps, solved)
        for load in loads:
            if load.id not in states:
                states[load.id] = LoadState(self._volts(field, load.plus, load.minus), 0.0, on=False)
        return field, states

    def _volts(self, field: _Field, a: Node, b: Node) -> float:
        i, j = self._node(a), self._node(b)
        islands = self._ready()
        if islands[i] is not islands[j]:
            return math.nan
        if islands[i] not in field:
            return 0.0
        return across(self._factor(islands[i]).port(i, j), field[islands[i]])


def _update(island: _Island, changes: Changes) -> Whole | Updated | None:
    """An island with these edges changed, by way of its factor; None where it has none, or digits would be lost."""
    if island.factor is None:
        return None
    if isinstance(island.factor, Whole):
        return updated(island.factor, changes)
    whole = {edge: change for edge, change in island.factor.changes.items() if edge not in changes}
    for edge, (a, b, old, new) in changes.items():
        before = island.factor.changes[edge][2] if edge in island.factor.changes else old
        if before != new:
            whole[edge] = (a, b, before, new)
    return updated(island.factor.base, whole) if whole else island.factor.base


class Solution(msgspec.Struct, frozen=True, eq=False):
    """A solved network.

    Attributes:
        network: with the series resistances of its sources.
        source_amps: current out of each source's plus terminal.
        loads: what each constant-power load met.
    """

    network: Network
    _field: _Field
    source_amps: dict[Hashable, float]
    loads: dict[Hashable, LoadState]

    def volts(self, a: Node, b: Node) -> float:
        """Voltage of ``a`` against ``b``; not a number when no path joins them (floating)."""
        return self.network._volts(self._field, a, b)

    def drop(self, edge: Hashable) -> float:
        """Volts lost along an edge from its ``a`` to its ``b``: a cable's or a joint's drop."""
        table, islands = self.network._table, self.network._ready()
        k = self.network._edge(edge)
        i, j = table.a[k], table.b[k]
        if islands[i] is not islands[j]:
            return math.nan
        if islands[i] not in self._field:
            return 0.0
        return across(self.network._factor(islands[i]).port(i, j), self._field[islands[i]])

    def amps(self, edge: Hashable) -> float:
        """Current through an edge from its ``a`` to its ``b``, in ampere.

        Raises:
            CircuitError: for an edge of 0 ohm, since node voltages cannot tell its current.
        """
        ohms = self.network.ohms(edge)
        if ohms == 0.0:
            raise CircuitError(f"the current in edge {edge!r} of 0 ohm is undefined: give it a resistance")
        return 0.0 if math.isinf(ohms) else self.drop(edge) / ohms


def _checked(name: Hashable, ohms: float) -> float:
    if not ohms >= 0.0:
        raise CircuitError(f"edge {name!r} has {ohms!r} ohm; 0 or more is expected")
    return float(ohms)


def _extend(
    table: _Table, ohms: Sequence[float], edges: Iterable[Edge], nodes: Iterable[Node]
) -> tuple[_Table, list[float]]:
    names, ids = dict(table.nodes), dict(table.edges)
    a, b, values = list(table.a), list(table.b), list(ohms)
    for edge in edges:
        if edge.id in ids:
            raise CircuitError(f"the edge name {edge.id!r} is used twice")
        ids[edge.id] = len(ids)
        a.append(names.setdefault(edge.a, len(names)))
        b.append(names.setdefault(edge.b, len(names)))
        ohm = edge.ohms
        values.append(float(ohm) if ohm >= 0.0 else _checked(edge.id, ohm))
    for node in nodes:
        names.setdefault(node, len(names))
    return _Table(names, ids, a, b), values
