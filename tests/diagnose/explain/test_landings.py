"""The look for wires that do not get through: made in the circuit, walked from pin to pin, told in few readings."""

from __future__ import annotations

import pytest

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.explain.causes import (
    ConnectorsExchanged,
    Mirrored,
    Open,
    PartOpen,
    PinsExchanged,
    Relanded,
    Shifted,
    Unplugged,
)
from bench.diagnose.explain.records import explained, found_on
from bench.diagnose.explain.walk_map import beside_maps, beside_told
from bench.diagnose.identify.case import case_of
from bench.plant import faults as k
from bench.plant.faulty import apply_faults
from bench.plant.graph import Nets
from bench.plant.resolve import resolve
from bench.sequence.file import Seek
from bench.walk.results import results
from tests.diagnose.explain import damage_kinds as d
from tests.diagnose.explain.damaged_plant import designed_pairs, plant_of, walked, with_frame


def looked(faults, pins=18, rows=2, cables=1, wires=None, **settings):
    """A walk from pin to pin, the first of its wires or all, and what the look after it came to."""
    file = plant_of(pins, rows, cables)
    steps = [*designed_pairs(resolve(file))[:wires], Seek(find="landings", settings=settings)]
    state = walked(file, faults, steps)
    (found,) = [outcome.found for outcome in results(state).values() if outcome.found is not None]
    return state, found


@pytest.mark.parametrize(
    ("faults", "rows", "cables", "cause", "most"),
    [
        ([k.Exchanged(pins=("K1.3", "K1.9"))], 2, 1, PinsExchanged, 4),
        ([k.Open(conductor="W1.4")], 2, 1, Open, 2),
        ([k.Open(conductor=f"W1.{wire}") for wire in range(1, 19)], 2, 1, Unplugged, 4),
        ([k.Open(conductor=f"W1.{wire}") for wire in range(1, 10)], 2, 1, PartOpen, 8),
        ([k.Shifted(connector="K1", by=1)], 2, 1, Shifted, 24),
        (d.end_for_end("K1", 1, 18), 1, 1, Mirrored, 24),
        (d.exchanged_runs("K1", range(1, 10), range(10, 19)), 2, 1, Mirrored, 24),
        (d.neighbours("K1", 18), 2, 1, Relanded, 24),
        (d.counted_across("K1", 18, 2), 2, 1, Relanded, 24),
        (d.moved_along("K1", "W1", 8, 18, 1), 1, 1, Relanded, 24),
        (d.no_order("K1", range(1, 19), 5), 1, 1, Relanded, 110),
        ([k.ConnectorsExchanged(connectors=("K1", "K2"))], 2, 3, ConnectorsExchanged, 45),
        (d.exchanged_runs("K1", range(1, 6), range(3, 8), "K2"), 2, 2, Relanded, 16),
    ],
)
@pytest.mark.quick_cases(5)
def test_from_opens_alone_the_true_cause_is_found(faults, rows, cables, cause, most):
    """And it is the only one, in no more readings than a few and one for each wire; every cross would take hundreds."""
    state, found = looked(faults, 18, rows, cables, joins="no")
    causes = [type(one) for each in explained([state]) for one in each.explanation.causes]
    assert causes == [cause]
    assert found.verdict == "fail" and found.lines[0] in found.sentence
    assert found.facts["readings"] <= most


def test_where_all_get_through_nothing_is_asked():
    _, found = looked([])
    assert found.verdict == "pass" and "readings" not in found.facts


@pytest.mark.parametrize(
    ("faults", "told"),
    [
        ([k.Shifted(connector="K1", by=1)], "K1 sits 1 place to the right"),
        (d.exchanged_runs("K1", range(1, 10), range(10, 19)), "with its rows in reversed order"),
        ([k.Open(conductor=f"W1.{wire}") for wire in range(1, 19)], "Nothing arrives at K1"),
    ],
)
def test_an_early_look_takes_about_six_readings(faults, told):
    """After the first few opens one mistake is told, long before the walk is through; the rest is a check of it."""
    _, found = looked(faults, wires=5, look="early")
    assert found.facts["readings"] <= 9
    assert told in found.sentence


