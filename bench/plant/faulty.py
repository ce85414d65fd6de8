"""A plant that is not as designed: the electrical view after faults, what they change, and faults drawn at random.

Faults act in a fixed order, whatever order they are listed in: conductors are landed (exchanged pins, reversed and
split pairs, scrambled ends, crossed feeds, reversed polarity), plugs are shifted, plugs are put into each other's
connector, then conductors, lugs and bonds fail, and last come shorts, leaks and second paths.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Collection, Iterable, Sequence
from typing import Final

import msgspec

from bench.plant import faults as k
from bench.plant.graph import Edge, Nets
from bench.plant.model import Plant
from bench.plant.things import Cable, Conductor
from bench.quantity import Resistance

_SIDES: Final = ("near", "far")
End = tuple[str, int]
"""One end of a conductor: its name, and 0 for the near end or 1 for the far end."""


class _Landed:
    """Which terminal each conductor's end is on, as it really is."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.spot: dict[End, str] = {}
        self._there: dict[str, list[End]] = {}
        for conductor in plant.conductors.values():
            for side, terminal in enumerate((conductor.near_end, conductor.far_end)):
                self.spot[conductor.name, side] = terminal.name
                self._there.setdefault(terminal.name, []).append((conductor.name, side))

    def move(self, moves: dict[End, str]) -> None:
        """Put ends onto other terminals, all at once."""
        for end in moves:
            self._there[self.spot[end]].remove(end)
        for end, name in moves.items():
            self.spot[end] = name
            self._there.setdefault(name, []).append(end)

    def exchange(self, pairs: Iterable[tuple[str, str]]) -> None:
        """Exchange what is on two terminals, for several two at once."""
        self.move(
            {end: there for a, b in pairs for here, there in ((a, b), (b, a)) for end in self._there.get(here, ())}
        )

    def swap_ends(self, one: str, other: str, side: int) -> None:
        """Exchange two conductors at one end."""
        a, b = (one, side), (other, side)
        self.move({a: self.spot[b], b: self.spot[a]})

    def on(self, connector: str) -> list[tuple[End, str]]:
        """The ends on a connector's pins, each with its pin."""
        pins = self.plant.connectors[connector].terminals
        return [(end, pin.pin) for pin in pins for end in self._there.get(pin.name, ())]

    def node(self, end: End) -> str:
        """The electrical node of an end. A loose end is a node of its own."""
        name = self.spot[end]
        terminal = self.plant.terminals.get(name)
        return terminal.node if terminal is not None else name


def loose_is_open(fault: k.Loose, seconds: float) -> bool:
    """Whether a loose contact is open at a moment. The same seed opens at the same moments.

    Args:
        fault: with its period and its seed.
        seconds: the moment, on any scale that all of a walk go by.
    """
    cycle, into = divmod(seconds, fault.period.value)
    width = fault.open.value * fault.period.value
    begin = random.Random(f"{fault.seed}:{int(cycle)}").uniform(0.0, fault.period.value - width)
    return begin <= into < begin + width


def apply_faults(
    plant: Plant, faults: Sequence[k.Fault], closed: Collection[str] = (), seconds: float | None = None
) -> list[Edge]:
    """The electrical view as it really is.

    Ids stay those of :meth:`Plant.graph`; an edge that is open stays in the list with infinite ohms. What is no matter
    of joined nodes is left to the simulator: shelves that draw too much or too little, and slow capacitors.

    Args:
        plant: as designed.
        faults: checked with :func:`bench.plant.faults.check_faults`.
        closed: names of the closed breakers.
        seconds: the moment for loose contacts; None leaves them closed.

    Raises:
        UnknownName: a name is not in the plant.
    """
    landed = _Landed(plant)
    for fault in faults:
        _land(fault, plant, landed)
    for fault in faults:
        if isinstance(fault, k.Shifted):
            _shift(fault, plant, landed)
    for fault in faults:
        if isinstance(fault, k.ConnectorsExchanged):
            one, other = fault.connectors
            pins = plant.connectors[one].layout.order
            landed.exchange((f"{one}.{pin}", f"{other}.{pin}") for pin in pins)
    extra = _extra_ohms(plant, faults, landed, seconds)
    edges = [_actual(edge, landed, extra.get(edge.id, 0.0)) for edge in plant.graph(closed)]
    edges = _bare(edges, plant, [fault for fault in faults if isinstance(fault, k.Damaged)])
    return edges + [edge for fault in faults for edge in _joined(fault, plant, landed)]


