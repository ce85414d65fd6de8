"""A pin list learned from a cable that was read whole, by hands and by every cross, with damage in it that is asked."""

from __future__ import annotations

import random

import msgspec
import pytest

from bench.diagnose.explain.learning import learned
from bench.diagnose.explain.walk_map import maps_of
from bench.plant import faults as k
from bench.plant.resolve import resolve
from bench.sequence.file import Seek
from tests.diagnose.explain import damage_kinds as d
from tests.diagnose.explain.damaged_plant import all_crosses, plant_of, walked, with_pins

PINS = 12
ORDER = {1: 5, 2: 9, 3: 1, 4: 11, 5: 2, 6: 12, 7: 3, 8: 10, 9: 4, 10: 8, 11: 6, 12: 7}
"""How the sound cable of these tests runs: pin of J1 to pin of K1."""
TRUE = d.landed("K1", ORDER)
HANDS = [Seek(find="conductors", of="W1", settings={"flags": "K1"})]


def told(faults, steps=None, file=None, twins=()):
    """What is learned of W1 of a plant whose file has no list of it yet."""
    file = file or plant_of(PINS, cables=2)
    plant = resolve(file)
    (one,) = [one for one in maps_of(walked(file, faults, steps or all_crosses(plant))) if "W1" in one.cables]
    return learned(plant, plant.cables["W1"], one, [plant.cables[name] for name in twins])


@pytest.mark.parametrize("steps", [None, HANDS], ids=["every cross", "hands"])
def test_a_sound_cable_of_an_order_of_its_own_is_learned_whole(steps):
    found = told(TRUE, steps)
    assert found.missing == () and found.doubts == ()
    assert found.sure() == {f"W1.{n}": f"K1.{pin}" for n, pin in ORDER.items()}
    assert found.like == ("like no list that is known: an order of its own",)


@pytest.mark.parametrize("steps", [None, HANDS], ids=["every cross", "hands"])
def test_one_open_among_the_others_is_asked_and_not_learned(steps):
    found = told([*TRUE, k.Open(conductor="W1.2")], steps)
    assert found.missing == () and found.asked == {"W1.2"}
    assert "W1.2" not in found.sure() and len(found.sure()) == PINS - 1
    (doubt,) = found.doubts
    assert "J1.2 reaches no pin" in doubt.why and "K1.9 is left over" in doubt.why


def test_wires_in_one_joint_are_asked():
    found = told([*TRUE, k.Short(between=("W1.2", "W1.7"))])
    assert found.asked == {"W1.2", "W1.7"} and len(found.sure()) == PINS - 2
    assert "a strap that is meant, or a short" in found.doubts[0].why


def test_two_wires_exchanged_against_its_twin_are_asked_and_taken_only_on_somebodys_word():
    """W2 is its twin, with a list that is known; W1 has two wires the other way round."""
    file = with_pins(plant_of(PINS, cables=2), {n: f"K2.{pin}" for n, pin in ORDER.items()}, "W2")
    found = told([*TRUE, k.Exchanged(pins=("K1.5", "K1.9"))], file=file, twins=["W2"])
    assert found.like == ("as its twin W2, but for 2",)
    assert found.asked == {"W1.1", "W1.2"}
    assert found.sure(["W1.1", "W1.2"])["W1.1"] == "K1.9"
    sound = told(TRUE, file=file, twins=["W2"])
    assert sound.like == ("as its twin W2",) and sound.doubts == ()


def test_a_straight_cable_with_two_wires_exchanged_is_not_learned_as_an_order_of_its_own():
    found = told([k.Exchanged(pins=("K1.3", "K1.9"))])
    assert found.asked == {"W1.3", "W1.9"} and "but for 2" in found.like[0]


def test_a_pair_that_lies_otherwise_than_the_others_is_asked():
    """All pairs two places on, so no list is like it; pair 3 is reversed besides."""
    file = plant_of(PINS, pairs=True)
    moved = {pin: (pin + 3) % PINS + 1 for pin in range(1, PINS + 1)}
    faults = [*d.landed("K1", moved), k.Exchanged(pins=(f"K1.{moved[5]}", f"K1.{moved[6]}"))]
    found = told(faults, file=file)
    assert len(found.doubts) == 1 and "lies otherwise than the others" in found.doubts[0].why
    assert {resolve(file).conductors[name].pair for name in found.asked} == {3}


def test_a_map_that_was_not_read_whole_says_what_is_missing():
    plant = resolve(plant_of(PINS, cables=2))
    some = [step for step in all_crosses(plant) if "J1.4" not in step.between and "W2" not in step.title]
    found = told(TRUE, some)
    assert found.missing == ("J1.4",)


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.quick_cases(4)
def test_nothing_false_is_learned_of_a_cable_with_one_to_three_mistakes(seed):
    """Against a twin that is known: what differs from it is asked, whatever was done."""
    draw = random.Random(seed)
    order = dict(zip(range(1, PINS + 1), draw.sample(range(1, PINS + 1), PINS), strict=True))
    file = with_pins(plant_of(PINS, cables=2), {n: f"K2.{pin}" for n, pin in order.items()}, "W2")
    wires = draw.sample(range(1, PINS + 1), 4)
    faults = list(d.landed("K1", order))
    kind = draw.choice(["open", "joined", "exchanged"])
    if kind == "open":
        faults += [k.Open(conductor=f"W1.{n}") for n in wires[: draw.randint(1, 3)]]
    elif kind == "joined":
        faults.append(k.Short(between=(f"W1.{wires[0]}", f"W1.{wires[1]}")))
    else:
        faults.append(k.Exchanged(pins=(f"K1.{order[wires[0]]}", f"K1.{order[wires[1]]}")))
    found = told(faults, file=file, twins=["W2"])
    assert found.sure().items() <= {f"W1.{n}": f"K1.{pin}" for n, pin in order.items()}.items()
    assert len(found.sure()) >= PINS - 3 and found.doubts
    assert msgspec.to_builtins(found.missing) == ()
