"""The choice of readings: the first set, and the next most telling one."""

import math

import numpy as np
import pytest

from bench.diagnose.earth.choose import first_readings, mixture_information, next_reading, routine_readings
from bench.diagnose.earth.fit import Meter
from bench.diagnose.earth.ranking import explain
from bench.diagnose.earth.visible import planned, visibility
from tests.diagnose.earth.earth_bench import bench

METER = Meter()


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize("bays, family", [(5, "rows"), (17, "rows"), (12, "star"), (12, "tree")])
def test_the_first_set_holds_every_bond_and_every_point_to_the_main_bar(bays, family):
    network = bench.plant(np.random.default_rng(bays), bays, family)
    chosen = first_readings(network, METER, 2.7)
    pairs = [frozenset(pair) for pair in chosen]
    assert len(set(pairs)) == len(pairs)
    assert {frozenset((b.a, b.b)) for b in network.bonds} <= set(pairs)
    assert {frozenset(("main", p.name)) for p in network.points if p.name != "main"} <= set(pairs)
    assert len(chosen) == math.ceil(2.7 * len(network.points))
    assert first_readings(network, METER, 2.7) == chosen
    assert first_readings(network, METER, 2.7, seed=2)[: len(network.bonds)] == chosen[: len(network.bonds)]
    assert len(first_readings(network, METER, 1e9)) <= len(network.points) * (len(network.points) - 1) // 2


def test_the_routine_set_is_bonds_main_bar_and_rings():
    network = bench.plant(np.random.default_rng(3), 14)
    pairs = {frozenset(pair) for pair in routine_readings(network)}
    assert frozenset(("bay 1", "bay 2")) in pairs
    assert 2.3 < len(pairs) / len(network.points) < 3.0


@pytest.mark.slow
def test_chosen_readings_show_more_than_the_routine_ones_for_as_many():
    gains = []
    for seed in range(5):
        network = bench.plant(np.random.default_rng(seed), 14)
        routine = routine_readings(network)
        per_point = len(routine) / len(network.points)
        chosen = first_readings(network, METER, per_point - 1e-9)
        free = first_readings(network, METER, per_point - 1e-9, main=False)
        assert len(routine) == len(chosen) == len(free)
        share = [visibility(network, planned(network, s, METER)).share(5e-3) for s in (routine, chosen, free)]
        gains.append((share[1] - share[0], share[2] - share[0]))
    assert np.mean(gains, axis=0).min() > 0


def test_points_that_nothing_joins_are_left_out():
    network = bench.plant(np.random.default_rng(3), 6)
    cut = type(network)(network.points, network.bonds[:-1], "main")
    gone = network.bonds[-1].b
    assert all(gone not in pair for pair in [*first_readings(cut, METER), *routine_readings(cut)])


def test_the_next_reading_is_new_and_tells_what_it_says():
    rng = np.random.default_rng(41)
    true = bench.world(rng, bays=12)
    readings = true.read(rng, routine_readings(true.network), METER)
    posterior = explain(true.network, readings)
    telling = next_reading(posterior, METER)
    assert frozenset((telling.a, telling.b)) not in {frozenset((r.a, r.b)) for r in readings}
    assert 0 <= telling.information <= math.log(24) and len(telling.expected) >= 2
    only = [("bay 1", "bay 5"), ("bay 2", "bay 7")]
    among = next_reading(posterior, METER, only)
    assert (among.a, among.b) in only and among.information <= telling.information + 1e-9
    assert next_reading(posterior, METER, []) is None


def test_information_lies_between_nothing_and_the_entropy():
    half = np.array([0.5, 0.5])
    same = mixture_information(half, np.zeros((2, 1)), np.ones((2, 1)))
    far = mixture_information(half, np.array([[0.0], [50.0]]), np.ones((2, 1)))
    assert same == pytest.approx([0.0], abs=1e-12)
    assert far == pytest.approx([math.log(2)], abs=1e-9)
    assert mixture_information(np.array([1.0, 0.0]), np.array([[0.0], [9.0]]), np.ones((2, 1))) == pytest.approx([0])


@pytest.mark.parametrize("apart", [0.5, 1.5, 3.0])
def test_information_is_below_the_exact_value_and_not_far(apart):
    # Exact mutual information of three normal predictions by integration over the reading.
    weight = np.array([0.5, 0.3, 0.2])
    mean, sigma = np.array([0.0, apart, -apart]), np.array([1.0, 1.0, 1.6])
    y = np.linspace(-25, 25, 20001)
    density = np.exp(-0.5 * ((y - mean[:, None]) / sigma[:, None]) ** 2) / (sigma[:, None] * math.sqrt(2 * math.pi))
    mixture = weight @ density
    exact = np.trapezoid((weight[:, None] * density * np.log(np.maximum(density, 1e-300) / mixture)).sum(axis=0), y)
    (bound,) = mixture_information(weight, mean[:, None], sigma[:, None] ** 2)
    assert 0.2 * exact < bound <= exact + 1e-9
