"""Faults of a plant by name: what a bench file of a simulated plant lists, and what the simulator puts in.

Each is written with its kind under ``fault:``, for example ``{fault: open, conductor: W101.12}``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, Literal

import msgspec

from bench.files import Inconsistent, Places, Problem, near, one_of
from bench.plant.file import default
from bench.plant.loose_places import places_on
from bench.plant.model import Plant
from bench.plant.things import Cable
from bench.quantity import Capacitance, Current, Duration, Frequency, Length, Ratio, Resistance, Temperature, Voltage

Side = Literal["near", "far"]


class _Fault(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", tag_field="fault"):
    pass


class BrokenLead(msgspec.Struct, frozen=True, kw_only=True, rename="kebab"):
    """A test lead of the simulated bench that breaks: what is read through it is open from then on."""

    of: Literal["ohms", "insulation", "volts"]
    after: int = 0
    """How many times the leads are placed before it breaks."""

    def __post_init__(self) -> None:
        if self.after < 0:
            raise Inconsistent(f"after {self.after}", "0 or more placings")


class Open(_Fault, frozen=True, kw_only=True, tag="open"):
    """A conductor that does not get through."""

    conductor: str


class HighResistance(_Fault, frozen=True, kw_only=True, tag="high-resistance"):
    """A conductor that gets through with more resistance than it should."""

    conductor: str
    ohms: Resistance


class Loose(_Fault, frozen=True, kw_only=True, tag="loose"):
    """A conductor that opens and closes: once in each period, at a moment that the seed chooses."""

    conductor: str
    period: Duration = default(Duration(4.0))
    open: Ratio = default(Ratio(0.25))
    """The part of each period for which it is open."""
    seed: int = 1

    def __post_init__(self) -> None:
        if self.period.value <= 0:
            raise Inconsistent(f"period {self.period}", "a period above 0 s")
        if not 0 < self.open.value < 1:
            raise Inconsistent(f"open {self.open}", "more than 0 % and less than 100 %")


class Intermittent(_Fault, frozen=True, kw_only=True, tag="intermittent"):
    """A contact at a named place of a conductor that opens now and then: mostly while it or its neighbour is moved."""

    conductor: str
    at: str
    """The place: a plug ``J101``, what is fixed at a pin ``J101.12``, or a stretch ``W101 in T1.2``."""
    moved: Frequency = default(Frequency(0.3))
    """How often it opens while it is moved."""
    neighbour: Ratio = default(Ratio(0.3))
    """The part of that for each place further along that is moved in its stead."""
    alone: Duration = default(Duration(600.0))
    """How long it holds by itself, on average."""
    lasts: Duration = default(Duration(0.12))
    """How long it stays open, on average."""
    warm: Temperature | None = None
    """In a hall as warm as this it opens ten times as often by itself."""
    seed: int = 1

    def __post_init__(self) -> None:
        for name in ("moved", "alone", "lasts"):
            if getattr(self, name).value <= 0:
                raise Inconsistent(f"{name} {getattr(self, name)}", "more than 0")
        if not 0 <= self.neighbour.value <= 1:
            raise Inconsistent(f"neighbour {self.neighbour}", "0 % to 100 %")


class Damaged(_Fault, frozen=True, kw_only=True, tag="damaged"):
    """A conductor whose insulation is gone at a distance from its ``from`` end: it touches another one, or earth."""

    conductor: str
    to: str
    """Another conductor of the same cable, which is bare at the same place, or a terminal."""
    at: Length
    """From its ``from`` end."""
    ohms: Resistance = default(Resistance(0.5))


class Cut(_Fault, frozen=True, kw_only=True, tag="cut"):
    """A conductor that is broken at a distance from its ``from`` end: each piece keeps its own capacitance."""

    conductor: str
    at: Length
    ohms: Resistance | None = None
    """What is left between the two ends, such as a corroded joint; nothing where it is not said."""


class SlowJoint(_Fault, frozen=True, kw_only=True, tag="slow-joint"):
    """A joint on a conductor that gets worse as time goes: it corrodes, or its screw lets go."""

    conductor: str
    ohms: Resistance
    """What it adds at first."""
    doubles: Duration = default(Duration(30 * 86_400.0))
    """So long until it adds twice that, and so on."""
    most: Resistance = default(Resistance(10.0))
    """It adds no more than this."""

    def __post_init__(self) -> None:
        if self.doubles.value <= 0 or not 0 < self.ohms.value <= self.most.value:
            raise Inconsistent(f"{self.ohms} that doubles in {self.doubles}", "above 0 both, and at most 'most'")


class Hums(_Fault, frozen=True, kw_only=True, tag="hums"):
    """A shelf's converter that puts a tone of its own on its inlets: a capacitor of its filter has gone."""

    shelf: str
    frequency: Frequency = default(Frequency(3170.0))
    volts: Voltage = default(Voltage(0.05))
    """Root mean square at its own inlets; elsewhere on the same feed a tenth of it arrives."""

    def __post_init__(self) -> None:
        if self.frequency.value <= 0 or self.volts.value <= 0:
            raise Inconsistent(f"{self.volts} at {self.frequency}", "above 0 both")


