"""The plant file: what a person writes, field by field. A record stores the same types as JSON.

Names are plain (letters, digits, ``-``, ``_``, ``+``) and each is used once in the whole plant, whatever it names.
Everything that a conductor can end on is a *terminal* and is written ``OWNER.PIN``:

- ``J101.12``: pin 12 of connector J101;
- ``F21.line`` and ``F21.load``: the two sides of a breaker;
- ``1A.A`` and ``1A.A-return``: the inlet of shelf 1A for feed A, and its return;
- ``G1.feed`` and ``G1.return``: the two poles of a supply;
- ``BA``: a busbar as one piece, and ``BA.3``: its stud 3 (studs need not be listed beforehand);
- ``E4``: an earth point, and ``E4.2``: its stud 2.

Evolution: a new field has a default; a field is never renamed and never changes its meaning.
"""

from __future__ import annotations

from typing import Final, Literal, TypeVar

import msgspec

from bench.files import Inconsistent
from bench.plant.size import Size
from bench.quantity import (
    Capacitance,
    CapacitancePerLength,
    Current,
    Length,
    Ratio,
    Resistance,
    Temperature,
    Voltage,
)

Status = Literal["known", "claimed", "unknown"]
"""What is known of a cable's end: ``known`` for sure; ``claimed`` by a label or a drawing; ``unknown``."""

Ends = str | list[str]
"""Where the conductors of a cable's end land, in order: a connector takes as many as it has pins, a terminal takes one;
``cut`` or ``unknown`` stands for all that are left."""

CUT: Final = "cut"
UNKNOWN: Final = "unknown"

Q = TypeVar("Q")


