"""Change detection against drawn histories whose truth is known."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.series.change import LONGEST, appraise, run_to_run
from tests.drawn import draws
from tests.job import histories

COUNT = 300


def of(history, watched=1):
    return appraise(history.values, history.uncertainties, limits=(None, history.limit), watched=watched)


def test_the_first_bad_run_of_a_step_is_named_exactly():
    """Steps of five uncertainties and more, 8 to 40 runs: at least 95 in 100 named exactly, 97 in the bracket."""
    named = inside = 0
    for seed in range(COUNT):
        history = histories.step(seed)
        found = of(history)
        named += found.kind == "step" and found.first_bad == history.first_bad
        inside += found.bracket is not None and found.bracket[0] <= history.first_bad <= found.bracket[1]
    assert named >= 0.95 * COUNT
    assert inside >= 0.97 * COUNT


@pytest.mark.slow
def test_the_first_bad_run_of_a_drift_is_its_neighbour_at_worst():
    """Drifts of two uncertainties and more a run: the run over the limit, or the one beside it."""
    for seed in range(COUNT):
        history = histories.drift(seed)
        found = of(history)
        assert found.kind == "drift", seed
        assert abs(found.first_bad - history.first_bad) <= 1, seed


@pytest.mark.slow
def test_steady_points_raise_few_false_alarms():
    """Under 2 in 100, with readings that scatter up to a half more than their own uncertainties say."""
    alarms = sum(of(histories.steady(seed)).kind != "steady" for seed in range(2 * COUNT))
    assert alarms < 0.02 * 2 * COUNT


def test_watching_many_points_asks_for_more():
    """A lead that is enough for one point is not enough for one of ten thousand."""
    history = histories.step("many", size=5.0)
    alone, among = of(history), of(history, watched=10_000_000)
    assert alone.lead == among.lead
    assert alone.kind == "step" and among.kind == ("step" if among.lead > 3 + math.log(1e7) else "steady")


def test_runs_that_leave_and_return_are_told_apart_from_a_step():
    """Single runs far away are found one by one."""
    right = 0
    for seed in range(100):
        history, away = histories.comes_and_goes(seed)
        found = of(history)
        right += found.kind == "intermittent" and found.excursions == away and found.first_bad == history.first_bad
    assert right >= 95


def test_a_step_is_found_behind_an_earlier_excursion():
    """A run that stood out for a while does not hide what came later."""
    draw = random.Random("behind")
    values = [1.0 + draw.gauss(0.0, histories.U) for _ in range(20)]
    values[4] += 40 * histories.U
    values[13:] = [value + 9 * histories.U for value in values[13:]]
    found = appraise(values, [histories.U] * 20)
    assert (found.kind, found.first_bad, found.excursions) == ("step", 13, (4,))


def test_an_open_contact_is_a_step_however_large():
    """Readings beyond the range are put far away: the answer does not depend on how far."""
    base = [1.0, 1.01, 0.99, 1.0, 1.005, 1.0]
    for far in (20.0, 1e3, 1e8):
        found = appraise(base + [far] * 3, [0.01] * 9)
        assert (found.kind, found.first_bad) == ("step", 6)
        assert found.bracket == (6, 6)


def test_two_runs_are_enough_where_they_differ_enough():
    """Nothing but the uncertainties can be held against each other then."""
    assert appraise([1.0, 1.5], [0.01, 0.01]).kind == "step"
    assert appraise([1.0, 1.03], [0.01, 0.01]).kind == "steady"


def test_few_or_no_runs_are_steady():
    """There is nothing to compare."""
    assert appraise([], []).kind == "steady"
    assert appraise([1.0], [0.1]).before == 1.0


def test_a_long_history_counts_from_its_own_beginning():
    """Indexes are those of the whole history although only the latest runs are looked at."""
    values = [1.0 + 0.001 * (i % 3) for i in range(LONGEST + 50)]
    values[-40:] = [value + 1.0 for value in values[-40:]]
    found = appraise(values, [0.01] * len(values))
    assert (found.kind, found.first_bad) == ("step", LONGEST + 10)


def test_times_matter_for_drifts():
    """A slope is per unit of time: twice the days, half the slope."""
    values = [1.0 + 0.05 * i for i in range(12)]
    slow = appraise(values, [0.005] * 12, times=[2.0 * i for i in range(12)])
    fast = appraise(values, [0.005] * 12)
    assert slow.kind == fast.kind == "drift"
    assert slow.slope == pytest.approx(fast.slope / 2)
    assert fast.slope == pytest.approx(0.05)


@draws(60)
@given(
    st.lists(st.floats(0.9, 1.1), min_size=2, max_size=25),
    st.floats(1e-3, 1e3),
    st.floats(-100.0, 100.0),
)
def test_another_unit_or_zero_changes_nothing(values, factor, offset):
    """The same readings in another unit, or with something added to all, have the same story."""
    doubts = [0.01] * len(values)
    found = appraise(values, doubts)
    other = appraise([value * factor + offset for value in values], [doubt * factor for doubt in doubts])
    assert other.kind == found.kind
    assert other.lead == pytest.approx(found.lead, rel=1e-4, abs=1e-4)


@draws(60)
@given(
    st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=25), st.lists(st.floats(1e-6, 1e3), min_size=25, max_size=25)
)
def test_any_readings_get_an_answer_that_makes_sense(values, doubts):
    """First bad run, bracket and probability fit together whatever comes."""
    found = appraise(values, doubts[: len(values)])
    if found.kind == "steady":
        assert found.first_bad is None and found.bracket is None
    else:
        low, high = found.bracket
        assert 0 <= low <= found.first_bad <= high < len(values)
        assert 0.0 <= found.probability <= 1.0 + 1e-9
        assert found.lead > 3.0
    assert all(0 < i < len(values) for i in found.excursions) or found.kind == "intermittent"


def test_run_to_run_is_not_spoilt_by_a_step():
    """From successive differences: one large one among many does not count."""
    draw = random.Random("spread")
    values = [draw.gauss(0.0, 3.0) for _ in range(400)]
    plain = run_to_run(values, [1.0] * 400)
    stepped = run_to_run([value + (100.0 if i > 200 else 0.0) for i, value in enumerate(values)], [1.0] * 400)
    assert plain == pytest.approx(math.sqrt(8.0), rel=0.15)
    assert stepped == pytest.approx(plain, rel=0.02)


@pytest.mark.parametrize(
    "arguments, words",
    [
        (([1.0, 2.0], [0.1]), "as many of each"),
        (([1.0, math.nan], [0.1, 0.1]), "no number"),
        (([1.0, 2.0], [0.1, 0.0]), "above zero"),
    ],
)
def test_bad_input_is_told(arguments, words):
    """In a sentence, as bad input."""
    with pytest.raises(DiagnoseError, match=words):
        appraise(*arguments)


def test_times_that_fall_are_told():
    """Readings come in the order of time."""
    with pytest.raises(DiagnoseError, match="order of time"):
        appraise([1.0, 2.0], [0.1, 0.1], times=[2.0, 1.0])
    with pytest.raises(DiagnoseError, match="at least one"):
        appraise([1.0, 2.0], [0.1, 0.1], watched=0)
