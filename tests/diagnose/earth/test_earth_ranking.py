"""Which explanation the readings support: the evidence against integration, and seeded plants."""

import math

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.choose import routine_readings
from bench.diagnose.earth.fit import SHARED, Case, Meter, Prior, Problem, Reading, fit, solve
from bench.diagnose.earth.linear import Odds, all_pairs, screen
from bench.diagnose.earth.model import Bond, BondNetwork, Point
from bench.diagnose.earth.ranking import explain
from bench.diagnose.earth.visible import planned
from tests.diagnose.earth.earth_bench import bench

METER = Meter()


def star(arms=3, ohms=(1e-3, 1.4e-3, 2e-3, 0.7e-3, 3e-3), spread=0.15):
    points = [Point("main"), *(Point(f"b{k}") for k in range(arms))]
    return BondNetwork(points, [Bond(f"E{k}", "main", f"b{k}", ohms[k], spread) for k in range(arms)], "main")


def integrated(problem, case, grid=61):
    """Log evidence by brute force over a grid of +-6 prior standard deviations in every logarithm."""
    mean, spread = problem.shape(case)
    node = np.linspace(-6, 6, grid)
    axes = np.meshgrid(*[m + s * node for m, s in zip(mean, spread, strict=True)], indexing="ij")
    x = np.stack([axis.ravel() for axis in axes], axis=1)
    (group,) = problem.groups
    total = -0.5 * (((x - mean) / spread) ** 2).sum(axis=1)
    for first in range(0, len(x), 20000):
        part = x[first : first + 20000]
        ohms = solve(problem.network, [case] * len(part), part).resistances(group.i, group.j)
        total[first : first + 20000] -= 0.5 * (((ohms - group.ohms) / group.u) ** 2).sum(axis=1)
    top = total.max()
    step = node[1] - node[0]
    weight = len(mean) * math.log(step / math.sqrt(2 * math.pi))
    return top + math.log(np.exp(total - top).sum()) + weight


@pytest.mark.parametrize("off", [0.7, *(pytest.param(off, marks=pytest.mark.slow) for off in (0.0, 1.5))])
@pytest.mark.slow
def test_the_evidence_equals_brute_force_integration(off):
    # A meter coarse enough that the grid resolves the posterior, and fine enough that it matters.
    network = star(2)
    meter = Meter(0.08, 50e-6)
    problem = Problem(
        network,
        tuple(
            Reading(r.a, r.b, r.ohms * (1 - 0.3 * off * (r.a != "main")), r.u)
            for r in planned(network, [("main", "b0"), ("main", "b1"), ("b0", "b1")], meter)
        ),
        Prior(),
    )
    cases = [Case(), Case(((1, 2),)), Case(poor=(0,))]
    fits = fit(problem, cases)
    by_hand = [integrated(problem, case) for case in cases]
    for found, exact in zip(fits[1:], by_hand[1:], strict=True):
        ours = found.log_evidence - fits[0].log_evidence
        assert ours == pytest.approx(exact - by_hand[0], abs=0.35), found.case


def test_readings_that_share_an_error_weigh_as_a_normal_distribution_of_them_all():
    """Against scipy's multivariate normal: where the bonds hardly scatter, the model is linear and Laplace exact."""
    network = star(3, spread=1e-4)
    rng = np.random.default_rng(7)
    exact, u = np.array(network.ohms), 40e-6
    shown = exact + 30e-6 + 10e-6 * rng.normal(size=3)
    readings = [Reading("main", f"b{k}", shown[k], u, meter="low ohm" if k < 2 else "other") for k in range(3)]
    found = fit(Problem(network, tuple(readings), Prior()), [Case()])[0]
    together = np.array([[1, 1, 0], [1, 1, 0], [0, 0, 1]])
    covariance = u**2 * (SHARED**2 * together + np.eye(3)) + np.diag((exact * 1e-4) ** 2)
    expected = multivariate_normal(exact, covariance).logpdf(shown)
    scale = 1.5 * math.log(2 * math.pi) + 3 * math.log(u)
    assert found.log_evidence == pytest.approx(expected + scale, abs=1e-3)