class Short(_Fault, frozen=True, kw_only=True, tag="short"):
    """Two conductors or terminals that touch. A conductor is meant at its ``from`` end."""

    between: tuple[str, str]
    ohms: Resistance = default(Resistance(0.05))


class Leakage(_Fault, frozen=True, kw_only=True, tag="leakage"):
    """A leak between two conductors or terminals, or to an earth point."""

    between: tuple[str, str]
    ohms: Resistance
    """In a hall of 50 % relative humidity, where that matters to it."""
    humid: Ratio | None = None
    """The hall's relative humidity, on average; without it the leak is as it is."""
    swing: Ratio = default(Ratio(0.0))
    """How far that swings with the day, either way."""
    halves: Ratio = default(Ratio(0.1))
    """By so much more humidity its resistance halves (our own figure: dirt and damp wool do it in 5 % to 15 %)."""

    def __post_init__(self) -> None:
        if not 0 < self.halves.value <= 1 or (self.humid is not None and not 0 <= self.humid.value <= 1):
            raise Inconsistent(f"humid {self.humid}, halves {self.halves}", "parts from 0 % to 100 %")

    def at(self, seconds: float) -> float:
        """Its resistance at a number of seconds after midnight, in ohms: the hall is dampest at six in the morning."""
        if self.humid is None:
            return self.ohms.value
        damp = self.humid.value + self.swing.value * math.cos(math.tau * (seconds / 86_400.0 - 0.25))
        return float(self.ohms.value * 2.0 ** ((0.5 - damp) / self.halves.value))


class Exchanged(_Fault, frozen=True, kw_only=True, tag="exchanged"):
    """What should be on one pin is on the other, and the other way round."""

    pins: tuple[str, str]


class PairReversed(_Fault, frozen=True, kw_only=True, tag="pair-reversed"):
    """Tip and ring of a pair are exchanged at one end."""

    cable: str
    pair: int
    end: Side = "far"


class SplitPair(_Fault, frozen=True, kw_only=True, tag="split-pair"):
    """The rings of two pairs are exchanged: at one end, or at both, where no continuity test can see it."""

    cable: str
    pairs: tuple[int, int]
    end: Literal["near", "far", "both"] = "far"


class Scrambled(_Fault, frozen=True, kw_only=True, tag="scrambled"):
    """The conductors of a cable's end are in any order: labels lost. The seed chooses the order."""

    cable: str
    end: Side = "far"
    seed: int = 1


class Shifted(_Fault, frozen=True, kw_only=True, tag="shifted"):
    """A plug sits some pins to the right along the rows; what falls off the end touches nothing."""

    connector: str
    by: int

    def __post_init__(self) -> None:
        if self.by == 0:
            raise Inconsistent("by 0", "1 or more pins to the right, or -1 or less to the left")


class ConnectorsExchanged(_Fault, frozen=True, kw_only=True, tag="connectors-exchanged"):
    """Two plugs sit in each other's connector."""

    connectors: tuple[str, str]


class FeedsCrossed(_Fault, frozen=True, kw_only=True, tag="feeds-crossed"):
    """Two feeds arrive at each other's inlet of a shelf, with their returns."""

    shelf: str
    feeds: tuple[str, str] = ("A", "B")


