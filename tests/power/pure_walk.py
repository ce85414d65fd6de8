"""First power without ports: the machine, the supply's twin spoken to in bytes, and the plant, in simulated time."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec

from bench.judge.accuracy import AccuracyRow
from bench.judge.watch import Finished, Off, RampUp, Setting, Watch
from bench.plant import faults as k
from bench.plant.handled import Handled
from bench.plant.model import Plant
from bench.record.append import RecordWriter
from bench.sequence.draft import draft
from bench.sequence.file import Do, Energise, Measure, Prove
from bench.sequence.load import load_sequence
from bench.sequence.plan import Step
from bench.simulate.twins.plant_supply import PlantSupplyTwin
from bench.simulate.world.power import PowerWorld
from bench.walk import events as e
from bench.walk.facts import BenchFacts, InstrumentFacts
from bench.walk.state import Refused, State, start, take
from tests.walk.walker import Walker

METER = InstrumentFacts(
    name="meter",
    profile="a-meter",
    roles=["ohms", "volts", "amps"],
    rows=(
        AccuracyRow(
            "ohms", "Ω", 1e5, percent_of_reading=0.02, percent_of_range=0.005, resolution=0.1, cold_c=5.0, hot_c=40.0
        ),
        AccuracyRow(
            "volts", "V", 0.1, percent_of_reading=0.005, percent_of_range=0.004, resolution=1e-6, cold_c=5.0, hot_c=40.0
        ),
        AccuracyRow(
            "volts",
            "V",
            100.0,
            percent_of_reading=0.005,
            percent_of_range=0.002,
            resolution=1e-4,
            cold_c=5.0,
            hot_c=40.0,
        ),
        AccuracyRow(
            "amps", "A", 10.0, percent_of_reading=0.1, percent_of_range=0.02, resolution=1e-5, cold_c=5.0, hot_c=40.0
        ),
    ),
    accuracy_of={"resistance 2w": "ohms", "voltage": "volts", "current": "amps"},
)
SUPPLY = InstrumentFacts(
    name="supply",
    profile="a-supply",
    roles=["supply"],
    outputs=True,
    rows=(
        AccuracyRow("amps dc", "A", 5.0, percent_of_reading=0.1, counts=30, resolution=1e-4, cold_c=5.0, hot_c=40.0),
    ),
    accuracy_of={"current": "amps dc"},
)
BENCH = BenchFacts(
    name="power bench",
    simulated=True,
    instruments=[METER, SUPPLY],
    role_of={"ohms": "meter", "volts": "meter", "amps": "meter", "supply": "supply"},
)
EVERY = 0.15
"""Seconds between readings of the supply's current besides what it takes itself."""


def begun(folder: Path, plant: Path, of: str) -> State:
    """The state after a drafted sequence was begun; shared by all runs, since nothing in it changes."""
    from bench.plant.load import load_plant

    path = folder / f"first-power-{of}.yaml"
    path.write_text(draft(load_plant(plant), "first-power", of, str(plant), "sequence.json"), "utf-8")
    loaded = load_sequence(path)
    first = e.Began(
        software="0.0 test", edition=e.EDITION, plant=loaded.plant.file, sequence=loaded.sequence, bench=BENCH
    )
    return take(start(), e.Entry(n=1, at="2026-06-01T18:00:00Z", event=first))


@dataclass
class Trip:
    """How an output went off.

    Attributes:
        beyond: readings beyond the window, the first among them.
        seconds: from the reading to the output being off.
        over_a: how far beyond the most the first reading was.
    """

    beyond: int
    seconds: float
    over_a: float


