"""The distribution tree of a plant: what hangs on what, what flows where, and which voltage is left at each shelf.

From the plant: supply, busbar, breakers, feeders, bay breakers, shelf and half-shelf inlets, and the returns. Currents
follow from the cards that are in and the breakers that are closed; drops follow from the resistance of every stretch,
there and back. Where returns of two feeds meet on one bar the current divides as it does in the plant, so this is a
solved network and not a sum along a path. Bonds are left out: no supply current is meant to flow there.

Cards of constant power draw more where the voltage is lower, resistive cards less. The sums of a shelf are those of
:meth:`bench.plant.model.Plant.idle_current`, taken to the voltage that reaches it.

A breaker is loaded to a part of its rating only. The part is a setting; 80 % is the 125 % continuous-load rule of
North American practice (a breaker carries 125 % of the continuous load, so the load is 1/1.25 of the rating).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import cached_property
from math import isnan
from typing import TYPE_CHECKING, Any, Final, Literal

import msgspec

from bench.plant.graph import Edge, Nets
from bench.plant.model import Plant
from bench.plant.things import Inlet
from bench.quantity import engineering
from bench.recent import Recent

if TYPE_CHECKING:
    from bench.network.circuit import Network, Solution, VoltageSource

DERATING: Final = 0.8
"""Part of a breaker's rating that a continuous load may take: the 125 % continuous-load rule of North American
practice."""
NOTHING_A: Final = 1e-4
"""Less than this through a breaker is nothing."""
SAFE_VOLTS: Final = 5.0
"""Low enough to hurt neither hands nor cards wherever the leads went by mistake (common practice, no source)."""
DEAD_V: Final = 1.0
"""What is dead reads no more, in volts (common practice, no source)."""
NOWHERE_V: Final = 1e-6
"""Less than this is no voltage."""
ROUNDING: Final = 1e-9
"""At exactly a bound no digit of a computed voltage decides who is on."""
LEAST_OHM: Final = 1e-9
"""In place of nothing, so that a current can be told: of a stretch, and of a supply that regulates at its terminals."""

Spread = Literal[-1, 0, 1]
"""The least that cards draw, what they draw typically, and the most."""


class WillNotCarry(ValueError):
    """The loads ask for more power than the way to them can carry: the voltage collapses."""


class Powered(msgspec.Struct, frozen=True):
    """Which part of a plant is on, and what feeds it.

    Attributes:
        at: supplies of the plant whose terminals are fed: their own, or a bench supply in their place.
        volts: at these terminals, with the feed's sign.
        ohms: of the source behind its terminals; 0 for a supply that regulates at its terminals.
        closed: the closed breakers.
        out: cards that are not in, by name (``2C/5``).
        dummy: shelf to the current that a dummy load draws at nominal voltage, in amperes.
        drawn: what the supply was seen to give once it had settled, in amperes; None where nobody looked.
    """

    at: tuple[str, ...]
    volts: float
    ohms: float = 0.0
    closed: frozenset[str] = frozenset()
    out: frozenset[str] = frozenset()
    dummy: Mapping[str, float] = msgspec.field(default_factory=dict)
    drawn: float | None = None


class ShelfLoad(msgspec.Struct, frozen=True):
    """What a shelf takes.

    Attributes:
        shelf: its name.
        amps: through all its inlets together, without sign.
        volts: at its inlet, with the feed's sign; of several inlets the lowest magnitude.
        inlets: inlet to volts with their sign and amperes.
    """

    shelf: str
    amps: float
    volts: float
    inlets: Mapping[str, tuple[float, float]]


class BreakerLoad(msgspec.Struct, frozen=True):
    """What a closed breaker carries.

    Attributes:
        breaker: its name.
        amps: without sign.
        allowed: what it may carry all the time.
        rating: its rated current.
    """

    breaker: str
    amps: float
    allowed: float
    rating: float

    @property
    def headroom(self) -> float:
        """Amperes left; negative where it is overloaded."""
        return self.allowed - self.amps


class Flow(msgspec.Struct, frozen=True, eq=False, dict=True):
    """A solved tree. What each stretch carries is worked out when somebody asks: a draft solves hundreds of trees.

    Attributes:
        amps: out of the supply, without sign.
        shelves: shelf to its load; shelves that no closed way reaches are not in it.
    """

    amps: float
    shelves: Mapping[str, ShelfLoad]
    _solution: Solution
    _ends: Sequence[str]
    _stretches: Mapping[str, Edge]

    @cached_property
    def edges(self) -> Mapping[str, float]:
        """Edge of the plant's graph to its current, from its first to its second end, in ampere."""
        return {name: self._solution.amps(name) for name, edge in self._stretches.items() if edge.a in self.nodes}

    @cached_property
    def nodes(self) -> Mapping[str, float]:
        """Node to volts against the supply's return terminal; the supplies' ends are live, back and so on."""
        ends = (end for edge in self._stretches.values() for end in (edge.a, edge.b))
        volts = {node: self._solution.volts(node, self._ends[1]) for node in dict.fromkeys((*self._ends, *ends))}
        return {node: of for node, of in volts.items() if not isnan(of)}

    def through(self, edge: str) -> float:
        """Current in one edge, in ampere; none in one that no closed way reaches.

        Args:
            edge: of the plant's graph.
        """
        stretch = self._stretches.get(edge)
        if stretch is None or isnan(self._solution.volts(stretch.a, self._ends[1])):
            return 0.0
        return self._solution.amps(edge)


