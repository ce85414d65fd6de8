"""A meter on M-Bus, against stations of our own that were written from the rules of the frames alone.

One response is that of the public M-Bus documentation (M-Bus Usergroup, "The M-Bus: A Documentation", rev. 4.8, the
example of a water meter's variable data; from memory, its sum and its words agree).
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from bench.files import BadFile, parse
from bench.instruments.bench_file import load_bench
from bench.instruments.instrument import Instrument
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.library import Library
from bench.instruments.profile.line import Mbus, MbusPoint
from bench.instruments.profile.profile import Profile
from bench.instruments.wire.framing import Frame, Noise
from bench.instruments.wire.mbus import MbusFramer, identity_of, parts_of
from tests.instruments.server import Mangled, VirtualLine, served

METER = r"""
profile: bus-meter
title: an energy meter on M-Bus
line: {baud: 2400, parity: even, timeout: 0.3 s, quiet: 5 ms, settle: 0 s}
dialogue:
  kind: mbus
  station: 5
  points: {energy: {record: 0}, volts: {record: 1}, amps: {record: 2}, hall: {record: 3}}
identify: {ask: meter, reply: '(?P<maker>[A-Z]{3}) (?P<serial>\d{8}) (?P<version>\d+) \d+'}
marks: [{mark: power-low, flag: low-battery}]
accuracy-source: test
functions:
  - {name: volts dc, reads: voltage, read: volts, units: {V: V}, takes: 0.3 s,
     ranges: [{range: 80 V, resolution: 0.1 V, accuracy: [{counts: 2}]}]}
  - {name: amps dc, reads: current, read: amps, units: {A: A}, takes: 0.3 s}
  - {name: hall, reads: temperature, read: hall, units: {degC: degC}, takes: 0.3 s}
  - {name: slip, reads: voltage, read: energy, units: {V: V}, takes: 0.3 s}
