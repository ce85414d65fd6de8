"""What is asked of each kind of find, in which order, and how what is typed becomes a value.

Digits choose from what was noted before, so that a number pad and one hand suffice; where the field itself is a number,
digits are that number.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any, Final, get_args

import msgspec

from bench.files import Inconsistent
from bench.plant.finds import EndState, Find, FreePlace, Gender, ListLine, LooseEnd, PinRead
from bench.quantity import Length, QuantityError, Resistance
from bench.walk.surveying import Survey

MOST_CHOICES: Final = 9


class NotThat(ValueError):
    """What was typed is no answer; the text says what is expected."""


Taken = dict[str, Any]
"""Field to its new value."""


class Field(msgspec.Struct, frozen=True):
    """One thing that is asked.

    Attributes:
        name: the find's field.
        asks: the question.
        hint: how to answer.
        take: makes fields of what was typed.
        fixed: the only answers, where there are only these.
        remembered: whether answers that were given before are offered by number.
    """

    name: str
    asks: str
    hint: str
    take: Callable[[str], Taken]
    fixed: tuple[str, ...] = ()
    remembered: bool = True

    def shown(self, find: Find) -> str:
        """What stands there now, as it is written."""
        value = getattr(find, self.name)
        if value in (None, "", []):
            return ""
        if self.name == "length":
            by = getattr(find, "length_by", "")
            return f"{value} {by}".strip()
        if self.name == "reads":
            return ", ".join(
                f"{read.first}-{read.second} {'open' if read.ohms is None else f'{read.ohms:g}'}" for read in value
            )
        return ", ".join(value) if isinstance(value, list) else str(value)

    def choices(self, survey: Survey, kind: type[Find]) -> list[str]:
        """What can be chosen by number: the only answers, or what was noted most often."""
        if self.fixed:
            return list(self.fixed)
        if not self.remembered:
            return []
        if self.name in ("bay", "from_bay", "to_bay"):
            return list(survey.hall.bays[:MOST_CHOICES])
        told = Counter(self.shown(kept.find) for kept in survey.finds.values() if isinstance(kept.find, kind))
        told.pop("", None)
        return [value for value, _ in told.most_common(MOST_CHOICES)]


def _text(name: str) -> Callable[[str], Taken]:
    def take(text: str) -> Taken:
        return {name: text}

    return take


def _whole(name: str) -> Callable[[str], Taken]:
    def take(text: str) -> Taken:
        if not text.isdecimal():
            raise NotThat(f"found '{text}', expected a whole number")
        return {name: int(text)}

    return take


def _pairs(text: str) -> Taken:
    """Conductors; ``25p`` for pairs."""
    body = text.rstrip("pP ")
    if not body.isdecimal():
        raise NotThat(f"found '{text}', expected a number of conductors, or of pairs as 25p")
    return {"conductors": int(body) * (2 if body != text.strip() else 1)}


def _millimetres(text: str) -> Taken:
    try:
        value = float(text.removesuffix("mm").strip())
    except ValueError:
        raise NotThat(f"found '{text}', expected millimetres such as 11.5") from None
    return {"diameter": value}


def _length(text: str) -> Taken:
    """``12.4`` by tape, ``12 e`` or ``~12`` by eye, ``12.4 k`` by marks on the jacket."""
    body, by = text.strip(), "tape"
    if body.startswith("~"):
        body, by = body[1:], "eye"
    words = {"tape": "tape", "t": "tape", "eye": "eye", "e": "eye", "marks": "marks", "k": "marks"}
    first, _, last = body.rpartition(" ")
    if last in words and first:
        body, by = first, words[last]
    body = body.strip()
    try:
        value = Length.parse(body if body.endswith("m") else f"{body} m")
    except QuantityError:
        raise NotThat(f"found '{text}', expected metres such as 12.4, or ~12 by eye, or 12.4 marks") from None
    return {"length": value, "length_by": by}


def _plain_length(text: str) -> Taken:
    return {"length": _length(text)["length"]}


def _reads(text: str) -> Taken:
    return {"reads": pin_reads(text)}


def pin_reads(text: str) -> list[PinRead]:
    """``1-2 0.3, 5-9 open, 3-4 4.7 kohm``: pins and what was read between them.

    Args:
        text: as it was typed.

    Raises:
        NotThat: it is none of this.
    """
    found = []
    for part in text.split(","):
        pins, _, value = part.strip().partition(" ")
        first, dash, second = pins.partition("-")
        value = value.strip()
        try:
            if not dash:
                raise ValueError
            plain = value.replace(".", "", 1).isdecimal()
            ohms = None if value == "open" else Resistance.parse(f"{value} ohm" if plain else value).value
            found.append(PinRead(first=first, second=second, ohms=ohms))
        except (ValueError, QuantityError):
            expected = "two pins and a reading, such as 1-2 0.3, 5-9 open, 3-4 4.7 kohm"
            raise NotThat(f"found '{part.strip()}', expected {expected}") from None
    return found


def _label(text: str) -> Taken:
    return {"label": text.upper().replace(" ", "")}


_BAY: Final = Field("bay", "In which bay?", "the bay's name", _text("bay"))
_POSITION: Final = Field("position", "Where there?", "in words, such as: behind shelf 2A, left", _text("position"))
_CONNECTOR: Final = Field(
    "connector", "Which kind of connector?", "its kind; Enter where there is none", _text("connector")
)
_GENDER: Final = Field(
    "gender", "Plug or socket?", "", _text("gender"), tuple(value for value in get_args(Gender) if value)
)
_KEYING: Final = Field("keying", "How is it keyed?", "where the key sits, a coded pin", _text("keying"))
_FILLED: Final = Field("filled", "How many contacts are filled?", "a number", _whole("filled"), remembered=False)
_REMARK: Final = Field("remark", "Anything to remark?", "", _text("remark"), remembered=False)
_PHOTO: Final = Field(
    "photo", "A photo?", "the picture's file; it is kept beside the record", _text("photo"), remembered=False
)
_LABEL: Final = Field(
    "label", "What does its label say?", "? for each sign that cannot be read; Enter where it has no label", _label,
    remembered=False,
)  # fmt: skip

FIELDS: Final[dict[type[Find], tuple[Field, ...]]] = {
    LooseEnd: (
        _BAY,
        _POSITION,
        _LABEL,
        _CONNECTOR,
        _GENDER,
        Field("jacket", "Which colour is the jacket?", "", _text("jacket")),
        Field("conductors", "How many conductors?", "a number; pairs as 25p", _pairs, remembered=False),
        Field("colours", "How are they coloured?", "pair-code, numbered, or the colours", _text("colours")),
        Field("length", "How long is the whole cable?", "metres by tape; ~12 by eye; 12.4 marks", _length, (), False),
        Field("tray", "Which tray does it run in?", "", _text("tray")),
        Field("state", "How does it end?", "", _text("state"), tuple(value for value in get_args(EndState) if value)),
        Field("diameter", "How thick is it?", "millimetres over the jacket", _millimetres, remembered=False),
        _FILLED,
        _KEYING,
        Field("place", "Where is it plugged in?", "the place's name; Enter where it hangs", _text("place"), (), False),
        Field("branches", "How many cables come together here?", "1 as a rule", _whole("branches"), remembered=False),
        _PHOTO,
        _REMARK,
    ),
    FreePlace: (
        _BAY,
        Field("shelf", "On which shelf?", "", _text("shelf")),
        _POSITION,
        _CONNECTOR,
        _GENDER,
        _LABEL,
        Field(
            "reads",
            "What do its pins read? Only on a shelf that was proved dead",
            "pins and ohms, with commas: 1-2 0.3, 5-9 open, 3-4 4.7 kohm",
            _reads,
            remembered=False,
        ),
        _FILLED,
        _KEYING,
        _PHOTO,
        _REMARK,
    ),
    ListLine: (
        Field("document", "Which list or drawing, and where in it?", "", _text("document")),
        Field("label", "Which cable?", "its name there", _label, remembered=False),
        Field("from_bay", "From which bay?", "", _text("from_bay")),
        Field("to_bay", "To which bay?", "", _text("to_bay")),
        Field("from_place", "From which connector, block or stud?", "", _text("from_place"), remembered=False),
        Field("to_place", "To which connector, block or stud?", "", _text("to_place"), remembered=False),
        Field("conductors", "How many conductors?", "a number; pairs as 25p", _pairs, remembered=False),
        _CONNECTOR,
        Field("length", "How long?", "metres", _plain_length, remembered=False),
        _REMARK,
    ),
}  # fmt: skip
"""Kind of find to what is asked of it."""


def changed(find: Find, field: Field, text: str, choices: list[str]) -> Find:
    """The find with one field answered.

    Args:
        find: as it stands.
        field: what was asked.
        text: what was typed; ``-`` takes out what stands there.
        choices: what could be chosen by number.

    Raises:
        NotThat: it is no answer.
    """
    if text == "-":
        empty = type(find)(name=find.name)
        fields = (field.name, "length_by") if field.name == "length" and isinstance(find, LooseEnd) else (field.name,)
        return msgspec.structs.replace(find, **{name: getattr(empty, name) for name in fields})
    if text not in choices and text.isdecimal() and choices and 1 <= int(text) <= len(choices):
        text = choices[int(text) - 1]
    if field.fixed and text not in field.fixed:
        raise NotThat(f"found '{text}', expected {', '.join(field.fixed)}")
    try:
        return msgspec.structs.replace(find, **field.take(text))
    except Inconsistent as error:
        raise NotThat(f"found {error.found}, expected {error.expected}") from error
