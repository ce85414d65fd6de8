"""Several instruments on one port: stations of a bus, one box by several names, a second output, and its watchdog."""

from __future__ import annotations

import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import msgspec
import pytest

from bench.files import BadFile, Inconsistent, parse
from bench.instruments import instrument as instrument_module
from bench.instruments.bench_file import Bench, load_bench
from bench.instruments.examples import replay
from bench.instruments.instrument import Instrument
from bench.instruments.ports.shared import Turns
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.library import Library
from bench.instruments.profile.profile import Profile
from bench.quantity import Duration
from bench.simulate.twins.meter import MeterTwin
from bench.simulate.twins.panel import PanelTwin, check_sum
from tests.drivers.twins import Hall
from tests.instruments.server import LIBRARY, VirtualLine, served

POSIX = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")


class Bus:
    """Two panel meters on one line, at stations 1 and 2; each keeps quiet while the other is asked."""

    def __init__(self) -> None:
        first, second = Hall(), Hall()
        second.volts, second.amps = 26.8, 4.5
        self.meters = [PanelTwin(first, error_scale=0.0), PanelTwin(second, error_scale=0.0)]
        for number, meter in enumerate(self.meters, 1):
            meter.station = number

    def receive(self, data: bytes, now: float) -> None:
        for meter in self.meters:
            meter.receive(data, now)

    def send(self, now: float) -> bytes:
        return b"".join(meter.send(now) for meter in self.meters)

    @property
    def wake_at(self) -> float | None:
        return min((at for meter in self.meters if (at := meter.wake_at) is not None), default=None)


def bench_of(folder: Path, text: str) -> Bench:
    path = folder / "bench.yaml"
    path.write_text(f"bench: shared\ninstruments:\n{text}", "utf-8")
    return load_bench(path, Library.for_job(folder))


def stations(port: str) -> str:
    line = "  - {{name: feed {}, profile: modbus-panel-meter, port: {}, station: {}, line: {{parity: none}}}}\n"
    return line.format("A", port, 1) + line.format("B", port, 2)


@POSIX
def test_two_stations_of_one_bus_are_read_by_two_threads_and_never_taken_for_each_other(tmp_path: Path) -> None:
    with served(Bus()) as port:
        bench = bench_of(tmp_path, stations(port.address))
        with bench.connect("feed A") as one, bench.connect("feed B") as other:
            one.open()
            other.open()

            def read(meter: Instrument) -> list[float | None]:
                meter.configure("volts dc")
                return [meter.read().value for _ in range(15)]

            with ThreadPoolExecutor(2) as pool:
                found = list(pool.map(read, (one, other)))
        assert set(found[0]) == {-53.4} and set(found[1]) == {26.8}
        # the last end has let the port go
        with bench.connect("feed A") as again:
            again.open()


@POSIX
def test_one_box_by_two_names_is_set_anew_for_each(tmp_path: Path) -> None:
    with served(MeterTwin(Hall(), error_scale=0.0), speed=50.0) as port:
        text = "".join(
            f"  - {{name: {name}, profile: scpi-bench-meter, port: {port.address}, shares-port: true}}\n"
            for name in ("ohms meter", "volts meter")
        )
        bench = bench_of(tmp_path, f"{text}roles: {{ohms: ohms meter, volts: volts meter}}\n")
        with bench.connect("ohms meter") as ohms, bench.connect("volts meter") as volts:
            for meter in (ohms, volts):
                meter.open()
            ohms.configure("ohms 4w")
            volts.configure("volts dc")
            for _ in range(3):
                assert ohms.read().unit == "Ω"
                sample = volts.read()
                assert (sample.unit, sample.value) == ("V", pytest.approx(-53.4, abs=0.01))


