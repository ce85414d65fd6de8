"""An output brought up over a real port, by the thread that owns the supply: tripped, aborted, unplugged.

The plant's time is counted and not taken from the wall: it goes on by what the supply is asked. So however busy the
machine is, the supply is asked the same things at the same moments of the plant.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from bench.instruments.instrument import Instrument
from bench.instruments.ports.transport import open_port
from bench.instruments.values import SafeState, Sample
from bench.judge.ramp import Level, RampUp
from bench.plant import faults as k
from bench.plant.model import Plant
from bench.quantity import Current, Duration, Resistance, Voltage
from bench.runner.bring_up import BringUp
from bench.runner.crew import InstrumentCrew
from bench.runner.instrument_port import InstrumentPort
from bench.sequence.file import Energise
from bench.sequence.plan import Step
from bench.simulate.twins.plant_supply import PlantSupplyTwin
from bench.simulate.world.power import PowerWorld
from bench.walk import events as e
from tests.benchmarks.bench_abort import Inbox, Watched, _member
from tests.instruments.server import LIBRARY, served

EACH_S = 0.05
"""Of the plant's time, for each line that the supply is told."""
STEP = Step(
    index=0,
    key="1",
    kind="energise",
    title="up",
    text="",
    section="",
    source=Energise(text="", at=["GA"], voltage=Voltage(48.0), current_limit=Current(3.0)),
    subject="2A",
)
RAMP = RampUp(
    (Level(24.0, 0.5, 1.0, 0.45, 0.03, 2.0, 60.0), Level(48.0, 3.0, 3.0, 1.9, None, 2.0, 120.0)), 8.0, 0.02, 5.0
)


class Counted(Watched):
    """A supply whose time, and so the plant's, goes on by what it is asked and by nothing else."""

    def __init__(self, engine: Any) -> None:
        super().__init__(engine)
        self.now = 0.0
        self._ready = b""

    def receive(self, data: bytes, now: float) -> None:
        super().receive(data, self.now)
        self.now += EACH_S * data.count(b"\n")
        answers = sum(b"?" in line for line in data.split(b"\n"))
        while not self.dead.is_set() and self._ready.count(b"\n") < answers and self.engine.wake_at is not None:
            self.now = max(self.now, self.engine.wake_at)
            self._ready += super().send(self.now)

    def send(self, now: float) -> bytes:
        ready, self._ready = self._ready, b""
        return ready

    @property
    def wake_at(self) -> None:
        return None


@dataclass
class Port:
    """A supply on a plant, on a real port, and the crew that talks to it."""

    supply: Counted
    port: Any
    crew: InstrumentCrew
    inbox: Inbox

    @property
    def on(self) -> bool:
        return bool(self.supply.engine.on)

    def wait_until_on(self) -> None:
        until = time.monotonic() + 30
        while not self.on:
            assert time.monotonic() < until, "it never went on"
            time.sleep(0.002)

    def told(self) -> list[bytes]:
        """Everything the supply was told, in order."""
        return b"".join(data for _, data in self.supply.heard).split(b"\n")


def _impatient(name: str, profile: str, address: str) -> InstrumentPort:
    """It waits a quarter as long for each answer, where none will come."""
    described = LIBRARY.profile(profile)
    line = msgspec.structs.replace(described.line, timeout=Duration(described.line.timeout.value / 4))
    return InstrumentPort(name, lambda: Instrument(described, open_port(address, line), line=line), True, {})


@contextmanager
def at_work(
    plant: Plant, faults: Sequence[k.Fault] = (), member: Callable[..., InstrumentPort] = _member
) -> Iterator[Port]:
    world = PowerWorld(plant, faults, seed=4)
    world.supply_at(["GA"], 0.0)
    world.breakers({"FA", "FA2A"}, 0.0)
    watched = Counted(PlantSupplyTwin(world, seed=4, identity="Gannet Head,bench supply,0001,1.0"))
    inbox = Inbox()
    with served(watched) as port:
        crew = InstrumentCrew(
            [member("supply", "scpi-supply", port.address)],
            {"supply": "supply"},
            inbox.post,
            plant_time=lambda moment: watched.now,
        )
        try:
            crew.meet(("supply",), 0)
            inbox.wait_for(e.Met)
            yield Port(watched, port, crew, inbox)
        finally:
            crew.close()


def test_a_sound_load_comes_up_and_stays_on(hall: Plant) -> None:
    with at_work(hall) as rig:
        rig.crew.energise(STEP, RAMP, 1)
        event = rig.inbox.wait_for(e.Energised, 60.0)
        assert isinstance(event, e.Energised)
        assert (event.why, event.state, event.confirmed, event.tripped) == ("done", "on", True, None)
        assert [(volts, limit) for _, volts, limit in event.sets] == [(24.0, 0.5), (48.0, 3.0)]
        assert event.times == sorted(event.times) and len(event.times) == len(event.amps)
        assert rig.on
        # between levels it stays on: what reforms must not start anew
        assert rig.told().count(b"OUTP ON") == 1
        rig.crew.make_safe(2)
        safe = rig.inbox.wait_for(e.MadeSafe)
        assert isinstance(safe, e.MadeSafe) and safe.confirmed == {"supply": True}
        assert not rig.on