def test_the_screen_counts_with_the_error_that_readings_share():
    meter = Meter(0.005, 600e-6)
    true = bench.world(np.random.default_rng(4), bays=8)
    network = true.network
    weak = bench.World(network, true.ohms, ((5, 9, 60e-3),))
    exact = weak.read(np.random.default_rng(5), routine_readings(network), METER)
    readings = [Reading(r.a, r.b, r.ohms + 1e-3, float(meter.u(r.ohms)), meter="low ohm") for r in exact]
    problem = Problem(network, tuple(readings), Prior())
    none = fit(problem, [Case()])[0]
    found = screen(problem, all_pairs(network), Case(), none.x)
    paths = [place for place, case in enumerate(found.cases) if case.extras]
    fits = fit(problem, [found.cases[place] for place in paths])
    for place, full in zip(paths, fits, strict=True):
        assert full.log_evidence - none.log_evidence == pytest.approx(found.gain[place], abs=0.6)


@pytest.mark.quick_cases(2)
@pytest.mark.parametrize("seed", [0, 1, 5, 7])
def test_a_zero_that_is_off_by_all_of_its_allowance_points_nowhere(seed):
    """All readings alike low or high, as by a milliohm meter with a display of 0.1 milliohm."""
    meter = Meter(0.005, 600e-6)
    true = bench.world(np.random.default_rng(900 + seed), bays=6, extras=0)
    off = 3**0.5 * 600e-6 * (-1) ** seed
    pairs = routine_readings(true.network)
    exact = [true.resistance(a, b) for a, b in pairs]
    shown = [max(round(ohms + off, 4), 0.0) for ohms in exact]
    taken = [
        Reading(a, b, ohms, float(meter.u(ohms)), meter="low ohm") for (a, b), ohms in zip(pairs, shown, strict=True)
    ]
    assert explain(true.network, taken).alarm < 0.5


def test_the_screen_agrees_with_the_full_fit_where_the_path_is_weak():
    true = bench.world(np.random.default_rng(4), bays=12)
    network = true.network
    weak = bench.World(network, true.ohms, ((5, 12, 40e-3),))
    readings = weak.read(np.random.default_rng(5), routine_readings(network), METER)
    problem = Problem(network, tuple(readings), Prior())
    none = fit(problem, [Case()])[0]
    found = screen(problem, all_pairs(network), Case(), none.x)
    near = np.flatnonzero(np.abs(found.gain) < 6)[::25]
    fits = fit(problem, [found.cases[k] for k in near])
    for place, full in zip(near, fits, strict=True):
        if full.case.extras:
            assert full.log_evidence - none.log_evidence == pytest.approx(found.gain[place], abs=1.0)


def test_the_fitted_values_are_the_least_cost_ones():
    true = bench.world(np.random.default_rng(9), bays=8)
    ((u, v, _),) = true.extras
    readings = true.read(np.random.default_rng(1), routine_readings(true.network), METER)
    problem = Problem(true.network, tuple(readings), Prior())
    (found,) = fit(problem, [Case(((u, v),))])
    (again,) = fit(problem, [Case(((u, v),))], [found.x + 0.05])
    assert again.log_evidence == pytest.approx(found.log_evidence, abs=1e-3)
    assert again.x == pytest.approx(found.x, abs=1e-3)


@pytest.mark.slow
def test_seeded_plants_with_and_without_a_second_path():
    rows = [bench.trial(seed, chosen=3, bays=5 + seed % 16) for seed in range(900, 924)]
    clean = [bench.trial(seed, extras=0, bays=5 + seed % 16) for seed in range(900, 924)]
    resolvable = [row for row in rows if row.resolvable[0]]
    detected = [row for row in rows if row.detected]
    assert len(resolvable) >= 15
    assert all(row.detected for row in resolvable)
    assert sum(row.detected for row in clean) <= 1
    assert sum(row.places[0][0] == 0 for row in detected) >= 0.8 * len(detected)
    assert sum(row.places[3][0] == 0 for row in detected) >= 0.9 * len(detected)
    assert sum(row.readings for row in rows) <= 2.8 * sum(row.points for row in rows)


@pytest.mark.parametrize("family", ["tree", *(pytest.param(one, marks=pytest.mark.slow) for one in ("chain", "mesh"))])
@pytest.mark.slow
def test_other_shapes_of_plant(family):
    rows = [bench.trial(seed, chosen=2, bays=9, family=family) for seed in range(8)]
    assert sum(row.resolvable[0] for row in rows) >= 4
    assert all(row.detected for row in rows if row.resolvable[0])
    assert sum(row.places[-1][0] == 0 for row in rows if row.detected) >= 0.7 * sum(row.detected for row in rows)
    clean = [bench.trial(seed, extras=0, bays=9, family=family) for seed in range(8)]
    assert sum(row.detected for row in clean) <= 1


