"""Bad input is refused in one clear sentence: what it was and what it should have been."""

import math

import pytest

from bench.judge import judge_error as errors
from bench.judge.accuracy import AccuracyRow, AccuracyTable
from bench.judge.conductor import Contact, ExpectedResistance, Run, awg_conductor, metric_conductor, series
from bench.judge.decision import NotANumber, Overload, Rule, decide
from bench.judge.gauge import awg_number
from bench.judge.limit import Limit
from bench.judge.metals import Material, stretched
from bench.judge.ohms import Leads, ThermalEmf, from_reversed_pair
from bench.judge.reading import reading_budget
from bench.judge.student import coverage_factor, quantile
from bench.judge.uncertainty import Budget, Component, Correlation, dof_from_reliability, standard_from_half_width

ROW = AccuracyRow("ohms", "Ω", 10.0, percent_of_reading=0.1)
VOLTS = AccuracyRow("volts", "V", 10.0, percent_of_reading=0.1)


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: Run(-1.0), "length: found -1 m, expected a finite number and above 0 m"),
        (lambda: Run(0.0), "length: found 0 m"),
        (lambda: Run(math.nan), "length: found nan m"),
        (lambda: Run("12 m"), "length: found '12 m', expected a finite number"),
        (lambda: Run(True), "length: found True"),
        (lambda: Run(10.0, 10.0), "length tolerance: found 10 m"),
        (lambda: Run(1.0, temperature_tolerance_k=-1), "temperature tolerance"),
        (lambda: Contact(-0.1, 1.0), "contact: typical resistance: found -0.1 Ω"),
        (
            lambda: Contact(0.2, 0.1, name="lug"),
            "lug: maximum resistance: found 0.1 Ω, expected a finite number and at",
        ),
        (lambda: ExpectedResistance(1.0, 2.0, 3.0, ""), "expected resistance: found 1 Ω"),
        (lambda: awg_number("57"), "wire size: found '57', expected an AWG size such as '24'"),
        (lambda: awg_number("5/0"), "wire size: found '5/0'"),
        (lambda: awg_number("24 mm"), "wire size: found '24 mm'"),
        (lambda: awg_number(""), "wire size: found ''"),
        (lambda: awg_number(24.0), "wire size: found 24.0"),
        (lambda: awg_number("٢٤"), "wire size"),
        (
            lambda: awg_conductor(24, Run(1.0), material="gold"),
            "material: found 'gold', expected one of copper, tinned copper",
        ),
        (lambda: metric_conductor(0.0, Run(1.0)), "cross-section: found 0 mm²"),
        (
            lambda: metric_conductor(1.0, Run(1.0), conductor_class=3),
            "conductor class: found '3', expected one of 1, 2, 5",
        ),
        (lambda: awg_conductor(24, Run(1.0, temperature_c=900)), "conductor temperature: found 900 °C"),
        (lambda: stretched(Material("x", 1.0, 1.0, 1.0, 0.004, ""), -100), "conductor temperature"),
        (lambda: Material("x", 1.0, 2.0, 3.0, 0.004, ""), "x: resistivity: found 1"),
        (lambda: series(), "series: found no path"),
        (lambda: Limit(unit="Ω", source="x"), "limit: found no bound"),
        (lambda: Limit.at_most(1.0, "kΩ", "x"), "limit: unit: found 'kΩ', expected a base unit without prefix"),
        (lambda: Limit.at_most(1.0, "Ω", " "), "limit: source"),
        (
            lambda: Limit.between(2.0, 1.0, "Ω", "x"),
            "limit: upper bound: found 1 Ω, expected a finite number and above 2",
        ),
        (lambda: Limit.at_most(math.inf, "Ω", "x"), "limit: upper bound: found inf"),
        (lambda: AccuracyRow("ohms", "Ω", 0.0, percent_of_reading=1), "accuracy of ohms: range: found 0 Ω"),
        (lambda: AccuracyRow("ohms", "Ω", 10.0), "no error at all"),
        (lambda: AccuracyRow("ohms", "Ω", 10.0, percent_of_reading=-1), "percent of reading: found -1 %"),
        (lambda: AccuracyRow("ohms", "ohm", 10.0, percent_of_reading=1), "unit: found 'ohm'"),
        (lambda: AccuracyRow("ohms", "Ω", 10.0, counts=2), "resolution: found 0, expected the size of one count"),
        (lambda: AccuracyRow("ohms", "Ω", 10.0, percent_of_reading=1, spread="typical"), "spread: found 'typical'"),
        (lambda: AccuracyTable("meter", ()), "meter: accuracy table: found no rows"),
        (
            lambda: AccuracyTable("meter", (ROW, AccuracyRow("ohms", "V", 1.0, percent_of_reading=1))),
            "meter: units of ohms",
        ),
        (lambda: ROW.error_at(10.1), "ohms, 10 Ω range: reading: found 10.1 Ω, expected 0 Ω to 10 Ω"),
        (lambda: Component("x", -1.0), "x: standard uncertainty: found -1"),
        (lambda: Component("x", 1.0, "gaussian"), "x: distribution: found 'gaussian', expected one of normal, rect"),
        (lambda: Component("x", 1.0, dof=0.5), "x: degrees of freedom: found 0.5"),
        (lambda: Component("x", 1.0, dof=math.nan), "x: degrees of freedom: found nan"),
        (lambda: Component("x", 1.0, role="luck"), "x: role: found 'luck'"),
        (lambda: Component.from_expanded("x", 1.0, 0.0), "x: coverage factor: found 0"),
        (lambda: Budget(1.0, "Ω", ()), "reading: budget: found no component"),
        (lambda: Budget(1.0, "mΩ", (Component("x", 1.0),)), "reading: unit: found 'mΩ'"),
        (lambda: Budget(1.0, "Ω", (Component("x", 1.0),), level=95), "coverage level: found 95"),
        (lambda: Budget(1.0, "Ω", (Component("x", 1.0), Component("x", 2.0))), "found x twice"),
        (lambda: Correlation("a", "b", 1.5), "correlation of a and b: found 1.5"),
        (lambda: Correlation("a", "a", 0.5), "correlation: found a with itself"),
        (lambda: standard_from_half_width(-1.0), "half-width: found -1"),
        (lambda: dof_from_reliability(1.0), "degrees of freedom from reliability: found 0.5"),
        (lambda: quantile(1.0, 3), "probability: found 1"),
        (lambda: coverage_factor(0.95, 0.0), "degrees of freedom: found 0"),
        (lambda: Rule.guarded(0.3), "decision rule: confidence: found 0.3"),
        (lambda: Rule.guarded(95), "decision rule: confidence: found 95"),
        (lambda: Rule.guarded_by_factor(-1.0), "decision rule: guard factor"),
        (lambda: Rule("simple", factor=1.0), "a guard factor with simple acceptance"),
        (lambda: Rule("lenient"), "decision rule: found 'lenient'"),
        (lambda: Overload(0.0, "Ω", 0.1), "reading: top of the range: found 0 Ω"),
        (lambda: decide(NotANumber("V"), Limit.at_most(1.0, "Ω", "x")), "reading: unit: found V, expected the unit Ω"),
        (lambda: reading_budget(1.0, VOLTS, leads=Leads.four_wires()), "found a reading in V, expected a resistance"),
        (lambda: reading_budget([], ROW), "reading: found no reading, expected at least one"),
        (lambda: reading_budget(math.nan, ROW), "reading: found nan Ω"),
        (lambda: reading_budget(0.1, ROW, leads=Leads.nulled(0.4)), "resistance reading: found 0.1 Ω"),
        (lambda: ThermalEmf(1e-6, 0.0), "test current: found 0 A"),
        (lambda: ThermalEmf(1e-6, 1.0, "hope"), "thermal EMF: found 'hope'"),
        (lambda: from_reversed_pair(1.0, -1.0, -1e-3), "test current: found -0.001 A"),
        (lambda: Leads.not_nulled(0.5, 0.2), "lead resistance, high: found 0.2 Ω"),
    ],
)
def test_bad_input_is_named(make, text):
    with pytest.raises(errors.JudgeError) as caught:
        make()
    assert text in str(caught.value)


