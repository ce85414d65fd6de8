"""Faults of a plant by name: what a bench file of a simulated plant lists, and what the simulator puts in.

Each is written with its kind under ``fault:``, for example ``{fault: open, conductor: W101.12}``.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

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
    ohms: Resistance = default(Resistance(0.5))


class Short(_Fault, frozen=True, kw_only=True, tag="short"):
    """Two conductors or terminals that touch. A conductor is meant at its ``from`` end."""

    between: tuple[str, str]
    ohms: Resistance = default(Resistance(0.05))


class Leakage(_Fault, frozen=True, kw_only=True, tag="leakage"):
    """A leak between two conductors or terminals, or to an earth point."""

    between: tuple[str, str]
    ohms: Resistance


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


class SlowAmmeter(_Fault, frozen=True, kw_only=True, tag="slow-ammeter"):
    """The supply's current is renewed only so often, however often it is asked for."""

    renews: Duration = default(Duration(4.0))

    def __post_init__(self) -> None:
        if self.renews.value <= 0:
            raise Inconsistent(f"renews {self.renews}", "a time above 0 s")


Fault = (
    Open | HighResistance | Loose | Intermittent | Damaged | Short | Leakage | Exchanged | PairReversed | SplitPair
    | Scrambled | Shifted | ConnectorsExchanged | FeedsCrossed | PolarityReversed | HighResistanceLug
    | SecondEarthPath | BondPoor | BondOpen | ShelfShort | ShelfHeavy | ShelfLight | ShelfDrifts | SlowCapacitor
    | BatteryAt | SupplyStaysOn | BreakerStaysClosed | SupplyLeadsSwapped | DiodeShorted | ShelfCharged | CurrentNoise
    | SlowAmmeter
)  # fmt: skip


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
        if self.named(fault, ("conductor",), fault.conductor, "conductor"):
            places = [place.name for place in places_on(self.plant, fault.conductor)]
            if fault.at not in places:
                self.say(fault, ("at",), f"'{fault.at}'", f"a place of it: {one_of(places)}", near(fault.at, places))

    def damaged(self, fault: Damaged) -> None:
        if not self.named(fault, ("conductor",), fault.conductor, "conductor"):
            return
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
        plant = self.plant
        match fault:
            case Open() | HighResistance() | Loose():
                self.named(fault, ("conductor",), fault.conductor, "conductor")
            case Intermittent():
                self.place_on(fault)
            case Damaged():
                self.damaged(fault)
            case Short() | Leakage():
                self.joinable(fault)
            case Exchanged():
                self.two(fault, "pins", fault.pins, "terminal")
            case PairReversed():
                if self.named(fault, ("cable",), fault.cable, "cable"):
                    self.pair(fault, ("pair",), plant.cables[fault.cable], fault.pair)
            case SplitPair():
                if self.named(fault, ("cable",), fault.cable, "cable"):
                    for number, pair in enumerate(fault.pairs):
                        self.pair(fault, ("pairs", number), plant.cables[fault.cable], pair)
                self.different(fault, "pairs", fault.pairs)
            case Scrambled():
                self.named(fault, ("cable",), fault.cable, "cable")
            case Shifted():
                if self.named(fault, ("connector",), fault.connector, "connector"):
                    widest = max(len(row) for row in plant.connectors[fault.connector].layout.grid)
                    if abs(fault.by) >= widest:
                        self.say(fault, ("by",), f"by {fault.by}", f"less than the {widest} pins of a row")
            case ConnectorsExchanged():
                if self.two(fault, "connectors", fault.connectors, "connector"):
                    one, other = (plant.connectors[name] for name in fault.connectors)
                    if one.layout.grid != other.layout.grid:
                        found = f"{one.name} of type {one.type.name} and {other.name} of type {other.type.name}"
                        self.say(fault, ("connectors",), found, "two connectors with the same pins")
            case FeedsCrossed():
                if self.named(fault, ("shelf",), fault.shelf, "shelf"):
                    for number, feed in enumerate(fault.feeds):
                        self.inlet(fault, ("feeds", number), fault.shelf, feed)
                self.different(fault, "feeds", fault.feeds)
            case PolarityReversed() | ShelfShort() | DiodeShorted():
                if self.named(fault, ("shelf",), fault.shelf, "shelf"):
                    self.inlet(fault, ("feed",), fault.shelf, fault.feed)
            case HighResistanceLug():
                if self.named(fault, ("terminal",), fault.terminal, "terminal") and not _lands(plant, fault.terminal):
                    found = f"'{fault.terminal}', where no conductor ends"
                    self.say(fault, ("terminal",), found, "a terminal with a conductor")
            case SecondEarthPath():
                self.two(fault, "between", fault.between, "terminal")
            case BondPoor() | BondOpen():
                self.named(fault, ("bond",), fault.bond, "bond")
            case ShelfHeavy() | ShelfLight() | ShelfDrifts() | SlowCapacitor() | ShelfCharged():
                self.named(fault, ("shelf",), fault.shelf, "shelf")
            case BatteryAt() | SupplyStaysOn():
                self.named(fault, ("supply",), fault.supply, "supply")
            case BreakerStaysClosed():
                self.named(fault, ("breaker",), fault.breaker, "breaker")
            case SupplyLeadsSwapped() | CurrentNoise() | SlowAmmeter():
                pass