class Forecast(msgspec.Struct, frozen=True):
    """What a part of a plant should do when it is on.

    Attributes:
        powered: what is on.
        typical: with every card typical.
        least: with every card at its least; not where the bus is stiffest but at the same supply voltage.
        most: with every card at its most.
        likely: where the sum lies in 99.7 % of plants of such cards, each anywhere within its spread with the same
            chance (GUM, rectangular limits); narrower than least to most where there are many cards.
        breakers: what each closed breaker with current carries at the most.
    """

    powered: Powered
    typical: Flow
    least: Flow
    most: Flow
    likely: tuple[float, float]
    breakers: Mapping[str, BreakerLoad]

    @property
    def overloads(self) -> tuple[BreakerLoad, ...]:
        """The breakers that would carry more than they may, worst first."""
        over = [load for load in self.breakers.values() if load.headroom < 0]
        return tuple(sorted(over, key=lambda load: load.amps / load.allowed, reverse=True))


class _Load(msgspec.Struct, frozen=True):
    """One shelf's cards at nominal voltage: watts of constant power, siemens of resistors, and the volts it is on from.

    Three numbers, never one: below turn-on it is off, in its guaranteed range on, and in between nobody knows. So what
    is drawn at the most and typically has it on from turn-on, and what is drawn at the least from what is guaranteed.
    """

    shelf: str
    inlets: tuple[Inlet, ...]
    watts: float
    siemens: float
    on_from: float


def power_tree(plant: Plant, derating: float = DERATING) -> PowerTree:
    """The tree of a plant: one, however often it is asked for, so that what it worked out is found again.

    Args:
        plant: the plant.
        derating: part of a breaker's rating that may be used.
    """
    key = ("power tree", derating)
    found: PowerTree | None = plant.kept.get(key)
    if found is None:
        found = plant.kept[key] = PowerTree(plant, derating)
    return found


