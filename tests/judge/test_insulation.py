"""Insulation tests: rules, timed readings, temperature, and the charge that is left."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.judge import charge, fusing, harness, insulation
from bench.judge.decision import Overload, decide
from bench.judge.gauge import awg_area_mm2
from bench.judge.insulation import (
    CAUTION,
    InsulationRule,
    TimedReading,
    at_temperature,
    dielectric_absorption_ratio,
    insulation_rule,
    polarization_index,
    reading_at,
)
from bench.judge.judge_error import JudgeError

SERIES = [TimedReading(15, 0.6e9), TimedReading(30, 1.0e9), TimedReading(60, 1.5e9), TimedReading(601, 4.5e9)]


@pytest.mark.parametrize(
    ("nominal", "separate", "volts", "minimum"),
    [
        (-48.0, True, 250.0, 0.5e6),
        (48.0, False, 500.0, 1e6),
        (50.0, True, 250.0, 0.5e6),
        (50.01, True, 500.0, 1e6),
        (230.0, True, 500.0, 1e6),
        (500.0, True, 500.0, 1e6),
        (690.0, True, 1000.0, 1e6),
    ],
)
def test_rule_by_nominal_voltage(nominal, separate, volts, minimum):
    rule = insulation_rule(nominal, safely_separate=separate)
    assert (rule.test_voltage_v, rule.minimum_ohm) == (volts, minimum)
    assert rule.limit.lower == minimum and rule.limit.source == rule.source


def test_minimum_is_data_and_not_code():
    """Editions differ: one table asks 0.5 MΩ at extra-low voltage, one training page 1 MΩ."""
    other = (InsulationRule(50.0, 250.0, 1e6, "a training page"),)
    assert insulation_rule(48.0).minimum_ohm == 0.5e6
    assert insulation_rule(48.0, rules=other).minimum_ohm == 1e6
    with pytest.raises(JudgeError, match="found 60 V, expected at most 50 V"):
        insulation_rule(60.0, rules=other)


def test_rule_speaks_and_warns():
    assert insulation_rule(-48.0).sentence.startswith("Test at 250 V d.c.; at least 500 kΩ (IEC 60364-6 table 6.1")
    assert "prove it dead" in CAUTION and "Local codes" in CAUTION


def test_overload_of_the_tester_passes_the_rule():
    assert decide(Overload(1e10, "Ω", 3e8), insulation_rule(48.0).limit).verdict == "pass"


def test_ratios():
    index = polarization_index(SERIES, "F")
    assert (index.answer, index.minimum) == ("good", 2.0)
    assert index.ratio == pytest.approx(3.0)
    assert index.sentence == "The polarization index is 3, at least the 2 asked."
    absorption = dielectric_absorption_ratio(SERIES)
    assert (absorption.answer, absorption.minimum) == ("no minimum", None)
    assert absorption.ratio == pytest.approx(1.5)
    assert dielectric_absorption_ratio(SERIES, 1.6).answer == "low"


def test_low_index_names_the_usual_causes():
    damp = [TimedReading(60, 1e8), TimedReading(600, 1.1e8)]
    assert polarization_index(damp, "A").answer == "low"
    assert "moisture or dirt" in polarization_index(damp, "A").sentence


def test_index_of_very_good_insulation_says_nothing():
    dry = [TimedReading(30, 4e9), TimedReading(60, 5.1e9), TimedReading(600, 5.2e9)]
    for ratio in (polarization_index(dry, "B"), dielectric_absorption_ratio(dry)):
        assert ratio.answer == "not meaningful"
        assert "above 5 GΩ" in ratio.sentence


def test_missing_or_zero_readings_are_refused():
    with pytest.raises(JudgeError, match="found the nearest at 60 s, expected one at 600 s, within 10 %"):
        polarization_index(SERIES[:3])
    with pytest.raises(JudgeError, match="found no reading"):
        reading_at([], 60)
    with pytest.raises(JudgeError, match="resistance at 60 s: found 0 Ω"):
        polarization_index([TimedReading(60, 0.0), TimedReading(600, 1.0)])
    with pytest.raises(JudgeError, match="insulation class: found 'C'"):
        polarization_index(SERIES, "C")
    with pytest.raises(JudgeError, match="insulation resistance: found -1 Ω"):
        TimedReading(60, -1.0)


@given(st.floats(1e3, 1e12), st.floats(-10, 90), st.floats(-10, 90), st.floats(-10, 90))
def test_temperature_correction_goes_there_and_back(ohms, a, b, c):
    there = at_temperature(ohms, a, b).resistance_ohm
    assert at_temperature(there, b, a).resistance_ohm == pytest.approx(ohms)
    assert at_temperature(there, b, c).resistance_ohm == pytest.approx(at_temperature(ohms, a, c).resistance_ohm)
    assert (there >= ohms) == (a >= b) or there == pytest.approx(ohms)


def test_correction_says_what_was_done():
    corrected = at_temperature(15e6, 70.0)
    assert corrected.sentence == "120 MΩ (from 70 °C to 40 °C by halving for each 10 K, factor 8)."
    assert at_temperature(15e6, 70.0, kelvin_per_halving=15.0).factor == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("farad", "volts", "dangerous", "word"),
    [
        (1.0e-3, 42.4, False, "42.4 V"),
        (0.1e-6, 250.0, False, "100 nF"),
        (0.11e-6, 250.0, True, "100 nF"),
        (0.11e-6, -250.0, True, "100 nF"),
        (89e-9, 500.0, False, "45 µC"),
        (91e-9, 500.0, True, "45 µC"),
        (2e-9, 16e3, False, "0.35 J"),
        (4e-9, 16e3, True, "0.35 J"),
        # a filter bank at battery voltage burns when it is shorted
        (22e-3, 48.0, True, "20 J"),
        (0.0, 500.0, False, "45 µC"),
    ],
)
def test_hazard_by_band_of_voltage(farad, volts, dangerous, word):
    hazard = charge.StoredCharge(farad, volts).hazard
    assert hazard.dangerous is dangerous
    assert word in hazard.threshold
    assert "prove it dead" in hazard.sentence


@given(st.floats(1e-12, 1e-3), st.floats(1.0, 1e7), st.floats(61.0, 1e4))
def test_discharge_and_bleed_are_each_others_inverse(farad, ohms, volts):
    seconds = charge.discharge_time(farad, ohms, volts)
    assert volts * math.exp(-seconds / (ohms * farad)) == pytest.approx(60.0)
    assert charge.largest_bleed(farad, volts, seconds=seconds) == pytest.approx(ohms)


def test_nothing_to_drain_below_the_threshold():
    assert charge.discharge_time(1e-6, 1e6, 48.0) == 0.0
    assert charge.largest_bleed(1e-6, 48.0) == math.inf


@given(st.floats(1.0, 1e9), st.floats(1e-12, 1e-3), st.floats(1e-6, 0.99))
def test_settling_leaves_the_fraction_asked(ohms, farad, fraction):
    seconds = charge.settle_time(ohms, farad, fraction)
    assert math.exp(-seconds / (ohms * farad)) == pytest.approx(fraction)


def test_the_least_insulation_goes_by_length():
    assert harness.insulation_limit(3.0).lower == 100e6 and harness.insulation_limit(12.0).lower == 10e6
    assert "from memory" in harness.insulation_limit(2.0).source


@pytest.mark.parametrize(
    ("wanted", "rated", "volts"), [(250, 300, 250), (1000, 300, 500), (500, 60, 100), (250, 25, 50)]
)
def test_the_test_voltage_follows_from_the_weakest_thing(wanted, rated, volts):
    assert insulation.test_voltage(wanted, rated) == volts


def test_what_bears_no_test_voltage_is_said():
    with pytest.raises(JudgeError, match="bears a test at 50 V"):
        insulation.test_voltage(250.0, 24.0)


@given(st.floats(0.01, 100.0), st.floats(0.01, 10.0), st.floats(-20.0, 80.0))
def test_melting_current_and_time_are_each_others_inverse(area, seconds, ambient):
    current = fusing.melting_current(area, seconds, ambient)
    assert fusing.melting_time(area, current, ambient) == pytest.approx(seconds)


def test_colder_and_thicker_wire_carries_more():
    area = awg_area_mm2(16)
    assert fusing.melting_current(area, 5.0, 0.0) > fusing.melting_current(area, 5.0, 40.0)
    assert fusing.melting_current(2 * area, 5.0) == pytest.approx(2 * fusing.melting_current(area, 5.0))
    for bad in (lambda: fusing.melting_current(0.0, 1.0), lambda: fusing.melting_time(1.0, 0.0)):
        with pytest.raises(JudgeError):
            bad()
