"""An insulation test voltage: counted down, stopped by anybody, told to every screen until it is read back gone."""

from __future__ import annotations

import queue
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest

from bench.instruments.instrument import Instrument
from bench.instruments.ports.transport import open_port
from bench.judge.accuracy import AccuracyRow
from bench.quantity import Amount, Duration
from bench.runner import protocol as p
from bench.runner.crew import InstrumentCrew
from bench.runner.instrument_port import InstrumentPort
from bench.runner.ports import COUNTDOWN, Happened, Leaving, Manner
from bench.sequence.file import Limit, Measure
from bench.sequence.plan import Step
from bench.simulate.twins.insulation import InsulationTwin
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.facts import InstrumentFacts
from bench.walk.state import Phase
from tests.drivers.twins import Hall
from tests.instruments.server import LIBRARY, served
from tests.runner.fake_world import FakeScreen, World, world
from tests.walk import paper_walk as paper

SEQUENCE = """
sequence: one pair at a test voltage
plant: plant.yaml
steps:
  - {step: hold, text: Isolated., word: DEAD}
  - {step: measure, read: insulation, between: [J3.1, J3.2], at: 100 V, after: 5 s,
     limit: {at-least: 10 Mohm, source: set for this test}}
"""
TESTER = InstrumentFacts(
    name="tester",
    profile="a-tester",
    title="insulation tester",
    roles=["insulation"],
    rows=(AccuracyRow("insulation", "Ω", 1e9, percent_of_reading=3.0, resolution=1e5),),
    accuracy_of={"insulation": "insulation"},
    outputs=True,
)
BENCH = msgspec.structs.replace(paper.BENCH, instruments=[TESTER], role_of={"insulation": "tester"}, references=[])


@pytest.fixture
def at(tmp_path: Path) -> Iterator[tuple[World, FakeScreen]]:
    """A person stands before the reading at a test voltage, and nobody has confirmed yet."""
    began = paper.made(tmp_path, SEQUENCE, bench=BENCH).began
    with world(tmp_path, began, Manner(), upto=1) as made:
        made.start()
        screen = FakeScreen(made, "Ana")
        screen.take_seat()
        made.wait_for(r.Place)
        yield made, screen


def stages(screen: FakeScreen) -> list[tuple[str, int]]:
    return [(now.stage, now.seconds) for now in screen.got(p.Voltage)]


def test_the_voltage_comes_on_after_the_count_and_not_before(at: tuple[World, FakeScreen]) -> None:
    made, screen = at
    screen.answer()
    made.wait_for(r.Measure)
    for left in range(COUNTDOWN, 0, -1):
        assert stages(screen)[-1] == ("coming", left)
        assert not made.crew.count("measure")
        made.advance(1.01)
    made.wait(lambda: made.crew.count("measure") == 1)
    assert [stage for stage, _ in stages(screen)] == ["coming"] * COUNTDOWN + ["on"]


def test_a_key_stops_the_count_and_hands_off_is_confirmed_anew(at: tuple[World, FakeScreen]) -> None:
    made, screen = at
    screen.answer()
    made.wait_for(r.Measure)
    made.advance(2.01)
    screen.wish(e.Paused(why="stopped", make_safe=True))
    made.wait_for(r.Rest)
    made.advance(60.0)
    assert not made.crew.count("measure")
    assert stages(screen)[-1][0] == "gone"
    screen.wish(e.Continued())
    made.wait_for(r.Place)
    assert not made.crew.count("measure")


def test_whoever_watches_may_stop_it(at: tuple[World, FakeScreen]) -> None:
    made, screen = at
    far = FakeScreen(made, "Bea, at the far end")
    screen.answer()
    made.wait_for(r.Measure)
    far.wish(e.Paused(why="a hand is on it", make_safe=True))
    made.wait_for(r.Rest)
    made.advance(60.0)
    assert not made.crew.count("measure") and not far.refusals()


def test_a_record_that_cannot_be_written_ends_the_count(at: tuple[World, FakeScreen]) -> None:
    made, screen = at
    screen.answer()
    made.wait_for(r.Measure)
    made.fail()
    screen.wish(e.Noted(text="rain"))
    made.wait(lambda: screen.got(p.RecordFailing))
    made.settle()
    assert stages(screen)[-1][0] == "gone" and not made.crew.count("measure")


