"""Naming conductors, finding shorts and counting exchanges, against what has been published."""

import math
import random

import networkx
import pytest

from bench.diagnose.apart.isolation import find_shorts
from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.explain.causes import Moved, PinsExchanged
from bench.diagnose.explain.pin_map import Conductor, Design, Measured, Pin, pins_on
from bench.diagnose.explain.search import explain
from bench.diagnose.halving import counting_width
from bench.diagnose.identify.clip_plans import chain_links, chain_pairs, feasible, identifies, size_plan
from bench.diagnose.identify.tags import E24, E96, drawer, series_values
from bench.diagnose.script import carry_out
from tests.diagnose.apart.bounds import kautz_bound
from tests.diagnose.explain.connectors import numbered

# IEC 60063: preferred number series for resistors, as quoted in public tables.


def test_e24_values():
    """IEC 60063, series E24."""
    assert E24 == (
        10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91,
    )  # fmt: skip


def test_e96_values():
    """IEC 60063, series E96: round(100 * 10^(i/96)), and the table itself."""
    assert E96 == (
        100, 102, 105, 107, 110, 113, 115, 118, 121, 124, 127, 130, 133, 137, 140, 143, 147, 150, 154, 158,
        162, 165, 169, 174, 178, 182, 187, 191, 196, 200, 205, 210, 215, 221, 226, 232, 237, 243, 249, 255,
        261, 267, 274, 280, 287, 294, 301, 309, 316, 324, 332, 340, 348, 357, 365, 374, 383, 392, 402, 412,
        422, 432, 442, 453, 464, 475, 487, 499, 511, 523, 536, 549, 562, 576, 590, 604, 619, 634, 649, 665,
        681, 698, 715, 732, 750, 768, 787, 806, 825, 845, 866, 887, 909, 931, 953, 976,
    )  # fmt: skip
    assert len(set(E96)) == 96


def test_series_over_decades():
    """IEC 60063: every decade has the same digits; 100 ohm to 1 Mohm is four decades and one value."""
    assert len(series_values("E24")) == 4 * 24 + 1
    assert len(series_values("E96")) == 4 * 96 + 1
    assert series_values("E24", 1, 2) == (1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0)
    assert {82.5, 825.0, 8250.0} <= set(series_values("E96", 10, 1e4))
    # E24 at 5 % does not tile: 1.0 and 1.1 overlap.
    first, second = drawer("E24", 0.05, 1000, 1100)
    assert first.within()[1] > second.within()[0]


# The partition problem of Knowlton and Graham.


def partitions(total, largest):
    if not total:
        yield {}
    for size in range(min(total, largest), 0, -1):
        for count in range(1, total // size + 1):
            for rest in partitions(total - size * count, size - 1):
                yield {size: size * count, **rest}


def test_two_groupings_by_size_exist_but_for_2_5_and_9():
    """R. L. Graham, On partitions of a finite set (1966), quoted with D. E. Knuth, The Knowlton-Graham
    partition problem (arXiv math/9502237): possible for every number except 2, 5 and 9.

    Up to ten by exhaustion, over all sums that are multiples of their size (the same note, lemma 1);
    up to 500 by construction.
    """
    impossible = []
    for size in range(1, 11):
        sums = [list(p.values()) for p in partitions(size, size)]
        if not any(feasible(rows, columns) for rows in sums for columns in sums):
            impossible.append(size)
    assert impossible == [2, 5, 9]
    for size in range(1, 501):
        if size in impossible:
            with pytest.raises(DiagnoseError, match="cannot be told apart"):
                size_plan(size)
        else:
            assert len(set(size_plan(size).cells)) == size


def test_with_a_known_conductor_every_number_is_possible():
    """Own computation: one conductor known at both ends makes 2, 5 and 9 possible too, up to 500."""
    for size in range(1, 501):
        assert len(set(size_plan(size, known=True).cells)) == size


def test_the_daisy_chain_of_an_odd_number():
    """The classic answer to the puzzle of the buried cable, as described in public discussions: pairs at one
    end, the chain of pairs at the other. Even numbers but two: own computation."""
    for size in (3, 5, 7, 9, 101):
        names = [str(k) for k in range(size)]
        first = chain_pairs(names)
        links = chain_links([g for g in first if len(g) == 2], [first[-1][0]])
        assert max(map(len, (*first, *links))) == 2
        assert identifies(first, links)


# Tests for shorts.


def test_bound_for_behavioural_testing():
    """W. H. Kautz, Testing for faults in wiring networks, IEEE Trans. Comput. C-23(4), 1974, 358-363,
    abstract: at least and always at most p - 1 + ceil(log2 q) tests; the rounding up is meant."""
    assert kautz_bound(1, 1024) == 10
    assert kautz_bound(2, 3) == 3
    assert kautz_bound(5, 8) == 7
    assert kautz_bound(1, 1) == 0
    # All terminals isolated: the bound is what the search for shorts takes when all is well.
    assert all(kautz_bound(1, nets) == counting_width(nets) for nets in range(1, 300))


def test_counting_width_is_needed_and_enough():
    """The complete graph on n points is the union of ceil(log2 n) bipartite graphs and of no fewer (textbook
    result, from memory, not confirmed). Enough: the script does it. Needed: with fewer readings two nets
    have the same word."""
    for nets in (2, 3, 4, 5, 8, 9, 64, 65):
        names = [str(k) for k in range(nets)]
        apart = networkx.Graph()
        apart.add_nodes_from(names)

        def look(request, apart=apart):
            apart.add_edges_from((a, b) for a in request.red for b in request.black)
            return False

        readings = carry_out(find_shorts(names), look).readings
        assert readings == counting_width(nets) == math.ceil(math.log2(nets))
        assert apart.number_of_edges() == nets * (nets - 1) // 2
        assert 2 ** (readings - 1) < nets


# Exchanges.


def test_exchanges_needed_are_wires_less_rounds():
    """Cayley: a permutation of n things with c cycles is the product of n - c exchanges and of no fewer.

    The explanation of a permuted map with joins nowhere names rounds; a round of k stands for k - 1 exchanges.
    """
    rng = random.Random(5)
    counted = 0
    for size in (5, 12, 40):
        a, b = numbered("A", size), numbered("B", size)
        ends = zip(pins_on(a), pins_on(b), strict=True)
        design = Design((a,), (b,), tuple(Conductor(f"w{k}", p, q) for k, (p, q) in enumerate(ends)))
        for _ in range(20):
            order = list(range(size))
            for _ in range(rng.randint(1, 1 + size // 5)):  # more is told as an order that was lost
                one, other = rng.sample(range(size), 2)
                order[one], order[other] = order[other], order[one]
            joins = frozenset((Pin("A", str(k + 1)), Pin("B", str(order[k] + 1))) for k in range(size))
            causes = explain(design, Measured(joins)).causes
            # what hands do in one go (a run that moved along, neighbours) may account for exchanges by chance
            if all(isinstance(c, PinsExchanged | Moved) for c in causes):
                rounds = networkx.number_weakly_connected_components(networkx.DiGraph(list(enumerate(order))))
                assert sum(len(c.conductors) - 1 for c in causes) == size - rounds
                counted += 1
    assert counted >= 45
