"""One axis for all that draws values: the scale of a limit, plots in cells and plots on paper."""

from __future__ import annotations

import math
from collections.abc import Iterable

import msgspec


class Axis(msgspec.Struct, frozen=True):
    """Where values lie between two ends.

    Attributes:
        start: value at the one end.
        end: value at the other end.
        decades: whether it counts in decades; both ends are above 0 then.
    """

    start: float
    end: float
    decades: bool = False

    @classmethod
    def around(cls, values: Iterable[float], air: float = 0.0) -> Axis:
        """An even axis on which some values show, with room beside them.

        Args:
            values: what must show; with none the axis goes from 0 to 1.
            air: room at either end, as a part of their span.
        """
        found = list(values) or [0.0, 1.0]
        low, high = min(found), max(found)
        room = (high - low) * air or (abs(high) * 0.1 or 1.0 if low == high else 0.0)
        return cls(low - room, high + room)

    def place(self, value: float) -> float:
        """0 at the start, 1 at the end; -1 and 2 at the most for values beyond."""
        if self.decades and value <= 0:
            return -1.0
        if self.decades:
            start = math.log(self.start)
            share = (math.log(value) - start) / (math.log(self.end) - start)
        else:
            share = (value - self.start) / (self.end - self.start)
        return min(2.0, max(-1.0, share))

    def cell(self, value: float, cells: int) -> int:
        """Which of some cells a value lies in, counted from 0; outside of them for values beyond.

        Args:
            value: on the axis, or beyond it.
            cells: how many there are.
        """
        return round(self.place(value) * (cells - 1))

    def within(self, value: float, cells: int) -> int:
        """The same, with values beyond in the first or the last cell."""
        return min(cells - 1, max(0, self.cell(value, cells)))

    @property
    def ticks(self) -> tuple[float, ...]:
        """Whole decades between the ends; none on an even axis."""
        if not self.decades:
            return ()
        first, last = round(math.log10(self.start)), round(math.log10(self.end))
        return tuple(10.0**power for power in range(first + 1, last))