def _bare(edges: list[Edge], plant: Plant, faults: Sequence[k.Damaged]) -> list[Edge]:
    """The edges with those parted that are bare somewhere, and what they touch there."""
    for number, fault in enumerate(faults):
        mine = plant.conductors[fault.conductor]
        share = fault.at.value / mine.length_m
        ends = []
        for name in (fault.conductor, fault.to):
            if name not in plant.conductors:
                ends.append(plant.terminal(name).node)
                continue
            # a conductor that is bare twice is parted again in what is left of it
            place = f"{name} bare {number}"
            whole = next(edge for edge in edges if edge.id == name)
            near = Edge(name, whole.a, place, whole.kind, whole.ohms * share)
            rest = Edge(f"{name} beyond {number}", place, whole.b, whole.kind, whole.ohms * (1.0 - share))
            edges = [near if edge is whole else edge for edge in edges] + [rest]
            ends.append(place)
        edges.append(Edge(f"damaged:{number}", ends[0], ends[1], "fault", fault.ohms.value))
    return edges


def _actual(edge: Edge, landed: _Landed, extra: float) -> Edge:
    if edge.kind != "conductor":
        return Edge(edge.id, edge.a, edge.b, edge.kind, edge.ohms + extra) if extra else edge
    return Edge(edge.id, landed.node((edge.id, 0)), landed.node((edge.id, 1)), edge.kind, edge.ohms + extra)


def _land(fault: k.Fault, plant: Plant, landed: _Landed) -> None:
    """Faults of how conductors are landed."""
    match fault:
        case k.Exchanged():
            landed.exchange([fault.pins])
        case k.PairReversed():
            tip, ring = plant.cables[fault.cable].pairs[fault.pair - 1]
            landed.swap_ends(tip.name, ring.name, _SIDES.index(fault.end))
        case k.SplitPair():
            pairs = plant.cables[fault.cable].pairs
            rings = [pairs[pair - 1][1].name for pair in fault.pairs]
            for side in (0, 1) if fault.end == "both" else (_SIDES.index(fault.end),):
                landed.swap_ends(rings[0], rings[1], side)
        case k.Scrambled():
            side = _SIDES.index(fault.end)
            ends = [(conductor.name, side) for conductor in plant.cables[fault.cable].conductors]
            spots = [landed.spot[end] for end in ends]
            random.Random(fault.seed).shuffle(spots)
            landed.move(dict(zip(ends, spots, strict=True)))
        case k.FeedsCrossed():
            one, other = (plant.inlet(fault.shelf, feed) for feed in fault.feeds)
            landed.exchange([(one.live.name, other.live.name), (one.back.name, other.back.name)])
        case k.PolarityReversed():
            inlet = plant.inlet(fault.shelf, fault.feed)
            landed.exchange([(inlet.live.name, inlet.back.name)])
        case _:
            pass


def _shift(fault: k.Shifted, plant: Plant, landed: _Landed) -> None:
    layout = plant.connectors[fault.connector].layout
    moves = {}
    for end, pin in landed.on(fault.connector):
        to = layout.shifted(pin, fault.by)
        moves[end] = f"{fault.connector}.{to}" if to is not None else f"{end[0]}.{_SIDES[end[1]]}"
    landed.move(moves)


