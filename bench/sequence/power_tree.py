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

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final, Literal

from bench.plant.graph import Edge, Nets
from bench.plant.model import Plant
from bench.plant.things import Inlet
from bench.quantity import engineering

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

DERATING: Final = 0.8
"""Part of a breaker's rating that a continuous load may take: the 125 % continuous-load rule of North American
practice."""
NOTHING_A: Final = 1e-4
"""Less than this through a breaker is nothing."""
PASSES: Final = 60
"""Rounds for constant-power loads; three or four are enough unless the bus is near collapse."""

Spread = Literal[-1, 0, 1]
"""The least that cards draw, what they draw typically, and the most."""


class WillNotCarry(ValueError):
    """The loads ask for more power than the way to them can carry: the voltage collapses."""


@dataclass(frozen=True, slots=True)
class Powered:
    """Which part of a plant is on, and what feeds it.

    Attributes:
        at: supplies of the plant whose terminals are fed: their own, or a bench supply in their place.
        volts: at these terminals, with the feed's sign.
        ohms: of the source behind its terminals; 0 for a supply that regulates at its terminals.
        closed: the closed breakers.
        out: cards that are not in, by name (``2C/5``).
        dummy: shelf to the current that a dummy load draws at nominal voltage, in amperes.
    """

    at: tuple[str, ...]
    volts: float
    ohms: float = 0.0
    closed: frozenset[str] = frozenset()
    out: frozenset[str] = frozenset()
    dummy: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ShelfLoad:
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


@dataclass(frozen=True, slots=True)
class BreakerLoad:
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


@dataclass(frozen=True, slots=True)
class Flow:
    """A solved tree.

    Attributes:
        amps: out of the supply, without sign.
        shelves: shelf to its load; shelves that no closed way reaches are not in it.
        edges: edge of the plant's graph to its current, from its first to its second end.
        nodes: node to volts against the supply's return terminal.
    """

    amps: float
    shelves: Mapping[str, ShelfLoad]
    edges: Mapping[str, float]
    nodes: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Forecast:
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


@dataclass(frozen=True, slots=True)
class _Load:
    """One shelf's cards at nominal voltage: watts of constant power, siemens of resistors, and the least voltage."""

    shelf: str
    inlets: tuple[Inlet, ...]
    watts: float
    siemens: float
    works_from: float


class PowerTree:
    """Answers what flows where in a plant.

    Args:
        plant: the plant.
        derating: part of a breaker's rating that may be used.
    """

    def __init__(self, plant: Plant, derating: float = DERATING) -> None:
        self.plant = plant
        self.derating = derating

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
        return Nets(edge for edge in self._edges if edge.kind != "breaker" or edge.id in closed)

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
        inlets = self.inlets_on(powered.at, powered.closed)
        loads = self._loads(inlets, powered, spread)
        return _solve(self, powered, inlets, loads)

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
            amps = abs(most.edges.get(name, 0.0))
            if amps > NOTHING_A:
                rating = self.plant.breakers[name].rating_a
                breakers[name] = BreakerLoad(name, amps, self.derating * rating, rating)
        return Forecast(powered, typical, least, most, likely, breakers)

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
            watts = siemens = works_from = 0.0
            for card in self._cards(shelf, powered.out):
                kind = card.type
                amps = kind.idle.value * (1 + spread * kind.spread.value)
                works_from = max(works_from, kind.works_from.value)
                if kind.load == "constant-power":
                    watts += amps * nominal
                else:
                    siemens += amps / nominal
            watts += powered.dummy.get(shelf, 0.0) * nominal
            found.append(_Load(shelf, tuple(mine), watts, siemens, works_from))
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


def _solve(tree: PowerTree, powered: Powered, inlets: tuple[Inlet, ...], loads: list[_Load]) -> Flow:
    import numpy as np

    edges = [edge for edge in tree._edges if edge.kind != "breaker" or edge.id in powered.closed]
    net = _Net(tree.plant, powered, edges)
    names = [inlet.name for inlet in inlets]
    of = {name: number for number, name in enumerate(names)}
    # ohms[i, j]: volts lost at inlet i for an ampere drawn at inlet j
    start, ohms = net.seen_from([(inlet.live.node, inlet.back.node) for inlet in inlets])
    watts, siemens, works_from = (np.zeros(len(names)) for _ in range(3))
    for load in loads:
        for inlet in load.inlets:
            # converters with combined inputs draw in equal parts, to a first approximation
            place, share = of[inlet.name], 1.0 / len(load.inlets)
            watts[place], siemens[place] = load.watts * share, load.siemens * share
            works_from[place] = load.works_from
    volts = start.copy()
    amps = np.zeros(len(names))
    for _ in range(PASSES):
        on = np.abs(start) >= np.maximum(works_from, 1e-9)
        safe = np.where(np.abs(volts) > 1e-9, volts, 1e-9)
        amps = np.where(on, watts / safe, 0.0) + siemens * volts * (np.abs(start) >= works_from)
        before, volts = volts, start - ohms @ amps
        if bool(np.any((np.abs(start) > 0) & on & (volts * start < 0.25 * start * start))):
            raise WillNotCarry("the loads ask for more power than the way to them can carry")
        if float(np.max(np.abs(volts - before), initial=0.0)) < 1e-12 * max(1.0, abs(powered.volts)):
            break
    return net.flow(names, volts, amps, loads)


