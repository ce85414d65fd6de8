"""The earthing network on paper, and its resistances against a graph library and a circuit simulator."""

import math
import re
import shutil
import subprocess

import networkx
import numpy as np
import pytest

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.fit import Case, Prior, Problem, Reading, solve
from bench.diagnose.earth.lifts import StrayPath, resistance
from bench.diagnose.earth.linear import _Block
from bench.diagnose.earth.model import Bond, BondNetwork, Point, paper_faults
from tests.diagnose.earth.matrix import resistance_matrix


def random_network(seed, points=12, extra=6):
    """A connected network: a random tree with more bonds on it, some of them side by side."""
    rng = np.random.default_rng(seed)
    names = [f"p{k}" for k in range(points)]
    ends = [(int(rng.integers(k)), k) for k in range(1, points)]
    for _ in range(extra):
        a, b = rng.choice(points, 2, replace=False).tolist()
        ends.append((a, b))
    if extra:
        ends.append(ends[0])
    bonds = [
        Bond(f"E{k}", names[a], names[b], float(np.exp(rng.uniform(math.log(2e-4), math.log(0.5)))))
        for k, (a, b) in enumerate(ends)
    ]
    return BondNetwork([Point(name) for name in names], bonds, "p0")


def as_graph(network):
    graph = networkx.MultiGraph()
    graph.add_nodes_from(point.name for point in network.points)
    graph.add_edges_from((b.a, b.b, {"weight": b.ohms}) for b in network.bonds)
    return graph


@pytest.mark.parametrize("seed, points, extra", [(1, 2, 0), (2, 9, 0), (3, 12, 6), (4, 30, 20), (5, 60, 8)])
def test_resistances_equal_those_of_the_graph_library(seed, points, extra):
    network = random_network(seed, points, extra)
    ours = resistance_matrix(network)
    theirs = networkx.resistance_distance(as_graph(network), weight="weight", invert_weight=True)
    for i, a in enumerate(network.points):
        for j, b in enumerate(network.points):
            assert ours[i, j] == pytest.approx(theirs[a.name][b.name], rel=1e-9, abs=1e-15)


@pytest.mark.slow
def test_resistances_equal_those_of_the_graph_library_on_a_large_network():
    network = random_network(6, 320, 100)
    ours = resistance_matrix(network)
    theirs = networkx.resistance_distance(as_graph(network), "p0", weight="weight", invert_weight=True)
    for name in ("p1", "p77", "p319"):
        assert ours[0, network.index[name]] == pytest.approx(theirs[name], rel=1e-9)


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
@pytest.mark.parametrize("seed", [11, 12])
def test_resistances_equal_those_of_a_circuit_simulator(seed, tmp_path):
    network = random_network(seed, 15, 7)
    ours = resistance_matrix(network)
    resistors = [f"R{k} n{network.index[b.a]} n{network.index[b.b]} {b.ohms!r}" for k, b in enumerate(network.bonds)]
    a, b = 3, 14
    deck = tmp_path / "net.cir"
    lines = ["bond network", *resistors, f"I1 n{b} n{a} 1", f"Vref n{b} 0 0", ".options reltol=1e-9 numdgt=12"]
    deck.write_text("\n".join([*lines, ".op", f".print op v(n{a})", ".end", ""]))
    out = subprocess.run(["ngspice", "-b", str(deck)], capture_output=True, text=True, check=True).stdout
    shown = re.search(rf"n{a}\s+([-+.\deE]+)", out)
    assert shown is not None, out
    assert float(shown[1]) == pytest.approx(ours[a, b], rel=1e-5)  # its listing shows six digits


def test_points_that_nothing_joins_are_infinitely_far():
    network = BondNetwork([Point("a"), Point("b"), Point("c")], [Bond("E1", "a", "b", 0.001)], "a")
    matrix = resistance_matrix(network)
    assert matrix[0, 2] == math.inf and matrix[2, 2] == 0.0
    assert resistance_matrix(network, without=["E1"])[0, 1] == math.inf


