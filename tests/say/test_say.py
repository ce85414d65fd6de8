"""How things are said, in one place: readings, limits, verdicts, counts, lists; and where values lie on an axis."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.say.axis import Axis
from bench.say.lists import count, some
from bench.say.reading import asked, reading
from bench.say.times import minute, second
from bench.say.verdict import ORDER, PAST, PLAIN_SIGNS, SIGNS, WORDS, counts, verdict_line, without_word


def test_a_reading_in_words() -> None:
    assert reading(0.874, "Ω", expanded=0.023) == "0.874 Ω ± 23 mΩ"
    assert reading(0.874, "Ω") == "0.874 Ω"
    assert reading(1.0, "Ω", resolution=0.001) == "1.000 Ω"
    assert reading(None, "Ω", over="+") == "over range"
    assert reading(None, "V", over="-") == "below range"
    assert reading(None, "V") == "no number"


def test_a_limit_in_words() -> None:
    assert asked(None, 1.2, "Ω") == "at most 1.2 Ω"
    assert asked(1e7, None, "Ω") == "at least 10 MΩ"
    assert asked(-57, -40.5, "V") == "-57 V to -40.5 V"
    assert asked(0.0, None, "A") == "at least 0 A"
    assert asked(None, None, "Ω") == ""


@pytest.mark.parametrize(
    ("verdict", "sentence", "line"),
    [
        ("pass", "Pass: 0.9 Ω; limit: at most 2 Ω.", "PASS W1.1: 0.9 Ω; limit: at most 2 Ω."),
        ("skipped", "Skipped.", "skipped W1.1"),
        ("skipped", "Skipped: no key.", "skipped W1.1: no key."),
        ("fail", "Something else: 3 Ω.", "FAIL W1.1: Something else: 3 Ω."),
    ],
)
def test_a_verdict_on_one_line_says_its_word_once(verdict: str, sentence: str, line: str) -> None:
    assert verdict_line(WORDS[verdict], "W1.1", verdict, sentence) == line
    assert verdict_line(WORDS[verdict], "W1.1", verdict, sentence, "Look.") == f"{line} Look."
    assert without_word(verdict, without_word(verdict, sentence)) == without_word(verdict, sentence)


def test_every_verdict_has_its_word_and_its_signs() -> None:
    assert set(ORDER) == set(PAST) == set(SIGNS) == set(PLAIN_SIGNS) == set(WORDS) - {"done", "read"}
    assert counts({"void": 1, "pass": 48, "fail": 0}) == "48 pass, 1 void"
    assert counts({"fail": 2, "pass": 1}, PAST) == "1 passed, 2 failed"
    assert counts({}) == ""


def test_counts_lists_and_times() -> None:
    assert [count(number, "record") for number in (0, 1, 2)] == ["0 records", "1 record", "2 records"]
    assert count(2, "search", "searches") == "2 searches"
    assert some(["W1", "W2"], 2) == "W1, W2"
    assert some(["W1", "W2", "W3"], 2) == "W1, W2 and 1 more"
    at = "2026-05-12T18:03:11.250412Z"
    assert (minute(at), second(at)) == ("2026-05-12 18:03", "2026-05-12 18:03:11")


finite = st.floats(-1e9, 1e9)


@given(st.lists(finite, min_size=1, max_size=9), st.floats(0, 0.5), st.integers(2, 200))
def test_what_an_axis_was_laid_around_shows_on_it_in_order(values: list[float], air: float, cells: int) -> None:
    axis = Axis.around(values, air)
    assert axis.start < axis.end or max(abs(value) for value in values) * 1e-12 > axis.end - axis.start
    if axis.start < axis.end:
        places = [axis.place(value) for value in sorted(values)]
        assert places == sorted(places) and places[0] >= 0 and places[-1] <= 1
        assert all(0 <= axis.cell(value, cells) < cells for value in values)


def test_values_beyond_an_axis_are_kept_near_it() -> None:
    axis = Axis(0.0, 10.0)
    assert (axis.place(-1e9), axis.place(1e9)) == (-1.0, 2.0)
    assert (axis.within(-3, 11), axis.within(4, 11), axis.within(99, 11)) == (0, 4, 10)
    assert Axis.around([]) == Axis(0.0, 1.0)
    assert Axis.around([5.0]).place(5.0) == 0.5


def test_an_axis_in_decades_has_a_tick_at_each_between() -> None:
    axis = Axis(1.0, 1e4, decades=True)
    assert axis.ticks == (10.0, 100.0, 1000.0)
    assert [axis.place(value) for value in (1.0, 100.0, 1e4)] == pytest.approx([0.0, 0.5, 1.0])
    assert axis.place(0.0) == -1.0
    assert Axis(0.0, 1.0).ticks == ()
