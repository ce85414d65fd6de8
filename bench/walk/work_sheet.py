"""Work sheets: the readings of a plan as a table that is filled in at the rack, and what came back of it.

A sheet has a line for each reading, with a box for what the display shows, one for a second look, who and when. Its
code tells of which plan it is: a sheet of another one is refused. What was filled in goes through the same walk as what
is typed there; see :class:`bench.screens.walk.plain.Plain`. Spreadsheets write commas or semicolons between cells, and
both are read.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Collection, Iterator, Mapping
from typing import Final

import msgspec

from bench.sequence.plan import Plan, Step

COLUMNS: Final = ("code", "step", "what", "red", "black", "read", "reading", "again", "who", "when")
"""Of a sheet. The last four are filled in by hand; ``again`` is what a second look showed."""
FILLED: Final = COLUMNS[-4:]
MOST_LINES: Final = 100_000
"""More than any plan has readings."""


SCANNED: Final = re.compile(r"#(?P<code>[0-9A-F]{4}-[0-9A-F]{4})/(?P<line>[0-9]{1,6})")
"""What stands in the code to scan beside a line: the sheet's code and the line's number."""


class BadSheet(ValueError):
    """A sheet that cannot be taken; the text says where and why."""


class Cell(msgspec.Struct, frozen=True):
    """What a sheet says of one reading.

    Attributes:
        line: in the file.
        reading: what the display showed, as it was written; empty where nobody wrote anything.
        again: what a second look showed.
        who: who read it.
        when: when, as it was written.
    """

    line: int
    reading: str
    again: str = ""
    who: str = ""
    when: str = ""


def code_of(plan: Plan) -> str:
    """Eight signs that tell a plan by its readings and their places: ``7F3A-90C1``."""
    said = "\n".join(f"{step.key} {' '.join(step.probes or ())}" for step in plan.steps if step.reads)
    digits = hashlib.sha256(said.encode()).hexdigest()[:8].upper()
    return f"{digits[:4]}-{digits[4:]}"


def scan_text(plan: Plan, step: Step) -> str:
    """What is scanned beside the line of a reading; it leads the walk there."""
    return f"#{code_of(plan)}/{step.index + 1}"


def asked(plan: Plan, roles: Collection[str] | None = None) -> Iterator[Step]:
    """The readings that stand on a sheet.

    Args:
        plan: the sequence, unrolled.
        roles: those whose instruments a person reads; None: all of them.
    """
    return (step for step in plan.steps if step.reads and (roles is None or step.role in roles))


def lines(plan: Plan, roles: Collection[str] | None = None) -> Iterator[dict[str, str]]:
    """The lines of an empty sheet, column by column; arguments as for :func:`asked`."""
    code = code_of(plan)
    for step in asked(plan, roles):
        red, black = step.probes or ("", "")
        filled = dict.fromkeys(FILLED, "")
        yield {
            "code": code,
            "step": step.key,
            "what": step.title,
            "red": red,
            "black": black,
            "read": str(getattr(step.source, "read", "resistance")),
            **filled,
        }


def as_csv(plan: Plan, roles: Collection[str] | None = None) -> str:
    """An empty sheet as CSV; arguments as for :func:`asked`."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS)
    writer.writeheader()
    writer.writerows(lines(plan, roles))
    return out.getvalue()


def filled(text: str, plan: Plan) -> Mapping[str, Cell]:
    """What was filled in, by step key.

    Args:
        text: the sheet as CSV.
        plan: the plan that it must be of.

    Raises:
        BadSheet: a column is missing, it is of another plan, or a step is not in it or stands there twice.
    """
    text = text.removeprefix("﻿")
    first = text.split("\n", 1)[0]
    reader = csv.DictReader(io.StringIO(text), delimiter=";" if first.count(";") > first.count(",") else ",")
    missing = [name for name in ("code", "step", "reading") if name not in (reader.fieldnames or ())]
    if missing:
        raise BadSheet(f"line 1: no column {', '.join(missing)}; a sheet begins with {', '.join(COLUMNS)}")
    wanted, known = code_of(plan), {step.key for step in plan.steps if step.reads}
    found: dict[str, Cell] = {}
    try:
        for row in reader:
            line = reader.line_num
            said = {name: (row.get(name) or "").strip() for name in COLUMNS}
            if not any(said.values()):
                continue
            if said["code"] != wanted:
                raise BadSheet(f"line {line}: the code is {said['code'] or 'missing'}, and this walk's is {wanted}")
            if said["step"] not in known:
                raise BadSheet(f"line {line}: no reading of this walk is called {said['step']!r}")
            if said["step"] in found:
                raise BadSheet(f"line {line}: {said['step']!r} stands in line {found[said['step']].line} already")
            found[said["step"]] = Cell(line, said["reading"], said["again"], said["who"], said["when"])
            if len(found) > MOST_LINES:
                raise BadSheet(f"more than {MOST_LINES} lines")
    except csv.Error as error:
        raise BadSheet(f"line {reader.line_num}: {error}") from error
    return found
