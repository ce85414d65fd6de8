"""How soon a supply's output is off after an abort, while another instrument's port hangs in a read.

Run by hand from the top folder; it takes about half a minute:

    python -m tests.benchmarks.bench_abort
    python -m tests.benchmarks.bench_abort --repeats 50

A supply and a meter play on pseudo-terminals, and the crew of a walk talks to them, each through its own thread. The
output is on and was read back. The meter answers until it is asked for a reading; then it is dead. Measured from the
abort, on the monotonic clock of the same process: when the order to switch off reached the supply, when the answer left
it that says that it is off, and when the crew reported it.
"""

from __future__ import annotations

import argparse
import queue
import statistics
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from bench.instruments.instrument import Instrument
from bench.instruments.ports.transport import open_port
from bench.instruments.profile.library import Library
from bench.quantity import Amount
from bench.runner.crew import InstrumentCrew
from bench.runner.instrument_port import InstrumentPort
from bench.runner.ports import Happened, LiveReading
from bench.sequence.file import Limit, Measure, Set
from bench.sequence.plan import Step
from bench.walk import events as e
from tests.drivers.twins import TWINS, Hall
from tests.instruments.server import served
from tests.instruments.test_shared_port import Rectifiers, two_rectifiers

LIBRARY = Library.for_job()
ON = Step(
    0,
    "0",
    "set",
    "on",
    "",
    "",
    Set(text="", output="on", voltage=Amount(48.0, "V"), current_limit=Amount(1.0, "A")),
    "",
)
READ = Step(
    1,
    "1",
    "measure",
    "read",
    "",
    "",
    Measure(read="resistance", between=("A", "B"), limit=Limit(at_most=Amount(1.0, "Ω"), source="none")),
    "",
)


class Watched:
    """A twin whose questions and answers are noted with their times, and that may go dead."""

    def __init__(self, engine, *, dead_after: bytes = b""):
        self.engine = engine
        self.dead_after = dead_after
        self.dead = threading.Event()
        self.heard: list[tuple[float, bytes]] = []
        self.said: list[tuple[float, bytes]] = []

    def receive(self, data, now):
        self.heard.append((time.monotonic(), data))
        if self.dead_after and self.dead_after in data:
            self.dead.set()
        if not self.dead.is_set():
            self.engine.receive(data, now)

    def send(self, now):
        data = b"" if self.dead.is_set() else self.engine.send(now)
        if data:
            self.said.append((time.monotonic(), data))
        return data

    @property
    def wake_at(self):
        return None if self.dead.is_set() else self.engine.wake_at


@dataclass(frozen=True, slots=True)
class Times:
    """Seconds after the abort.

    Attributes:
        told: the order to switch off reached the supply.
        confirmed: the answer left it that says that the output is off.
        reported: the crew said so.
        event: what it said.
        still_on: the supply's output when all was over.
        hung: the meter was still asked for its reading when the abort came.
    """

    told: float
    confirmed: float
    reported: float
    event: e.MadeSafe
    still_on: bool
    hung: bool


class Inbox:
    """What the crew posts."""

    def __init__(self) -> None:
        self._queue: queue.Queue[object] = queue.Queue()
        self.post = self._queue.put

    def wait_for(self, kind: type | tuple[type, ...], timeout: float = 30.0) -> e.Event:
        """The next event of a kind, or of one of several.

        Raises:
            queue.Empty: none came in time.
        """
        until = time.monotonic() + timeout
        while True:
            message = self._queue.get(timeout=max(0.0, until - time.monotonic()))
            if isinstance(message, Happened) and isinstance(message.event, kind):
                return message.event

    def wait_for_sample(self, timeout: float = 30.0) -> LiveReading:
        """A live reading that was taken from now on.

        Raises:
            queue.Empty: none came in time.
        """
        now = time.monotonic()
        until = now + timeout
        while True:
            message = self._queue.get(timeout=max(0.0, until - time.monotonic()))
            if isinstance(message, LiveReading) and message.at > now:
                return message


