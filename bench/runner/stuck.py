"""Whether a meter still moves: digits that come again at place after place, down to the last, where they should not.

Between two places the probes are lifted, and a meter that is alive shows something else then: no number, or nothing
near zero. Where nobody can look meanwhile (a tester that is silent between its tests), only noise can tell; where a
sound meter may show the same digits for hours, nothing can, and it is proven on something known before and after.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from bench.quantity import engineering
from bench.roles import NO_PLACES, Reads
from bench.walk import events as e

ALIKE: Final = 2
"""Places in a row with the same digits after which a matrix looks whether the meter still moves."""
STUCK_AFTER: Final = 3
"""And after which a person is asked to look, where no matrix can."""
ZERO_COUNTS: Final = 10
"""Steps of the last digit: what stands no further from zero may be what lifted probes show too (common practice, no
source)."""
NOISY_COUNTS: Final = 100
"""Steps of the last digit from which on insulation is not read alike at three places: it differs by parts from wire to
wire and moves with the charge that soaks in (common practice, no source)."""
ZERO_WHEN_LIFTED: Final[frozenset[Reads]] = frozenset(
    {"voltage", "ac-voltage", "current", "ac-current", "capacitance", "frequency"}
)
"""What reads near zero with the probes lifted, and may read so at places too: a plant that is dead does."""
SAME_WHEN_SOUND: Final[Mapping[Reads, str]] = {
    "temperature": "a room keeps its temperature: a sound thermometer shows the same digits for hours",
    "humidity": "a room keeps its humidity: a sound hygrometer shows the same digits for hours",
    "running-time": "an hours counter stands still between two steps of its last digit, or because its machine does",
}
"""Why identical digits say nothing of a meter."""
assert set(SAME_WHEN_SOUND) == NO_PLACES


class Digits:
    """The digits that one meter gave last, and at how many places in a row.

    Attributes:
        places: in a row that had the same digits, down to the last.
    """

    def __init__(self) -> None:
        self.places: tuple[tuple[str, ...], ...] = ()
        self._last: tuple[str, float] | None = None
        self._moved: bool | None = None

    def shown(self, value: float | None) -> None:
        """Something was shown live since the last reading; None: over range, or no number."""
        if self._last is None or value != self._last[1]:
            self._moved = True
        elif self._moved is None:
            self._moved = False

    def taken(self, reads: Reads, place: tuple[str, ...], read: e.Read, *, opened: bool, silent: bool) -> None:
        """A reading was taken.

        Args:
            reads: what.
            place: where.
            read: the reading.
            opened: relays open between two readings.
            silent: the meter shows nothing between two readings.
        """
        moved, self._moved = self._moved, None
        if read.value is None or reads in NO_PLACES or _says_nothing(reads, read):
            self.places, self._last = (), None
            return
        unmoved = opened or silent or moved is False
        same = self._last == (read.function, read.value) and unmoved
        self._last = (read.function, read.value)
        self.places = tuple(dict.fromkeys((*(self.places if same else ()), place)))

    def forget(self) -> None:
        """Count anew."""
        self.places = ()


def _says_nothing(reads: Reads, read: e.Read) -> bool:
    """Whether a sound meter may well show these digits at several places."""
    assert read.value is not None
    counts = abs(read.value) / read.resolution if read.resolution else None
    if reads == "insulation":
        return counts is not None and counts < NOISY_COUNTS
    if reads in ZERO_WHEN_LIFTED:
        return read.value == 0.0 if counts is None else counts <= ZERO_COUNTS + 0.5
    return False


def same_digits(places: int, read: e.Read) -> str:
    """That it gave the same digits, in words."""
    return f"It gave the same digits at {places} places in a row, {engineering(read.value or 0.0, read.unit)}, and"
