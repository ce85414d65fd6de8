"""Uncertainty against JCGM 100 (H.1, H.2), JCGM 101, NIST Technical Note 1297 and NIST reference data."""

import math

import pytest

from bench.judge.student import coverage_factor
from bench.judge.typea import Estimate, read_together, repeated
from bench.judge.uncertainty import Budget, Component, standard_from_half_width
from tests.judge.montecarlo import draw_interval
from tests.judge.propagate import correlation_between, propagate
from tests.published.values import published

PUBLISHED = published("judge_values.yaml")
SIGMAS = [math.erf(s / math.sqrt(2)) for s in (1, 2, 3)]


def end_gauge(level=0.95):
    """JCGM 100 H.1: the length of an end gauge, all inputs as the example gives them, in metres."""
    inputs = [
        Estimate("standard", 50_000_623e-9, 25e-9, 18),
        Estimate("difference", 215e-9, 0.0),
        Estimate("repeated observations", 0.0, 5.8e-9, 24),
        Estimate("comparator, random", 0.0, 3.9e-9, 5),
        Estimate("comparator, systematic", 0.0, 6.7e-9, 8),
        Estimate("difference in expansion", 0.0, 0.58e-6, 50),
        Estimate("difference in temperature", 0.0, 0.029, 2),
        Estimate("expansion of the standard", 11.5e-6, 1.2e-6),
        Estimate("deviation from 20 degC", -0.1, 0.41),
    ]

    def length(standard, difference, d1, d2, d3, d_alpha, d_theta, alpha, theta):
        return standard + difference + d1 + d2 + d3 - standard * (d_alpha * theta + alpha * d_theta)

    return propagate(length, inputs, unit="m", quantity="length", level=level)


def end_gauge_contributions():
    """The same from the contributions as tabled: the expansion term is u(d_alpha) l_S 0.1 degC."""
    contributions = [(25, 18), (5.8, 24), (3.9, 5), (6.7, 8), (50_000_623 * 0.58e-6 * 0.1, 50), (16.6, 2)]
    parts = tuple(Component(f"c{i}", u * 1e-9, dof=dof) for i, (u, dof) in enumerate(contributions))
    return Budget(50_000_838e-9, "m", parts, quantity="length")


V = [5.007, 4.994, 5.005, 4.990, 4.999]
I_MA = [19.663, 19.639, 19.640, 19.685, 19.678]
PHI = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def impedance(correlated=True):
    """JCGM 100 H.2: R, X and Z from simultaneous readings of voltage, current and phase."""
    inputs, pairs = read_together({"V": V, "I": [i / 1000 for i in I_MA], "phi": PHI})
    pairs = pairs if correlated else ()
    functions = {
        "R": lambda v, i, phi: v / i * math.cos(phi),
        "X": lambda v, i, phi: v / i * math.sin(phi),
        "Z": lambda v, i, phi: v / i,
    }
    budgets = {
        name: propagate(function, inputs, unit="Ω", quantity=name, correlations=pairs)
        for name, function in functions.items()
    }
    return inputs, pairs, budgets


INPUTS, PAIRS, RXZ = impedance()
_, _, DROPPED = impedance(correlated=False)


def pair(first, second):
    return next(p.coefficient for p in PAIRS if {p.first, p.second} == {first, second})


def additive(distribution):
    return Budget(0.0, "V", tuple(Component(f"x{i}", 1.0, distribution) for i in range(4)))


CHECKS = {
    "h1 combined": lambda: end_gauge().standard_uncertainty * 1e9,
    "h1 effective dof": lambda: end_gauge().effective_dof,
    "h1 dof used": lambda: end_gauge().dof,
    "h1 k95": lambda: end_gauge().coverage_factor,
    "h1 length": lambda: end_gauge().value * 1e9,
    "h1 k99": lambda: end_gauge(0.99).coverage_factor,
    "h1 expanded 99": lambda: end_gauge(0.99).expanded_uncertainty * 1e9,
    "h2 V": lambda: INPUTS[0].value,
    "h2 u(V)": lambda: INPUTS[0].standard,
    "h2 I": lambda: INPUTS[1].value * 1e3,
    "h2 u(I)": lambda: INPUTS[1].standard * 1e3,
    "h2 phi": lambda: INPUTS[2].value,
    "h2 u(phi)": lambda: INPUTS[2].standard,
    "h2 r(V,I)": lambda: pair("V", "I"),
    "h2 r(V,phi)": lambda: pair("V", "phi"),
    "h2 r(I,phi)": lambda: pair("I", "phi"),
    "h2 R": lambda: RXZ["R"].value,
    "h2 u(R)": lambda: RXZ["R"].standard_uncertainty,
    "h2 X": lambda: RXZ["X"].value,
    "h2 u(X)": lambda: RXZ["X"].standard_uncertainty,
    "h2 Z": lambda: RXZ["Z"].value,
    "h2 u(Z)": lambda: RXZ["Z"].standard_uncertainty,
    "h2 r(R,X)": lambda: correlation_between(RXZ["R"], RXZ["X"]),
    "h2 r(R,Z)": lambda: correlation_between(RXZ["R"], RXZ["Z"]),
    "h2 r(X,Z)": lambda: correlation_between(RXZ["X"], RXZ["Z"]),
    "h2 u(R) without correlation": lambda: DROPPED["R"].standard_uncertainty,
    "h2 u(X) without correlation": lambda: DROPPED["X"].standard_uncertainty,
    "h2 u(Z) without correlation": lambda: DROPPED["Z"].standard_uncertainty,
    "additive u": lambda: additive("rectangular").standard_uncertainty,
    "additive normal": lambda: additive("normal").expanded_uncertainty,
    "additive rectangular drawn": lambda: draw_interval(additive("rectangular"), draws=60_000).half_width,
    "divisor rectangular": lambda: 1 / standard_from_half_width(1.0, "rectangular"),
    "divisor triangular": lambda: 1 / standard_from_half_width(1.0, "triangular"),
    "divisor u-shaped": lambda: 1 / standard_from_half_width(1.0, "u-shaped"),
    "divisor normal 95 %": lambda: 1 / standard_from_half_width(1.0, "normal"),
}