class PowerTree:
    """Answers what flows where in a plant; :func:`power_tree` gives the one that is there already.

    Args:
        plant: the plant.
        derating: part of a breaker's rating that may be used.
    """

    def __init__(self, plant: Plant, derating: float = DERATING) -> None:
        self.plant = plant
        self.derating = derating
        self._flows: Recent[tuple[Powered, Spread], Flow] = Recent(100)
        self._unloaded: Recent[tuple[Any, ...], _Unloaded] = Recent(4)
        self._nets: Recent[frozenset[str], Nets] = Recent(8)

    # what is on

    def inlets_on(self, at: Collection[str], closed: Collection[str]) -> tuple[Inlet, ...]:
        """The inlets that these supplies reach through closed breakers, there and back.

        Raises:
            KeyError: no such supply.
        """
        joined = self._joined(frozenset(closed))
        found = []
        for inlet in self.plant.inlets.values():
            for name in at:
                supply = self.plant.supplies[name]
                pairs = ((inlet.live.node, supply.live.node), (inlet.back.node, supply.back.node))
                if all(joined.joined(a, b) for a, b in pairs):
                    found.append(inlet)
                    break
        return tuple(found)

    def shelves_on(self, at: Collection[str], closed: Collection[str]) -> tuple[str, ...]:
        """The shelves that are on, in plant order."""
        return tuple(dict.fromkeys(inlet.shelf for inlet in self.inlets_on(at, closed)))

    def _joined(self, closed: frozenset[str]) -> Nets:
        """What is one net with these breakers closed."""
        return self._nets.get(closed, lambda: Nets(self._carrying(closed)))

    def _carrying(self, closed: Collection[str]) -> list[Edge]:
        return [edge for edge in self._edges if edge.kind != "breaker" or edge.id in closed]

    @cached_property
    def _edges(self) -> tuple[Edge, ...]:
        """What carries supply current: everything on the way of some inlet, all breakers closed."""
        plant = self.plant
        ends = {end.node for s in plant.supplies.values() for end in (s.live, s.back)}
        ends |= {end.node for i in plant.inlets.values() for end in (i.live, i.back)}
        edges = [edge for edge in plant.graph(plant.breakers) if edge.kind != "bond"]
        return tuple(_between(edges, ends))

    def breakers_of(self, inlet: str) -> tuple[str, ...]:
        """The breakers on an inlet's way, from the supply's end.

        Raises:
            UnknownName, NoPath: as :meth:`bench.plant.model.Plant.supply_path`.
        """
        found = self.plant.inlets[inlet]
        return self.plant.supply_path(found.shelf, found.feed).breakers

    # what flows

    def flow(self, powered: Powered, spread: Spread = 0) -> Flow:
        """Solve the tree.

        Args:
            powered: what is on.
            spread: with the cards at their least, typical or most.

        Raises:
            KeyError: no such supply.
            WillNotCarry: the loads ask for more than the way to them can carry.
        """
        return self._flows.get((powered, spread), lambda: self._solved(powered, spread))

    def _solved(self, powered: Powered, spread: Spread) -> Flow:
        inlets = self.inlets_on(powered.at, powered.closed)
        key = (powered.at, powered.volts, powered.ohms, powered.closed)
        unloaded = self._unloaded.get(key, lambda: _unloaded(self, powered, inlets))
        return _solve(unloaded, self._loads(inlets, powered, spread))

    def forecast(self, powered: Powered) -> Forecast:
        """What should be seen when this part is on.

        Raises:
            KeyError, WillNotCarry: as :meth:`flow`.
        """
        typical, least, most = (self.flow(powered, spread) for spread in (0, -1, 1))
        half = 3 * self._deviation(powered)
        middle = 0.5 * (least.amps + most.amps)
        likely = (max(least.amps, middle - half), min(most.amps, middle + half))
        breakers = {}
        for name in (name for name in self.plant.breakers if name in powered.closed):
            amps = abs(most.through(name))
            if amps > NOTHING_A:
                rating = self.plant.breakers[name].rating_a
                breakers[name] = BreakerLoad(name, amps, self.derating * rating, rating)
        return Forecast(powered, typical, least, most, likely, breakers)

    def converters_on(self, powered: Powered) -> int:
        """How many converters are in that are fed.

        Args:
            powered: what is on.
        """
        shelves = self.shelves_on(powered.at, powered.closed)
        return sum(card.type.converts for shelf in shelves for card in self._cards(shelf, powered.out))

    def _deviation(self, powered: Powered) -> float:
        """Standard deviation of the sum of what cards draw, each anywhere within its spread with the same chance."""
        total = 0.0
        for shelf in self.shelves_on(powered.at, powered.closed):
            for card in self._cards(shelf, powered.out):
                total += (2 * card.type.idle.value * card.type.spread.value) ** 2 / 12
        return float(total**0.5)

    def _cards(self, shelf: str, out: Collection[str]) -> list[Any]:
        """The cards that draw through a shelf's inlets: its own, and those of halves without inlets."""
        shelves = self.plant.shelves
        parts = [shelf, *(half for half in shelves[shelf].halves if not shelves[half].inlets)]
        return [card for part in parts for card in shelves[part].cards if card.name not in out]

    def _loads(self, inlets: Iterable[Inlet], powered: Powered, spread: int) -> list[_Load]:
        by_shelf: dict[str, list[Inlet]] = {}
        for inlet in inlets:
            by_shelf.setdefault(inlet.shelf, []).append(inlet)
        found = []
        for shelf, mine in by_shelf.items():
            nominal = abs(self.plant.feeds[mine[0].feed].nominal_v)
            watts = siemens = on_from = 0.0
            for card in self._cards(shelf, powered.out):
                kind = card.type
                amps = kind.idle.value * (1 + spread * kind.spread.value)
                if kind.load == "constant-power":
                    on_from = max(on_from, kind.works_from.value if spread < 0 else kind.starts_from)
                    watts += amps * nominal
                else:
                    siemens += amps / nominal
            watts += powered.dummy.get(shelf, 0.0) * nominal
            found.append(_Load(shelf, tuple(mine), watts, siemens, on_from))
        return found


