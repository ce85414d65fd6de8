"""Every way out of a walk, with a real process on real ports: the output ends off and confirmed, or it is said aloud.

A supply and a meter play on pseudo-terminals of this process. The bench file is that of a real bench: to the program
they are as real as any. Its output is on when the way out is taken.
"""

from __future__ import annotations

import queue
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from types import SimpleNamespace

import pytest

from bench.commands import console_screen
from bench.instruments.wire_text import WireText
from bench.record.read import read_record
from bench.runner.core import Signalled
from bench.screens.walk.plain import Plain
from bench.simulate.port_ends import PseudoTerminal
from bench.walk import events as e
from tests.benchmarks.bench_abort import Watched
from tests.drivers.twins import TWINS, Hall
from tests.instruments.server import served
from tests.walks.terminal import Terminal
from tests.walks.tool import JOB

SEQUENCE = f"""\
sequence: a live terminal
plant: {JOB / "plant.yaml"}
steps:
  - {{step: hold, text: Everybody is clear., word: POWER}}
  - {{step: set, text: The output goes on., output: 'on', voltage: 48 V, current-limit: 1 A}}
  - {{step: do, text: Look at the lamp.}}
  - step: measure
    read: voltage
    between: [J101.2, J205.2]
    limit: {{at-least: -60 V, at-most: -50 V, source: 'this test'}}
  - {{step: set, text: The output goes off., output: 'off'}}
"""
BENCH = """\
bench: my bench
instruments:
  - name: supply
    profile: scpi-supply
    port: {supply}
    serial: '0001'
  - name: meter
    profile: scpi-bench-meter
    port: {meter}
    serial: '0001'
    calibrated: 2026-03-02
    settings: {{nplc: '0.2'}}
roles: {roles}
"""
ROLES = "{supply: supply, volts: meter}"


@dataclass
class Bench:
    """A real bench, as this test holds it in its hands."""

    folder: Path
    record: Path
    supply: Watched
    meter: Watched
    ports: dict[str, PseudoTerminal] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)
    stack: ExitStack = field(default_factory=ExitStack)

    def plug_in(self, name: str) -> None:
        """Give an instrument a port, under a name that stays, as the system gives to adapters."""
        port = self.stack.enter_context(served(getattr(self, name)))
        self.ports[name] = port
        path = self.folder / f"by-id-{name}"
        path.unlink(missing_ok=True)
        path.symlink_to(port.address)
        self.names[name] = str(path)

    def unplug(self, name: str) -> None:
        """Pull the cable: the instrument itself stays as it is."""
        self.ports[name].close()

    def walk(self, *options: object, sequence: str = SEQUENCE, roles: str = ROLES) -> Terminal:
        """Start the walk at a terminal."""
        (self.folder / "power.yaml").write_text(sequence, "utf-8")
        (self.folder / "bench.yaml").write_text(BENCH.format(**self.names, roles=roles), "utf-8")
        words = ("run", self.folder / "power.yaml", "--bench", self.folder / "bench.yaml", "--record", self.record)
        return Terminal(*words, *options, cwd=self.folder)

    def walk_until_live(self, *options: object, **files: str) -> Terminal:
        """Start the walk and go on until the output is on, was read back, and a person is asked something."""
        terminal = self.walk(*options, **files)
        terminal.expect("POWER")
        terminal.type("POWER")
        terminal.expect("Look at the lamp.")
        assert self.supply.engine.on
        return terminal

    def events(self) -> list[e.Event]:
        """What is in the record."""
        return [entry.event for entry in read_record(self.record)]

    def last_safe(self) -> e.MadeSafe:
        """How the walk ended."""
        last = self.events()[-1]
        assert isinstance(last, e.MadeSafe)
        return last


@contextmanager
def real_bench(folder: Path) -> Iterator[Bench]:
    now = time.monotonic()
    supply, meter = (Watched(TWINS[name](Hall(), now)) for name in ("scpi-supply", "scpi-bench-meter"))
    bench = Bench(folder, folder / "r.jsonl", supply, meter)
    with bench.stack:
        bench.plug_in("supply")
        bench.plug_in("meter")
        yield bench


def enter(terminal: Terminal) -> None:
    """Press Enter, not before a person can have read what is asked."""
    time.sleep(0.8)
    terminal.type("")


def aborted(terminal: Terminal, bench: Bench) -> None:
    terminal.type("ABORT smoke")


def left(terminal: Terminal, bench: Bench) -> None:
    terminal.type("leave")


def window_closed(terminal: Terminal, bench: Bench) -> None:
    terminal.hang_up()


