"""What was worked out lately is found again, and never for another argument."""

import pytest

from bench.recent import Recent


def test_the_same_is_made_once_and_the_longest_unasked_goes_first():
    made = []
    recent = Recent(2)

    def of(word):
        return recent.get([word], lambda: made.append(word) or word.upper())

    assert [of("a"), of("b"), of("a"), of("c"), of("a"), of("b")] == ["A", "B", "A", "C", "A", "B"]
    assert made == ["a", "b", "c", "b"]


def test_what_could_not_be_made_is_not_kept():
    recent = Recent(2)

    def fails():
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        recent.get("x", fails)
    assert recent.get("x", lambda: "x") == "x"
