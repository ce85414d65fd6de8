"""Drafts of power wiring: from the supply to each inlet, with four wires where two cannot tell."""

from pathlib import Path

import pytest

from bench.plant.load import load_plant
from bench.sequence.draft import KINDS
from bench.sequence.file import Do, Measure, SequenceFile, Zero
from bench.sequence.unroll import unroll

HUT = load_plant(Path("tests/jobs/beacon-hut/plant.yaml"))
HALL = load_plant(Path("sequences/gannet-head/plant.yaml"))


def steps(plant, of):
    made = KINDS["continuity"](plant, of).steps
    return unroll(SequenceFile(sequence="s", plant="plant.yaml", steps=made), plant).steps


def wires(plant, of):
    return {step.subject: step.source.wires for step in steps(plant, of) if isinstance(step.source, Measure)}


@pytest.mark.parametrize("shelf", list(HUT.shelves))
def test_a_shelf_includes_the_way_of_its_feeds_there_and_back(shelf):
    read = wires(HUT, shelf)
    for inlet in HUT.inlets_of(shelf):
        way = HUT.supply_path(shelf, inlet.feed)
        for edge in (*way.out, *way.back):
            if edge.kind == "conductor":
                assert read[edge.id] == 4, edge.id
    # from the supply on: what feeds a cable stands before it
    main = {"finder-top": ("WP", "WPF", "w1"), "keyers": ("WP", "WPS", "w5")}.get(shelf, ())
    cables = list(dict.fromkeys(HUT.conductors[name].cable for name in read if name in HUT.conductors))
    assert [name for name in cables if name in main] == list(main)


def test_thin_wires_are_read_with_two_and_thick_ones_with_four():
    for plant, bay in ((HUT, "signals"), (HALL, "2")):
        for name, count in wires(plant, bay).items():
            if name in plant.conductors:
                limit = plant.conductors[name].expected(plant.ambient_c).high_ohm
                pins = "pin" in {end.kind for end in (plant.conductors[name].near_end, plant.conductors[name].far_end)}
                assert count == (2 if pins or limit >= 0.1 else 4), name


def test_a_power_cable_alone_needs_no_zero_and_says_where_its_ends_are():
    """FA.line is in bay 6 and BR2.3 in bay 2: nobody holds a probe on both."""
    made = steps(HALL, "WA2")
    assert not any(isinstance(step.source, Zero) for step in made)
    reach = next(step.source.text for step in made if isinstance(step.source, Do) and step.title == "Leads that reach")
    assert "lay extension leads" in reach and "bay 6" in reach and "bay 2" in reach
    near = next(step.source.text for step in steps(HALL, "WA6A") if step.title == "Leads that reach")
    assert "extension leads" not in near


@pytest.mark.parametrize(("plant", "of"), [(HUT, "finder"), (HUT, "relays"), (HALL, "2")], ids=["bay", "shelf", "hall"])
def test_every_joint_of_a_way_is_read_across_breakers_that_are_closed_for_it_and_opened_again(plant, of):
    """With the wires they make the whole way: each part of it lies between two places that are read."""
    closed, read = set(), set()
    hold = False
    for step in steps(plant, of):
        source = step.source
        hold = hold or step.kind == "hold"
        if isinstance(source, Do):
            assert not source.close or hold, "nothing is closed before the plant is dead"
            closed = closed - set(source.open) | set(source.close)
        if isinstance(source, Measure) and source.limit.computed == "conductor":
            read.add(step.subject)
        if isinstance(source, Measure) and source.limit.computed == "path":
            parts = plant.path(*source.between)
            assert source.wires == 4 and {edge.id for edge in parts if edge.kind == "breaker"} <= closed
            assert {edge.kind for edge in parts} <= {"breaker", "busbar"}
            read |= {edge.id for edge in parts}
    assert not closed
    for inlet in plant.inlets_of(of):
        path = plant.supply_path(inlet.shelf, inlet.feed)
        assert {edge.id for edge in (*path.out, *path.back)} <= read, inlet.name
