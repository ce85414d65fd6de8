"""A hand-held meter whose dial is wrong: the operator is told what it shows and what to turn, and goes on."""

from __future__ import annotations

import queue
import time
from pathlib import Path

import pytest
from msgspec.structs import replace

from bench.assemble import began, bench_facts, load_job
from bench.instruments.bench_file import load_bench
from bench.instruments.instrument import Instrument
from bench.instruments.ports.transport import open_port
from bench.quantity import Amount
from bench.runner import protocol as p
from bench.runner.crew import InstrumentCrew
from bench.runner.instrument_port import InstrumentPort
from bench.runner.ports import Happened, LiveReading, Manner
from bench.screens.walk import sayings as words
from bench.screens.walk.follow import Follower, Misset
from bench.sequence.file import Limit, Measure
from bench.sequence.plan import Step
from bench.simulate.twins.handhelds import PolledText, SevenSegment, StreamingText
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.setting import Setting
from bench.walk.state import start
from tests.instruments.server import LIBRARY, Bars, served
from tests.runner.fake_world import FakeScreen, world
from tests.walk.paper_walk import Made

JOB = Path(__file__).parents[2] / "sequences" / "gannet-head"
OHMS = Step(
    0,
    "0",
    "measure",
    "read",
    "",
    "",
    Measure(read="resistance", between=("A", "B"), limit=Limit(at_most=Amount(1.0, "Ω"), source="none")),
    "",
)
METERS = {
    "streaming-text-meter": StreamingText,
    "polled-text-meter": PolledText,
    "seven-segment-frames": SevenSegment,
}


def member(profile: str, address: str) -> InstrumentPort:
    described = LIBRARY.profile(profile)
    decoder = LIBRARY.decoder(profile)
    return InstrumentPort(
        "meter", lambda: Instrument(described, open_port(address, described.line), decoder=decoder), False
    )


@pytest.mark.parametrize("profile", METERS)
def test_live_readings_say_what_to_turn_and_go_on_when_it_is_turned(profile: str) -> None:
    meter = METERS[profile](Bars(ohms=5.0), seed=1, lead_ohms=0.0, dial="voltage")
    posted: queue.Queue[object] = queue.Queue()

    def next_sample(wrong: bool) -> LiveReading:
        until = time.monotonic() + 30.0
        while True:
            found = posted.get(timeout=max(0.0, until - time.monotonic()))
            if isinstance(found, LiveReading) and bool(found.wrong) == wrong:
                return found

    with served(meter) as port:
        crew = InstrumentCrew([member(profile, port.address)], {"ohms": "meter"}, posted.put)
        try:
            crew.meet(("ohms",), 0)
            met = posted.get(timeout=30.0)
            assert isinstance(met, Happened) and isinstance(met.event, e.Met)
            crew.live(OHMS)
            wrong = next_sample(True)
            assert "volts" in wrong.wrong and "ohms 2w is asked for" in wrong.wrong
            assert "Turn the dial to ohms." in wrong.wrong
            assert wrong.value is None
            meter.turn("resistance")
            assert next_sample(False).value == pytest.approx(5.0, abs=0.5)
            # a wrong dial is no reading either
            crew.live(None)
            meter.turn("voltage")
            crew.measure(OHMS, 1)
            while not isinstance(found := posted.get(timeout=30.0), Happened):
                pass
            assert isinstance(found.event, e.Troubled) and found.event.kind == "mismatch"
        finally:
            crew.close()


def test_the_screens_are_told_and_no_contact_comes_of_it(tmp_path: Path, small: Made) -> None:
    with world(tmp_path, small.began, Manner(by_contact=True), upto=7) as made:
        screen = FakeScreen(made, "Ada")
        made.start()
        made.runner.inbox.put(Happened(e.Continued(by="Ada")))
        made.wait(lambda: isinstance(made.asked, r.Place), "place")
        assert made.state.step is not None
        role = made.state.step.role or ""
        for _ in range(50):
            made.runner.inbox.put(
                LiveReading(role, made.clock.now, "", None, "", None, "It is on volts. Turn the dial.")
            )
        made.settle()
        (last, *_) = reversed(screen.got(p.Live))
        assert last.wrong == "It is on volts. Turn the dial."
        assert isinstance(made.asked, r.Place)
        made.post(e.Aborted(why="enough", by="Ada"))
        made.finish()


def test_a_person_is_told_once_and_again_when_it_is_right() -> None:
    follower = Follower()
    for wrong in ("Turn it.", "Turn it.", "", ""):
        follower.hear(p.Live(role="ohms", unit="Ω", wrong=wrong))
    assert [follower.news.get_nowait() for _ in range(follower.news.qsize())] == [Misset("Turn it."), Misset("")]
    assert words.placing(OHMS, p.Live(role="ohms", unit="Ω", wrong="Turn it.")) == "Turn it."


@pytest.mark.parametrize(("bench", "told"), [("odd-meters-streaming", True), ("simulated", False)])
def test_where_probes_are_placed_the_dial_is_named(bench: str, told: bool) -> None:
    facts = bench_facts(load_bench(JOB / "benches" / f"{bench}.yaml")).for_role("ohms")
    assert facts is not None
    assert facts.dials.get("resistance 2w", "") == ("Turn the dial to ohms." if told else "")


@pytest.mark.parametrize("bench", ["odd-meters-streaming", "odd-meters-polled", "odd-meters-segments"])
def test_the_page_that_asks_for_the_probes_names_the_dial(bench: str) -> None:
    job = load_job(JOB / "continuity-W101.yaml", JOB / "benches" / f"{bench}.yaml")
    setting = Setting.of(began(job, "Ada"))
    (first, *_) = [step for step in setting.plan.steps if isinstance(step.source, Measure)]
    state = replace(start(), setting=setting)
    assert words.dial_for(state, first) == "Turn the dial to ohms."
