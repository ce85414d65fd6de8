"""Earthing against the outside world: ITU-T K.27, ITU-T O.41, and textbook facts about resistor networks."""

import itertools
import math

import networkx
import numpy as np
import pytest

from bench.diagnose.earth.fit import Case, solve
from bench.diagnose.earth.lifts import StrayPath, across_gap, certify, fewest_removals, resistance
from bench.diagnose.earth.live import psophometric, psophometric_db
from bench.diagnose.earth.model import Bond, BondNetwork, Point, paper_faults
from bench.judge.weighting import PSOPHOMETRIC_DB
from tests.diagnose.earth.matrix import resistance_matrix


def network_of(edges, ohms=1.0, spc=None):
    names = sorted({end for edge in edges for end in edge})
    values = [ohms] * len(edges) if isinstance(ohms, int | float) else list(ohms)
    bonds = [Bond(f"E{k}", f"n{a}", f"n{b}", values[k]) for k, (a, b) in enumerate(edges)]
    return BondNetwork([Point(f"n{name}") for name in names], bonds, f"n{names[0]}" if spc is None else spc)


def between(network, a, b):
    return resistance_matrix(network)[network.index[f"n{a}"], network.index[f"n{b}"]]


# ITU-T K.27, 3.2.4 and 3.2.5 as quoted in public manuals: an isolated bonding network has a single point of
# connection to the common bonding network; that point is "not a mere point" but usually a copper bus-bar that
# takes several conductors. IEEE 1100 as reported in the trade press: "effectively one galvanic connection".
INSIDE = [Point("bar"), Point("f1"), Point("f2")]
OUTSIDE = [Point("cbn", outside=True), Point("steel", outside=True)]
STAR = [Bond("E1", "bar", "f1", 1e-3), Bond("E2", "bar", "f2", 1e-3), Bond("C", "cbn", "steel", 1e-3)]


@pytest.mark.parametrize(
    "crossings, kinds",
    [
        ([("bar", "cbn")], []),
        ([("bar", "cbn"), ("bar", "steel")], []),  # both land on the bus-bar
        ([], ["no crossing"]),
        ([("bar", "cbn"), ("f1", "steel")], ["crossing"]),
        ([("f1", "cbn")], ["no crossing", "crossing"]),
    ],
)
def test_k27_one_connection_and_only_at_the_spc(crossings, kinds):
    bonds = [*STAR, *(Bond(f"X{k}", a, b, 1e-3) for k, (a, b) in enumerate(crossings))]
    assert [fault.kind for fault in paper_faults(BondNetwork([*INSIDE, *OUTSIDE], bonds, "bar"))] == kinds


def test_k27_the_common_network_is_a_mesh_and_its_loops_are_no_fault():
    # ITU-T K.27, 3.2.2 as quoted in a public manual: the common bonding network "always has a mesh topology".
    outside = [Point(name, outside=True) for name in ("cbn", "steel", "duct")]
    ring = [Bond("C1", "cbn", "steel", 1e-3), Bond("C2", "steel", "duct", 1e-3), Bond("C3", "duct", "cbn", 1e-3)]
    network = BondNetwork([*INSIDE, *outside], [*STAR[:2], *ring, Bond("SPC", "bar", "cbn", 1e-3)], "bar")
    assert paper_faults(network) == []


def test_k27_a_mesh_ibn_may_be_meshed_inside_and_a_star_ibn_not():
    # ITU-T K.27, 3.2.7 (mesh-IBN) and 3.2.8 (star IBN): terms read in its public contents list.
    for mesh, kinds in ((True, []), (False, ["loop"])):
        points = [Point(name, mesh=mesh) for name in ("bar", "f1", "f2")]
        bonds = [*STAR[:2], Bond("M", "f1", "f2", 1e-3), Bond("SPC", "bar", "cbn", 1e-3)]
        network = BondNetwork([*points, OUTSIDE[0]], bonds, "bar")
        assert [fault.kind for fault in paper_faults(network)] == kinds


