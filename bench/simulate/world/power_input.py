"""What a shelf's input looks like to a supply: capacitor, inrush limiter, converter. Common practice, no source."""

from __future__ import annotations

import math
from typing import Final

import msgspec

OWN_FARAD: Final = 2.2e-3
"""A shelf's own input capacitor."""
BLEED_OHM: Final = 22e3
"""The bleeder across it."""
COLD_OHM: Final = 1.5
"""The inrush limiter before it is bridged."""
WARM_OHM: Final = 2e-3
"""The same once it is bridged."""
BRIDGED_AT: Final = 0.9
"""The limiter is bridged when the capacitor has reached this part of the inlet's voltage."""
WAITS_FROM_VOLT: Final = 8.0
"""Below this not even a converter's waking part draws."""
WAITS_S: Final = 0.3
"""Seconds from the coming of the voltage until a converter starts."""
SOFT_S: Final = 0.5
"""Seconds in which it ramps its power up."""
SURGE: Final = (0.4, 0.15)
"""What it draws more at first, as a part, and the time constant with which that goes, in seconds."""
STARTS: Final = (1.0, 1.09)
"""A converter starts at this part of the least voltage that its kind may start at: 32.5 to 35.5 V (makers' data)."""
HYSTERESIS: Final = 2.0 / 48.0
"""How far below the voltage that it starts at a converter goes on, as a part of the nominal one."""
WAITING_A: Final = 0.008
"""What a converter takes while it is off; makers' data have 15 to 18 mA at the most."""
WARMING: Final = (0.004, 25.0)
"""How far a shelf's power moves at most as it warms up, as a part, and the time constant in seconds."""


class SlowPart(msgspec.Struct):
    """The part of a capacitor that takes its charge slowly."""

    farad: float
    ohms: float
    volts: float = 0.0


class ShelfInput(msgspec.Struct):
    """One shelf's input, as it is now.

    Attributes:
        shelf: its name.
        watts: of constant power, once it is warm and steady.
        siemens: of the cards that behave like resistors.
        farad: input capacitance.
        on_from: volts that the converter starts at; 0 where there is none.
        off_below: volts below which it stops once it runs.
        waits: amperes that it takes while it is off.
        bleed: ohms of the bleeder across the capacitor.
        slow: the part of the capacitor that has slept; None where all is well.
        warms: how far its power moves as it warms up, as a part.
        creeps: amperes at nominal voltage that are added within this number of seconds of running.
        nominal: volts that currents are given at.
        volts: across the capacitor.
        bridged: whether the inrush limiter is bridged.
        there_since: when the voltage came; None while it is not there.
        running_since: when the converter started; None while it is off.
    """

    shelf: str
    watts: float = 0.0
    siemens: float = 0.0
    farad: float = OWN_FARAD
    on_from: float = 0.0
    off_below: float = 0.0
    waits: float = 0.0
    bleed: float = BLEED_OHM
    slow: SlowPart | None = None
    warms: float = 0.0
    creeps: tuple[float, float] = (0.0, 1.0)
    nominal: float = 48.0
    volts: float = 0.0
    bridged: bool = False
    there_since: float | None = None
    running_since: float | None = None

    @property
    def rests(self) -> bool:
        """Whether nothing is in it and nothing happens in it until something comes to its inlet."""
        empty = self.volts == 0.0 and (self.slow is None or self.slow.volts == 0.0)
        return empty and not self.bridged and self.there_since is None

    def factor(self, time: float) -> float:
        """How much of its power the converter draws at a moment."""
        if self.running_since is None:
            return 0.0
        runs = time - self.running_since
        soft = min(1.0, max(0.0, runs / SOFT_S))
        surge = SURGE[0] * math.exp(-max(0.0, runs - SOFT_S) / SURGE[1]) * soft
        return soft + surge + soft * self.warms * (1 - math.exp(-runs / WARMING[1]))

    def power(self, time: float) -> float:
        """Watts of constant power at a moment."""
        if self.running_since is None:
            return 0.0
        part = min(1.0, (time - self.running_since) / self.creeps[1])
        return max(0.0, self.watts * self.factor(time) + self.creeps[0] * self.nominal * part)

    def draws(self, time: float) -> float:
        """Amperes out of the capacitor at a moment."""
        amps = self.volts / self.bleed
        if self.slow is not None:
            amps += (self.volts - self.slow.volts) / self.slow.ohms
        if self.running_since is not None and self.volts > 1.0:
            amps += self.power(time) / self.volts
        elif self.volts > WAITS_FROM_VOLT:
            amps += self.waits
        amps += self.siemens * self.volts
        return amps