"""


def long(station: int, data: bytes, number: str = "12345678", status: int = 0, code: int = 0x08) -> bytes:
    """A response with variable data: a head of twelve bytes, and the records."""
    maker = (ord("G") - 64) * 32 * 32 + (ord("N") - 64) * 32 + ord("H") - 64
    head = bytes.fromhex(number)[::-1] + maker.to_bytes(2, "little") + bytes([7, 2, 1, status, 0, 0])
    body = bytes([code, station, 0x72]) + head + data
    return bytes([0x68, len(body), len(body), 0x68]) + body + bytes([sum(body) & 0xFF, 0x16])


def records(volts: float, amps: float, celsius: float) -> bytes:
    """4 bytes of watt-hours times 10, 2 of volts times 0.1, 4 of amperes times 0.001, 2 of °C times 0.1."""
    return (
        bytes([0x04, 0x04]) + (1234).to_bytes(4, "little")
        + bytes([0x02, 0xFD, 0x48]) + round(volts * 10).to_bytes(2, "little", signed=True)
        + bytes([0x04, 0xFD, 0x59]) + round(amps * 1000).to_bytes(4, "little", signed=True)
        + bytes([0x02, 0x66]) + round(celsius * 10).to_bytes(2, "little", signed=True)
    )  # fmt: skip


class Station:
    """A station that repeats what it said last to a request with the bit of the one before, as the rules want it."""

    wake_at = None

    def __init__(self, station: int = 5, volts: float = -53.4, number: str = "12345678") -> None:
        self.station = station
        self.volts = volts
        self.number = number
        self.status = 0
        self.said: list[str] = []
        self._bit: bool | None = None
        self._last = b""
        self._in = b""
        self._out = b""

    def receive(self, data: bytes, now: float) -> None:
        self._in += data
        while len(self._in) >= 5:
            frame, self._in = self._in[:5], self._in[5:]
            assert frame[0] == 0x10 and frame[4] == 0x16 and frame[3] == (frame[1] + frame[2]) & 0xFF
            if frame[2] != self.station:
                continue
            if frame[1] == 0x40:
                self._bit = None
                self._out += b"\xe5"
                self.said.append("acknowledged")
            else:
                bit = bool(frame[1] & 0x20)
                if bit != self._bit or not self._last:
                    self._last = long(self.station, records(self.volts, 1.5, 18.5), self.number, self.status)
                self._bit = bit
                self._out += self._last
                self.said.append("told")

    def send(self, now: float) -> bytes:
        said, self._out = self._out, b""
        return said


def at_work(station: Station, mangle=None) -> Instrument:
    profile = parse(METER, Profile, "bus-meter.yaml")[0]
    line = VirtualLine(station if mangle is None else Mangled(station, mangle, end=b""))
    meter = Instrument(profile, line, line.clock)
    meter.open()
    return meter


def test_a_meter_says_who_it_is_and_what_it_reads_in_its_own_units() -> None:
    meter = at_work(Station())
    assert (meter.identity.maker, meter.identity.serial, meter.identity.version) == ("GNH", "12345678", "7")
    for function, value, unit in (("volts dc", -53.4, "V"), ("amps dc", 1.5, "A"), ("hall", 18.5, "°C")):
        meter.configure(function)
        sample = meter.read()
        assert (sample.value, sample.unit) == (pytest.approx(value), unit)


def test_each_reading_is_a_new_one_although_a_station_repeats_itself() -> None:
    station = Station()
    meter = at_work(station)
    meter.configure("volts dc")
    found = []
    for volts in (-53.4, -53.5, 0.0, 48.0):
        station.volts = volts
        found.append(meter.read().value)
    assert found == pytest.approx([-53.4, -53.5, 0.0, 48.0])


def test_a_record_in_another_unit_is_no_reading() -> None:
    meter = at_work(Station())
    meter.configure("slip")
    with pytest.raises(InstrumentTrouble) as caught:
        meter.read()
    assert caught.value.kind == "garbled"


@pytest.mark.parametrize(
    ("status", "kind"), [(0x01, "refused"), (0x02, "refused"), (0x08, "refused"), (0x10, "refused")]
)
def test_a_meter_in_error_gives_no_reading(status: int, kind: str) -> None:
    station = Station()
    meter = at_work(station)
    meter.configure("volts dc")
    station.status = status
    with pytest.raises(InstrumentTrouble) as caught:
        meter.read()
    assert caught.value.kind == "refused"
    station.status = 0x04
    assert meter.read().flags == ("low-battery",)


def test_no_bit_that_flips_in_a_response_makes_another_value_of_it() -> None:
    whole = long(5, records(-53.4, 1.5, 18.5))
    dialogue = Mbus(station=5, points={"volts": MbusPoint(record=1)})
    for place in range(len(whole)):
        for bit in range(8):
            flipped = bytearray(whole)
            flipped[place] ^= 1 << bit
            framer = MbusFramer()
            framer.push(bytes(flipped))
            found = framer.pull()
            if isinstance(found, Frame) and len(found.body) > 1:
                with pytest.raises(ValueError):
                    parts_of(dialogue, found, "volts")
            else:
                assert found is None or isinstance(found, Noise) or found.body == b"\xe5"


@pytest.mark.parametrize("cut", [1, 4, 20])
def test_a_response_that_lost_a_byte_is_asked_for_again(cut: int) -> None:
    left = [1]

    def mangle(question: bytes, reply: bytes) -> list[tuple[float, bytes]]:
        if len(reply) > 1 and left and armed:
            left.pop()
            return [(0.0, reply[:cut] + reply[cut + 1 :])]
        return [(0.0, reply)]

    armed = False
    meter = at_work(Station(), mangle)
    meter.configure("volts dc")
    armed = True
    sample = meter.read()
    assert sample.value == pytest.approx(-53.4) and sample.tries == 2


def test_the_published_response_of_a_water_meter() -> None:
    raw = bytes.fromhex(
        "68 1F 1F 68 08 02 72 78 56 34 12 24 40 01 07 55 00 00 00 03 13 15 31 00 DA 02 3B 13 01 8B 60 04 37 18 02 18 16"
    )
    framer = MbusFramer()
    framer.push(raw)
    frame = framer.pull()
    assert isinstance(frame, Frame)
    dialogue = Mbus(
        station=2, points={name: MbusPoint(record=n) for n, name in enumerate(("volume", "flow", "energy"))}
    )
    assert identity_of(dialogue, frame) == "PAD 12345678 1 7"
    # 12,565 l, 113 l/h, 218.37 kWh; the library names the base units
    for name, value in (("volume", 12.565), ("flow", 0.113), ("energy", 218370.0)):
        assert float(parts_of(dialogue, frame, name).value) == pytest.approx(value)


class Bus:
    """Two stations on one line."""

    wake_at = None

    def __init__(self) -> None:
        self.stations = [Station(5), Station(6, 26.8, "00000042")]

    def receive(self, data: bytes, now: float) -> None:
        for station in self.stations:
            station.receive(data, now)

    def send(self, now: float) -> bytes:
        return b"".join(station.send(now) for station in self.stations)


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
def test_two_stations_of_one_line_over_a_real_port(tmp_path: Path) -> None:
    (tmp_path / "drivers").mkdir()
    (tmp_path / "drivers" / "bus-meter.yaml").write_text(METER, "utf-8")
    with served(Bus()) as port:
        text = "bench: bus\ninstruments:\n" + "".join(
            f"  - {{name: feed {name}, profile: bus-meter, port: {port.address}, station: {number}}}\n"
            for number, name in ((5, "A"), (6, "B"))
        )
        (tmp_path / "bench.yaml").write_text(
            f"{text}roles: {{volts: feed A, amps: feed A, thermometer: feed A}}\n", "utf-8"
        )
        bench = load_bench(tmp_path / "bench.yaml", Library.for_job(tmp_path))
        with bench.connect("feed A") as one, bench.connect("feed B") as other:
            assert one.open().serial == "12345678" and other.open().serial == "00000042"
            one.configure("volts dc")
            other.configure("volts dc")
            for _ in range(3):
                assert (one.read().value, other.read().value) == (pytest.approx(-53.4), pytest.approx(26.8))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("read: volts,", "read: volt,", "a point's name"),
        ("station: 5", "station: 251", "0 to 250"),
        ("record: 1}", "record: -1}", "0 to 255"),
        ("accuracy-source: test", "accuracy-source: test\nsetup: [go]", "nothing is set or switched"),
    ],
)
def test_a_slip_is_said_by_check(old: str, new: str, says: str) -> None:
    assert old in METER
    with pytest.raises(BadFile) as caught:
        parse(METER.replace(old, new), Profile, "bus-meter.yaml")
    assert says in str(caught.value)
