"""Budgets: combination, correlation, degrees of freedom, coverage, and the forms a record keeps."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.judge.judge_error import JudgeError
from bench.judge.student import coverage_factor
from bench.judge.typea import Estimate, read_together, repeated
from bench.judge.uncertainty import Budget, Component, Correlation, dof_from_reliability
from tests.judge.montecarlo import draw_interval
from tests.judge.propagate import correlation_between, covariance_between, partials_at, propagate

components = st.builds(
    lambda name, standard, sensitivity, dof: Component(name, standard, sensitivity=sensitivity, dof=dof),
    st.text("abcdefgh", min_size=8, max_size=8),
    st.floats(1e-6, 1e3),
    st.floats(-10, 10).filter(lambda c: abs(c) > 1e-3),
    st.one_of(st.just(math.inf), st.integers(1, 200).map(float)),
)
budgets = st.lists(components, min_size=1, max_size=6, unique_by=lambda c: c.name).map(
    lambda parts: Budget(1.0, "V", tuple(parts))
)


def test_components_combine_as_root_of_squares():
    parts = (Component("a", 3.0), Component("b", 2.0, sensitivity=-2.0))
    assert Budget(0.0, "V", parts).standard_uncertainty == pytest.approx(5.0)


def test_fully_correlated_components_add_or_cancel():
    parts = (Component("a", 3.0), Component("b", 4.0))

    def u(r):
        return Budget(0.0, "V", parts, (Correlation("a", "b", r),)).standard_uncertainty

    assert (u(1.0), u(0.0), u(-1.0)) == (pytest.approx(7.0), pytest.approx(5.0), pytest.approx(1.0))
    equal = (Component("a", 3.0), Component("b", 3.0))
    assert Budget(0.0, "V", equal, (Correlation("a", "b", -1.0),)).standard_uncertainty == 0.0


@pytest.mark.parametrize("dof", [1, 2, 4, 9, 16, 99, 1000])
def test_a_single_component_keeps_its_degrees_of_freedom_exactly(dof):
    """Rounding in the fourth powers must not cut 4 to 3."""
    for standard in (0.1, 1 / 3, 7e-9, 123.456):
        budget = Budget(0.0, "V", (Component("a", standard, dof=dof), Component("b", 0.0)))
        assert budget.dof == dof


def test_effective_degrees_of_freedom_are_cut_and_never_rounded_up():
    parts = (Component("a", 1.0, dof=3), Component("b", 1.0, dof=4))
    budget = Budget(0.0, "V", parts)
    assert budget.effective_dof == pytest.approx(4 / (1 / 3 + 1 / 4))
    assert budget.dof == 6
    assert budget.coverage_factor == coverage_factor(0.95, 6)


def test_budget_without_doubt():
    budget = Budget(1.0, "V", (Component("a", 0.0, dof=3),))
    assert (budget.standard_uncertainty, budget.dof, budget.expanded_uncertainty) == (0.0, math.inf, 0.0)
    assert budget.text == "1 V"


def test_components_read_together_count_once():
    """Two correlated columns of five readings leave four degrees of freedom, not eight."""
    parts = (Component("a", 1.0, dof=4), Component("b", 1.0, dof=4), Component("c", 1e-6))
    together = Budget(0.0, "V", parts, (Correlation("a", "b", 0.3),))
    apart = Budget(0.0, "V", parts)
    assert (together.dof, apart.dof) == (4, 8)


def test_reliability_becomes_degrees_of_freedom():
    """JCGM 100 G.4.2: an uncertainty known to 25 % has 8 degrees of freedom."""
    assert dof_from_reliability(0.25) == pytest.approx(8.0)


def test_shares_and_biggest():
    budget = Budget(0.0, "V", (Component("small", 1.0), Component("big", 3.0)))
    assert budget.biggest.name == "big"
    assert [budget.share(part) for part in budget.components] == pytest.approx([0.1, 0.9])
    assert "Most of the doubt (90 %) comes from big." in budget.sentence


def test_certificate_with_its_factor():
    assert Component.from_expanded("calibration", 0.4, 2.0).standard == pytest.approx(0.2)


def test_table_shows_every_component_and_the_result():
    parts = (Component.within("the meter's accuracy", 0.02), Component("scatter", 0.003, dof=4, kind="A"))
    table = Budget(0.874, "Ω", parts, quantity="pin 7").table()
    lines = table.splitlines()
    assert len(lines) == 5
    assert lines[0].split() == ["component", "u(input)", "shape", "sensitivity", "contribution", "share", "dof"]
    assert "rectangular" in lines[1] and "11.5 mΩ" in lines[1] and lines[1].endswith("inf")
    assert lines[2].endswith("4")
    assert lines[3].startswith("combined u = 11.9 mΩ, effective dof = ")
    assert lines[4] == "pin 7 = 0.874 Ω ± 23 mΩ at 95 %"


@given(budgets)
def test_plain_data_comes_back_as_the_same_budget(budget):
    text = json.dumps(budget.to_dict(), allow_nan=False)
    assert Budget.from_dict(json.loads(text)) == budget


def test_plain_data_keeps_correlations_and_refuses_what_is_not_a_budget():
    parts = (Component("a", 1.0), Component("b", 2.0))
    budget = Budget(1.0, "V", parts, (Correlation("a", "b", -0.123456789012345),), notes=("x",))
    assert Budget.from_dict(json.loads(json.dumps(budget.to_dict()))) == budget
    for broken in ({}, {**budget.to_dict(), "components": [{"name": "a"}]}, {**budget.to_dict(), "components": 3}):
        with pytest.raises(JudgeError, match="uncertainty budget"):
            Budget.from_dict(broken)


@given(budgets, st.floats(1.001, 10.0))
def test_a_bigger_component_never_shrinks_the_doubt(budget, factor):
    first, *rest = budget.components
    bigger = Component(first.name, first.standard * factor, sensitivity=first.sensitivity, dof=first.dof)
    assert budget.with_components([bigger, *rest]).standard_uncertainty >= budget.standard_uncertainty


@given(budgets)
def test_degrees_of_freedom_lie_between_the_smallest_and_the_sum(budget):
    dofs = [part.dof for part in budget.components]
    assert min(dofs) <= budget.effective_dof * (1 + 1e-9)
    if math.inf not in dofs:
        assert budget.effective_dof <= sum(dofs) * (1 + 1e-9)


@given(budgets, st.floats(0.5, 0.99))
def test_guard_grows_with_confidence(budget, confidence):
    assert budget.guard(confidence) <= budget.guard(0.995)
    assert budget.guard(0.5) == 0.0


@given(st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=30), st.floats(-1e6, 1e6))
def test_scatter_does_not_depend_on_the_zero(values, shift):
    here, there = repeated(values), repeated([value + shift for value in values])
    assert there.deviation == pytest.approx(here.deviation, abs=1e-8)
    assert here.dof == len(values) - 1


def test_scatter_needs_two_readings():
    with pytest.raises(JudgeError, match="found 1 of them, expected at least 2"):
        repeated([1.0])


def test_columns_read_together():
    estimates, pairs = read_together({"a": [1.0, 2.0, 3.0], "b": [2.0, 4.0, 6.0], "c": [5.0, 5.0, 5.0]})
    assert [estimate.value for estimate in estimates] == [2.0, 4.0, 5.0]
    assert [(p.first, p.second, round(p.coefficient, 12)) for p in pairs] == [("a", "b", 1.0)]
    with pytest.raises(JudgeError, match="columns of"):
        read_together({"a": [1.0, 2.0], "b": [1.0, 2.0, 3.0]})


def test_numeric_partials_match_the_known_ones():
    ours = partials_at(lambda v, i, p: v / i * math.cos(p), [5.0, 0.02, 1.04], [5.0, 0.02, 1.04])
    exact = (math.cos(1.04) / 0.02, -5.0 / 0.02**2 * math.cos(1.04), -5.0 / 0.02 * math.sin(1.04))
    assert ours == pytest.approx(exact, rel=1e-10)


def test_given_partials_are_used_as_given():
    inputs = [Estimate("v", 5.0, 0.1), Estimate("i", 2.0, 0.1)]
    by_hand = propagate(lambda v, i: v / i, inputs, unit="Ω", partials=(0.5, -1.25))
    found = propagate(lambda v, i: v / i, inputs, unit="Ω")
    assert by_hand.standard_uncertainty == pytest.approx(found.standard_uncertainty, rel=1e-10)
    with pytest.raises(JudgeError, match="found 1 partials"):
        propagate(lambda v, i: v / i, inputs, unit="Ω", partials=(0.5,))


def test_results_of_shared_inputs_are_correlated():
    inputs = [Estimate("a", 1.0, 0.3), Estimate("b", 2.0, 0.4)]
    total = propagate(lambda a, b: a + b, inputs, unit="V", quantity="sum")
    gap = propagate(lambda a, b: a - b, inputs, unit="V", quantity="difference")
    assert covariance_between(total, gap) == pytest.approx(0.09 - 0.16)
    assert correlation_between(total, gap) == pytest.approx(-0.07 / 0.25)
    assert correlation_between(total, total) == pytest.approx(1.0)
    stranger = Budget(0.0, "V", (Component("c", 1.0),))
    assert correlation_between(total, stranger) == 0.0
    with pytest.raises(JudgeError, match="two different uncertainties"):
        covariance_between(total, Budget(0.0, "V", (Component("a", 9.0),)))


@pytest.mark.parametrize(
    ("distribution", "ratio"), [("rectangular", 0.95 * 3**0.5), ("u-shaped", 1.40987), ("triangular", 1.90163)]
)
def test_drawing_knows_the_true_shape(distribution, ratio):
    """95 % half-width over u of a single component: 0.95 √3; √2 sin(0.475 π); √6 (1 - √0.05): own computation."""
    budget = Budget(10.0, "V", (Component("a", 1.0, distribution),))
    drawn = draw_interval(budget, draws=40_000, seed=3)
    assert drawn.half_width == pytest.approx(ratio, abs=0.02)
    assert drawn.standard == pytest.approx(1.0, abs=0.02)
    assert (drawn.low + drawn.high) / 2 == pytest.approx(10.0, abs=0.05)
    assert "By 40000 draws the value lies between" in drawn.sentence


def test_drawing_few_readings_uses_the_t_shape():
    budget = Budget(0.0, "V", (Component("a", 1.0, dof=4, kind="A"),))
    assert draw_interval(budget, draws=60_000, seed=5).half_width == pytest.approx(coverage_factor(0.95, 4), rel=0.03)


def test_drawing_is_repeatable_and_refuses_what_it_cannot_draw():
    budget = Budget(0.0, "V", (Component("a", 1.0), Component("b", 1.0)))
    assert draw_interval(budget, draws=1000, seed=9) == draw_interval(budget, draws=1000, seed=9)
    with pytest.raises(JudgeError, match="correlated"):
        draw_interval(Budget(0.0, "V", budget.components, (Correlation("a", "b", 0.5),)))
    with pytest.raises(JudgeError, match="draws"):
        draw_interval(budget, draws=10)
