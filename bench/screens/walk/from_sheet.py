"""What a work sheet that was filled in at the rack answers to a walk: its figures, its blanks, its doubtful cells."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import msgspec

from bench.walk import by_eye
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.state import State, by_eye_at, request
from bench.walk.work_sheet import Cell, filled

if TYPE_CHECKING:
    from collections.abc import Mapping

STANDS: Final = (by_eye.WOULD_FAIL, by_eye.UNSTEADY, by_eye.WHICH_RANGE)
"""A figure on a sheet that is asked about for these counts as it stands: nobody can look at the display again."""


class FromSheet(msgspec.Struct, frozen=True):
    """What it answers.

    Attributes:
        wish: what is sent: the figure, or that the reading is passed over and why.
        said: the same in words.
        kind: ``taken``, ``looked at again``, ``blank`` or ``doubtful``.
    """

    wish: e.Answered | e.Skipped
    said: str
    kind: str


def cells_of(sheet: str, state: State) -> Mapping[str, Cell]:
    """The cells of a sheet, by step key.

    Raises:
        BadSheet: it is none, or one of another walk.
    """
    assert state.setting is not None
    return filled(sheet, state.setting.plan)


def answer(cells: Mapping[str, Cell], state: State) -> FromSheet | None:
    """What the sheet says to what is asked now; None where it says nothing and a person must.

    A sheet cannot be looked at twice. A figure that is asked for again gives way to the second look beside it; without
    one, what would fail and an OL of no named range count as they stand, and anything else that is doubtful is passed
    over, with the reason.
    """
    asked, facts = request(state), by_eye_at(state)
    if not isinstance(asked, r.Place) or facts is None or asked.step.key not in cells:
        return None
    cell, typed, doubt = cells[asked.step.key], state.pending.typed, state.pending.doubt
    displays = facts.displays.get(by_eye.function_of(asked.step)[1], [])
    if not typed and not cell.reading:
        return _passed(asked.number, "blank", f"blank on the sheet, line {cell.line}")
    figure = cell.reading if not typed else cell.again or (cell.reading if doubt.startswith(STANDS) else "")
    if len(typed) > 2 or not figure:
        why = f"doubtful on the sheet, line {cell.line}: {cell.reading!r}. {doubt}"
        return _passed(asked.number, "doubtful", why)
    if by_eye.read_from(figure, displays) is None:
        why = f"doubtful on the sheet, line {cell.line}: {figure!r} is not {by_eye.wanted(displays)}"
        return _passed(asked.number, "doubtful", why)
    who = cell.who or "nobody named"
    event = e.Answered(number=asked.number, answer=figure, read_by=who, read_at=cell.when)
    said = f"from the sheet, line {cell.line}: {figure} ({', '.join(filter(None, (who, cell.when)))})"
    return FromSheet(event, said, "looked at again" if typed else "taken")


def _passed(number: int, kind: str, why: str) -> FromSheet:
    return FromSheet(e.Skipped(number=number, reason=why), why, kind)
