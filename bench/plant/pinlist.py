"""Pin lists: CSV files with one line for each conductor of a cable."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any, Final

from bench.files import (
    BadFile,
    Fields,
    Node,
    Place,
    Places,
    Problem,
    Scalar,
    convert,
    is_file,
    near,
    one_of,
    read_text,
    shown,
)
from bench.plant.file import ConductorEntry

COLUMNS: Final[dict[str, str]] = {
    "conductor": "conductor",
    "from_pin": "from",
    "to_pin": "to",
    "colour": "colour",
    "status": "status",
    "from_status": "from-status",
    "to_status": "to-status",
    "from_flag": "from-flag",
    "to_flag": "to-flag",
    "size": "size",
    "length": "length",
    "remark": "remark",
}
"""Columns of a pin list, and the fields of a conductor that they fill."""
NEEDED: Final = ("conductor", "from_pin", "to_pin")


class PinLists:
    """Reads the pin lists of a job and remembers where their lines came from.

    Attributes:
        texts: what stood in those that were read, by their names.
    """

    def __init__(self, folder: Path) -> None:
        self.texts: dict[str, str] = {}
        self._folder = folder
        self._places = Places("")
        self._known: dict[int, ConductorEntry] = {}

    def place(self, value: Any, *steps: str | int) -> Place | None:
        """The place of a conductor's entry that came from a pin list; None for anything else."""
        if id(value) not in self._known:
            return None
        return self._places.of(value, *steps)

    def read(self, name: str, place: Place, field: str, problems: list[Problem]) -> list[ConductorEntry]:
        """Read one pin list.

        Args:
            name: the path, from the job's folder.
            place: where the plant file names it, for problems about the path.
            field: the field there.
            problems: every problem is appended.

        Returns:
            The entries that can be used.
        """
        text = self.text(name, place, field, problems)
        if text is None:
            return []
        self.texts[name] = text
        return self._rows(text, str(self._folder / name), problems)

    def text(self, name: str, place: Place, field: str, problems: list[Problem]) -> str | None:
        """What stands in a pin list; the arguments are those of :meth:`read`. None where it cannot be read."""
        path = self._path(name, place, field, problems)
        if path is None:
            return None
        try:
            return read_text(path)
        except BadFile as error:
            problems += error.problems
            return None

    def _path(self, name: str, place: Place, field: str, problems: list[Problem]) -> Path | None:
        expected = "a path inside the job's folder such as 'pins/w214.csv'"
        if not name.endswith(".csv"):
            problems.append(Problem(place, field, shown(name), "a file that ends in .csv, or a name in 'pin-lists'"))
            return None
        path = self._folder / name
        home = self._folder.resolve()
        # a link may lead out as well as '..' does, so the real path counts
        if Path(name).is_absolute() or ".." in Path(name).parts or home not in path.resolve().parents:
            problems.append(Problem(place, field, f"{shown(name)}, which leads out of the job's folder", expected))
            return None
        if not is_file(path):
            there = [str(p.relative_to(self._folder)) for p in sorted(self._folder.rglob("*.csv"))]
            problems.append(Problem(place, field, f"no file {shown(name)}", "a file that is there", near(name, there)))
            return None
        return path

    def _rows(self, text: str, file: str, problems: list[Problem]) -> list[ConductorEntry]:
        lines = _Lines(text)
        reader = csv.reader(lines, strict=True)
        columns: list[str] | None = None
        entries: list[ConductorEntry] = []
        while True:
            first = lines.count + 1
            try:
                cells = next(reader, None)
            except csv.Error as error:
                problems.append(Problem(Place(file, first, 1), "", f"CSV that cannot be read ({error})", "valid CSV"))
                break
            if cells is None:
                break
            if not cells or all(not cell.strip() for cell in cells) or cells[0].lstrip().startswith("#"):
                continue
            starts = _starts(lines.since(first))
            if columns is None:
                columns = self._header(cells, file, first, starts, problems)
                if columns is None:
                    return []
                continue
            entry = self._entry(cells, columns, file, first, starts, problems)
            if entry is not None:
                entries.append(entry)
        if columns is None and not problems:
            problems.append(Problem(Place(file), "", "an empty file", f"a line with the columns {', '.join(NEEDED)}"))
        return entries

    def _header(
        self, cells: list[str], file: str, line: int, starts: list[int], problems: list[Problem]
    ) -> list[str] | None:
        names = [cell.strip().casefold().replace(" ", "_").replace("-", "_") for cell in cells]
        before = len(problems)
        for number, name in enumerate(names):
            place = Place(file, line, starts[number])
            if name not in COLUMNS:
                found = f"the column {shown(cells[number])}"
                problems.append(Problem(place, "", found, one_of(COLUMNS), near(name, COLUMNS)))
            elif name in names[:number]:
                problems.append(Problem(place, "", f"the column '{name}' again", "each column once"))
        problems += [
            Problem(Place(file, line, 1), "", f"no column '{name}'", f"the columns {', '.join(NEEDED)} and others")
            for name in NEEDED
            if name not in names
        ]
        return names if len(problems) == before else None

    def _entry(
        self, cells: list[str], columns: list[str], file: str, line: int, starts: list[int], problems: list[Problem]
    ) -> ConductorEntry | None:
        place = Place(file, line, 1)
        if len(cells) != len(columns):
            found, expected = f"{len(cells)} cells", f"{len(columns)} cells, as the first line has columns"
            problems.append(Problem(place, "", found, expected))
            return None
        entries: dict[str, tuple[Place, Node]] = {}
        for number, (column, cell) in enumerate(zip(columns, cells, strict=True)):
            if cell.strip():
                spot = Place(file, line, starts[number])
                entries[COLUMNS[column]] = (spot, Scalar(spot, cell.strip(), True))
        before = len(problems)
        entry = convert(Fields(place, entries), ConductorEntry, self._places, problems)
        if len(problems) > before:
            return None
        assert isinstance(entry, ConductorEntry)
        self._known[id(entry)] = entry
        return entry


class _Lines:
    """The lines of a text, one by one, with a count of those that were taken."""

    def __init__(self, text: str) -> None:
        self._lines = list(io.StringIO(text, newline=""))
        self.count = 0

    def __iter__(self) -> _Lines:
        return self

    def __next__(self) -> str:
        if self.count >= len(self._lines):
            raise StopIteration
        self.count += 1
        return self._lines[self.count - 1]

    def since(self, first: int) -> str:
        """The lines from a number up to the last that was taken."""
        return "".join(self._lines[first - 1 : self.count])


def _starts(raw: str) -> list[int]:
    """The column at which each cell of a CSV line begins, from 1."""
    starts, quoted = [1], False
    for number, character in enumerate(raw, 1):
        if character == '"':
            quoted = not quoted
        elif character == "," and not quoted:
            starts.append(number + 1)
    return starts
