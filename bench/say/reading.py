"""A reading and a limit in words."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from bench.quantity import engineering, with_uncertainty

OVER: Final = "over range"
BELOW: Final = "below range"
NO_NUMBER: Final = "no number"


def reading(
    value: float | None, unit: str, *, expanded: float | None = None, over: str = "", resolution: float | None = None
) -> str:
    """What was read: ``0.874 Ω ± 23 mΩ``, ``over range``, ``no number``.

    Args:
        value: in the base unit; None where the meter gave no number.
        unit: the base unit.
        expanded: expanded uncertainty; None where it is not known.
        over: ``+`` or ``-`` where the meter showed over range.
        resolution: the last digit that means something, where no uncertainty says it.
    """
    if over:
        return BELOW if over == "-" else OVER
    if value is None:
        return NO_NUMBER
    if expanded is None:
        return engineering(value, unit, resolution=resolution)
    return with_uncertainty(value, expanded, unit)


@lru_cache(maxsize=1024)
def asked(low: float | None, high: float | None, unit: str) -> str:
    """A limit: ``at most 1.2 Ω``, ``at least 100 MΩ``, ``47 V to 57 V``; empty where there is none.

    Args:
        low: smallest value that conforms, or None.
        high: largest value that conforms, or None.
        unit: the base unit.
    """
    if low is not None and high is not None:
        return f"{engineering(low, unit)} to {engineering(high, unit)}"
    if high is not None:
        return f"at most {engineering(high, unit)}"
    return f"at least {engineering(low, unit)}" if low is not None else ""
