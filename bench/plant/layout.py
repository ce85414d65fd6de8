"""How the pins of a connector lie, how they count, which are neighbours, and where pairs land."""

from __future__ import annotations

from functools import cached_property
from typing import Final

import msgspec

from bench.plant.file import ConnectorType

REACH: Final = 0.6
"""Pins of adjacent rows are neighbours up to this sideways distance, in pin pitches: straight above, or half a pitch
off where rows are staggered."""


class PinPlace(msgspec.Struct, frozen=True):
    """Where one pin lies.

    Attributes:
        pin: its name.
        row: counted from the top, from 1.
        column: counted from the left within its row, from 1.
        across: sideways position in pin pitches.
        index: its place in the counting order, from 0.
    """

    pin: str
    row: int
    column: int
    across: float
    index: int


class Layout(msgspec.Struct, frozen=True, dict=True):
    """The pins of a connector type.

    Attributes:
        grid: rows from top to bottom, pins from left to right, as seen from ``view``.
        order: the pins in counting order.
        view: the side from which rows and columns are given.
        stagger: how far every second row is moved to the right, in pin pitches.
        halves: whether pairs land in halves; see :class:`bench.plant.file.ConnectorType`.
    """

    grid: tuple[tuple[str, ...], ...]
    order: tuple[str, ...]
    view: str = "mating"
    stagger: float = 0.0
    halves: bool = False

    @cached_property
    def places(self) -> dict[str, PinPlace]:
        """Every pin's place by its name."""
        index = {pin: number for number, pin in enumerate(self.order)}
        return {
            pin: PinPlace(pin, r + 1, c + 1, c + self.stagger * (r % 2), index[pin])
            for r, row in enumerate(self.grid)
            for c, pin in enumerate(row)
        }

    @cached_property
    def adjacent(self) -> dict[str, tuple[str, ...]]:
        """For every pin the pins beside, above and below it."""
        near: dict[str, list[str]] = {pin: [] for pin in self.order}
        for r, row in enumerate(self.grid):
            for c, pin in enumerate(row):
                if c + 1 < len(row):
                    near[pin].append(row[c + 1])
                    near[row[c + 1]].append(pin)
                if r + 1 < len(self.grid):
                    for other in self.grid[r + 1]:
                        if abs(self.places[pin].across - self.places[other].across) <= REACH:
                            near[pin].append(other)
                            near[other].append(pin)
        return {pin: tuple(sorted(found, key=lambda other: self.places[other].index)) for pin, found in near.items()}

    @property
    def pairs(self) -> int:
        """How many pairs it takes."""
        return len(self.order) // 2

    def pair_pins(self, pair: int) -> tuple[str, str]:
        """The pins of tip and ring of a pair, counted from 1."""
        if self.halves:
            return self.order[len(self.order) // 2 + pair - 1], self.order[pair - 1]
        return self.order[2 * pair - 2], self.order[2 * pair - 1]

    def shifted(self, pin: str, by: int) -> str | None:
        """The pin that lies a number of places to the right in the same row; None where the row has ended.

        Args:
            pin: where to begin.
            by: how many places; negative to the left.
        """
        place = self.places[pin]
        row = self.grid[place.row - 1]
        column = place.column - 1 + by
        return row[column] if 0 <= column < len(row) else None


def layout_of(kind: ConnectorType) -> Layout:
    """The pins of a connector type."""
    halves = kind.pairs == "halves"
    if isinstance(kind.rows, list):
        grid = tuple(tuple(row) for row in kind.rows)
        order = tuple(pin for row in grid for pin in row)
        return Layout(grid, order, kind.view, kind.stagger.value, halves)
    assert kind.pins is not None, "a type without rows has pins: its file type sees to it"
    count, rows = kind.pins, kind.rows
    width = count // rows
    order = tuple(str(number) for number in range(1, count + 1))
    if kind.numbering == "down-columns":
        grid = tuple(tuple(order[column * rows + row] for column in range(width)) for row in range(rows))
    else:
        lines = [order[row * width : (row + 1) * width] for row in range(rows)]
        if kind.numbering == "snake":
            lines = [line[::-1] if row % 2 else line for row, line in enumerate(lines)]
        grid = tuple(lines)
    return Layout(grid, order, kind.view, kind.stagger.value, halves)
