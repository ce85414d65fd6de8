"""What is otherwise as time goes, or along a cable: a slow joint, a leak in the damp, a hum, a broken wire."""

from __future__ import annotations

import cmath
import math
from pathlib import Path

import pytest

from bench.plant.faults import Cut, Hums, Leakage, SlowJoint
from bench.plant.load import load_plant
from bench.plant.model import Plant
from bench.quantity import Duration, Frequency, Length, Ratio, Resistance, Voltage
from bench.simulate.world.plant import TEST_HZ, UNEVEN, PlantWorld, _open_line
from bench.simulate.world.terminals import HI, LO


@pytest.fixture(scope="module")
def plant() -> Plant:
    return load_plant(Path("sequences/gannet-head/plant.yaml"))


def test_a_slow_joint_adds_twice_as_much_each_time(plant: Plant) -> None:
    sound, world = (
        PlantWorld(plant),
        PlantWorld(plant, [SlowJoint(conductor="W101.12", ohms=Resistance(0.01), doubles=Duration(1000.0))]),
    )
    wire = plant.conductors["W101.12"]
    for one in (sound, world):
        one.place(wire.near_end.name, wire.far_end.name)
    base = sound.resistance(HI, LO, 0.0) - sound._touch
    for seconds in (0.0, 1000.0, 3000.0):
        added = world.resistance(HI, LO, seconds) - world._touch - base
        assert added == pytest.approx(0.01 * 2 ** (seconds / 1000.0), abs=0.03 * (base + 0.1))


def test_a_leak_follows_the_damp(plant: Plant) -> None:
    leak = Leakage(between=("J101.1", "J101.2"), ohms=Resistance(1e7), humid=Ratio(0.6), swing=Ratio(0.2))
    assert leak.at(6 * 3600.0) == pytest.approx(1e7 * 2**-3) and leak.at(18 * 3600.0) == pytest.approx(2e7)
    assert Leakage(between=("J101.1", "J101.2"), ohms=Resistance(1e7)).at(123.0) == 1e7
    world = PlantWorld(plant, [leak])
    world.place("J101.1", "J101.2")
    damp, dry = (world.resistance(HI, LO, hour * 3600.0) for hour in (6, 18))
    assert dry / damp == pytest.approx(16.0, rel=0.05)


def test_a_converter_that_hums_is_heard_at_its_own_inlets_and_less_elsewhere(plant: Plant) -> None:
    world = PlantWorld(plant, [Hums(shelf="2A", frequency=Frequency(3170.0), volts=Voltage(0.05))])
    for inlet, part in (("2A.A", 1.0), ("2B.A", 0.1)):
        world.place(inlet, f"{inlet}-return")
        assert world.tones() == ((3170.0, pytest.approx(0.05 * part)),)


@pytest.mark.parametrize("joined", [True, False])
def test_a_broken_wire_has_the_capacitance_of_its_piece_at_each_end(plant: Plant, joined: bool) -> None:
    wire = plant.conductors["W104.11"]
    length, each = wire.length_m, plant.cables["W104"].type.capacitance.value * (1.0 if joined else 0.5)
    world = PlantWorld(plant, [Cut(conductor="W104.11", at=Length(12.4))])
    others = [one for one in plant.cables["W104"].conductors if one.name != wire.name]
    for side, piece in (("near_end", 12.4), ("far_end", length - 12.4)):
        ends = [getattr(one, side).name for one in others]
        world.place(getattr(wire, side).name, ends[0], join=[ends] if joined else [])
        farads, ohms = world.capacitance(HI, LO, 0.0)
        assert farads == pytest.approx(piece * each, rel=4 * UNEVEN) and ohms > 1e6


def test_a_corroded_joint_lets_the_rest_of_the_wire_through(plant: Plant) -> None:
    # 22 kohm at 1 kHz: nearly closed, so that a break looks further away than it is
    wire = plant.conductors["W104.11"]
    others = [one.near_end.name for one in plant.cables["W104"].conductors if one.name != wire.name]
    found = []
    for ohms in (None, Resistance(22e3)):
        world = PlantWorld(plant, [Cut(conductor="W104.11", at=Length(12.4), ohms=ohms)])
        world.place(wire.near_end.name, others[0], join=[others])
        found.append(world.capacitance(HI, LO, 0.0)[0])
    assert found[1] > 1.4 * found[0]


def test_a_long_line_is_that_of_many_short_pieces() -> None:
    # the telegraph equations against two thousand lumped pieces in a row
    ohm, farad, length, count = 0.0842, 60e-12, 20_000.0, 2_000
    seen: complex = 1e-6
    step, shunt = ohm * length / count, 1j * math.tau * TEST_HZ * farad * length / count
    for _ in range(count):
        seen = shunt / 2 + 1.0 / (step + 1.0 / (seen + shunt / 2))
    exact = _open_line(ohm, farad, length, 1e-6)
    assert abs(exact - seen) < 1e-4 * abs(exact) and cmath.phase(exact) < math.pi / 2