@POSIX
def test_what_makes_safe_is_next_and_ends_what_is_under_way(tmp_path: Path) -> None:
    """One box: a reading of its meter hangs while its output must go off."""

    class Hanging(MeterTwin):
        """A meter that never finishes a reading, with an output."""

        on = True

        def receive(self, data: bytes, now: float) -> None:
            if b"OFF" in data:
                self.on = False
            data = data.replace(b"OUT?\n", b"")
            super().receive(data.replace(b"READ?", b"").replace(b"OFF\n", b""), now)

    profile = """
profile: box
title: a box
dialogue: {kind: query, read: 'READ?', reply: '(?P<value>[+-].*)'}
identify: {ask: '*IDN?', reply: '(?P<model>.*)'}
outputs:
  - {'on': ['ON'], 'off': ['OFF'], is-on: {ask: '*OPC?', reply: '2'}, is-off: {ask: '*OPC?', reply: '1'}}
functions: [{name: volts dc, reads: voltage, takes: 500 s}]
safe: {send: ['OFF'], checks: [{ask: '*OPC?', reply: '1'}]}
"""
    (tmp_path / "drivers").mkdir()
    (tmp_path / "drivers" / "box.yaml").write_text(profile, "utf-8")
    twin = Hanging(Hall())
    with served(twin) as port:
        text = "".join(
            f"  - {{name: {name}, profile: box, port: {port.address}, shares-port: true}}\n"
            for name in ("meter", "supply")
        )
        bench = bench_of(tmp_path, f"{text}roles: {{supply: supply, volts: meter}}\n")
        with bench.connect("meter") as meter, bench.connect("supply") as supply:
            meter.open()
            supply.open()
            twin.on = True
            meter.configure("volts dc")
            ended: list[InstrumentTrouble] = []
            begun = threading.Event()

            def read() -> None:
                begun.set()
                try:
                    meter.read()
                except InstrumentTrouble as trouble:
                    ended.append(trouble)

            thread = threading.Thread(target=read)
            thread.start()
            begun.wait(20)
            while meter._guard.acquire(blocking=False):
                meter._guard.release()  # until it has the line
            assert supply.make_safe().confirmed and not twin.on
            thread.join(30)
            assert [trouble.kind for trouble in ended] == ["silent"] and "make something safe" in ended[0].what


STATION = """
profile: station
title: a rectifier on a line of two wires
line: {timeout: 100 ms, quiet: 5 ms, settle: 0 s}
dialogue:
  kind: modbus
  station: 1
  points: {out: {table: coil, address: 0}}
identify: {register: {table: holding, address: 0, type: uint16}, reply: '(?P<model>291)'}
outputs:
  - {'on': ['out=1'], 'off': ['out=0'], is-on: {ask: out, reply: '1'}, is-off: {ask: out, reply: '0'}}
safe: {send: ['out=0'], checks: [{ask: out, reply: '0'}]}
"""


class Rectifiers:
    """Two rectifiers at stations 1 and 2 of one line of two wires, frame by frame as the public specification has them.

    A station that is dead says nothing.
    """

    wake_at = None

    def __init__(self) -> None:
        self.on = {1: False, 2: False}
        self.dead: set[int] = set()
        self.asked: list[int] = []
        """Which station each frame was for."""
        self.told_off: dict[int, threading.Event] = {1: threading.Event(), 2: threading.Event()}
        self.told_at: dict[int, float] = {}
        """On the monotonic clock."""
        self._in = b""
        self._out = b""

    def receive(self, data: bytes, now: float) -> None:
        self._in += data
        while len(self._in) >= 8:
            frame, self._in = self._in[:8], self._in[8:]
            station, code, value = frame[0], frame[1], frame[4:6]
            self.asked.append(station)
            if code == 5 and value == b"\0\0":
                self.told_at[station] = time.monotonic()
                self.told_off[station].set()
            if station in self.dead:
                continue
            if code == 5:
                self.on[station] = value == b"\xff\0"
                answer = frame[:6]
            elif code == 1:
                answer = bytes([station, 1, 1, self.on[station]])
            else:
                answer = bytes([station, 3, 2, 1, 0x23])
            self._out += answer + check_sum(answer)

    def send(self, now: float) -> bytes:
        said, self._out = self._out, b""
        return said


def two_rectifiers(folder: Path, address: str) -> Bench:
    """Both on one port."""
    (folder / "drivers").mkdir()
    (folder / "drivers" / "station.yaml").write_text(STATION, "utf-8")
    text = "".join(
        f"  - {{name: feed {name}, profile: station, port: {address}, station: {number}}}\n"
        for number, name in ((1, "A"), (2, "B"))
    )
    return bench_of(folder, f"{text}roles: {{supply: feed A}}\n")


