"""Twins of the instruments that do not speak SCPI, and what all twins are on in the tests.

Each is fed bytes and asked for bytes, and told the time, as those of :mod:`bench.simulate` are. They are written from
the description in their profile and share no code with what reads them: their checksums are their own.
"""

from __future__ import annotations

import struct
from collections import deque
from collections.abc import Iterable
from typing import ClassVar

from bench.simulate.dielectric import Dielectric
from bench.simulate.insulation import InsulationTester
from bench.simulate.matrix import Matrix
from bench.simulate.meter import Meter
from bench.simulate.scpi import Call, Command, Instrument, nr3
from bench.simulate.supply import Supply
from bench.simulate.world import AMPS, HI, LO

MEASURES = {"ohms": "resistance", "volts dc": "voltage", "volts ac": "ac_voltage", "amps dc": "current"}


class Hall:
    """What every instrument of the tests is on: a resistance that tells the time, a feed, a load, a cable."""

    def __init__(self):
        self.volts = -53.4
        self.amps = 0.25
        self.celsius = 18.5
        self.insulation = Dielectric(ohms=3e9, farads=20e-9)
        self.held = None
        self.closed: frozenset[int] = frozenset()
        self.live = 0.0

    def ohms(self, at: float) -> float:
        return 10.0 + int(at) % 80

    # a meter's world
    def resistance(self, hi, lo, time):
        return self.ohms(time)

    def four_wire(self, force_hi, sense_hi, sense_lo, force_lo, time):
        return self.ohms(time)

    def voltage(self, hi, lo, time, loading):
        # a voltage between the leads would disturb ohms; both are measured here by turns
        return self.volts if loading < 1e12 else 0.0

    def ac_voltage(self, hi, lo, time, loading):
        return 231.4

    def current(self, into, out, time, burden):
        return self.amps

    # a supply's, a tester's and a matrix's world
    def draw(self, volts, time):
        return volts / 120.0

    def hold(self, volts, time):
        self.held = volts

    def idle_voltage(self, time):
        return 0.0

    def specimen(self, time):
        return self.insulation

    def live_voltage(self, time):
        return self.live

    def switched(self, closed, time):
        self.closed = closed


class Talker:
    """Bytes that go out one by one at the pace of a line."""

    def __init__(self, world, baud: float, now: float = 0.0):
        self.world = world
        self.byte_time = 11.0 / baud
        self.function = "ohms"
        self.marks = ""
        self._out: deque[tuple[float, int]] = deque()
        self._free = now

    def put(self, data: bytes, now: float) -> None:
        at = max(self._free, now)
        for byte in data:
            at += self.byte_time
            self._out.append((at, byte))
        self._free = at

    def measured(self, time: float) -> float:
        if self.function == "ohms":
            return self.world.resistance(HI, LO, time)
        if self.function == "volts dc":
            return self.world.voltage(HI, LO, time, 10e6)
        if self.function == "volts ac":
            return self.world.ac_voltage(HI, LO, time, 10e6)
        return self.world.current(AMPS, LO, time, 0.1)

    def receive(self, data: bytes, now: float) -> None:
        """Deaf by default."""

    def step(self, now: float) -> None:
        """Let what is due happen."""

    def send(self, now: float) -> bytes:
        self.step(now)
        out = bytearray()
        while self._out and self._out[0][0] <= now:
            out.append(self._out.popleft()[1])
        return bytes(out)

    def next_step(self) -> float | None:
        return None

    @property
    def wake_at(self) -> float | None:
        times = [self._out[0][0] if self._out else None, self.next_step()]
        return min((t for t in times if t is not None), default=None)


def scaled(value: float, tops: Iterable[float]) -> tuple[float, int, str]:
    """The value in the unit of the range that holds it, its decimals for four digits, and the prefix."""
    for top in tops:
        if abs(value) <= top:
            break
    factor, prefix = next((f, p) for f, p in ((1e-3, "m"), (1.0, ""), (1e3, "k"), (1e6, "M")) if top < f * 1000)
    before = len(str(int(top / factor)))
    return value / factor, 4 - before, prefix


class Streaming(Talker):
    """Says a reading each 0.4 s; each is of the moment when the one before it was said."""

    PERIOD = 0.4

    def __init__(self, world, baud=2400.0, now=0.0):
        super().__init__(world, baud, now)
        self._measured_at = now
        self._next = now + 0.13

    def next_step(self):
        return self._next

    def step(self, now):
        while self._next <= now:
            self.put(self.said(self.measured(self._measured_at)), self._next)
            self._measured_at = self._next
            self._next += self.PERIOD

    def said(self, value: float) -> bytes:
        raise NotImplementedError


class StreamingText(Streaming):
    TOPS = (0.6, 6.0, 60.0, 600.0, 6e3, 60e3, 600e3, 6e6, 60e6)
    NAMES: ClassVar = {
        "ohms": ("RES", "Ohm"),
        "volts dc": ("VDC", "V"),
        "volts ac": ("VAC", "V"),
        "amps dc": ("ADC", "A"),
    }

    def said(self, value):
        name, unit = self.NAMES[self.function]
        tops = [top for top in self.TOPS if self.function != "ohms" or top >= 600.0]
        number, decimals, prefix = scaled(value, tops)
        figure = f"{number:+07.{decimals}f}"
        signs = "A" + ("H" if "hold" in self.marks else "-") + ("B" if "battery" in self.marks else "-")
        return f"{name} {figure} {prefix + unit:<5}{signs}\r\n".encode("ascii")


