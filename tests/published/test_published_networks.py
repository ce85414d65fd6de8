"""The network solver against textbook identities, a graph library and a circuit simulator."""

import itertools
import math
import random
import re
import shutil
import subprocess

import networkx
import pytest

from bench.network.circuit import CurrentSource, Edge, Network, PowerLoad, VoltageSource


def unit(pairs):
    return Network([Edge(k, a, b, 1.0) for k, (a, b) in enumerate(pairs)])


@pytest.mark.parametrize("n", [2, 3, 5, 17, 60])
def test_complete_graph(n):
    # K_n of unit resistors: 2/n between any two nodes. Textbook identity, by symmetry.
    network = unit(itertools.combinations(range(n), 2))
    assert network.resistance(0, n - 1) == pytest.approx(2 / n, rel=1e-12)


@pytest.mark.parametrize("n, k", [(3, 1), (10, 5), (101, 13)])
def test_ring(n, k):
    # Ring of n unit resistors: k (n - k) / n at distance k (two series paths in parallel).
    network = unit((i, (i + 1) % n) for i in range(n))
    assert network.resistance(4 % n, (4 + k) % n) == pytest.approx(k * (n - k) / n, rel=1e-12)


def test_cube():
    # Cube of unit resistors: edge 7/12, face diagonal 3/4, body diagonal 5/6. A standard exercise
    # of circuit textbooks.
    corners = list(itertools.product((0, 1), repeat=3))
    network = unit(
        (a, b) for a, b in itertools.combinations(corners, 2) if sum(x != y for x, y in zip(a, b, strict=True)) == 1
    )
    origin = (0, 0, 0)
    assert network.resistance(origin, (1, 0, 0)) == pytest.approx(7 / 12, rel=1e-12)
    assert network.resistance(origin, (1, 1, 0)) == pytest.approx(3 / 4, rel=1e-12)
    assert network.resistance(origin, (1, 1, 1)) == pytest.approx(5 / 6, rel=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_foster(seed):
    # Foster (1949), "The average impedance of an electrical network": the sum over all edges of
    # R_ij / r_ij is n - 1 for a connected network. Statement from memory, not confirmed in the text.
    rng = random.Random(seed)
    n = 80
    edges = [Edge(("t", i), i, rng.randrange(i), 10 ** rng.uniform(-3, 9)) for i in range(1, n)]
    edges += [Edge(("x", k), *rng.sample(range(n), 2), 10 ** rng.uniform(-3, 9)) for k in range(120)]
    network = Network(edges)
    resistances = network.resistances([(e.a, e.b) for e in edges])
    total = sum(r / e.ohms for r, e in zip(resistances, edges, strict=True))
    assert total == pytest.approx(n - 1, rel=1e-9)


def test_delta_and_star():
    # Delta-star transformation (Kennelly), textbook: equal resistances at all three terminals.
    ab, bc, ca = 12.0, 27.0, 61.0
    total = ab + bc + ca
    delta = Network([Edge(1, "a", "b", ab), Edge(2, "b", "c", bc), Edge(3, "c", "a", ca)])
    star = Network(
        [
            Edge(1, "a", "s", ab * ca / total),
            Edge(2, "b", "s", ab * bc / total),
            Edge(3, "c", "s", bc * ca / total),
        ]
    )
    for pair in ("ab", "bc", "ca"):
        assert delta.resistance(*pair) == pytest.approx(star.resistance(*pair), rel=1e-12)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.quick_cases(3)
def test_networkx_agrees(seed):
    rng = random.Random(seed)
    n = 40
    graph = networkx.gnm_random_graph(n, 90, seed=seed)
    graph.add_edges_from((i, i + 1) for i in range(n - 1))
    edges = []
    for k, (a, b) in enumerate(graph.edges):
        graph.edges[a, b]["ohms"] = 10 ** rng.uniform(-1, 3)
        edges.append(Edge(k, a, b, graph.edges[a, b]["ohms"]))
    network = Network(edges)
    for _ in range(10):
        a, b = rng.sample(range(n), 2)
        theirs = networkx.resistance_distance(graph, a, b, weight="ohms", invert_weight=True)
        assert network.resistance(a, b) == pytest.approx(theirs, rel=1e-9)


def test_four_wire_reversal():
    # Reciprocity (textbook): the transfer resistance is the same with force and sense exchanged.
    rng = random.Random(2)
    network = Network([Edge(k, *rng.sample(range(12), 2), rng.uniform(1, 50)) for k in range(60)])
    assert network.four_wire(0, 3, 5, 7) == pytest.approx(network.four_wire(3, 0, 7, 5), rel=1e-9)


@pytest.mark.parametrize("ohms, volts", [(0.5, 54.0), (2.0, 24.0)])
def test_maximum_power(ohms, volts):
    # Maximum power theorem (textbook): a load of V^2 / 4 R takes half the open voltage.
    network = Network([Edge("lead", "+", "far", ohms / 2)], nodes=["-"])
    solved = network.solve(
        voltages=[VoltageSource("v", "+", "-", volts, ohms / 2)],
        loads=[PowerLoad("p", "far", "-", volts**2 / (4 * ohms) * (1 - 1e-9))],
    )
    assert solved.loads["p"].volts == pytest.approx(volts / 2, rel=1e-4)


# ---- a circuit simulator as outside judge --------------------------------------------------

needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not installed: outside check not run"
)