def _extra_ohms(plant: Plant, faults: Sequence[k.Fault], landed: _Landed, seconds: float | None) -> dict[str, float]:
    """What faults add to each edge, by its id."""
    extra: dict[str, float] = {}

    def add(edge: str, ohms: float) -> None:
        extra[edge] = extra.get(edge, 0.0) + ohms

    for fault in faults:
        match fault:
            case k.Open():
                add(fault.conductor, math.inf)
            case k.Cut():
                add(fault.conductor, fault.ohms.value if fault.ohms is not None else math.inf)
            case k.HighResistance() | k.SlowJoint():
                add(fault.conductor, fault.ohms.value)
            case k.Loose():
                if seconds is not None and loose_is_open(fault, seconds):
                    add(fault.conductor, math.inf)
            case k.HighResistanceLug():
                for (name, _), spot in landed.spot.items():
                    if spot == fault.terminal:
                        add(name, fault.ohms.value)
                for bond in plant.bonds.values():
                    if fault.terminal in (bond.a.name, bond.b.name):
                        add(bond.name, fault.ohms.value)
            case k.BondPoor():
                add(fault.bond, fault.ohms.value)
            case k.BondOpen():
                add(fault.bond, math.inf)
            case _:
                pass
    return extra


def _joined(fault: k.Fault, plant: Plant, landed: _Landed) -> list[Edge]:
    """Edges that the design does not have."""

    def node(name: str) -> str:
        return landed.node((name, 0)) if name in plant.conductors else plant.terminal(name).node

    match fault:
        case k.Short() | k.Leakage() | k.SecondEarthPath():
            a, b = fault.between
            kind = {k.Short: "short", k.Leakage: "leakage"}.get(type(fault), "second-path")
            ohms = fault.at(0.0) if isinstance(fault, k.Leakage) else fault.ohms.value
            return [Edge(f"{kind}:{a}:{b}", node(a), node(b), "fault", ohms)]
        case k.ShelfShort():
            inlet = plant.inlet(fault.shelf, fault.feed)
            return [Edge(f"shelf-short:{inlet.name}", inlet.live.node, inlet.back.node, "fault", fault.ohms.value)]
        case _:
            return []


class Affected(msgspec.Struct, frozen=True):
    """What a test must find changed when a fault is in the plant, and nothing else.

    Attributes:
        continuity: conductors whose reading from end to end, pin to pin as designed, is no longer what it should be.
        isolation: terminals that conduct or leak to a terminal that they should be apart from.
        bonds: bonds whose reading from end to end changes.
    """

    continuity: frozenset[str]
    isolation: frozenset[str]
    bonds: frozenset[str]


def affected_pins(fault: k.Fault, plant: Plant) -> Affected:
    """What one fault alone changes, with all breakers open; a loose contact is taken as open.

    Raises:
        UnknownName: a name is not in the plant.
    """
    actual = k.Open(conductor=fault.conductor) if isinstance(fault, k.Loose) else fault
    before = plant.graph()
    after = apply_faults(plant, [actual])
    by_ends: dict[frozenset[str], list[float]] = {}
    for edge in after:
        by_ends.setdefault(frozenset((edge.a, edge.b)), []).append(edge.ohms)
    designed = {edge.id: edge for edge in before}
    changed = [designed[edge.id] for edge in after if edge.id in designed and edge != designed[edge.id]]
    wrong = [
        edge
        for edge in changed
        if not any(math.isclose(ohms, edge.ohms, rel_tol=1e-9) for ohms in by_ends.get(frozenset((edge.a, edge.b)), ()))
    ]
    return Affected(
        frozenset(edge.id for edge in wrong if edge.kind == "conductor"),
        _newly_joined(plant, before, after),
        frozenset(edge.id for edge in wrong if edge.kind == "bond") | _looped(fault, plant),
    )


def _newly_joined(plant: Plant, before: list[Edge], after: list[Edge]) -> frozenset[str]:
    """Terminals on a net that holds what the design keeps apart."""
    nodes = {terminal.node for terminal in plant.terminals.values()}
    design, actual = Nets(before), Nets(edge for edge in after if edge.ohms < math.inf)
    mixed = {
        node for group in actual.groups(nodes).values() if len({design.root(n) for n in group}) > 1 for node in group
    }
    return frozenset(terminal.name for terminal in plant.terminals.values() if terminal.node in mixed)