@dataclass
class PureWalk(Walker):
    """One walk on one plant."""

    state: State
    plant: Plant
    faults: Sequence[k.Fault]
    seed: int
    broken: Sequence[k.BrokenLead] = ()
    reached_into: list[tuple[str, float]] = field(default_factory=list)
    """Shelves that hands reached into, and the volts behind their diodes then."""
    fed: list[tuple[Step, e.Energised]] = field(default_factory=list)
    trips: list[Trip] = field(default_factory=list)
    t: float = 0.0

    def __post_init__(self) -> None:
        self.world = PowerWorld(self.plant, self.faults, seed=self.seed, broken=self.broken)
        self.supply = PlantSupplyTwin(self.world, seed=self.seed)
        self.noise = random.Random(f"meter {self.seed}")
        self.handled = Handled()
        self.entries = []

    def one(self) -> e.Event:
        event = self.event()
        try:
            return self.add(event).event
        except Refused as why:
            # a hold point that stands on what no longer counts: people give up there
            return self.add(e.Aborted(why=str(why))).event

    def record(self, path: Path) -> Path:
        """The walk as a record on disk, its beginning with it."""
        assert self.state.setting is not None
        with RecordWriter.create(path) as writer:
            for entry in (e.Entry(n=1, at="2026-06-01T18:00:00Z", event=self.state.setting.began), *self.entries):
                writer.append(entry)
        return path

    def at(self) -> str:
        return "2026-06-01T18:00:00Z"

    def made_safe(self) -> dict[str, bool]:
        self.tell("OUTP OFF")
        return {"supply": self.ask("OUTP?") == 0}

    def done(self, step: Step) -> e.Event:
        self.act(step)
        return super().done(step)

    def placed(self, step: Step) -> e.Event:
        if isinstance(step.source, Measure):
            self.world.place(*step.source.between, self.t)
        else:
            self.world.hold("live")
        return super().placed(step)

    def switched(self, step: Step) -> e.Event:
        assert step.source.switches_off
        self.tell("OUTP OFF")
        return msgspec.structs.replace(super().switched(step), confirmed=self.ask("OUTP?") == 0)

    def waited(self, left: float) -> e.Event:
        self.t += left
        return super().waited(left)

    # hands and instruments

    def act(self, step: Step) -> None:
        source = step.source
        if isinstance(source, Do):
            self.t += 5.0
            for shelf in self._reached(source):
                # who reads behind the diodes waits until the charge is gone
                while self.world.charge(shelf, self.t) > 2.0:
                    self.t += 10.0
            self.handled = self.handled.after(source.changes)
            self.reached_into += [(one, self.world.charge(one, self.t)) for one in self._reached(source)]
            self.world.breakers(self.handled.closed, self.t)
            self.world.energise(sorted(self.handled.live))
            self.world.cards(self.handled.out, self.t)

    def _reached(self, act: Do) -> list[str]:
        """The shelves whose inside hands reach into by an act that asks for a reading there first."""
        cards = [self.plant.cards[name] for name in act.put_in if name in self.plant.cards]
        halves = {half: shelf.name for shelf in self.plant.shelves.values() for half in shelf.halves}
        return list(dict.fromkeys(halves.get(card.shelf, card.shelf) for card in cards))

    def tell(self, text: str) -> None:
        self.supply.receive(text.encode() + b"\n", self.t)
        self.supply.send(self.t)

    def ask(self, text: str) -> float:
        self.supply.receive(text.encode() + b"\n", self.t)
        while not (answer := self.supply.send(self.t)):
            assert self.supply.wake_at is not None
            self.t = max(self.t, self.supply.wake_at)
        return float(answer.decode())

    def measured(self, step: Step) -> e.Event:
        source = step.source
        # a proof before and after proving dead reads a live source
        what = source.read if isinstance(source, Measure | Prove) else "voltage"
        self.t += source.lasts + 1.0
        if what == "resistance":
            value = self.world.resistance("hi", "lo", self.t)
        elif what == "current":
            value = self.world.current("amps", "lo", self.t, 0.1)
        else:
            value = self.world.voltage("hi", "lo", self.t, 1e7)
        value = 0.0 if math.isnan(value) else value
        if math.isinf(value):
            return self.reading(over="+", range=1e5)
        return self.reading(value=value * (1 + self.noise.gauss(0, 2e-5)))

    def brought_up(self, step: Step) -> e.Event:
        ramp = self.state.pending.ramp
        assert ramp is not None
        return self.bring_up(step, ramp)

    def bring_up(self, step: Step, ramp: RampUp) -> e.Energised:
        """A load is brought up by a ramp and watched."""
        source = step.source
        assert isinstance(source, Energise)
        dummy = dict.fromkeys(n for n in step.touches if n in self.world.shelves) if source.dummy else {}
        self.world.supply_at(source.at, self.t)
        self.world.dummies(dict.fromkeys(dummy, source.dummy.value) if source.dummy else {}, self.t)
        watch, began = Watch(ramp), self.t
        times: list[float] = []
        amps: list[float | None] = []
        sets: list[tuple[float, float, float]] = []
        terminal: list[tuple[float, float]] = []
        order: Any = watch.begin()
        look = False
        while not isinstance(order, Off | Finished):
            if isinstance(order, Setting):
                self.tell(f"CURR {order.limit_a};:VOLT {order.volts};:OUTP ON")
                sets.append((self.t - began, order.volts, order.limit_a))
                watch.was_set(self.t - began)
                look = True
            self.t += EVERY
            now = self.ask("MEAS:CURR?")
            times.append(self.t - began)
            amps.append(now)
            order = watch.sample(times[-1], now)
            if isinstance(order, Off):
                level = ramp.levels[watch.level]
                read_at = self.t
                self.tell("OUTP OFF")
                beyond = sum(
                    1
                    for t, a in zip(times, amps, strict=True)
                    if t - sets[-1][0] > level.inrush_s
                    and a is not None
                    and a > min(level.most_a, 0.98 * level.limit_a)
                )
                self.trips.append(Trip(beyond, self.t - read_at, now - level.most_a))
            elif order is None and look and times[-1] - sets[-1][0] > 0.4:
                terminal.append((self.t - began, self.ask("MEAS:VOLT?")))
                look = False
        on = isinstance(order, Finished)
        event = e.Energised(
            number=self.state.number,
            instrument="supply",
            state="on" if on else "off",
            confirmed=self.ask("OUTP?") == (1 if on else 0),
            why=watch.why,
            times=times,
            amps=amps,
            terminal=terminal,
            sets=sets,
            tripped=None if on else len(amps) - 1,
        )
        self.fed.append((step, event))
        return event
