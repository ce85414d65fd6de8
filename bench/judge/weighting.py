"""Weights of noise as an ear at a telephone hears it: psophometric (ITU-T O.41) and C-message (IEEE 743).

The tables are quoted from secondary copies: O.41 as in a public draft of ANSI/TIA-470.120-C, table A.1; C-message as in
public tables that agree with each other. The official texts were not read.
"""

from __future__ import annotations

from bisect import bisect_left
from math import inf, log
from typing import Final, Literal

Weighting = Literal["psophometric", "c-message", "flat"]

PSOPHOMETRIC_DB: Final[dict[float, float]] = {
    16.66: -85.0,
    50.0: -63.0,
    100.0: -41.0,
    200.0: -21.0,
    300.0: -10.6,
    400.0: -6.3,
    500.0: -3.6,
    600.0: -2.0,
    700.0: -0.9,
    800.0: 0.0,
    900.0: 0.6,
    1000.0: 1.0,
    1200.0: 0.0,
    1400.0: -0.9,
    1600.0: -1.7,
    1800.0: -2.4,
    2000.0: -3.0,
    2500.0: -4.2,
    3000.0: -5.6,
    3500.0: -8.5,
    4000.0: -15.0,
    4500.0: -25.0,
    5000.0: -36.0,
    6000.0: -43.0,
}
"""Relative weight in dB by frequency in hertz, 0 dB at 800 Hz."""
C_MESSAGE_DB: Final[dict[float, float]] = {
    60.0: -55.7,
    100.0: -42.5,
    200.0: -25.1,
    300.0: -16.3,
    400.0: -11.2,
    500.0: -7.7,
    600.0: -5.0,
    700.0: -2.8,
    800.0: -1.3,
    900.0: -0.3,
    1000.0: 0.0,
    1200.0: -0.4,
    1300.0: -0.7,
    1500.0: -1.2,
    1800.0: -1.3,
    2000.0: -1.1,
    2500.0: -1.1,
    2800.0: -2.0,
    3000.0: -3.0,
    3300.0: -5.1,
    3500.0: -7.1,
    4000.0: -14.6,
    4500.0: -22.3,
    5000.0: -28.7,
}
"""Relative weight in dB by frequency in hertz, 0 dB at 1000 Hz."""
TABLES: Final[dict[Weighting, dict[float, float]]] = {"psophometric": PSOPHOMETRIC_DB, "c-message": C_MESSAGE_DB}
_KNOWN: Final = {name: list(table) for name, table in TABLES.items()}


def weight_db(weighting: Weighting, hertz: float) -> float:
    """Weight at a frequency in dB: the table, and between its rows a straight line over log frequency.

    Below the first row and above the last the slope of the nearest two rows goes on; at 0 Hz nothing passes (minus
    infinity). ``flat`` weighs all alike.

    Args:
        weighting: which.
        hertz: the frequency, 0 or more.
    """
    if weighting == "flat":
        return 0.0
    if hertz <= 0:
        return -inf
    known, table = _KNOWN[weighting], TABLES[weighting]
    place = min(max(bisect_left(known, hertz), 1), len(known) - 1)
    low, high = known[place - 1], known[place]
    below, above = table[low], table[high]
    return below + (above - below) * log(hertz / low) / log(high / low)
