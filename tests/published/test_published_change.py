"""Control charts, plain statistics and chance counts against published examples."""

import math
import random

import pytest

from bench.job.common_changes import upper_tail
from bench.judge.charts import cusum, ewma, ewma_limits, individuals, mean_and_spread
from tests.published.values import published

PUBLISHED = published("change_values.yaml")


def test_ewma_of_the_handbook():
    """NIST/SEMATECH e-Handbook 6.3.2.4: averages, limits, and no point outside them."""
    case = PUBLISHED["ewma"]
    chart = ewma(case["values"], case["target"], case["sigma"], weight=case["weight"], exact_start=False)
    averages = [case["target"], *chart.values]
    assert averages == pytest.approx(case["averages"], abs=0.0051)
    lower, upper = ewma_limits(case["target"], case["sigma"], case["weight"], case["width"])
    assert (lower, upper) == pytest.approx((case["lower"], case["upper"]), abs=1e-4)
    assert all(lower < one < upper for one in averages)


def test_ewma_limits_start_narrow_and_widen_to_those_of_the_long_run():
    """The same page: at run i the limits carry the factor sqrt(1 - (1 - weight)^(2i))."""
    narrow = ewma_limits(50, 2.0539, 0.3, 3, run=1)
    assert narrow[1] - 50 == pytest.approx(3 * 2.0539 * 0.3)
    assert ewma_limits(50, 2.0539, 0.3, 3, run=60) == pytest.approx(ewma_limits(50, 2.0539, 0.3, 3))


def test_individuals_chart_of_the_handbook():
    """NIST/SEMATECH e-Handbook 6.3.2.2."""
    case = PUBLISHED["individuals"]
    mean, moving, lower, upper = individuals(case["values"])
    assert mean == pytest.approx(case["mean"], abs=1e-9)
    assert (moving, lower, upper) == pytest.approx((case["moving_range"], case["lower"], case["upper"]), abs=6e-5)


def test_tabular_cusum_of_the_textbook():
    """Upper and lower sums, the period of the alarm, the dating of the shift, the new mean."""
    case = PUBLISHED["cusum"]
    found = cusum(case["values"], case["target"], case["sigma"], slack=case["k"], interval=case["h"])
    assert list(found.high[:29]) == pytest.approx(case["upper"], abs=0.0051)
    assert found.high[29] == pytest.approx(case["upper_30"], abs=0.0051)
    assert list(found.low[:3]) == pytest.approx(case["lower_3"], abs=0.0051)
    assert found.alarm == case["alarm_period"] - 1
    assert found.began == case["shift_after_period"]
    assert found.mean == pytest.approx(case["new_mean"], abs=0.0051)


@pytest.mark.slow
@pytest.mark.parametrize(
    "case", PUBLISHED["cusum_run_lengths"], ids=lambda case: f"h {case['h']}, {case['shift']} sigma"
)
def test_cusum_run_lengths(case):
    """How long it takes to an alarm on average, by drawing; the printed figures have three digits."""
    draw = random.Random(f"run lengths {case}")
    length, trials = (4000, 260) if case["shift"] == 0 else (120, 3000)
    runs = []
    for _ in range(trials):
        found = cusum([draw.gauss(case["shift"], 1.0) for _ in range(length)], 0.0, 1.0, interval=case["h"])
        runs.append(length if found.alarm is None else found.alarm + 1)
    mean, spread, _ = mean_and_spread(runs)
    assert mean == pytest.approx(case["runs"], abs=3.5 * spread / math.sqrt(trials))


@pytest.mark.parametrize("case", PUBLISHED["strd"], ids=lambda case: case["name"])
def test_univariate_reference_data(case):
    """NIST StRD: mean, standard deviation, lag-1 autocorrelation."""
    values = case.get("values")
    if values is None:
        base = case["pairs"]["base"]
        values = [base + 0.2] + [base + 0.1, base + 0.3] * case["pairs"]["count"]
    mean, spread, lag1 = mean_and_spread(values)
    # the tenths of the large sets are not exact in binary: that alone takes some digits off
    digits = 1e-8 if case["name"] in ("NumAcc3", "NumAcc4") else 1e-11
    assert mean == pytest.approx(case["mean"], rel=1e-13)
    assert spread == pytest.approx(case["spread"], rel=digits)
    assert lag1 == pytest.approx(case["lag1"], rel=1e-6 if case["name"] in ("NumAcc3", "NumAcc4") else 1e-10)


def test_the_lady_tasting_tea():
    """R. A. Fisher, The Design of Experiments (1935), chapter II: 1 in 70 for all four, 17 in 70 for three or more."""
    assert upper_tail(8, 4, 4, 4) == pytest.approx(1 / 70)
    assert upper_tail(8, 4, 4, 3) == pytest.approx(17 / 70)


@pytest.mark.together("scipy.stats")
@pytest.mark.parametrize(
    "total, marked, drawn, hits", [(94, 6, 24, 5), (300, 60, 40, 20), (1500, 4, 24, 4), (10, 3, 9, 2)]
)
def test_upper_tail_against_scipy(total, marked, drawn, hits):
    """The hypergeometric tail of an independent library."""
    from scipy import stats

    assert upper_tail(total, marked, drawn, hits) == pytest.approx(stats.hypergeom.sf(hits - 1, total, marked, drawn))