def test_k27_a_d_c_return_of_an_isolated_network_is_bonded_once():
    # ITU-T K.27, 3.2.10 (isolated d.c. return): term read in its public contents list; that it meets the
    # bonding network at one place is common practice, no source.
    points = [*INSIDE, Point("ret", is_return=True), OUTSIDE[0]]
    bonds = [*STAR[:2], Bond("SPC", "bar", "cbn", 1e-3), Bond("R1", "bar", "ret", 1e-3)]
    assert paper_faults(BondNetwork(points, bonds, "bar")) == []
    twice = [*bonds, Bond("R2", "f1", "ret", 1e-3)]
    assert "return" in [fault.kind for fault in paper_faults(BondNetwork(points, twice, "bar"))]


@pytest.mark.parametrize("n", [2, 3, 7, 40])
def test_complete_graph_two_over_n(n):
    # Textbook: 2/n between any two points of K_n of unit resistors.
    network = network_of(list(itertools.combinations(range(100, 100 + n), 2)))
    assert between(network, 100, 99 + n) == pytest.approx(2 / n, rel=1e-12)


@pytest.mark.parametrize("n, k", [(3, 1), (12, 5), (60, 30)])
def test_ring(n, k):
    # Textbook: k (n - k) / n round a ring of n unit resistors.
    network = network_of([(100 + i, 100 + (i + 1) % n) for i in range(n)])
    assert between(network, 100, 100 + k) == pytest.approx(k * (n - k) / n, rel=1e-12)


@pytest.mark.parametrize("differ, expected", [(1, 7 / 12), (2, 3 / 4), (3, 5 / 6)])
def test_unit_cube(differ, expected):
    # The classic cube of unit resistors: edge 7/12, face diagonal 3/4, body diagonal 5/6.
    edges = [(a, a ^ 1 << k) for a in range(8) for k in range(3) if a < a ^ 1 << k]
    assert between(network_of(edges), 0, (1 << differ) - 1) == pytest.approx(expected, rel=1e-12)


def test_neighbours_in_a_large_square_grid_near_one_half():
    # Textbook limit for the infinite grid: 1/2; a finite grid lies a little above (Rayleigh).
    side = 21
    edges = []
    for x, y in itertools.product(range(side), repeat=2):
        edges += [(100 * x + y, 100 * x + y + 1)] if y + 1 < side else []
        edges += [(100 * x + y, 100 * (x + 1) + y)] if x + 1 < side else []
    assert 0.5 < between(network_of(edges), 1010, 1011) < 0.502


@pytest.mark.parametrize("seed", range(3))
def test_foster_and_rayleigh(seed):
    # Foster 1949: the sum over bonds of R_ij / r_ij is n - 1. Rayleigh: a new conductor raises no resistance.
    rng = np.random.default_rng(seed)
    graph = networkx.gnm_random_graph(14, 25, seed=seed)
    graph.add_edges_from((k, k + 1) for k in range(13))
    edges = [(100 + a, 100 + b) for a, b in graph.edges]
    ohms = np.exp(rng.normal(size=len(edges)))
    network = network_of(edges, ohms.tolist())
    matrix = resistance_matrix(network)
    total = sum(matrix[a, b] / r for a, b, r in zip(network.tails, network.heads, network.ohms, strict=True))
    assert total == pytest.approx(13, rel=1e-11)
    more = BondNetwork(network.points, [*network.bonds, Bond("X", "n100", "n107", 0.1)], "n100")
    assert (resistance_matrix(more) <= matrix + 1e-12).all()


def test_sensitivity_is_the_square_of_the_branch_current():
    # Textbook (Tellegen): dR/dr_k = i_k^2 for 1 A. Balanced bridge: nothing flows in the arm between.
    edges = [(0, 1), (0, 2), (1, 3), (2, 3), (1, 2)]
    network = network_of(edges)
    i, j = np.array([0]), np.array([3])
    slopes = solve(network, [Case()], np.zeros((1, 5))).jacobian(i, j)[0, 0]
    assert slopes == pytest.approx([0.25, 0.25, 0.25, 0.25, 0.0], abs=1e-12)


