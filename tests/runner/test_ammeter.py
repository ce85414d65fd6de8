"""A separate ammeter in the supply's lead watches in place of the supply's own reading."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from msgspec.structs import replace

from bench.plant import faults as k
from bench.plant.model import Plant
from bench.quantity import Current
from bench.record.read import read_record
from bench.runner.crew import InstrumentCrew
from bench.sequence.load import load_sequence
from bench.simulate.twins.meter import MeterTwin
from bench.simulate.twins.plant_supply import PlantSupplyTwin
from bench.simulate.world.power import PowerWorld
from bench.walk import events as e
from tests.benchmarks.bench_abort import Inbox, _member
from tests.instruments.server import served
from tests.power import small_hall
from tests.power.test_on_ports import BENCH
from tests.runner.test_bring_up import RAMP, STEP, Counted
from tests.walks.tool import proveout

WITH_METER = replace(STEP, source=replace(STEP.source, ammeter=True))


class Shared(Counted):
    """Two instruments that share the plant's time: it goes on by what either is asked."""

    def __init__(self, engine: Any, time_of: SimpleNamespace) -> None:
        self._time = time_of
        before = time_of.now
        super().__init__(engine)
        time_of.now = before

    @property
    def now(self) -> float:  # type: ignore[override]
        return float(self._time.now)

    @now.setter
    def now(self, value: float) -> None:
        self._time.now = max(self._time.now, value)


@contextmanager
def at_work(plant: Plant, faults: Sequence[k.Fault] = ()) -> Iterator[tuple[Shared, Any, InstrumentCrew, Inbox]]:
    world = PowerWorld(plant, faults, seed=4)
    world.supply_at(["GA"], 0.0)
    world.breakers({"FA", "FA2A"}, 0.0)
    world.ammeter_in_lead(True)
    clock = SimpleNamespace(now=0.0)
    supply = Shared(PlantSupplyTwin(world, seed=4, identity="Gannet Head,bench supply,0001,1.0"), clock)
    meter = Shared(MeterTwin(world, seed=4, identity="Gannet Head,bench meter,0002,1.0"), clock)
    inbox = Inbox()
    with served(supply) as one, served(meter) as other:
        members = [_member("supply", "scpi-supply", one.address), _member("meter", "scpi-bench-meter", other.address)]
        crew = InstrumentCrew(
            members, {"supply": "supply", "amps": "meter"}, inbox.post, plant_time=lambda moment: clock.now
        )
        try:
            for role in ("supply", "amps"):
                crew.meet((role,), 0)
                inbox.wait_for(e.Met)
            yield supply, other, crew, inbox
        finally:
            crew.close()


def asked(heard: Shared) -> list[bytes]:
    return [line for line in b"".join(data for _, data in heard.heard).split(b"\n") if line]


def test_the_ammeter_reads_and_the_supply_is_only_set(hall: Plant) -> None:
    with at_work(hall) as (supply, _, crew, inbox):
        crew.energise(WITH_METER, RAMP, 1)
        event = inbox.wait_for(e.Energised, 90.0)
        assert isinstance(event, e.Energised)
        assert (event.instrument, event.meter, event.why, event.state) == ("supply", "meter", "done", "on")
        assert event.amps[-1] == pytest.approx(1.72, rel=0.1)
        told = asked(supply)
        assert not [line for line in told if b"CURR?" in line and b"MEAS" in line], "its own reading is not used"


def test_the_first_reading_of_the_ammeter_beyond_the_window_switches_the_supply_off(hall: Plant) -> None:
    with at_work(hall, [k.ShelfHeavy(shelf="2A", by=Current(0.8))]) as (supply, _, crew, inbox):
        crew.energise(WITH_METER, RAMP, 1)
        event = inbox.wait_for(e.Energised, 90.0)
        assert isinstance(event, e.Energised) and not supply.engine.on
        assert (event.meter, event.why, event.state, event.confirmed) == ("meter", "over", "off", True)
        set_at = event.sets[-1][0]
        top = RAMP.levels[-1]
        beyond = [
            place
            for place, (t, a) in enumerate(zip(event.times, event.amps, strict=True))
            if a is not None and t - set_at > top.inrush_s and a > top.most_a
        ]
        assert beyond == [event.tripped]


def test_an_ammeter_that_is_lost_takes_the_output_off(hall: Plant) -> None:
    with at_work(hall) as (supply, meter_port, crew, inbox):
        crew.energise(WITH_METER, RAMP, 1)
        until = time.monotonic() + 30
        while not supply.engine.on:
            assert time.monotonic() < until
            time.sleep(0.002)
        meter_port.close()
        event = inbox.wait_for(e.Troubled, 60.0)
        assert isinstance(event, e.Troubled) and event.kind in ("lost", "late", "silent")
        assert not supply.engine.on


def test_a_sequence_with_an_ammeter_asks_the_bench_for_one(tmp_path: Path) -> None:
    small_hall.written(tmp_path)
    text = (
        "sequence: try\nplant: plant.yaml\nsteps:\n  - {step: hold, text: Clear., word: CLEAR}\n"
        "  - {step: measure, read: resistance, between: [2C.A, 2C.A-return], limit: {at-least: 1 kohm, source: here}}\n"
        "  - {step: do, text: Close., close: [FA, FA2C]}\n"
        "  - {step: energise, text: On., at: [GA], voltage: 48 V, current-limit: 1 A, ammeter: true}\n"
    )
    (tmp_path / "try.yaml").write_text(text, "utf-8")
    assert "amps" in load_sequence(tmp_path / "try.yaml").plan.roles
    assert "amps" not in load_sequence(_without(tmp_path, text)).plan.roles


def _without(folder: Path, text: str) -> Path:
    path = folder / "without.yaml"
    path.write_text(text.replace(", ammeter: true", ""), "utf-8")
    return path


@pytest.mark.slow
def test_a_shelf_comes_up_on_real_ports_with_an_ammeter(tmp_path: Path) -> None:
    small_hall.written(tmp_path)
    (tmp_path / "bench.yaml").write_text(BENCH.format(faults=""), "utf-8")
    proveout("draft", "plant.yaml", "first-power", "--shelf", "2C", "-o", "first.yaml", cwd=tmp_path)
    path = tmp_path / "first.yaml"
    path.write_text(
        path.read_text("utf-8").replace("    current-limit:", "    ammeter: true\n    current-limit:"), "utf-8"
    )
    words = ("run", "first.yaml", "--bench", "bench.yaml", "--record", "r.jsonl", "--speed", "40", "--json")
    done = proveout(*words, cwd=tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr
    assert json.loads(done.stdout)["counts"].get("fail", 0) == 0
    events = [entry.event for entry in read_record(tmp_path / "r.jsonl")]
    up = [event for event in events if isinstance(event, e.Energised)]
    assert up and all(event.meter == "meter" and event.instrument == "supply" for event in up)
