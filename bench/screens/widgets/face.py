"""A connector's face, as it looks from the side that the operator stands at.

Pins that are to be touched are marked by shape; pins of this walk that have a verdict show its mark, so the face fills
as the work goes on. Pins stand in fives, since people count in fives. A face that is wider than its room is drawn
closer, and then as a window around the marked pins.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import msgspec

from bench.screens.program.cells import Line, Span, joined, width
from bench.screens.program.glyphs import Glyphs

FIVE: Final = 5


class Face(msgspec.Struct, frozen=True):
    """What is drawn.

    Attributes:
        rows: pin names, rows from top to bottom, pins from left to right, as seen from the side drawn.
        marks: pin to ``red`` or ``black``.
        verdicts: pin to the verdict that it has in this walk.
        offsets: for each row how far it is moved to the right, in pin pitches; empty where none is.
    """

    rows: tuple[tuple[str, ...], ...]
    marks: Mapping[str, str]
    verdicts: Mapping[str, str]
    offsets: tuple[float, ...] = ()

    def offset(self, row: int) -> float:
        """How far a row is moved to the right."""
        return self.offsets[row] if self.offsets else 0.0

    def mirrored(self) -> Face:
        """The same face from the other side: left and right change places."""
        ends = [self.offset(number) + len(row) for number, row in enumerate(self.rows)]
        far = max(ends, default=0.0)
        return Face(tuple(row[::-1] for row in self.rows), self.marks, self.verdicts, tuple(far - end for end in ends))


class _Grid(msgspec.Struct, frozen=True):
    """How the pins are spread: cells for each pin, whether fives are parted, and whether names are written."""

    pitch: int
    fives: bool
    names: bool

    def column(self, place: int, offset: float = 0.0) -> int:
        """The first cell of a pin's place in its row, from 0."""
        whole, part = divmod(offset, 1.0)
        at = place + int(whole)
        return at * self.pitch + (at // FIVE if self.fives else 0) + int(part * self.pitch)

    def across(self, face: Face) -> int:
        """Cells that the longest row takes."""
        rows = enumerate(face.rows)
        return max(self.column(len(row) - 1, face.offset(number)) + self.pitch for number, row in rows if row)

    @property
    def five(self) -> int:
        """Cells that five pins take."""
        return FIVE * self.pitch + int(self.fives)


def draw(face: Face, cells: int, glyphs: Glyphs, *, rows: int = 12) -> list[Line]:
    """The face in a number of cells at most, in a frame; as high as the connector has rows, and two for the frame.

    Args:
        face: what is drawn.
        cells: width that there is.
        glyphs: the signs to draw with.
        rows: rows of pins that there is room for; more are drawn as a window around the marked ones.

    Returns:
        Lines of equal width; none where there is no room.
    """
    longest = max((len(row) for row in face.rows), default=0)
    if not longest or cells < 8 or rows < 1:
        return []
    grid, ends = _grid(face, cells - 2)
    inner = cells - 2 - 2 * ends
    first, last = 0, longest
    if grid.across(face) > inner:
        face = Face(face.rows, face.marks, face.verdicts)
        first, last = _window(face, longest, inner)
    top, bottom = _row_window(face, rows)
    across = min(grid.across(face), inner)
    drawing = _Drawing(face, grid, first, last, across, ends, glyphs)
    body = [drawing.row(number) for number in range(top, bottom)]
    return [drawing.edge(top, upper=True), *body, drawing.edge(bottom - 1, upper=False)]


def _grid(face: Face, inner: int) -> tuple[_Grid, int]:
    """The widest spread that fits, and the cells that the names of a row's first and last pin take beside it."""
    name = max(width(pin) for row in face.rows for pin in row)
    fives = max(len(row) for row in face.rows) > FIVE + 2
    ends = name + 1
    for way, beside in (
        (_Grid(name + 2, fives, True), 0),
        (_Grid(name + 2, False, True), 0),
        (_Grid(2, fives, False), ends),
        (_Grid(2, fives, False), 0),
        (_Grid(1, fives, False), ends),
        (_Grid(1, fives, False), 0),
    ):
        if way.across(face) <= inner - 2 * beside:
            return way, beside
    return _Grid(1, False, False), ends if inner - 2 * ends >= FIVE else 0


def _window(face: Face, longest: int, inner: int) -> tuple[int, int]:
    """The columns that show where not all fit: around the marked pins."""
    places = [c for row in face.rows for c, pin in enumerate(row) if pin in face.marks] or [0]
    middle = (min(places) + max(places)) // 2
    if max(places) - min(places) >= inner:
        middle = places[0]
    first = max(0, min(middle - inner // 2, longest - inner))
    return first, min(longest, first + inner)


def _row_window(face: Face, rows: int) -> tuple[int, int]:
    count = len(face.rows)
    if count <= rows:
        return 0, count
    marked = [r for r, row in enumerate(face.rows) if any(pin in face.marks for pin in row)] or [0]
    middle = (min(marked) + max(marked)) // 2
    top = max(0, min(middle - rows // 2, count - rows))
    return top, top + rows


class _Drawing(msgspec.Struct, frozen=True):
    face: Face
    grid: _Grid
    first: int
    last: int
    across: int
    ends: int
    glyphs: Glyphs

    def row(self, number: int) -> Line:
        """One row of pins between the sides of the frame."""
        row, glyphs, ends = self.face.rows[number], self.glyphs, self.ends
        spans = [Span(glyphs.frame[7], "frame")]
        if ends:
            name = glyphs.more_left if self.first > 0 else row[0]
            spans.append(Span(f"{' ' * (ends - 1 - width(name))}{name} ", "ruler"))
        at = 0
        for place in self._places(number):
            start = self._start(number, place)
            spans.append(Span(" " * (start - at)))
            spans.append(self._pin(row[place]))
            at = start + (width(spans[-1].text) if self.grid.names else 1)
        spans.append(Span(" " * max(0, self.across - at)))
        if ends:
            name = glyphs.more_right if self.last < len(row) else row[-1]
            spans.append(Span(f" {name}{' ' * (ends - 1 - width(name))}", "ruler"))
        spans.append(Span(glyphs.frame[3], "frame"))
        return joined(part for part in spans if part.text)

    def edge(self, number: int, *, upper: bool) -> Line:
        """A line of the frame, with an arrow at a marked pin and the name of the first pin of every five."""
        frame, row = self.glyphs.frame, self.face.rows[number]
        left, rule, right = (frame[0], frame[1], frame[2]) if upper else (frame[6], frame[5], frame[4])
        cells: list[tuple[str, str]] = [(rule, "frame")] * (self.across + 2 * self.ends)
        marked = {self._start(number, p) + self.ends: row[p] for p in self._places(number) if row[p] in self.face.marks}
        for place in self._places(number):
            start = self._start(number, place) + self.ends
            name = row[place]
            taken = range(start - 1, start + len(name) + 1)
            fits = len(name) == width(name) < self.grid.five and taken[-1] <= len(cells) - self.ends
            if place % FIVE == 0 and not self.grid.names and fits and not any(cell in marked for cell in taken):
                cells[start : start + len(name)] = [(character, "ruler") for character in name]
        for cell, pin in marked.items():
            cells[cell] = (self.glyphs.down if upper else self.glyphs.up, self.face.marks[pin])
        return tuple(joined([Span(left, "frame"), *(Span(*cell) for cell in cells), Span(right, "frame")]))

    def _places(self, number: int) -> range:
        return range(self.first, min(self.last, len(self.face.rows[number])))

    def _start(self, number: int, place: int) -> int:
        return self.grid.column(place - self.first, self.face.offset(number))

    def _pin(self, pin: str) -> Span:
        mark = self.face.marks.get(pin)
        if mark is not None:
            sign, style = (self.glyphs.red, "red") if mark == "red" else (self.glyphs.black, "black")
        else:
            verdict = self.face.verdicts.get(pin, "")
            sign, style = self.glyphs.mark(verdict), f"pin-{verdict}" if verdict else "pin"
        return Span(f"{sign}{pin}" if self.grid.names else sign, style)
