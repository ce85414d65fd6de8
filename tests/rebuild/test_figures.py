"""The figures of rebuilds, and the page that they are written into."""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.rebuild.figures import Kept, intervals, share, shelves_over, wilson
from tests.rebuild.page import PAGE, assumptions, figures, written


def line(number: int, way: str, **more: Any) -> dict[str, Any]:
    """One rebuild, as a file of them has it."""
    held = {} if way == "hand" else {"V": [100, 100, 95], "A": [10, 10, 10]}
    made = {"number": number, "way": way, "bench": "middling", "factor": 1.0, "without": "", "bays": 2}
    spent = {"hours": 10.0 + number, "year-hours": 5.0, "by": {"survey": 30.0, "power": 60.0}, "evenings": 3}
    did = {"climbs": 9, "readings": 200, "acts": 40, "alarms": 1, "touched": 1, "told": []}
    came = {"late": 0, "there": 0, "left": [], "over": [], "beside": [], "dark": [], "harmed": 0}
    later = {"year": 1, "located": 1, "each": [50.0], "mates": [], "named": [], "held": held}
    return {**made, **spent, **did, **came, **later, **more}


# Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 3 (figures from memory)
@pytest.mark.parametrize(
    ("right", "of", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_between_what_a_share_lies(right: int, of: int, low: float, high: float) -> None:
    assert wilson(right, of) == pytest.approx((low, high), abs=6e-5)


def test_a_share_of_rebuilds_that_are_each_one_is_a_plain_share() -> None:
    ratio, error = share([(1, 1)] * 30 + [(0, 1)] * 10)
    assert (ratio, error) == pytest.approx((0.75, math.sqrt(0.75 * 0.25 / 39)))


def test_readings_of_one_meter_that_is_off_count_as_the_one_thing_that_they_are() -> None:
    """Of ten rebuilds one has a meter that holds in none of a hundred readings: 90 % of ten, and not of a thousand."""
    ratio, error = share([(100, 100)] * 9 + [(0, 100)])
    assert (ratio, error) == pytest.approx((0.9, math.sqrt(0.9 * 0.1 / 9)))
    assert math.isnan(share([])[0]) and math.isnan(share([(3, 3)])[1])


def test_the_intervals_are_told_by_what_was_read_and_by_hand_nothing_is_stated() -> None:
    rows = intervals([line(0, "proveout"), line(1, "proveout"), line(2, "hand")])
    assert rows[2:] == [
        "| all | 220 | 100.0 % ± 0.0 | 95.5 % ± 0.0 |",
        "| A | 20 | 100.0 % ± 0.0 | 100.0 % ± 0.0 |",
        "| V | 200 | 100.0 % ± 0.0 | 95.0 % ± 0.0 |",
    ]


def test_each_exception_is_named_by_its_number_and_what_came_about_untold_is_apart() -> None:
    over = [["S2", "signal wires", 24.0, True, False], ["S3", "bond", 24.0, False, True]]
    lines = [line(7, "proveout", over=over), line(8, "proveout"), line(7, "hand"), line(8, "hand", over=over)]
    assert (shelves_over(lines[0]), shelves_over(lines[0], hidden=True), shelves_over(lines[1])) == (1, 1, 0)
    told = "\n".join(figures(lines))
    assert "could have shown: 1 of 2." in told and "- rebuild 7: S2, signal wires\n" in told and "S3" not in told
    assert "By hand practice: 1 of 2." in told


def test_what_was_done_is_kept_and_not_done_again(tmp_path: Any) -> None:
    kept = Kept(tmp_path / "rebuilds.jsonl")
    kept.keep(line(3, "hand"))
    again = Kept(tmp_path / "rebuilds.jsonl")
    assert again.lines == kept.lines and again.has(3, "hand", "middling", 1.0, "")
    assert not again.has(3, "proveout", "middling", 1.0, "")


def test_the_page_is_written_anew_between_its_marks_alone() -> None:
    text = PAGE.read_text("utf-8")
    new = written(text, "figures", ["| a table |"])
    assert written(new, "figures", ["| a table |"]) == new
    assert new.split("<!-- figures begin -->")[0] == text.split("<!-- figures begin -->")[0]
    assert new.split("<!-- figures end -->")[1] == text.split("<!-- figures end -->")[1]
    # the assumptions of the page are those of the code
    assert written(text, "assumptions", assumptions()) == text
