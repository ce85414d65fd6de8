"""The hunt as a fold: resumable, numbered, and ending where it should."""

import math

import numpy as np
import pytest

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.dialogue import Ask, Finding, Hunt, HuntSettings
from bench.diagnose.earth.fit import Case, Meter, Reading
from tests.diagnose.earth.earth_bench import bench

METER = Meter()


def carried_out(true, seed=1, settings=None, meter=METER):
    rng = np.random.default_rng(seed)
    hunt = Hunt.begin(true.network, meter, settings=settings)
    while isinstance(ask := hunt.next(), Ask):
        assert hunt.next() is ask  # asked again, the same request
        (reading,) = true.read(rng, [(ask.a, ask.b)], meter, ask.lifted)
        hunt = hunt.take(ask.number, reading)
    return hunt, ask


def world_with(*paths, bays=9, seed=6):
    """A plant with second paths between named points."""
    drawn = bench.world(np.random.default_rng(seed), bays, 0)
    index = drawn.network.index
    extras = tuple((*sorted((index[a], index[b])), ohms) for a, b, ohms in paths)
    return bench.World(drawn.network, drawn.ohms, extras)


def test_a_clean_plant_is_clear():
    hunt, end = carried_out(world_with())
    assert isinstance(end, Finding) and end.kind == "clear" and end.faults == ()
    assert len(hunt.taken) - len(hunt.first) <= 3


def test_a_second_path_stands():
    true = world_with(("bay 3", "tray", 6e-3))
    _, end = carried_out(true)
    assert end.kind == "stands"
    assert end.faults == (Case((true.extras[0][:2],)),)
    assert end.lift in {"E1", "E2", *(b.name for b in true.network.bonds)}


def test_two_second_paths_stand():
    true = world_with(("bay 3", "tray", 5e-3), ("bay 2", "bay 8", 3e-3))
    _, end = carried_out(true)
    assert end.kind == "stands"
    assert set(end.faults) == {Case((extra[:2],)) for extra in true.extras}


def test_a_hunt_broken_off_is_had_back_by_folding_its_answers():
    true = world_with(("bay 2", "bay 7", 8e-3))
    whole, end = carried_out(true)
    again = Hunt.begin(true.network, METER)
    for number, reading in enumerate(whole.taken, 1):
        assert again.number == number
        again = again.take(number, reading)
    assert again == whole
    assert again.next().faults == end.faults


def test_answers_out_of_turn_are_refused():
    true = world_with()
    hunt = Hunt.begin(true.network, METER)
    ask = hunt.next()
    right = Reading(ask.a, ask.b, 1e-3, 1e-5)
    with pytest.raises(DiagnoseError, match="number 1 is expected"):
        hunt.take(2, right)
    with pytest.raises(DiagnoseError, match="asked for"):
        hunt.take(1, Reading("bay 1", "bay 9", 1e-3, 1e-5))
    with pytest.raises(DiagnoseError, match="asked for"):
        hunt.take(1, Reading(ask.a, ask.b, 1e-3, 1e-5, ("E1",)))
    after = hunt.take(1, Reading(ask.b, ask.a, 1e-3, 1e-5))  # the probes the other way round
    with pytest.raises(DiagnoseError, match="number 2 is expected"):
        after.take(1, right)
    _, end = carried_out(true)
    finished, _ = carried_out(true)
    assert isinstance(end, Finding)
    with pytest.raises(DiagnoseError):
        finished.take(finished.number, right)


def test_a_pair_out_of_reach_is_skipped_and_an_answer_can_be_undone():
    true = world_with()
    hunt = Hunt.begin(true.network, METER)
    first = hunt.next()
    skipped = hunt.skip(1)
    second = skipped.next()
    assert (second.a, second.b) != (first.a, first.b) and second.number == 2
    assert skipped.undo() == hunt and hunt.undo() == hunt
    taken = skipped.take(2, Reading(second.a, second.b, 1e-3, 1e-5))
    assert taken.undo() == skipped and taken.undo().next() == second


def test_lifting_decides_what_the_meter_cannot():
    true = world_with(("bay 1", "bay 5", 60e-3))
    coarse = Meter(0.02, 200e-6)
    settings = HuntSettings(alarm=0.02, most=4)
    _, without = carried_out(true, settings=settings, meter=coarse)
    assert without.kind == "undecided" and without.lift
    hunt, end = carried_out(true, settings=HuntSettings(alarm=0.02, most=4, lifting=True), meter=coarse)
    assert any(reading.lifted for reading in hunt.taken)
    assert end.posterior.alarm > 0.95
    place = end.posterior.place_of(Case((true.extras[0][:2],)))
    assert place is not None and place < without.posterior.place_of(Case((true.extras[0][:2],)))


def test_an_open_bond_ends_the_hunt():
    drawn = world_with()
    ohms = drawn.ohms.copy()
    ohms[5] = math.inf
    _, end = carried_out(bench.World(drawn.network, ohms))
    assert end.kind == "stands" and end.faults == (Case(opened=(5,)),)


def test_settings_that_make_no_sense():
    for bad in ({"alarm": 0.0}, {"sure": 0.4}, {"sure": 1.0}):
        with pytest.raises(DiagnoseError):
            HuntSettings(**bad)
