"""The designed map of a plant's pins and the map that was measured.

A plant is seen from two sides, near and far. On each side there are the plant's connectors, whose layout says how
their pins lie and how they count. A conductor runs from a near pin to a far pin. Several conductors may land
on one pin (a common return, a bus bar): that is how a designed common is written.

What was measured is a set of joins, pairs of pins found conducting, with what was not looked at
kept apart from what was found open. A pin that nobody touched is neither joined nor open.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from operator import attrgetter
from typing import Literal, NamedTuple

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.plant.layout import Layout
from bench.plant.things import Connector

Side = Literal["near", "far"]
Crosses = Literal["all", "sampled"]


class Pin(NamedTuple):
    """One pin: the connector's name and the pin's own name in it."""

    connector: str
    name: str

    def __str__(self) -> str:
        return f"{self.connector}.{self.name}"


Join = tuple[Pin, Pin]


def pins_on(connector: Connector) -> tuple[Pin, ...]:
    """All pins of a connector in counting order."""
    return tuple(Pin(connector.name, pin) for pin in connector.layout.order)


class Conductor(msgspec.Struct, frozen=True):
    """One designed wire.

    Attributes:
        name: its name.
        near: where it starts.
        far: where it ends.
        pair: that it belongs to; None where it is in none.
        cable: that it runs in, where that is known.
    """

    name: str
    near: Pin
    far: Pin
    pair: str | None = None
    cable: str | None = None


class Design(msgspec.Struct, frozen=True, dict=True):
    """What should run where.

    Attributes:
        near: the connectors of one side.
        far: those of the other.
        conductors: what runs between them.

    Raises:
        DiagnoseError: with every fault found: a name is used twice, a conductor ends on a pin that no connector has, or
            a pair does not have exactly two conductors.
    """

    near: tuple[Connector, ...]
    far: tuple[Connector, ...]
    conductors: tuple[Conductor, ...]

    def __post_init__(self) -> None:
        faults: list[str] = []
        seen: set[str] = set()
        for connector in (*self.near, *self.far):
            if connector.name in seen:
                faults.append(f"connector {connector.name} appears twice; expected each name once")
            seen.add(connector.name)
        near = {pin for c in self.near for pin in self.pins[c.name]}
        far = {pin for c in self.far for pin in self.pins[c.name]}
        names: set[str] = set()
        pairs: dict[str, int] = {}
        for wire in self.conductors:
            if wire.name in names:
                faults.append(f"conductor {wire.name} appears twice; expected each name once")
            names.add(wire.name)
            if wire.near not in near:
                faults.append(f"conductor {wire.name} starts at {wire.near}, which is no near pin")
            if wire.far not in far:
                faults.append(f"conductor {wire.name} ends at {wire.far}, which is no far pin")
            if wire.pair is not None:
                pairs[wire.pair] = pairs.get(wire.pair, 0) + 1
        faults += [f"pair {pair} has {count} conductors; expected two" for pair, count in pairs.items() if count != 2]
        if faults:
            raise DiagnoseError("; ".join(faults))

    @cached_property
    def pins(self) -> dict[str, tuple[Pin, ...]]:
        """The pins of each connector, in counting order."""
        return {connector.name: pins_on(connector) for connector in (*self.near, *self.far)}

    @cached_property
    def index(self) -> Index:
        """The same design as whole numbers, for the searches; built once."""
        return Index(self)


class Index:
    """A design as whole numbers: pins, connectors and wires counted from 0, near pins first.

    Attributes (all lists are indexed by pin, connector or wire number):
        pins: the pins; `number` is the way back.
        near_pins: how many of them are on the near side.
        home: connector of each pin. row, column: where the pin is in it, from 0. place: where it is in the counting.
        connectors, shape (rows, widest row), grid ((row, column) to pin), order (pins in counting order), lines
            (the rows, or the columns where counting runs down these, as places from first to last), fed (wires that
            end on the connector, by design).
        met: by plug and seat, where each contact of it is; kept by `forward.meets`.
        names, near, far: name and designed pins of each wire. mate: the other wire of its pair, or -1.
    """

    def __init__(self, design: Design) -> None:
        self.connectors: list[Connector] = [*design.near, *design.far]
        self.connector_number = {c.name: i for i, c in enumerate(self.connectors)}
        self.near_connectors = len(design.near)
        self.pins: list[Pin] = []
        self.home: list[int] = []
        self.row: list[int] = []
        self.column: list[int] = []
        self.place: list[int] = []
        self.grid: list[dict[tuple[int, int], int]] = []
        self.order: list[list[int]] = []
        self.lines: list[list[range]] = []
        self.near_pins = 0
        self.met: dict[object, dict[int, int]] = {}
        for number, connector in enumerate(self.connectors):
            if number == self.near_connectors:
                self.near_pins = len(self.pins)
            grid: dict[tuple[int, int], int] = {}
            order: list[int] = []
            layout = connector.layout
            for named in design.pins[connector.name]:
                place = layout.places[named.name]
                pin = len(self.pins)
                self.pins.append(named)
                self.home.append(number)
                self.row.append(place.row - 1)
                self.column.append(place.column - 1)
                self.place.append(place.index)
                grid[place.row - 1, place.column - 1] = pin
                order.append(pin)
            self.grid.append(grid)
            self.order.append(order)
            self.lines.append(_lines(layout))
        if not design.far:
            self.near_pins = len(self.pins)
        self.shape = [(len(c.layout.grid), max(map(len, c.layout.grid))) for c in self.connectors]
        self.number = {pin: i for i, pin in enumerate(self.pins)}
        self.wires = design.conductors
        self.names = [w.name for w in design.conductors]
        self.wire_number = {w.name: i for i, w in enumerate(design.conductors)}
        self.near = [self.number[w.near] for w in design.conductors]
        self.far = [self.number[w.far] for w in design.conductors]
        self.mate = [-1] * len(self.wires)
        self.pair_wires: dict[str, tuple[int, int]] = {}
        first: dict[str, int] = {}
        self.cables: dict[str, list[int]] = {}
        self.fed: list[list[int]] = [[] for _ in self.connectors]
        for i, wire in enumerate(design.conductors):
            self.fed[self.home[self.near[i]]].append(i)
            self.fed[self.home[self.far[i]]].append(i)
            if wire.cable is not None:
                self.cables.setdefault(wire.cable, []).append(i)
            if wire.pair is not None:
                if wire.pair in first:
                    other = first[wire.pair]
                    self.mate[i], self.mate[other] = other, i
                    self.pair_wires[wire.pair] = (other, i)
                else:
                    first[wire.pair] = i

    def side(self, pin: int) -> Side:
        """Which side a pin is on."""
        return "near" if pin < self.near_pins else "far"


def _lines(layout: Layout) -> list[range]:
    """The rows as places in the counting; the columns where pins count down these, the whole where in neither way."""
    places = layout.places.values()
    for line_of in (attrgetter("row"), attrgetter("column")):
        lines: dict[int, list[int]] = {}
        for place in places:
            lines.setdefault(line_of(place), []).append(place.index)
        runs = [range(min(line), max(line) + 1) for line in lines.values()]
        if all(len(run) == len(line) for run, line in zip(runs, lines.values(), strict=True)):
            return sorted(runs, key=attrgetter("start"))
    return [range(len(places))]


class Measured(msgspec.Struct, frozen=True):
    """What the meter found between pins.

    Attributes:
        joins: pairs found conducting, normally a near pin and a far pin; two pins of one side may be given too where
            they were tried.
        not_tested: pins that nobody touched: neither joined nor open.
        crosses: "all" when every tested near pin was tried against every tested far pin, so that a pair that is not
            in ``joins`` was found open. "sampled" when only the pairs in ``joins`` and in ``parted`` were tried; of
            any other pair nothing is known.
        parted: pairs found not conducting. Needed for "sampled"; for "all" only for pairs of one side.
        resistances: ohms read between joined pins, where known.
        limit: largest good resistance of any conductor, in ohms.
        limits: the same by conductor name.

    Raises:
        DiagnoseError: a pair is given as joined and as parted, or a pin with itself.
    """

    joins: frozenset[Join]
    not_tested: frozenset[Pin] = frozenset()
    crosses: Crosses = "all"
    parted: frozenset[Join] = frozenset()
    resistances: Mapping[Join, float] = msgspec.field(default_factory=dict)
    limit: float | None = None
    limits: Mapping[str, float] = msgspec.field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.crosses not in ("all", "sampled"):
            raise DiagnoseError(f"crosses is {self.crosses!r}; expected 'all' or 'sampled'")
        both = {_ordered(j) for j in self.joins} & {_ordered(j) for j in self.parted}
        if both:
            a, b = min(both)
            raise DiagnoseError(f"{a} and {b} are given both as joined and as parted")
        for a, b in (*self.joins, *self.parted):
            if a == b:
                raise DiagnoseError(f"pin {a} is paired with itself; expected two pins")

    def resistance(self, a: Pin, b: Pin) -> float | None:
        """Ohms read between two pins, in either order; None when not known."""
        found = self.resistances.get((a, b))
        return found if found is not None else self.resistances.get((b, a))


def _ordered(join: Join) -> Join:
    a, b = join
    return (a, b) if a <= b else (b, a)
