"""What is said of plants that were damaged in their circuit and read through the simulated meter."""

from __future__ import annotations

import random
from itertools import pairwise
from pathlib import Path

import msgspec
import pytest

from bench.diagnose.explain.causes import Bridged, ConnectorsExchanged, Open, PartOpen, Relanded, Shifted, StrayJoin
from bench.diagnose.explain.records import explained
from bench.diagnose.explain.reversed_supply import beside_reversed, reversed_supplies, reversed_told
from bench.diagnose.explain.search import explain
from bench.diagnose.explain.sentences import conductors_of
from bench.diagnose.explain.unread_joins import unread_joins, unread_told
from bench.diagnose.explain.walk_map import beside_maps, beside_told, maps_of
from bench.plant import faults as k
from bench.plant.faulty import apply_faults
from bench.plant.load import load_plant
from bench.plant.resolve import resolve
from bench.quantity import Temperature
from bench.sequence.file import Seek
from bench.walk.results import results
from tests.diagnose.explain import damage_kinds as d
from tests.diagnose.explain.damaged_plant import (
    all_crosses,
    designed_pairs,
    plant_of,
    reading,
    walked,
    with_frame,
    with_pins,
    with_screens,
    with_tails,
)

HUT = Path("tests/jobs/beacon-hut/plant.yaml")
READINGS = {"pin to pin": designed_pairs, "every cross": all_crosses}


def dead(*wires: int, cable: int = 1) -> list[k.Fault]:
    return [k.Open(conductor=f"W{cable}.{wire}") for wire in wires]


def found(file, faults, readings="pin to pin"):
    """What is said of the one group of cables that was read."""
    (one,) = explained([walked(file, faults, READINGS[readings](resolve(file)))])
    assert one.explanation.unexplained == ()
    return one


def wires_blamed(one):
    return {name for cause in one.explanation.causes for name in conductors_of(one.map.design, cause)}


@pytest.mark.parametrize("readings", READINGS)
@pytest.mark.parametrize(
    ("pins", "rows", "open_wires"),
    [
        (5, 1, (2, 3, 4, 5)),
        (5, 1, (1, 2, 3, 4)),
        (10, 1, (1, 2, 3, 4, 6, 7, 8, 9, 10)),
        (10, 2, (6, 7, 8, 9, 10)),
        (10, 2, (1, 2, 3, 4, 5)),
        (10, 2, (2, 4, 5, 6, 7, 8, 9, 10)),
        (24, 2, tuple(range(13, 25))),
    ],
)
def test_good_wires_among_dead_ones_are_left_alone(pins, rows, open_wires, readings):
    """Neither parted, nor turned with a plug: blamed are the dead wires and no other."""
    one = found(plant_of(pins, rows), dead(*open_wires), readings)
    assert {type(cause) for cause in one.explanation.causes} <= {Open, PartOpen}
    assert wires_blamed(one) == {f"W1.{wire}" for wire in open_wires}
    told = " ".join(finding.sentence for finding in one.explanation.findings)
    assert "Turn the plug" not in told and "part them" not in told


def test_a_dead_row_is_one_cause_and_every_pin_of_it_is_said():
    one = found(plant_of(24, 2), dead(*range(13, 25)))
    (finding,) = one.explanation.findings
    assert isinstance(finding.cause, PartOpen)
    assert all(f"K1.{pin}" in finding.sentence for pin in range(13, 25))
    assert "more" not in finding.sentence