def _looped(fault: k.Fault, plant: Plant) -> frozenset[str]:
    """The bonds that a second path bridges: each then reads less than it should."""
    if not isinstance(fault, k.SecondEarthPath):
        return frozenset()
    try:
        way = plant.path(*fault.between)
    except LookupError:
        return frozenset()
    return frozenset(edge.id for edge in way if edge.kind == "bond")


def random_faults(plant: Plant, cable: str, seed: int, count: int) -> list[k.Fault]:
    """Faults of wiring on one cable, no conductor in two of them.

    Args:
        plant: as designed.
        cable: its name; only conductors that land at both ends are used.
        seed: the same seed gives the same faults.
        count: how many.

    Raises:
        UnknownName: no such cable.
        ValueError: the cable has too few conductors for these faults.
    """
    found = plant.find(cable)
    if not isinstance(found, Cable):
        raise ValueError(f"found '{cable}', expected a cable")
    rng = random.Random(seed)
    free = {conductor.name: conductor for conductor in found.conductors if conductor.landed}
    makers: list[Callable[[], k.Fault | None]] = [
        lambda: _of_one(rng, free, lambda wire: k.Open(conductor=wire.name)),
        lambda: _of_one(
            rng,
            free,
            lambda wire: k.HighResistance(conductor=wire.name, ohms=Resistance(round(rng.uniform(2, 80), 1))),
        ),
        lambda: _of_two(rng, free, lambda one, other: k.Short(between=(one.name, other.name))),
        lambda: _of_two(
            rng,
            free,
            lambda one, other: k.Leakage(
                between=(one.name, other.name), ohms=Resistance(round(rng.uniform(5e4, 2e6), -3))
            ),
        ),
        lambda: _of_two(
            rng, free, lambda one, other: k.Exchanged(pins=(one.far_end.name, other.far_end.name)), owner=True
        ),
        lambda: _of_pair(rng, free, lambda wire: k.PairReversed(cable=cable, pair=wire.pair or 0)),
        lambda: _of_pairs(rng, free, cable),
    ]
    faults: list[k.Fault] = []
    while len(faults) < count:
        order = rng.sample(makers, len(makers))
        fault = next((made for maker in order if (made := maker()) is not None), None)
        if fault is None:
            raise ValueError(f"found {len(found.conductors)} conductors in {cable}, expected more for {count} faults")
        faults.append(fault)
    return faults


Free = dict[str, Conductor]


def _of_one(rng: random.Random, free: Free, make: Callable[[Conductor], k.Fault]) -> k.Fault | None:
    if not free:
        return None
    return make(free.pop(rng.choice(sorted(free))))


def _of_two(
    rng: random.Random, free: Free, make: Callable[[Conductor, Conductor], k.Fault], owner: bool = False
) -> k.Fault | None:
    """A fault of two conductors, not of one pair; with ``owner`` both on one connector at the far end."""
    if len(free) < 3:
        return None
    one = free[rng.choice(sorted(free))]
    others = [
        name
        for name in sorted(free)
        if name not in (one.name, one.mate) and (not owner or free[name].far_end.owner == one.far_end.owner)
    ]
    if not others:
        return None
    other = free.pop(rng.choice(others))
    del free[one.name]
    return make(one, other)


def _whole_pairs(free: Free) -> list[Conductor]:
    return [free[name] for name in sorted(free) if free[name].leg == "tip" and free[name].mate in free]


def _of_pair(rng: random.Random, free: Free, make: Callable[[Conductor], k.Fault]) -> k.Fault | None:
    tips = _whole_pairs(free)
    if not tips:
        return None
    tip = rng.choice(tips)
    del free[tip.name], free[tip.mate]
    return make(tip)


def _of_pairs(rng: random.Random, free: Free, cable: str) -> k.Fault | None:
    tips = _whole_pairs(free)
    if len(tips) < 2:
        return None
    one, other = rng.sample(tips, 2)
    for tip in (one, other):
        del free[tip.name], free[tip.mate]
    return k.SplitPair(cable=cable, pairs=(one.pair or 0, other.pair or 0))
