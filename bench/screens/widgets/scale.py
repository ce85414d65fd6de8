"""The limit as a scale: where the reading lies, how far its uncertainty reaches, and where the limit stands."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import msgspec

from bench.quantity import engineering
from bench.say.axis import Axis
from bench.say.reading import asked
from bench.screens.program.cells import EMPTY, Line, Span, joined, width
from bench.screens.program.glyphs import Glyphs

FAR: Final = 20.0
"""Ratio of reading and limit from which the scale counts in decades."""


class Gauge(msgspec.Struct, frozen=True):
    """What a scale shows; all in the base unit.

    Attributes:
        unit: base unit.
        low: lower limit, or None.
        high: upper limit, or None.
        value: the reading; None where there is none.
        expanded: expanded uncertainty of the reading; None where it is not known.
        over: '+' or '-' where the meter shows over range.
    """

    unit: str
    low: float | None = None
    high: float | None = None
    value: float | None = None
    expanded: float | None = None
    over: str = ""

    @property
    def bounds(self) -> str:
        """The limit in words: ``at most 1.2 Ω``; empty where there is none."""
        return asked(self.low, self.high, self.unit)


def axis_of(gauge: Gauge) -> Axis | None:
    """An axis on which limit and reading both show, steady while a reading wanders; None without a limit."""
    low, high, value = gauge.low, gauge.high, gauge.value
    if low is None and high is None:
        return None
    if low is not None and high is not None:
        width = (high - low) or max(abs(high), 1e-12)
        reach = next((reach for reach in (0.3, 1.0) if _inside(value, low - reach * width, high + reach * width)), 0.3)
        return Axis(low - reach * width, high + reach * width)
    bound = high if high is not None else low
    assert bound is not None
    if bound <= 0:
        width = abs(bound) or 1.0
        return Axis(bound - width, bound + width)
    if value is not None and value > 0 and not 1 / FAR <= value / bound <= FAR:
        return _decades(bound, value)
    if high is None and (gauge.over or (value is not None and value > 2 * bound)):
        return _decades(bound, value if value is not None and value > 0 else bound * 100)
    end = next((end for end in (1.5, 2.5, 5.0) if _inside(value, 0.0, end * bound)), 1.5) * bound
    return Axis(0.0, end)


def _inside(value: float | None, start: float, end: float) -> bool:
    return value is None or start <= value <= end


def _decades(bound: float, value: float) -> Axis:
    # a reading of a millionth of its limit is a matter of the digits, not of the scale
    value = min(max(value, bound * 1e-5), bound * 1e5)
    return Axis(
        10.0 ** (math.ceil(math.log10(min(bound, value))) - 1),
        10.0 ** (math.floor(math.log10(max(bound, value))) + 1),
        decades=True,
    )


def draw(gauge: Gauge, cells: int, glyphs: Glyphs) -> tuple[Line, Line]:
    """The scale and the line of figures below it; two empty lines where there is no limit or no room.

    Args:
        gauge: what it shows.
        cells: width in terminal cells.
        glyphs: the signs to draw with.
    """
    axis = axis_of(gauge)
    if axis is None or cells < 16 or not axis.start < axis.end or (axis.decades and axis.start <= 0):
        return EMPTY, EMPTY
    return _bar(gauge, axis, cells, glyphs), _figures(gauge, axis, cells, glyphs)


def _bar(gauge: Gauge, axis: Axis, cells: int, glyphs: Glyphs) -> Line:
    signs = [glyphs.axis] * cells
    styles = ["scale"] * cells

    def put(start: int, end: int, sign: str, style: str) -> None:
        for cell in range(max(0, start), min(cells - 1, end) + 1):
            signs[cell], styles[cell] = sign, style

    for tick in axis.ticks:
        put(axis.cell(tick, cells), axis.cell(tick, cells), glyphs.dot, "scale")
    if gauge.low is not None:
        wall = axis.cell(gauge.low, cells)
        put(0, wall - 1, glyphs.beyond, "beyond")
        put(wall, wall, glyphs.wall, "wall")
    if gauge.high is not None:
        wall = axis.cell(gauge.high, cells)
        put(wall + 1, cells - 1, glyphs.beyond, "beyond")
        put(wall, wall, glyphs.wall, "wall")
    if gauge.value is not None:
        here = axis.cell(gauge.value, cells)
        if gauge.expanded is not None and math.isfinite(gauge.expanded):
            start = axis.cell(gauge.value - gauge.expanded, cells) if gauge.value > gauge.expanded else 0
            if not axis.decades:
                start = axis.cell(gauge.value - gauge.expanded, cells)
            put(start, axis.cell(gauge.value + gauge.expanded, cells), glyphs.band, "band")
        if 0 <= here < cells:
            put(here, here, glyphs.point, "point")
        else:
            put(*((cells - 1,) * 2 if here >= cells else (0, 0)), _arrow(here >= cells, glyphs), "point")
    elif gauge.over:
        edge = 0 if gauge.over == "-" else cells - 1
        put(edge, edge, _arrow(gauge.over == "+", glyphs), "point")
    return joined(Span(*cell) for cell in zip(signs, styles, strict=True))


def _arrow(right: bool, glyphs: Glyphs) -> str:
    if not glyphs.unicode:
        return ">" if right else "<"
    return "▶" if right else "◀"


def _digits(end: float, walls: Sequence[float]) -> int:
    """Digits of an end's figure: three, or as many more as keep it on its side of the limits: 100.3, and not 100."""

    def apart(digits: int) -> bool:
        shown = float(f"{end:.{digits}g}")
        return all((shown > wall) == (end > wall) and shown != wall for wall in walls if wall != end)

    return next((digits for digits in (3, 4, 5) if apart(digits)), 6)


def _figures(gauge: Gauge, axis: Axis, cells: int, glyphs: Glyphs) -> Line:
    """Figures below the scale: both ends, and the limits where they stand."""
    found: list[tuple[int, str, str]] = []
    walls = [bound for bound in (gauge.low, gauge.high) if bound is not None]
    for bound in walls:
        text = glyphs.say(engineering(bound, gauge.unit))
        found.append((axis.cell(bound, cells) - width(text) // 2, text, "wall"))
    for edge, value in ((0, axis.start), (cells, axis.end)):
        text = glyphs.say(engineering(value, gauge.unit, digits=_digits(value, walls)))
        found.append((edge - (width(text) if edge else 0), text, "scale"))
    row = ""
    spans: list[tuple[int, str, str]] = []
    for start, text, style in found:
        start = max(0, min(start, cells - width(text)))
        if all(start + width(text) < s or start > s + width(t) for s, t, _ in spans):
            spans.append((start, text, style))
    spans.sort()
    drawn: list[Span] = []
    for start, text, style in spans:
        drawn.append(Span(" " * (start - len(row))))
        drawn.append(Span(text, style))
        row = row.ljust(start) + text
    return tuple(drawn)