def _member(name: str, profile: str, address: str) -> InstrumentPort:
    described = LIBRARY.profile(profile)

    def opener() -> Instrument:
        return Instrument(described, open_port(address, described.line))

    return InstrumentPort(name, opener, described.safe is not None, {})


def abort_once(*, hang: bool = True, baud: float = 9600.0) -> Times:
    """Abort once.

    Args:
        hang: the meter dies while it is read; else nothing is under way.
        baud: pace of the answers; 0 for as fast as they go.
    """
    now = time.monotonic()
    supply = Watched(TWINS["scpi-supply"](Hall(), now))
    meter = Watched(TWINS["scpi-bench-meter"](Hall(), now), dead_after=b"READ?")
    inbox = Inbox()
    with served(supply, baud=baud) as supply_port, served(meter, baud=baud) as meter_port:
        members = [
            _member("supply", "scpi-supply", supply_port.address),
            _member("meter", "scpi-bench-meter", meter_port.address),
        ]
        crew = InstrumentCrew(members, {"supply": "supply", "ohms": "meter"}, inbox.post)
        try:
            for number, role in enumerate(("supply", "ohms")):
                crew.meet((role,), number)
                inbox.wait_for(e.Met)
            crew.switch(ON, 2)
            switched = inbox.wait_for(e.Switched)
            assert isinstance(switched, e.Switched) and switched.confirmed and supply.engine.on
            if hang:
                crew.measure(READ, 3)
                assert meter.dead.wait(30.0), "the meter was never read"
            began = time.monotonic()
            # what the runner does on an abort, in its order
            crew.drop_work()
            crew.make_safe(4)
            event = inbox.wait_for(e.MadeSafe)
            reported = time.monotonic()
        finally:
            crew.close()
        assert isinstance(event, e.MadeSafe)
        told = next(at for at, data in supply.heard if at >= began and b"OUTP OFF" in data)
        confirmed = max(at for at, data in supply.said if began <= at <= reported and data.endswith(b"0\n"))
        return Times(told - began, confirmed - began, reported - began, event, supply.engine.on, meter.dead.is_set())


def line(name: str, times: list[Times]) -> str:
    """Medians and worst cases, in milliseconds, as one line."""
    parts = []
    for what in ("told", "confirmed", "reported"):
        values = [1000 * getattr(one, what) for one in times]
        parts.append(f"{what} {statistics.median(values):.1f} ms (worst {max(values):.1f})")
    return f"{name}: {', '.join(parts)}; {sum(not one.still_on for one in times)} of {len(times)} off"


def off_on_a_shared_line() -> float:
    """Seconds until one of two stations of a line was told to go off, while the other, which is dead, is looked for."""
    twin = Rectifiers()
    with tempfile.TemporaryDirectory() as folder, served(twin) as port, ThreadPoolExecutor(1) as pool:
        bench = two_rectifiers(Path(folder), port.address)
        with bench.connect("feed A") as one, bench.connect("feed B") as other:
            for rectifier in (one, other):
                rectifier.open()
                rectifier.set_output(True)
            twin.dead.add(1)
            for told in twin.told_off.values():
                told.clear()
            first = pool.submit(one.make_safe)
            twin.told_off[1].wait(20)
            begun = time.monotonic()
            assert other.make_safe().confirmed
            twin.dead.clear()
            first.result(60)
            return twin.told_at[2] - begun


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--repeats", type=int, default=20)
    repeats = parser.parse_args().repeats
    for name, hang, baud in (
        ("nothing else under way, 9600 baud", False, 9600.0),
        ("the other port hangs, 9600 baud", True, 9600.0),
        ("the other port hangs, no pace", True, 0.0),
    ):
        print(line(name, [abort_once(hang=hang, baud=baud) for _ in range(repeats)]))
    took = [1e3 * off_on_a_shared_line() for _ in range(repeats)]
    print(
        f"a dead station on the same line: told {statistics.median(took):.1f} ms (worst {max(took):.1f}); "
        f"{len(took)} of {repeats} off"
    )


if __name__ == "__main__":
    main()