class SevenSegment(Streaming):
    TOPS = (0.9999, 9.999, 99.99, 999.9, 9.999e3, 99.99e3, 999.9e3, 9.999e6, 99.99e6)
    CODES: ClassVar = {"ohms": 0x00, "volts dc": 0x10, "volts ac": 0x20, "amps dc": 0x30}
    PREFIX: ClassVar = {"": 0, "k": 1, "M": 2, "m": 3}
    # lit segments of 0 to 9, from the picture of a display: a top, b and c right, d bottom, e and f left, g middle
    LIT = ("abcdef", "bc", "abdeg", "abcdg", "bcfg", "acdfg", "acdefg", "abc", "abcdefg", "abcdfg")

    def said(self, value):
        tops = [top for top in self.TOPS if self.function != "ohms" or top >= 900.0]
        number, decimals, prefix = scaled(value, tops)
        digits = f"{abs(number):0{5}.{decimals}f}"
        lit = []
        for character in digits:
            if character == ".":
                lit[-1] |= 0x80
            else:
                lit.append(sum(1 << "abcdefg".index(segment) for segment in self.LIT[int(character)]))
        signs = (
            (1 if number < 0 else 0) | (2 if "hold" in self.marks else 0) | (4 if "battery" in self.marks else 0) | 8
        )
        frame = bytes([0xA5, 10, self.CODES[self.function] | self.PREFIX[prefix], signs, *lit])
        total = 0
        for byte in frame:
            total = (total + byte) % 65536
        return frame + struct.pack("<H", total)


class PolledText(Talker):
    """Answers to the letter D after 0.2 s."""

    TOPS = (0.4, 4.0, 40.0, 400.0, 4e3, 40e3, 400e3, 4e6, 40e6)
    LETTERS: ClassVar = {"ohms": "R", "volts dc": "V", "volts ac": "W", "amps dc": "A"}

    def __init__(self, world, baud=1200.0, now=0.0):
        super().__init__(world, baud, now)
        self._asked: deque[float] = deque()

    def receive(self, data, now):
        self._asked.extend(now + 0.2 for byte in data if byte == ord("D"))

    def next_step(self):
        return self._asked[0] if self._asked else None

    def step(self, now):
        while self._asked and self._asked[0] <= now:
            at = self._asked.popleft()
            self.put(self.said(self.measured(at)), at)

    def said(self, value):
        tops = [top for top in self.TOPS if self.function != "ohms" or top >= 400.0]
        number, _, prefix = scaled(value, tops)
        sign = "-" if number < 0 else " "
        signs = ("H" if "hold" in self.marks else " ") + ("L" if "battery" in self.marks else " ")
        letter = self.LETTERS[self.function]
        return f"{letter}{sign}{abs(number):07.2f} {prefix or ' '}{signs}\r".encode("ascii")


def crc16(data: bytes) -> bytes:
    """Checksum of Modbus over serial line, bit by bit as its public specification describes it."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc.to_bytes(2, "little")


class Panel(Talker):
    """A Modbus station; a request is what comes within one burst."""

    def __init__(self, world, baud=19200.0, now=0.0, station=1):
        super().__init__(world, baud, now)
        self.station = station
        self.kind = 4660
        self._in = bytearray()
        self._heard = now

    def receive(self, data, now):
        if now - self._heard > 0.05:
            self._in.clear()
        self._heard = now
        self._in += data
        while len(self._in) >= 8:
            request = bytes(self._in[:8])
            if crc16(request[:6]) != request[6:]:
                del self._in[0]
                continue
            del self._in[:8]
            if request[0] == self.station:
                answer = self._answer(request[1], *struct.unpack(">HH", request[2:6]), now)
                self.put(answer + crc16(answer), now + 0.005)

    def _answer(self, code, address, count, now):
        millivolts = round(self.world.voltage(HI, LO, now, 1e6) * 1000)
        milliamperes = round(self.world.current(AMPS, LO, now, 0.001) * 1000)
        tables = {
            4: dict(enumerate(struct.unpack(">4H", struct.pack(">ii", millivolts, milliamperes)))),
            3: {256: self.kind},
        }
        if code not in tables:
            return bytes([self.station, code | 0x80, 1])
        try:
            words = [tables[code][address + k] for k in range(count)]
        except KeyError:
            return bytes([self.station, code | 0x80, 2])
        return bytes([self.station, code, 2 * count]) + struct.pack(f">{count}H", *words)


class Thermometer(Instrument):
    def __init__(self, world, **options):
        self.world = world
        super().__init__("Gannet Head,thermometer,0001,1.0", **options)

    def commands(self):
        def read(call: Call):
            call.spend(0.2)
            return lambda now: nr3(self.world.celsius)

        yield Command("MEASure[:SCALar]:TEMPerature", query=read)


TWINS = {
    "scpi-bench-meter": lambda world, now: Meter(world, now=now, error_scale=0.0),
    "scpi-supply": lambda world, now: Supply(world, now=now),
    "scpi-insulation-tester": lambda world, now: InsulationTester(world, now=now),
    "scpi-relay-matrix": lambda world, now: Matrix(world, rows=24, now=now),
    "scpi-thermometer": lambda world, now: Thermometer(world, now=now),
    "streaming-text-meter": lambda world, now: StreamingText(world, now=now),
    "seven-segment-frames": lambda world, now: SevenSegment(world, now=now),
    "polled-text-meter": lambda world, now: PolledText(world, now=now),
    "modbus-panel-meter": lambda world, now: Panel(world, now=now),
}
"""Profile to what plays it: from what it is on, and the time."""
