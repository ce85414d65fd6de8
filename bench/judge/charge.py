"""Charge left in a cable or a filter after a test or a switch-off, how long it takes to drain, and whether it can hurt.

The thresholds are those of published standards as quoted in public text. A value below them is no leave to touch: a
conductor is discharged and proven dead first, and local codes and the site's rules come before anything here.
"""

from __future__ import annotations

import math
from typing import Final

import msgspec

from bench.judge.judge_error import number
from bench.quantity import engineering

SAFE_RESIDUAL_V: Final = 60.0
"""Residual voltage that may be left 5 s after switch-off (IEC 60204-1 6.2.4, as quoted in public text)."""

RESIDUAL_TIME_S: Final = 5.0
PLUG_TIME_S: Final = 1.0
"""For pins of a plug that can be touched (the same clause)."""

EXEMPT_CHARGE_C: Final = 60e-6
"""Stored charge that the same clause exempts."""

TOUCH_CHARGE_C: Final = 45e-6
"""Largest discharge above 450 V and up to 15 kV peak (IEC 60335-1 8.1.4, as quoted in public text)."""

TOUCH_CAPACITANCE_F: Final = 0.1e-6
"""Largest capacitance above 42.4 V and up to 450 V peak (the same clause)."""

TOUCH_ENERGY_J: Final = 0.350
"""Largest discharge energy above 15 kV peak (the same clause)."""

LOW_PEAK_V: Final = 42.4
CHARGE_FROM_V: Final = 450.0
ENERGY_FROM_V: Final = 15e3

ARC_ENERGY_J: Final = 20.0
"""Stored energy that burns and sprays metal when shorted, at any voltage (IEC 60950-1, from memory, not confirmed)."""

PAIR_CAPACITANCE_F_PER_M: Final = 50e-12
"""Between the wires of a 0.5 mm telephone pair, 50 nF/km (common practice, no source)."""


def cable_capacitance(length_m: float, farad_per_m: float = PAIR_CAPACITANCE_F_PER_M) -> float:
    """Capacitance of a cable run in farad.

    Raises:
        JudgeError: a negative length or capacitance.
    """
    return number("length", length_m, "m", least=0.0) * number("capacitance per metre", farad_per_m, "F/m", least=0.0)


class Hazard(msgspec.Struct, frozen=True):
    """Judgement of a stored charge.

    Attributes:
        dangerous: whether it is above a threshold.
        threshold: the threshold that was used, with its source.
        sentence: what to do.
    """

    dangerous: bool
    threshold: str
    sentence: str


class StoredCharge(msgspec.Struct, frozen=True):
    """A charged capacitance.

    Attributes:
        capacitance_f: farad.
        voltage_v: volt, either sign.

    Raises:
        JudgeError: a negative capacitance.
    """

    capacitance_f: float
    voltage_v: float

    def __post_init__(self) -> None:
        number("capacitance", self.capacitance_f, "F", least=0.0)
        number("voltage", self.voltage_v, "V")

    @property
    def charge_c(self) -> float:
        """Charge C V in coulomb."""
        return self.capacitance_f * abs(self.voltage_v)

    @property
    def energy_j(self) -> float:
        """Energy ½ C V² in joule."""
        return 0.5 * self.capacitance_f * self.voltage_v**2

    @property
    def hazard(self) -> Hazard:
        """Whether touching it can hurt, by the band of its voltage."""
        volts = abs(self.voltage_v)
        if self.energy_j >= ARC_ENERGY_J:
            return self._hazard(True, f"{ARC_ENERGY_J:g} J stored (IEC 60950-1, from memory)")
        if volts <= LOW_PEAK_V:
            return self._hazard(False, f"{LOW_PEAK_V:g} V peak (IEC 60335-1, as quoted)")
        if volts <= CHARGE_FROM_V:
            return self._hazard(
                self.capacitance_f > TOUCH_CAPACITANCE_F,
                f"{engineering(TOUCH_CAPACITANCE_F, 'F')} up to {CHARGE_FROM_V:g} V (IEC 60335-1 8.1.4, as quoted)",
            )
        if volts <= ENERGY_FROM_V:
            return self._hazard(
                self.charge_c > TOUCH_CHARGE_C,
                f"{engineering(TOUCH_CHARGE_C, 'C')} up to 15 kV (IEC 60335-1 8.1.4, as quoted)",
            )
        return self._hazard(
            self.energy_j > TOUCH_ENERGY_J,
            f"{engineering(TOUCH_ENERGY_J, 'J')} above 15 kV (IEC 60335-1 8.1.4, as quoted)",
        )

    def _hazard(self, dangerous: bool, threshold: str) -> Hazard:
        held = (
            f"It holds {engineering(self.charge_c, 'C', digits=3)} and {engineering(self.energy_j, 'J', digits=3)} at "
            f"{engineering(abs(self.voltage_v), 'V', digits=3)}"
        )
        if dangerous:
            return Hazard(True, threshold, f"{held}: it can hurt ({threshold}). Discharge it and prove it dead.")
        return Hazard(False, threshold, f"{held}: below {threshold}. Discharge it and prove it dead all the same.")

    @property
    def sentence(self) -> str:
        """The judgement in words."""
        return self.hazard.sentence


def discharge_time(capacitance_f: float, bleed_ohm: float, start_v: float, end_v: float = SAFE_RESIDUAL_V) -> float:
    """Seconds until a capacitance has drained through a resistance: R C ln(V₀ / V); zero when already below.

    Args:
        capacitance_f: farad, not negative.
        bleed_ohm: ohm, above zero.
        start_v: either sign.
        end_v: above zero.

    Raises:
        JudgeError: a value out of bounds.
    """
    start = abs(number("start voltage", start_v, "V"))
    end = number("end voltage", end_v, "V", above=0.0)
    capacitance = number("capacitance", capacitance_f, "F", least=0.0)
    bleed = number("bleed resistance", bleed_ohm, "Ω", above=0.0)
    return bleed * capacitance * math.log(start / end) if start > end else 0.0


def largest_bleed(
    capacitance_f: float, start_v: float, end_v: float = SAFE_RESIDUAL_V, seconds: float = RESIDUAL_TIME_S
) -> float:
    """Largest bleed resistance in ohm that drains a capacitance in time; infinite when nothing need drain.

    Args:
        capacitance_f: of all that is charged, in farad.
        start_v: that it is charged to.
        end_v: that it must have fallen to.
        seconds: in this time.

    Raises:
        JudgeError: a value out of bounds.
    """
    one_ohm = discharge_time(capacitance_f, 1.0, start_v, end_v)
    number("time", seconds, "s", above=0.0)
    return seconds / one_ohm if one_ohm > 0 else math.inf


def settle_time(resistance_ohm: float, capacitance_f: float, fraction: float) -> float:
    """Seconds until a charging reading is within a fraction of its final value: R C ln(1 / fraction).

    Args:
        resistance_ohm: through which it charges.
        capacitance_f: of the cable or the part.
        fraction: such as 0.01 for one percent.

    Raises:
        JudgeError: a value out of bounds.
    """
    return (
        number("resistance", resistance_ohm, "Ω", least=0.0)
        * number("capacitance", capacitance_f, "F", least=0.0)
        * -math.log(number("fraction", fraction, above=0.0, below=1.0))
    )
