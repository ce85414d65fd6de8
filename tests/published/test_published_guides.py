"""Worked examples of JCGM 100, annex H.3 to H.6, and of JCGM 106, whole; and an open data set of a resistivity.

H.1 and H.2 stand in ``test_published_uncertainty.py``. Data from memory are held by the results that they lead to.
"""

import math

import numpy as np
import pytest

from bench.judge.decision import Rule, conformance_probability, decide
from bench.judge.limit import Limit
from bench.judge.siblings import compare
from bench.judge.typea import read_together, repeated
from bench.judge.uncertainty import Budget, Component, Correlation
from tests.published.values import published

PUBLISHED = published("judge_values.yaml")["guides"]

# H.3: readings of a thermometer and corrections, in degrees Celsius
READ_C = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
CORRECTION_C = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
# H.4: minutes and counts in an hour, of a standard, of the background and of a sample of radon in water, by turns
COUNTED = [
    (243.74, 15380, 305.56, 4054, 367.37, 41432),
    (984.53, 14978, 1046.10, 3922, 1107.66, 38706),
    (1723.87, 14394, 1785.43, 4200, 1846.99, 35860),
    (2463.17, 13254, 2524.73, 3830, 2586.28, 32238),
    (3217.56, 12516, 3279.12, 3956, 3340.68, 29640),
    (3956.83, 11058, 4018.38, 3980, 4079.94, 26356),
]
DECAY_PER_MINUTE = 1.25894e-4
STANDARD_BQ_PER_G, U_STANDARD = 0.1368, 0.0018
STANDARD_G, U_STANDARD_G = 5.0192, 0.0050
SAMPLE_G, U_SAMPLE_G = 5.0571, 0.0010
# H.5: means of ten days of a voltage standard, in microvolts above 10 V
DAYS_UV = [172, 116, 13, 144, 106, 31, 60, 125, 163, 41]
# resistivity of a silicon wafer in ohm centimetres, five readings on each of five instruments
SILICON = {
    "1": [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    "2": [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    "3": [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    "4": [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    "5": [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
}


def thermometer():
    """H.3: the straight line by least squares, then the correction at 30 °C as a budget of its two parameters."""
    away = np.array(READ_C) - 20.0
    design = np.c_[np.ones(len(away)), away]
    (intercept, slope), squares, _, _ = np.linalg.lstsq(design, np.array(CORRECTION_C), rcond=None)
    dof = len(away) - 2
    spread = squares[0] / dof * np.linalg.inv(design.T @ design)
    u0, u1 = (float(math.sqrt(spread[k, k])) for k in (0, 1))
    together = float(spread[0, 1] / (u0 * u1))
    parts = (Component("intercept", u0, dof=dof), Component("slope", u1, sensitivity=10.0, dof=dof))
    at_30 = Budget(
        float(intercept + 10.0 * slope), "°C", parts, correlations=(Correlation("intercept", "slope", together),)
    )
    return {
        "h3 intercept": intercept,
        "h3 u(intercept)": u0,
        "h3 slope": slope,
        "h3 u(slope)": u1,
        "h3 correlation": together,
        "h3 correction at 30 degC": at_30.value,
        "h3 u(correction)": at_30.standard_uncertainty,
    }


def radon():
    """H.4: the activity from the mean rates with their correlation, and from the mean of the ratios."""
    standard = [(cs - cb) / 60.0 * math.exp(DECAY_PER_MINUTE * ts) for ts, cs, _, cb, _, _ in COUNTED]
    sample = [(cx - cb) / 60.0 * math.exp(DECAY_PER_MINUTE * tx) for _, _, _, cb, tx, cx in COUNTED]
    (first, second), pairs = read_together({"sample": sample, "standard": standard})
    ratio = repeated([x / s for x, s in zip(sample, standard, strict=True)])
    known = (
        Component("activity of the standard", U_STANDARD / STANDARD_BQ_PER_G),
        Component("mass of the standard", U_STANDARD_G / STANDARD_G),
        Component("mass of the sample", U_SAMPLE_G / SAMPLE_G),
    )
    factor = STANDARD_BQ_PER_G * STANDARD_G / SAMPLE_G
    # in parts of the value: what is multiplied and divided adds up there
    by_rates = Budget(
        1.0,
        "",
        (
            *known,
            Component("sample", first.standard / first.value),
            Component("standard", second.standard / second.value, sensitivity=-1.0),
        ),
        correlations=pairs,
    )
    by_ratio = Budget(1.0, "", (*known, Component("ratio", ratio.standard / ratio.mean)))
    activity, other = factor * first.value / second.value, factor * ratio.mean
    return {
        "h4 rate of the sample": first.value,
        "h4 u(rate of the sample)": first.standard,
        "h4 rate of the standard": second.value,
        "h4 u(rate of the standard)": second.standard,
        "h4 correlation": pairs[0].coefficient,
        "h4 ratio": ratio.mean,
        "h4 u(ratio)": ratio.standard,
        "h4 activity from rates": activity,
        "h4 activity from ratios": other,
        "h4 u(activity from rates)": activity * by_rates.standard_uncertainty,
        "h4 u(activity from ratios)": other * by_ratio.standard_uncertainty,
    }


def voltage_standard():
    days = repeated([10.0 + one * 1e-6 for one in DAYS_UV])
    return {"h5 mean": days.mean, "h5 deviation of the days": days.deviation, "h5 u(mean)": days.standard}


def hardness():
    """H.6 in units of the scale: scatter of five indentations, unevenness of the block, the national machine."""
    parts = (Component("indentations", 0.20), Component("block", 0.11), Component("machine", 0.5))
    return {"h6 u(hardness)": Budget(64.0, "", parts).standard_uncertainty}


def conformity():
    burst = Budget(509.7e3, "", (Component("all", 8.6e3),))
    oil = Budget(13.6, "", (Component("all", 1.8),))
    # two per cent of the reading; rejected only where a fine is wrong in one case of a thousand at most
    rule = Rule("guarded-rejection", 0.999)
    limit = Limit.at_most(100.0, "", "a speed limit")

    def verdict(speed):
        return decide(Budget(float(speed), "", (Component("radar", 0.02 * speed),)), limit, rule).verdict

    return {
        "106 burst pressure": conformance_probability(burst, Limit.at_least(490e3, "", "burst strength")),
        "106 viscosity": conformance_probability(oil, Limit.between(12.5, 16.3, "", "grade 40")),
        "106 speed": next(speed for speed in range(90, 150) if verdict(speed) == "fail"),
    }


def silicon():
    each = {name: repeated(values) for name, values in SILICON.items()}
    within = sum(one.deviation**2 for one in each.values()) / len(each)
    between = 5 * repeated([one.mean for one in each.values()]).deviation ** 2
    return {"silicon F": between / within, "silicon deviation": math.sqrt(within)}


FOUND = {**thermometer(), **radon(), **voltage_standard(), **hardness(), **conformity(), **silicon()}


def test_every_published_figure_is_checked():
    assert set(FOUND) == {row["id"] for row in PUBLISHED}


@pytest.mark.parametrize("row", PUBLISHED, ids=lambda row: row["id"])
def test_worked_example(row):
    ours = float(FOUND[row["id"]])
    if "relative" in row:
        assert ours == pytest.approx(row["value"], rel=row["relative"]), row["source"]
    else:
        assert abs(ours - row["value"]) <= row["tolerance"] + 1e-12, (ours, row["source"])


@pytest.mark.together("scipy.stats")
def test_five_instruments_that_agree_have_no_odd_one_out():
    """By the variance ratio the instruments do not differ (its chance is 35 %), and no sibling stands out either."""
    from scipy import stats

    assert float(stats.f.sf(FOUND["silicon F"], 4, 20)) == pytest.approx(0.35, abs=0.005)
    means = {name: repeated(values).mean for name, values in SILICON.items()}
    assert compare(means, "Ω", resolution=1e-4).stand_outs == ()
