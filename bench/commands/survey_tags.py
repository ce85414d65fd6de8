"""Resistors as tags on many cables at once: which values stay apart, and what each reads; by identify's own choice."""

from __future__ import annotations

from collections.abc import Sequence

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.identify.case import TOLERANCE
from bench.diagnose.identify.tags import Loop, Meter, Tag, choose, series_values, shows
from bench.errors import BadRequest
from bench.quantity import QuantityError, Resistance, engineering

_LOOP = Loop(0.0, 20.0)
"""One conductor there and the frame back, clips and all: some 80 m of the thinnest wire (own choice)."""
_METER = Meter(0.01, 1.0)
"""A cheap hand-held meter (common practice, no source)."""
_MEASURED = 0.01
"""How far a single value may be off: whoever names it has measured it."""


def values_at_hand(text: str) -> tuple[Tag, ...]:
    """The largest set of resistors that one touch tells apart.

    Args:
        text: ``E24``, ``E96``, or values with commas.

    Raises:
        BadRequest: a value is none, or fewer than two stay apart.
    """
    tags: list[Tag] = []
    for one in filter(None, map(str.strip, text.split(","))):
        series = one.upper()
        if series in TOLERANCE:
            tags += [Tag(ohms, TOLERANCE[series], series) for ohms in series_values(series)]
            continue
        try:
            tags.append(Tag(Resistance.parse(one).value, _MEASURED, one))
        except (QuantityError, DiagnoseError) as error:
            raise BadRequest(f"--tags: found '{one}', expected E24, E96 or a resistance such as '4.7 kohm'") from error
    found = choose(tags, _LOOP, _METER)
    if len(found) < 2:
        raise BadRequest(f"--tags {text}: {len(found)} of these stays apart by one reading, expected two or more")
    return found


def told_tags(at_hand: Sequence[Tag], count: int) -> list[tuple[str, str]]:
    """As many tags as a trip wants, furthest apart: the value of each, and what a reading of it may show.

    Args:
        at_hand: those that stay apart.
        count: how many.
    """
    if count < 2 or len(at_hand) < count:
        return []
    told = []
    for tag in choose(at_hand, _LOOP, _METER, count):
        low, high = (engineering(ohms, "Ω", digits=3) for ohms in shows(*tag.within(), _LOOP, _METER))
        told.append((engineering(tag.ohms, "Ω", digits=3), f"{low} to {high}"))
    return told
