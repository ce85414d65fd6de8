"""Currents that melt a wire: Onderdonk's and Preece's formulas, for thinking about what a fault would do.

Melting is no design value. A wire that may carry a fault is protected by a fuse or breaker that a licensed person
chooses by the local code.
"""

from __future__ import annotations

import math
from typing import Final

from bench.judge.judge_error import number

COPPER_MELTS_C: Final = 1083.0
INFERRED_ZERO_K: Final = 234.0
"""The formula's constant for copper: its resistance would reach zero at -234 °C."""

_MM_PER_MIL: Final = 0.0254


def circular_mils(area_mm2: float) -> float:
    """Cross-section in circular mils, the area of a circle one mil across.

    Raises:
        JudgeError: not above zero.
    """
    return number("cross-section", area_mm2, "mm²", above=0.0) / (math.pi / 4.0 * _MM_PER_MIL**2)


def _heat(ambient_c: float, end_c: float) -> float:
    """Right side of Onderdonk's formula: log₁₀((Tm - Ta)/(234 + Ta) + 1).

    The sum 234 + Ta is meant. A worked example in circulation subtracts and gets currents 5 % too high.
    """
    ambient = number("ambient temperature", ambient_c, "°C", above=-INFERRED_ZERO_K)
    end = number("end temperature", end_c, "°C", above=ambient)
    return math.log10((end - ambient) / (INFERRED_ZERO_K + ambient) + 1.0)


def melting_current(area_mm2: float, seconds: float, ambient_c: float = 25.0) -> float:
    """Current in ampere that melts a copper wire in a time: 33 (I/A)² t = log₁₀((1083 - Ta)/(234 + Ta) + 1).

    Onderdonk's formula, A in circular mils, for times so short that no heat leaves the wire (a few seconds).

    Args:
        area_mm2: cross-section.
        seconds: above zero.
        ambient_c: temperature at the start.

    Raises:
        JudgeError: a value out of bounds.
    """
    t = number("time", seconds, "s", above=0.0)
    return circular_mils(area_mm2) * math.sqrt(_heat(ambient_c, COPPER_MELTS_C) / (33.0 * t))


def melting_time(area_mm2: float, current_a: float, ambient_c: float = 25.0) -> float:
    """Seconds in which a current melts a copper wire; see :func:`melting_current`.

    Raises:
        JudgeError: a value out of bounds.
    """
    current = number("current", current_a, "A", above=0.0)
    return _heat(ambient_c, COPPER_MELTS_C) / 33.0 * (circular_mils(area_mm2) / current) ** 2


def preece_current(diameter_mm: float) -> float:
    """Current in ampere that melts a copper wire in free air in the long run: 10244 d^1.5, d in inches (Preece).

    Raises:
        JudgeError: a diameter that is not above zero.
    """
    return float(10244.0 * (number("diameter", diameter_mm, "mm", above=0.0) / 25.4) ** 1.5)
