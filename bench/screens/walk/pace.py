"""How long the rest of a walk takes, judged by how long its steps have taken so far."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Sequence
from datetime import datetime
from statistics import median
from typing import Final

from bench.sequence.plan import Step

KEEP: Final = 30
"""Steps of a kind that count: hands get quicker, and tired."""
ENOUGH: Final = 3
"""Steps that must be timed before anything is said."""


class Pace:
    """Learns from the times of the record. Breaks do not count."""

    def __init__(self) -> None:
        self._took: dict[str, deque[float]] = {}
        self._since: float | None = None

    def copy(self) -> Pace:
        """The same knowledge, to go on from elsewhere."""
        other = Pace()
        other._took = {kind: times.copy() for kind, times in self._took.items()}
        other._since = self._since
        return other

    def began(self, at: str) -> None:
        """Time is taken from here: the start, or the end of a break."""
        self._since = _seconds(at)

    def stopped(self) -> None:
        """A break: what passes until :meth:`began` does not count."""
        self._since = None

    def done(self, kind: str, at: str) -> None:
        """A step of a kind came to its outcome."""
        now = _seconds(at)
        if self._since is not None and now is not None and now >= self._since:
            self._took.setdefault(kind, deque(maxlen=KEEP)).append(now - self._since)
        self._since = now

    def left(self, steps: Sequence[Step], asked: int = 0) -> float | None:
        """Seconds that the given steps will take; None as long as too little is known.

        Args:
            steps: those to come, the one under way first.
            asked: readings that a search under way may still ask for, in place of its step; 0 where none is.
        """
        known = [seconds for times in self._took.values() for seconds in times]
        if len(known) < ENOUGH:
            return None
        usual = median(known)
        total = sum(step.seconds for step in steps)
        counts = Counter(step.kind for step in steps[bool(asked) :] if step.kind != "wait")
        counts["measure"] += asked
        for kind, count in counts.items():
            times = self._took.get(kind)
            total += count * (median(times) if times else usual)
        return total


def _seconds(at: str) -> float | None:
    try:
        return datetime.fromisoformat(at).timestamp()
    except ValueError:
        return None