def signalled(number: signal.Signals) -> Callable[[Terminal, Bench], None]:
    def way_out(terminal: Terminal, bench: Bench) -> None:
        terminal.process.send_signal(number)

    return way_out


def reading_of_nothing(terminal: Terminal) -> None:
    """The loss is seen while probes are placed, or where the reading is asked for: whichever comes first."""
    if "Hold still" in terminal.until("Hold still|TROUBLE"):
        enter(terminal)


def meter_unplugged(terminal: Terminal, bench: Bench) -> None:
    bench.unplug("meter")
    enter(terminal)
    reading_of_nothing(terminal)
    terminal.expect("was lost")
    terminal.type("ABORT the meter is gone")


def done_with_every_byte_written_down(bench: Bench) -> None:
    """What the file says was sent and received is what went over each wire, byte for byte and in order."""
    trace = bench.folder / "bytes.txt"
    terminal = bench.walk_until_live("--trace-bytes", trace)
    enter(terminal)
    terminal.expect("Hold still")
    enter(terminal)
    assert terminal.end() == 0, terminal.seen
    assert not bench.supply.engine.on
    assert bench.last_safe().confirmed == {"supply": True}
    written: dict[tuple[str, str], bytes] = {}
    for line in trace.read_text("utf-8").splitlines():
        moment, name, direction, *text = line.split(" ", 3)
        datetime.fromisoformat(moment)
        written[name, direction] = written.get((name, direction), b"") + WireText.parse("".join(text)).data
    for name in ("supply", "meter"):
        twin = getattr(bench, name)
        assert written[name, "sent"] == b"".join(data for _, data in twin.heard)
        assert written[name, "received"] == b"".join(data for _, data in twin.said)
    assert b"OUTP ON\n" in written["supply", "sent"] and b"READ?\n" in written["meter", "sent"]


def ended_by(way_out: Callable[[Terminal, Bench], None], why: str) -> Callable[[Bench], None]:
    """A walk that is given up in some way while the output is on."""

    def walk(bench: Bench) -> None:
        terminal = bench.walk_until_live()
        way_out(terminal, bench)
        code = terminal.process.wait(timeout=60) if way_out is window_closed else terminal.end()
        assert code == 3, terminal.seen
        assert "NOT CONFIRMED" not in terminal.seen
        assert not bench.supply.engine.on
        assert bench.last_safe().confirmed == {"supply": True}
        assert bench.last_safe().left == []
        reasons = [event.why for event in bench.events() if isinstance(event, e.Aborted)]
        assert len(reasons) == 1 and why in reasons[0]

    return walk


def a_supply_that_is_unplugged_is_said_not_to_be_confirmed(bench: Bench) -> None:
    terminal = bench.walk_until_live()
    bench.unplug("supply")
    terminal.type("ABORT the supply is gone")
    terminal.expect("NOT CONFIRMED OFF: supply")
    assert terminal.end() == 3
    # nobody can know better: it is on, and the record says that nobody knows
    assert bench.supply.engine.on
    assert bench.last_safe().confirmed == {"supply": False}
    assert "supply" in bench.last_safe().left[0]


def a_supply_that_is_back_under_its_lasting_name_is_switched_off(bench: Bench) -> None:
    """Another terminal number, the same name by id: making safe opens it anew."""
    terminal = bench.walk_until_live()
    assert bench.supply.engine.on
    bench.unplug("supply")
    bench.plug_in("supply")
    terminal.type("ABORT I pulled the cable")
    assert terminal.end() == 3
    assert "NOT CONFIRMED" not in terminal.seen
    assert not bench.supply.engine.on
    assert bench.last_safe().confirmed == {"supply": True}


def a_meter_that_is_back_under_its_lasting_name_goes_on_from_the_same_step(bench: Bench) -> None:
    terminal = bench.walk_until_live()
    bench.unplug("meter")
    enter(terminal)
    reading_of_nothing(terminal)
    terminal.expect("was lost")
    terminal.expect("Type retry")
    bench.plug_in("meter")
    terminal.type("retry")
    terminal.expect("Hold still")
    enter(terminal)
    assert terminal.end() == 0, terminal.seen
    assert bench.last_safe().confirmed == {"supply": True}
    met = [event.instrument for event in bench.events() if isinstance(event, e.Met)]
    assert met == ["supply", "meter", "meter"]
    (read,) = [event for event in bench.events() if isinstance(event, e.Read)]
    assert read.value == pytest.approx(-53.4, abs=0.01)


