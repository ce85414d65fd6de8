"""A meter behind relays sees just what the closed relays connect, stuck ones included."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from bench.plant import faults as k
from bench.plant.load import load_plant
from bench.plant.model import Plant
from bench.simulate.twins.matrix import MatrixTwin
from bench.simulate.world.power import PowerWorld
from bench.simulate.world.relayed import RelayedLeads, Wires

JOB = Path(__file__).parents[3] / "sequences" / "gannet-head"
WIRES: Wires = {
    101: ("red", "J111.1"),
    201: ("black", "J111.1"),
    102: ("red", "J111.2"),
    202: ("black", "J111.2"),
    103: ("red", "J208.2"),
    203: ("black", "J208.2"),
    197: ("red", "together"),
    298: ("black", "together"),
    195: ("red", "reference"),
    296: ("black", "reference"),
}


@pytest.fixture(scope="module")
def plant() -> Plant:
    return load_plant(JOB / "plant.yaml")


class Rig:
    """A matrix on a plant, told what to close; the meter's leads are on its buses."""

    def __init__(self, plant: Plant, *faults: k.Fault, **stuck: list[int]) -> None:
        self.world = PowerWorld(plant, faults, seed=1)
        self.matrix = MatrixTwin(RelayedLeads(self.world, WIRES), rows=99, **stuck)
        self.now = 0.0

    def ohms(self, *channels: int) -> float:
        """What the meter reads with these closed and the relays at rest."""
        for command in ("ROUT:OPEN:ALL", f"ROUT:CLOS (@{','.join(map(str, channels))})" if channels else "*WAI"):
            self.matrix.receive(command.encode() + b"\n", self.now)
            self.now += 1.0
            self.matrix.send(self.now)
        return self.world.resistance("hi", "lo", self.now)


def test_a_route_is_a_pair_of_leads(plant: Plant) -> None:
    rig = Rig(plant)
    by_hand = PowerWorld(plant, seed=1)
    by_hand.place("J111.2", "J208.2")
    through = rig.ohms(102, 203)
    assert through == pytest.approx(by_hand.resistance("hi", "lo", 0.0), abs=0.01)
    assert 0.1 < through < 1.0
    assert math.isinf(rig.ohms(101, 203)), "another conductor"
    assert math.isinf(rig.ohms(102)), "one lead in the air"
    assert math.isinf(rig.ohms()), "all open"


def test_groups_meet_on_the_buses(plant: Plant) -> None:
    short = k.Short(between=("J111.1", "J111.2"))
    rig = Rig(plant, short)
    assert rig.ohms(101, 202) < 1.0
    # the two that are shorted are on one side, and nothing leads to the other
    both = Rig(plant)
    assert both.ohms(101, 102, 203) < 1.0, "the second of the group leads there"


def test_the_rows_with_something_known_between(plant: Plant) -> None:
    rig = Rig(plant)
    assert rig.ohms(197, 298) < 0.01
    assert rig.ohms(195, 296) == pytest.approx(100.0, abs=0.01)


def test_a_dead_relay_reads_open_and_a_welded_one_stays(plant: Plant) -> None:
    assert math.isinf(Rig(plant, dead=[203]).ohms(102, 203))
    welded = Rig(plant, welded=[203])
    assert welded.ohms(102, 201) < 1.0, "a pin that should be apart reads joined through the welded relay"


def test_what_a_person_holds_stays_while_no_relay_moves_it(plant: Plant) -> None:
    rig = Rig(plant)
    rig.world.hold("reference")
    assert rig.ohms() == pytest.approx(100.0, abs=0.01)
    rig.ohms(102, 203)
    assert math.isinf(rig.ohms())