@pytest.mark.slow
def test_two_paths_at_once_are_told_apart():
    rows = [bench.trial(seed, extras=2, chosen=4, bays=12) for seed in range(20, 28)]
    both = [row for row in rows if all(row.resolvable)]
    assert len(both) >= 3
    assert all(row.detected for row in both)
    assert sum(max(row.places[-1]) < 2 for row in both) >= 0.7 * len(both)


@pytest.mark.parametrize("paths", [1, pytest.param(2, marks=pytest.mark.slow)])
def test_the_search_finds_nothing_much_less_likely_than_the_truth(paths):
    # Within a nat: what is fitted in full is chosen by the linear screen, and two weak faults that are
    # nothing each by itself are not looked for.
    for seed in range(900, 912):
        rng = np.random.default_rng(seed)
        true = bench.world(rng, 5 + seed % 12, paths)
        network = true.network
        readings = true.read(rng, routine_readings(network), METER)
        posterior = explain(network, readings)
        extras = sorted(true.extras)
        start = np.concatenate([np.log(network.ohms), np.log([ohms for _, _, ohms in extras])])
        problem = Problem(network, tuple(readings), Prior())
        (truth,) = fit(problem, [Case(tuple((u, v) for u, v, _ in extras))], [start])
        odds = Odds.of(network, problem.prior)
        found = max(e.fit.log_evidence + odds.log_chance(e.case) for e in posterior.ranked if e.fit)
        assert found >= truth.log_evidence + odds.log_chance(truth.case) - 1.0


@pytest.mark.slow
def test_two_paths_are_not_taken_for_the_two_with_their_ends_exchanged():
    # Either path alone, exchanged or not, fits worse than both exchanged: no step of one path leads out of it.
    for seed in (200_050, 200_056):  # plants of 62 and 68 points
        row = bench.trial(seed, extras=2, chosen=1)
        assert max(row.places[-1]) < 2


@pytest.mark.slow
def test_the_interval_holds_the_true_ohms_about_as_often_as_it_says():
    held = tried = 0
    for seed in range(40):
        rng = np.random.default_rng(3000 + seed)
        true = bench.world(rng, bays=8)
        ((u, v, ohms),) = true.extras
        posterior = explain(true.network, true.read(rng, routine_readings(true.network), METER))
        first = posterior.suspects[0]
        if first.fault == Case(((u, v),)) and first.ohms is not None:
            tried += 1
            held += first.ohms[1] <= ohms <= first.ohms[2]
    assert tried >= 25
    assert held >= 0.85 * tried


@pytest.mark.parametrize("times, case", [(5.0, Case(poor=(4,))), (math.inf, Case(opened=(4,)))])
def test_a_poor_and_an_open_bond_are_found(times, case):
    rng = np.random.default_rng(2)
    drawn = bench.world(rng, bays=9, extras=0)
    ohms = drawn.ohms.copy()
    ohms[4] *= times
    readings = bench.World(drawn.network, ohms).read(rng, routine_readings(drawn.network), METER)
    posterior = explain(drawn.network, readings)
    assert posterior.alarm > 0.99
    assert posterior.suspects[0].fault == case and posterior.suspects[0].chance > 0.95
    assert posterior.second_crossing < 0.05 and posterior.inside_loop < 0.2


def test_an_open_bond_and_a_second_path_together():
    rng = np.random.default_rng(7)
    drawn = bench.world(rng, bays=10, extras=0)
    network = drawn.network
    ohms = drawn.ohms.copy()
    last = len(ohms) - 1  # of the last bay or its shelf: nothing hangs below it
    ohms[last] = math.inf
    u, v = network.index["bay 2"], network.index["tray"]
    true = bench.World(network, ohms, ((u, v, 2e-3),))
    posterior = explain(network, true.read(rng, routine_readings(network), METER))
    assert {suspect.fault for suspect in posterior.suspects[:2]} == {
        Case(((min(u, v), max(u, v)),)),
        Case(opened=(last,)),
    }
    assert posterior.second_crossing > 0.95