@POSIX
def test_a_station_that_does_not_answer_keeps_no_other_from_going_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first has a minute to answer; the second is told to go off, and seen to be off, before that is over."""
    monkeypatch.setattr(instrument_module, "TAKE_OVER_SHARED", 20.0)
    twin = Rectifiers()
    with served(twin) as port:
        bench = two_rectifiers(tmp_path, port.address)
        with bench.connect("feed A") as one, bench.connect("feed B") as other, ThreadPoolExecutor(2) as pool:
            for rectifier in (one, other):
                rectifier.open()
                rectifier.set_output(True)
            twin.dead.add(1)
            for rectifier in (one, other):  # the other answers at once, and a busy machine may be slow
                line = rectifier._session.line
                rectifier._session.line = msgspec.structs.replace(line, timeout=Duration(60.0))
            twin.told_off[1].clear()
            twin.told_off[2].clear()
            first = pool.submit(one.make_safe)
            try:
                assert twin.told_off[1].wait(20)
                second = pool.submit(other.make_safe)
                assert twin.told_off[2].wait(20) and not first.done(), "its order waits for a station that is dead"
                assert second.result(30).confirmed and not twin.on[2]
                assert not first.done()
            finally:
                twin.dead.clear()
                other.make_safe()  # which lets the first one ask again
            assert first.result(60).confirmed and twin.on == {1: False, 2: False}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (stations("/dev/x").replace("station: 2", "station: 1"), "another 'station' than 'feed A'"),
        (stations("/dev/x").replace("station: 2", "station: 300"), "1 to 247"),
        (
            stations("/dev/x").replace("none", "odd", 1),
            "the same line settings as 'feed A'",
        ),
        ("  - {name: m, profile: scpi-bench-meter, port: /dev/x, station: 3}\n", "not on Modbus"),
        ("  - {name: s, profile: scpi-supply, port: /dev/x, output: outputt}\n", "did you mean 'output'"),
        (
            "  - {name: m, profile: scpi-bench-meter, port: /dev/x, shares-port: true}\n"
            "  - {name: s, profile: scpi-supply, port: /dev/x}\n",
            "'m' is on it already",
        ),
    ],
)
def test_what_cannot_share_a_port_is_told(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(BadFile) as told:
        bench_of(tmp_path, text)
    assert says in str(told.value), str(told.value)


def test_who_waits_gets_its_turn_in_order_and_who_makes_safe_is_first() -> None:
    turns, order = Turns(), []
    waiting: list[threading.Thread] = []

    def want(name: str, first: bool) -> None:
        assert turns.acquire(first=first)
        order.append(name)
        turns.release()

    turns.acquire()
    turns.acquire()
    for name in ("one", "two", "safe"):
        thread = threading.Thread(target=want, args=(name, name == "safe"))
        thread.start()
        waiting.append(thread)
        while len(turns._waiting) < len(waiting):
            pass
    turns.release()
    assert order == [], "it was taken twice over"
    turns.release()
    for thread in waiting:
        thread.join(20)
    assert order == ["safe", "one", "two"]
    assert turns.acquire(timeout=0.0)
    assert not ThreadPoolExecutor(1).submit(turns.acquire, True, 0.01).result(20)


def test_who_rests_lets_those_who_switch_off_go_first_however_late_they_wake() -> None:
    turns, order = Turns(), []
    turns.acquire()
    held = threading.Event()

    def want(name: str, first: bool) -> None:
        assert turns.acquire(first=first)
        order.append(name)
        held.wait(20)
        turns.release()

    threads = []
    for name in ("reads", "switches off"):
        threads.append(threading.Thread(target=want, args=(name, name != "reads")))
        threads[-1].start()
        while len(turns._waiting) < len(threads):
            pass
    held.set()
    turns.rest(0.0)
    order.append("goes on")
    turns.release()
    for thread in threads:
        thread.join(20)
    assert sorted(order) == ["goes on", "reads", "switches off"]
    assert order.index("switches off") < order.index("goes on")


TWO_OUTPUTS = r"""
profile: two
title: a supply with two outputs and a watchdog
dialogue: {kind: query, read: 'V', reply: '(?P<value>\d+\.\d)'}
identify: {ask: 'I', reply: '(?P<model>two) (?P<serial>\d+)'}
outputs:
  - {name: left, 'on': ['L1'], 'off': ['L0'], is-on: {ask: 'L', reply: '1'}, is-off: {ask: 'L', reply: '0'}}
  - name: right
    'on': ['R1']
    'off': ['R0']
    is-on: {ask: 'R', reply: '1'}
    is-off: {ask: 'R', reply: '0'}
    watchdog:
      within: 8 s
      set: ['W {seconds}']
      confirm: [{ask: 'W', reply: '(?P<value>\d+)', equals: seconds}]
      feed: ['F']
      clear: ['W 0']
