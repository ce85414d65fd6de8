"""Do the bytes that a meter sent say what stands beside them as the value?

Whoever rewrites a record, hashes and all, may forget the bytes. This reads them without the meter's profile, which a
record does not hold: some number in a reply, or the mean of several replies, must be the value, but for a power of ten
where the reply says nothing of its unit. Replies that are no plain text are not looked at. A meter whose replies never
give its values so (one with a scale of its own) is not judged by this.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator
from statistics import fmean
from typing import Final

from bench.walk.events import Read

_NUMBER: Final = re.compile(r"(?<![\w.])[-+]? ?\d*\.?\d+(?:[eE][-+]?\d+)?")
_ESCAPED: Final = re.compile(r"\\x[0-9a-fA-F]{2}")
SAME: Final = 1e-6
"""Relative difference that counts as none: more digits than any meter shows."""


def contradicts(read: Read) -> bool | None:
    """Whether a reading's bytes say something else than its value.

    Returns:
        None where that cannot be told.
    """
    if read.value is None or read.nan or read.over or not read.raw or read.series:
        return None
    if any(_ESCAPED.search(reply) for reply in read.raw):
        return None
    replies = [_NUMBER.findall(reply) for reply in read.raw]
    if not all(replies):
        return None
    exact = any("e" in number.lower() for reply in replies for number in reply)
    numbers = [[float(number.replace(" ", "")) for number in reply] for reply in replies]
    return not any(_same(one, read.value, exact) for one in _candidates(numbers))


def _candidates(replies: list[list[float]]) -> Iterator[float]:
    for reply in replies:
        yield from reply
    if len({len(reply) for reply in replies}) == 1:
        for column in zip(*replies, strict=True):
            yield fmean(column)
            # one way and the other way, as a low-ohm meter reads
            yield (max(column) - min(column)) / 2.0
            yield fmean(map(abs, column))


def _same(number: float, value: float, exact: bool) -> bool:
    if number == 0.0 or value == 0.0:
        return number == value
    ratio = value / number
    if exact:
        return abs(ratio - 1.0) < SAME
    if ratio < 0.0:
        return False
    power = round(math.log10(ratio))
    return abs(ratio / 10.0**power - 1.0) < SAME


class RawCheck:
    """Looks at one record's readings, and says at its end which bytes contradict their value."""

    def __init__(self) -> None:
        self._agree: Counter[tuple[str, str]] = Counter()
        self._bad: list[tuple[int, tuple[str, str], str]] = []

    def take(self, number: int, read: Read) -> bool:
        """Look at the reading of line ``number``; says whether its bytes contradict it.

        Args:
            number: the line's, from 1.
            read: the reading that it holds.
        """
        told = contradicts(read)
        meter = (read.instrument, read.function)
        if told is False:
            self._agree[meter] += 1
        elif told:
            shown = " ".join(reply.strip() for reply in read.raw)[:80]
            self._bad.append(
                (number, meter, f"the meter sent '{shown}', and the value beside it is {read.value:g} {read.unit}")
            )
        return told is True

    def found(self) -> Iterator[tuple[int, str]]:
        """Line and words of each contradiction, of meters most of whose replies do give their values."""
        against = Counter(meter for _, meter, _ in self._bad)
        for n, meter, words in self._bad:
            if self._agree[meter] > against[meter]:
                yield n, words
