"""A script: what it wants, what it is answered, how its cards read."""

import math

import pytest

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.script import STAR, Card, Clear, Clip, Fit, Probe, SetUp, carry_out


def small():
    """Sets up, measures twice, and returns what it was told."""
    yield SetUp(Card("near", (Clear(),)))
    ohms = yield Probe("far", ("a",), ("b",), "ohms")
    joined = yield Probe("far", ("a",), ("b", "c"), "joined")
    return ohms, joined


@pytest.mark.parametrize("ohms", [5.0, math.inf, None, 0])
@pytest.mark.parametrize("joined", [True, False])
def test_every_request_is_answered_in_its_turn(ohms, joined):
    asked = []

    def look(request):
        asked.append(request)
        return [None, ohms, joined][len(asked) - 1]

    assert carry_out(small(), look) == (ohms, joined)
    assert [type(request) for request in asked] == [SetUp, Probe, Probe]


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
    answers = iter([*before, value])
    with pytest.raises(DiagnoseError, match=told):
        carry_out(small(), lambda request: next(answers))


def test_cards_read_as_lines():
    card = Card("near", (Clear(), Fit("c1", 0.0, STAR), Fit("c2", 4700.0, STAR), Clip(("x", "y"))))
    assert card.lines() == (
        "free every end",
        "c1: straight to star",
        "c2: tag of 4700 ohm to star",
        "join x + y",
    )
