"""The things of a plant: plain values with names, made by :mod:`bench.plant.resolve` from a plant file.

Over 500 lines, since every attribute is spelled out; there is next to no code in it.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from bench.judge.conductor import Contact, ExpectedResistance
from bench.plant import conductor_make as wire
from bench.plant.file import CableType, CardType, ConnectorType
from bench.plant.layout import Layout

TerminalKind = Literal["pin", "inlet", "breaker", "busbar", "supply", "earth", "end"]
Leg = Literal["tip", "ring"]
EndStatus = Literal["known", "claimed", "unknown", "cut"]


class Terminal(msgspec.Struct, frozen=True):
    """Something that a conductor can end on, and that a probe can touch.

    Attributes:
        name: ``OWNER.PIN``; for a busbar or earth point as one piece, the owner's name alone.
        owner: the connector, shelf, breaker, busbar, supply, earth point or cable that it belongs to.
        pin: its own name there; empty for a busbar or earth point as one piece.
        kind: what it is. ``end`` is the loose end of a conductor that lands nowhere.
        node: the electrical node that it is: its own name, save that the studs of an earth point are one node, and that
            a breaker's side bolted to a busbar's stud is one node with it.
        bay: the bay that it is in; may be empty.
        shelf: the shelf or half-shelf that it is on; may be empty.
        row: row on its connector from the top, from 1; 0 where there are no rows.
        column: place in the row from the left, from 1; 0 where there are no rows.
    """

    name: str
    owner: str
    pin: str
    kind: TerminalKind
    node: str
    bay: str = ""
    shelf: str = ""
    row: int = 0
    column: int = 0

    def __str__(self) -> str:
        return self.name


class Conductor(msgspec.Struct, frozen=True):
    """One conductor of a cable.

    Attributes:
        name: the cable's name and its number, ``W101.12``; ``W101.screen`` for a screen.
        cable: the cable's name.
        number: counted from 1; 0 for a screen.
        pair: the pair that it belongs to, from 1, or None.
        leg: ``tip`` or ``ring`` of its pair, or None.
        mate: the name of its pair's other conductor; may be empty.
        colour: in words, its own colour first, then the tracer, such as ``white/blue``; may be empty.
        mate_colour: the same of its mate; may be empty.
        letters: the colour in letters of IEC 60757; empty where the standard has none.
        binder: the binder's colours where the cable has several groups.
        wire: size, metal and class.
        length_m: along the conductor.
        tolerance_m: how far off the length may be, either way.
        near: where the cable's ``from`` end of it lands; None where it is cut or unknown.
        far: where the ``to`` end lands.
        near_end: the terminal a probe touches at the ``from`` end: ``near``, or the loose end ``W101.12.near``.
        far_end: the same at the ``to`` end.
        near_status: what is known of the ``from`` end.
        far_status: what is known of the ``to`` end.
        contacts: the joints at its landed ends.
        remark: what the file says about it.
        near_flag: the number of the flag that was tied to its ``from`` end; 0 where none is known.
        far_flag: the same of its ``to`` end.
    """

    name: str
    cable: str
    number: int
    pair: int | None
    leg: Leg | None
    mate: str
    colour: str
    mate_colour: str
    letters: str
    binder: str
    wire: wire.Wire
    length_m: float
    tolerance_m: float
    near: Terminal | None
    far: Terminal | None
    near_end: Terminal
    far_end: Terminal
    near_status: EndStatus
    far_status: EndStatus
    contacts: tuple[Contact, ...]
    remark: str = ""
    near_flag: int = 0
    far_flag: int = 0

    @property
    def is_screen(self) -> bool:
        """Whether it is the cable's screen with its drain wire."""
        return self.number == 0

    @property
    def landed(self) -> bool:
        """Whether both ends land on a terminal that is known or claimed."""
        return self.near is not None and self.far is not None

    def expected(self, celsius: float) -> ExpectedResistance:
        """What it should read end to end at a conductor temperature, with the contacts where it lands."""
        return wire.expected(self.wire, self.length_m, self.tolerance_m, celsius, self.contacts)

    def __str__(self) -> str:
        return self.name

    @property
    def looks(self) -> str:
        """How it is told from its neighbours: its colours, else the number that is printed on it, else its screen."""
        return self.colour or (f"wire {self.number}" if self.number else "screen")


