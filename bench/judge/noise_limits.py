"""How much noise a feed or a signal output may have, as published, with the source of each and how it was read.

None of these is a product's figure, and none binds a station that goes by another: they are there to be held against.
"""

from __future__ import annotations

import math
from typing import Final, Literal

import msgspec

from bench.judge.weighting import Weighting

MILLIWATT_600: Final = math.sqrt(0.6)
"""Volts of 0 dBm in 600 ohm: the root of 1 mW times 600 ohm, 0.7746 V."""
DBRN: Final = 90.0
"""dBrn counts from 1 pW, which is -90 dBm."""


class NoiseLimit(msgspec.Struct, frozen=True):
    """A published limit.

    Attributes:
        name: how it is asked for.
        what: what it is a limit of.
        weighting: how the noise is weighted.
        level: the most that is allowed.
        unit: of it: ``V``; ``dBm0``, at the point's relative level; ``dBrn`` as it is read there, in 600 ohm.
        source: where it stands, and how that was read.
    """

    name: str
    what: str
    weighting: Weighting
    level: float
    unit: Literal["V", "dBm0", "dBrn"]
    source: str

    def volts(self, relative: float = 0.0) -> float:
        """The most that is allowed, in volts.

        Args:
            relative: relative level of the point where it is read, in dBr; a limit in dBm0 goes by it.
        """
        if self.unit == "V":
            return self.level
        decibels = self.level + relative if self.unit == "dBm0" else self.level - DBRN
        return MILLIWATT_600 * math.pow(10.0, decibels / 20.0)

    def told(self) -> str:
        """The level as its source has it."""
        if self.unit == "V":
            return f"{self.level * 1000:g} mV psophometric"
        end = {"psophometric": "p", "c-message": "C", "flat": ""}[self.weighting]
        return f"{self.level:g} {self.unit}{end}"


NOISE_LIMITS: Final = (
    NoiseLimit(
        "feed",
        "a feed of 48 V, at the terminals of what it feeds",
        "psophometric",
        2e-3,
        "V",
        "common practice of telephone stations, from memory; no standard's text was read for it",
    ),
    NoiseLimit(
        "channel",
        "a telephone channel that is idle, coded and decoded, at its four-wire output",
        "psophometric",
        -65.0,
        "dBm0",
        "ITU-T G.712, idle channel noise, weighted; from memory, its text was not read",
    ),
    NoiseLimit(
        "receiver",
        "the receiving side of such a channel alone",
        "psophometric",
        -75.0,
        "dBm0",
        "ITU-T G.712, noise of the receiving equipment; from memory, its text was not read",
    ),
    NoiseLimit(
        "radio-telephone",
        "what a radio telephone sends while nobody speaks",
        "psophometric",
        -64.0,
        "dBm0",
        "3GPP TS 03.50, 3.6.1; read in a copy of its text (a single tone 10 dB lower, after ITU-T P.11)",
    ),
    NoiseLimit(
        "line",
        "a telephone line, at the subscriber's protector",
        "c-message",
        20.0,
        "dBrn",
        "South Carolina Code of Regulations 103-663.3, an objective: less than 20 dBrnC; read in a copy of its text",
    ),
)
"""Those that are shipped."""


def noise_limit(name: str) -> NoiseLimit | None:
    """A limit by name; None where there is none."""
    return next((one for one in NOISE_LIMITS if one.name == name), None)