def _between(edges: list[Edge], ends: Collection[str]) -> list[Edge]:
    """The edges that are left when loose ends are cut off again and again: what can carry current between the ends."""
    left = list(edges)
    while True:
        count: dict[str, int] = {}
        for edge in left:
            for node in (edge.a, edge.b):
                count[node] = count.get(node, 0) + 1
        kept = [edge for edge in left if all(count[node] > 1 or node in ends for node in (edge.a, edge.b))]
        if len(kept) == len(left):
            return [edge for edge in kept if edge.a != edge.b]
        left = kept


class _Unloaded(msgspec.Struct, frozen=True):
    """A tree with its supplies and no card in: what its cards at their least, typical and most have in common."""

    network: Network
    sources: list[VoltageSource]
    ends: list[str]
    stretches: dict[str, Edge]
    idle: Solution


def _unloaded(tree: PowerTree, powered: Powered, inlets: tuple[Inlet, ...]) -> _Unloaded:
    # most walks energise nothing, and do without the solver
    from bench.network.circuit import Edge as Resistor
    from bench.network.circuit import Network, VoltageSource

    supplies = [tree.plant.supplies[name] for name in powered.at]
    edges = tree._carrying(powered.closed)
    wires = [Resistor(edge.id, edge.a, edge.b, max(edge.ohms, LEAST_OHM)) for edge in edges]
    # supplies that feed together are held against one point
    ties = [Resistor(("tie", one.name), one.back.node, supplies[0].back.node, 0.0) for one in supplies[1:]]
    ends = [end.node for one in supplies for end in (one.live, one.back)]
    network = Network([*wires, *ties], [*ends, *(end.node for one in inlets for end in (one.live, one.back))])
    sources = [
        VoltageSource(one.name, one.live.node, one.back.node, powered.volts, powered.ohms or LEAST_OHM)
        for one in supplies
    ]
    stretches = {edge.id: edge for edge in edges}
    return _Unloaded(network, sources, ends, stretches, network.solve(voltages=sources))


def _solve(unloaded: _Unloaded, loads: list[_Load]) -> Flow:
    from bench.network.circuit import Edge as Resistor
    from bench.network.circuit import PowerLoad, UndervoltageCollapse

    idle = unloaded.idle
    powers, resistors = [], []
    for load in loads:
        for inlet in load.inlets:
            start = idle.volts(inlet.live.node, inlet.back.node)
            if isnan(start) or abs(start) < NOWHERE_V:
                continue
            # converters with combined inputs draw in equal parts, to a first approximation
            share = 1.0 / len(load.inlets)
            plus, minus = (inlet.live, inlet.back) if start > 0 else (inlet.back, inlet.live)
            if abs(start) >= (1 - ROUNDING) * load.on_from:
                powers.append(PowerLoad(inlet.name, plus.node, minus.node, load.watts * share))
            if load.siemens > 0:
                resistors.append(Resistor(("cards", inlet.name), plus.node, minus.node, 1 / (load.siemens * share)))
    try:
        network = unloaded.network.extended(resistors) if resistors else unloaded.network
        solution = network.solve(voltages=unloaded.sources, loads=powers)
    except UndervoltageCollapse:
        raise WillNotCarry("the loads ask for more power than the way to them can carry") from None
    resistive = {resistor.id: abs(solution.amps(resistor.id)) for resistor in resistors}
    shelves = {}
    for load in loads:
        at = {}
        for inlet in load.inlets:
            state = solution.loads.get(inlet.name)
            amps = (state.amps if state else 0.0) + resistive.get(("cards", inlet.name), 0.0)
            at[inlet.name] = (solution.volts(inlet.live.node, inlet.back.node), amps)
        lowest = min((volts for volts, _ in at.values()), key=abs)
        shelves[load.shelf] = ShelfLoad(load.shelf, sum(amps for _, amps in at.values()), lowest, at)
    return Flow(sum(one.amps for one in shelves.values()), shelves, solution, unloaded.ends, unloaded.stretches)


def headroom_line(load: BreakerLoad, derating: float = DERATING) -> str:
    """One breaker in words: ``FA2A 2.26 A of 4.8 A (80 % of 6 A), 2.54 A left``."""
    left = f"{load.headroom:.2f} A left" if load.headroom >= 0 else f"{-load.headroom:.2f} A TOO MUCH"
    share = f"{derating:.0%} of {load.rating:g} A"
    return f"{load.breaker} {engineering(load.amps, 'A', digits=3)} of {load.allowed:.3g} A ({share}), {left}"
