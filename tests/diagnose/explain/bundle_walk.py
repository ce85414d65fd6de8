"""A bundle without labels, walked on paper: the real fold, the real adviser, the simulator's plant; no port."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import msgspec

from bench.files import from_text
from bench.judge.accuracy import AccuracyRow
from bench.plant import faults as k
from bench.plant.file import PlantFile
from bench.plant.resolve import resolve
from bench.sequence.file import Found, Seek, SequenceFile
from bench.sequence.plan import Step
from bench.simulate.on_paper import Walker
from bench.simulate.world.plant import PlantWorld
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.facts import BenchFacts, InstrumentFacts

RANGES = (100.0, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8)
METER = InstrumentFacts(
    name="meter",
    profile="a-meter",
    roles=["ohms"],
    rows=tuple(
        AccuracyRow(
            "ohms",
            "Ω",
            top,
            percent_of_reading=0.8 if top > 2e7 else 0.02,
            percent_of_range=0.002,
            resolution=top / 1e5,
            highest=1.2 * top,
        )
        for top in RANGES
    ),
    accuracy_of={"resistance 2w": "ohms"},
)
BENCH = BenchFacts(name="paper bench", simulated=True, instruments=[METER], role_of={"ohms": "meter"})


def plant_file(wires: int, *, screen: bool = True, colours: str = "numbered", length: str = "30 m") -> PlantFile:
    """One cable, landed at J1 in its order, with unlabelled wires at its far end."""
    text = {
        "plant": "a bundle",
        "connector-types": [{"name": "R", "pins": wires, "rows": 1}],
        "cable-types": [
            {"name": "N", "conductors": wires, "colours": colours, "size": "AWG 24"}
            | ({"screen": "AWG 22"} if screen else {})
        ],
        "bays": [{"name": "1", "shelves": [{"name": "1A", "connectors": [{"name": "J1", "type": "R"}]}]}],
        "cables": [{"name": "W1", "type": "N", "length": length, "from": "J1", "to": "unknown"}],
    }
    return msgspec.convert(text, PlantFile, dec_hook=from_text)


Meddle = Callable[[int, e.Event], e.Event]
"""Takes the number of a search's answer and the event that it would be; gives the one that it is."""


@dataclass
class Bundle(Walker):
    """One identification.

    Attributes:
        wires: of the cable.
        settings: of the search.
        faults: in the cable.
        seed: of flags, touches and tags.
        file: the plant; None: one cable with so many wires.
        at_hand: the bench.
        meddle: what goes wrong on the way.
    """

    wires: int
    settings: dict[str, str]
    faults: Sequence[k.Fault] = ()
    seed: int = 1
    file: PlantFile | None = None
    at_hand: BenchFacts = BENCH
    meddle: Meddle = lambda n, event: event

    def __post_init__(self) -> None:
        self.file = self.file or plant_file(self.wires)
        self.plant = resolve(self.file)
        self.world = PlantWorld(self.plant, self.faults, seed=self.seed)
        self.random = random.Random(f"tags {self.seed}")
        self.noise = random.Random(f"noise {self.seed}")
        self.really: dict[float, float] = {}
        self.answers = 0
        sequence = SequenceFile(
            sequence="identify",
            plant="plant.yaml",
            steps=[Seek(find="conductors", of="W1", settings=self.settings)],
        )
        self.begin(e.Began(software="0", plant=self.file, sequence=sequence, bench=self.at_hand))
        self.one()
        if isinstance(self.asked, r.Meet):
            self.one()

    @property
    def truth(self) -> dict[str, str]:
        """Flag to the conductor that it really is on."""
        return {flag: end.removesuffix(".far") for flag, end in self.world.flags.items()}

    @property
    def taken(self) -> int:
        """How many readings there were, and answers of a tester."""
        heard = ("yes", "no")
        return sum(isinstance(one, e.Read) or getattr(one, "answer", "") in heard for one in self.events)

    @property
    def events(self) -> list[e.Event]:
        """All events so far."""
        return [entry.event for entry in self.entries]

    def at(self) -> str:
        return "2026-05-12T18:00:00.000000Z"

    def done(self, step: Step) -> e.Event:
        self.answers += 1
        event = self.meddle(self.answers, super().done(step))
        if step.source.rig is not None and isinstance(event, e.Answered):
            self.world.rig(self.tagged(step.source.rig))
        return event

    def said(self, step: Step) -> str:
        if step.probes is None:
            return super().said(step)
        return "yes" if self.beeps(step) else "no"

    def placed(self, step: Step) -> e.Event:
        assert step.probes is not None
        self.world.place(*step.probes, join=step.source.join)
        self.answers += 1
        return self.meddle(self.answers, super().placed(step))

    def tagged(self, rig):  # type: ignore[no-untyped-def]
        """The rig with tags that are off within their tolerance."""
        share = 0.99 * float(self.settings.get("tolerance", "1 %").rstrip(" %")) / 100

        def really(tag):  # type: ignore[no-untyped-def]
            if tag.ohms.value not in self.really:
                self.really[tag.ohms.value] = tag.ohms.value * (1 + self.random.uniform(-share, share))
            return msgspec.structs.replace(tag, ohms=type(tag.ohms)(self.really[tag.ohms.value]))

        return msgspec.structs.replace(rig, tags=[really(tag) for tag in rig.tags])

    def beeps(self, step: Step) -> bool:
        """Whether a tester beeps: below 30 Ω (common practice, no source)."""
        assert step.probes is not None
        self.world.place(*step.probes, join=step.source.join)
        return self.world.resistance("", "", 0.0) < 30.0

    def measured(self, step: Step) -> e.Event:
        ohms = self.world.resistance("", "", 0.0)
        if not math.isfinite(ohms) or ohms > 1.2 * RANGES[-1]:
            return self.reading(over="+", range=RANGES[-1])
        top = next(top for top in RANGES if ohms <= 1.2 * top)
        gain = 0.008 if top > 2e7 else 0.0002
        value = ohms * (1 + self.noise.uniform(-gain, gain)) + self.noise.uniform(-1, 1) * 0.00002 * top
        return self.reading(value=round(value, 6), range=top, resolution=top / 1e5)

    def identify(self, most: int = 100_000) -> Found:
        """The whole search."""
        for _ in range(most):
            event = self.one()
            if isinstance(event, e.Advised) and isinstance(event.want, Found):
                return event.want
        raise AssertionError("no end in sight")


def wrong_names(found: Found, truth: dict[str, str]) -> dict[str, str]:
    """Names that are not so."""
    named = {**found.facts["names"], **found.facts["by_colour"]}
    return {flag: name for flag, name in named.items() if truth[flag] != name}