class _Entry(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    pass


class ContactResistance(_Entry, frozen=True, kw_only=True):
    """Resistance of one contact."""

    typical: Resistance
    most: Resistance
    """What is still accepted."""

    def __post_init__(self) -> None:
        if self.most.value < self.typical.value:
            raise Inconsistent(f"most {self.most} below typical {self.typical}", "typical no more than most")


def default(value: Q) -> Q:
    """A field's default. A factory, since a quantity as a plain default cannot be written into the JSON Schema."""
    return msgspec.field(default_factory=lambda: value)


def _contact(typical: float, most: float) -> ContactResistance:
    return ContactResistance(typical=Resistance(typical), most=Resistance(most))


class Contacts(_Entry, frozen=True, kw_only=True):
    """Contact resistances where nothing more special is said. The defaults are common practice, no source."""

    pin: ContactResistance = default(_contact(0.005, 0.030))
    """A connector's pin in its socket, with its termination."""
    lug: ContactResistance = default(_contact(0.0002, 0.002))
    """A lug on a stud, a screw terminal."""
    breaker: ContactResistance = default(_contact(0.004, 0.015))
    """A closed breaker, terminal to terminal."""


class ConnectorType(_Entry, frozen=True, kw_only=True):
    """A kind of connector: how its pins lie and are counted.

    Either ``pins`` with a number of ``rows``, or ``rows`` written out pin by pin.
    """

    name: str
    title: str = ""
    pins: int | None = None
    rows: int | list[list[str]] = 1
    numbering: Literal["along-rows", "down-columns", "snake"] = "along-rows"
    """How generated pins count: row after row, column after column, or row after row with every second backwards."""
    view: Literal["mating", "wiring"] = "mating"
    """The side from which the rows are written, left to right and top to bottom."""
    stagger: Ratio = default(Ratio(0.0))
    """How far every second row is moved to the right, as a part of the pin pitch."""
    pairs: Literal["adjacent", "halves"] = "adjacent"
    """Where a pair lands. adjacent: tip of pair n on the pin counted 2n - 1, ring on the next. halves: ring of pair n
    on pin n of the first half, tip on pin n of the second half (the 50-position micro-ribbon convention)."""
    contact: ContactResistance | None = None

    def __post_init__(self) -> None:
        if isinstance(self.rows, int):
            if self.pins is None:
                raise Inconsistent(f"connector type '{self.name}' without 'pins'", "'pins', or 'rows' written out")
            if not 1 <= self.pins <= 1000:
                raise Inconsistent(f"{self.pins} pins", "1 to 1000 pins")
            if self.rows < 1 or self.pins % self.rows:
                raise Inconsistent(
                    f"{self.pins} pins in {self.rows} rows", "rows of equal length, or 'rows' written out"
                )
            if self.pairs == "halves" and self.pins % 2:
                raise Inconsistent(f"{self.pins} pins with pairs in halves", "an even number of pins")
            return
        listed = [pin for row in self.rows for pin in row]
        if not listed or not all(self.rows):
            raise Inconsistent("a row without pins", "at least one pin in each row")
        if self.pins is not None and self.pins != len(listed):
            raise Inconsistent(f"pins {self.pins} beside rows with {len(listed)} pins", "the same number, or no 'pins'")
        twice = sorted({pin for pin in listed if listed.count(pin) > 1})
        if twice:
            raise Inconsistent(f"pin {', '.join(twice)} more than once", "each pin once")
        if self.pairs == "halves" and len(listed) % 2:
            raise Inconsistent(f"{len(listed)} pins with pairs in halves", "an even number of pins")


class CableType(_Entry, frozen=True, kw_only=True):
    """A kind of cable: its conductors and what they are made of."""

    name: str
    title: str = ""
    pairs: int | None = None
    conductors: int | None = None
    """The number of conductors where they are not paired."""
    colours: Literal["pair-code", "numbered"] | list[str] | None = None
    """``pair-code``: the telephone pair colours; ``numbered``: printed numbers; or a list with one entry for each
    conductor, in letters of IEC 60757 (``BK``, ``GNYE``) or in words. Pairs default to the pair code."""
    size: Size
    made_of: Literal["copper", "tinned copper", "aluminium"] = "copper"
    strands: Literal[1, 2, 5] = msgspec.field(default=1, name="class")
    """Class of IEC 60228: 1 solid, 2 stranded, 5 flexible."""
    capacitance: CapacitancePerLength = default(CapacitancePerLength(100e-12))
    """Between the legs of a pair, or between neighbours."""
    rated: Voltage = default(Voltage(250.0))
    """What the insulation is made for."""
    screen: Size | None = None
    """The size of the drain wire, for a screened cable."""

    def __post_init__(self) -> None:
        if self.pairs is not None and self.conductors is not None:
            raise Inconsistent("'pairs' and 'conductors' together", "one of them")
        listed = len(self.colours) if isinstance(self.colours, list) else None
        count = 2 * self.pairs if self.pairs is not None else self.conductors
        if count is None and listed is None:
            raise Inconsistent(
                f"cable type '{self.name}' without conductors", "'pairs', 'conductors' or listed colours"
            )
        if count is not None and not 1 <= count <= 1200:
            raise Inconsistent(f"{count} conductors", "1 to 1200 conductors")
        if listed is not None and count is not None and listed != count:
            raise Inconsistent(f"{listed} colours for {count} conductors", f"{count} colours")
        if self.colours == "pair-code" and self.pairs is None:
            raise Inconsistent("the pair code without 'pairs'", "'pairs'")

    @property
    def count(self) -> int:
        """The number of conductors, the screen not counted."""
        if self.pairs is not None:
            return 2 * self.pairs
        if self.conductors is not None:
            return self.conductors
        assert isinstance(self.colours, list)
        return len(self.colours)


STARTS_AT: Final = 0.8
"""Of its guaranteed range a converter may start at this part: 32.5 V of 40.5 V (makers' data, read)."""
STOPS_AT: Final = 0.94
"""And go on down to this part of what it starts at: 30.5 V of 32.5 V (makers' data, read)."""


class CardType(_Entry, frozen=True, kw_only=True):
    """A kind of card, and what it draws when it idles."""

    name: str
    title: str = ""
    idle: Current
    """At the feed's nominal voltage."""
    spread: Ratio = default(Ratio(0.1))
    """How far a sound card may be off, either way."""
    load: Literal["constant-power", "resistive"] = "constant-power"
    converter: bool | None = None
    """Whether it feeds the shelf's other cards: at first power it goes in before them, on a dummy load. Where nothing
    is said, a type with 'converter' in its title is one."""
    input_capacitance: Capacitance | None = None
    """Charged at switch-on: the inrush."""
    turns_on: Voltage | None = None
    """The least voltage that such a card may start at, without sign; below it draws next to nothing. A converter starts
    well below the range that it is guaranteed for: types for 36 to 75 V at 32.5 to 35.5 V (makers' data)."""
    turns_off: Voltage | None = None
    """The least voltage at which such a card may go on running once it has started, without sign: 1 to 3 V below what
    it starts at, for types for 36 to 75 V (makers' data)."""
    works_from: Voltage = default(Voltage(40.5))
    """The lowest feed voltage that it is guaranteed for, without sign: it turns on below, nobody knows where."""
    works_to: Voltage = default(Voltage(57.0))
    """The highest feed voltage that it bears, without sign."""
    keeps: str = ""
    """What it holds that cannot be bought again, such as ``programme of the exchange, on a disc``: it is copied, and
    the copy read back, before its shelf gets power."""

    def __post_init__(self) -> None:
        if self.idle.value < 0:
            raise Inconsistent(f"idle {self.idle}", "an idle current without sign")
        if not 0 <= self.works_from.value < self.works_to.value:
            raise Inconsistent(
                f"works-from {self.works_from}, works-to {self.works_to}",
                "works-from below works-to, both without sign",
            )
        if not 0 <= self.spread.value < 1:
            raise Inconsistent(f"spread {self.spread}", "0 % to 99 %")
        if self.turns_on is not None and not 0 < self.turns_on.value <= self.works_from.value:
            raise Inconsistent(f"turns-on {self.turns_on}", f"above 0 V, and at most works-from {self.works_from}")
        if self.turns_off is not None and not 0 < self.turns_off.value <= self.starts_from:
            raise Inconsistent(
                f"turns-off {self.turns_off}", f"above 0 V, and at most {self.starts_from:g} V, turns-on"
            )

    @property
    def starts_from(self) -> float:
        """The least volts that it may start at; where nothing is said, a part of what it is guaranteed for."""
        return self.turns_on.value if self.turns_on is not None else STARTS_AT * self.works_from.value

    @property
    def runs_down_to(self) -> float:
        """The least volts that it may go on at once it runs; where nothing is said, a part of what it starts at."""
        return self.turns_off.value if self.turns_off is not None else STOPS_AT * self.starts_from

    @property
    def converts(self) -> bool:
        """Whether it is the shelf's converter."""
        return "converter" in self.title.casefold() if self.converter is None else self.converter


class Connector(_Entry, frozen=True, kw_only=True):
    """A connector on a shelf."""

    name: str
    type: str
    at: str = ""
    """Where on the shelf, in words: ``left``, ``third from the left``."""
    faces: Literal["front", "rear"] = "rear"


class _Holder(_Entry, frozen=True, kw_only=True):
    name: str
    title: str = ""
    slots: int = 0
    cards: dict[str, str] = {}
    """Slot number, or a span such as ``1-6``, to card type."""
    inlets: list[str] = []
    """The feeds that come in here; each makes two terminals, such as ``1A.A`` and ``1A.A-return``."""
    connectors: list[Connector] = []

    def __post_init__(self) -> None:
        if not 0 <= self.slots <= 200:
            raise Inconsistent(f"{self.slots} slots", "0 to 200 slots")


class HalfShelf(_Holder, frozen=True, kw_only=True):
    """One half of a shelf, with slots and inlets of its own. Its name begins with the shelf's: ``2C-L``."""


class Shelf(_Holder, frozen=True, kw_only=True):
    """A shelf of a bay; written from the top down."""

    halves: list[HalfShelf] = []


class Bay(_Entry, frozen=True, kw_only=True):
    """A bay: a rack with shelves."""

    name: str
    title: str = ""
    shelves: list[Shelf] = []


class Feed(_Entry, frozen=True, kw_only=True):
    """A supply that is distributed, such as A or B."""

    name: str
    title: str = ""
    nominal: Voltage
    """With its sign, against its return."""
    allowed: tuple[Voltage, Voltage]
    """At the equipment: lowest and highest, as numbers: ``[-57 V, -40.5 V]``."""
    back: str = msgspec.field(default="", name="return")
    """The busbar that is its return."""
    drop: Voltage | None = None
    """What may be lost between supply and shelf, there and back."""

    def __post_init__(self) -> None:
        low, high = self.allowed
        if low.value >= high.value:
            raise Inconsistent(f"allowed {low} to {high}", "the lower number first, such as [-57 V, -40.5 V]")
        if not low.value <= self.nominal.value <= high.value:
            hint = ", with the same sign" if self.nominal.value * low.value < 0 else ""
            raise Inconsistent(f"nominal {self.nominal}", f"a voltage within the allowed {low} to {high}{hint}")
        if low.value < 0 < high.value:
            raise Inconsistent(f"allowed {low} to {high}", "a range on one side of zero")


class Supply(_Entry, frozen=True, kw_only=True):
    """Where a feed comes from: a battery, a rectifier, a bench supply."""

    name: str
    title: str = ""
    feed: str
    kind: Literal["battery", "rectifier", "bench"] = "bench"
    voltage: Voltage | None = None
    """The feed's nominal voltage by default."""
    resistance: Resistance = default(Resistance(0.01))
    current_limit: Current | None = None
    fuse: Current | None = None
    """The fuse at its own terminals, in the feed's pole."""
    fuse_breaks: Current | None = None
    """The direct current that this fuse breaks at this voltage, by its maker."""
    at: str = ""
    """The bay or shelf where it stands; may be empty."""
    position: str = ""
    """Where there, in words."""


class Busbar(_Entry, frozen=True, kw_only=True):
    """A busbar: one node with any number of studs. A stud is a bolt that a lug goes on; it is named where something is
    bolted to it, ``BA.3`` for the third of bar BA, and needs no entry of its own."""

    name: str
    title: str = ""
    feed: str = ""
    """Empty for a return bar that all feeds have in common."""
    pole: Literal["feed", "return"] = "feed"
    resistance: Resistance = default(Resistance(50e-6))
    """From a stud to the middle of the bar."""
    at: str = ""
    """The bay or shelf where it sits."""
    position: str = ""
    """Where there, in words."""

    def __post_init__(self) -> None:
        if self.pole == "feed" and not self.feed:
            raise Inconsistent(f"busbar '{self.name}' of no feed", "'feed', or the pole 'return'")


class Breaker(_Entry, frozen=True, kw_only=True):
    """A breaker or fuse in the feed."""

    name: str
    title: str = ""
    feed: str
    rating: Current
    trips: Literal["B", "C", "D", "fuse"] = "C"
    """Characteristic of IEC 60898-1, or a fuse."""
    breaks: Current | None = None
    """The direct current that it breaks at this voltage, by its maker."""
    selective: Current | None = None
    """Up to this current the device before it stays closed when this one opens, by the makers' table."""
    at: str = ""
    """The bay or shelf where it sits."""
    position: str = ""
    """Where there, in words."""
    line_on: str = ""
    """The busbar stud that its line side is bolted to, such as ``BA.3``; empty where a cable comes to its line side.
    The line side is where the current comes from."""
    load_on: str = ""
    """The busbar stud that its load side is bolted to; empty where a cable leaves from its load side, as usual. The
    load side is dead while the breaker is open, and nothing else feeds it."""
    contact: ContactResistance | None = None

    def __post_init__(self) -> None:
        if self.rating.value <= 0:
            raise Inconsistent(f"rating {self.rating}", "a rating above 0 A")


class Section(_Entry, frozen=True, kw_only=True):
    """A section of a cable tray."""

    name: str
    title: str = ""
    length: Length | None = None


class Tray(_Entry, frozen=True, kw_only=True):
    """A cable tray, section by section."""

    name: str
    title: str = ""
    sections: list[Section] = []


class ConductorEntry(_Entry, frozen=True, kw_only=True):
    """What is special about one conductor; also one line of a pin list."""

    conductor: str
    """Its number in the cable, or a pair with its leg: ``17T``, ``17R``."""
    start: str = msgspec.field(default="", name="from")
    """A pin of the cable's connector, a terminal, ``cut`` or ``unknown``."""
    end: str = msgspec.field(default="", name="to")
    """The same of its far end. ``cut``: it was cut off, or nobody landed it, and it hangs; ``unknown``: it goes
    somewhere, and nobody knows where."""
    colour: str = ""
    status: Status | None = None
    """Of both ends."""
    from_status: Status | None = None
    to_status: Status | None = None
    from_flag: int | None = None
    """The number on the flag that was tied to this end while it was loose, once readings have told which conductor it
    is. It stays when the end lands: the flags that are left keep their numbers."""
    to_flag: int | None = None
    size: Size | None = None
    length: Length | None = None
    remark: str = ""


class Cable(_Entry, frozen=True, kw_only=True):
    """A cable between two ends."""

    name: str
    type: str
    title: str = ""
    length: Length
    length_tolerance: Length | None = None
    trays: list[str] = []
    """Tray sections in order from one end to the other; a tray's name stands for all its sections."""
    start: Ends = msgspec.field(default=UNKNOWN, name="from")
    """Where its near end goes: connectors and terminals in the order of its conductors, a connector for as many as it
    has pins. ``cut`` stands for all that are left and hang loose, so that they get flags and can be identified;
    ``unknown`` for all that are left and end somewhere that nobody knows yet. A stud is a terminal: ``BA.3``."""
    end: Ends = msgspec.field(default=UNKNOWN, name="to")
    """Where its far end goes, said as its near end is."""
    from_status: Status = "known"
    to_status: Status = "known"
    pins: str = ""
    """A pin list that takes the place of the convention: a CSV file in the job's folder, or a name in ``pin-lists``."""
    conductors: list[ConductorEntry] = []
    """Single conductors that differ from the rest."""
    screen_from: str = CUT
    """Where its screen is connected at the near end: a pin, an earth point or a stud; ``cut`` where it is cut back and
    ends free."""
    screen_to: str = CUT
    """The same at its far end."""
    prove_insulation: bool = False
    """Whether its insulation is to be proven at a test voltage before what it leads to gets power."""
    remark: str = ""

    def __post_init__(self) -> None:
        if self.length.value <= 0:
            raise Inconsistent(f"length {self.length}", "a length above 0 m")
        if self.length_tolerance is not None and self.length_tolerance.value >= self.length.value:
            raise Inconsistent(f"length-tolerance {self.length_tolerance}", f"less than the length of {self.length}")


class EarthPoint(_Entry, frozen=True, kw_only=True):
    """A place of the earthing network that a probe can touch."""

    name: str
    title: str = ""
    kind: Literal["frame", "bar", "tray", "building", "return-bar", "screen-bar"] = "frame"
    network: Literal["inside", "outside"] = "inside"
    """inside: of the isolated bonding network; outside: of the building's common bonding network (ITU-T K.27)."""
    at: str = ""
    """The bay, shelf, tray or section of a tray that it belongs to."""
    position: str = ""
    """Where there, in words."""
    busbar: str = ""
    """The busbar that this point is, for a return bar."""
    mesh: bool = False
    """Whether the design allows loops here."""

    def __post_init__(self) -> None:
        if (self.kind == "return-bar") != bool(self.busbar):
            raise Inconsistent(
                f"kind {self.kind} {'with' if self.busbar else 'without'} 'busbar'",
                "'busbar' for a return-bar, only there",
            )


class Bond(_Entry, frozen=True, kw_only=True):
    """A conductor of the earthing network, with ``size`` and ``length``, or with its ``ohms``."""

    name: str
    start: str = msgspec.field(name="from")
    end: str = msgspec.field(name="to")
    size: Size | None = None
    length: Length | None = None
    ohms: Resistance | None = None
    spread: Ratio = default(Ratio(0.15))
    """How far the true value may be off, as a relative standard deviation (common practice, no source)."""

    def __post_init__(self) -> None:
        sized = self.size is not None and self.length is not None
        if sized == (self.ohms is not None) or (self.size is None) != (self.length is None):
            raise Inconsistent(
                f"bond '{self.name}' with a mixture of 'size', 'length', 'ohms'", "'size' and 'length', or 'ohms'"
            )
        if self.length is not None and self.length.value <= 0:
            raise Inconsistent(f"length {self.length}", "a length above 0 m")


class Earth(_Entry, frozen=True, kw_only=True):
    """The earthing network."""

    single_point: str
    """The bond that is the single-point connection between inside and outside."""
    points: list[EarthPoint] = []
    bonds: list[Bond] = []


class ShelfInput(_Entry, frozen=True, kw_only=True):
    """What stands behind the diodes of every shelf's inlets, cards apart: how long a shelf keeps its charge."""

    capacitance: Capacitance
    """Of the shelf itself; that of its cards comes on top."""
    bleeder: Resistance
    """The resistor that takes the charge away when the shelf is off."""

    def __post_init__(self) -> None:
        if not (self.capacitance.value > 0 and self.bleeder.value > 0):
            raise Inconsistent(f"{self.capacitance} and {self.bleeder}", "both above 0")


class PlantFile(_Entry, frozen=True, kw_only=True):
    """A plant as it stands in its file."""

    plant: str
    """Its name."""
    title: str = ""
    about: str = ""
    ambient: Temperature = default(Temperature(20.0))
    length_tolerance: Ratio = default(Ratio(0.03))
    """How far cable lengths may be off, where a cable does not say."""
    contacts: Contacts = msgspec.field(default_factory=Contacts)
    connector_types: list[ConnectorType] = []
    cable_types: list[CableType] = []
    card_types: list[CardType] = []
    shelf_input: ShelfInput | None = None
    """Where it is known: how long to wait before hands reach into a shelf is worked out from it."""
    bays: list[Bay] = []
    feeds: list[Feed] = []
    supplies: list[Supply] = []
    busbars: list[Busbar] = []
    breakers: list[Breaker] = []
    trays: list[Tray] = []
    cables: list[Cable] = []
    earth: Earth | None = None
    pin_lists: dict[str, list[ConductorEntry]] = {}
    """Pin lists by name; the loader puts the CSV files here that cables name, so that a record is complete."""