def test_a_bond_in_a_loop_and_the_deficit_of_two_neighbours():
    # Two resistors in parallel: a bond of r in a loop of total T reads r (T - r) / T. From it, own computation:
    # R12 + R23 - R13 = 2 r1 r2 / T for neighbours, and 0 in a tree whatever the values.
    ohms = [1.1, 0.7, 2.3, 0.4]
    total = sum(ohms)
    loop = network_of([(1, 2), (2, 3), (3, 4), (4, 1)], ohms)
    assert between(loop, 1, 2) == pytest.approx(ohms[0] * (total - ohms[0]) / total, rel=1e-12)
    deficit = between(loop, 1, 2) + between(loop, 2, 3) - between(loop, 1, 3)
    assert deficit == pytest.approx(2 * ohms[0] * ohms[1] / total, rel=1e-12)
    tree = network_of([(1, 2), (2, 3), (3, 4)], ohms[:3])
    assert between(tree, 1, 2) + between(tree, 2, 3) - between(tree, 1, 3) == pytest.approx(0, abs=1e-15)
    opened = network_of([(1, 2), (2, 3), (3, 4)], ohms[:3])
    stray = StrayPath("n1", "n4", ohms[3])
    assert across_gap(opened, "E1", [stray]) == pytest.approx(total - ohms[1], rel=1e-12)
    assert resistance(opened, "n1", "n2", [stray]) == pytest.approx(between(loop, 1, 2), rel=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_lifts_that_stay_are_a_largest_matching_and_removals_the_cycle_rank(seed):
    # Against the graph library: largest matching of a tree; bonds - points + parts (the cycle rank).
    graph = networkx.random_labeled_tree(12, seed=seed)
    network = network_of([(100 + a, 100 + b) for a, b in graph.edges])
    matching = networkx.max_weight_matching(graph, maxcardinality=True)
    assert len(certify(network).stay) == len(matching)
    meshed = networkx.gnm_random_graph(12, 20, seed=seed)
    built = BondNetwork(
        [Point(f"n{k}") for k in range(12)],
        [Bond(f"E{k}", f"n{a}", f"n{b}", 1.0) for k, (a, b) in enumerate(meshed.edges)],
        "n0",
    )
    rank = meshed.number_of_edges() - meshed.number_of_nodes() + networkx.number_connected_components(meshed)
    assert len(fewest_removals(built)[0]) == rank == len([f for f in paper_faults(built) if f.kind == "loop"])


# ITU-T O.41 (1994), psophometric weighting, as quoted in a public draft of
# ANSI/TIA-470.120-C, table A.1: hertz, relative weight in dB.
O41 = [
    (16.66, -85.0),
    (50, -63.0),
    (100, -41.0),
    (200, -21.0),
    (300, -10.6),
    (400, -6.3),
    (500, -3.6),
    (600, -2.0),
    (700, -0.9),
    (800, 0.0),
    (900, 0.6),
    (1000, 1.0),
    (1200, 0.0),
    (1400, -0.9),
    (1600, -1.7),
    (1800, -2.4),
    (2000, -3.0),
    (2500, -4.2),
    (3000, -5.6),
    (3500, -8.5),
    (4000, -15.0),
    (4500, -25.0),
    (5000, -36.0),
    (6000, -43.0),
]


@pytest.mark.parametrize("hertz, weight", O41)
def test_o41_weights(hertz, weight):
    assert psophometric_db(hertz) == pytest.approx(weight, abs=1e-9)
    assert len(PSOPHOMETRIC_DB) == len(O41)


def test_o41_equivalent_noise_bandwidth():
    # 1823 Hz +- 87 Hz, as a public encyclopaedia quotes ITU-T O.41.
    hertz = np.arange(1.0, 8000.0)
    power = sum(10 ** (psophometric_db(f) / 10) for f in hertz)
    assert power == pytest.approx(1823, abs=87)


def test_o41_the_weighted_value_is_the_root_of_the_sum_of_squares():
    # V_p = sqrt(sum (w_i V_i)^2), as public texts on psophometric voltage give it.
    tones = [(50.0, 1.0), (300.0, 2e-3), (800.0, 1e-3)]
    by_hand = math.sqrt((10 ** (-63 / 20)) ** 2 + (2e-3 * 10 ** (-10.6 / 20)) ** 2 + 1e-3**2)
    assert psophometric(tones) == pytest.approx(by_hand, rel=1e-12)
