"""Live readings that fail: whoever holds the probes is told, and a passing hiccup is nobody's business."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterator

import pytest

from bench.instruments.instrument import Instrument
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.runner import crew as rooms
from bench.runner.crew import InstrumentCrew
from bench.runner.instrument_port import InstrumentPort
from bench.runner.ports import Happened, LiveReading
from bench.walk import events as e
from tests.runner.test_dial import OHMS

WITHIN = 60.0


class Taken:
    finished, unit, value, over, resolution = 0.0, "Ω", 1.0, "", 0.001


class Faltering:
    """Gives so many readings, then this trouble, as often as told; then readings for good."""

    def __init__(self, kind: str, times: int) -> None:
        self.kind, self.left = kind, times
        self.looked = 0
        self.told = threading.Event()

    def live(self) -> Iterator[Taken]:
        self.looked += 1
        if self.left > 0:
            self.left -= 1
            if self.left == 0:
                self.told.set()
            raise InstrumentTrouble(self.kind, "it does not answer.", "Look at its plug.")  # type: ignore[arg-type]
        while True:
            yield Taken()

    def clear_abort(self) -> None:
        pass

    def close(self) -> None:
        pass


@pytest.fixture
def posted() -> queue.Queue[object]:
    return queue.Queue()


def crew_with(meter: Faltering, posted: queue.Queue[object], monkeypatch: pytest.MonkeyPatch) -> InstrumentCrew:
    def opener() -> Instrument:
        raise AssertionError("nothing is opened here")

    monkeypatch.setattr(rooms, "LOOK_AGAIN", 0.001)
    monkeypatch.setattr(rooms._Worker, "_configure", lambda self, step, wide=False: (meter, "ohms 2w"))
    return InstrumentCrew([InstrumentPort("meter", opener, False)], {"ohms": "meter"}, posted.put)


@pytest.mark.parametrize(("kind", "looks"), [("lost", 1), ("silent", rooms.MISSED + 1), ("garbled", rooms.MISSED + 1)])
def test_trouble_that_stays_is_told_with_the_request_that_it_belongs_to(
    kind: str, looks: int, posted: queue.Queue[object], monkeypatch: pytest.MonkeyPatch
) -> None:
    meter = Faltering(kind, 100)
    crew = crew_with(meter, posted, monkeypatch)
    try:
        crew.live(OHMS, 17)
        happened = posted.get(timeout=WITHIN)
        assert isinstance(happened, Happened) and isinstance(happened.event, e.Troubled)
        assert (happened.event.number, happened.event.kind, happened.event.instrument) == (17, kind, "meter")
        assert happened.event.advice == "Look at its plug."
        assert meter.looked == looks
    finally:
        crew.close()
    assert posted.empty()


@pytest.mark.parametrize("kind", ["silent", "garbled"])
def test_a_hiccup_is_not_told(kind: str, posted: queue.Queue[object], monkeypatch: pytest.MonkeyPatch) -> None:
    crew = crew_with(Faltering(kind, rooms.MISSED), posted, monkeypatch)
    try:
        crew.live(OHMS, 17)
        for _ in range(3):
            assert isinstance(posted.get(timeout=WITHIN), LiveReading)
    finally:
        crew.close()


@pytest.mark.parametrize("kind", ["unable", "aborted"])
def test_what_is_not_shown_live_is_left_to_the_measurement(
    kind: str, posted: queue.Queue[object], monkeypatch: pytest.MonkeyPatch
) -> None:
    meter = Faltering(kind, 1)
    crew = crew_with(meter, posted, monkeypatch)
    try:
        crew.live(OHMS, 17)
        assert meter.told.wait(WITHIN)
    finally:
        crew.close()
    assert posted.empty() and meter.looked == 1
