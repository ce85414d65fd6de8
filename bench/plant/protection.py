"""Whether a breaker is right for the conductors behind it: for a remark, never for a verdict. Local codes rule."""

from __future__ import annotations

import math
from typing import Final

from bench.judge.fusing import melting_current, preece_current, survived_time
from bench.plant.conductor_make import Wire
from bench.quantity import engineering

_SMALL_AWG: Final[dict[str, dict[str, float]]] = {
    "copper": {"18": 7.0, "16": 10.0, "14": 15.0, "12": 20.0, "10": 30.0},
    "aluminium": {"12": 15.0, "10": 25.0},
}
"""Small-conductor rule of NEC 240.4(D), as quoted in public tables."""

_LEAST_MM2: Final = 0.8
"""mm² below which no table at hand has a row: 18 AWG is 0.823 mm² (ASTM B258)."""

_METRIC: Final[dict[float, float]] = {
    1.5: 15.0,
    2.5: 20.0,
    4.0: 27.0,
    6.0: 34.0,
    10.0: 46.0,
    16.0: 62.0,
    25.0: 80.0,
    35.0: 99.0,
    50.0: 118.0,
    70.0: 149.0,
    95.0: 179.0,
    120.0: 206.0,
}
"""Copper, PVC, three loaded conductors, method B2 at 30 °C of IEC 60364-5-52, as quoted in a public table; the rows of
1.5 mm² and 2.5 mm² from memory, not confirmed."""


_SLOW: Final = 2.55
"""Times its rating that a breaker may carry for 60 s (120 s above 32 A); IEC 60898-1, from memory, not confirmed."""
_AT_ONCE: Final[dict[str, float]] = {"B": 5.0, "C": 10.0, "D": 20.0}
"""Times its rating from which a breaker opens at once; IEC 60898-1, alternating current, as quoted in public tables.
On direct current some need up to half as much again: ask the maker."""
_AT_ONCE_S: Final = 0.02
"""Seconds in which it has opened on a short far beyond that (common practice, no source; the standard allows 0.1 s)."""

_USUALLY_S: Final = 0.01
"""Seconds in which it has usually cut such a short (common practice, no source): insulation is held against this, a
wire that would melt against twice as long."""


def harmed_first(wire: Wire, rating_a: float, trips: str, fault_a: float) -> tuple[str, str] | None:
    """Why a conductor may come to harm before its breaker must have opened, and what would hold; None where it holds.

    Two currents are looked at: the one that the breaker may carry for a minute, against what melts the wire in free
    air in the long run (Preece), and that of a short behind the breaker, against what melts it in the time that the
    breaker needs then (Onderdonk), and against what costs it its insulation, taken for PVC (IEC 60364-4-43). All
    formulas are for copper.

    Args:
        wire: what the conductor is made of.
        rating_a: of the breaker, in amperes.
        trips: its characteristic: ``B``, ``C``, ``D``; of a fuse nothing is known here.
        fault_a: current of a short right behind the breaker, in amperes; 0 where it is not known.
    """
    if trips not in _AT_ONCE or wire.made_of not in ("copper", "tinned copper"):
        return None
    area = wire.size.area_mm2
    slow = _SLOW * rating_a
    lasting = preece_current(math.sqrt(4.0 * area / math.pi))
    if lasting < slow:
        return (
            f"{wire.size}, which melts at {engineering(lasting, 'A', digits=2)} in the long run (Preece)",
            f"a wire that outlasts {engineering(slow, 'A', digits=3)}: the breaker may carry that for a minute",
        )
    brief = melting_current(area, _AT_ONCE_S)
    if fault_a >= _AT_ONCE[trips] * rating_a and brief < fault_a:
        return (
            f"{wire.size}, which melts at {engineering(brief, 'A', digits=2)} in {_AT_ONCE_S:g} s (Onderdonk)",
            f"a wire that outlasts a short of {engineering(fault_a, 'A', digits=2)} until the breaker has opened",
        )
    if fault_a >= _AT_ONCE[trips] * rating_a and (left := survived_time(area, fault_a)) < _USUALLY_S:
        return (
            f"{wire.size}, whose insulation bears a short of {engineering(fault_a, 'A', digits=2)} for "
            f"{engineering(left, 's', digits=2)}",
            f"a wire that bears it for {_USUALLY_S:g} s, until the breaker has opened",
        )
    return None


FUSES: Final = 1.6
"""Ratings of two fuses (gG) of which only the smaller opens; IEC 60269-2 practice as printed in a fuse maker's text."""
FUSE_OVER_BREAKER: Final = 2.0
"""The same of a fuse before a breaker (common practice, no source)."""
_NEVER_AT_ONCE: Final = {"B": 3.0, "C": 5.0, "D": 10.0}
"""Times its rating below which a breaker does not open at once; IEC 60898-1, as quoted in public tables."""
BREAKS_AT_MOST: Final = "IEC 60898-2 ends at 10 kA and 220 V a pole, as quoted in a catalogue page"


def opens_too(before: str, before_a: float, after: str, after_a: float, fault_a: float) -> str:
    """Why of two devices in a row the first may open as well on a short behind the second; empty where it stays.

    Args:
        before: characteristic of the first: ``B``, ``C``, ``D`` or ``fuse``.
        before_a: its rating.
        after: characteristic of the second.
        after_a: its rating.
        fault_a: amperes of a short right behind the second.
    """
    if before == "fuse":
        ratio = FUSES if after == "fuse" else FUSE_OVER_BREAKER
        source = "IEC 60269-2 practice, as printed" if after == "fuse" else "common practice, no source"
        return f"at least {ratio:g} times the rating ({source})" if before_a < ratio * after_a - 1e-9 else ""
    stays = _NEVER_AT_ONCE.get(before, 0.0) * before_a
    if fault_a >= stays:
        return f"at most {engineering(stays, 'A', digits=3)} there, or the makers' table for both ('selective')"
    return ""


def usual_limit(wire: Wire) -> tuple[float, str] | None:
    """Amperes that usually protect a conductor, and the source; None where no table was at hand.

    Args:
        wire: what the conductor is made of.
    """
    metal = "copper" if wire.made_of == "tinned copper" else wire.made_of
    area = wire.size.area_mm2
    if metal == "copper" and area < _LEAST_MM2:
        # the table ends there: a thinner wire bears no more for each mm² than its smallest row
        amperes = round(area * _SMALL_AWG["copper"]["18"] / _LEAST_MM2, 1)
        return amperes, "thinner than any row of NEC 240.4(D), in proportion to its 18 AWG"
    if wire.size.awg:
        found = _SMALL_AWG[metal].get(wire.size.awg)
        return None if found is None else (found, "small-conductor rule of NEC 240.4(D)")
    found = _METRIC.get(area) if metal == "copper" else None
    return None if found is None else (found, "IEC 60364-5-52, method B2")
