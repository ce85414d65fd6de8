"""Groupings that tell conductors apart, checked against a general graph library."""

from collections import Counter
from itertools import product

import networkx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.identify.clip_plans import (
    KNOWN,
    chain_links,
    chain_pairs,
    feasible,
    identifies,
    size_plan,
)
from tests.drawn import draws


def rigid(first, second):
    """The rule word for word: no symmetry of the drawing that keeps sides moves a line."""
    graph = networkx.Graph()
    lines = Counter()
    for a, group in enumerate(first):
        for name in group:
            b = next(k for k, g in enumerate(second) if name in g)
            graph.add_node(("first", a), side=0)
            graph.add_node(("second", b), side=1)
            graph.add_edge(("first", a), ("second", b))
            lines[a, b] += 1
    if max(lines.values()) > 1:
        return False
    matcher = networkx.isomorphism.GraphMatcher(graph, graph, node_match=lambda x, y: x["side"] == y["side"])
    return all(
        all(mapping[node] == node for edge in graph.edges for node in edge) for mapping in matcher.isomorphisms_iter()
    )


@st.composite
def groupings(draw):
    names = [str(k) for k in range(draw(st.integers(1, 9)))]

    def cut():
        marks = [draw(st.integers(0, 4)) for _ in names]
        return [[n for n, m in zip(names, marks, strict=True) if m == k] for k in sorted(set(marks))]

    return cut(), cut()


@given(groupings())
@draws(250)
def test_identifies_is_the_rule_of_symmetries(pair):
    assert identifies(*pair) == rigid(*pair)


def test_the_chain_identifies_every_count_but_two():
    for size in range(1, 60):
        names = [str(k) for k in range(size)]
        first = chain_pairs(names)
        pairs = [g for g in first if len(g) == 2]
        singles = [g[0] for g in first if len(g) == 1]
        second = chain_links(pairs, singles)
        assert sorted(n for g in second for n in g) == sorted(names)
        assert identifies(first, second) == (size != 2)
        # All but the last of four are proven to conduct on one trip at least.
        alone = {g[0] for g in first if len(g) == 1} & {g[0] for g in second if len(g) == 1}
        assert len(alone) == {1: 1, 2: 2, 4: 1}.get(size, 0)


def test_refinement_alone_is_not_enough_for_regular_drawings():
    """A ring of six lines against two rings of three: all points alike, yet symmetric."""
    ring = [["a", "b"], ["c", "d"], ["e", "f"]]
    turned = [["b", "c"], ["d", "e"], ["f", "a"]]
    assert not identifies(ring, turned)


def test_groupings_by_size_give_every_conductor_two_sizes_of_its_own():
    for size in range(1, 121):
        for known in (False, True):
            if size in (2, 5, 9) and not known:
                continue
            plan = size_plan(size, known)
            assert len(set(plan.cells)) == size
            rows, columns = (Counter(c[side] for c in plan.cells) for side in (0, 1))
            assert rows == Counter(plan.rows) and columns == Counter(plan.columns)
            for sums in (rows, columns):
                assert all(count % j == 0 for j, count in sums.items() if j != KNOWN)


def test_feasible_is_whether_such_a_matrix_exists():
    for rows in product(range(4), repeat=3):
        for columns in product(range(4), repeat=3):
            found = (
                any(
                    tuple(map(sum, m)) == rows and tuple(map(sum, zip(*m, strict=True))) == columns
                    for m in ([cells[0:3], cells[3:6], cells[6:9]] for cells in product((0, 1), repeat=9))
                )
                if sum(rows) == sum(columns)
                else False
            )
            assert feasible(rows, columns) == found


def test_bad_groupings_are_told():
    with pytest.raises(DiagnoseError, match="do not have the same members"):
        identifies([["a"]], [["b"]])
    with pytest.raises(DiagnoseError, match="two groups"):
        identifies([["a"], ["a"]], [["a"]])
    with pytest.raises(DiagnoseError, match="expected 1 or more"):
        size_plan(0)
