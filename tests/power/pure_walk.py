"""First power without ports: the machine, the supply's twin spoken to in bytes, and the plant, in simulated time."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from msgspec.structs import replace

from bench.assemble import bench_facts
from bench.instruments.bench_file import parse_bench
from bench.instruments.instrument import Instrument
from bench.instruments.profile.library import Library
from bench.judge.ramp import RampUp
from bench.plant import faults as k
from bench.plant.handled import Handled
from bench.plant.load import load_plant
from bench.plant.model import Plant
from bench.record.append import RecordWriter
from bench.roles import function_name
from bench.runner.bring_up import BringUp
from bench.runner.crew import read_of
from bench.sequence.draft import draft
from bench.sequence.file import Do, Energise, Measure, Prove
from bench.sequence.load import load_sequence
from bench.sequence.plan import Step
from bench.simulate.on_paper import Walker
from bench.simulate.scpi.instrument import ScpiInstrument
from bench.simulate.twins.meter import MeterTwin
from bench.simulate.twins.plant_supply import PlantSupplyTwin
from bench.simulate.world.power import PowerWorld
from bench.walk import events as e
from bench.walk.state import Refused, State, start, take
from tests.power import small_hall

MEANS = parse_bench(small_hall.BENCH.format(faults=""), "bench.yaml", Library.for_job(small_hall.ROOT))
"""The bench: a SCPI meter and a SCPI supply, as the shipped profiles have them."""
BENCH = bench_facts(MEANS)
SETTINGS = {"nplc": "0.2", "compensation": "OFF"}
PACE_S = (0.1, 0.5)
"""How long the way of a question to an instrument takes at the least and at the most; drawn for each walk."""


def begun(folder: Path, plant: Path, of: str, kind: str = "first-power") -> State:
    """The state after a drafted sequence was begun; shared by all runs, since nothing in it changes."""
    path = folder / f"{kind}-{of}.yaml"
    path.write_text(draft(load_plant(plant), kind, of, str(plant), "sequence.json"), "utf-8")
    loaded = load_sequence(path)
    first = e.Began(
        software="0.0 test", edition=e.EDITION, plant=loaded.plant.file, sequence=loaded.sequence, bench=BENCH
    )
    return take(start(), e.Entry(n=1, at="2026-06-01T18:00:00Z", event=first))


def renewing(first: State, seconds: float) -> State:
    """The same with a supply whose profile says how often its current has a new value; 0: it says nothing.

    Args:
        first: the state after a sequence was begun.
        seconds: from one new value to the next.
    """
    if not seconds:
        return first
    assert first.setting is not None
    told = [replace(one, renews={"current": seconds} if one.name == "supply" else {}) for one in BENCH.instruments]
    return replace(first, setting=first.setting.with_bench(replace(BENCH, instruments=told)))


@dataclass
class Clock:
    """Simulated time.

    Attributes:
        t: now, in seconds.
    """

    t: float = 0.0

    def __call__(self) -> float:
        return self.t


class InMemory:
    """The port of an instrument's twin: bytes both ways, in simulated time, with nothing between the two.

    Args:
        twin: that plays the instrument.
        clock: goes on while somebody waits for an answer.
        pace: seconds that each message takes to get there.
    """

    address = "in memory"

    def __init__(self, twin: ScpiInstrument, clock: Clock, pace: float) -> None:
        self.twin, self.clock, self.pace = twin, clock, pace

    def write(self, data: bytes) -> None:
        self.clock.t += self.pace
        self.twin.receive(data, self.clock.t)

    def read(self, deadline: float) -> bytes:
        while not (data := self.twin.send(self.clock.t)):
            due = self.twin.wake_at
            if due is None or due > deadline:
                self.clock.t = max(self.clock.t, deadline)
                return b""
            self.clock.t = max(self.clock.t, due)
        return data

    def abort(self) -> None:
        raise AssertionError("nobody aborts a walk on paper")

    def heed_abort(self, heed: bool) -> None:
        pass

    def clear_abort(self) -> None:
        pass

    def close(self) -> None:
        pass


@dataclass
class Trip:
    """How an output went off.

    Attributes:
        beyond: readings beyond the window, the first among them.
    """

    beyond: int


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
    clock: Clock = field(default_factory=Clock)
    _held: float | None = None

    def __post_init__(self) -> None:
        self.world = PowerWorld(self.plant, self.faults, seed=self.seed, broken=self.broken)
        pace = random.Random(f"pace {self.seed}").uniform(*PACE_S)
        self.supply = self._opened("supply", PlantSupplyTwin(self.world, seed=self.seed), pace)
        self.meter = self._opened("meter", MeterTwin(self.world, seed=self.seed), pace)
        self.handled = Handled()
        self.entries = []

    def _opened(self, name: str, twin: ScpiInstrument, pace: float) -> Instrument:
        instrument = Instrument(MEANS.profiles[name], InMemory(twin, self.clock, pace), self.clock)
        instrument.open()
        return instrument

    @property
    def t(self) -> float:
        """Now, in seconds of simulated time."""
        return self.clock.t

    @t.setter
    def t(self, now: float) -> None:
        self.clock.t = now

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
        return {"supply": self.supply.make_safe().confirmed}

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
        return replace(super().switched(step), confirmed=not self.supply.set_output(False).on)

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

    def measured(self, step: Step) -> e.Event:
        source = step.source
        # a proof before and after proving dead reads a live source
        what = source.read if isinstance(source, Measure | Prove) else "voltage"
        self.t += source.lasts
        chosen = self.meter.profile.functions_for(what, 2 if what == "resistance" else None)[0]
        held = source.range.value if isinstance(source, Measure) and source.range is not None else None
        settings = {one: text for one, text in SETTINGS.items() if one in {known.name for known in chosen.settings}}
        now = self.meter.setup
        if now is None or now.function != chosen.name or self._held != held:
            self.meter.configure(chosen.name, held, settings)
            self._held = held
        return read_of(self.state.number, "meter", function_name(what, chosen.wires), [self.meter.read()])

    def brought_up(self, step: Step) -> e.Event:
        ramp = self.state.pending.ramp
        assert ramp is not None
        return self.bring_up(step, ramp)

    def bring_up(self, step: Step, ramp: RampUp) -> e.Energised:
        """A load is brought up by a ramp and watched, as the runner does it."""
        source = step.source
        assert isinstance(source, Energise)
        dummy = dict.fromkeys((n for n in step.touches if n in self.world.shelves), 0.0) if source.dummy else {}
        self.world.supply_at(source.at, self.t)
        self.world.dummies(dict.fromkeys(dummy, source.dummy.value) if source.dummy else {}, self.t)
        work = BringUp(self.supply, ramp, lambda moment: moment, lambda act: act(), now=self.clock)
        event = work.run(self.state.number, "supply")
        if event.tripped is not None:
            self.trips.append(self._trip(event, ramp))
        self.fed.append((step, event))
        return event

    def _trip(self, event: e.Energised, ramp: RampUp) -> Trip:
        level, set_at = ramp.levels[len(event.sets) - 1], event.sets[-1][0]
        beyond = [
            a
            for t, a in zip(event.times, event.amps, strict=True)
            if t - set_at > ramp.inrush_ends(level) and a is not None and a > min(level.most_a, 0.98 * level.limit_a)
        ]
        return Trip(len(beyond))
