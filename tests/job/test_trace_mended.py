"""Points that were mended: the fault is dated where it began, and what was good is never called bad."""

import random

import pytest

from bench.job.points import point_of, surroundings
from bench.job.study import bench_changes, study
from bench.job.suspects import suspects
from bench.report.trace_text import lines, plain
from tests.job.season_folder import disturbed, plant, reading

LIMIT = 1.5


def history(levels, seed=1):
    """A reading a day about these levels, each judged by its limit."""
    chance = random.Random(seed)
    found = []
    for day, level in enumerate(levels, 1):
        value = level + chance.gauss(0.0, 0.01)
        verdict = "pass" if value <= LIMIT else "fail"
        at = f"2026-03-{day:02d}T18:00:00.000000Z"
        found.append(
            reading("W101.1", ("J101.26", "J205.26"), verdict, at=at, value=value, high=LIMIT, n=day, record=f"r{day}")
        )
    return found


@pytest.mark.parametrize(
    ("levels", "good", "bad", "mended"),
    [
        ([1.0] * 6 + [2.0] * 6, 6, 7, None),
        ([2.0] * 6 + [1.0] * 6, None, 1, (6, 7)),
        ([2.0] * 2 + [1.0] * 10, None, 1, (2, 3)),
        ([2.0] * 10 + [1.0] * 2, None, 1, (10, 11)),
        ([2.0, 1.0], None, 1, (1, 2)),
        ([1.0] * 3 + [2.0] * 6 + [1.0] * 3, 3, 4, (9, 10)),
        ([1.0] * 5 + [2.0] * 3 + [1.0] * 5, 5, 6, (8, 9)),
        ([1.0, 2.0, 1.0], 1, 2, (2, 3)),
        ([1.0] * 4 + [2.0] * 4 + [1.2] * 4, 4, 5, (8, 9)),
        # bad, mended, and bad again: the latest turn counts
        ([2.0] * 6 + [1.0] * 5 + [2.0], 11, 12, None),
        ([1.0] * 8, None, None, None),
    ],
)
@pytest.mark.parametrize("seed", range(5))
def test_a_mended_point_is_told_the_right_way_round(levels, good, bad, mended, seed):
    """Last good, first bad, and the two readings that its mending lies between."""
    window = study(history(levels, seed))[0].window
    if bad is None:
        assert window is None
        return
    assert (window.last_good and window.last_good.n) == good
    assert window.first_bad.n == bad
    assert (window.mended and tuple(row.n for row in window.mended)) == mended
    assert window.first_bad.verdict == "fail"
    assert window.last_good is None or window.last_good.verdict == "pass"


def test_the_words_say_when_it_came_right():
    """And never that a reading that passed was the first bad one."""
    point = point_of(plant(), "W101.1")
    said = list(lines(point, study(history([2.0] * 6 + [1.0] * 6))))
    text = "\n".join(said)
    assert "last good  none: the first reading is bad already" in text
    assert "first bad  2026-03-01" in text and "last bad   2026-03-06" in text and "good again 2026-03-07" in text
    assert "changed in the record of 2026-03-07 18:00, certain" in text
    found = plain(study(history([2.0] * 6 + [1.0] * 6))[0])
    assert found["last_good"] is None and found["first_bad"]["event"] == 1
    assert (found["last_bad"]["event"], found["good_again"]["event"]) == (6, 7)


def test_a_change_without_a_failure_is_called_neither_good_nor_bad():
    """A step between two values that both pass, or that both fail."""
    for levels in ([1.0] * 6 + [1.2] * 6, [2.0] * 6 + [2.4] * 6):
        found = study(history(levels))[0]
        assert found.window.first_bad.n == 7 and found.window.mended is None
        text = "\n".join(lines(point_of(plant(), "W101.1"), [found]))
        assert "last before 2026-03-06" in text and "first after 2026-03-07" in text and "first bad" not in text


def test_what_mended_a_point_is_looked_for_where_its_fault_has_no_beginning():
    """Events between the last bad and the first good reading, another meter among them."""
    rows = history([2.0] * 6 + [1.0] * 6)
    window = study(rows)[0].window
    assert (window.after_at, window.until_at) == (rows[5].at, rows[6].at)
    told = [
        disturbed("J205.26", at="2026-03-07T10:00:00.000000Z", text="crimped again"),
        disturbed("J205.26", at="2026-02-01T10:00:00.000000Z", text="long before"),
    ]
    around = surroundings(plant(), point_of(plant(), "W101.1"))
    found = suspects(told, window.after_at, window.until_at, around, plant())
    assert [one.told.text for one in found] == ["crimped again"]
    assert not bench_changes(window)
