"""The receiver hall of Gannet Head: whole, plausible, and quick to load."""

from __future__ import annotations

import pytest

from bench.files import shipped
from bench.plant.demand import breaker_currents, inlet_drops
from bench.plant.faults import BondOpen
from bench.plant.faulty import apply_faults
from bench.plant.graph import Nets
from bench.plant.load import load_plant


@pytest.fixture(scope="module")
def plant():
    return load_plant(shipped("sequences") / "gannet-head" / "plant.yaml")


def test_what_there_is(plant):
    counts = {
        kind: len(getattr(plant, kind))
        for kind in ("bays", "shelves", "connectors", "cables", "conductors", "breakers", "earth_points", "bonds")
    }
    assert counts == {
        "bays": 7,
        "shelves": 33,
        "connectors": 60,
        "cables": 100,
        "conductors": 1481,
        "breakers": 69,
        "earth_points": 21,
        "bonds": 20,
    }
    signal = [cable for cable in plant.cables.values() if not cable.type.name.startswith("PW")]
    assert len(signal) == 31
    assert sum(len(cable.conductors) for cable in signal) == 1341
    assert sum(bool(shelf.half_of) for shelf in plant.shelves.values()) == 8
    assert len(plant.file.pin_lists) == 8
    status = [s for c in plant.conductors.values() for s in (c.near_status, c.far_status)]
    assert {"known", "claimed", "unknown", "cut"} == set(status)


def test_nothing_is_odd(plant):
    assert plant.remarks == ()


def test_the_first_demo_is_one_cable_of_25_pairs(plant):
    cable = plant.cables["W101"]
    assert (cable.near, cable.far, cable.length_m) == (("J101",), ("J205",), 12.0)
    assert plant.connectors["J101"].bay != plant.connectors["J205"].bay
    assert len(cable.pairs) == 25
    for tip, ring in cable.pairs:
        assert (tip.near.pin, ring.near.pin) == (str(25 + tip.pair), str(ring.pair))
        assert (tip.far.pin, ring.far.pin) == (str(25 + tip.pair), str(ring.pair))
    expected = cable.conductors[0].expected(plant.ambient_c)
    # 84.22 ohm/km for AWG 24 at 20 degC (public tables of ASTM B258 sizes), brought to 18 degC, and two pins of 8 mohm
    assert expected.nominal_ohm == pytest.approx(12 * 0.08422 * (1 - 2 * 0.00393) + 2 * 0.008, rel=1e-3)


def test_every_breaker_carries_less_than_four_fifths(plant):
    currents = breaker_currents(plant)
    assert currents.keys() == plant.breakers.keys()
    for name, amperes in currents.items():
        assert 0 < amperes < 0.8 * plant.breakers[name].rating_a


def test_the_main_breaker_carries_all_its_shelves(plant):
    on_a = sum(plant.idle_current(shelf.name)[2] for shelf in plant.shelves_of("A"))
    assert breaker_currents(plant)["FA"] == pytest.approx(on_a)


def test_less_than_two_volts_are_lost(plant):
    drops = inlet_drops(plant)
    assert drops.keys() == plant.inlets.keys()
    assert 0.5 < max(drops.values()) < 2.0


def test_each_shelf_has_its_own_breaker_for_each_feed(plant):
    last = {}
    for inlet in plant.inlets.values():
        breakers = plant.supply_path(inlet.shelf, inlet.feed).breakers
        assert len(breakers) in (2, 3)
        assert all(plant.breakers[name].feed == inlet.feed for name in breakers)
        last[inlet.name] = breakers[-1]
    assert len(set(last.values())) == len(last)


def test_the_earth_is_a_tree_with_one_way_out(plant):
    points = {point.node for point in plant.earth_points.values()}
    assert len(plant.bonds) == len(points) - 1
    joins = plant.joins()
    together = joins["EB"]
    assert all(point in together for point in plant.earth_points)
    # with the single-point connection lifted, nothing inside reaches the building
    lifted = Nets(edge for edge in apply_faults(plant, [BondOpen(bond="L1")]) if edge.ohms < float("inf"))
    for point in plant.earth_points.values():
        assert lifted.joined(point.node, "X1") == point.outside