def by_the_rank_one_formula(network, u, v, ohms):
    """Ohms of each pair, u before v, with a resistor put between two points: as the screen of a search works it out."""
    i, j = np.triu_indices(len(network.points), 1)
    before = resistance_matrix(network)[i, j]
    names = [point.name for point in network.points]
    readings = tuple(Reading(names[a], names[b], of, 1.0) for a, b, of in zip(i, j, before, strict=True))
    problem = Problem(network, readings, Prior())
    squares, across, _ = _Block(problem, Case(), problem.design, 0).effect(np.array([u]), np.array([v]))
    return before - squares[:, 0] / (ohms + across[0])


@pytest.mark.parametrize("seed", range(5))
def test_an_extra_bond_by_the_rank_one_formula(seed):
    network = random_network(seed)
    u, v, ohms = 2, 9, 0.013
    more = BondNetwork(network.points, [*network.bonds, Bond("stray", "p2", "p9", ohms)], "p0")
    i, j = np.triu_indices(12, 1)
    assert by_the_rank_one_formula(network, u, v, ohms) == pytest.approx(resistance_matrix(more)[i, j], rel=1e-11)


@pytest.mark.parametrize("after", [0.3, 2.0, math.inf])
@pytest.mark.parametrize("seed", range(3))
def test_a_bond_made_better_worse_or_open_by_the_same_formula(seed, after):
    network = random_network(seed, 8, 6)
    bond = next(k for k in range(len(network.bonds)) if k not in network.bridges and network.bonds[k].ohms < 0.2)
    end = network.bonds[bond]
    values = network.ohms.copy()
    values[bond] = after
    # the resistor which, put beside the bond as it was, makes what it is now
    extra = -end.ohms if after == math.inf else end.ohms * after / (end.ohms - after)
    i, j = np.triu_indices(8, 1)
    changed = by_the_rank_one_formula(network, network.index[end.a], network.index[end.b], extra)
    assert changed == pytest.approx(resistance_matrix(network, values)[i, j], rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_cases_solved_side_by_side_equal_networks_built_one_by_one(seed):
    network = random_network(seed, 10, 3)
    i, j = np.triu_indices(10, 1)
    cases = [Case(), Case(((0, 7),)), Case(((0, 7), (3, 5))), Case(opened=(1,))]
    x = np.tile(np.append(np.log(network.ohms), np.log([0.02, 0.004])), (len(cases), 1))
    circuit = solve(network, cases, x, [4])
    for place, case in enumerate(cases):
        strays = [StrayPath(f"p{u}", f"p{v}", ohms) for (u, v), ohms in zip(case.extras, (0.02, 0.004), strict=False)]
        lifted = ["E4", *(f"E{k}" for k in case.opened)]
        pairs = zip(i, j, strict=True)
        expected = np.array([resistance(network, f"p{a}", f"p{b}", strays, lifted) for a, b in pairs])
        joined = circuit.joined(i, j)[place]
        assert (joined == np.isfinite(expected)).all()
        assert circuit.resistances(i, j)[place][joined] == pytest.approx(expected[joined], rel=1e-9)


def test_the_slopes_equal_finite_differences():
    network = random_network(3, 9, 4)
    case = Case(((1, 8),))
    x = np.append(np.log(network.ohms), math.log(0.03))[None, :]
    i, j = np.triu_indices(9, 1)
    slopes = solve(network, [case], x).jacobian(i, j)[0]
    for branch in range(x.shape[1]):
        step = np.zeros_like(x)
        step[0, branch] = 1e-5
        above = solve(network, [case], x + step).resistances(i, j)[0]
        below = solve(network, [case], x - step).resistances(i, j)[0]
        assert slopes[:, branch] == pytest.approx((above - below) / 2e-5, rel=1e-4, abs=1e-9)


POINTS = [
    Point("main", "main earth bar"),
    Point("b1", "bay 1 frame"),
    Point("b2", "bay 2 frame"),
    Point("ret", "battery return bar", is_return=True),
    Point("mat1", "mat corner 1", mesh=True),
    Point("mat2", "mat corner 2", mesh=True),
    Point("be", "building earth", outside=True),
    Point("tray", "cable tray", outside=True),
]
STAR = [
    Bond("E1", "main", "b1", 1e-3),
    Bond("E2", "main", "b2", 1e-3),
    Bond("E3", "main", "ret", 1e-3),
    Bond("E4", "main", "mat1", 1e-3),
    Bond("E5", "mat1", "mat2", 1e-3),
    Bond("SPC", "main", "be", 1e-3),
    Bond("T1", "be", "tray", 1e-3),
]


def faults(*more, without=()):
    bonds = [bond for bond in STAR if bond.name not in without]
    return paper_faults(BondNetwork(POINTS, [*bonds, *more], "main"))


def test_a_sound_design_has_no_fault_on_paper():
    assert faults() == []


def test_a_loop_among_star_points_is_named_round():
    (fault,) = faults(Bond("X", "b1", "b2", 1e-3))
    assert fault.kind == "loop"
    assert set(fault.points) == {"b1", "b2", "main"} and set(fault.bonds) == {"X", "E1", "E2"}
    for k, bond in enumerate(fault.bonds):
        ends = {fault.points[k], fault.points[(k + 1) % len(fault.points)]}
        known = next(one for one in [*STAR, Bond("X", "b1", "b2", 1)] if one.name == bond)
        assert ends == {known.a, known.b}
    assert "bay 1 frame" in fault.text


def test_a_second_bond_beside_the_first_is_a_loop():
    (fault,) = faults(Bond("X", "main", "b1", 1e-3))
    assert fault.kind == "loop" and set(fault.bonds) == {"X", "E1"}


def test_loops_outside_and_within_a_meshed_area_are_as_designed():
    assert faults(Bond("X", "mat1", "mat2", 1e-3), Bond("Y", "be", "tray", 1e-3)) == []
    assert [fault.kind for fault in faults(Bond("X", "mat2", "b1", 1e-3))] == ["loop"]


def test_two_conductors_from_the_bar_to_the_building_are_one_connection():
    assert faults(Bond("X", "main", "tray", 1e-3)) == []


def test_a_crossing_away_from_the_bar_is_a_fault_and_not_also_a_loop():
    (fault,) = faults(Bond("X", "tray", "b2", 1e-3))
    assert fault.kind == "crossing" and fault.points == ("b2", "tray") and fault.bonds == ("X",)


def test_an_inside_without_any_connection_is_told():
    assert [fault.kind for fault in faults(without=["SPC"])] == ["no crossing"]


def test_an_island_is_told_and_stray_metal_outside_is_not():
    (fault,) = faults(without=["E2"])
    assert fault.kind == "island" and fault.points == ("b2",) and "bay 2 frame" in fault.text
    assert faults(without=["T1"]) == []


def test_a_return_bonded_twice():
    kinds = [fault.kind for fault in faults(Bond("X", "ret", "b1", 1e-3))]
    assert kinds == ["loop", "return"]


@pytest.mark.parametrize("seed", range(6))
def test_loops_number_bonds_less_points_plus_parts(seed):
    network = random_network(seed, 14, 5)
    assert len(paper_faults(network)) == len(network.bonds) - len(network.points) + 1


def test_every_fault_of_the_input_is_told_at_once():
    with pytest.raises(DiagnoseError) as told:
        BondNetwork(
            [Point("a"), Point("a"), Point("o", outside=True)],
            [Bond("E", "a", "q", 0.0), Bond("E", "a", "a", 1.0, spread=0)],
            "nowhere",
        )
    text = str(told.value)
    for part in ("'a' is given twice", "'E' is given twice", "'q'", "0.0 ohm", "both ends", "spread 0", "'nowhere'"):
        assert part in text
    with pytest.raises(DiagnoseError, match="inside point"):
        BondNetwork([Point("o", outside=True)], [], "o")
    with pytest.raises(DiagnoseError, match="'b' is no point"):
        BondNetwork([Point("a")], [], "a").place("b")


def test_the_shortest_way_and_the_bridges():
    network = BondNetwork(POINTS, [*STAR, Bond("X", "b1", "b2", 1e-3)], "main")
    way = network.path(network.index["ret"], network.index["tray"])
    assert [network.bonds[k].name for k in way] == ["E3", "SPC", "T1"]
    assert network.path(0, 1, without=[0, 7]) is None
    assert {network.bonds[k].name for k in network.bridges} == {"E3", "E4", "E5", "SPC", "T1"}