def test_the_first_reading_beyond_is_the_last_one(hall: Plant) -> None:
    with at_work(hall, [k.ShelfHeavy(shelf="2A", by=Current(0.8))]) as rig:
        rig.crew.energise(STEP, RAMP, 1)
        event = rig.inbox.wait_for(e.Energised, 60.0)
        assert not rig.on, "off before anybody was told"
        assert isinstance(event, e.Energised)
        assert (event.why, event.state, event.confirmed) == ("over", "off", True)
        set_at = event.sets[-1][0]
        beyond = [
            place
            for place, (t, a) in enumerate(zip(event.times, event.amps, strict=True))
            if a is not None and t - set_at > RAMP.levels[-1].inrush_s and a > RAMP.levels[-1].most_a
        ]
        assert beyond == [event.tripped] == [len(event.amps) - 1]
        told = [text for text in rig.told() if text.startswith((b"MEAS:CURR", b"OUTP"))]
        assert told[told.index(b"OUTP OFF", told.index(b"OUTP ON")) - 1] == b"MEAS:CURR?", "nothing came in between"


class Stalled:
    """A supply whose inrush is at the limit for half a second; the machine is busy for long after each reading."""

    def __init__(self) -> None:
        self.now = 100.0
        self.profile = LIBRARY.profile("scpi-supply")
        self.switched_on = 0.0

    def configure(self, function: str) -> None:
        self.function = function

    def set_output(self, on: bool, wanted: object = None) -> None:
        self.switched_on = self.now

    def make_safe(self) -> SafeState:
        return SafeState(True, True, "")

    def read(self) -> Sample:
        started = self.now
        self.now += 4.0
        shown = 48.0 if self.function == "volts dc" else 3.0 if started - self.switched_on < 0.5 else 0.2
        return Sample(shown, "", self.function, started=started, finished=started + 0.02)


def test_a_reading_of_the_inrush_that_is_looked_at_late_is_still_one_of_the_inrush() -> None:
    supply = Stalled()
    ramp = replace(RAMP, levels=(replace(RAMP.levels[1], within_s=600.0),), span_s=100.0)
    work = BringUp(supply, ramp, lambda moment: moment, lambda act: act(), now=lambda: supply.now)  # type: ignore[arg-type]
    event = work.run(1, "supply")
    assert (event.amps[0], event.times[0]) == (3.0, 0.0)
    assert event.why == "done"


def test_a_short_never_gets_past_the_first_level(hall: Plant) -> None:
    with at_work(hall, [k.ShelfShort(shelf="2A", feed="A", ohms=Resistance(0.3))]) as rig:
        rig.crew.energise(STEP, RAMP, 1)
        event = rig.inbox.wait_for(e.Energised, 60.0)
        assert isinstance(event, e.Energised)
        assert event.why in ("limit", "over") and not rig.on
        assert [volts for _, volts, _ in event.sets] == [24.0]
        assert event.terminal and event.terminal[-1][1] < 2.0, "so that a short is called one"


@pytest.mark.parametrize("after", [0.0, 0.01, 0.1, 0.6])
def test_an_abort_from_another_thread_ends_it_at_once_and_for_good(hall: Plant, after: float) -> None:
    endless = replace(RAMP, soak_s=1e6)
    with at_work(hall) as rig:
        rig.crew.energise(STEP, endless, 1)
        rig.wait_until_on()
        time.sleep(after)  # where in the work it strikes is left to chance on purpose
        rig.crew.drop_work()
        rig.crew.make_safe(2)
        safe = rig.inbox.wait_for(e.MadeSafe)
        assert isinstance(safe, e.MadeSafe) and safe.confirmed == {"supply": True}
        assert not rig.on
        rig.crew.close()
        assert not rig.on, "and nothing that was under way switched it on again"


def test_what_was_asked_for_before_making_safe_switches_nothing_on_after(hall: Plant) -> None:
    with at_work(hall) as rig:
        rig.crew.energise(STEP, replace(RAMP, soak_s=1e6), 1)
        rig.wait_until_on()
        rig.crew.energise(STEP, RAMP, 2)  # waits in the queue
        rig.crew.make_safe(3)
        rig.inbox.wait_for(e.MadeSafe)
        rig.crew.close()
        assert not rig.on
        assert rig.told().count(b"OUTP ON") == 1


def test_a_supply_that_is_lost_on_the_way_is_trouble_and_told_to_go_off(hall: Plant) -> None:
    with at_work(hall, member=_impatient) as rig:
        rig.crew.energise(STEP, replace(RAMP, soak_s=1e6), 1)
        rig.wait_until_on()
        rig.supply.dead.set()
        event = rig.inbox.wait_for((e.Troubled, e.Energised), 60.0)
        assert isinstance(event, e.Troubled)
        assert rig.told()[-20:].count(b"OUTP OFF") >= 1, "it is told, though it may not hear"
