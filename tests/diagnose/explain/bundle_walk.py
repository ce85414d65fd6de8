"""A bundle without labels, walked on paper: the real fold, the real adviser, the simulator's plant; no port."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import msgspec

from bench.diagnose.searches import adviser
from bench.files import from_text
from bench.judge.accuracy import AccuracyRow
from bench.plant import faults as k
from bench.plant.file import PlantFile
from bench.plant.resolve import resolve
from bench.sequence.file import Do, Found, Measure, Seek, SequenceFile
from bench.simulate.world.plant import PlantWorld
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.facts import BenchFacts, InstrumentFacts
from bench.walk.state import State, request, start, take

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
class Bundle:
    """One identification.

    Attributes:
        wires: of the cable.
        settings: of the search.
        faults: in the cable.
        seed: of flags, touches and tags.
        meddle: what goes wrong on the way.
    """

    wires: int
    settings: dict[str, str]
    faults: Sequence[k.Fault] = ()
    seed: int = 1
    file: PlantFile | None = None
    bench: BenchFacts = BENCH
    meddle: Meddle = lambda n, event: event
    state: State = field(default_factory=start)
    entries: list[e.Entry] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.file = self.file or plant_file(self.wires)
        self.plant = resolve(self.file)
        self.world = PlantWorld(self.plant, self.faults, seed=self.seed)
        self.random = random.Random(f"tags {self.seed}")
        self.noise = random.Random(f"noise {self.seed}")
        self.really: dict[float, float] = {}
        self.answers = 0
        self.advise = adviser()
        sequence = SequenceFile(
            sequence="identify",
            plant="plant.yaml",
            steps=[Seek(find="conductors", of="W1", settings=self.settings)],
        )
        self.say(e.Began(software="0", plant=self.file, sequence=sequence, bench=self.bench))
        self.say(e.MadeSafe(number=self.state.number))
        if isinstance(request(self.state), r.Meet):
            self.say(e.Met(number=self.state.number, instrument="meter", roles=["ohms"], identity="m"))

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

    def say(self, event: e.Event) -> None:
        entry = e.Entry(n=len(self.entries) + 1, at="2026-05-12T18:00:00.000000Z", event=event)
        self.state = take(self.state, entry)
        self.entries.append(entry)

    def step(self) -> Found | None:
        """One request answered; the finding where that was the end."""
        asked = request(self.state)
        number = self.state.number
        match asked:
            case r.Advise():
                advice = msgspec.structs.replace(self.advise(self.state), number=number)
                self.say(advice)
                return advice.want if isinstance(advice.want, Found) else None
            case r.Ask(step=step):
                source = step.source
                assert isinstance(source, Do)
                self.answers += 1
                said = "yes" if source.beeps is not None and self.beeps(source) else "no" if source.beeps else ""
                event = self.meddle(self.answers, e.Answered(number=number, answer=said))
                if source.rig is not None and isinstance(event, e.Answered):
                    self.world.rig(self.tagged(source.rig))
                self.say(event)
            case r.Place(step=step):
                source = step.source
                assert isinstance(source, Measure)
                self.world.place(*source.between, join=source.join)
                self.answers += 1
                event = self.meddle(self.answers, e.Answered(number=number))
                self.say(event)
            case r.Measure():
                self.say(self.read())
            case _:
                raise AssertionError(f"{asked} in a search")
        return None

    def tagged(self, rig):  # type: ignore[no-untyped-def]
        """The rig with tags that are off within their tolerance."""
        share = 0.99 * float(self.settings.get("tolerance", "1 %").rstrip(" %")) / 100

        def really(tag):  # type: ignore[no-untyped-def]
            if tag.ohms.value not in self.really:
                self.really[tag.ohms.value] = tag.ohms.value * (1 + self.random.uniform(-share, share))
            return msgspec.structs.replace(tag, ohms=type(tag.ohms)(self.really[tag.ohms.value]))

        return msgspec.structs.replace(rig, tags=[really(tag) for tag in rig.tags])

    def beeps(self, source: Do) -> bool:
        """Whether a tester beeps: below 30 Ω (common practice, no source)."""
        assert source.beeps is not None
        self.world.place(*source.beeps, join=source.join)
        return self.world.resistance("", "", 0.0) < 30.0

    def read(self) -> e.Read:
        ohms = self.world.resistance("", "", 0.0)
        common = {"number": self.state.number, "instrument": "meter", "function": "resistance 2w", "unit": "Ω"}
        if not math.isfinite(ohms) or ohms > 1.2 * RANGES[-1]:
            return e.Read(**common, over="+", range=RANGES[-1])
        top = next(top for top in RANGES if ohms <= 1.2 * top)
        gain = 0.008 if top > 2e7 else 0.0002
        value = ohms * (1 + self.noise.uniform(-gain, gain)) + self.noise.uniform(-1, 1) * 0.00002 * top
        return e.Read(**common, value=round(value, 6), range=top, resolution=top / 1e5)

    def identify(self, most: int = 100_000) -> Found:
        """The whole search."""
        for _ in range(most):
            found = self.step()
            if found is not None:
                return found
        raise AssertionError("no end in sight")


def wrong_names(found: Found, truth: dict[str, str]) -> dict[str, str]:
    """Names that are not so."""
    named = {**found.facts["names"], **found.facts["by_colour"]}
    return {flag: name for flag, name in named.items() if truth[flag] != name}
