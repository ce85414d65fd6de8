"""A sample of the study of 1,000 damaged plants (tests/benchmarks/bench_map.py), held to what it found."""

from __future__ import annotations

import pytest

from tests.benchmarks.bench_map import look


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.quick_cases(3)
def test_what_was_done_to_a_plant_is_told_first_and_nothing_sound_is_touched(seed):
    one = look(seed)
    assert one.first, [made.told for made in one.plant.made]
    assert one.harm == [] and one.explanation.unexplained == () and not one.more
    wires = len(one.plant.plant.conductors)
    assert one.drafted + one.asked < wires * (wires - 1) // 2 or wires <= 12


@pytest.mark.slow
@pytest.mark.parametrize("seed", [103, 185])
def test_one_thing_done_to_a_plug_and_a_dead_row_go_before_two_things_done_to_it(seed):
    """A plug that was mirrored and shifted put the dead row off its end, and was told in place of both."""
    one = look(seed)
    assert one.first and one.harm == []


def test_two_wires_exchanged_around_a_run_that_lies_end_for_end_make_it_no_longer():
    """The run was told with the two good wires between, and these to be crossed back."""
    one = look(5101)
    assert one.first and one.harm == []


@pytest.mark.slow
def test_neighbours_with_a_good_pair_between_them_are_not_crossed_over():
    """Beside wires in no order three pairs were told to be crossed, and the good one to be crossed back."""
    one = look(1510)
    assert one.first and one.harm == []


@pytest.mark.parametrize("seed", [216, 372])
def test_a_plug_whose_place_leads_somewhere_is_not_told_to_be_out(seed):
    """Most of its wires were dead, and the few that were found elsewhere were told as joined and to be parted."""
    one = look(seed)
    assert one.first and one.harm == [] and not one.more


@pytest.mark.parametrize("seed", [8140, 8601])
@pytest.mark.quick_cases(1)
def test_a_part_is_not_told_where_what_it_leaves_over_costs_more_than_it_saves(seed):
    """A run moved along put dead wires right, and three joins had to be told beside it; so did a plug."""
    one = look(seed)
    assert one.first and one.harm == [] and not one.more


@pytest.mark.parametrize("seed", [8355, 8409])
@pytest.mark.quick_cases(1)
def test_a_dead_row_of_an_exchanged_plug_is_a_dead_row(seed):
    """The plug was told to sit mirrored and shifted in the other's place, which keeps the good row where it is."""
    one = look(seed)
    assert one.first and one.harm == [] and not one.more


@pytest.mark.slow
def test_wires_in_no_order_do_not_turn_the_plug():
    """Mirrored, it had six of fifty wires at home by chance, and was told beside the fifty."""
    one = look(10645)
    assert one.first and one.harm == [] and not one.more


def test_two_pairs_exchanged_on_a_plug_that_sits_off_are_one_mistake_though_they_bring_two_wires_home():
    """Each of the two wires was held against it, and a run moved along was told with three more open wires."""
    one = look(11094)
    assert one.first and one.harm == [] and not one.more


@pytest.mark.parametrize("seed", [297, 770, 951])
@pytest.mark.quick_cases(1)
def test_plugs_with_good_wires_stay_where_several_mistakes_look_like_a_moved_plug(seed):
    """Moved plugs and parts that bring good wires back home explained these cheaply, and were told."""
    one = look(seed)
    assert one.first and one.harm == []


@pytest.mark.slow
def test_of_many_plants_nearly_all_are_told_first_and_no_order_harms():
    seen = [look(seed) for seed in range(12, 60)]
    assert [one.harm for one in seen if one.harm] == []
    assert not any(one.more for one in seen)
    assert sum(one.first for one in seen) >= 0.95 * len(seen)