@pytest.mark.parametrize("readings", READINGS)
@pytest.mark.parametrize("seed", range(30))
@pytest.mark.quick_cases(15)
def test_whatever_is_wrong_no_sound_join_is_parted_and_no_plug_is_turned_off_good_wires(seed, readings):
    """Random damage in the circuit: of the sound wires none is in a join that is to be parted."""
    draw = random.Random(seed)
    pins, rows = draw.choice([(5, 1), (8, 2), (10, 2), (12, 1)])
    file = plant_of(pins, rows)
    wires = draw.sample(range(1, pins + 1), pins)
    damage = dead(*wires[: draw.randint(0, pins - 2)])
    for _ in range(draw.randint(0, 2)):
        one, other = draw.sample(wires, 2)
        damage.append(
            draw.choice([k.Exchanged(pins=(f"K1.{one}", f"K1.{other}")), k.Short(between=(f"K1.{one}", f"K1.{other}"))])
        )
    plant = resolve(file)
    sound = {edge.id for edge in plant.graph()} & {
        edge.id
        for edge, was in zip(apply_faults(plant, damage), plant.graph(), strict=False)
        if (edge.a, edge.b) == (was.a, was.b) and edge.ohms < 1.0
    }
    one_map = found(file, damage, readings)
    for cause in one_map.explanation.causes:
        touched = set(conductors_of(one_map.map.design, cause))
        if isinstance(cause, Bridged | StrayJoin):
            pins_of = {str(pin) for pin in cause.pins}
            assert not any({f"J1.{w}", f"K1.{w}"} <= pins_of for w in range(1, pins + 1))
        else:
            assert not touched & sound, f"{cause} touches a sound wire"


@pytest.mark.parametrize("numbering", ["along-rows", "down-columns", "snake"])
def test_wires_landed_one_further_are_one_cause_however_the_pins_count(numbering):
    """One was missed as they were counted off, and all after it sit one further."""
    file = plant_of(12, 3, numbering=numbering)
    order = resolve(file).connectors["K1"].layout.order
    moved = [k.Exchanged(pins=(f"K1.{one}", f"K1.{other}")) for one, other in pairwise(order[1:8])]
    one = found(file, moved, "every cross")
    (cause,) = one.explanation.causes
    assert isinstance(cause, Relanded) and cause.order == "moved along"
    assert [str(pin) for pin in cause.onto] == [f"K1.{name}" for name in (order[7], *order[1:7])]
    (finding,) = one.explanation.findings
    assert f"landed one place too low in the numbering; the wire for K1.{order[1]} sits on K1.{order[7]}" in (
        finding.sentence
    )


@pytest.mark.parametrize(
    ("numbering", "lines"),
    [
        ("along-rows", [range(4), range(4, 8), range(8, 12)]),
        ("down-columns", [range(3), range(3, 6), range(6, 9), range(9, 12)]),
        ("snake", [range(4), range(4, 8), range(8, 12)]),
    ],
)
def test_the_map_counts_pins_as_the_plant_does(numbering, lines):
    plant = resolve(plant_of(12, 3, numbering=numbering))
    (one,) = maps_of(walked(plant_of(12, 3, numbering=numbering), [], designed_pairs(plant)))
    index, layout = one.design.index, plant.connectors["J1"].layout
    assert [index.pins[pin].name for pin in index.order[0]] == list(layout.order)
    assert index.lines[0] == lines
    for name, place in layout.places.items():
        pin = index.grid[0][place.row - 1, place.column - 1]
        assert index.pins[pin].name == name and index.place[pin] == place.index


def test_a_join_between_cables_that_share_no_connector_is_told():
    file = plant_of(5, cables=2)
    steps = [*designed_pairs(resolve(file)), reading("K1.2", "K2.4", joined=False)]
    state = walked(file, [k.Short(between=("K1.2", "K2.4"))], steps)
    (one,) = explained([state])
    (cause,) = one.explanation.causes
    assert isinstance(cause, StrayJoin) and {str(pin) for pin in cause.pins} == {"K1.2", "K2.4"}
    assert one.map.cables == ("W1", "W2")
    # nothing is wrong between them where the circuit has no join, and each is told by itself
    sound = walked(file, [], steps)
    assert beside_maps(sound) == [] and [one.map.cables for one in explained([sound])] == [("W1",), ("W2",)]


def test_a_wire_on_the_frame_is_told():
    """The frame is on no cable's map, and what was read to it counts all the same."""
    file = plant_of(5)
    frame = "FR1"
    file = with_frame(file, frame)
    steps = [*designed_pairs(resolve(file)), reading("K1.2", frame, joined=False)]
    state = walked(file, [k.Short(between=("K1.2", frame))], steps)
    assert [(pair.between, pair.joined) for pair in beside_maps(state)] == [(("K1.2", frame), True)]
    assert beside_maps(walked(file, [], steps)) == []