class PolarityReversed(_Fault, frozen=True, kw_only=True, tag="polarity-reversed"):
    """Feed and return are exchanged at a shelf's inlet."""

    shelf: str
    feed: str


class HighResistanceLug(_Fault, frozen=True, kw_only=True, tag="high-resistance-lug"):
    """A lug or screw that is not tight: more resistance for what lands on the terminal."""

    terminal: str
    ohms: Resistance


class SecondEarthPath(_Fault, frozen=True, kw_only=True, tag="second-earth-path"):
    """A path between two earth points that the design does not have."""

    between: tuple[str, str]
    ohms: Resistance


class BondPoor(_Fault, frozen=True, kw_only=True, tag="bond-poor"):
    """A bond with more resistance than it should have."""

    bond: str
    ohms: Resistance


class BondOpen(_Fault, frozen=True, kw_only=True, tag="bond-open"):
    """A bond that does not conduct."""

    bond: str


class ShelfShort(_Fault, frozen=True, kw_only=True, tag="shelf-short"):
    """A shelf's inlet is shorted inside the shelf, feed to return."""

    shelf: str
    feed: str
    ohms: Resistance = default(Resistance(0.2))


class ShelfHeavy(_Fault, frozen=True, kw_only=True, tag="shelf-heavy"):
    """A shelf draws more than its cards should."""

    shelf: str
    by: Current


class ShelfLight(_Fault, frozen=True, kw_only=True, tag="shelf-light"):
    """A shelf draws less than its cards should."""

    shelf: str
    by: Current


class ShelfDrifts(_Fault, frozen=True, kw_only=True, tag="shelf-drifts"):
    """A shelf whose current creeps up as it runs."""

    shelf: str
    by: Current
    over: Duration = default(Duration(120.0))
    """How long that takes, from switching on."""

    def __post_init__(self) -> None:
        if self.over.value <= 0:
            raise Inconsistent(f"over {self.over}", "a time above 0 s")


class SlowCapacitor(_Fault, frozen=True, kw_only=True, tag="slow-capacitor"):
    """A shelf's input capacitor that charges slowly, so that the current settles late."""

    shelf: str
    capacitance: Capacitance = default(Capacitance(0.01))
    through: Resistance = default(Resistance(1000.0))
    """The resistance that it charges through; the time constant is the product."""


class BatteryAt(_Fault, frozen=True, kw_only=True, tag="battery-at"):
    """A supply of the plant that stands at another voltage than the plant file says, or a battery by its charge."""

    supply: str
    voltage: Voltage | None = None
    """Without sign."""
    charge: Ratio | None = None
    """How full a lead-acid battery is, at rest: 1.95 V to 2.13 V a cell, and its resistance doubles as it empties
    (common practice, no source). Cells of 2 V are counted from the feed's nominal voltage."""

    def __post_init__(self) -> None:
        if (self.voltage is None) == (self.charge is None):
            raise Inconsistent("'voltage' and 'charge' both or neither", "one of them")


class SupplyStaysOn(_Fault, frozen=True, kw_only=True, tag="supply-stays-on"):
    """A supply of the plant that stays on whatever is done at its terminals: the label is on another one."""

    supply: str


class BreakerStaysClosed(_Fault, frozen=True, kw_only=True, tag="breaker-stays-closed"):
    """A breaker that is closed whatever hands say: welded, overlooked, or another one was opened."""

    breaker: str


class SupplyLeadsSwapped(_Fault, frozen=True, kw_only=True, tag="supply-leads-swapped"):
    """The bench supply's two leads are exchanged wherever they go."""


class DiodeShorted(_Fault, frozen=True, kw_only=True, tag="diode-shorted"):
    """The diode of an inlet conducts both ways: with a card in, the inlet stands at what the other feed brings."""

    shelf: str
    feed: str


class ShelfCharged(_Fault, frozen=True, kw_only=True, tag="shelf-charged"):
    """A shelf's capacitors hold a charge from before, behind the diodes where no inlet shows it."""

    shelf: str
    voltage: Voltage


class CurrentNoise(_Fault, frozen=True, kw_only=True, tag="current-noise"):
    """What the current readings of the bench supply scatter by, and the ripple that they alias."""

    noise: Current = default(Current(0.005))
    """Standard deviation."""
    ripple: Current = default(Current(0.0))
    """Amplitude."""
    frequency: Frequency = default(Frequency(100.0))
    """Of the ripple."""


