"""Accuracy tables: the right row, the right sum, and a clear refusal when no row applies."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.judge.accuracy import AccuracyRow, AccuracyTable
from bench.judge.judge_error import JudgeError


def ohms(top, days, reading, of_range, **more):
    return AccuracyRow(
        "ohms 4w",
        "Ω",
        top,
        percent_of_reading=reading,
        percent_of_range=of_range,
        resolution=top * 1e-5,
        highest=top * 1.2,
        good_for_days=days,
        drift_percent_of_reading_per_k=0.001,
        drift_percent_of_range_per_k=0.0005,
        **more,
    )


TABLE = AccuracyTable(
    "bench meter",
    tuple(
        ohms(top, days, reading, 0.004)
        for top in (100.0, 10.0, 1000.0)
        for days, reading in ((365, 0.010), (1, 0.003), (90, 0.008))
    ),
)


@pytest.mark.parametrize(
    ("value", "age", "top", "days"),
    [
        (5.0, 0.5, 10.0, 1),
        (5.0, 1, 10.0, 1),
        (5.0, 2, 10.0, 90),
        (5.0, 90, 10.0, 90),
        (5.0, 91, 10.0, 365),
        (11.9, 10, 10.0, 90),
        (12.1, 10, 100.0, 90),
        (-11.9, 10, 10.0, 90),
        (1200.0, 365, 1000.0, 365),
    ],
)
def test_picks_the_smallest_range_and_the_shortest_interval_that_holds(value, age, top, days):
    picked = TABLE.pick("ohms 4w", value, calibrated_days_ago=age)
    assert (picked.row.range_top, picked.row.good_for_days) == (top, days)
    assert picked.notes == ()


def test_locked_range_is_kept():
    assert TABLE.pick("ohms 4w", 5.0, range_top=1000.0, calibrated_days_ago=1).row.range_top == 1000.0


@pytest.mark.parametrize(
    ("ask", "text"),
    [
        ({"function": "ohms 2w", "value": 5.0}, "bench meter: function: found 'ohms 2w', expected one of ohms 4w"),
        ({"function": "ohms 4w", "value": 1201.0}, "value: found 1.201 kΩ, expected a value that the range shows"),
        ({"function": "ohms 4w", "value": 13.0, "range_top": 10.0}, "at most 12 Ω"),
        (
            {"function": "ohms 4w", "value": 5.0, "range_top": 20.0},
            "range: found 20 Ω, expected one of 10 Ω, 100 Ω, 1 kΩ",
        ),
        ({"function": "ohms 4w", "value": 5.0, "calibrated_days_ago": 366}, "age of the calibration: found 366 days"),
        ({"function": "ohms 4w", "value": 5.0, "calibrated_days_ago": -1}, "age of the calibration: found -1 days"),
        ({"function": "ohms 4w", "value": float("inf")}, "value: found inf Ω"),
    ],
)
def test_refuses_with_a_reason_when_no_row_applies(ask, text):
    with pytest.raises(JudgeError) as caught:
        TABLE.pick(**ask)
    assert text in str(caught.value)


def test_overdue_calibration_is_noted_when_it_is_let_through():
    picked = TABLE.pick("ohms 4w", 5.0, calibrated_days_ago=400, allow_overdue=True)
    assert picked.row.good_for_days == 365
    assert picked.notes == ("calibration overdue by 35 days",)


def test_unknown_age_takes_the_longest_interval_and_notes_it():
    picked = TABLE.pick("ohms 4w", 5.0)
    assert picked.row.good_for_days == 365
    assert "not known" in picked.notes[0]


def test_parts_add_up():
    row = AccuracyRow("ohms", "Ω", 100.0, percent_of_reading=0.05, percent_of_range=0.01, counts=3, resolution=0.01)
    error = row.error_at(-40.0, 23.0)
    assert error.of_reading == pytest.approx(0.02)
    assert error.of_range == pytest.approx(0.01)
    assert error.of_counts == pytest.approx(0.03)
    assert error.of_temperature == 0.0
    assert error.half_width == pytest.approx(0.06)
    assert error.sentence == "At -40 Ω on the 100 Ω range the meter may be off by 60 mΩ either way."
    assert row.error_at(0.0, 23.0).parts_per_million == float("inf")


@pytest.mark.parametrize(("temperature", "kelvin"), [(18, 0), (28, 0), (33, 5), (10, 8)])
def test_temperature_outside_the_band_adds_by_the_kelvin(temperature, kelvin):
    error = TABLE.pick("ohms 4w", 5.0, calibrated_days_ago=1).row.error_at(5.0, temperature)
    assert error.of_temperature == pytest.approx(kelvin * (5.0 * 1e-5 + 10.0 * 5e-6))
    assert bool(error.notes) == (kelvin > 0)


def test_handheld_way_of_stating_drift():
    row = AccuracyRow("volts", "V", 60.0, percent_of_reading=0.5, counts=2, resolution=0.01, drift_part_per_k=0.1)
    error = row.error_at(48.0, 8.0)
    assert error.of_temperature == pytest.approx(10 * 0.1 * (0.24 + 0.02))


def test_row_without_a_coefficient_refuses_another_climate():
    row = AccuracyRow("volts", "V", 60.0, percent_of_reading=0.5)
    with pytest.raises(JudgeError, match="found 8 °C, expected 18 °C to 28 °C, since the row gives no temperature"):
        row.error_at(48.0, 8.0)
    assert "not known" in row.error_at(48.0).notes[0]


def test_rows_for_parts_of_a_range():
    """An insulation tester: 5 % up to 1 GΩ, 10 % above, on one range."""
    low = AccuracyRow("insulation", "Ω", 1e10, percent_of_reading=5, highest=1e9, source="low part")
    high = AccuracyRow("insulation", "Ω", 1e10, percent_of_reading=10, lowest=1e9, source="high part")
    table = AccuracyTable("insulation tester", (high, low))
    assert table.pick("insulation", 5e8).row is low
    assert table.pick("insulation", 5e9).row is high


@given(
    st.floats(0, 10), st.floats(0, 10), st.floats(0.0, 5.0), st.floats(0.0, 5.0), st.floats(-20, 60), st.floats(-20, 60)
)
def test_error_grows_with_reading_and_with_distance_from_the_band(one, other, percent, of_range, t1, t2):
    row = AccuracyRow(
        "ohms",
        "Ω",
        10.0,
        percent_of_reading=percent + 1e-6,
        percent_of_range=of_range,
        drift_percent_of_reading_per_k=0.01,
        drift_percent_of_range_per_k=0.01,
    )
    small, large = sorted((one, other))
    assert row.error_at(small, 20).half_width <= row.error_at(large, 20).half_width
    near, far = sorted((t1, t2), key=lambda t: max(18 - t, t - 28, 0))
    assert row.error_at(small, near).half_width <= row.error_at(small, far).half_width
    assert row.error_at(-small, 20).half_width == row.error_at(small, 20).half_width
