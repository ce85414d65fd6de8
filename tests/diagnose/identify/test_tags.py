"""Tags: series, intervals, the largest sets that stay apart."""

from itertools import combinations, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.identify.tags import (
    Loop,
    Meter,
    Scale,
    Tag,
    apart,
    choose,
    drawer,
    parallel_shows,
    series_values,
    short_limit,
    shows,
)
from tests.drawn import draws


def test_an_interval_is_the_worst_of_tolerance_loop_and_meter():
    # (1000 * 0.99 + 0) * 0.99 - 1 and (1000 * 1.01 + 5) * 1.01 + 1, by hand.
    low, high = shows(*Tag(1000, 0.01).within(), Loop(0, 5), Meter(0.01, 1.0))
    assert low == pytest.approx(979.1)
    assert high == pytest.approx(1026.15)
    assert short_limit(Loop(0, 5), Meter(0.01, 1.0)) == pytest.approx(6.05)


@pytest.mark.parametrize(
    ("series", "tolerance", "counts"),
    [
        ("E24", 0.05, (52, 49, 46, 44)),
        ("E24", 0.01, (97, 94, 84, 79)),
        ("E96", 0.01, (211, 172, 168, 139)),
        ("E96", 0.001, (359, 280, 281, 213)),
    ],
)
def test_how_many_tags_stay_apart(series, tolerance, counts):
    """Own computation, 100 ohm to 1 Mohm."""
    tags = drawer(series, tolerance)
    found = [
        len(choose(tags, Loop(0, loop), meter)) for loop in (5, 50) for meter in (Meter(0.002, 0.2), Meter(0.01, 1.0))
    ]
    assert tuple(found) == counts


@given(st.lists(st.tuples(st.integers(20, 400), st.sampled_from([0.01, 0.05, 0.1])), min_size=1, max_size=9))
@draws(60)
def test_no_larger_set_stays_apart(values):
    tags = sorted({Tag(float(v), t) for v, t in values})
    loop, meter = Loop(0, 1), Meter(0.01, 0.5)
    largest = len(apart(tags, loop, meter))

    def fits(chosen):
        intervals = sorted(shows(*t.within(), loop, meter) for t in chosen)
        bounds = [(0.0, short_limit(loop, meter)), *intervals]
        return all(b[0] > a[1] for a, b in pairwise(bounds))

    best = max(
        (n for n in range(len(tags) + 1) if any(fits(c) for c in combinations(tags, n))),
        default=0,
    )
    assert largest == best


def test_fewer_tags_are_spread_out():
    tags = drawer("E96", 0.01)
    loop, meter = Loop(0, 5), Meter(0.01, 1.0)
    for count in (3, 10, 50):
        chosen = choose(tags, loop, meter, count)
        assert len(chosen) == count
        intervals = [shows(*t.within(), loop, meter) for t in chosen]
        gaps = [b[0] / a[1] for a, b in pairwise(intervals)]
        plain = [shows(*t.within(), loop, meter) for t in apart(tags, loop, meter)[:count]]
        assert min(gaps) > min(b[0] / a[1] for a, b in pairwise(plain))
    assert len(choose(tags, loop, meter, 10_000)) == 172


def test_odd_measured_tags_join_the_drawers():
    odd = Tag(1234.5, 0.002, "odd ones")
    tags = (*drawer("E24", 0.05), odd)
    assert odd in choose(tags, Loop(0, 5), Meter(0.002, 0.2))


def test_a_reading_belongs_to_one_tag_or_none():
    loop, meter = Loop(0, 5), Meter(0.01, 1.0)
    tags = choose(drawer("E96", 0.01), loop, meter)
    scale = Scale(tags, loop, meter)
    for tag in tags:
        low, high = shows(*tag.within(), loop, meter)
        assert scale.tag(low) == scale.tag(high) == scale.tag(tag.ohms) == tag
    assert scale.tag(3.0) is None
    assert scale.tag(2e6) is None and scale.beyond(2e6)
    gap = (shows(*tags[0].within(), loop, meter)[1] + shows(*tags[1].within(), loop, meter)[0]) / 2
    assert scale.tag(gap) is None
    assert scale.alike(1000, 1020) and not scale.alike(1000, 1100)


def test_conductors_that_are_joined_read_their_tags_in_parallel():
    low, high = parallel_shows([Tag(300, 0.0), Tag(600, 0.0)], Loop(0, 0), Meter(0.0, 0.0))
    assert low == high == pytest.approx(200)


def test_bad_input_is_told():
    with pytest.raises(DiagnoseError, match="expected E24 or E96"):
        series_values("E13")
    with pytest.raises(DiagnoseError, match="0 < low"):
        series_values("E24", 10, 1)
    with pytest.raises(DiagnoseError, match="tolerance"):
        Tag(100, 1.5)
    with pytest.raises(DiagnoseError, match="gain"):
        Meter(1.0, 0)
    with pytest.raises(DiagnoseError, match="loop"):
        Loop(5, 1)
    with pytest.raises(DiagnoseError, match="cannot be told from a tag of 100 ohm"):
        Scale([Tag(100, 0.05), Tag(105, 0.05)], Loop(0, 5), Meter())
    with pytest.raises(DiagnoseError, match="a joined conductor"):
        Scale([Tag(2, 0.05)], Loop(0, 5), Meter())