class SlowAmmeter(_Fault, frozen=True, kw_only=True, tag="slow-ammeter"):
    """The supply's current has a new value only now and then, however often it is asked for."""

    renews: Duration = default(Duration(4.0))
    """From one new value to the next."""

    def __post_init__(self) -> None:
        if self.renews.value <= 0:
            raise Inconsistent(f"renews {self.renews}", "a time above 0 s")


Fault = (
    Open | HighResistance | Loose | Intermittent | Damaged | Cut | SlowJoint | Hums | Short | Leakage | Exchanged
    | PairReversed | SplitPair
    | Scrambled | Shifted | ConnectorsExchanged | FeedsCrossed | PolarityReversed | HighResistanceLug
    | SecondEarthPath | BondPoor | BondOpen | ShelfShort | ShelfHeavy | ShelfLight | ShelfDrifts | SlowCapacitor
    | BatteryAt | SupplyStaysOn | BreakerStaysClosed | SupplyLeadsSwapped | DiodeShorted | ShelfCharged | CurrentNoise
    | SlowAmmeter
)  # fmt: skip


_NAMED: Final = ("conductor", "cable", "connector", "shelf", "terminal", "bond", "supply", "breaker")
"""Fields by which a fault names the one thing that it is about; each is called as what it names."""


def check_faults(faults: Sequence[Fault], plant: Plant, places: Places) -> list[Problem]:
    """Every name in the faults that the plant does not have, and every fault that it cannot have.

    Args:
        faults: as they were read.
        plant: the plant they are about.
        places: of the file that the faults stand in.
    """
    check = _Check(plant, places)
    for fault in faults:
        check.one(fault)
    return check.problems


