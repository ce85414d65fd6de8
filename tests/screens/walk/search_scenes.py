"""A bundle without labels on the screen: cards for both ends, flags to touch, what was found."""

from __future__ import annotations

import math

import msgspec

from bench.files import from_text
from bench.plant import faults as k
from bench.plant.file import PlantFile
from bench.plant.resolve import resolve
from bench.sequence import file as s
from bench.sequence.plan import Step
from bench.simulate.world.plant import PlantWorld
from bench.walk import events as e
from bench.walk import requests as r
from tests.screens import gannet
from tests.screens.gannet import LEADS, Walk
from tests.walk.walker import InTheWorld

TAGS = {"method": "tags", "tags": "E24", "tolerance": "1 %", "tags-to": "10 kohm", "common": "screen"}


def bundle() -> PlantFile:
    """The plant of the other scenes, its bundle screened and cut at the far end."""
    text = msgspec.to_builtins(gannet.plant(), enc_hook=str)
    text["cable-types"][0]["screen"] = "AWG 22"
    text["cables"][0] |= {"to": "unknown"}
    return msgspec.convert(text, PlantFile, dec_hook=from_text)


class SearchWalk(InTheWorld, Walk):
    """An identification that is answered from the simulator's plant."""

    def __init__(self, settings: dict[str, str], faults: tuple[k.Fault, ...] = ()) -> None:
        first = (
            s.Do(text="Prove the tester.")
            if "tester" in settings
            else s.Zero(text="Hold the two probe tips firmly together.")
        )
        sequence = s.SequenceFile(
            sequence="which wire is which in W101",
            plant="plant.yaml",
            steps=[
                first,
                s.Seek(find="conductors", of="W101", settings=settings, title="Which wire is which in W101"),
            ],
        )
        file = bundle()
        self.world = PlantWorld(resolve(file), faults, seed=3)
        began = gannet.e.Began(software="0.1", plant=file, sequence=sequence, bench=gannet.bench(), operator="Ana")
        super().__init__(began=began)

    def measured(self, step: Step) -> e.Event:
        if step.kind != "measure":
            return super().measured(step)
        read = self.world.resistance("", "", 0.0)
        lost = not math.isfinite(read) or read > 12000
        return self.shown(None if lost else round(read + LEADS, 3), over="+" if lost else "")

    def flags(self, readings: int) -> SearchWalk:
        """Go on until so many readings of the search are in, and the next is asked for."""
        while (
            self.state.seeking is None or sum(link.reading is not None for link in self.state.seeking.trail) < readings
        ):
            self.one()
        self.until(r.Place)
        return self


def card(settings: dict[str, str] = TAGS) -> SearchWalk:
    """The first card that clips something on."""
    walk = SearchWalk(settings)
    walk.until(r.Place, "zero")
    walk.seat()
    walk.one()
    while True:
        walk.until(r.Ask, "do")
        step = walk.state.step
        assert step is not None and isinstance(step.source, s.Do) and step.source.rig is not None
        if step.source.rig.tags or step.source.rig.join:
            return walk
        walk.one()


def flag(readings: int = 7) -> SearchWalk:
    """A flag is to be touched."""
    return card().flags(readings)


def bar() -> SearchWalk:
    """A run of flags is held on a bar."""
    return card({"method": "chain"}).flags(52)


def beep(answers: int = 52) -> SearchWalk:
    """A continuity tester is on two sides, and the operator is asked whether it beeps."""
    walk = SearchWalk({"method": "chain", "tester": "yes"})
    walk.until(r.Ask, "do")
    walk.seat()
    while walk.state.seeking is None or sum(link.beeped is not None for link in walk.state.seeking.trail) < answers:
        walk.one()
    while not (isinstance(walk.asked, r.Ask) and getattr(walk.asked.step.source, "beeps", None)):
        walk.one()
    return walk


def found() -> SearchWalk:
    """The end, with a broken wire and two that touch."""
    walk = SearchWalk(TAGS, (k.Open(conductor="W101.12"), k.Short(between=("W101.19", "W101.20"))))
    walk.until(r.Place, "zero")
    walk.seat()
    walk.until(r.Finished)
    return walk
