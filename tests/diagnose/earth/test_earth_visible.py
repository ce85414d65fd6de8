"""What a set of readings would show, held against what the search then does show."""

import math

import numpy as np
import pytest

from bench.diagnose.earth.choose import routine_readings
from bench.diagnose.earth.fit import Meter, Prior
from bench.diagnose.earth.model import Bond, BondNetwork, Point
from bench.diagnose.earth.ranking import explain
from bench.diagnose.earth.visible import chance_of_invisible, largest_ratio, planned, poor_shown, visibility
from tests.diagnose.earth.earth_bench import bench

METER = Meter()


@pytest.fixture(scope="module")
def plant():
    return bench.plant(np.random.default_rng(12), 10)


def exact(network, pairs, extras, meter=METER):
    """Readings without noise of a plant that is as designed but for the extra paths."""
    true = bench.World(network, network.ohms, tuple(extras))
    return [
        type(r)(r.a, r.b, true.resistance(r.a, r.b), float(meter.u(true.resistance(r.a, r.b))))
        for r in planned(network, pairs, meter)
    ]


def test_planned_readings_are_those_of_the_design(plant):
    pairs = routine_readings(plant)
    for ours, other in zip(planned(plant, pairs, METER), exact(plant, pairs, []), strict=True):
        assert (ours.a, ours.b) == (other.a, other.b) and not ours.lifted
        assert ours.ohms == pytest.approx(other.ohms, rel=1e-12) and ours.u == pytest.approx(other.u, rel=1e-12)


@pytest.mark.slow
def test_what_is_called_visible_raises_the_alarm_and_much_poorer_paths_do_not(plant):
    pairs = routine_readings(plant)
    seen = visibility(plant, planned(plant, pairs, METER))
    some = [n for n in range(len(seen.u)) if 1e-3 < seen.largest[n] < 50e-3 and not seen.beside[n]][::9]
    assert len(some) >= 8
    raised_at = raised_beyond = 0
    for n in some:
        u, v, ohms = int(seen.u[n]), int(seen.v[n]), float(seen.largest[n])
        raised_at += explain(plant, exact(plant, pairs, [(u, v, ohms)])).alarm > 0.5
        raised_beyond += explain(plant, exact(plant, pairs, [(u, v, 6 * ohms)])).alarm > 0.5
    # Without noise a path at the edge stands well clear of the alarm; one six times poorer is below it.
    assert raised_at == len(some)
    assert raised_beyond <= 0.2 * len(some)


@pytest.mark.parametrize(("meter", "some"), [(METER, True), (Meter(0.02, 300e-6), True), (Meter(0.02, 0.3), False)])
def test_a_bond_that_is_said_to_show_when_poor_is_named_and_a_poor_meter_sees_none(plant, meter, some):
    pairs = routine_readings(plant)
    shown = poor_shown(plant, planned(plant, pairs, meter))
    assert shown.any() == some
    for bond in np.flatnonzero(shown)[::7]:
        ohms = plant.ohms.copy()
        ohms[bond] *= Prior().poor_times
        found = explain(plant, planned(plant, pairs, meter, ohms=ohms))
        assert found.alarm > 0.5 and bond in {place for one in found.suspects[:1] for place in one.fault.poor}


def test_a_better_meter_and_more_readings_see_more(plant):
    pairs = routine_readings(plant)
    every = [(a.name, b.name) for n, a in enumerate(plant.points) for b in plant.points[:n]]
    coarse = visibility(plant, planned(plant, pairs, Meter(0.02, 40e-6)))
    usual = visibility(plant, planned(plant, pairs, METER))
    fine = visibility(plant, planned(plant, pairs, Meter(0.001, 2e-6)))
    full = visibility(plant, planned(plant, every, METER))
    assert coarse.share(5e-3) < usual.share(5e-3) < fine.share(5e-3)
    assert (full.largest >= usual.largest).all()
    assert largest_ratio(coarse) <= largest_ratio(usual) <= largest_ratio(full)
    assert chance_of_invisible(fine, Prior()) < chance_of_invisible(coarse, Prior()) < Prior().extra


def test_the_statement_is_by_pair_and_in_both_directions(plant):
    seen = visibility(plant, planned(plant, routine_readings(plant), METER))
    largest = seen.largest_between("bay 1", "tray")
    assert largest == seen.largest_between("tray", "bay 1") > 0
    assert seen.shows("bay 1", "tray", largest) and not seen.shows("bay 1", "tray", 1.1 * largest)
    assert seen.largest_between("building", "tray") is None  # harmless: both outside
    assert not seen.shows("building", "tray", 1e-5)
    blind = seen.blind(largest * 1.1)
    assert ("tray", "bay 1") in blind or ("bay 1", "tray") in blind
    assert [seen.largest_between(*pair) for pair in blind] == sorted(seen.largest_between(*pair) for pair in blind)
    assert seen.share(0.0) == 1.0


def test_a_lifted_bond_that_reads_open_shows_any_path_across_the_gap(plant):
    pairs = routine_readings(plant)
    open_gap = planned(plant, [("main", "building")], METER, ["E1"])
    assert open_gap[0].is_open
    seen = visibility(plant, [*planned(plant, pairs, METER), *open_gap])
    assert seen.largest_between("bay 1", "tray") == pytest.approx(10.0)
    short = planned(plant, [("main", "building")], Meter(open_above=0.5), ["E1"])
    limited = visibility(plant, [*planned(plant, pairs, METER), *short])
    assert 0.4 < limited.largest_between("bay 1", "tray") <= 0.5
    assert seen.largest_between("bay 1", "bay 2") < 1.0


def test_points_that_nothing_joins_take_part():
    network = BondNetwork(
        [Point("main"), Point("b1"), Point("b2"), Point("pipe", outside=True)],
        [Bond("E1", "main", "b1", 1e-3), Bond("E2", "main", "b2", 1e-3)],
        "main",
    )
    reading = planned(network, [("main", "b1"), ("main", "b2"), ("b1", "b2"), ("main", "pipe")], METER)
    assert reading[-1].is_open
    seen = visibility(network, reading)
    assert math.isinf(seen.across[next(n for n in range(len(seen.u)) if seen.v[n] == 3)])
    assert seen.shows("b1", "pipe", 1.0)  # an open reading to the pipe speaks for all that hangs together
    assert len(seen.ratios()) == len(seen.u[~seen.beside])
