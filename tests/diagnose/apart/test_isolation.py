"""Shorts and insulation in groups, against networks of our own."""

import math
import random
from itertools import combinations, pairwise, product

import networkx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.diagnose.apart.isolation import find_shorts, hand_plan, prove_insulation
from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.halving import counting_width
from bench.diagnose.script import carry_out
from tests.diagnose.apart.bounds import shorts_bound
from tests.drawn import draws


def joined(graph):
    """Hands for a network of hard joins: two bars, and whether a path leads from one to the other."""

    def look(request):
        found = set()
        for net in request.red:
            found |= networkx.node_connected_component(graph, net)
        return bool(found & set(request.black))

    return look


def network(nets, pairs):
    graph = networkx.Graph()
    graph.add_nodes_from(nets)
    graph.add_edges_from(pairs)
    return graph


@given(st.integers(1, 90), st.integers(0, 12), st.randoms(use_true_random=False))
@draws(120)
def test_all_shorts_are_found_within_the_bound(count, shorts, rng):
    nets = [f"n{k}" for k in range(count)]
    pairs = [rng.sample(nets, 2) for _ in range(shorts)] if count > 1 else []
    graph = network(nets, pairs)
    result = carry_out(find_shorts(nets), joined(graph))
    expected = {frozenset(c) for c in networkx.connected_components(graph) if len(c) > 1}
    assert {frozenset(g) for g in result.groups} == expected
    surplus = count - networkx.number_connected_components(graph)
    assert result.readings <= shorts_bound(count, surplus)
    if not surplus:
        assert result.readings == counting_width(count)


def test_a_clean_thousand_takes_ten_readings():
    nets = [f"n{k}" for k in range(1024)]
    assert carry_out(find_shorts(nets), lambda r: False).readings == 10


def conductance(leaks):
    """Hands for a network of leaks: the resistance between two bars, all other nets floating."""
    nets = sorted({n for pair in leaks for n in pair})

    def look(request):
        total = 0.0
        for (a, b), ohms in leaks.items():
            if (a in request.red and b in request.black) or (b in request.red and a in request.black):
                total += 1 / ohms
        return 1 / total if total else math.inf

    assert nets
    return look


@given(st.integers(2, 40), st.integers(0, 6), st.randoms(use_true_random=False))
@draws(80)
@pytest.mark.slow
def test_every_pair_is_proven_or_named(count, poor, rng):
    nets = [f"n{k:02}" for k in range(count)]
    limit = 10e6
    leaks = {(a, b): rng.uniform(11e6, 1e12) for k, a in enumerate(nets) for b in nets[k + 1 :]}
    for pair in rng.sample(sorted(leaks), min(poor, len(leaks))):
        leaks[pair] = rng.uniform(1e3, 9.9e6)
    result = carry_out(prove_insulation(nets, limit), conductance(leaks))
    bad = {frozenset(p) for p, ohms in leaks.items() if ohms < limit}
    assert {frozenset((a, b)) for a, b, _ in result.bad} == bad
    assert all(r == pytest.approx(leaks[min(a, b), max(a, b)]) for a, b, r in result.bad)


def test_sound_insulation_takes_one_reading_for_each_bit():
    nets = [f"n{k}" for k in range(64)]
    result = carry_out(prove_insulation(nets, 1e6), lambda r: 1e9)
    assert (result.readings, result.bad) == (6, ())
    assert carry_out(prove_insulation("ab", 1e6), lambda r: 1e6).bad == ()
    assert carry_out(prove_insulation("ab", 1e6), lambda r: 0.999e6).bad == (("a", "b", 0.999e6),)


def test_many_sound_pairs_that_fail_together_are_proven_by_parts():
    """64 nets of 20 Mohm each to each: the group reads far below 1 Mohm, no pair is bad."""
    nets = [f"n{k:02}" for k in range(64)]
    leaks = {(a, b): 20e6 for k, a in enumerate(nets) for b in nets[k + 1 :]}
    result = carry_out(prove_insulation(nets, 1e6), conductance(leaks))
    assert result.bad == ()
    assert 6 < result.readings < 64 * 63 / 2


def test_a_reading_that_cannot_be_taken_proves_nothing():
    result = carry_out(prove_insulation(["a", "b"], 1e6), lambda r: None)
    assert result.bad == (("a", "b", 0.0),)


# By hand.


@pytest.mark.parametrize("count", [2, 3, 5, 8, 17, 64])
@pytest.mark.parametrize(("dwell", "move"), [(60, 5), (1, 5), (0, 1), (60, 0)])
def test_a_hand_plan_parts_all_nets_and_costs_what_it_says(count, dwell, move):
    plan = hand_plan(count, dwell, move)
    words = plan.words
    assert len(set(words)) == count
    assert {len(w) for w in words} == {plan.splits}
    changes = sum(a != b for word in words for a, b in pairwise(word))
    assert plan.clip_moves == count + changes
    assert plan.seconds == pytest.approx(plan.splits * dwell + plan.clip_moves * move)
    assert plan.minutes == plan.seconds / 60
    # No other number of splits is cheaper.
    for splits in range(counting_width(count), count):
        assert plan.seconds <= hand_plan(count, dwell, move, splits=splits).seconds + 1e-9


def test_the_two_ends_of_the_scale_of_hand_plans():
    # Own computation: the bits take n + (B - 1) n / 2 moves; one clip at a time n + n - 2.
    bits = hand_plan(64, splits=6)
    assert (bits.splits, bits.clip_moves) == (6, 64 + 5 * 32)
    walk = hand_plan(64, dwell=0, move=1)
    assert (walk.splits, walk.clip_moves) == (32, 126)
    between = hand_plan(64, dwell=60, move=5)
    assert 6 < between.splits < 32
    for splits in (6, 32):
        assert between.minutes < hand_plan(64, dwell=60, move=5, splits=splits).minutes


def test_few_words_are_enough_by_brute_force():
    """For small counts no other choice of words has fewer changes of bar."""
    for length in (2, 3):
        words = list(product((0, 1), repeat=length))
        for count in range(2, 2**length + 1):
            if counting_width(count) > length:
                continue
            least = min(sum(a != b for w in chosen for a, b in pairwise(w)) for chosen in combinations(words, count))
            assert hand_plan(count, splits=length).clip_moves == count + least


def test_bad_input_is_told():
    with pytest.raises(DiagnoseError, match="more than once: a"):
        find_shorts(["a", "b", "a"])
    with pytest.raises(DiagnoseError, match="0 nets"):
        find_shorts([])
    with pytest.raises(DiagnoseError, match="expected more than 0"):
        prove_insulation(["a", "b"], 0)
    with pytest.raises(DiagnoseError, match="expected none below 0"):
        hand_plan(4, dwell=-1)
    with pytest.raises(DiagnoseError, match="expected 3 or more"):
        hand_plan(8, splits=2)


def test_mean_readings_for_a_thousand_nets():
    """Own computation, to be reached: 29 for one short, 67 for three, 200 for ten, at most."""
    rng = random.Random(3)
    nets = [f"n{k}" for k in range(1024)]
    for shorts, bound in ((1, 29), (3, 67), (10, 200)):
        graph = network(nets, [])
        while 1024 - networkx.number_connected_components(graph) < shorts:
            graph.add_edge(*rng.sample(nets, 2))
        assert carry_out(find_shorts(nets), joined(graph)).readings <= bound