def test_an_early_look_at_an_order_that_is_lost_says_to_name_the_wires_anew():
    """And what the walk found of them is what naming them begins with."""
    state, found = looked(d.no_order("K1", range(1, 19), 5), rows=1, wires=6, look="early")
    assert found.facts["lost"] and "proveout identify W1 --flags K1 --known RECORD" in found.sentence
    plant = resolve(plant_of(18))
    known = found_on([state], plant, "W1", "K1")
    assert len(known) >= 4
    settings = {"flags": "K1", "known": "; ".join(f"{place} {name}" for place, name in known.items())}
    anew = walked(
        plant_of(18), d.no_order("K1", range(1, 19), 5), [Seek(find="conductors", of="W1", settings=settings)]
    )
    (named,) = [outcome.found for outcome in results(anew).values()]
    nets = Nets(apply_faults(plant, d.no_order("K1", range(1, 19), 5)))
    assert named.verdict == "pass" and len(named.facts["names"]) == 18
    for pin, name in named.facts["names"].items():
        there = plant.terminals[pin].node
        assert nets.root(there) == nets.root(plant.conductors[name].near_end.node)
    whole = walked(
        plant_of(18), d.no_order("K1", range(1, 19), 5), [Seek(find="conductors", of="W1", settings={"flags": "K1"})]
    )
    (all_of_them,) = [outcome.found for outcome in results(whole).values()]
    assert named.facts["readings"] < all_of_them.facts["readings"]
    assert f", {len(known)} of them before" in named.sentence


@pytest.mark.parametrize("entry", ["K1.99 W1.2", "K1.2 W9.1", "K1.2 W1.1; K1.2 W1.3", "K1.2"])
def test_what_is_said_to_be_known_must_fit_the_cable(entry):
    seek = Seek(find="conductors", of="W1", settings={"flags": "K1", "known": entry})
    with pytest.raises(DiagnoseError, match="setting 'known'"):
        case_of(resolve(plant_of(18)), seek, None)


def test_two_exchanges_among_the_first_wires_are_no_lost_order():
    faults = [k.Exchanged(pins=("K1.1", "K1.2")), k.Exchanged(pins=("K1.3", "K1.6"))]
    _, found = looked(faults, rows=1, wires=6, look="early")
    assert not found.facts["lost"] and "exchanged" in found.sentence


def test_an_early_look_waits_for_the_third_wire():
    _, found = looked([k.Exchanged(pins=("K1.1", "K1.2"))], wires=5, look="early")
    assert found.verdict == "undecided" and "2 wires did not get through so far" in found.sentence


def test_joins_among_the_near_ends_are_found_beside():
    """Two pins that lie far apart: no neighbour's reading could have seen them."""
    state, found = looked([k.Short(between=("K1.2", "K1.15")), k.Open(conductor="W1.4")])
    (one,) = explained([state])
    assert len(one.explanation.causes) == 2
    assert any("K1.2 and K1.15 are joined" in line for line in found.lines)


def test_wires_on_the_frame_are_one_mistake_with_its_place():
    """Two wires of one bundle pinched onto the frame, found because another wire is open."""
    file = with_frame(plant_of(18, 2), "FR1")
    steps = [*designed_pairs(resolve(file)), Seek(find="landings")]
    faults = [
        k.Open(conductor="W1.4"),
        k.Short(between=("K1.2", "FR1")),
        k.Short(between=("K1.9", "FR1")),
    ]
    state = walked(file, faults, steps)
    (found,) = [outcome.found for outcome in results(state).values() if outcome.found is not None]
    (on_frame,) = [line for line in found.lines if "frame" in line]
    assert "1.2" in on_frame and "1.9" in on_frame and "FR1" in on_frame
    told = beside_told(resolve(file), beside_maps(state))
    assert len(told) == 1 and "reach the frame at FR1" in told[0]
