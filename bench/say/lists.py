"""Counts and lists in words."""

from __future__ import annotations

from collections.abc import Sequence


def count(number: int, one: str, many: str = "") -> str:
    """A count with its noun: ``1 record``, ``3 records``.

    Args:
        number: how many.
        one: the noun for one.
        many: the noun for several; by default with an s.
    """
    return f"{number} {one if number == 1 else many or f'{one}s'}"


def listed(names: Sequence[str]) -> str:
    """Names as one says them: ``W1``, ``W1 and W2``, ``W1, W2 and W3``."""
    *first, last = names or [""]
    return f"{', '.join(first)} and {last}" if first else last


def some(names: Sequence[str], most: int) -> str:
    """The first of some names, and how many there are beyond: ``W1, W2 and 3 more``.

    Args:
        names: all of them.
        most: how many are named.
    """
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")
