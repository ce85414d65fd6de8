"""When do the probes sit still? Decides from live readings alone, so that both hands may hold probes.

A touch counts once: after it was taken the probes must come off before the next counts. Only ohms can tell: open probes
show over range, or more than anything that a probe is held against.
"""

from __future__ import annotations

from collections import deque
from typing import Final, Literal

import msgspec

Touch = Literal["lift", "open", "touching", "settled"]

SPREAD: Final = 0.004
"""Part of the reading that settled readings may differ by: a wandering hand moves a contact by far more."""
FLOOR_OHM: Final = 0.004
"""Readings may always differ by this: contacts move by milliohms under a hand. Common practice, no source."""
DIGITS: Final = 3
"""Counts of the meter's own last digit that settled readings may differ by."""
SAMPLES: Final = 4
"""Readings that must agree, at least."""
HELD: Final = 0.25
"""Seconds that they must span, at least."""
OLDEST: Final = 4.0
"""How old the readings of a slow meter may be, in seconds: it gives one a second."""
OPEN_OHM: Final = 20e6
"""From here on the probes are off: damp air and long leads read something too. Common practice, no source."""
OFF: Final = 2
"""Open readings in a row that count as lifted."""


class Contact(msgspec.Struct):
    """Follows one meter's live readings.

    Attributes:
        touch: what the probes do, as far as the readings tell.
    """

    touch: Touch = "open"
    # four seconds of a meter that gives a thousand readings in each
    _recent: deque[tuple[float, float]] = msgspec.field(default_factory=lambda: deque(maxlen=4096))
    _open: int = 0
    _resolution: float = 0.0

    def feed(self, at: float, value: float | None, resolution: float | None) -> bool:
        """Take one live reading.

        Args:
            at: when it was taken, monotonic seconds.
            value: ohms; None for over range or no number.
            resolution: the meter's last digit in ohms, where known.

        Returns:
            Whether the contact has just settled. True once for each touch.
        """
        self._resolution = resolution or 0.0
        if value is None or not value < OPEN_OHM:  # no number is not below anything
            self._recent.clear()
            self._open += 1
            if self._open >= OFF:
                self.touch = "open"
            return False
        self._open = 0
        if self.touch in ("lift", "settled"):
            return False
        self.touch = "touching"
        self._recent.append((at, value))
        count, span = self._steady()
        if count < SAMPLES or span < HELD:
            return False
        self.touch = "settled"
        return True

    def taken(self) -> None:
        """The touch was used: it must come off before another counts."""
        self.touch = "lift"
        self._recent.clear()
        self._open = 0

    def anew(self) -> None:
        """Judge a touch that has settled as if it had just begun: it settled while nobody looked."""
        if self.touch == "settled":
            self.touch = "touching"
            self._recent.clear()

    @property
    def settled(self) -> float:
        """0 to 1, for a bar on the screen: how much of the time and of the readings that it takes agree so far."""
        if self.touch in ("settled", "lift"):
            return 1.0
        count, span = self._steady()
        return min(1.0, count / SAMPLES, span / HELD + 0.1) if count else 0.0

    def _steady(self) -> tuple[int, float]:
        """How many of the latest readings differ by next to nothing, and the seconds that they span."""
        if not self._recent:
            return 0, 0.0
        now, value = self._recent[-1]
        allowed = max(SPREAD * abs(value), FLOOR_OHM, DIGITS * self._resolution)
        least, most, count, since = value, value, 0, now
        for at, one in reversed(self._recent):
            least, most = min(least, one), max(most, one)
            if most - least > allowed or now - at > OLDEST:
                break
            count, since = count + 1, at
        return count, now - since
