"""Disjoint sets of numbered things."""

from __future__ import annotations


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

    def labels(self) -> list[int]:
        """The root of every item."""
        root = self.root
        return [root(item) for item in range(len(self._above))]
