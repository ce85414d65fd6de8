"""Lifting bonds: plans held against brute force and against the network itself."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.lifts import (
    LiftSearch,
    StrayPath,
    across_gap,
    certify,
    cutting_plan,
    deciding_bonds,
    fewest_removals,
    resistance,
)
from bench.diagnose.earth.model import Bond, BondNetwork, Point
from bench.network.joined import Joined
from tests.drawn import draws


def tree(parents, ohms=None):
    """A tree: point k + 1 hangs from point parents[k]."""
    points = [Point(f"p{k}") for k in range(len(parents) + 1)]
    values = ohms or [1e-3 * (1 + k % 5) for k in range(len(parents))]
    return BondNetwork(points, [Bond(f"E{k}", f"p{up}", f"p{k + 1}", values[k]) for k, up in enumerate(parents)], "p0")


trees = st.integers(1, 7).flatmap(lambda n: st.tuples(*(st.integers(0, k) for k in range(n)))).map(tree)


def test_the_gap_reads_the_loop_less_the_bond():
    network = tree([0, 0, 1, 2])
    stray = StrayPath("p3", "p4", 9e-3)
    total = sum(bond.ohms for bond in network.bonds) + 9e-3
    for bond in network.bonds:
        assert across_gap(network, bond.name, [stray]) == pytest.approx(total - bond.ohms, rel=1e-9)
        assert across_gap(network, bond.name) == math.inf
    assert resistance(network, "p3", "p4", [stray]) == pytest.approx(9e-3 * (total - 9e-3) / total, rel=1e-9)


@given(trees)
@draws(40)
def test_the_fewest_lifts_that_certify_a_tree_are_those_of_brute_force(network):
    proof = certify(network)
    names = [bond.name for bond in network.bonds]
    bonded = {frozenset((bond.a, bond.b)) for bond in network.bonds}
    ends = list(itertools.combinations([point.name for point in network.points], 2))

    def proves(lift):
        labels = network.parts([network.bond_index[name] for name in lift])
        place = network.index
        return all(labels[place[a]] != labels[place[b]] for a, b in ends if frozenset((a, b)) not in bonded)

    least = next(size for size in range(len(names) + 1) if any(proves(c) for c in itertools.combinations(names, size)))
    assert proves(proof.lift) and len(proof.lift) == least
    assert sorted([*proof.lift, *proof.stay]) == sorted(names)


@given(trees)
@draws(40)
def test_the_ganged_readings_compare_every_two_parts(network):
    proof = certify(network)
    assert len(proof.readings) == math.ceil(math.log2(len(proof.parts)))
    assert sorted(name for part in proof.parts for name in part) == sorted(p.name for p in network.points)
    for one, two in itertools.combinations(range(len(proof.parts)), 2):
        assert any((one in group) != (two in group) for group in proof.readings)


def test_areas_that_may_be_meshed_stay_whole():
    points = [
        Point("main"),
        Point("b1"),
        Point("b2"),
        Point("m1", mesh=True),
        Point("m2", mesh=True),
        Point("be", outside=True),
        Point("tray", outside=True),
        Point("steel", outside=True),
    ]
    bonds = [
        Bond("E1", "main", "b1", 1e-3),
        Bond("E2", "main", "b2", 1e-3),
        Bond("E3", "main", "m1", 1e-3),
        Bond("M1", "m1", "m2", 1e-3),
        Bond("M2", "m2", "m1", 1e-3),
        Bond("SPC", "main", "be", 1e-3),
        Bond("T", "be", "tray", 1e-3),
    ]
    proof = certify(BondNetwork(points, bonds, "main"))
    assert set(proof.lift) in ({"E1", "E3", "SPC"}, {"E2", "E3", "SPC"})
    assert ("be", "tray", "steel") in proof.parts and ("m1", "m2") in proof.parts
    assert fewest_removals(BondNetwork(points, bonds, "main")) == ((), ())
    looped = BondNetwork(points, [*bonds, Bond("X", "m2", "b1", 1e-3)], "main")
    with pytest.raises(DiagnoseError, match="'X' closes a loop"):
        certify(looped)
    assert len(fewest_removals(looped)[0]) == 1


@given(st.integers(0, 10_000))
@draws(30)
def test_fewest_removals_leave_a_forest_and_are_no_more_than_must_be(seed):
    rng = np.random.default_rng(seed)
    network = tree([int(rng.integers(k + 1)) for k in range(7)])
    names = [point.name for point in network.points]
    extra = [Bond(f"X{k}", *rng.choice(names, 2, replace=False).tolist(), 1e-3) for k in range(2)]
    built = BondNetwork(network.points, [*network.bonds, *extra], "p0")
    strays = [StrayPath(*rng.choice(names, 2, replace=False).tolist(), 1e-2) for _ in range(2)]
    worth = {bond.name: 5.0 for bond in network.bonds}
    bonds, paths = fewest_removals(built, strays, worth)
    assert len(bonds) + len(paths) == 9 + 2 - 8 + 1
    assert set(bonds) == {"X0", "X1"} and list(paths) == strays
    joined = Joined(8)
    for bond in built.bonds:
        if bond.name not in bonds:
            assert joined.join(built.index[bond.a], built.index[bond.b])


def test_what_is_worth_least_goes_first():
    network = BondNetwork(
        [Point(n) for n in "abc"],
        [Bond("X", "a", "b", 1e-3), Bond("Y", "b", "c", 1e-3), Bond("Z", "c", "a", 1e-3)],
        "a",
    )
    assert fewest_removals(network, (), {"X": 3, "Y": 0.5, "Z": 2})[0] == ("Y",)
    with pytest.raises(DiagnoseError, match="'Q' is no bond"):
        fewest_removals(network, (), {"Q": 1})


def test_one_lift_serves_all_loops_that_run_through_it():
    # Two rows; three second paths between the rows all pass both row bonds.
    network = tree([0, 0, 1, 1, 2, 2])
    strays = [StrayPath("p3", "p5", 4e-3), StrayPath("p4", "p6", 6e-3), StrayPath("p1", "p6", 5e-3)]
    plan = cutting_plan(network, strays)
    assert len(plan.lifts) == 1
    assert [step.act for step in plan.steps] == ["lift", "cut", "cut", "cut", "close"]
    left = list(strays)
    for step in plan.steps[:-1]:
        if step.stray:
            left.remove(step.stray)
        assert step.expected == across_gap(network, step.bond, left)
    assert plan.steps[-2].expected == math.inf
    assert all(math.isfinite(step.expected) for step in plan.steps[:-2])
    bond = network.bonds[network.bond_index[plan.lifts[0]]]
    assert plan.steps[-1].expected == pytest.approx(bond.ohms)


@given(st.integers(0, 10_000), st.integers(1, 4))
@draws(30)
def test_a_cutting_plan_lifts_no_more_than_must_be_and_ends_without_loops(seed, count):
    rng = np.random.default_rng(seed)
    network = tree([int(rng.integers(k + 1)) for k in range(8)])
    names = [point.name for point in network.points]
    strays = []
    for _ in range(count):
        a, b = rng.choice(names, 2, replace=False).tolist()
        strays.append(StrayPath(a, b, float(rng.uniform(1e-3, 1e-2))))
    plan = cutting_plan(network, strays)
    ways = [set(deciding_bonds(network, s.a, s.b)) for s in strays]
    assert all(way & set(plan.lifts) for way in ways)
    bonds = [bond.name for bond in network.bonds]
    fewer = itertools.combinations(bonds, len(plan.lifts) - 1)
    assert not any(all(way & set(chosen) for way in ways) for chosen in fewer)
    assert sorted((s.stray.a, s.stray.b, s.stray.ohms) for s in plan.steps if s.stray) == sorted(
        (s.a, s.b, s.ohms) for s in set(strays)
    )
    for step in plan.steps:
        if step.act == "close":
            before = plan.steps[plan.steps.index(step) - 1]
            assert before.expected == math.inf


def test_a_path_where_the_design_has_loops_is_cut_without_a_lift():
    network = BondNetwork(
        [Point(n, mesh=True) for n in "abc"] + [Point("d")],
        [
            Bond("X", "a", "b", 1e-3),
            Bond("Y", "b", "c", 1e-3),
            Bond("Z", "c", "a", 1e-3),
            Bond("D", "a", "d", 1e-3),
        ],
        "a",
    )
    assert deciding_bonds(network, "b", "d") == ("D",)
    plan = cutting_plan(network, [StrayPath("b", "c", 5e-3), StrayPath("c", "d", 5e-3)])
    assert plan.lifts == ("D",)
    assert plan.steps[-1].act == "cut" and plan.steps[-1].bond == ""
    assert plan.steps[-1].expected == pytest.approx(2e-3 / 3)


@pytest.mark.parametrize("seed", range(4))
def test_a_search_by_lifting_ends_at_the_truth(seed):
    rng = np.random.default_rng(seed)
    network = tree([int(rng.integers(max(0, k - 3), k + 1)) for k in range(14)])
    names = [point.name for point in network.points]
    bonded = {frozenset((bond.a, bond.b)) for bond in network.bonds}
    places = [(a, b, 1.0) for a, b in itertools.combinations(names, 2) if frozenset((a, b)) not in bonded]
    begun = LiftSearch.among(network, places)
    for truth in rng.permutation(len(places))[:12].tolist():
        search = begun
        while (bond := search.next()) is not None:
            stray = StrayPath(*places[truth][:2], 5e-3)
            search = search.take(bond, across_gap(network, bond, [stray]) == math.inf)
        assert [(c.a, c.b) for c in search.left] == [places[truth][:2]]
        assert len(search.taken) <= 14


def test_a_search_can_end_with_no_path_at_all_and_contradictions_are_told():
    network = tree([0, 0, 0])
    search = LiftSearch.among(network, [("p1", "p2", 0.5), ("p2", "p3", 0.2)], none=0.3)
    assert search.next() == "E0"  # through half of the weight
    done = search.take("E0", True).take("E1", True)
    assert done.left == () and done.next() is None
    sure = LiftSearch.among(network, [("p1", "p2", 1.0)])
    with pytest.raises(DiagnoseError, match="misread"):
        sure.take("E0", True)
    ring = BondNetwork(
        [Point(n) for n in "abc"],
        [Bond("X", "a", "b", 1e-3), Bond("Y", "b", "c", 1e-3), Bond("Z", "c", "a", 1e-3)],
        "a",
    )
    with pytest.raises(DiagnoseError, match="cannot read open"):
        LiftSearch.among(ring, [("a", "b", 1.0)]).take("X", False)


def test_a_second_path_without_ends_or_ohms_is_refused():
    for bad in (("a", "a", 1e-3), ("a", "b", 0.0), ("a", "b", math.inf)):
        with pytest.raises(DiagnoseError):
            StrayPath(*bad)
