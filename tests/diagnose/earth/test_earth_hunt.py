"""The hunt: what it asks for follows from the readings alone, and it ends where it should."""

import math

import numpy as np
import pytest

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.fit import Case, Meter, Reading
from bench.diagnose.earth.hunt import Ask, Finding, Hunt, HuntSettings
from tests.diagnose.earth.earth_bench import bench

METER = Meter()


def carried_out(true, seed=1, settings=None, meter=METER):
    rng = np.random.default_rng(seed)
    hunt = Hunt.begin(true.network, meter, settings=settings)
    taken = []
    while isinstance(ask := hunt.next(taken), Ask):
        taken += true.read(rng, [(ask.a, ask.b)], meter, ask.lifted)
    return hunt, taken, ask


def world_with(*paths, bays=9, seed=6):
    """A plant with second paths between named points."""
    drawn = bench.world(np.random.default_rng(seed), bays, 0)
    index = drawn.network.index
    extras = tuple((*sorted((index[a], index[b])), ohms) for a, b, ohms in paths)
    return bench.World(drawn.network, drawn.ohms, extras)


def test_a_clean_plant_is_clear():
    hunt, taken, end = carried_out(world_with())
    assert isinstance(end, Finding) and end.kind == "clear" and end.faults == ()
    assert len(taken) - len(hunt.first) <= 3


def test_a_second_path_stands():
    true = world_with(("bay 3", "tray", 6e-3))
    _, _, end = carried_out(true)
    assert end.kind == "stands"
    assert end.faults == (Case((true.extras[0][:2],)),)
    assert end.lift in {"E1", "E2", *(b.name for b in true.network.bonds)}


def test_two_second_paths_stand():
    true = world_with(("bay 3", "tray", 5e-3), ("bay 2", "bay 8", 3e-3))
    _, _, end = carried_out(true)
    assert end.kind == "stands"
    assert set(end.faults) == {Case((extra[:2],)) for extra in true.extras}


def test_what_it_asks_for_follows_from_the_readings_alone():
    true = world_with(("bay 2", "bay 7", 8e-3))
    hunt, taken, end = carried_out(true)
    again = Hunt.begin(true.network, METER)
    assert again == hunt
    for count, reading in enumerate(taken):
        ask = again.next(taken[:count])
        assert isinstance(ask, Ask)
        assert reading.key == (frozenset((ask.a, ask.b)), frozenset(ask.lifted))
    assert again.next(taken).faults == end.faults


def test_a_pair_out_of_reach_is_not_asked_for_again_whichever_way_round():
    true = world_with()
    hunt = Hunt.begin(true.network, METER)
    first = hunt.next([])
    skipped = [(frozenset((first.b, first.a)), ())]
    second = hunt.next([], skipped)
    assert {second.a, second.b} != {first.a, first.b}
    # the probes the other way round
    assert hunt.next([Reading(first.b, first.a, 1e-3, 1e-5)]) == second
    third = hunt.next([Reading(second.a, second.b, 1e-3, 1e-5)], skipped)
    assert isinstance(third, Ask) and {third.a, third.b} not in ({first.a, first.b}, {second.a, second.b})


@pytest.mark.slow
def test_lifting_decides_what_the_meter_cannot():
    true = world_with(("bay 1", "bay 5", 60e-3))
    coarse = Meter(0.02, 200e-6)
    settings = HuntSettings(alarm=0.02, most=4)
    _, _, without = carried_out(true, settings=settings, meter=coarse)
    assert without.kind == "undecided" and without.lift
    _, taken, end = carried_out(true, settings=HuntSettings(alarm=0.02, most=4, lifting=True), meter=coarse)
    assert any(reading.lifted for reading in taken)
    assert end.posterior.alarm > 0.95
    place = end.posterior.place_of(Case((true.extras[0][:2],)))
    assert place is not None and place < without.posterior.place_of(Case((true.extras[0][:2],)))


def test_an_open_bond_ends_the_hunt():
    drawn = world_with()
    ohms = drawn.ohms.copy()
    ohms[5] = math.inf
    _, _, end = carried_out(bench.World(drawn.network, ohms))
    assert end.kind == "stands" and end.faults == (Case(opened=(5,)),)


def test_settings_that_make_no_sense():
    for bad in ({"alarm": 0.0}, {"sure": 0.4}, {"sure": 1.0}):
        with pytest.raises(DiagnoseError):
            HuntSettings(**bad)