def an_output_that_went_off_with_the_connection_is_not_read_as_if_it_were_on(bench: Bench) -> None:
    """To open a supply anew sets it up, and that switches it off: the hold point comes up again before any reading."""
    terminal = bench.walk_until_live()
    enter(terminal)
    terminal.expect("Hold still")
    bench.unplug("supply")
    # nobody reads: it is missed all the same, and cannot be confirmed off
    terminal.expect("Type retry")
    bench.plug_in("supply")
    terminal.type("retry")
    terminal.expect("Type go to go on.")
    assert not bench.supply.engine.on
    terminal.type("go")
    terminal.expect("HOLD POINT")
    assert not bench.supply.engine.on
    terminal.type("POWER")
    terminal.expect("Look at the lamp.")
    assert bench.supply.engine.on
    enter(terminal)
    terminal.expect("Hold still")
    enter(terminal)
    assert terminal.end() == 0, terminal.seen
    (read,) = [event for event in bench.events() if isinstance(event, e.Read)]
    assert read.value == pytest.approx(-53.4, abs=0.01)


def everything_off_by_word(bench: Bench) -> None:
    """The one word that switches off at once: the walk is paused, and the hold point comes up before it goes on."""
    terminal = bench.walk_until_live()
    terminal.type("off")
    terminal.expect("everything was switched off")
    until = time.monotonic() + 60
    while bench.supply.engine.on:
        assert time.monotonic() < until, terminal.seen
        time.sleep(0.01)
    terminal.type("ABORT enough")
    assert terminal.end() == 3
    assert bench.last_safe().confirmed == {"supply": True}


def killed(bench: Bench) -> None:
    """Nobody is left but the guard, which switches off and writes it down."""
    terminal = bench.walk_until_live()
    terminal.process.kill()
    terminal.process.wait(timeout=60)
    until = time.monotonic() + 60
    while bench.supply.engine.on or not any(isinstance(event, e.Guarded) for event in bench.events()):
        assert time.monotonic() < until, "the guard did nothing"
        time.sleep(0.01)
    (guarded,) = [event for event in bench.events() if isinstance(event, e.Guarded)]
    assert guarded.confirmed == {"supply": True} and guarded.left == []


WALKS: dict[str, Callable[[Bench], None]] = {
    "done": done_with_every_byte_written_down,
    "ALL OFF": everything_off_by_word,
    "SIGKILL": killed,
    "abort": ended_by(aborted, "smoke"),
    "left": ended_by(left, "who left the terminal"),
    "SIGINT": ended_by(signalled(signal.SIGINT), "told to end by SIGINT"),
    "SIGTERM": ended_by(signalled(signal.SIGTERM), "told to end by SIGTERM"),
    "SIGHUP": ended_by(signalled(signal.SIGHUP), "told to end by SIGHUP"),
    "window closed": ended_by(window_closed, "who left the terminal"),
    "meter unplugged": ended_by(meter_unplugged, "the meter is gone"),
    "supply unplugged": a_supply_that_is_unplugged_is_said_not_to_be_confirmed,
    "supply back": a_supply_that_is_back_under_its_lasting_name_is_switched_off,
    "meter back": a_meter_that_is_back_under_its_lasting_name_goes_on_from_the_same_step,
    "supply back before a reading": an_output_that_went_off_with_the_connection_is_not_read_as_if_it_were_on,
}


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize("name", WALKS)
def test_a_walk_ends_with_the_output_off_or_says_that_nobody_knows(tmp_path: Path, name: str) -> None:
    with real_bench(tmp_path) as bench:
        WALKS[name](bench)


# ---- a screen that fails -----------------------------------------------------------------------


@pytest.mark.parametrize("error", [OSError("the terminal is gone"), RuntimeError("a bug in the screen")])
def test_whatever_ends_the_screen_the_runner_is_told_and_waited_for(
    monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    class Walking:
        """A walk that goes on until it is told to end; then it takes a moment to make safe."""

        def __init__(self) -> None:
            self.runner = SimpleNamespace(inbox=queue.Queue())
            self.writer = SimpleNamespace(path="r.jsonl")
            self.safe = False

        def run(self) -> str:
            while not isinstance(self.runner.inbox.get(timeout=20), Signalled):
                pass
            self.safe = True
            return "over"

    def fail(plain: Plain) -> None:
        raise error

    monkeypatch.setattr(Plain, "run", fail)
    monkeypatch.setattr(console_screen, "_write_to_nobody", lambda: None)
    walk = Walking()
    if isinstance(error, OSError):
        assert console_screen.run_with_person(walk, "Ada") == "over"  # type: ignore[arg-type,comparison-overlap]
    else:
        with pytest.raises(RuntimeError, match="a bug in the screen"):
            console_screen.run_with_person(walk, "Ada")  # type: ignore[arg-type]
    assert walk.safe
