"""Flags on loose ends: places that a probe can touch, of which the plant knows nothing more."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.files import BadFile, shipped
from bench.plant import faults as k
from bench.plant.load import load_plant, plant_of
from bench.plant.model import Plant, UnknownName
from bench.plant.writing import Change, changed
from bench.quantity import Resistance
from bench.sequence.file import Rig, Tag
from bench.simulate.world.plant import PlantWorld


@pytest.fixture(scope="module")
def gannet_head() -> Plant:
    return load_plant(shipped("sequences") / "gannet-head" / "plant.yaml")


def test_every_loose_end_has_a_flag_and_no_other_end_has(gannet_head: Plant) -> None:
    flags = gannet_head.flags
    assert sum(name.startswith("W512.far/") for name in flags) == len(gannet_head.cables["W512"].conductors)
    assert not any(name.startswith(("W512.near", "W101.")) for name in flags)
    assert not set(flags) & set(gannet_head.terminals)
    assert gannet_head.terminal("W512.far/7") is gannet_head.find("W512.far/7")
    assert gannet_head.where("W512.far/7") == "cable W512, far end, flag 7"
    with pytest.raises(UnknownName):
        gannet_head.terminal("W512.far/51")


def test_flags_are_tied_in_an_order_that_the_seed_draws(gannet_head: Plant) -> None:
    ties = [PlantWorld(gannet_head, seed=seed).flags for seed in (1, 1, 2)]
    assert ties[0] == ties[1] != ties[2]
    ends = {one.far_end.name for one in gannet_head.cables["W512"].conductors}
    assert {end for flag, end in ties[0].items() if flag.startswith("W512.")} == ends


def test_a_flag_reads_as_the_wire_that_it_is_on(gannet_head: Plant) -> None:
    faults = [
        k.Open(conductor="W512.7"),
        k.Short(between=("W512.3", "W512.4")),
        k.Scrambled(cable="W512", end="far", seed=4),
    ]
    plain, faulty = PlantWorld(gannet_head, seed=5), PlantWorld(gannet_head, faults, seed=5)
    wire = gannet_head.conductors["W512.9"]
    flag = next(flag for flag, end in plain.flags.items() if end == wire.far_end.name)
    plain.place(wire.near_end.name, flag)
    assert plain.resistance("", "", 0.0) == pytest.approx(wire.expected(20.0).nominal_ohm, abs=0.2)
    others = [flag for flag in plain.flags if flag.startswith("W512.")]

    def answers(near: str) -> int:
        reads = 0
        for flag in others:
            faulty.place(gannet_head.conductors[near].near_end.name, flag)
            reads += faulty.resistance("", "", 0.0) < 100.0
        return reads

    assert [answers(f"W512.{number}") for number in (9, 7, 3)] == [1, 0, 2]


def test_a_tag_may_hang_on_a_flag(gannet_head: Plant) -> None:
    world = PlantWorld(gannet_head, seed=1)
    world.rig(Rig(tags=[Tag(place="W512.far/1", to="W512.far/2", ohms=Resistance(4700.0))]))
    world.place("W512.far/1", "W512.far/2")
    assert world.resistance("", "", 0.0) == pytest.approx(4700.0, abs=0.1)


@pytest.mark.slow
def test_a_flag_that_the_file_knows_is_on_its_wire_and_the_others_stay(gannet_head: Plant, tmp_path: Path) -> None:
    """What an identification wrote down is so from there on, in the simulator too: the rest is tied as it was."""
    before = PlantWorld(gannet_head, seed=5).flags
    source = shipped("sequences") / "gannet-head"
    known = {flag: end for flag, end in before.items() if flag.startswith("W512.far/") and int(flag[9:]) % 3}
    changes = [
        Change(("cables", "W512", "conductors", end.split(".")[1]), {"to-flag": flag[9:]})
        for flag, end in known.items()
    ]
    text = changed((source / "plant.yaml").read_text("utf-8"), changes)
    after = plant_of(text, source / "plant.yaml")
    assert PlantWorld(after, seed=5).flags == before
    # and with another seed, what is known is so all the same
    assert {flag: PlantWorld(after, seed=6).flags[flag] for flag in known} == known
    assert {after.terminal(flag).node for flag in known} == {after.terminal(end).node for end in known.values()}


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"to-flag": "51"}, "expected a flag's number, 1 to 50"),
        ({"to-flag": "2"}, "flag 2, which is on conductor 2, expected each flag on one conductor"),
    ],
)
def test_a_flag_is_on_one_wire(fields: dict[str, str], said: str) -> None:
    source = shipped("sequences") / "gannet-head" / "plant.yaml"
    changes = [Change(("cables", "W512", "conductors", "2"), {"to-flag": "2"})]
    changes.append(Change(("cables", "W512", "conductors", "3"), fields))
    with pytest.raises(BadFile, match=said):
        plant_of(changed(source.read_text("utf-8"), changes), source)
