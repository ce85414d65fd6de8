"""The largest breaker that is usual for a conductor: for a remark, never for a verdict. Local codes rule."""

from __future__ import annotations

from typing import Final

from bench.plant.conductor_make import Wire

_SMALL_AWG: Final[dict[str, dict[str, float]]] = {
    "copper": {"18": 7.0, "16": 10.0, "14": 15.0, "12": 20.0, "10": 30.0},
    "aluminium": {"12": 15.0, "10": 25.0},
}
"""Small-conductor rule of NEC 240.4(D), as quoted in public tables."""

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


def usual_limit(wire: Wire) -> tuple[float, str] | None:
    """Amperes that usually protect a conductor, and the source; None where no table was at hand."""
    metal = "copper" if wire.made_of == "tinned copper" else wire.made_of
    if wire.size.awg:
        amperes = _SMALL_AWG[metal].get(wire.size.awg)
        return None if amperes is None else (amperes, "small-conductor rule of NEC 240.4(D)")
    amperes = _METRIC.get(wire.size.area_mm2) if metal == "copper" else None
    return None if amperes is None else (amperes, "IEC 60364-5-52, method B2")
