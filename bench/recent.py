"""The last few things that were worked out, for whoever asks the same again."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, Generic, TypeVar

K = TypeVar("K")
V = TypeVar("V")


class Recent(Generic[K, V]):
    """What a pure function gave for its last few arguments, found again by equality.

    It is for arguments that are quickly compared and cannot be hashed, such as files that were read.

    Args:
        most: how many are kept; the one that was not asked for longest goes first.
    """

    def __init__(self, most: int) -> None:
        self._most: Final = most
        self._kept: tuple[tuple[K, V], ...] = ()

    def get(self, key: K, make: Callable[[], V]) -> V:
        """What is kept for a key, or what is made for it now.

        Args:
            key: everything that the value depends on.
            make: works it out; what it raises comes out of this, and nothing is kept then.
        """
        kept = self._kept
        for place, pair in enumerate(kept):
            if pair[0] == key:
                if place:
                    self._kept = (pair, *kept[:place], *kept[place + 1 :])
                return pair[1]
        value = make()
        self._kept = ((key, value), *kept)[: self._most]
        return value
