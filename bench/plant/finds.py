"""What somebody saw of a plant that nobody knows: loose ends, free places, and lines of old documents.

A find says only what was seen. What it means (which two ends are one cable, which goes where) is worked out from all of
them by :mod:`bench.diagnose.survey`. Everything but the name may be missing: what was not looked at is left empty, and
``?`` in a label stands for a sign that is there and cannot be read.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from bench.files import Inconsistent
from bench.quantity import Length

Gender = Literal["", "plug", "socket"]
LengthBy = Literal["", "marks", "tape", "eye"]
"""How a length is known: by metre marks on the jacket, by tape along the run, or by eye."""
EndState = Literal["", "cut", "pulled", "plugged"]
"""How an end was found: cut off, pulled out of its place, or still plugged in somewhere."""

UNREAD = "?"
"""Stands in a label for a sign that cannot be read."""


class _Find(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    name: str
    """What the survey calls it: what its flag says."""
    bay: str = ""
    """The bay where it hangs or sits, as people call it."""
    position: str = ""
    """Where there, in words: ``behind shelf 2A, left``."""
    remark: str = ""
    photo: list[str] = []
    """SHA-256 of each picture; the pictures are kept beside the record under these names."""


class LooseEnd(_Find, frozen=True, kw_only=True, tag="loose-end", tag_field="find"):
    """An end of a cable that hangs, or that is plugged in where nobody knows whether it belongs."""

    connector: str = ""
    """Kind of connector on it, such as ``R50``; empty where there is none, or nobody looked."""
    gender: Gender = ""
    keying: str = ""
    """What keeps it from going into a wrong place of its kind: a key's position, a coded pin."""
    filled: int | None = None
    """Positions of the connector that have a contact."""
    jacket: str = ""
    """Colour of the jacket."""
    conductors: int | None = None
    """Conductors counted, a pair being two."""
    colours: str = ""
    """How the conductors are coloured: ``pair-code``, ``numbered``, or colours as they were seen."""
    diameter: float | None = None
    """Outer diameter in millimetres."""
    label: str = ""
    """What its label says, ``?`` for each sign that cannot be read; empty where none is left or nobody looked."""
    length: Length | None = None
    """Of the whole cable, as far as it can be told from here."""
    length_by: LengthBy = ""
    tray: str = ""
    """The tray that it runs in where it leaves the bay."""
    state: EndState = ""
    place: str = ""
    """The place where it is plugged in, where it is."""
    sealed: bool = False
    """Its conductors cannot be touched: cut off flush, potted, behind what nobody takes off."""
    branches: int = 1
    """Cables that come together in this end: 2 for an end that belongs with two others."""

    def __post_init__(self) -> None:
        for field, value, least in (
            ("filled", self.filled, 0),
            ("conductors", self.conductors, 1),
            ("branches", self.branches, 1),
        ):
            if value is not None and not least <= value <= 2400:
                raise Inconsistent(f"{field} {value}", f"{least} to 2400")
        if self.diameter is not None and not 0 < self.diameter < 300:
            raise Inconsistent(f"diameter {self.diameter}", "above 0, in millimetres")
        if self.length is not None and not 0 < self.length.value < 10000:
            raise Inconsistent(f"length {self.length}", "above 0 m")


class PinRead(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A reading between two pins of a connector that was proved dead."""

    first: str
    second: str
    ohms: float | None = None
    """None where the meter showed over range."""

    def __post_init__(self) -> None:
        if not self.first or not self.second or self.first == self.second:
            raise Inconsistent(f"a reading between '{self.first}' and '{self.second}'", "two pins")
        if self.ohms is not None and not 0 <= self.ohms < 1e12:
            raise Inconsistent(f"{self.ohms} ohm", "0 ohm or more, or open")


class FreePlace(_Find, frozen=True, kw_only=True, tag="free-place", tag_field="find"):
    """A connector on a shelf, a block or a stud that has nothing plugged in and may want something."""

    shelf: str = ""
    connector: str = ""
    gender: Gender = ""
    keying: str = ""
    filled: int | None = None
    """Positions that have a contact."""
    label: str = ""
    """What is written at it: its own name, or that of the cable that belongs there."""
    reads: list[PinRead] = []
    """A few readings between its pins, on a dead shelf: they tell which places are of one family."""

    def __post_init__(self) -> None:
        if self.filled is not None and not 0 <= self.filled <= 2400:
            raise Inconsistent(f"filled {self.filled}", "0 to 2400")


class ListLine(_Find, frozen=True, kw_only=True, tag="list-line", tag_field="find"):
    """A line of an old list or drawing: one cable as somebody once wrote it down. Its bay and position stay empty."""

    document: str = ""
    """Which list or drawing, and where it stands in it."""
    label: str = ""
    """The cable's name there."""
    from_bay: str = ""
    to_bay: str = ""
    from_place: str = ""
    """The connector, block or stud there, as the document calls it."""
    to_place: str = ""
    conductors: int | None = None
    connector: str = ""
    """Kind of connector at its ends, where the document says one."""
    length: Length | None = None


Find = LooseEnd | FreePlace | ListLine


class Tried(
    msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True, tag="tried", tag_field="act"
):
    """The result of an act between loose ends, or between a loose end and a place.

    One end was touched, or pulled at, while others were tagged: ``answer`` is the one that answered, empty where none
    did.
    """

    touched: str
    among: list[str]
    answer: str = ""
    way: Literal["ring", "tags", "pull", "fingerprint", "group"] = "ring"

    def __post_init__(self) -> None:
        if not self.among:
            raise Inconsistent("nothing tried", "at least one end in 'among'")
        if self.answer and self.answer not in self.among:
            raise Inconsistent(f"answer '{self.answer}'", "one of those in 'among', or none")


class Hall(msgspec.Struct, frozen=True, kw_only=True):
    """Where the bays stand, as far as lengths depend on it.

    Attributes:
        bays: the bays in the order in which they stand.
        pitch: metres from a bay to the next; measured, else a common width.
        rise: metres from an end up to the tray and down again at the other.
    """

    bays: list[str]
    pitch: float = 0.8
    rise: float = 4.0
