"""The last minutes of a point as a strip of signs: how high it read, where it jumped, what was moved."""

from __future__ import annotations

import math

from bench.diagnose.hunt.watched import figure
from bench.judge.jumps import OVER
from bench.screens.program.cells import Line, Span, line, sides
from bench.screens.program.glyphs import Glyphs
from bench.walk.watching import STRIP_S, Watch


def strip(watch: Watch, point: int, now: float, cells: int, glyphs: Glyphs, seconds: float = STRIP_S) -> list[Line]:
    """Four lines: the newest reading, the readings with the widest in each cell, the jumps, and what was moved.

    Args:
        watch: the watch.
        point: index of the point.
        now: seconds since the watch began; it is the right edge.
        cells: width.
        glyphs: the signs to draw with.
        seconds: of the whole strip.
    """
    begin, each = now - seconds, seconds / cells
    followed, about = watch.points[point], watch.head.points[point]
    columns: list[list[float]] = [[] for _ in range(cells)]
    for at, value in followed.recent:
        column = int((at - begin) / each)
        if 0 <= column < cells:
            columns[column].append(value)
    figures = [value for column in columns for value in column if value != OVER]
    low, high = min(figures, default=0.0), max(figures, default=0.0)
    level = followed.finder.level
    reach = followed.finder.reach if math.isfinite(followed.finder.reach) else 0.0
    if level is not None and level != OVER:
        low, high = min(low, level - reach), max(high, level + reach)
    bars = "".join(_bar(column, low, high, level, glyphs) for column in columns)
    marks, moves = [" "] * cells, [" "] * cells
    for sprang in watch.jumps:
        column = int((sprang.jump.at - begin) / each)
        if sprang.point == point and 0 <= column < cells:
            marks[column] = glyphs.up
    numbers = {place.name: number for number, place in enumerate(watch.head.places, 1)}
    for moved in watch.moved:
        first = int((moved.named - begin) / each)
        last = int(((min(moved.ended, now) if moved.ended is not None else now) - begin) / each)
        if last < 0:
            continue
        word = "+".join(str(numbers[name]) for name in moved.places)
        text = (word + glyphs.rule * cells)[: max(1, last - first + 1)]
        for place, sign in enumerate(text, first):
            if 0 <= place < cells:
                moves[place] = sign
    newest = followed.recent[-1][1] if followed.recent else None
    shown = "no reading yet" if newest is None else figure(newest, about.unit, about.resolution or None)
    span = f"{figure(low, about.unit)} to {figure(high, about.unit)}" if figures else ""
    head = sides(
        line(Span(f"{about.name}  ", "dim"), Span(shown, "strong")),
        line(Span(f"{span}, the last {seconds:.0f} s", "dim")),
        cells,
    )
    return [head, line(Span(bars)), line(Span("".join(marks), "fail")), line(Span("".join(moves), "watch"))]


def _bar(column: list[float], low: float, high: float, level: float | None, glyphs: Glyphs) -> str:
    """One cell: what lay furthest from the level in it."""
    if not column:
        return " "
    at = level if level is not None and level != OVER else sorted(column)[len(column) // 2]
    if OVER in column:
        return glyphs.cut if level != OVER else glyphs.dot
    widest = max(column, key=lambda value: abs(value - at)) if at != OVER else column[-1]
    part = (widest - low) / (high - low) if high > low else 0.5
    return glyphs.levels[min(len(glyphs.levels) - 1, max(0, int(part * len(glyphs.levels))))]
