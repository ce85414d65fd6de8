"""A plant damaged in its circuit and read through the simulated meter, by hand's own steps; no port.

What the explainer says of it is held against the damage itself, never against the explainer's own prediction.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

import msgspec

from bench.files import from_text
from bench.plant import faults as k
from bench.plant.file import ConductorEntry, ConnectorType, Earth, PlantFile
from bench.plant.model import Plant
from bench.plant.resolve import resolve
from bench.quantity import Resistance
from bench.sequence.file import Limit, Measure, Seek, SequenceFile
from bench.sequence.plan import Step
from bench.simulate.world.plant import PlantWorld
from bench.walk import events as e
from bench.walk.state import State
from tests.diagnose.explain.bundle_walk import BENCH, RANGES
from tests.walk.walker import InTheWorld


def plant_of(
    pins: int, rows: int = 1, cables: int = 1, *, pairs: bool = False, numbering: str = "along-rows"
) -> PlantFile:
    """Straight cables: W1 from J1 to K1 and so on, their connectors on two shelves that share a frame bar."""
    numbers = range(1, cables + 1)
    text = {
        "plant": "the receiver hall of Gannet Head",
        "connector-types": [{"name": "R", "pins": pins, "rows": rows, "numbering": numbering}],
        "cable-types": [
            {"name": "N", "size": "AWG 24"}
            | ({"pairs": pins // 2} if pairs else {"conductors": pins, "colours": "numbered"})
        ],
        "bays": [
            {
                "name": "1",
                "shelves": [
                    {"name": name, "connectors": [{"name": f"{letter}{n}", "type": "R"} for n in numbers]}
                    for name, letter in (("1A", "J"), ("1B", "K"))
                ],
            }
        ],
        "cables": [{"name": f"W{n}", "type": "N", "length": "12 m", "from": f"J{n}", "to": f"K{n}"} for n in numbers],
    }
    return msgspec.convert(text, PlantFile, dec_hook=from_text)


def with_pins(file: PlantFile, pins: Mapping[int, str], cable: str = "W1") -> PlantFile:
    """The same plant with some conductors of a cable landed by a pin list: conductor to the far pin."""
    entries = [
        msgspec.convert({"conductor": str(number), "to": pin}, ConductorEntry, dec_hook=from_text)
        for number, pin in pins.items()
    ]
    cables = [msgspec.structs.replace(one, conductors=entries) if one.name == cable else one for one in file.cables]
    return msgspec.structs.replace(file, cables=cables)


def with_screens(file: PlantFile) -> PlantFile:
    """The same plant with a screen in every cable, which ends free at both ends."""
    types = [msgspec.structs.replace(one, screen=one.size) for one in file.cable_types]
    return msgspec.structs.replace(file, cable_types=types)


def with_tails(pins: int) -> PlantFile:
    """A block J1 of two tails of as many wires: W1 from its first half to K1, W2 from its second to K2."""
    file = plant_of(pins, cables=2)
    types = [*file.connector_types, msgspec.convert({"name": "D", "pins": 2 * pins, "rows": 1}, ConnectorType)]
    bay = file.bays[0]
    block = msgspec.convert({"name": "J1", "type": "D"}, type(bay.shelves[0].connectors[0]))
    shelves = [msgspec.structs.replace(bay.shelves[0], connectors=[block]), *bay.shelves[1:]]
    cables = [
        msgspec.structs.replace(
            cable,
            start=["J1"],
            conductors=[
                msgspec.convert(
                    {"conductor": str(n), "from": f"J1.{n + pins * half}", "to": f"K{half + 1}.{n}"}, ConductorEntry
                )
                for n in range(1, pins + 1)
            ],
        )
        for half, cable in enumerate(file.cables)
    ]
    return msgspec.structs.replace(
        file, connector_types=types, bays=[msgspec.structs.replace(bay, shelves=shelves)], cables=cables
    )


def with_frame(file: PlantFile, name: str) -> PlantFile:
    """The same plant with a frame in its bay that a probe can touch."""
    earth = {
        "single-point": "SP",
        "points": [
            {"name": name, "kind": "frame", "at": "1"},
            {"name": "MB", "kind": "bar", "network": "outside"},
        ],
        "bonds": [{"name": "SP", "from": name, "to": "MB", "ohms": "1 mohm"}],
    }
    return msgspec.structs.replace(file, earth=msgspec.convert(earth, Earth, dec_hook=from_text))


class DamagedPlant(InTheWorld):
    """Readings that the simulated plant gives, on the real fold.

    Args:
        file: the plant as designed.
        faults: what is wrong with it.
        steps: what is read.
        seed: of flags and touches.
    """

    def __init__(
        self, file: PlantFile, faults: Sequence[k.Fault], steps: Iterable[Measure | Seek], seed: int = 1
    ) -> None:
        self.world = PlantWorld(resolve(file), faults, seed=seed)
        sequence = SequenceFile(sequence="a walk", plant="plant.yaml", steps=list(steps))
        self.begin(e.Began(software="0", plant=file, sequence=sequence, bench=BENCH))

    def placed(self, step: Step) -> e.Event:
        assert step.probes is not None
        return super().placed(step)

    def measured(self, step: Step) -> e.Event:
        ohms = self.world.resistance("", "", 0.0)
        if not math.isfinite(ohms) or ohms > RANGES[-1]:
            return self.reading(over="+", range=RANGES[-1])
        top = next(top for top in RANGES if ohms <= 1.2 * top)
        return self.reading(value=round(ohms, 6), range=top, resolution=top / 1e5)


def walked(file: PlantFile, faults: Sequence[k.Fault], steps: Iterable[Measure | Seek], seed: int = 1) -> State:
    """A walk of these readings, from the real fold and the simulated meter's world."""
    return DamagedPlant(file, faults, steps, seed).run()


def reading(one: str, other: str, *, joined: bool) -> Measure:
    """One resistance between two places."""
    why = "what the test wants"
    limit = Limit(at_most=Resistance(10.0), source=why) if joined else Limit(at_least=Resistance(1e6), source=why)
    return Measure(read="resistance", between=(one, other), limit=limit, title=f"{one} to {other}")


def designed_pairs(plant: Plant) -> list[Measure]:
    """Every conductor from pin to pin."""
    return [reading(c.near_end.name, c.far_end.name, joined=True) for c in plant.conductors.values()]


def all_crosses(plant: Plant) -> list[Measure]:
    """Every pin at a near end against every pin at a far end."""
    wires = plant.conductors.values()
    return [reading(a.near_end.name, b.far_end.name, joined=a is b) for a in wires for b in wires]
