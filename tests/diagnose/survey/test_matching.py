"""The chances of small graphs against a sum over all matchings written out, and of larger ones against themselves."""

import networkx
import numpy as np
import pytest

from bench.diagnose.survey import matching as m


def graph(count: int, seed: int, spread: float = 3.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    weights = np.triu(np.exp(rng.normal(0, spread, (count, count))), 1)
    return weights + weights.T


def all_matchings(weights: np.ndarray, nodes: tuple[int, ...]) -> float:
    """The sum of the weights of all matchings, written out."""
    if not nodes:
        return 1.0
    first, *rest = nodes
    total = all_matchings(weights, tuple(rest))
    for other in rest:
        total += weights[first, other] * all_matchings(weights, tuple(node for node in rest if node != other))
    return total


@pytest.mark.parametrize("count", [2, 3, 5, 8])
@pytest.mark.parametrize("spread", [0.5, 3.0, 12.0])
def test_small_graphs_are_counted_out(count: int, spread: float) -> None:
    weights = graph(count, 7 * count, spread)
    belief = m.solve(weights, np.random.default_rng(0))
    whole = all_matchings(weights, tuple(range(count)))
    for one in range(count):
        for other in range(one):
            rest = tuple(node for node in range(count) if node not in (one, other))
            chance = weights[one, other] * all_matchings(weights, rest) / whole
            assert belief.pairs[one, other] == pytest.approx(chance, abs=1e-6)
    assert belief.doubt == 0.0


def test_matchings_of_a_complete_graph_are_as_many_as_telephone_numbers() -> None:
    """Matchings of K_n: 1, 1, 2, 4, 10, 26, 76, 232, 764 (OEIS A000085, quoted from memory)."""
    for count, expected in enumerate([1, 1, 2, 4, 10, 26, 76, 232, 764]):
        assert m.subset_sums(np.ones((count, count)) - np.eye(count))[-1] == expected


def test_perfect_matchings_of_a_bipartite_graph_are_its_permanent() -> None:
    """Where nobody may be alone, the sum over K_{3,3}'s matchings is the permanent of its weights, worked by hand."""
    block = np.array([[1.0, 2.0, 3.0], [4.0, 5.0, 6.0], [7.0, 8.0, 10.0]])
    permanent = 1 * (5 * 10 + 6 * 8) + 2 * (4 * 10 + 6 * 7) + 3 * (4 * 8 + 5 * 7)
    weights = np.zeros((6, 6))
    weights[:3, 3:], weights[3:, :3] = block, block.T
    assert m.subset_sums(weights, 0.0)[-1] == pytest.approx(permanent)


def test_sampling_agrees_with_counting() -> None:
    weights = graph(14, 3)
    exact = m.solve(weights, np.random.default_rng(0)).pairs
    sampled, _, differ = m._sampled(weights, np.random.default_rng(1), 6000)
    assert np.abs(sampled - exact).max() < 0.03
    assert differ < 0.05


def test_drawn_answers_follow_the_chances() -> None:
    weights = graph(9, 5)
    belief = m.solve(weights, np.random.default_rng(2))
    for one in range(9):
        for other in range(one):
            share = float((belief.samples[:, one] == other).mean())
            # 256 draws: five standard deviations
            assert abs(share - belief.pairs[one, other]) < 5 * (0.25 / m.CHAINS) ** 0.5
    rows = np.arange(len(belief.samples))
    for node in range(9):
        mates = belief.samples[:, node]
        has = mates != m.ALONE
        assert (belief.samples[rows[has], mates[has]] == node).all()


def test_parts_that_have_nothing_to_do_with_each_other_stay_apart() -> None:
    weights = np.zeros((6, 6))
    for one, other, weight in ((0, 1, 3.0), (2, 3, 1.0), (4, 5, 1e6)):
        weights[one, other] = weights[other, one] = weight
    belief = m.solve(weights, np.random.default_rng(0))
    assert belief.pairs[0, 1] == pytest.approx(0.75)
    assert belief.pairs[2, 3] == pytest.approx(0.5)
    assert belief.alone[4] == pytest.approx(1 / (1 + 1e6), rel=1e-6)


def test_two_twins_with_one_hint_are_as_counted() -> None:
    """Two ends here, two there, all alike but for one hint of ten: belief propagation says .995, the truth is less."""
    weights = np.zeros((4, 4))
    for one in (0, 1):
        for other in (2, 3):
            weights[one, other] = weights[other, one] = 1e4
    weights[0, 2] = weights[2, 0] = 1e5
    belief = m.solve(weights, np.random.default_rng(0))
    assert belief.pairs[0, 2] == pytest.approx(10 / 11, abs=2e-3)


@pytest.mark.parametrize("seed", range(6))
def test_the_best_matching_is_near_the_best(seed: int) -> None:
    weights = graph(16, seed)
    mates = m.best(weights)
    found = {frozenset((one, int(other))) for one, other in enumerate(mates) if other != m.ALONE}
    assert all(mates[mates[node]] == node for node in range(16) if mates[node] != m.ALONE)
    logs = networkx.Graph()
    logs.add_weighted_edges_from(
        (one, other, np.log(weights[one, other]))
        for one in range(16)
        for other in range(one)
        if weights[one, other] > 1
    )
    best = networkx.max_weight_matching(logs)
    weigh = {frozenset(pair): np.log(weights[pair[0], pair[1]]) for pair in best}
    assert sum(np.log(weights[tuple(pair)]) for pair in found) >= 0.9 * sum(weigh.values())


def test_the_same_seed_gives_the_same_answer() -> None:
    weights = graph(20, 9)
    first, again = (m.solve(weights, np.random.default_rng(4), 500) for _ in range(2))
    assert (first.pairs == again.pairs).all()
    assert (first.samples == again.samples).all()


def test_an_empty_pile_has_no_pairs() -> None:
    belief = m.solve(np.zeros((0, 0)), np.random.default_rng(0))
    assert belief.pairs.shape == (0, 0)
