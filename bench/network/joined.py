"""Disjoint sets of numbered things."""

from __future__ import annotations

from collections.abc import Iterable


class Joined:
    """Which of ``count`` things are joined so far."""

    def __init__(self, count: int) -> None:
        self._above = list(range(count))

    def root(self, item: int) -> int:
        """The number that stands for the set which holds ``item``."""
        above = self._above
        while above[item] != item:
            above[item] = above[above[item]]
            item = above[item]
        return item

    def join(self, a: int, b: int) -> bool:
        """Join two sets; False when they were one already. The lower root stays."""
        a, b = self.root(a), self.root(b)
        if a < b:
            self._above[b] = a
        else:
            self._above[a] = b
        return a != b

    def join_all(self, pairs: Iterable[tuple[int, int]]) -> None:
        """Join both of each pair: the same as many a :meth:`join`, without a call for each."""
        above = self._above
        for a, b in pairs:
            while above[a] != a:
                above[a] = a = above[above[a]]
            while above[b] != b:
                above[b] = b = above[above[b]]
            if a < b:
                above[b] = a
            else:
                above[a] = b

    def labels(self) -> list[int]:
        """The root of every item."""
        above = self._above
        # what is above an item has a lower number, so that it points to its root already
        for item, higher in enumerate(above):
            above[item] = above[higher]
        return above.copy()
