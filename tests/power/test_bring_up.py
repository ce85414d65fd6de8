"""An output brought up over a real port, by the thread that owns the supply: tripped, aborted, unplugged."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import pytest

from bench.judge.watch import Ladder, Rung
from bench.plant import faults as k
from bench.plant.model import Plant
from bench.quantity import Current, Resistance, Voltage
from bench.runner.crew import InstrumentCrew
from bench.sequence.file import Energise
from bench.sequence.plan import Step
from bench.simulate.power_supply import PlantSupply
from bench.simulate.power_world import PowerWorld
from bench.walk import events as e
from tests.benchmarks.bench_abort import Inbox, Watched, _member
from tests.instruments.server import served

SPEED = 20.0
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
LADDER = Ladder(
    (Rung(24.0, 0.5, 1.0, 0.45, 0.01, 2.0, 60.0), Rung(48.0, 3.0, 3.0, 1.9, None, 2.0, 120.0)), 8.0, 0.02, 5.0
)


@dataclass
class Port:
    """A supply on a plant, on a real port, and the crew that talks to it."""

    supply: Watched
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


@contextmanager
def at_work(plant: Plant, faults: Sequence[k.Fault] = ()) -> Iterator[Port]:
    world = PowerWorld(plant, faults, seed=4)
    began = time.monotonic()
    world.supply_at(["GA"], began)
    world.breakers({"FA", "FA2A"}, began)
    watched = Watched(PlantSupply(world, seed=4, identity="Gannet Head,bench supply,0001,1.0"))
    inbox = Inbox()
    with served(watched, speed=SPEED) as port:
        member = _member("supply", "scpi-supply", port.address)
        crew = InstrumentCrew([member], {"supply": "supply"}, inbox.post, hurry=SPEED)
        try:
            crew.meet(("supply",), 0)
            inbox.wait_for(e.Met)
            yield Port(watched, port, crew, inbox)
        finally:
            crew.close()


def test_a_sound_load_comes_up_and_stays_on(hall: Plant) -> None:
    with at_work(hall) as desk:
        desk.crew.energise(STEP, LADDER, 1)
        event = desk.inbox.wait_for(e.Energised, 60.0)
        assert isinstance(event, e.Energised)
        assert (event.why, event.state, event.confirmed, event.tripped) == ("done", "on", True, None)
        assert [(volts, limit) for _, volts, limit in event.sets] == [(24.0, 0.5), (48.0, 3.0)]
        assert event.times == sorted(event.times) and len(event.times) == len(event.amps)
        assert desk.on
        # between rungs it stays on: what reforms must not start anew
        assert desk.told().count(b"OUTP ON") == 1
        desk.crew.make_safe(2)
        safe = desk.inbox.wait_for(e.MadeSafe)
        assert isinstance(safe, e.MadeSafe) and safe.confirmed == {"supply": True}
        assert not desk.on


def test_the_first_reading_beyond_is_the_last_one(hall: Plant) -> None:
    with at_work(hall, [k.ShelfHeavy(shelf="2A", by=Current(0.8))]) as desk:
        desk.crew.energise(STEP, LADDER, 1)
        event = desk.inbox.wait_for(e.Energised, 60.0)
        assert not desk.on, "off before anybody was told"
        assert isinstance(event, e.Energised)
        assert (event.why, event.state, event.confirmed) == ("over", "off", True)
        set_at = event.sets[-1][0]
        beyond = [
            place
            for place, (t, a) in enumerate(zip(event.times, event.amps, strict=True))
            if a is not None and t - set_at > LADDER.rungs[-1].inrush_s and a > LADDER.rungs[-1].most_a
        ]
        assert beyond == [event.tripped] == [len(event.amps) - 1]
        told = [text for text in desk.told() if text.startswith((b"MEAS:CURR", b"OUTP"))]
        assert told[told.index(b"OUTP OFF", told.index(b"OUTP ON")) - 1] == b"MEAS:CURR?", "nothing came in between"


def test_a_short_never_gets_past_the_first_rung(hall: Plant) -> None:
    with at_work(hall, [k.ShelfShort(shelf="2A", feed="A", ohms=Resistance(0.3))]) as desk:
        desk.crew.energise(STEP, LADDER, 1)
        event = desk.inbox.wait_for(e.Energised, 60.0)
        assert isinstance(event, e.Energised)
        assert event.why in ("limit", "over") and not desk.on
        assert [volts for _, volts, _ in event.sets] == [24.0]
        assert event.terminal and event.terminal[-1][1] < 2.0, "so that a short is called one"


@pytest.mark.parametrize("after", [0.0, 0.01, 0.1, 0.6])
def test_an_abort_from_another_thread_ends_it_at_once_and_for_good(hall: Plant, after: float) -> None:
    endless = replace(LADDER, soak_s=3600.0)
    with at_work(hall) as desk:
        desk.crew.energise(STEP, endless, 1)
        desk.wait_until_on()
        time.sleep(after)  # where in the work it strikes is left to chance on purpose
        desk.crew.drop_work()
        desk.crew.make_safe(2)
        safe = desk.inbox.wait_for(e.MadeSafe)
        assert isinstance(safe, e.MadeSafe) and safe.confirmed == {"supply": True}
        assert not desk.on
        desk.crew.close()
        assert not desk.on, "and nothing that was under way switched it on again"


def test_what_was_asked_for_before_making_safe_switches_nothing_on_after(hall: Plant) -> None:
    with at_work(hall) as desk:
        desk.crew.energise(STEP, replace(LADDER, soak_s=3600.0), 1)
        desk.wait_until_on()
        desk.crew.energise(STEP, LADDER, 2)  # waits in the queue
        desk.crew.make_safe(3)
        desk.inbox.wait_for(e.MadeSafe)
        desk.crew.close()
        assert not desk.on
        assert desk.told().count(b"OUTP ON") == 1


def test_a_supply_that_is_lost_on_the_way_is_trouble_and_told_to_go_off(hall: Plant) -> None:
    with at_work(hall) as desk:
        desk.crew.energise(STEP, replace(LADDER, soak_s=3600.0), 1)
        desk.wait_until_on()
        desk.supply.dead.set()
        event = desk.inbox.wait_for((e.Troubled, e.Energised), 60.0)
        assert isinstance(event, e.Troubled)
        assert desk.told()[-20:].count(b"OUTP OFF") >= 1, "it is told, though it may not hear"
