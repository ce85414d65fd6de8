"""What a reading is held against. A limit always says where it came from."""

from __future__ import annotations

from typing import Self

import msgspec

from bench.judge.judge_error import JudgeError, base_unit, number
from bench.say.reading import asked


class Limit(msgspec.Struct, frozen=True):
    """One-sided or two-sided limit. Values at the limit itself conform.

    Attributes:
        unit: base unit of the limit and of the readings held against it.
        source: where the limit came from: a standard, a drawing, a computation, a person.
        lower: smallest value that conforms, or None.
        upper: largest value that conforms, or None.

    Raises:
        JudgeError: no bound at all, bounds that leave no room, no source, or not a base unit.
    """

    unit: str
    source: str
    lower: float | None = None
    upper: float | None = None

    def __post_init__(self) -> None:
        base_unit("limit: unit", self.unit)
        if not self.source.strip():
            raise JudgeError("limit: source", repr(self.source), "where the limit came from")
        if self.lower is None and self.upper is None:
            raise JudgeError("limit", "no bound", "a lower bound, an upper bound or both")
        if self.lower is not None:
            number("limit: lower bound", self.lower, self.unit)
        if self.upper is not None:
            number("limit: upper bound", self.upper, self.unit, above=self.lower)

    @classmethod
    def at_most(cls, upper: float, unit: str, source: str) -> Self:
        """Return an upper limit.

        Args:
            upper: largest value that conforms.
            unit: base unit.
            source: where it comes from: a standard, a drawing, a computation, a person.
        """
        return cls(unit=unit, source=source, upper=upper)

    @classmethod
    def at_least(cls, lower: float, unit: str, source: str) -> Self:
        """Return a lower limit.

        Args:
            lower: smallest value that conforms.
            unit: base unit.
            source: where it comes from: a standard, a drawing, a computation, a person.
        """
        return cls(unit=unit, source=source, lower=lower)

    @classmethod
    def between(cls, lower: float, upper: float, unit: str, source: str) -> Self:
        """Return a two-sided limit.

        Args:
            lower: smallest value that conforms.
            upper: largest value that conforms.
            unit: base unit.
            source: where it comes from: a standard, a drawing, a computation, a person.
        """
        return cls(unit=unit, source=source, lower=lower, upper=upper)

    def holds(self, value: float) -> bool:
        """Say whether a true value would conform."""
        return (self.lower is None or value >= self.lower) and (self.upper is None or value <= self.upper)

    def nearest(self, value: float) -> float:
        """Return the bound that is closest to a value."""
        bounds = [bound for bound in (self.lower, self.upper) if bound is not None]
        return min(bounds, key=lambda bound: abs(bound - value))

    @property
    def asked(self) -> str:
        """What is asked, without the source: ``at most 2.01 Ω``."""
        return asked(self.lower, self.upper, self.unit)

    @property
    def sentence(self) -> str:
        """The limit, and whose it is."""
        return f"Limit: {self.asked} ({self.source})."
