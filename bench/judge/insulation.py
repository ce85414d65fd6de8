"""Insulation resistance: what to test at, what to ask, how to read it, and what charge is left behind.

The table of test voltages is data: editions and countries differ, so pass your own where the site's rules say other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, Literal

import msgspec

from bench.judge.judge_error import JudgeError, number, one_of
from bench.judge.limit import Limit
from bench.quantity import engineering

CAUTION: Final = (
    "The test voltage can hurt and can destroy electronics. Disconnect cards and surge arresters, keep everybody off "
    "the cable at both ends, discharge it afterwards and prove it dead. Local codes and the site's rules come first."
)


class InsulationRule(msgspec.Struct, frozen=True):
    """What an insulation test asks for circuits up to a nominal voltage.

    Attributes:
        up_to_v: highest nominal voltage that the rule covers, inclusive; infinite for the last.
        test_voltage_v: d.c. test voltage.
        minimum_ohm: smallest resistance that conforms.
        source: where it comes from.
        extra_low_only: holds for extra-low voltage kept safely separate (SELV, PELV) only.

    Raises:
        JudgeError: a figure that is not above zero.
    """

    up_to_v: float
    test_voltage_v: float
    minimum_ohm: float
    source: str
    extra_low_only: bool = False

    def __post_init__(self) -> None:
        if self.up_to_v != math.inf:
            number("insulation rule: nominal voltage", self.up_to_v, "V", above=0.0)
        number("insulation rule: test voltage", self.test_voltage_v, "V", above=0.0)
        number("insulation rule: minimum", self.minimum_ohm, "Ω", above=0.0)

    @property
    def limit(self) -> Limit:
        """The minimum as a limit."""
        return Limit.at_least(self.minimum_ohm, "Ω", self.source)

    @property
    def sentence(self) -> str:
        """The rule in words."""
        return (
            f"Test at {engineering(self.test_voltage_v, 'V')} d.c.; at least {engineering(self.minimum_ohm, 'Ω')} "
            f"({self.source})."
        )


_IEC = "IEC 60364-6 table 6.1, from memory"

IEC_60364_6: Final = (
    InsulationRule(50.0, 250.0, 0.5e6, f"{_IEC}, up to 50 V (SELV and PELV)", extra_low_only=True),
    InsulationRule(500.0, 500.0, 1.0e6, f"{_IEC}, up to and including 500 V"),
    InsulationRule(math.inf, 1000.0, 1.0e6, f"{_IEC}, above 500 V"),
)


def insulation_rule(
    nominal_v: float,
    *,
    safely_separate: bool = True,
    rules: Sequence[InsulationRule] = IEC_60364_6,
) -> InsulationRule:
    """Return the rule for a circuit.

    Args:
        nominal_v: nominal voltage, either sign.
        safely_separate: the circuit is SELV or PELV; otherwise rules for those alone are passed over.
        rules: the table, lowest voltage first.

    Raises:
        JudgeError: no rule covers the voltage.
    """
    size = abs(number("nominal voltage", nominal_v, "V"))
    for rule in rules:
        if size <= rule.up_to_v and (safely_separate or not rule.extra_low_only):
            return rule
    raise JudgeError(
        "nominal voltage",
        engineering(size, "V"),
        f"at most {engineering(max((rule.up_to_v for rule in rules), default=0.0), 'V')}, as the table covers",
    )


TEST_VOLTAGES_V: Final = (50.0, 100.0, 250.0, 500.0, 1000.0)
"""What testers offer (common practice, no source)."""

OVER_RATED: Final = 2.0
"""Times its rated voltage that insulation is tested at, at the most (common practice, no source)."""


def test_voltage(wanted_v: float, rated_v: float) -> float:
    """The voltage to test at: what the circuit's rule wants, lowered to what the weakest thing connected bears.

    Args:
        wanted_v: of the rule.
        rated_v: of the weakest insulation on the leads.

    Raises:
        JudgeError: the weakest bears none of the usual test voltages.
    """
    most = OVER_RATED * number("rated voltage", rated_v, "V", above=0.0)
    fitting = [volts for volts in TEST_VOLTAGES_V if volts <= min(wanted_v, most)]
    if not fitting:
        raise JudgeError("rated voltage", engineering(rated_v, "V"), "insulation that bears a test at 50 V")
    return fitting[-1]


class TimedReading(msgspec.Struct, frozen=True):
    """Insulation resistance at a moment after the voltage was put on.

    Attributes:
        seconds: since the voltage was put on.
        resistance_ohm: the reading.
    """

    seconds: float
    resistance_ohm: float

    def __post_init__(self) -> None:
        number("time since the voltage was put on", self.seconds, "s", above=0.0)
        number("insulation resistance", self.resistance_ohm, "Ω", least=0.0)


class AbsorptionRatio(msgspec.Struct, frozen=True):
    """Ratio of two readings of a charging insulation.

    Attributes:
        name: ``polarization index`` or ``dielectric absorption ratio``.
        ratio: later over earlier reading.
        early: reading that it started from.
        late: reading that it ended with.
        answer: ``good``, ``low``, ``not meaningful``, or ``no minimum`` where none is given.
        minimum: smallest ratio asked for; None where there is none.
        sentence: what it says.
    """

    name: str
    ratio: float
    early: TimedReading
    late: TimedReading
    answer: Literal["good", "low", "not meaningful", "no minimum"]
    minimum: float | None
    sentence: str


IEEE_43_MINIMUM_INDEX: Final = {"A": 1.5, "B": 2.0, "F": 2.0, "H": 2.0}
"""Smallest polarization index by insulation class (IEEE 43-2000, as quoted in a meter handbook)."""

INDEX_MEANINGLESS_ABOVE_OHM: Final = 5000e6
"""Above this after one minute the index says nothing (IEEE 43-2013, as quoted in public text)."""


def reading_at(readings: Sequence[TimedReading], seconds: float, within: float = 0.1) -> TimedReading:
    """Return the reading nearest to a moment.

    Args:
        readings: in any order.
        seconds: the moment.
        within: how far off it may be, as a part of ``seconds``.

    Raises:
        JudgeError: none is near enough.
    """
    number("moment", seconds, "s", above=0.0)
    near = min(readings, key=lambda reading: abs(reading.seconds - seconds), default=None)
    if near is None or abs(near.seconds - seconds) > within * seconds:
        found = "no reading" if near is None else f"the nearest at {near.seconds:g} s"
        raise JudgeError("timed insulation readings", found, f"one at {seconds:g} s, within {within * 100:g} %")
    return near


def polarization_index(readings: Sequence[TimedReading], insulation_class: str | None = None) -> AbsorptionRatio:
    """Polarization index: resistance at 10 minutes over resistance at 1 minute.

    Args:
        readings: with one near 60 s and one near 600 s.
        insulation_class: thermal class A, B, F or H for the minimum of IEEE 43; None asks no minimum. The standard is
            for windings of machines; for cables the index shows moisture and dirt but has no limit.

    Raises:
        JudgeError: a reading is missing, is zero, or the class is not known.
    """
    minimum = None
    if insulation_class is not None:
        one_of("insulation class", insulation_class, tuple(IEEE_43_MINIMUM_INDEX))
        minimum = IEEE_43_MINIMUM_INDEX[insulation_class]
    return _ratio("polarization index", readings, 60.0, 600.0, minimum)


def dielectric_absorption_ratio(readings: Sequence[TimedReading], minimum: float | None = None) -> AbsorptionRatio:
    """Dielectric absorption ratio: resistance at 60 s over resistance at 30 s.

    Args:
        readings: with one near 30 s and one near 60 s.
        minimum: smallest ratio asked for, if the site has one.

    Raises:
        JudgeError: a reading is missing or is zero.
    """
    return _ratio("dielectric absorption ratio", readings, 30.0, 60.0, minimum)


def _ratio(
    name: str, readings: Sequence[TimedReading], first: float, second: float, minimum: float | None
) -> AbsorptionRatio:
    early, late = reading_at(readings, first), reading_at(readings, second)
    number(f"resistance at {early.seconds:g} s", early.resistance_ohm, "Ω", above=0.0)
    ratio = late.resistance_ohm / early.resistance_ohm
    start = reading_at(readings, 60.0)
    answer: Literal["good", "low", "not meaningful", "no minimum"]
    if start.resistance_ohm > INDEX_MEANINGLESS_ABOVE_OHM:
        answer = "not meaningful"
        words = (
            f"The {name} is {ratio:.3g}, but says nothing here: after a minute the resistance was already "
            f"{engineering(start.resistance_ohm, 'Ω')}, above {engineering(INDEX_MEANINGLESS_ABOVE_OHM, 'Ω')}."
        )
    elif minimum is None:
        answer = "no minimum"
        words = f"The {name} is {ratio:.3g}; no minimum is asked."
    elif ratio >= minimum:
        answer = "good"
        words = f"The {name} is {ratio:.3g}, at least the {minimum:g} asked."
    else:
        answer = "low"
        words = f"The {name} is {ratio:.3g}, below the {minimum:g} asked: think of moisture or dirt."
    return AbsorptionRatio(name, ratio, early, late, answer, minimum, words)


class CorrectedInsulation(msgspec.Struct, frozen=True):
    """Insulation resistance brought to another temperature.

    Attributes:
        resistance_ohm: corrected.
        factor: that the reading was multiplied by.
        method: how, so that a record shows it.
    """

    resistance_ohm: float
    factor: float
    method: str

    @property
    def sentence(self) -> str:
        """The correction in words."""
        return f"{engineering(self.resistance_ohm, 'Ω')} ({self.method}, factor {self.factor:.3g})."


def at_temperature(
    resistance_ohm: float, measured_at_c: float, wanted_at_c: float = 40.0, *, kelvin_per_halving: float = 10.0
) -> CorrectedInsulation:
    """Bring an insulation resistance to another temperature by the halving rule.

    R halves for each 10 K of rise: R₄₀ = R_T · 0.5^((40 - T)/10) (IEEE 43, as quoted in a test handbook). The formula
    is used and never a chart: one chart in print gives a factor of 7 at 70 °C where the formula gives 8.

    Args:
        resistance_ohm: as measured.
        measured_at_c: temperature of the insulation.
        wanted_at_c: temperature to bring it to; 40 °C for windings, 20 °C is usual for cables.
        kelvin_per_halving: rise that halves it; 10 K unless the material is known better.

    Raises:
        JudgeError: a negative resistance or a halving that is not above zero.
    """
    ohms = number("insulation resistance", resistance_ohm, "Ω", least=0.0)
    measured = number("temperature", measured_at_c, "°C", least=-40.0, most=200.0)
    wanted = number("temperature wanted", wanted_at_c, "°C", least=-40.0, most=200.0)
    step = number("kelvin for each halving", kelvin_per_halving, "K", above=0.0)
    factor = 0.5 ** ((wanted - measured) / step)
    return CorrectedInsulation(
        ohms * factor,
        factor,
        f"from {measured:g} °C to {wanted:g} °C by halving for each {step:g} K",
    )
