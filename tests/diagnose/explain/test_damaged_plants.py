"""What is said of plants that were damaged in their circuit and read through the simulated meter."""

from __future__ import annotations

import random

import pytest

from bench.diagnose.explain.causes import Bridged, Open, PartOpen, StrayJoin
from bench.diagnose.explain.records import explained
from bench.diagnose.explain.sentences import conductors_of
from bench.plant import faults as k
from bench.plant.faulty import apply_faults
from bench.plant.resolve import resolve
from tests.diagnose.explain.damaged_plant import all_crosses, designed_pairs, plant_of, walked

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