def test_who_comes_late_is_told_what_is_on_the_wires(at: tuple[World, FakeScreen]) -> None:
    made, screen = at
    made.crew.held.add("measure")
    screen.answer()
    made.wait_for(r.Measure)
    made.advance(1.01)
    made.runner.inbox.put(Leaving("tester", 41.0, "V"))
    for _ in range(COUNTDOWN):
        made.advance(1.01)
    made.wait(lambda: made.crew.count("measure") == 1)
    made.runner.inbox.put(Leaving("tester", 64.0, "V"))
    made.settle()
    late = FakeScreen(made, "Bea")
    made.settle()
    assert late.got(p.Voltage) == [p.Voltage(stage="leaving", volts=64.0)]
    made.runner.inbox.put(Leaving("tester", 0.0, "V", "Discharged, read back."))
    made.settle()
    assert screen.got(p.Voltage)[-1] == p.Voltage(stage="gone", volts=0.0, said="Discharged, read back.")


def test_what_could_not_be_read_back_is_told_though_the_walk_rests(at: tuple[World, FakeScreen]) -> None:
    made, screen = at
    made.crew.held.add("measure")
    screen.answer()
    made.wait_for(r.Measure)
    for _ in range(COUNTDOWN):
        made.advance(1.01)
    made.wait(lambda: made.crew.count("measure") == 1)
    number = made.state.number
    screen.wish(e.Paused(why="stopped", make_safe=True))
    made.wait_for(r.Rest)
    made.runner.inbox.put(Leaving("tester", 0.0, "V", lost=True))
    what = e.Troubled(number=number, instrument="tester", kind="unsafe", what="Not confirmed.", advice="Go and look.")
    made.post(what)
    made.settle()
    assert stages(screen)[-1][0] == "unknown"
    assert [one.text for one in made.events(e.Noted)] == ["Not confirmed. Go and look."]
    assert made.state.phase is Phase.PAUSED


def test_hands_alone_need_no_count(tmp_path: Path) -> None:
    began = paper.made(tmp_path, SEQUENCE, bench=BENCH).began
    with world(tmp_path, began, Manner(alone=True)) as made:
        made.start().finish()
        assert made.crew.count("measure") == 1


# the crew, with a tester on a real port


def _step() -> Step:
    source = Measure(
        read="insulation",
        between=("J1.1", "J1.2"),
        at=Amount(100.0, "V"),
        after=Duration(0.2),
        limit=Limit(at_least=Amount(1e6, "Ω"), source="set for this test"),
    )
    return Step(index=0, key="1", kind="measure", title="", text="", section="", source=source, subject="s")


@pytest.fixture
def crew() -> Iterator[tuple[InstrumentCrew, InsulationTwin, queue.Queue[object]]]:
    twin = InsulationTwin(Hall())
    inbox: queue.Queue[object] = queue.Queue()
    told = LIBRARY.profile("scpi-insulation-tester")
    with served(twin) as line:
        port = InstrumentPort("tester", lambda: Instrument(told, open_port(line.address, told.line)), True)
        made = InstrumentCrew([port], {"insulation": "tester"}, inbox.put)
        try:
            made.meet(("insulation",), 0)
            met = inbox.get(timeout=60)
            assert isinstance(met, Happened) and isinstance(met.event, e.Met)
            yield made, twin, inbox
        finally:
            made.close()


def test_discharge_is_read_back_and_told_before_the_reading_counts(
    crew: tuple[InstrumentCrew, InsulationTwin, queue.Queue[object]],
) -> None:
    made, _, inbox = crew
    made.measure(_step(), 1)
    came: list[object] = []
    while not (came and isinstance(came[-1], Happened)):
        came.append(inbox.get(timeout=60))
    last = came[-2]
    assert isinstance(last, Leaving) and "read back" in last.gone and "25 V" in last.gone
    assert isinstance(came[-1], Happened) and isinstance(came[-1].event, e.Read)


def test_work_that_is_dropped_before_it_began_puts_no_voltage_on(
    crew: tuple[InstrumentCrew, InsulationTwin, queue.Queue[object]],
) -> None:
    made, twin, inbox = crew
    worker = made._workers["tester"]
    gate = queue.SimpleQueue[None]()
    take = worker._work

    def held(job: object) -> None:
        gate.get()
        take(job)  # type: ignore[arg-type]

    worker._work = held  # type: ignore[method-assign]
    made.measure(_step(), 1)
    made.drop_work()  # the worker has not begun: nothing is there to abort
    gate.put(None)
    worker._work = take  # type: ignore[method-assign]
    made.meet(("insulation",), 2)
    gate.put(None)
    came = inbox.get(timeout=60)
    assert isinstance(came, Happened) and isinstance(came.event, e.Met), came
    assert not twin.on
