"""What a wire survives: currents that cost it its insulation, and currents that melt it (Onderdonk, Preece).

Melting is no design value. A wire that may carry a fault is protected by a fuse or breaker that a licensed person
chooses by the local code.
"""

from __future__ import annotations

import math
from typing import Final

from bench.judge.judge_error import number, one_of

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

    Args:
        area_mm2: cross-section.
        current_a: above zero.
        ambient_c: temperature at the start.

    Raises:
        JudgeError: a value out of bounds.
    """
    current = number("current", current_a, "A", above=0.0)
    return _heat(ambient_c, COPPER_MELTS_C) / 33.0 * (circular_mils(area_mm2) / current) ** 2


INSULATION_C: Final = {"PVC": (70.0, 160.0), "XLPE": (90.0, 250.0)}
"""Temperature in °C of a wire at its full load, and the most that its insulation bears in a short circuit: table 43A
of IEC 60364-4-43, from memory, not confirmed."""


def heat_factor(start_c: float, end_c: float) -> float:
    """The factor k of copper, in ampere times root second for each mm²: 226 √ln((234.5 + end)/(234.5 + start)).

    IEC 60949, from memory; for PVC it comes to 115 and for XLPE to 143, as IEC 60364-4-43 prints them.

    Args:
        start_c: temperature of the conductor at the start.
        end_c: temperature that it may reach.

    Raises:
        JudgeError: temperatures out of order.
    """
    start = number("temperature at the start", start_c, "°C", above=-234.5)
    end = number("temperature at the end", end_c, "°C", above=start)
    return 226.0 * math.sqrt(math.log((234.5 + end) / (234.5 + start)))


def survived_current(area_mm2: float, seconds: float, insulation: str = "PVC") -> float:
    """Current in ampere that a fully loaded copper wire bears for a time without harm to its insulation: k A / √t.

    For times so short that no heat leaves the wire (up to 5 s).

    Args:
        area_mm2: cross-section.
        seconds: above zero.
        insulation: one of :data:`INSULATION_C`.

    Raises:
        JudgeError: a value out of bounds, an insulation that is not known.
    """
    area, time = number("cross-section", area_mm2, "mm²", above=0.0), number("time", seconds, "s", above=0.0)
    start, end = INSULATION_C[one_of("insulation", insulation, tuple(INSULATION_C))]
    return heat_factor(start, end) * area / math.sqrt(time)


def survived_time(area_mm2: float, current_a: float, insulation: str = "PVC") -> float:
    """Seconds for which a fully loaded copper wire bears a current; see :func:`survived_current`.

    Args:
        area_mm2: cross-section.
        current_a: above zero.
        insulation: one of :data:`INSULATION_C`.

    Raises:
        JudgeError: a value out of bounds, an insulation that is not known.
    """
    return (survived_current(area_mm2, 1.0, insulation) / number("current", current_a, "A", above=0.0)) ** 2


def preece_current(diameter_mm: float) -> float:
    """Current in ampere that melts a copper wire in free air in the long run: 10244 d^1.5, d in inches (Preece).

    Raises:
        JudgeError: a diameter that is not above zero.
    """
    return float(10244.0 * (number("diameter", diameter_mm, "mm", above=0.0) / 25.4) ** 1.5)