def spice(lines, prints, tmp_path):
    """Run one operating point; ``prints`` are vectors, answered in order."""
    deck = tmp_path / "net.cir"
    commands = "\n".join(f"print {p}" for p in prints)
    deck.write_text(
        "network\n"
        + "\n".join(lines)
        + "\n.options reltol=1e-9 gmin=1e-20 abstol=1e-18 vntol=1e-15\n"
        + f".control\nset numdgt=15\nop\n{commands}\n.endc\n.end\n"
    )
    run = subprocess.run(["ngspice", "-b", str(deck)], capture_output=True, text=True, timeout=60, check=False)
    values = re.findall(r"^\S+ = ([-+0-9.eE]+)\s*$", run.stdout, re.MULTILINE)
    assert len(values) == len(prints), run.stdout + run.stderr
    return [float(v) for v in values]


def random_plant(rng, n):
    edges = [Edge(("wire", i), i, rng.randrange(max(0, i - 6), i), rng.uniform(0.005, 0.5)) for i in range(1, n)]
    edges += [Edge(("load", k), *rng.sample(range(n), 2), 10 ** rng.uniform(2, 5)) for k in range(n // 3)]
    return edges + [Edge(("leak", i), i, 0, 10 ** rng.uniform(8, 10)) for i in range(5, n, 7)]


@needs_ngspice
@pytest.mark.parametrize("seed", range(3))
def test_ngspice_agrees_on_resistance(seed, tmp_path):
    rng = random.Random(seed)
    edges = random_plant(rng, 120)
    network = Network(edges)
    resistors = [f"R{k} {e.a} {e.b} {e.ohms!r}" for k, e in enumerate(edges)]
    for pair in range(3):
        a, b = rng.sample(range(1, 120), 2)
        (va, vb) = spice([*resistors, f"I1 {b} {a} 1"], [f"v({a})", f"v({b})"], tmp_path)
        assert network.resistance(a, b) == pytest.approx(va - vb, rel=1e-7), pair


@needs_ngspice
def test_ngspice_agrees_on_a_loaded_network(tmp_path):
    rng = random.Random(9)
    edges = random_plant(rng, 80)
    lines = [f"R{k} {e.a} {e.b} {e.ohms!r}" for k, e in enumerate(edges)]
    lines += ["V1 900 0 54", "Rs1 900 3 0.02", "V2 901 0 48", "Rs2 901 60 0.05", "I1 70 40 0.7"]
    probes = [1, 3, 17, 40, 60, 70, 79]
    theirs = spice(lines, [f"v({p})" for p in probes], tmp_path)
    solved = Network(edges).solve(
        voltages=[VoltageSource("V1", 3, 0, 54.0, 0.02), VoltageSource("V2", 60, 0, 48.0, 0.05)],
        currents=[CurrentSource("I1", 40, 70, 0.7)],
    )
    for probe, volts in zip(probes, theirs, strict=True):
        assert solved.volts(probe, 0) == pytest.approx(volts, rel=1e-7, abs=1e-9)


@needs_ngspice
def test_ngspice_agrees_on_a_constant_power_load(tmp_path):
    # A behavioural current source of P / v is the simulator's own form of such a load.
    lines = ["V1 1 0 54", "R1 1 2 0.3", "R2 2 3 0.2", "B1 2 0 I=200/V(2)", "B2 3 0 I=150/V(3)"]
    lines += [".nodeset v(2)=54 v(3)=54"]
    theirs = spice(lines, ["v(2)", "v(3)"], tmp_path)
    network = Network([Edge("R2", 2, 3, 0.2)], nodes=[0])
    solved = network.solve(
        voltages=[VoltageSource("V1", 2, 0, 54.0, 0.3)],
        loads=[PowerLoad("B1", 2, 0, 200.0), PowerLoad("B2", 3, 0, 150.0)],
    )
    assert not math.isnan(solved.volts(2, 0))
    assert [solved.loads["B1"].volts, solved.loads["B2"].volts] == pytest.approx(theirs, rel=1e-7)