@pytest.mark.slow
def test_a_lifted_bond_that_does_not_read_open_tells_of_a_path_too_poor_to_see():
    rng = np.random.default_rng(8)
    drawn = bench.world(rng, bays=9, extras=0)
    network = drawn.network
    u, v = network.index["bay 3"], network.index["tray"]
    true = bench.World(network, drawn.ohms, ((min(u, v), max(u, v), 0.9),))
    readings = true.read(rng, routine_readings(network), METER)
    assert explain(network, readings).alarm < 0.5
    way = network.path(u, v)
    for place in way:
        bond = network.bonds[place]
        readings += true.read(rng, [(bond.a, bond.b)], METER, [bond.name])
    posterior = explain(network, readings)
    assert posterior.alarm > 0.99 and posterior.second_crossing > 0.5
    assert posterior.suspects[0].ohms[1] < 0.9 < posterior.suspects[0].ohms[2]
    # Open gaps clear the plant of any path across them, however poor.
    clean = true.network
    sound = bench.World(clean, drawn.ohms).read(rng, routine_readings(clean), METER)
    before = explain(clean, sound)
    for place in way:
        bond = clean.bonds[place]
        sound.append(Reading(bond.a, bond.b, math.inf, 0.0, (bond.name,)))
    after = explain(clean, sound)
    assert after.alarm < before.alarm
    assert all(v not in pair or u not in pair for s in after.credible(0.9) for pair in s.fault.extras)


def test_a_path_that_the_design_does_not_mind_raises_no_alarm():
    network = BondNetwork(
        [
            Point("main"),
            *(Point(f"b{k}") for k in range(4)),
            Point("be", outside=True),
            Point("t1", outside=True),
            Point("t2", outside=True),
        ],
        [
            *(Bond(f"E{k}", "main", f"b{k}", 1e-3 * (k + 1)) for k in range(4)),
            Bond("SPC", "main", "be", 0.5e-3),
            Bond("T1", "be", "t1", 2e-3),
            Bond("T2", "be", "t2", 3e-3),
        ],
        "main",
    )
    every = [(a.name, b.name) for n, a in enumerate(network.points) for b in network.points[:n]]
    places = {point.name: n for n, point in enumerate(network.points)}
    for a, b in (("t1", "t2"), ("main", "t1")):
        true = bench.World(network, network.ohms, ((places[a], places[b], 1e-3),))
        posterior = explain(network, true.read(np.random.default_rng(3), every, METER))
        assert posterior.best.case == Case(((places[a], places[b]),))
        assert posterior.alarm < 0.1
    bad = bench.World(network, network.ohms, ((places["b0"], places["t1"], 1e-3),))
    posterior = explain(network, bad.read(np.random.default_rng(3), every, METER))
    assert posterior.alarm > 0.99 and posterior.second_crossing > 0.99


def test_a_second_conductor_beside_a_bond_is_seen_when_it_is_far_better_than_designed():
    network = star(5)
    every = [(a.name, b.name) for n, a in enumerate(network.points) for b in network.points[:n]]
    true = bench.World(network, network.ohms, ((0, 3, 0.3e-3),))
    posterior = explain(network, true.read(np.random.default_rng(1), every, METER))
    assert posterior.suspects[0].fault == Case(((0, 3),))


def test_chances_add_to_one_and_are_the_same_every_time():
    true = bench.world(np.random.default_rng(31), bays=7)
    readings = true.read(np.random.default_rng(1), routine_readings(true.network), METER)
    one, two = explain(true.network, readings), explain(true.network, readings)
    assert sum(e.chance for e in one.ranked) == pytest.approx(1.0)
    assert [(e.case, e.chance) for e in one.ranked] == [(e.case, e.chance) for e in two.ranked]
    assert 0.2 < one.misfit < 3.0


def test_input_that_makes_no_sense_is_refused():
    network = star()
    with pytest.raises(DiagnoseError, match="no readings"):
        explain(network, [])
    with pytest.raises(DiagnoseError, match="'b9' is no point"):
        explain(network, [Reading("main", "b9", 1e-3, 1e-5)])
    with pytest.raises(DiagnoseError, match="'X' is no bond"):
        explain(network, [Reading("main", "b0", 1e-3, 1e-5, ("X",))])
    for ohms, u in ((math.nan, 1e-5), (-math.inf, 1e-5), (1e-3, 0.0), (1e-3, math.nan)):
        with pytest.raises(DiagnoseError):
            Reading("main", "b0", ohms, u)
    with pytest.raises(DiagnoseError):
        Reading("main", "main", 1e-3, 1e-5)
    for bad in (
        {"extra": 0.0},
        {"extra": 0.9, "poor": 0.2},
        {"doubled": 1.0},
        {"extra_factor": 1.0},
        {"poor_times": 1},
    ):
        with pytest.raises(DiagnoseError):
            Prior(**bad)
    for bad in ({"relative": 0.0, "floor_ohms": 0.0}, {"relative": 1.0}, {"open_above": 0.0}):
        with pytest.raises(DiagnoseError):
            Meter(**bad)
