"""Finds from a spreadsheet: a CSV table with a column for each field, one find a line.

The column ``find`` says what each line is: ``loose-end``, ``free-place`` or ``list-line``; without it all are loose
ends.
Columns are named as the fields are, with ``-`` or ``_`` or blanks; ``pairs`` counts twice into ``conductors``; a length
without a unit is in metres. Every problem is told with its line and column, all in one go.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import msgspec

from bench.files import BadFile, Inconsistent, Place, Problem, near, one_of, read_text
from bench.plant.finds import Find, FreePlace, ListLine, LooseEnd
from bench.quantity import Length, QuantityError

KINDS: Final[dict[str, type[Find]]] = {"loose-end": LooseEnd, "free-place": FreePlace, "list-line": ListLine}
_EXTRA: Final = ("find", "pairs")
_TYPED: Final = ("reads",)
"""What no table has: it is typed at the place."""


def read_finds(path: Path) -> list[Find]:
    """The finds of a table.

    Args:
        path: a CSV file; commas, semicolons or tabs part its columns.

    Raises:
        BadFile: what is wrong with it, all of it at once.
    """
    text = read_text(path)
    head = text.split("\n", 1)[0]
    mark = max(",;\t", key=head.count)
    reader = csv.reader(io.StringIO(text.removeprefix("\ufeff")), delimiter=mark)
    rows = list(reader)
    problems: list[Problem] = []
    if not rows:
        raise BadFile([Problem(Place(str(path), 1, 1), "", "an empty table", "a line with the names of columns")])
    columns = [_column(name) for name in rows[0]]
    known = sorted({field for kind in KINDS.values() for field in _fields(kind)} | set(_EXTRA))
    for number, name in enumerate(columns, 1):
        if name and name not in known:
            place = Place(str(path), 1, number)
            problems.append(Problem(place, "", f"the column '{rows[0][number - 1]}'", one_of(known), near(name, known)))
    if "name" not in columns:
        problems.append(Problem(Place(str(path), 1, 1), "", "no column 'name'", "what each flag says"))
    found: list[Find] = []
    names: dict[str, int] = {}
    for number, row in enumerate(rows[1:], 2):
        told = {name: cell.strip() for name, cell in zip(columns, row, strict=False) if name and cell.strip()}
        if not told or (problems and "name" not in columns):
            continue
        found += _find(path, number, told, names, problems)
    if problems:
        raise BadFile(problems)
    return found


def _find(
    path: Path, number: int, told: dict[str, str], names: dict[str, int], problems: list[Problem]
) -> Iterator[Find]:
    place = Place(str(path), number, 1)
    kind = KINDS.get(told.pop("find", "loose-end"))
    if kind is None:
        problems.append(Problem(place, "find", "another kind of find", one_of(list(KINDS))))
        return
    name = told.get("name", "")
    if not name or name in names:
        what = f"'{name}' as on line {names[name]}" if name else "no name"
        problems.append(Problem(place, "name", what, "a name of its own: what its flag says"))
        return
    names[name] = number
    values: dict[str, Any] = {}
    for column, text in told.items():
        try:
            values.update(_value(kind, column, text))
        except (ValueError, QuantityError) as error:
            expected = error.expected if isinstance(error, QuantityError) else str(error)
            problems.append(Problem(place, column, f"'{text}'", expected))
    try:
        # checked as a file's entries are: fixed words are held against what there is
        yield msgspec.convert({"find": kind.__struct_config__.tag, **values}, kind, dec_hook=_given)
    except (msgspec.ValidationError, Inconsistent) as error:
        problems.append(Problem(place, "", str(error), "what the field may hold"))


def _given(kind: type, value: Any) -> Any:
    """A quantity that is one already."""
    if isinstance(value, kind):
        return value
    raise TypeError(f"expected {kind.__name__}")


def _fields(kind: type[Find]) -> list[str]:
    return [field.encode_name for field in msgspec.structs.fields(kind) if field.name not in _TYPED]


def _column(name: str) -> str:
    return name.strip().casefold().replace("_", "-").replace(" ", "-")


def _value(kind: type[Find], column: str, text: str) -> dict[str, Any]:
    if column == "pairs":
        return {"conductors": 2 * _whole(text)}
    if column not in _fields(kind):
        raise ValueError(f"one of {', '.join(_fields(kind))}")
    if column in ("conductors", "filled", "branches"):
        return {column: _whole(text)}
    if column == "diameter":
        return {column: float(text.removesuffix("mm"))}
    if column == "length":
        return {column: Length.parse(text if text.endswith("m") else f"{text} m")}
    if column == "photo":
        return {column: text.split()}
    return {column: text.upper() if column == "label" else text}


def _whole(text: str) -> int:
    if not text.isdecimal():
        raise ValueError("a whole number")
    return int(text)
