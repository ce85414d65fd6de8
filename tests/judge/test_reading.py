"""Budgets of meter readings: accuracy, last digit, leads, thermal EMF, zero drift and scatter."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.judge.accuracy import AccuracyRow, AccuracyTable
from bench.judge.ohms import Leads, ThermalEmf, from_reversed_pair, offset_compensated, sensed
from bench.judge.reading import overload_reading, reading_budget

ROW = AccuracyRow(
    "ohms",
    "Ω",
    10.0,
    percent_of_reading=0.1,
    percent_of_range=0.05,
    resolution=0.001,
    highest=12.0,
    test_current_a=1e-3,
)
ROOT3 = math.sqrt(3.0)


def part(budget, role):
    (found,) = budget.having(role)
    return found


def test_meter_alone():
    budget = reading_budget(2.0, ROW, temperature_c=23.0)
    assert budget.value == 2.0
    assert [c.role for c in budget.components] == ["accuracy", "resolution"]
    assert part(budget, "accuracy").standard == pytest.approx((0.002 + 0.005) / ROOT3)
    assert part(budget, "resolution").standard == pytest.approx(0.0005 / ROOT3)
    assert budget.dof == math.inf and budget.notes == ()
    assert part(budget, "accuracy").basis.startswith("ohms, 10 Ω range")


def test_everything_at_once():
    budget = reading_budget(
        [2.31, 2.36, 2.34],
        ROW,
        leads=Leads.nulled(0.30, 0.02),
        emf=ThermalEmf(20e-6, 1e-3),
        zero_drift=-0.01,
        quantity="pin 7",
    )
    assert budget.value == pytest.approx(2.3366667 - 0.30)
    assert [c.role for c in budget.components] == ["accuracy", "resolution", "leads", "emf", "zero", "scatter"]
    assert part(budget, "leads").standard == pytest.approx(0.02 / ROOT3)
    assert part(budget, "emf").standard == pytest.approx(0.020 / ROOT3)
    assert part(budget, "zero").standard == pytest.approx(0.01 / ROOT3)
    scatter = part(budget, "scatter")
    assert (scatter.kind, scatter.dof) == ("A", 2)
    assert scatter.standard == pytest.approx(0.0251661 / ROOT3, rel=1e-5)
    assert budget.variance == pytest.approx(sum(c.standard**2 for c in budget.components))


def test_one_reading_in_a_list_has_no_scatter():
    assert reading_budget([2.0], ROW).having("scatter") == ()


@pytest.mark.parametrize(
    ("spread", "divisor"), [("limits", ROOT3), ("normal 95 %", 1.959964), ("normal 99 %", 2.575829)]
)
def test_how_a_sheet_means_its_figure(spread, divisor):
    row = AccuracyRow("ohms", "Ω", 10.0, percent_of_reading=1.0, spread=spread)
    assert part(reading_budget(5.0, row), "accuracy").standard == pytest.approx(0.05 / divisor, rel=1e-6)


def test_lead_methods():
    four = reading_budget(1.0, ROW, leads=Leads.four_wires())
    assert four.value == 1.0 and four.having("leads") == ()
    unknown = reading_budget(1.0, ROW, leads=Leads.not_nulled())
    assert unknown.value == pytest.approx(0.65)
    assert part(unknown, "leads").standard == pytest.approx(0.15 / ROOT3)
    nulled = reading_budget(1.0, ROW, leads=Leads.nulled(0.0))
    assert nulled.value == 1.0
    assert four.standard_uncertainty < nulled.standard_uncertainty < unknown.standard_uncertainty


def test_shorted_probes_may_read_a_little_below_their_null():
    assert sensed(0.29, Leads.nulled(0.30, 0.02)) == pytest.approx(-0.01)


def test_assumptions_travel_with_the_budget():
    table = AccuracyTable("meter", (ROW,))
    picked = table.pick("ohms", 2.0, calibrated_days_ago=500, allow_overdue=True)
    notes = reading_budget(2.0, picked).notes
    assert notes == ("calibration overdue by 135 days", "temperature not known, taken as 18 to 28 °C")


@given(st.floats(1e-3, 1e3), st.floats(-1e-3, 1e-3), st.floats(1e-4, 1.0))
def test_emf_drops_out_of_both_methods(resistance, emf, current):
    forward, backward = resistance * current + emf, -resistance * current + emf
    pair = from_reversed_pair(forward, backward, current)
    assert pair.resistance_ohm == pytest.approx(resistance, rel=1e-6, abs=1e-9)
    assert pair.emf_v == pytest.approx(emf, rel=1e-6, abs=1e-9)
    offset = offset_compensated(forward, emf, current)
    assert offset.resistance_ohm == pytest.approx(resistance, rel=1e-6, abs=1e-9)


def test_compensation_shrinks_the_emf_part():
    left = {
        method: ThermalEmf(10e-6, 1e-3, method).half_width_ohm
        for method in ("none", "offset compensation", "reversed pair")
    }
    assert left["none"] == pytest.approx(0.010)
    assert left["offset compensation"] == left["reversed pair"] == pytest.approx(0.001)
    assert "thermal EMF of 10 µV" in from_reversed_pair(1.01e-3, -0.99e-3, 10e-3).sentence


def test_overload_carries_the_uncertainty_of_the_top():
    overload = overload_reading(ROW, temperature_c=23.0)
    assert overload.top == 12.0
    assert overload.standard_uncertainty == pytest.approx(math.hypot((0.012 + 0.005) / ROOT3, 0.0005 / ROOT3))


@given(
    st.floats(0.0, 10.0),
    st.floats(0.0, 0.1),
    st.floats(0.0, 1e-4),
    st.floats(0.0, 0.1),
)
def test_no_source_of_doubt_ever_helps(value, repeatability, emf, drift):
    bare = reading_budget(value, ROW)
    full = reading_budget(
        value, ROW, leads=Leads.nulled(0.0, repeatability), emf=ThermalEmf(emf, 1e-3), zero_drift=drift
    )
    assert full.expanded_uncertainty >= bare.expanded_uncertainty
