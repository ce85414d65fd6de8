"""Plain Python or scipy: the same answers, and nothing heavy is loaded for a small plant."""

import random
import subprocess
import sys

import pytest

from bench.network import factor
from bench.network.circuit import Edge, Network, PowerLoad, VoltageSource
from tests.network.test_circuit import plant


@pytest.mark.parametrize("seed", range(4))
def test_both_ways_give_the_same_answers(seed, monkeypatch):
    rng = random.Random(seed)
    edges = plant(rng, 150, leaks=seed % 2 == 0)
    pairs = [tuple(rng.sample(range(150), 2)) for _ in range(20)]
    source = [VoltageSource("battery", 3, 140, 54.0, 0.01)]
    loads = [PowerLoad(k, *rng.sample(range(150), 2), 0.2, cutoff_volts=5.0) for k in range(5)]

    def answers(loops):
        monkeypatch.setattr(factor, "SMALL_LOOPS", loops)
        network = Network(edges)
        solved = network.solve(voltages=source, loads=loads)
        changed = network.changed({("wire", 40): 0.9})
        return (
            [*network.resistances(pairs), *changed.resistances(pairs)],
            [solved.volts(a, b) for a, b in pairs],
            [solved.amps(edge.id) for edge in edges],
            [state.amps for state in solved.loads.values()],
        )

    plain, sparse = answers(10**9), answers(-1)
    for mine, its in zip(plain[0], sparse[0], strict=True):
        assert mine == pytest.approx(its, rel=1e-10)
    for mine, its in zip(plain[1:], sparse[1:], strict=True):
        assert mine == pytest.approx(its, rel=1e-8, abs=1e-10)


def test_many_decades_keep_their_digits_by_scipy_too(monkeypatch):
    monkeypatch.setattr(factor, "SMALL_LOOPS", -1)
    edges = [Edge((side, k), (side, k), (side, k + 1), 1e-3) for side in "ab" for k in range(200)]
    network = Network([*edges, Edge("insulation", ("a", 0), ("b", 0), 1e12)])
    assert network.resistance(("a", 0), ("b", 0)) == pytest.approx(1e12, rel=1e-12)
    assert network.resistance(("a", 0), ("a", 200)) == pytest.approx(0.2, rel=1e-12)


def test_what_no_change_touches_is_factored_once():
    edges = [Edge((side, k), (side, k), (side, k + 1), 0.1) for side in "ab" for k in range(30)]
    network = Network(edges)
    network.resistance(("b", 0), ("b", 30))
    kept = network._ready()[network._node(("b", 0))]
    child = network.changed({("a", 3): 0.0}).extended([Edge("across", ("a", 0), ("a", 9), 1.0)])
    assert child.resistance(("b", 0), ("b", 30)) == pytest.approx(3.0)
    assert child._ready()[child._node(("b", 0))] is kept
    assert kept.factor is not None


def test_an_edge_that_was_opened_and_closed_again_is_there_when_its_island_is_made_anew():
    # the ring keeps the island whole while the edge is open, so both changes go by way of the factor that is there
    ring = [Edge(k, k, (k + 1) % 12, 1.0) for k in range(12)] + [Edge("chord", 0, 6, 1.0)]
    network = Network(ring).changed({"chord": 1e9})
    network.resistance(0, 6)
    opened = network.changed({"chord": float("inf")})
    assert opened.resistance(0, 6) == pytest.approx(3.0)
    closed = opened.changed({"chord": 2.0})
    assert closed.resistance(0, 6) == pytest.approx(1 / (1 / 3 + 1 / 2))
    clipped = closed.changed({3: 0.0})
    assert clipped.resistance(0, 6) == pytest.approx(1 / (1 / 5 + 1 / 6 + 1 / 2))


PROGRAM = """
import sys
from pathlib import Path
import bench.simulate.serve
from bench.plant.load import load_plant
from bench.simulate.world.power import PowerWorld
from bench.sequence.power_tree import Powered, PowerTree

plant = load_plant(Path("sequences/gannet-head/plant.yaml"))
world = PowerWorld(plant)
for one in list(plant.conductors.values())[:20]:
    world.place(one.near_end.name, one.far_end.name)
    assert world.resistance("HI", "LO", 0.0) < 100.0
breakers = list(plant.breakers)[:3]
PowerTree(plant).flow(Powered(("GA",), -48.0, closed=frozenset(breakers)))
print(sorted({"numpy", "scipy"} & set(sys.modules)))
"""


def test_the_simulated_plant_is_read_without_numpy_and_scipy():
    found = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
