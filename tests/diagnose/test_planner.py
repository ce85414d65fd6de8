"""The dialogue: asked twice, answered wrongly, resumed, taken back."""

import math

import pytest

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.planner import (
    STAR,
    Answer,
    Card,
    Clear,
    Clip,
    Done,
    Fit,
    Measure,
    Planner,
    SetUp,
    carry_out,
)


def small():
    """Sets up, measures twice, and returns what it was told."""
    yield SetUp(Card("near", (Clear(),)))
    ohms = yield Measure("far", ("a",), ("b",), "ohms")
    joined = yield Measure("far", ("a",), ("b", "c"), "joined")
    return ohms, joined


def test_next_may_be_asked_any_number_of_times_and_answers_carry_its_number():
    planner = Planner(small)
    assert planner.next() is planner.next()
    assert planner.next().number == 1
    with pytest.raises(DiagnoseError, match="expected one to request 1"):
        planner.take(Answer(2))
    planner = planner.take(Answer(1))
    with pytest.raises(DiagnoseError, match="answer to request 1; expected one to request 2"):
        planner.take(Answer(1))
    assert planner.next() == Measure("far", ("a",), ("b",), "ohms", 2)


@pytest.mark.parametrize(
    ("before", "value", "told"),
    [
        ([], 3.0, "no value"),
        ([None], True, "expected ohms"),
        ([None], -1.0, "expected ohms"),
        ([None], math.nan, "expected ohms"),
        ([None, 4.0], 4.0, "expected yes or no"),
        ([None, 4.0], None, "expected yes or no"),
    ],
)
def test_answers_of_the_wrong_kind_are_refused(before, value, told):
    planner = Planner(small)
    for given in before:
        planner = planner.take(Answer(planner.next().number, given))
    with pytest.raises(DiagnoseError, match=told):
        planner.take(Answer(planner.next().number, value))


def test_an_old_planner_is_still_what_it_was():
    first = Planner(small)
    second = first.take(Answer(1))
    third = second.take(Answer(2, 5.0))
    again = second.take(Answer(2, math.inf))
    assert third.take(Answer(3, True)).next() == Done((5.0, True), 4)
    assert again.take(Answer(3, False)).next() == Done((math.inf, False), 4)
    assert first.next().number == 1
    assert third.undo().next() == second.next()
    with pytest.raises(DiagnoseError, match="no answer to take back"):
        first.undo()


def test_a_dialogue_is_resumed_from_its_answers():
    planner = carry_out(Planner(small), lambda r: {1: None, 2: 7.0, 3: True}[r.number])
    assert [a.value for a in planner.answers()] == [None, 7.0, True]
    fresh = Planner(small).resume(planner.answers()[:2])
    assert fresh.next() == Measure("far", ("a",), ("b", "c"), "joined", 3)
    assert Planner(small).resume(planner.answers()).next() == planner.next()
    with pytest.raises(DiagnoseError, match="no answer was expected"):
        planner.take(Answer(4))


def test_cards_read_as_lines():
    card = Card("near", (Clear(), Fit("c1", 0.0, STAR), Fit("c2", 4700.0, STAR), Clip(("x", "y"))))
    assert card.lines() == (
        "free every end",
        "c1: straight to star",
        "c2: tag of 4700 ohm to star",
        "join x + y",
    )
