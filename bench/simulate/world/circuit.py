"""A resistive network: two-terminal and four-terminal resistance, and the network under load.

Nodes and edge names are any hashable things. A network is a value: :meth:`Network.changed` and
:meth:`Network.extended` give a new network and leave the old one as it was; they share the
factored matrix where a low-rank update (Sherman-Morrison-Woodbury) keeps the digits, and factor
afresh where it would not. Both ways give the same answers; tests hold them together.

Units are volt, ampere, ohm, watt throughout.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from bench.simulate.world.constant_power import CircuitError, UndervoltageCollapse, operating_point
from bench.simulate.world.factor import Factor, Floats, Ints, factorise

__all__ = [
    "CircuitError",
    "CurrentSource",
    "Edge",
    "LoadState",
    "Network",
    "Node",
    "PowerLoad",
    "Solution",
    "UndervoltageCollapse",
    "VoltageSource",
]

Node: TypeAlias = Hashable

#: Up to this many changed edges are carried as an update; beyond it a new factor costs less.
MAX_UPDATES = 8
#: An update that would lose more than four of a double's fifteen digits is not used.
MAX_AMPLIFICATION = 1e4
#: Right-hand sides solved at once: larger blocks were slower where measured.
BATCH = 64


@dataclass(frozen=True, slots=True)
class Edge:
    """A resistor of ``ohms`` between ``a`` and ``b``: 0 joins the nodes, infinity is open."""

    id: Hashable
    a: Node
    b: Node
    ohms: float


@dataclass(frozen=True, slots=True)
class CurrentSource:
    """Pushes ``amps`` out of ``plus``, through the network, back into ``minus``."""

    id: Hashable
    plus: Node
    minus: Node
    amps: float


@dataclass(frozen=True, slots=True)
class VoltageSource:
    """``volts`` between ``plus`` and ``minus`` behind a series resistance ``ohms`` (above 0)."""

    id: Hashable
    plus: Node
    minus: Node
    volts: float
    ohms: float


@dataclass(frozen=True, slots=True)
class PowerLoad:
    """Draws constant ``watts`` from ``plus`` to ``minus`` whatever the voltage, as converters do.

    It is off while its voltage is below ``cutoff_volts`` (undervoltage lockout) or reversed.
    """

    id: Hashable
    plus: Node
    minus: Node
    watts: float
    cutoff_volts: float = 0.0


@dataclass(frozen=True, slots=True)
class LoadState:
    """What a constant-power load met: its voltage, its current, whether it runs."""

    volts: float
    amps: float
    on: bool


class _Factored:
    """A factor, the resistances it was made with, and the solved ports of edges changed since."""

    __slots__ = ("columns", "factor", "ohms")

    def __init__(self, factor: Factor, ohms: Floats) -> None:
        self.factor = factor
        self.ohms = ohms
        self.columns: dict[tuple[int, int], tuple[Floats, Floats]] = {}

    def column(self, a: int, b: int) -> tuple[Floats, Floats]:
        """The port of nodes ``a``, ``b`` and its solution, kept for the next change."""
        found = self.columns.get((a, b))
        if found is None:
            port = self.factor.port(a, b)
            found = (port, self.factor.solve(port))
            if len(self.columns) >= BATCH:
                self.columns.clear()
            self.columns[(a, b)] = found
        return found


@dataclass(frozen=True, slots=True)
class _Update:
    """Woodbury: ``y - z @ (inverse @ (w.T @ y))`` corrects a solution of the old matrix."""

    w: Floats
    z: Floats
    inverse: Floats

    def apply(self, y: Floats) -> Floats:
        out: Floats = y - self.z @ (self.inverse @ (self.w.T @ y))
        return out


@dataclass(frozen=True, slots=True)
class _Table:
    """Names to numbers, and which nodes each edge joins."""

    nodes: dict[Node, int]
    edges: dict[Hashable, int]
    a: Ints
    b: Ints


class Network:
    """A network of resistors.

    Raises :class:`CircuitError` for a repeated edge name or a resistance that is negative or not a
    number. ``nodes`` names nodes that no edge touches.
    """

    __slots__ = ("_factored", "_lent", "_ohms", "_table", "_update")

    def __init__(self, edges: Iterable[Edge] = (), nodes: Iterable[Node] = ()) -> None:
        empty = _Table({}, {}, np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64))
        self._table, self._ohms = _extend(empty, np.zeros(0), edges, nodes)
        self._factored: _Factored | None = None
        self._update: _Update | None = None
        self._lent: tuple[tuple[Edge, ...], Network] | None = None

    # ---- what it is ------------------------------------------------------------------------

    @property
    def nodes(self) -> tuple[Node, ...]:
        """All nodes, in the order they were first named."""
        return tuple(self._table.nodes)

    def ohms(self, edge: Hashable) -> float:
        """The resistance of the edge of this name."""
        return float(self._ohms[self._edge(edge)])

    def changed(self, ohms: Mapping[Any, float]) -> Network:
        """The same network with other resistances for the edges named."""
        new = self._ohms.copy()
        for name, value in ohms.items():
            new[self._edge(name)] = _checked(name, value)
        return self._child(self._table, new)

    def extended(self, edges: Iterable[Edge], nodes: Iterable[Node] = ()) -> Network:
        """The same network with more edges (and nodes)."""
        return self._child(*_extend(self._table, self._ohms, edges, nodes))

    def _child(self, table: _Table, ohms: Floats) -> Network:
        child = Network.__new__(Network)
        child._table, child._ohms = table, ohms
        same_nodes = len(table.nodes) == len(self._table.nodes)
        child._factored = self._factored if same_nodes else None
        child._update = None
        child._lent = None
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

    # ---- solving ---------------------------------------------------------------------------

    def _ready(self) -> Factor:
        """The factor that holds for this network, together with ``self._update``."""
        factored = self._factored
        if factored is not None:
            if factored.ohms is self._ohms or self._update is not None:
                return factored.factor
            before = np.full(len(self._ohms), math.inf)
            before[: len(factored.ohms)] = factored.ohms
            differ = np.flatnonzero(before != self._ohms)
            if len(differ) == 0:
                self._ohms = factored.ohms if len(factored.ohms) == len(self._ohms) else self._ohms
                return factored.factor
            update = self._updated(factored, differ, before)
            if update is not None:
                self._update = update
                return factored.factor
        table = self._table
        factor = factorise(len(table.nodes), table.a, table.b, self._ohms)
        self._factored = _Factored(factor, self._ohms)
        self._update = None
        return factor

    def _updated(self, factored: _Factored, differ: Ints, before: Floats) -> _Update | None:
        """The update that turns the old factor into this network, or None to factor afresh."""
        if len(differ) > MAX_UPDATES:
            return None
        new, old = self._ohms[differ], before[differ]
        if (new == 0.0).any() or (old == 0.0).any():
            return None  # nodes merge or part
        a, b = self._table.a[differ], self._table.b[differ]
        island = factored.factor.island
        if (island[a] != island[b]).any():
            return None  # islands join
        if factored.factor.solver is None:
            return None
        delta = 1.0 / new - 1.0 / old
        pairs = [factored.column(int(i), int(j)) for i, j in zip(a, b, strict=True)]
        w = np.column_stack([port for port, _ in pairs])
        z = np.column_stack([solved for _, solved in pairs])
        between = w.T @ z
        # How far the update stretches or shrinks a solution: digits lost to cancellation, and
        # without bound when the change cuts the island in two.
        scale = np.sqrt(np.abs(delta))
        stretch = np.eye(len(delta)) + np.sign(delta)[:, None] * (scale[:, None] * between * scale[None, :])
        sizes = np.linalg.svd(stretch, compute_uv=False)
        if sizes[-1] == 0.0 or max(sizes[0], 1.0) * max(1.0 / sizes[-1], 1.0) > MAX_AMPLIFICATION:
            return None
        inverse: Floats = np.linalg.inv(np.diag(1.0 / delta) + between).astype(np.float64)
        return _Update(w, z, inverse)

    def _solve(self, rhs: Floats) -> Floats:
        factor = self._ready()
        y = factor.solve(rhs)
        return y if self._update is None else self._update.apply(y)

    # ---- questions -------------------------------------------------------------------------

    def connected(self, a: Node, b: Node) -> bool:
        """Whether any path of finite resistance joins the two nodes."""
        i, j = self._node(a), self._node(b)
        island = self._ready().island
        return bool(island[i] == island[j])

    def resistance(self, a: Node, b: Node) -> float:
        """Resistance in ohms between two nodes: infinity when no path joins them."""
        return self.resistances([(a, b)])[0]

    def resistances(self, pairs: Sequence[tuple[Node, Node]]) -> list[float]:
        """Resistance in ohms of each pair of nodes, solved in batches."""
        numbers = [(self._node(a), self._node(b)) for a, b in pairs]
        factor = self._ready()
        out = [0.0 if factor.merged[i] == factor.merged[j] else math.inf for i, j in numbers]
        asked = [
            k
            for k, (i, j) in enumerate(numbers)
            if factor.island[i] == factor.island[j] and factor.merged[i] != factor.merged[j]
        ]
        for start in range(0, len(asked), BATCH):
            block = asked[start : start + BATCH]
            ports = np.column_stack([factor.port(*numbers[k]) for k in block])
            answers = np.einsum("nk,nk->k", ports, self._solve(ports))
            for k, value in zip(block, answers, strict=True):
                out[k] = float(value)
        return out

    def four_wire(self, force_hi: Node, sense_hi: Node, sense_lo: Node, force_lo: Node) -> float:
        """Four-wire resistance in ohms: sense voltage over forced current.

        Infinity when no path joins the force nodes; not a number when the sense nodes are not
        joined to each other, since the voltage between them is then undefined.
        """
        fh, sh, sl, fl = (self._node(x) for x in (force_hi, sense_hi, sense_lo, force_lo))
        factor = self._ready()
        if factor.island[fh] != factor.island[fl]:
            return math.inf
        if factor.island[sh] != factor.island[sl]:
            return math.nan
        return float(factor.port(sh, sl) @ self._solve(factor.port(fh, fl)))

    def solve(
        self,
        currents: Sequence[CurrentSource] = (),
        voltages: Sequence[VoltageSource] = (),
        loads: Sequence[PowerLoad] = (),
    ) -> Solution:
        """The network with its sources and constant-power loads.

        Raises :class:`UndervoltageCollapse` when the loads ask for more than can be carried, and
        :class:`CircuitError` when a current source has no return path or a value makes no sense.
        A load whose voltage ends below its cutoff is switched off, the worst one first; so is a load
        with a cutoff where the bus would collapse.
        """
        for source in voltages:
            self._node(source.plus), self._node(source.minus)
            if not (source.ohms > 0.0 and math.isfinite(source.ohms)):
                raise CircuitError(
                    f"voltage source {source.id!r} needs a series resistance above 0 ohm, found {source.ohms!r}"
                )
        names = [s.id for s in currents] + [s.id for s in voltages] + [load.id for load in loads]
        if len(set(names)) != len(names):
            raise CircuitError("a source or load name is used twice")
        network = self._lend(tuple(Edge(("series of", s.id), s.plus, s.minus, s.ohms) for s in voltages))
        factor = network._ready()
        rhs = np.zeros(factor.unknowns)
        for drive in currents:
            i, j = network._node(drive.plus), network._node(drive.minus)
            if factor.island[i] != factor.island[j] and drive.amps != 0.0:
                raise CircuitError(
                    f"current source {drive.id!r} has no return path from {drive.plus!r} to {drive.minus!r}"
                )
            rhs += drive.amps * factor.port(i, j)
        for source in voltages:
            i, j = network._node(source.plus), network._node(source.minus)
            rhs += source.volts / source.ohms * factor.port(i, j)
        unknowns = network._solve(rhs)
        unknowns, states = network._load(unknowns, loads)
        amps = {drive.id: drive.amps for drive in currents}
        solution = Solution(network, unknowns, amps, states)
        for source in voltages:
            drop = source.volts - solution.volts(source.plus, source.minus)
            amps[source.id] = drop / source.ohms
        return solution

    def _lend(self, edges: tuple[Edge, ...]) -> Network:
        """This network with the sources' series resistances; the last one is kept."""
        if not edges:
            return self
        if self._lent is None or self._lent[0] != edges:
            self._ready()
            self._lent = (edges, self.extended(edges))
        return self._lent[1]

    def _load(self, unloaded: Floats, loads: Sequence[PowerLoad]) -> tuple[Floats, dict[Hashable, LoadState]]:
        """Newton's method over the voltages of the loads that are on."""
        factor = self._ready()
        for load in loads:
            if not (load.watts >= 0.0 and math.isfinite(load.watts)):
                raise CircuitError(f"load {load.id!r} has {load.watts!r} W; 0 or more is expected")
        fed: list[PowerLoad] = []
        ports: list[Floats] = []
        for load in loads:
            i, j = self._node(load.plus), self._node(load.minus)
            if factor.island[i] == factor.island[j]:
                port = factor.port(i, j)
                if port @ unloaded > 0.0 and port @ unloaded >= load.cutoff_volts:
                    fed.append(load)
                    ports.append(port)
        y = unloaded
        drawn: dict[Hashable, tuple[float, float]] = {}
        if fed:
            p = np.column_stack(ports)
            z = self._solve(p)
            open_volts, between = p.T @ unloaded, p.T @ z
            on = np.arange(len(fed))
            while len(on):
                chosen = [fed[k] for k in on]
                watts = np.array([load.watts for load in chosen])
                names = [load.id for load in chosen]
                try:
                    volts = operating_point(open_volts[on], between[np.ix_(on, on)], watts, names)
                except UndervoltageCollapse as collapse:
                    # A load with a lockout gives way before the bus collapses.
                    order = [names.index(name) for name in collapse.loads]
                    locked = [k for k in order if chosen[k].cutoff_volts > 0.0]
                    if not locked:
                        raise
                    on = np.delete(on, locked[0])
                    continue
                short = np.array([load.cutoff_volts for load in chosen]) - volts
                worst = int(np.argmax(short))
                if short[worst] <= 0.0:
                    amps = watts / volts
                    y = unloaded - z[:, on] @ amps
                    drawn = {load.id: (float(v), float(i)) for load, v, i in zip(chosen, volts, amps, strict=True)}
                    break
                on = np.delete(on, worst)
        states: dict[Hashable, LoadState] = {}
        for load in loads:
            if load.id in drawn:
                states[load.id] = LoadState(*drawn[load.id], on=True)
            else:
                states[load.id] = LoadState(self._volts(y, load.plus, load.minus), 0.0, on=False)
        return y, states

    def _volts(self, unknowns: Floats, a: Node, b: Node) -> float:
        i, j = self._node(a), self._node(b)
        factor = self._ready()
        if factor.island[i] != factor.island[j]:
            return math.nan
        return float(factor.port(i, j) @ unknowns)


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """A solved network. ``source_amps`` is the current out of each source's plus terminal."""

    network: Network
    unknowns: Floats
    source_amps: dict[Hashable, float]
    loads: dict[Hashable, LoadState]

    def volts(self, a: Node, b: Node) -> float:
        """Voltage of ``a`` against ``b``; not a number when no path joins them (floating)."""
        return self.network._volts(self.unknowns, a, b)

    def amps(self, edge: Hashable) -> float:
        """Current through an edge from its ``a`` to its ``b``, in ampere.

        Raises :class:`CircuitError` for an edge of 0 ohm: node voltages cannot tell its current.
        """
        table = self.network._table
        k = self.network._edge(edge)
        ohms = float(self.network._ohms[k])
        if ohms == 0.0:
            raise CircuitError(f"the current in edge {edge!r} of 0 ohm is undefined: give it a resistance")
        if math.isinf(ohms):
            return 0.0
        factor = self.network._ready()
        return float(factor.port(int(table.a[k]), int(table.b[k])) @ self.unknowns) / ohms


def _checked(name: Hashable, ohms: float) -> float:
    if not ohms >= 0.0:
        raise CircuitError(f"edge {name!r} has {ohms!r} ohm; 0 or more is expected")
    return float(ohms)


def _extend(table: _Table, ohms: Floats, edges: Iterable[Edge], nodes: Iterable[Node]) -> tuple[_Table, Floats]:
    names, ids = dict(table.nodes), dict(table.edges)
    a: list[int] = []
    b: list[int] = []
    values: list[float] = []
    for edge in edges:
        if edge.id in ids:
            raise CircuitError(f"the edge name {edge.id!r} is used twice")
        ids[edge.id] = len(ids)
        a.append(names.setdefault(edge.a, len(names)))
        b.append(names.setdefault(edge.b, len(names)))
        values.append(_checked(edge.id, edge.ohms))
    for node in nodes:
        names.setdefault(node, len(names))
    joined = _Table(
        names,
        ids,
        np.concatenate([table.a, np.array(a, dtype=np.int64)]),
        np.concatenate([table.b, np.array(b, dtype=np.int64)]),
    )
    return joined, np.concatenate([ohms, np.array(values, dtype=np.float64)])
