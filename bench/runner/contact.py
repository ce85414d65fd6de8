"""When do the probes sit still? Decides from live readings alone, so that both hands may hold probes.

A touch counts once: after it was taken the probes must come off (the meter shows over range) before the next counts.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import Final, Literal

Touch = Literal["lift", "open", "touching", "settled"]

SPREAD: Final = 0.004
"""Part of the reading that settled readings may differ by: a wandering hand moves a contact by far more."""
FLOOR_OHM: Final = 0.004
"""Readings may always differ by this: contacts move by milliohms under a hand. Common practice, no source."""
DIGITS: Final = 3
"""Counts of the meter's own last digit that settled readings may differ by."""
SAMPLES: Final = 4
"""Readings that must agree."""
HELD: Final = 0.25
"""Seconds that they must span."""
OFF: Final = 2
"""Open readings in a row that count as lifted."""


@dataclass(slots=True)
class Contact:
    """Follows one meter's live readings.

    Attributes:
        touch: what the probes do, as far as the readings tell.
    """

    touch: Touch = "open"
    _recent: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=SAMPLES * 16))
    _open: int = 0

    def feed(self, at: float, value: float | None, resolution: float | None) -> bool:
        """Take one live reading.

        Args:
            at: when it was taken, monotonic seconds.
            value: ohms; None for over range or no number.
            resolution: the meter's last digit in ohms, where known.

        Returns:
            Whether the contact has just settled. True once for each touch.
        """
        if value is None:
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
        if not self._agree(resolution):
            return False
        self.touch = "settled"
        return True

    def taken(self) -> None:
        """The touch was used: it must come off before another counts."""
        self.touch = "lift"
        self._recent.clear()
        self._open = 0

    @property
    def settled(self) -> float:
        """0 to 1, for a bar on the screen."""
        if self.touch in ("settled", "lift"):
            return 1.0
        if not self._recent:
            return 0.0
        span = self._recent[-1][0] - self._recent[0][0]
        return min(1.0, len(self._recent) / SAMPLES, span / HELD + 0.1)

    def _agree(self, resolution: float | None) -> bool:
        """Whether the latest readings, enough of them and over long enough, differ by next to nothing."""
        latest = self._recent[-1]
        window = [value for at, value in self._recent if latest[0] - at <= HELD * 1.5]
        first = next(at for at, _ in self._recent if latest[0] - at <= HELD * 1.5)
        if len(window) < SAMPLES or latest[0] - first < HELD:
            return False
        allowed = max(SPREAD * abs(latest[1]), FLOOR_OHM, DIGITS * (resolution or 0.0))
        return max(window) - min(window) <= allowed