def test_every_published_uncertainty_figure_is_checked():
    assert set(CHECKS) == {row["id"] for row in PUBLISHED["uncertainty"]}


@pytest.mark.parametrize("row", PUBLISHED["uncertainty"], ids=lambda row: row["id"])
def test_uncertainty_figure(row):
    ours = CHECKS[row["id"]]()
    assert abs(ours - row["value"]) <= row["tolerance"], (ours, row["source"])


def test_end_gauge_from_model_and_from_contributions_agree():
    model, tabled = end_gauge(), end_gauge_contributions()
    assert model.standard_uncertainty == pytest.approx(tabled.standard_uncertainty, rel=2e-3)
    assert model.dof == tabled.dof == 16


def test_degrees_of_freedom_are_cut_before_the_t_look_up():
    """JCGM 100 G.4.1: 16.6 is cut to 16 and gives 2.12; uncut it would give 2.113."""
    budget = end_gauge()
    assert budget.coverage_factor == pytest.approx(2.1199, abs=5e-5)
    assert coverage_factor(0.95, budget.effective_dof) == pytest.approx(2.113, abs=5e-4)


def test_dropping_correlation_is_not_safe():
    """JCGM 100 H.2: without correlation u(R) comes out 2.7 times too big and u(X) too small."""
    assert DROPPED["R"].standard_uncertainty / RXZ["R"].standard_uncertainty > 2.5
    assert DROPPED["X"].standard_uncertainty < 0.75 * RXZ["X"].standard_uncertainty


def test_rounded_correlations_change_the_result():
    """Own computation: rounding r to two digits first gives u(R) 0.0702 where the full covariance gives 0.0711."""
    rounded = tuple(type(p)(p.first, p.second, round(p.coefficient, 2)) for p in PAIRS)
    blurred = propagate(lambda v, i, phi: v / i * math.cos(phi), INPUTS, unit="Ω", correlations=rounded)
    assert blurred.standard_uncertainty == pytest.approx(0.0702, abs=5e-5)
    assert RXZ["R"].standard_uncertainty == pytest.approx(0.0711, abs=5e-5)


def test_impedance_keeps_the_degrees_of_freedom_of_its_readings():
    """Five sets of readings taken together leave 4 degrees of freedom, whatever is computed from them."""
    assert {budget.dof for budget in RXZ.values()} == {4.0}


@pytest.mark.parametrize("row", PUBLISHED["t_table"]["rows"], ids=lambda row: f"dof {row[0]}")
def test_t_table_of_nist_tn_1297(row):
    dof, *printed = row
    levels = (SIGMAS[0], 0.90, 0.95, SIGMAS[1], 0.99, SIGMAS[2])
    tolerance = 0.00051 if dof == 100 else PUBLISHED["t_table"]["tolerance"]
    right = {(slip["dof"], slip["printed"]): slip["right"] for slip in PUBLISHED["t_table"]["slips"]}
    for level, value in zip(levels, printed, strict=True):
        value = right.get((dof, value), value)
        assert coverage_factor(level, dof) == pytest.approx(value, abs=tolerance)


@pytest.mark.together("scipy.stats")
def test_the_slip_in_the_printed_t_table_is_a_slip():
    """An independent library sides with us: 1.6896 rounds to 1.69, where the table prints 1.70."""
    from scipy import stats

    (slip,) = PUBLISHED["t_table"]["slips"]
    theirs = stats.t.ppf(0.95, slip["dof"])
    assert theirs == pytest.approx(coverage_factor(0.90, slip["dof"]), rel=1e-12)
    assert round(theirs, 2) == slip["right"] != slip["printed"]


@pytest.mark.parametrize("name", ["numacc1", "mavro", "michelso"])
def test_nist_reference_data(name):
    data = PUBLISHED["strd"][name]
    ours = repeated(data["x"])
    assert ours.mean == pytest.approx(data["mean"], rel=1e-14)
    assert ours.deviation == pytest.approx(data["deviation"], rel=1e-12)


@pytest.mark.parametrize(("base", "within"), [(1.0, 1e-12), (1e6, 1e-8), (1e7, 1e-7)], ids=["2", "3", "4"])
def test_nist_reference_data_numacc(base, within):
    """NIST StRD NumAcc2 to 4: base + 0.2, then 500 pairs base + 0.1 and base + 0.3; certified deviation 0.1.

    The data are not exact in binary, so only what the stored digits allow is asked: 0.1 in steps of 2e-9 at 1e7.
    """
    ours = repeated([base + 0.2] + [base + 0.1, base + 0.3] * 500)
    assert ours.mean == pytest.approx(base + 0.2, rel=1e-14)
    assert ours.deviation == pytest.approx(0.1, rel=within)
