"""A point's readings over time, drawn in cells: marks by verdict, the uncertainty as a bar, the limit as a wall."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import msgspec

from bench.job.rows import Evidence
from bench.job.series import Series, seconds
from bench.job.study import Study
from bench.job.trace_words import When
from bench.quantity import engineering
from bench.say.axis import Axis
from bench.screens.program.cells import Line, Span, cut, joined, width
from bench.screens.program.glyphs import Glyphs

LABEL: Final = 10
"""Cells at the left edge for the figures of the scale."""
FAR: Final = 12.0
"""A limit that lies farther away than this many times the span of the readings is told, not drawn."""
_RANK: Final = ("", "skipped", "void", "pass", "undecided", "fail")
"""Of several readings in one column the one that matters most is on top."""


class Frame(msgspec.Struct, frozen=True):
    """What the plot spans.

    Attributes:
        across: seconds since 1970, from left to right.
        down: the value, in the unit of the series, from the top to the foot.
        columns: cells across.
        rows: cells up.
    """

    across: Axis
    down: Axis
    columns: int
    rows: int

    def column(self, at: float) -> int:
        """Where a moment lies."""
        if self.across.end <= self.across.start:
            return self.columns // 2
        return self.across.within(at, self.columns)

    def row(self, value: float) -> int:
        """Where a value lies, from the top; -1 above it, ``rows`` below it."""
        return min(self.rows, max(-1, self.down.cell(value, self.rows)))

    def shows(self, value: float) -> bool:
        """Whether a value lies between foot and top."""
        return self.down.end <= value <= self.down.start


def frame_of(study: Study, columns: int, rows: int) -> Frame | None:
    """What a plot of a series spans; None where nothing can be drawn."""
    series = study.series
    if series is None or columns < 8 or rows < 3:
        return None
    runs = series.runs
    inside = [
        (value - 2 * doubt, value + 2 * doubt)
        for value, doubt, row in zip(runs.values, runs.uncertainties, study.runs, strict=True)
        if not row.over or runs.unit == "decades"
    ]
    limits = [bound for bound in runs.limits if bound is not None]
    if not inside:
        ends = limits or [0.0]
    else:
        ends = [bound for pair in inside for bound in pair]
        span = max(ends) - min(ends) or abs(ends[0]) or 1.0
        ends += [bound for bound in limits if min(ends) - FAR * span <= bound <= max(ends) + FAR * span]
    up = Axis.around(ends, 0.06)
    times = [seconds(row.at) for row in study.rows]
    return Frame(Axis(min(times), max(times)), Axis(up.end, up.start), columns, rows)


class _Canvas:
    """Cells that are painted over."""

    def __init__(self, columns: int, rows: int) -> None:
        self.signs = [[" "] * columns for _ in range(rows)]
        self.styles = [[""] * columns for _ in range(rows)]

    def put(self, row: int, column: int, sign: str, style: str) -> None:
        if 0 <= row < len(self.signs) and 0 <= column < len(self.signs[row]):
            self.signs[row][column], self.styles[row][column] = sign, style

    def line(self, row: int) -> Line:
        return joined(Span(*cell) for cell in zip(self.signs[row], self.styles[row], strict=True))


def draw_plot(
    study: Study, touched: Sequence[str], pointed: int, cells: int, rows: int, glyphs: Glyphs, when: When
) -> list[Line]:
    """The plot: ``rows`` lines, the last three of them the time axis, what was touched, and the dates.

    Args:
        study: the series.
        touched: when something happened near the point, UTC.
        pointed: which of the study's rows is pointed at.
        cells: width.
        rows: height; under 7 nothing is drawn.
        glyphs: the signs to draw with.
        when: writes a time for people.
    """
    frame = frame_of(study, cells - LABEL, rows - 3)
    series = study.series
    if frame is None or series is None:
        return []
    canvas = _Canvas(frame.columns, frame.rows)
    for bound in series.runs.limits:
        if bound is not None and frame.shows(bound):
            for column in range(frame.columns):
                canvas.put(frame.row(bound), column, glyphs.gap, "wall")
    _readings(canvas, study, series, frame, pointed, glyphs)
    labels = _labels(series, frame, glyphs)
    lines = [(*labels[row], *canvas.line(row)) for row in range(frame.rows)]
    return [*lines, *_foot(study, touched, pointed, frame, glyphs, when)]


def _readings(canvas: _Canvas, study: Study, series: Series, frame: Frame, pointed: int, glyphs: Glyphs) -> None:
    runs = series.runs
    order = sorted(range(len(study.runs)), key=lambda i: _RANK.index(study.runs[i].verdict) if
                   study.runs[i].verdict in _RANK else 0)  # fmt: skip
    chosen = study.rows[pointed] if study.rows else None
    bar = glyphs.frame[3]
    for i in order:
        row, value, doubt = study.runs[i], runs.values[i], runs.uncertainties[i]
        column = frame.column(runs.times[i])
        if row.over and runs.unit != "decades":
            edge = 0 if row.over == "+" else frame.rows - 1
            canvas.put(edge, column, glyphs.up if row.over == "+" else glyphs.down, row.verdict or "point")
            continue
        top, foot = frame.row(value + 2 * doubt), frame.row(value - 2 * doubt)
        for place in range(max(0, top), min(frame.rows - 1, foot) + 1):
            canvas.put(place, column, bar, "band")
    for i in order:
        row = study.runs[i]
        if row.over and runs.unit != "decades":
            continue
        style = row.verdict if row.verdict in _RANK and row.verdict else "point"
        here = row is chosen
        canvas.put(
            frame.row(runs.values[i]),
            frame.column(runs.times[i]),
            glyphs.mark(row.verdict),
            "cursor" if here else style,
        )


def _labels(series: Series, frame: Frame, glyphs: Glyphs) -> list[Line]:
    """The figures at the left edge: both ends, and the limit where it lies between them."""
    found: dict[int, tuple[str, str]] = {}
    top, foot = frame.down.start, frame.down.end
    step = (top - foot) / (frame.rows - 1)
    for row, value in ((0, top - 0.5 * step), (frame.rows - 1, foot + 0.5 * step)):
        found[row] = (_figure(series, value), "scale")
    for bound in series.runs.limits:
        if bound is not None and frame.shows(bound):
            found[frame.row(bound)] = (_figure(series, bound), "wall")
    labels: list[Line] = []
    for row in range(frame.rows):
        text, style = found.get(row, ("", ""))
        text = cut(glyphs.say(text), LABEL - 1, glyphs.ellipsis)
        labels.append((Span(" " * (LABEL - 1 - width(text)) + text, style), Span(" ")))
    return labels


def _figure(series: Series, value: float) -> str:
    if series.runs.unit == "decades":
        return engineering(10.0**value, "Ω", digits=2)
    return engineering(value, series.runs.unit, digits=3)


def _foot(study: Study, touched: Sequence[str], pointed: int, frame: Frame, glyphs: Glyphs, when: When) -> list[Line]:
    """The axis with the bracket of the change, what was touched, and the dates at both ends."""
    canvas = _Canvas(frame.columns, 2)
    for column in range(frame.columns):
        canvas.put(0, column, glyphs.axis, "scale")
    window = study.window
    if window is not None:
        before, after, _ = window.sides
        last = frame.column(seconds(after.at))
        for column in range(frame.column(seconds(before.at)) if before is not None else last, last + 1):
            canvas.put(0, column, glyphs.wire, "accent")
    for row in study.rows:
        if row.value is None and not row.over:
            # a reading without a figure has no place above
            canvas.put(0, frame.column(seconds(row.at)), glyphs.mark(row.verdict), row.verdict)
    chosen = study.rows[pointed] if study.rows else None
    for at in touched:
        moment = seconds(at)
        if frame.across.start <= moment <= frame.across.end:
            canvas.put(1, frame.column(moment), glyphs.up, "warn")
    if chosen is not None:
        canvas.put(0, frame.column(seconds(chosen.at)), glyphs.point, "point")
    edge: Line = (Span(" " * LABEL),)
    name = (Span("touched".rjust(LABEL - 1), "dim"), Span(" "))
    return [(*edge, *canvas.line(0)), (*name, *canvas.line(1)), _dates(study.rows, frame, when)]


def _dates(rows: Sequence[Evidence], frame: Frame, when: When) -> Line:
    first, last = when(rows[0].at)[:10], when(rows[-1].at)[:10]
    if first == last or frame.columns < 24:
        return (Span(" " * LABEL), Span(first, "dim"))
    gap = frame.columns - len(first) - len(last)
    return (Span(" " * LABEL), Span(first + " " * gap + last, "dim"))
