"""American wire gauge: sizes, diameters and cross-sections (ASTM B258 geometry)."""

from __future__ import annotations

import math

from bench.judge.judge_error import JudgeError


def awg_number(size: str | int) -> int:
    """Return the gauge number n of an AWG size; ``2/0`` and ``00`` are -1, ``4/0`` and ``0000`` are -3.

    Args:
        size: ``24``, ``"24"``, ``"AWG 24"``, ``"2/0"``, ``"00"``; sizes 4/0 to 56.

    Raises:
        JudgeError: not an AWG size.
    """
    expected = "an AWG size such as '24', '2/0' or '00', from 4/0 to 56"
    if isinstance(size, bool) or not isinstance(size, int | str):
        raise JudgeError("wire size", repr(size), expected)
    if isinstance(size, int):
        gauge = size
    else:
        text = size.strip().upper().removeprefix("AWG").removesuffix("AWG").strip()
        if text.endswith("/0") and text[:-2].isdecimal():
            gauge = 1 - int(text[:-2])
        elif text and set(text) == {"0"}:
            gauge = 1 - len(text)
        elif text.isdecimal() and text.isascii():
            gauge = int(text)
        else:
            raise JudgeError("wire size", repr(size), expected)
        if gauge == 1 and "/" in text:
            raise JudgeError("wire size", repr(size), expected)
    if not -3 <= gauge <= 56:
        raise JudgeError("wire size", repr(size), expected)
    return gauge


def awg_name(size: str | int) -> str:
    """Return the usual name of an AWG size: ``AWG 24``, ``AWG 2/0``."""
    gauge = awg_number(size)
    return f"AWG {gauge}" if gauge > 0 else f"AWG {1 - gauge}/0"


def awg_diameter_mm(size: str | int) -> float:
    """Diameter of a solid AWG wire: 0.127 mm times 92 to the power (36 - n) / 39 (ASTM B258)."""
    return float(0.127 * 92.0 ** ((36 - awg_number(size)) / 39))


def awg_area_mm2(size: str | int) -> float:
    """Cross-section of a solid AWG wire in mm²."""
    return math.pi / 4.0 * awg_diameter_mm(size) ** 2