class _Check:
    """Collects what is wrong with faults."""

    def __init__(self, plant: Plant, places: Places) -> None:
        self.plant = plant
        self.places = places
        self.problems: list[Problem] = []

    def say(self, fault: Fault, steps: tuple[str | int, ...], found: str, expected: str, hint: str = "") -> None:
        path = "".join(f"[{step}]" if isinstance(step, int) else step for step in steps)
        self.problems.append(Problem(self.places.of(fault, *steps), path, found, expected, hint))

    def named(self, fault: Fault, steps: tuple[str | int, ...], name: str, kind: str) -> bool:
        """Whether a name is that of a thing of a kind: the plant's mapping ``<kind>s`` has it."""
        known = getattr(self.plant, {"shelf": "shelves", "earth point": "earth_points"}.get(kind, f"{kind}s"))
        if name in known:
            return True
        hint = near(name, known)
        if "." in name and kind in ("conductor", "terminal"):
            hint = self.plant.near(name)
        expected = f"a {kind}, {one_of(known)}" if len(known) <= 12 else f"the name of a {kind}"
        self.say(fault, steps, f"'{name}'", expected, hint)
        return False

    def two(self, fault: Fault, step: str, names: tuple[str, str], kind: str) -> bool:
        known = [self.named(fault, (step, number), name, kind) for number, name in enumerate(names)]
        return all(known) and self.different(fault, step, names)

    def different(self, fault: Fault, step: str, names: tuple[str | int, str | int]) -> bool:
        if names[0] == names[1]:
            self.say(fault, (step, 1), f"'{names[1]}' twice", "two different ones")
            return False
        return True

    def place_on(self, fault: Intermittent) -> None:
        places = [place.name for place in places_on(self.plant, fault.conductor)]
        if fault.at not in places:
            self.say(fault, ("at",), f"'{fault.at}'", f"a place of it: {one_of(places)}", near(fault.at, places))

    def damaged(self, fault: Damaged) -> None:
        conductor = self.plant.conductors[fault.conductor]
        if not 0 < fault.at.value < conductor.length_m:
            self.say(fault, ("at",), f"at {fault.at}", f"a place within its {conductor.length_m:g} m")
        other = self.plant.conductors.get(fault.to)
        if other is None and fault.to not in self.plant.terminals:
            hint = self.plant.near(fault.to)
            self.say(fault, ("to",), f"'{fault.to}'", "a conductor of the same cable, or a terminal", hint)
        elif other is not None and (other.cable != conductor.cable or other is conductor):
            self.say(fault, ("to",), f"'{fault.to}'", f"another conductor of {conductor.cable}")

    def joinable(self, fault: Short | Leakage) -> None:
        good = True
        for number, name in enumerate(fault.between):
            if name not in self.plant.conductors and name not in self.plant.terminals:
                hint = self.plant.near(name)
                self.say(fault, ("between", number), f"'{name}'", "a conductor, a terminal or an earth point", hint)
                good = False
        if good:
            self.different(fault, "between", fault.between)

    def pair(self, fault: Fault, steps: tuple[str | int, ...], cable: Cable, pair: int) -> None:
        pairs = cable.type.pairs
        if pairs is None:
            self.say(fault, ("cable",), f"'{cable.name}', which has no pairs", "a cable with pairs")
        elif not 1 <= pair <= pairs:
            self.say(fault, steps, f"pair {pair}", f"a pair from 1 to {pairs}")

    def inlet(self, fault: Fault, step: tuple[str | int, ...], shelf: str, feed: str) -> None:
        inlets = self.plant.shelves[shelf].inlets
        if feed not in {inlet.feed for inlet in inlets}:
            expected = one_of(inlet.feed for inlet in inlets)
            self.say(fault, step, f"feed '{feed}' at shelf {shelf}", expected)

    def one(self, fault: Fault) -> None:
        """Check one fault: what it names, then whether that can have it."""
        kind = next((kind for kind in _NAMED if kind in fault.__struct_fields__), None)
        if kind is None or self.named(fault, (kind,), getattr(fault, kind), kind):
            self.fitting(fault)
        if isinstance(fault, SplitPair):
            self.different(fault, "pairs", fault.pairs)
        if isinstance(fault, FeedsCrossed):
            self.different(fault, "feeds", fault.feeds)

    def fitting(self, fault: Fault) -> None:
        """What a fault says beyond the thing that it names, which the plant has."""
        plant = self.plant
        match fault:
            case Intermittent():
                self.place_on(fault)
            case Damaged():
                self.damaged(fault)
            case Cut():
                length = plant.conductors[fault.conductor].length_m
                if not 0 < fault.at.value < length:
                    self.say(fault, ("at",), f"at {fault.at}", f"a place within its {length:g} m")
            case Short() | Leakage():
                self.joinable(fault)
            case Exchanged():
                self.two(fault, "pins", fault.pins, "terminal")
            case SecondEarthPath():
                self.two(fault, "between", fault.between, "terminal")
            case PairReversed():
                self.pair(fault, ("pair",), plant.cables[fault.cable], fault.pair)
            case SplitPair():
                for number, pair in enumerate(fault.pairs):
                    self.pair(fault, ("pairs", number), plant.cables[fault.cable], pair)
            case Shifted():
                widest = max(len(row) for row in plant.connectors[fault.connector].layout.grid)
                if abs(fault.by) >= widest:
                    self.say(fault, ("by",), f"by {fault.by}", f"less than the {widest} pins of a row")
            case ConnectorsExchanged():
                self.exchangeable(fault)
            case FeedsCrossed():
                for number, feed in enumerate(fault.feeds):
                    self.inlet(fault, ("feeds", number), fault.shelf, feed)
            case PolarityReversed() | ShelfShort() | DiodeShorted():
                self.inlet(fault, ("feed",), fault.shelf, fault.feed)
            case HighResistanceLug() if not _lands(plant, fault.terminal):
                found = f"'{fault.terminal}', where no conductor ends"
                self.say(fault, ("terminal",), found, "a terminal with a conductor")
            case _:
                pass

    def exchangeable(self, fault: ConnectorsExchanged) -> None:
        if self.two(fault, "connectors", fault.connectors, "connector"):
            one, other = (self.plant.connectors[name] for name in fault.connectors)
            if one.layout.grid != other.layout.grid:
                found = f"{one.name} of type {one.type.name} and {other.name} of type {other.type.name}"
                self.say(fault, ("connectors",), found, "two connectors with the same pins")


def _lands(plant: Plant, terminal: str) -> bool:
    return terminal in plant.landings or any(terminal in (b.a.name, b.b.name) for b in plant.bonds.values())
