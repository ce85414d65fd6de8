"""The faults of the demo: what may be wrong in the rebuilt bundle of Gannet Head."""

from __future__ import annotations

import random
from typing import Final

from bench.plant.faults import Fault, Leakage, Short
from bench.plant.faulty import affected_pins, random_faults
from bench.plant.model import Plant

CABLE: Final = "W101"


def demo_faults(plant: Plant, seed: int) -> list[Fault]:
    """Five faults of a rebuilt bundle that a pin by pin walk must find.

    Four are drawn from the kinds that change a conductor's reading from end to end. The fifth is a short between
    neighbouring pins: the walk looks at neighbours, since that is where a short in a connector is, and says so.
    """
    drawn = [fault for fault in random_faults(plant, CABLE, seed, 11) if not isinstance(fault, Short | Leakage)][:4]
    used = {name for fault in drawn for name in affected_pins(fault, plant).continuity}
    touched = {end.name for name in used for end in (plant.conductors[name].near_end, plant.conductors[name].far_end)}
    near = plant.cables[CABLE].near[0]
    free = [
        (pin.name, other.name)
        for pin, other in plant.neighbours_of(near)
        if pin.name not in touched and other.name not in touched
    ]
    pins = random.Random(f"short {seed}").choice(free)
    return [*drawn, Short(between=pins)]
