"""Low resistance: lead resistance, thermal EMF, and the ways to be rid of them.

Two leads carry the current and two more sense the voltage at the part: then lead resistance drops out. A thermal EMF in
the loop is cancelled by reversing the current, or by a second reading with the source off.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final, Self

import msgspec

from bench.judge.judge_error import JudgeError, number, one_of
from bench.quantity import engineering

EMF_METHODS: Final = ("none", "offset compensation", "reversed pair")
LEAD_METHODS: Final = ("four wires", "two wires, nulled", "two wires, not nulled")

NULL_REPEATABILITY_OHM: Final = 0.02
"""How well shorted probes repeat by hand, either way: common practice, no source."""

UNKNOWN_LEADS_OHM: Final = (0.2, 0.5)
"""Resistance of a pair of ordinary test leads (a meter handbook, as found in public text)."""

EMF_RESIDUAL: Final = 0.1
"""Part of a thermal EMF that is left after compensation, since it drifts between the two readings: an assumption."""


class Resistance4W(msgspec.Struct, frozen=True):
    """A resistance freed of its thermal EMF.

    Attributes:
        resistance_ohm: the resistance.
        emf_v: the EMF that was found in the loop.
    """

    resistance_ohm: float
    emf_v: float

    @property
    def sentence(self) -> str:
        """The two in words."""
        return (
            f"{engineering(self.resistance_ohm, 'Ω')}, with a thermal EMF of {engineering(self.emf_v, 'V')} taken out."
        )


def from_reversed_pair(forward_v: float, reversed_v: float, current_a: float) -> Resistance4W:
    """Resistance from a voltage at +I and one at -I: R = (V₁ - V₂) / (2 I); the EMF is (V₁ + V₂) / 2.

    Args:
        forward_v: at +I.
        reversed_v: at -I, with its own sign.
        current_a: I, above zero.

    Raises:
        JudgeError: a current that is not above zero.
    """
    first, second = number("forward voltage", forward_v, "V"), number("reversed voltage", reversed_v, "V")
    current = number("test current", current_a, "A", above=0.0)
    return Resistance4W((first - second) / (2.0 * current), (first + second) / 2.0)


def offset_compensated(on_v: float, off_v: float, current_a: float) -> Resistance4W:
    """Resistance from a voltage with the source on and one with it off: R = (V_on - V_off) / I.

    Args:
        on_v: source on.
        off_v: source off; this is the EMF.
        current_a: I, above zero.

    Raises:
        JudgeError: a current that is not above zero.
    """
    on, off = number("voltage, source on", on_v, "V"), number("voltage, source off", off_v, "V")
    current = number("test current", current_a, "A", above=0.0)
    return Resistance4W((on - off) / current, off)


class Leads(msgspec.Struct, frozen=True):
    """How lead resistance was dealt with in a resistance reading.

    Use :meth:`four_wires`, :meth:`nulled` or :meth:`not_nulled`.

    Attributes:
        method: one of :data:`LEAD_METHODS`.
        correction_ohm: taken off the reading.
        half_width_ohm: how far the correction may be off, either way.
    """

    method: str
    correction_ohm: float
    half_width_ohm: float

    def __post_init__(self) -> None:
        one_of("leads", self.method, LEAD_METHODS)
        number("lead correction", self.correction_ohm, "Ω", least=0.0)
        number("lead correction, half-width", self.half_width_ohm, "Ω", least=0.0)

    # one for each zero of a bench, and for each of its readings
    @classmethod
    @lru_cache(maxsize=256)
    def four_wires(cls) -> Self:
        """Leads that do not count: sensed at the part."""
        return cls("four wires", 0.0, 0.0)

    @classmethod
    @lru_cache(maxsize=256)
    def nulled(cls, null_ohm: float, repeatability_ohm: float = NULL_REPEATABILITY_OHM) -> Self:
        """Two leads that were shorted and read before.

        Args:
            null_ohm: what the shorted leads read. Zero when the meter subtracts it by itself.
            repeatability_ohm: how well that repeats, either way.
        """
        return cls("two wires, nulled", null_ohm, repeatability_ohm)

    @classmethod
    @lru_cache(maxsize=256)
    def not_nulled(cls, low_ohm: float = UNKNOWN_LEADS_OHM[0], high_ohm: float = UNKNOWN_LEADS_OHM[1]) -> Self:
        """Two leads that nobody read: the middle of their likely resistance is taken off, and half of it doubted.

        Raises:
            JudgeError: bounds that are negative or not in order.
        """
        low = number("lead resistance, low", low_ohm, "Ω", least=0.0)
        high = number("lead resistance, high", high_ohm, "Ω", least=low)
        return cls("two wires, not nulled", (low + high) / 2.0, (high - low) / 2.0)


class ThermalEmf(msgspec.Struct, frozen=True):
    """Thermal EMF in a resistance reading.

    Attributes:
        emf_v: how large it may be, either way.
        test_current_a: current through the part.
        method: what was done about it, one of :data:`EMF_METHODS`.
        residual: part that is left after compensation.

    Raises:
        JudgeError: negative EMF, no current, or a residual that is not between 0 and 1.
    """

    emf_v: float
    test_current_a: float
    method: str = "none"
    residual: float = EMF_RESIDUAL

    def __post_init__(self) -> None:
        number("thermal EMF", self.emf_v, "V", least=0.0)
        number("test current", self.test_current_a, "A", above=0.0)
        number("thermal EMF, residual part", self.residual, least=0.0, most=1.0)
        one_of("thermal EMF", self.method, EMF_METHODS)

    @property
    def half_width_ohm(self) -> float:
        """Error that it can make in the resistance, either way: EMF over current, less what was compensated."""
        error = self.emf_v / self.test_current_a
        return error if self.method == "none" else error * self.residual


def sensed(reading_ohm: float, leads: Leads) -> float:
    """Return a resistance reading with its lead correction taken off.

    Raises:
        JudgeError: the reading is far below what the leads alone would read.
    """
    corrected = number("resistance reading", reading_ohm, "Ω") - leads.correction_ohm
    if leads.correction_ohm > 0 and corrected < -3.0 * leads.half_width_ohm:
        raise JudgeError(
            "resistance reading",
            engineering(reading_ohm, "Ω"),
            f"at least about the leads' own {engineering(leads.correction_ohm, 'Ω')}",
        )
    return corrected
