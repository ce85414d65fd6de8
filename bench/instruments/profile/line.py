"""The parts of a profile that say how to reach an instrument, how it talks and how to know it."""

from __future__ import annotations

from typing import Final, Literal

import msgspec

from bench.files import Inconsistent
from bench.instruments.profile.template import holes
from bench.instruments.wire_text import Pattern, WireText
from bench.quantity import Duration


def seconds(value: float) -> Duration:
    """A field with a default in seconds."""
    return msgspec.field(default_factory=lambda: Duration(value))


def wire(data: bytes) -> WireText:
    """A field whose default is these bytes."""
    return msgspec.field(default_factory=lambda: WireText(data))


BAUDS: Final = (
    *(50, 75, 110, 134, 150, 200, 300, 600, 1200, 1800, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400),
    *(460800, 500000, 576000, 921600, 1000000, 1152000, 1500000, 2000000, 2500000, 3000000, 3500000, 4000000),
)
"""The rates that POSIX systems and adapters know; another is most often a slip of the keyboard."""


class Line(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """How to reach the instrument. What concerns a serial port is ignored on a network socket."""

    baud: int = 9600
    bits: Literal[5, 6, 7, 8] = 8
    parity: Literal["none", "even", "odd", "mark", "space"] = "none"
    stop: Literal["1", "1.5", "2"] = "1"
    flow: Literal["none", "rts-cts", "xon-xoff", "dsr-dtr"] = "none"
    dtr: bool = True
    """Level of DTR from opening on; some boards reset on its edge."""
    rts: bool = True
    """Level of RTS from opening on; some adapters feed an isolated interface from it."""
    settle: Duration = seconds(0.1)
    """Wait after opening, before the first byte."""
    write_end: WireText = wire(b"\n")
    """Ends each command."""
    read_end: WireText = wire(b"\n")
    """Ends each reply; all of it must match."""
    encoding: Literal["ascii", "latin-1", "utf-8"] = "ascii"
    timeout: Duration = seconds(2.0)
    """How long an answer may take on top of the time of a measurement."""
    quiet: Duration = seconds(0.1)
    """How long a silence must be to say that the line is drained."""
    between: Duration = seconds(0.0)
    """The least time between an answer and the next command."""
    wake: list[WireText] = []
    """Bytes that are sent after opening and before anything is asked: to wake it, to take it to remote, to give an
    adapter an address. What comes back is thrown away."""
    wake_pause: Duration = seconds(0.2)
    """Wait after each of them."""
    decimal: Literal["point", "comma"] = "point"
    """What stands in its numbers before the fraction."""
    echo: bool = False
    """The instrument, or the cable, sends every command back. An echo is also noticed where this is not said."""

    def __post_init__(self) -> None:
        if self.baud not in BAUDS:
            nearest = min(BAUDS, key=lambda baud: abs(baud - self.baud))
            raise Inconsistent(f"baud {self.baud}", f"a standard rate; the nearest is {nearest}")
        if self.quiet.value < 0.005:
            raise Inconsistent(f"quiet {self.quiet}", "at least 5 ms, since adapters deliver bytes in packets")
        if self.timeout.value <= 0:
            raise Inconsistent(f"timeout {self.timeout}", "a time above zero")

    @property
    def character_time(self) -> float:
        """Seconds that one character takes on a serial line."""
        parity = 0 if self.parity == "none" else 1
        return (1 + self.bits + parity + float(self.stop)) / self.baud


class Register(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """Where a Modbus value lies. ``address`` counts from 0, as it goes over the wire."""

    table: Literal["input", "holding", "coil", "discrete"] = "input"
    """``input`` and ``discrete`` are read only; ``coil`` and ``discrete`` hold one bit."""
    address: int
    """From 0; leaflets that count from 1, or write 40001, mean one less."""
    type: Literal["int16", "uint16", "int32", "uint32", "float32", "int64", "uint64", "float64"] = "int16"
    """How its registers are to be taken together; of no matter for one bit."""
    low_word_first: bool = False
    """The register with the lower address holds the lower part of the number."""
    low_byte_first: bool = False
    """The two bytes of each register are exchanged."""
    scale: float = 1.0
    """The register's number times this is the value in the function's unit."""

    def __post_init__(self) -> None:
        if not 0 <= self.address <= 0xFFFF - (self.words - 1):
            raise Inconsistent(f"address {self.address}", "0 to 65535")
        if self.scale == 0:
            raise Inconsistent("scale 0", "a factor")

    @property
    def bit(self) -> bool:
        """Whether it holds one bit."""
        return self.table in ("coil", "discrete")

    @property
    def words(self) -> int:
        """How many 16-bit registers it takes."""
        return 1 if self.bit else int(self.type[-2:]) // 16


def check_agreement(agree: int, within: float) -> None:
    """Refuse an agreement that no readings can reach.

    Raises:
        Inconsistent: not 1 to 10 readings, or fewer than no steps between them.
    """
    if not 1 <= agree <= 10:
        raise Inconsistent(f"agree {agree}", "1 to 10 readings")
    if within < 0:
        raise Inconsistent(f"agree-within {within:g}", "0 or more steps of the last digit")


class Query(
    msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True, tag_field="kind", tag="query"
):
    """Question and answer in lines of text."""

    read: str = ""
    """The command that takes a reading, for functions that name none of their own."""
    reply: Pattern | None = None
    """What its answer looks like, for functions that name none of their own."""
    acknowledge: Pattern | None = None
    """What every command that asks nothing is answered with, such as ``OK``; another answer is a refusal. Nothing: such
    commands have no answer."""


class Stream(
    msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True, tag_field="kind", tag="stream"
):
    """Lines of text that come unasked."""

    reply: Pattern
    length: int = 0
    """Bytes of a line with its end, where all lines have the same number: one that lost a byte is refused then. 0: any
    number."""
    skip: int = 1
    """Whole lines to let pass after a reading is asked for: they may show what was measured before."""
    start: list[str] = []
    """Commands that make it talk, where it does not by itself."""
    agree: int = 1
    """How many readings in a row must agree before one is believed: for lines without a check sum."""
    agree_within: float = 10.0
    """Steps of the last digit that they may differ by."""

    def __post_init__(self) -> None:
        check_agreement(self.agree, self.agree_within)


class Poll(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True, tag_field="kind", tag="poll"):
    """One or a few bytes ask for a reading; the answer is text."""

    ask: WireText
    reply: Pattern
    length: int = 0
    """Length of the answer in bytes, with its end; 0: it ends with ``read-end`` wherever that comes."""
    agree: int = 1
    """How many readings in a row must agree before one is believed: for answers without a check sum."""
    agree_within: float = 10.0
    """Steps of the last digit that they may differ by."""

    def __post_init__(self) -> None:
        check_agreement(self.agree, self.agree_within)
        if not self.ask.data:
            raise Inconsistent("an empty 'ask'", "the bytes that ask for a reading")


class Frames(
    msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True, tag_field="kind", tag="frames"
):
    """Binary frames, taken apart by a decoder module beside the profile."""

    decoder: str
    """``<name>`` of ``<name>_frame.py``, which has ``decode(data: bytes) -> Parts | None``."""
    ask: WireText = wire(b"")
    """The bytes that ask for a frame; empty: frames come unasked."""
    skip: int = 1
    """Whole frames to let pass after a reading is asked for, where they come unasked."""
    longest: int = 256
    """No frame is longer, in bytes."""
    acknowledge: Pattern | None = None
    """What every command is answered with, as the decoder gives its value; another answer is a refusal. Nothing:
    commands have no answer."""
    agree: int = 1
    """How many readings in a row must agree before one is believed: for frames without a check sum."""
    agree_within: float = 10.0
    """Steps of the last digit that they may differ by."""

    def __post_init__(self) -> None:
        check_agreement(self.agree, self.agree_within)
        if not self.decoder.replace("_", "a").replace("-", "a").isalnum():
            raise Inconsistent(f"decoder {self.decoder!r}", "a name of letters, digits, '-' and '_'")


class Modbus(
    msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True, tag_field="kind", tag="modbus"
):
    """Registers and coils of a Modbus station.

    In place of text, a command of such an instrument is ``NAME=VALUE``, which writes, and a question is ``NAME``, which
    reads; names are those of ``points``. A coil is written and read as ``1`` or ``0``.
    """

    station: int = 1
    """The station's number; over ``tcp`` the unit's, often 1 or 255."""
    framing: Literal["rtu", "ascii", "tcp"] = "rtu"
    """How requests go over the wire: ``rtu`` and ``ascii`` on serial lines, ``tcp`` on a network socket."""
    points: dict[str, Register] = {}
    """Name to register or coil, for outputs, switches, safe states and whatever is set."""

    def __post_init__(self) -> None:
        if not (1 <= self.station <= 247 or (self.framing == "tcp" and 0 <= self.station <= 255)):
            raise Inconsistent(f"station {self.station}", "1 to 247")


class Point(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """A value that an instrument on a network holds for SNMP."""

    oid: str
    """Its number, such as ``1.3.6.1.4.1.8072.9.1.0``; the last figure, most often 0, is part of it."""
    scale: float = 1.0
    """The number that is held times this is the value in the function's unit."""
    text: bool = False
    """It holds text, and no number."""
    set: bool = False
    """It may be set."""

    def __post_init__(self) -> None:
        parts = self.oid.split(".")
        if len(parts) < 3 or not all(part.isdecimal() for part in parts):
            raise Inconsistent(f"oid {self.oid!r}", "figures with points between, such as 1.3.6.1.2.1.1.1.0")
        if self.scale == 0:
            raise Inconsistent("scale 0", "a factor")


class Snmp(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True, tag_field="kind", tag="snmp"):
    """Values of an instrument on a network, such as a rectifier, by SNMP; the port is ``udp://host:161``.

    As with Modbus, a command is ``NAME=VALUE``, a question and what a function reads is ``NAME``; names are those of
    ``points``. Needs ``pip install 'proveout[snmp]'``. Versions 1 and 2c encrypt nothing: use them on the bench's own
    network alone.
    """

    points: dict[str, Point]
    """Name to what the instrument holds, for readings, outputs, safe states and whatever is set."""
    version: Literal["1", "2c"] = "2c"
    """Of the protocol; old rectifiers know 1 only."""
    community: str = "public"
    """The word that lets one read."""
    write_community: str = ""
    """The word that lets one set; by default the one for reading."""


class MbusPoint(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """A value that an M-Bus meter has among those of its response."""

    record: int
    """Which of its records, in the order of the leaflet, from 0."""

    def __post_init__(self) -> None:
        if not 0 <= self.record < 256:
            raise Inconsistent(f"record {self.record}", "0 to 255")


class Mbus(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True, tag_field="kind", tag="mbus"):
    """Values of a meter on M-Bus (EN 13757), by its primary address; most talk at 2400 baud with even parity.

    A function's ``read`` names a point. The response says the unit, and the function's ``units`` must have it: ``V``,
    ``A``, ``degC``, ``Hz``, ``s``, ``min``, ``h`` or ``d``. Who it is is asked with ``meter`` and answered with the
    maker's letters, the number, the version and the medium. Only what comes in the first response is read, and nothing
    is switched. Needs ``pip install 'proveout[mbus]'``.
    """

    points: dict[str, MbusPoint]
    """Name to what the meter says, for readings."""
    station: int = 1
    """The meter's primary address."""

    def __post_init__(self) -> None:
        if not 0 <= self.station <= 250:
            raise Inconsistent(f"station {self.station}", "0 to 250")


class ByEye(
    msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True, tag_field="kind", tag="by-eye"
):
    """Nothing goes over a wire: a person sets the instrument by hand, reads it and types what it shows."""

    display: Literal["as the ranges say", "not known"] = "as the ranges say"
    """Whether the last digit of each range is known. ``not known`` is for those who have lost the leaflet:
    ``resolution`` is then the coarsest that such a display has, and the digits that are typed say how coarse it is."""
    output: bool = False
    """It is a supply that a person sets and switches by its knobs. Nothing switches it off by itself."""


Dialogue = Query | Stream | Poll | Frames | Modbus | Snmp | Mbus | ByEye


class Identify(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """How to know the instrument: a question, and a pattern that its kind answers to.

    The groups ``maker``, ``model``, ``serial`` and ``version`` are kept.
    """

    ask: str = ""
    register: Register | None = None
    """For Modbus: the register whose number, as text, the pattern is held against."""
    reply: Pattern

    def __post_init__(self) -> None:
        if bool(self.ask) == (self.register is not None):
            raise Inconsistent("an identification that asks nothing or twice", "'ask' or 'register'")


class Probe(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """A number that the instrument keeps and gives back, so that an answer is surely that of the question before it.

    For IEEE 488.2 the event status enable register will do: ``*ESE {number}`` and ``*ESE?``.
    """

    set: str
    ask: str
    reply: Pattern
    """With the group ``number``."""
    least: int = 1
    most: int = 255
    rest: int = 0
    """What it is set to afterwards."""

    def __post_init__(self) -> None:
        if "number" not in self.reply.groups:
            raise Inconsistent("a probe's reply without the group 'number'", "(?P<number>...)")
        if holes(self.set) != {"number"}:
            raise Inconsistent(f"the command {self.set!r}", "a command with {number}")
        if self.most - self.least < 7:
            raise Inconsistent(f"numbers {self.least} to {self.most}", "at least 8 different numbers")


class ErrorQueue(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """How the instrument reports errors: asked until it answers with number 0."""

    ask: str
    reply: Pattern
    """With the group ``number``, and ``text`` where it says more."""
    most: int = 32
    """Entries read at most; a queue that never empties is trouble of its own."""
    each_reading: bool = False
    """Ask after every reading too, and not only after configuring."""

    def __post_init__(self) -> None:
        if "number" not in self.reply.groups:
            raise Inconsistent("an error reply without the group 'number'", "(?P<number>[+-]?\\d+)")