class Cable(msgspec.Struct, frozen=True):
    """A cable.

    Attributes:
        name: on its label.
        title: what it is for; may be empty.
        type: its kind.
        length_m: from end to end.
        tolerance_m: how far off the length may be, either way.
        sections: tray sections in order, from the near end.
        near: owners of the terminals at the ``from`` end (connectors, breakers, ...), in order.
        far: the same at the ``to`` end.
        conductors: in order, the screen not among them.
        screen: its screen, or None.
        remark: what the file says about it.
        prove_insulation: whether its insulation is to be proven before what it leads to gets power.
    """

    name: str
    title: str
    type: CableType
    length_m: float
    tolerance_m: float
    sections: tuple[str, ...]
    near: tuple[str, ...]
    far: tuple[str, ...]
    conductors: tuple[Conductor, ...]
    screen: Conductor | None
    remark: str = ""
    prove_insulation: bool = False

    @property
    def pairs(self) -> tuple[tuple[Conductor, Conductor], ...]:
        """Its pairs, tip and ring; empty for a cable without pairs."""
        if self.type.pairs is None:
            return ()
        return tuple(zip(self.conductors[0::2], self.conductors[1::2], strict=True))

    def __str__(self) -> str:
        return self.name


class Connector(msgspec.Struct, frozen=True):
    """A connector on a shelf.

    Attributes:
        name: on its label.
        type: its kind.
        layout: how its pins lie.
        bay: the bay's name.
        shelf: the shelf's or half-shelf's name.
        at: where on the shelf, in words.
        faces: front or rear.
        terminals: its pins in counting order.
    """

    name: str
    type: ConnectorType
    layout: Layout
    bay: str
    shelf: str
    at: str
    faces: str
    terminals: tuple[Terminal, ...]

    def __str__(self) -> str:
        return self.name


class Card(msgspec.Struct, frozen=True):
    """A card in its slot; named by shelf and slot: ``2C/5``."""

    name: str
    shelf: str
    slot: int
    type: CardType

    def __str__(self) -> str:
        return self.name


class Inlet(msgspec.Struct, frozen=True):
    """Where a feed comes into a shelf: two terminals.

    Attributes:
        name: ``2C.A``.
        shelf: the shelf's or half-shelf's name.
        feed: the feed's name.
        live: the terminal of the feed's own pole (negative for a feed of -48 V).
        back: the terminal of the return.
    """

    name: str
    shelf: str
    feed: str
    live: Terminal
    back: Terminal

    def __str__(self) -> str:
        return self.name


class Shelf(msgspec.Struct, frozen=True):
    """A shelf, or one half of it.

    Attributes:
        name: on its label.
        title: what it is.
        bay: the bay's name.
        half_of: the whole shelf's name, for a half; else empty.
        halves: the names of its halves, if it is divided.
        place: counted from the top of the bay, from 1; a half has its shelf's.
        slots: how many.
        cards: by slot.
        connectors: in file order.
        inlets: in file order.
    """

    name: str
    title: str
    bay: str
    half_of: str
    halves: tuple[str, ...]
    place: int
    slots: int
    cards: tuple[Card, ...]
    connectors: tuple[Connector, ...]
    inlets: tuple[Inlet, ...]

    def __str__(self) -> str:
        return self.name


class Bay(msgspec.Struct, frozen=True):
    """A bay with its shelves from the top down, halves not among them."""

    name: str
    title: str
    shelves: tuple[Shelf, ...]

    def __str__(self) -> str:
        return self.name


class Feed(msgspec.Struct, frozen=True):
    """A feed.

    Attributes:
        name: its name, such as ``A``.
        title: what it is.
        nominal_v: with its sign, against its return.
        low_v: lowest allowed at the equipment, as a number.
        high_v: highest allowed at the equipment, as a number.
        back: the name of its return busbar; may be empty.
        drop_v: what may be lost there and back; None where the file does not say.
    """

    name: str
    title: str
    nominal_v: float
    low_v: float
    high_v: float
    back: str
    drop_v: float | None

    def __str__(self) -> str:
        return self.name


class Supply(msgspec.Struct, frozen=True):
    """Where a feed comes from.

    Attributes:
        name: on its label.
        title: what it is.
        feed: the feed's name.
        kind: battery, rectifier or bench.
        volts: open-circuit voltage with its sign.
        ohms: internal resistance.
        limit_a: current limit; None where there is none.
        fuse_a: the fuse at its terminals, in amperes; None where there is none.
        fuse_breaks_a: what that fuse breaks; None where nobody says.
        live: the terminal of the feed's own pole.
        back: the terminal of the return.
        at: bay or shelf; may be empty.
        position: where there, in words.
    """

    name: str
    title: str
    feed: str
    kind: str
    volts: float
    ohms: float
    limit_a: float | None
    fuse_a: float | None
    fuse_breaks_a: float | None
    live: Terminal
    back: Terminal
    at: str
    position: str

    def __str__(self) -> str:
        return self.name


