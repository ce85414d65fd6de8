"""Insulation of made-up cables and wire harness by length: the defaults of IPC/WHMA-A-620 section 19.

They hold where buyer and maker agreed nothing else. The figures are from memory, not confirmed, and their source says
so: 0.5 MΩ or 1 MΩ of an installation standard is asked of whole circuits and says nothing of a few metres of wire.
"""

from __future__ import annotations

from typing import Final

from bench.judge.judge_error import number
from bench.judge.limit import Limit

_LONG_FROM_M: Final = 3.0
_SHORT_OHM: Final = 100e6
_LONG_OHM: Final = 10e6


def insulation_limit(length_m: float) -> Limit:
    """Smallest insulation resistance of a harness: 100 MΩ up to 3 m, 10 MΩ when longer; from memory, not confirmed.

    Raises:
        JudgeError: a length that is not above zero.
    """
    length = number("length", length_m, "m", above=0.0)
    short = length <= _LONG_FROM_M
    return Limit.at_least(
        _SHORT_OHM if short else _LONG_OHM,
        "Ω",
        f"IPC/WHMA-A-620 default for {'up to' if short else 'over'} 3 m, from memory, not confirmed",
    )