safe: {send: ['L0', 'R0'], checks: [{ask: 'L', reply: '0'}, {ask: 'R', reply: '0'}]}
examples:
  - does: safe
    exchange:
      - {sent: '\nL0\nR0\nW 0\nI\n', received: "two 7\n"}
      - {sent: 'I\n', received: "two 7\n"}
      - {sent: 'L\n', received: "0\n"}
      - {sent: 'R\n', received: "0\n"}
"""


class Two:
    """That supply, as far as it is talked to."""

    def __init__(self) -> None:
        self.on = {"L": False, "R": False}
        self.watch = 0
        self.fed = 0
        self._out = b""

    wake_at = None

    def receive(self, data: bytes, now: float) -> None:
        for line in data.decode().split("\n"):
            match list(line):
                case ["I"]:
                    self._out += b"two 7\n"
                case ["L" | "R" as side]:
                    self._out += b"1\n" if self.on[side] else b"0\n"
                case ["L" | "R" as side, "0" | "1" as state]:
                    self.on[side] = state == "1"
                case ["W"]:
                    self._out += f"{self.watch}\n".encode()
                case ["W", " ", *seconds]:
                    self.watch = int("".join(seconds))
                case ["F"]:
                    self.fed += 1

    def send(self, now: float) -> bytes:
        said, self._out = self._out, b""
        return said


def two() -> Profile:
    return parse(TWO_OUTPUTS, Profile, "two.yaml")[0]


def test_the_second_output_of_a_box_is_the_one_that_is_switched_and_its_watchdog_is_set_fed_and_cleared() -> None:
    assert replay(two(), two().examples[0]) == []
    twin = Two()
    line = VirtualLine(twin)
    supply = Instrument(two(), line, line.clock, output="right")
    supply.open()
    state = supply.set_output(True)
    assert state.name == "right" and twin.on == {"L": False, "R": True} and twin.watch == 8
    supply.confirm_output({})
    assert twin.fed == 0, "it is not time yet"
    for _ in range(4):
        line.now += 2.5
        supply.confirm_output({})
    assert twin.fed == 4
    supply.set_output(False)
    assert twin.on == {"L": False, "R": False} and twin.watch == 0
    supply.set_output(True)
    assert supply.make_safe().confirmed and twin.watch == 0 and not twin.on["R"]
    line.now += 20.0
    with pytest.raises(InstrumentTrouble):
        supply.confirm_output({})
    assert twin.fed == 4, "what is off is not fed"


def test_a_watchdog_that_did_not_take_its_time_keeps_the_output_off() -> None:
    class Deaf(Two):
        def receive(self, data: bytes, now: float) -> None:
            super().receive(data.replace(b"W 8", b"W 80"), now)

    twin = Deaf()
    line = VirtualLine(twin)
    supply = Instrument(two(), line, line.clock, output="right")
    supply.open()
    with pytest.raises(InstrumentTrouble, match="did not take what was set"):
        supply.set_output(True)
    assert not twin.on["R"]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"within": "1 s"}, "at least 3 s"),
        ({"feed": ["F {seconds}"]}, "need nothing to be known"),
        ({"set": ["W {volts}"]}, "{seconds} or nothing"),
    ],
)
def test_a_slip_in_a_watchdog_is_told(changes: dict[str, object], says: str) -> None:
    text = TWO_OUTPUTS
    for name, value in changes.items():
        old = {"within": "within: 8 s", "feed": "feed: ['F']", "set": "set: ['W {seconds}']"}[name]
        text = text.replace(old, f"{name}: {value}")
    with pytest.raises(BadFile, match=says):
        parse(text, Profile, "two.yaml")
    profile = two()
    slow = msgspec.structs.replace(
        LIBRARY.profile("scpi-thermometer").functions[0], takes=type(profile.line.timeout)(5.0)
    )
    with pytest.raises(Inconsistent, match="at least twice that"):
        msgspec.structs.replace(profile, functions=[slow], accuracy_source="test")
