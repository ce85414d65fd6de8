"""Made-up cables and wire harness: the defaults of IPC/WHMA-A-620 section 19, where nothing else was agreed.

Continuity of class 3 asks for 2 Ω, or 1 Ω beside the wire's own resistance: that a conductor is connected, not that
its joints are good. Insulation goes by length: 0.5 MΩ or 1 MΩ of an installation standard is asked of whole circuits
and says nothing of a few metres of wire. What is from memory, not confirmed, says so in its source.
"""

from __future__ import annotations

from typing import Final

from bench.judge.judge_error import number
from bench.judge.limit import Limit

_CONNECTED_OHM: Final = 2.0
_BESIDE_WIRE_OHM: Final = 1.0
_LONG_FROM_M: Final = 3.0
_SHORT_OHM: Final = 100e6
_LONG_OHM: Final = 10e6


def continuity_limit(wire_ohm: float) -> Limit:
    """The most that a conductor may read and still be connected from pin to pin.

    2 Ω, or 1 Ω beside the most that the wire itself may have, whichever is greater: IPC/WHMA-A-620, 19.5.1, default of
    class 3. The two figures are as quoted by a third party from revision A; "whichever is greater" is from memory.

    Args:
        wire_ohm: the most that wire and contacts may have by physics, in ohms.

    Raises:
        JudgeError: a resistance below zero.
    """
    wire = number("wire resistance", wire_ohm, "Ω", least=0.0)
    return Limit.at_most(
        max(_CONNECTED_OHM, _BESIDE_WIRE_OHM + wire),
        "Ω",
        "IPC/WHMA-A-620 19.5.1 default of class 3, as quoted, whichever of 2 Ω and 1 Ω beside the wire is greater",
    )


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
