from __future__ import annotations

import pytest

from bench.diagnose.hunt.ranking import Movement, Ranking
from tests.diagnose.hunt.wiggled import WEIGHTS, Habit, searched


def test_before_anything_moved_places_have_their_weight_and_none_is_possible() -> None:
    ranking = Ranking((4.0, 2.0, 1.0))
    assert ranking.none == pytest.approx(0.1)
    assert ranking.chances == pytest.approx((0.9 * 4 / 7, 0.9 * 2 / 7, 0.9 / 7))
    assert ranking.named is None


def test_jumps_only_while_one_place_is_moved_name_it() -> None:
    movements = [Movement(10.0 * n, 10.0 * n + 5.0, (n % 4,)) for n in range(12)]
    jumps = [one.named + 2.0 for one in movements if one.places == (2,)]
    ranking = Ranking((1.0,) * 4, movements, jumps, 125.0)
    assert ranking.order[0] == 2 and ranking.named == 2


def test_a_name_that_comes_late_still_gets_the_jump_before_it() -> None:
    movements = [Movement(10.0, 15.0, (0,)), Movement(17.0, 22.0, (5,))]
    early = Ranking((1.0,) * 6, movements, [16.6], 25.0)
    assert early.order[0] == 5


def test_jumps_while_nothing_is_moved_speak_for_none_of_them() -> None:
    movements = [Movement(10.0 * n, 10.0 * n + 5.0, (n % 4,)) for n in range(12)]
    ranking = Ranking((1.0,) * 4, movements, [10.0 * n + 7.5 for n in range(8)], 125.0)
    assert ranking.none > 4 * 0.1 and ranking.none > 2 * max(ranking.chances)
    assert ranking.named is None


def test_a_jump_at_a_point_that_a_place_does_not_carry_says_nothing_for_it() -> None:
    movements = [Movement(0.0, 5.0, (0, 1))]
    ranking = Ranking((1.0, 1.0), movements, [2.0], 6.0, seen_by=[[False], [True]])
    assert ranking.order[0] == 1


def test_one_jump_at_two_points_is_one_jump_for_a_place_that_carries_either() -> None:
    movements = [Movement(0.0, 5.0, (0,))]
    once = Ranking((1.0, 1.0), movements, [2.0], 6.0, chains=(0, 1))
    twice = Ranking((1.0, 1.0), movements, [2.0, 2.1], 6.0, (0, 1), [[False, True], [True, True]])
    assert twice.chances == pytest.approx(once.chances)


def test_what_is_moved_next_tells_more_than_what_was_just_seen_quiet() -> None:
    movements = [Movement(10.0 * n, 10.0 * n + 5.0, (0,)) for n in range(10)]
    following = Ranking((1.0,) * 3, movements, [], 105.0, chains=(0, 1, 2)).next(groups=False)
    assert following is not None and following.places != (0,)


@pytest.mark.slow
def test_the_true_place_is_among_the_first_two_after_24_movements() -> None:
    # a small part of the study in tests/benchmarks: 0.92 of 250 there; 0.80 is asked for
    found = 0
    for seed in range(10):
        wiggle, rankings = searched(Habit(), seed, 24)
        found += wiggle.true in rankings[-1].order[:2]
    assert found >= 8


def test_where_none_is_loose_no_place_is_said_to_be_sure() -> None:
    for seed in range(3):
        _, rankings = searched(Habit(there=False, alone=1 / 60), seed, 24)
        assert max(rankings[-1].chances) < 0.99
    assert len(WEIGHTS) == 24