class Busbar(msgspec.Struct, frozen=True):
    """A busbar: its own terminal, and those of the studs in use.

    Attributes:
        name: on its label.
        title: what it is.
        feed: the feed's name; empty for a return that all feeds have in common.
        pole: ``feed`` or ``return``.
        ohms: from a stud to the middle.
        at: bay or shelf; may be empty.
        position: where there, in words.
    """

    name: str
    title: str
    feed: str
    pole: str
    ohms: float
    at: str
    position: str

    def __str__(self) -> str:
        return self.name


class Breaker(msgspec.Struct, frozen=True):
    """A breaker or fuse.

    Attributes:
        name: on its label.
        title: what it protects.
        feed: the feed's name.
        rating_a: rated current.
        trips: ``B``, ``C``, ``D`` (IEC 60898-1) or ``fuse``.
        breaks_a: the direct current that it breaks; None where nobody says.
        selective_a: up to which the device before it stays closed; None where nobody says.
        line: the terminal on the supply's side.
        load: the terminal on the load's side.
        closed: what it should read when it is closed.
        at: bay or shelf; may be empty.
        position: where there, in words.
    """

    name: str
    title: str
    feed: str
    rating_a: float
    trips: str
    breaks_a: float | None
    selective_a: float | None
    line: Terminal
    load: Terminal
    closed: ExpectedResistance
    at: str
    position: str

    def __str__(self) -> str:
        return self.name


class Section(msgspec.Struct, frozen=True):
    """A section of a cable tray.

    Attributes:
        name: on its label.
        title: where it runs.
        tray: the tray's name.
        place: counted along the tray, from 1.
        length_m: None where it is not known.
    """

    name: str
    title: str
    tray: str
    place: int
    length_m: float | None

    def __str__(self) -> str:
        return self.name


class Tray(msgspec.Struct, frozen=True):
    """A cable tray with its sections in order."""

    name: str
    title: str
    sections: tuple[Section, ...]

    def __str__(self) -> str:
        return self.name


class EarthPoint(msgspec.Struct, frozen=True):
    """A place of the earthing network that a probe can touch.

    Attributes:
        name: on its label.
        title: what it is.
        kind: frame, bar, tray, building, return-bar or screen-bar.
        outside: whether it belongs to the building's common bonding network.
        mesh: whether the design allows loops here.
        at: bay, shelf or tray; may be empty.
        position: where there, in words.
        node: its electrical node: its own name, or the busbar that it is.
    """

    name: str
    title: str
    kind: str
    outside: bool
    mesh: bool
    at: str
    position: str
    node: str

    @property
    def is_return(self) -> bool:
        """Whether it is a bar of a d.c. return, which an isolated return bonds to earth once only."""
        return self.kind == "return-bar"

    def __str__(self) -> str:
        return self.name


class Bond(msgspec.Struct, frozen=True):
    """A conductor of the earthing network.

    Attributes:
        name: on its label.
        a: the terminal at one end.
        b: the terminal at the other end.
        spread: relative standard deviation of its true value.
        single_point: whether it is the single-point connection.
        wire: what it is made of; None where its ohms are given.
        length_m: 0 where its ohms are given.
        ohms: where they are given; else None.
        contacts: the joints at its ends.
    """

    name: str
    a: Terminal
    b: Terminal
    spread: float
    single_point: bool
    wire: wire.Wire | None
    length_m: float
    ohms: float | None
    contacts: tuple[Contact, ...]

    def expected(self, celsius: float) -> ExpectedResistance:
        """What it should read end to end; a value given by hand does not change with temperature."""
        if self.wire is None:
            assert self.ohms is not None, "a bond has a size or ohms: its file type sees to it"
            return wire.set_by_hand(self.ohms, self.spread, f"bond {self.name} as the plant file gives it")
        return wire.expected(self.wire, self.length_m, 0.0, celsius, self.contacts)

    def __str__(self) -> str:
        return self.name


Thing = (
    Bay | Shelf | Card | Connector | Inlet | Feed | Supply | Busbar | Breaker | Tray | Section | Cable | Conductor
    | Terminal | EarthPoint | Bond
)  # fmt: skip

KIND_WORDS: dict[type, str] = {
    Bay: "bay",
    Shelf: "shelf",
    Card: "card",
    Connector: "connector",
    Inlet: "inlet",
    Feed: "feed",
    Supply: "supply",
    Busbar: "busbar",
    Breaker: "breaker",
    Tray: "tray",
    Section: "tray section",
    Cable: "cable",
    Conductor: "conductor",
    Terminal: "terminal",
    EarthPoint: "earth point",
    Bond: "bond",
}
"""What a thing is called in a sentence."""