def _lands(plant: Plant, terminal: str) -> bool:
    return terminal in plant.landings or any(terminal in (b.a.name, b.b.name) for b in plant.bonds.values())


def describe(fault: Fault, plant: Plant) -> str:
    """One sentence that says what is wrong.

    Raises:
        UnknownName: the plant does not have what the fault names.
    """
    match fault:
        case Open():
            return f"{_wire(plant, fault.conductor)} is open."
        case HighResistance():
            return f"{_wire(plant, fault.conductor)} reads {fault.ohms} too much."
        case Loose():
            return f"{_wire(plant, fault.conductor)} has a loose contact: it opens once in {fault.period}."
        case Intermittent():
            return f"{_wire(plant, fault.conductor)} opens now and then at {fault.at}, mostly while that is moved."
        case Damaged():
            return f"{_wire(plant, fault.conductor)} touches {fault.to} {fault.at} along its way ({fault.ohms})."
        case Short():
            return f"{fault.between[0]} and {fault.between[1]} touch ({fault.ohms})."
        case Leakage():
            return f"{fault.between[0]} leaks to {fault.between[1]} ({fault.ohms})."
        case Exchanged():
            return f"{_pins(plant, fault.pins)} are exchanged."
        case PairReversed():
            return f"Pair {fault.pair} of cable {fault.cable} is reversed at {_end(plant, fault.cable, fault.end)}."
        case SplitPair():
            end = "both ends" if fault.end == "both" else _end(plant, fault.cable, fault.end)
            return f"Pairs {fault.pairs[0]} and {fault.pairs[1]} of cable {fault.cable} are split at {end}."
        case Scrambled():
            return f"The conductors of cable {fault.cable} are in no order at {_end(plant, fault.cable, fault.end)}."
        case Shifted():
            pins = "1 pin" if abs(fault.by) == 1 else f"{abs(fault.by)} pins"
            way = "right" if fault.by > 0 else "left"
            return f"The plug in {fault.connector} sits {pins} too far to the {way}."
        case ConnectorsExchanged():
            return f"The plugs of {fault.connectors[0]} and {fault.connectors[1]} are exchanged."
        case FeedsCrossed():
            return f"Feeds {fault.feeds[0]} and {fault.feeds[1]} are crossed at shelf {fault.shelf}."
        case PolarityReversed():
            return f"Feed {fault.feed} is reversed at shelf {fault.shelf}: its return is on the feed's terminal."
        case HighResistanceLug():
            return f"The lug on {fault.terminal} is not tight: {fault.ohms} too much."
        case SecondEarthPath():
            return f"A second path of {fault.ohms} joins {fault.between[0]} and {fault.between[1]}."
        case BondPoor():
            return f"{_capital(plant.where(fault.bond))}, reads {fault.ohms} too much."
        case BondOpen():
            return f"{_capital(plant.where(fault.bond))}, is open."
        case ShelfShort():
            return f"Shelf {fault.shelf} is shorted inside on feed {fault.feed} ({fault.ohms})."
        case ShelfHeavy():
            return f"Shelf {fault.shelf} draws {fault.by} too much."
        case ShelfLight():
            return f"Shelf {fault.shelf} draws {fault.by} too little."
        case ShelfDrifts():
            return f"The current of shelf {fault.shelf} creeps up by {fault.by} within {fault.over}."
        case BatteryAt():
            stands = f"at {fault.voltage}" if fault.voltage is not None else f"with {fault.charge} of its charge"
            return f"Supply {fault.supply} stands {stands}."
        case SupplyStaysOn():
            return f"Supply {fault.supply} is on whatever is done at its terminals."
        case BreakerStaysClosed():
            return f"Breaker {fault.breaker} is closed whatever hands do."
        case SupplyLeadsSwapped():
            return "The bench supply's two leads are exchanged."
        case DiodeShorted():
            return f"The diode of feed {fault.feed} in shelf {fault.shelf} is shorted."
        case ShelfCharged():
            return f"The capacitors of shelf {fault.shelf} hold {fault.voltage}."
        case CurrentNoise():
            return f"The supply's current scatters by {fault.noise}, with {fault.ripple} of ripple."
        case SlowAmmeter():
            return f"The supply's current is renewed each {fault.renews}."
        case SlowCapacitor():
            seconds = Duration(fault.capacitance.value * fault.through.value)
            return f"Shelf {fault.shelf} settles late: its input capacitor charges with {seconds}."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _wire(plant: Plant, name: str) -> str:
    return f"Conductor {name} ({plant.where(name)})"


def _pins(plant: Plant, pins: tuple[str, str]) -> str:
    one, other = (plant.terminal(pin) for pin in pins)
    if one.kind == "pin" and one.owner == other.owner:
        return f"Pins {one.pin} and {other.pin} of {one.owner}"
    return f"{one.name} and {other.name}"


def _end(plant: Plant, name: str, end: str) -> str:
    cable = plant.cables[name]
    owners = cable.near if end == "near" else cable.far
    return f"the {end} end ({', '.join(owners)})" if owners else f"the {end} end"