def test_a_screen_on_the_frame_is_told_with_both_and_the_place():
    """Read by itself, and looked for where a wire failed and nobody thought of the screen."""
    file = with_screens(with_frame(plant_of(12), "FR1"))
    screen = resolve(file).cables["W1"].screen.near_end.name
    touching = k.Short(between=(screen, "FR1"))
    state = walked(file, [touching], [*designed_pairs(resolve(file)), reading(screen, "FR1", joined=False)])
    (told,) = beside_told(resolve(file), beside_maps(state))
    assert told.startswith("The screen of W1 reaches the frame at FR1 (")
    looked = walked(file, [touching, *dead(4)], [*designed_pairs(resolve(file)), Seek(find="landings")])
    (found,) = [outcome.found for outcome in results(looked).values() if outcome.found is not None]
    assert told in found.lines and any("J1.4 to K1.4 is open" in line for line in found.lines)
    assert beside_maps(walked(file, dead(4), [*designed_pairs(resolve(file)), Seek(find="landings")])) == []


def test_a_pin_list_read_from_the_wrong_column_is_one_cause():
    """W1 goes from J1.1 to K1.5 and so on; hands landed it by the column of J1."""
    order = {1: 5, 2: 9, 3: 1, 4: 11, 5: 2, 6: 12, 7: 3, 8: 10, 9: 4, 10: 8, 11: 6, 12: 7}
    file = with_pins(plant_of(12), {number: f"K1.{pin}" for number, pin in order.items()})
    faults = d.landed("K1", {pin: number for number, pin in order.items()})
    state = walked(file, faults, [*designed_pairs(resolve(file)), Seek(find="landings", settings={"joins": "no"})])
    (one,) = explained([state])
    (cause,) = one.explanation.causes
    assert isinstance(cause, Relanded) and cause.order == "other list"
    assert "read from the wrong column" in one.explanation.findings[0].sentence
    (found,) = [outcome.found for outcome in results(state).values() if outcome.found is not None]
    assert found.facts["readings"] <= 24


def test_exchanged_tails_of_one_block_are_one_cause_and_both_places_are_said():
    file = with_tails(9)
    faults = d.exchanged_runs("J1", range(1, 10), range(10, 19))
    state = walked(file, faults, [*designed_pairs(resolve(file)), Seek(find="landings", settings={"joins": "no"})])
    (one,) = explained([state])
    (finding,) = one.explanation.findings
    assert finding.cause == ConnectorsExchanged(("K1", "K2"))
    assert "the tails that lead to them are exchanged on J1" in finding.sentence


def test_exchanged_tails_whose_plugs_are_unlike_are_told_at_both_ends():
    """Only five wires of each tail are landed: no plug can be in the other's socket, since other pins are used."""
    file = with_tails(9)
    faults = d.exchanged_runs("J1", range(1, 6), range(11, 16))
    state = walked(file, faults, [*designed_pairs(resolve(file)), Seek(find="landings", settings={"joins": "no"})])
    (one,) = explained([state])
    (finding,) = one.explanation.findings
    assert isinstance(finding.cause, Relanded) and finding.cause.order == "exchanged"
    assert "at the other end J1.1 to J1.5 and J1.11 to J1.15;" in finding.sentence


def test_what_a_search_found_joined_is_not_explained_as_designed():
    """The search holds all nets of two cables against each other and names those that are joined."""
    search = Seek(find="crosses", of="1", settings={"apart": "100 kohm"})
    faults = [k.Short(between=("K1.2", "K1.4")), k.Short(between=("K1.5", "K2.1"))]
    state = walked(plant_of(5, cables=2), faults, [search])
    (one,) = maps_of(state)
    bridged, stray = explain(one.design, one.measured).causes
    assert isinstance(bridged, Bridged) and {pin.name for pin in bridged.pins} == {"2", "4"}
    assert isinstance(stray, StrayJoin) and {str(pin)[1:] for pin in stray.pins} == {"1.5", "2.1"}