def test_error_is_a_value_error_with_its_parts():
    problem = errors.JudgeError("length", "-1", "more")
    assert isinstance(problem, ValueError)
    assert (problem.what, problem.found, problem.expected) == ("length", "-1", "more")


def test_impossible_sets_of_correlations_are_refused():
    parts = tuple(Component(name, 1.0) for name in "abc")
    pairs = (Correlation("a", "b", 0.9), Correlation("b", "c", 0.9), Correlation("a", "c", -0.9))
    with pytest.raises(errors.JudgeError, match="a set that no quantities can have"):
        Budget(0.0, "V", parts, pairs)
    with pytest.raises(errors.JudgeError, match="found z"):
        Budget(0.0, "V", parts, (Correlation("a", "z", 0.1),))
    with pytest.raises(errors.JudgeError, match="b and a twice"):
        Budget(0.0, "V", parts, (Correlation("a", "b", 0.1), Correlation("b", "a", 0.1)))


def test_a_number_within_its_bounds_makes_no_text():
    class Silent(float):
        def __format__(self, spec):
            raise AssertionError("a text was made of a bound that nobody reads")

    assert errors.number("length", 1.0, "m", least=Silent(0.0), below=Silent(2.0)) == 1.0
    with pytest.raises(AssertionError):
        errors.number("length", -1.0, "m", least=Silent(0.0))