class _Net:
    """The closed part of the tree as a matrix, with the supplies' terminals held."""

    def __init__(self, plant: Plant, powered: Powered, edges: list[Edge]) -> None:
        import numpy as np

        self.edges = edges
        held: dict[str, float] = {}
        joins = []
        for number, name in enumerate(powered.at):
            supply = plant.supplies[name]
            held[supply.back.node] = 0.0
            if powered.ohms > 0:
                held[f" source {number}"] = powered.volts
                joins.append(Edge(f" source {number}", f" source {number}", supply.live.node, "busbar", powered.ohms))
            else:
                held[supply.live.node] = powered.volts
        self.sources = joins
        everything = [*edges, *joins]
        nodes = dict.fromkeys([*held, *(node for edge in everything for node in (edge.a, edge.b))])
        reached = _reached(everything, set(held))
        self.held = held
        self.free = {node: number for number, node in enumerate(n for n in nodes if n in reached and n not in held)}
        size = len(self.free)
        matrix = np.zeros((size, size))
        right = np.zeros(size)
        for edge in everything:
            if edge.a not in reached:
                continue
            siemens = 1.0 / max(edge.ohms, 1e-9)
            a, b = self.free.get(edge.a), self.free.get(edge.b)
            for mine, other, node in ((a, b, edge.b), (b, a, edge.a)):
                if mine is None:
                    continue
                matrix[mine, mine] += siemens
                if other is None:
                    right[mine] += siemens * held[node]
                else:
                    matrix[mine, other] -= siemens
        self.matrix, self.right = matrix, right
        self.base = np.linalg.solve(matrix, right) if size else right

    def seen_from(self, ports: list[tuple[str, str]]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Volts of each port with nothing drawn, and volts that each loses for an ampere drawn at each.

        Args:
            ports: plus and minus node of each.
        """
        import numpy as np

        columns = np.zeros((len(self.free), len(ports)))
        volts = np.zeros(len(ports))
        for number, port in enumerate(ports):
            for node, sign in zip(port, (1.0, -1.0), strict=True):
                if node in self.free:
                    columns[self.free[node], number] += sign
                else:
                    volts[number] += sign * self.held[node]
        self._solved = np.linalg.solve(self.matrix, columns) if columns.size else columns
        return volts + columns.T @ self.base, columns.T @ self._solved

    def flow(self, names: list[str], volts: NDArray[np.float64], amps: NDArray[np.float64], loads: list[_Load]) -> Flow:
        """Everything that flows with these currents drawn."""
        unknown = self.base - self._solved @ amps
        nodes = {**{node: float(unknown[number]) for node, number in self.free.items()}, **self.held}
        edges = {
            edge.id: (nodes[edge.a] - nodes[edge.b]) / max(edge.ohms, 1e-9)
            for edge in self.edges
            if edge.a in nodes and edge.b in nodes
        }
        at = dict(zip(names, zip(volts.tolist(), amps.tolist(), strict=True), strict=True))
        shelves = {
            load.shelf: ShelfLoad(
                load.shelf,
                sum(abs(at[inlet.name][1]) for inlet in load.inlets),
                min((at[inlet.name][0] for inlet in load.inlets), key=abs),
                {inlet.name: (at[inlet.name][0], abs(at[inlet.name][1])) for inlet in load.inlets},
            )
            for load in loads
        }
        total = float(sum(abs(a) for _, a in at.values()))
        return Flow(total, shelves, edges, {node: v for node, v in nodes.items() if not node.startswith(" ")})


def _reached(edges: list[Edge], starts: set[str]) -> set[str]:
    """The nodes that hang together with the starts."""
    beside: dict[str, list[str]] = {}
    for edge in edges:
        beside.setdefault(edge.a, []).append(edge.b)
        beside.setdefault(edge.b, []).append(edge.a)
    found, waiting = set(starts), list(starts)
    while waiting:
        for node in beside.get(waiting.pop(), ()):
            if node not in found:
                found.add(node)
                waiting.append(node)
    return found


def headroom_line(load: BreakerLoad, derating: float = DERATING) -> str:
    """One breaker in words: ``FA2A 2.26 A of 4.8 A (80 % of 6 A), 2.54 A left``."""
    left = f"{load.headroom:.2f} A left" if load.headroom >= 0 else f"{-load.headroom:.2f} A TOO MUCH"
    share = f"{derating:.0%} of {load.rating:g} A"
    return f"{load.breaker} {engineering(load.amps, 'A', digits=3)} of {load.allowed:.3g} A ({share}), {left}"