def test_an_order_that_was_identified_is_explained():
    """All wires one place on, the last off the end: every name that the search gave is a join."""
    search = Seek(find="conductors", of="W1", settings={"method": "chain", "flags": "K1"})
    state = walked(plant_of(10), [k.Shifted(connector="K1", by=1)], [search])
    (one,) = maps_of(state)
    (finding,) = explain(one.design, one.measured).findings
    assert finding.cause == Shifted("K1", 1, "row")


def beacon_hut_steps(*more):
    """The beacon hut as a file for a mild evening, and both wires of a shelf's supply cable from end to end."""
    plant = load_plant(HUT)
    file = msgspec.structs.replace(plant.file, ambient=Temperature(20.0))
    wires = plant.cables["w1"].conductors
    return file, [*(reading(w.near_end.name, w.far_end.name, joined=True) for w in wires), *more]


def test_a_supply_cable_reversed_at_an_inlet_is_one_mistake_and_no_two_open_wires():
    """Each of its wires reads open, and both were told so: whoever looks at four joints finds all of them good."""
    reversed_inlet = [k.PolarityReversed(shelf="finder-top", feed="P")]
    file, steps = beacon_hut_steps(reading("k1.load", "finder-top.P-return", joined=False))
    state = walked(file, reversed_inlet, steps)
    (one,) = reversed_supplies([state])
    assert one.read and one.inlet == "finder-top.P" and one.wires == ("w1.1", "w1.2")
    assert beside_reversed(beside_maps(state), [one]) == []
    assert "The two wires of w1 are exchanged at one end" in reversed_told(one)


def test_two_dead_wires_of_a_supply_cable_are_likely_reversed_and_a_reading_settles_it():
    reversed_inlet = [k.PolarityReversed(shelf="finder-top", feed="P")]
    file, steps = beacon_hut_steps()
    (one,) = reversed_supplies([walked(file, reversed_inlet, steps)])
    assert not one.read and "Read k1.load against finder-top.P-return" in reversed_told(one)
    # the reading that it asks for, with both wires broken: they are two opens again
    file, steps = beacon_hut_steps(reading("k1.load", "finder-top.P-return", joined=False))
    broken = walked(file, [k.Open(conductor="w1.1"), k.Open(conductor="w1.2")], steps)
    assert reversed_supplies([broken]) == []
    assert sorted(pair.between for pair in beside_maps(broken)) == [
        ("FM.3", "finder-top.P-return"),
        ("k1.load", "finder-top.P"),
    ]
    # one wire alone is open, and nothing is said of the sound one
    file, steps = beacon_hut_steps()
    alone = walked(file, [k.Open(conductor="w1.1")], steps)
    assert reversed_supplies([alone]) == [] and len(beside_maps(alone)) == 1


def test_joins_that_a_walk_did_not_look_for_are_said_with_their_draft():
    """Pins 2 and 11 are joined, and a walk of wires and neighbours ends as if all were well."""
    file = plant_of(12)
    joined = [k.Short(between=("K1.2", "K1.11"))]
    beside = [reading(f"J1.{pin}", f"J1.{pin + 1}", joined=False) for pin in range(1, 12)]
    steps = [*designed_pairs(resolve(file)), *beside]
    state = walked(file, joined, [*steps, Seek(find="landings")])
    (found,) = [outcome.found for outcome in results(state).values() if outcome.found is not None]
    assert found.verdict == "pass"
    (line,) = found.lines
    assert (
        "11 of 66 pairs of W1" in line and "'proveout draft PLANT crosses --cable W1'" in line and "4 readings" in line
    )
    (one,) = unread_joins([state])
    assert (one.held, one.pairs) == (11, 66)
    # the search that the draft has finds it, and nothing is left unsaid
    search = Seek(find="crosses", of="W1", settings={"apart": "100 kohm"})
    looked = walked(file, joined, [*steps, search])
    assert unread_joins([looked]) == [] and unread_told([]) == ""
    (explanation,) = explained([looked])
    (cause,) = explanation.explanation.causes
    assert isinstance(cause, Bridged) and {pin.name for pin in cause.pins} == {"2", "11"}
