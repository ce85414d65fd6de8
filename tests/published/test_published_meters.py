"""Meter accuracy and low-resistance methods against worked examples of meter handbooks."""

import pytest

from bench.judge.accuracy import AccuracyRow
from bench.judge.ohms import UNKNOWN_LEADS_OHM, ThermalEmf, from_reversed_pair, offset_compensated
from tests.published.values import published

PUBLISHED = published("judge_values.yaml")


def bench_volts():
    return AccuracyRow("volts dc", "V", 10.0, percent_of_reading=0.0020, percent_of_range=0.0005).error_at(5.0)


def handheld_volts():
    row = AccuracyRow("volts dc", "V", 5.0, percent_of_reading=0.08, counts=2, resolution=0.001)
    return row.error_at(2.0)


def handheld_hundred():
    row = AccuracyRow("volts dc", "V", 200.0, percent_of_reading=0.8, counts=2, resolution=0.1)
    return row.error_at(100.0)


def milliohms():
    row = AccuracyRow("ohms 4w", "Ω", 0.1, percent_of_reading=0.014, percent_of_range=0.040)
    return row.error_at(0.030)


CHECKS = {
    "accuracy 5 V on 10 V": lambda: bench_volts().half_width,
    "accuracy 5 V in ppm": lambda: bench_volts().parts_per_million,
    "accuracy in counts": lambda: handheld_volts().half_width,
    "accuracy 100 V": lambda: handheld_hundred().half_width,
    "accuracy of full scale": lambda: milliohms().half_width,
    "reversal": lambda: from_reversed_pair(1.010e-3, -0.990e-3, 10e-3).resistance_ohm,
    "reversal emf": lambda: from_reversed_pair(1.010e-3, -0.990e-3, 10e-3).emf_v,
    "offset compensated": lambda: offset_compensated(1.010e-3, 0.010e-3, 10e-3).resistance_ohm,
    "emf error": lambda: ThermalEmf(10e-6, 1e-3).half_width_ohm,
    "lead pair low": lambda: UNKNOWN_LEADS_OHM[0],
    "lead pair high": lambda: UNKNOWN_LEADS_OHM[1],
}


def test_every_published_meter_figure_is_checked():
    assert set(CHECKS) == {row["id"] for row in PUBLISHED["meters"]}


@pytest.mark.parametrize("row", PUBLISHED["meters"], ids=lambda row: row["id"])
def test_meter_figure(row):
    ours = CHECKS[row["id"]]()
    if "relative" in row:
        assert ours == pytest.approx(row["value"], rel=row["relative"], abs=0), row["source"]
    else:
        assert abs(ours - row["value"]) <= row["tolerance"], row["source"]
