"""Kinds of instrument that come without a shipped profile: those of the page on leaflets, and one of each other kind.

Each is played by a few lines that answer bytes with bytes as its leaflet says, on its own profile.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass

from bench.files import parse
from bench.instruments.profile.line import Stream
from bench.instruments.profile.profile import Profile
from tests.drivers.test_leaflets import BLOCKS, told
from tests.instruments.test_kinds import LOAD, Loaded
from tests.instruments.test_mbus import METER, Station

PLAIN = r"""
profile: {name}
title: a meter that is asked in lines of text
dialogue: {{kind: query, read: R, reply: '(?P<value>{figure}) (?P<unit>[A-Za-z]+)'}}
identify: {{ask: WHO, reply: '(?P<model>[a-z ]+) (?P<serial>\d+)'}}
accuracy-source: test
functions:
  - name: {name}
    reads: {name}
    units: {{{units}}}
    takes: 1 s
    ranges: [{{range: {top}, resolution: {step}, accuracy: [{{of-reading: 1 %, counts: 2}}]}}]
"""
PLAINS = {
    # what it reads: its unit in replies, a range, the last digit, a reply, the value in the base unit
    "inductance": ("mH: mH, uH: uH", "100 mH", "0.01 mH", b"+010.05 mH", 10.05e-3),
    "frequency": ("kHz: kHz, MHz: MHz", "100 kHz", "0.01 kHz", b"+049.98 kHz", 49980.0),
    "distance": ("m: m", "1 km", "0.1 m", b"+0128.4 m", 128.4),
    "running-time": ("h: h", "10000 h", "0.1 h", b"+01234.5 h", 1234.5 * 3600.0),
}


class Recited:
    """Answers each question as it was told to; one that sends by itself says its line twice a second.

    Args:
        answers: question with its end to answer with its end.
        unasked: what it says by itself; empty: nothing.
    """

    PERIOD = 0.5

    def __init__(self, answers: dict[bytes, bytes], unasked: bytes = b"") -> None:
        self.answers = answers
        self.unasked = unasked
        self._in = b""
        self._out = b""
        self._next = self.PERIOD

    def receive(self, data: bytes, now: float) -> None:
        self._in += data
        while self._in:
            found = next((question for question in self.answers if self._in.startswith(question)), None)
            if found is not None:
                self._out += self.answers[found]
                self._in = self._in[len(found) :]
            elif any(question.startswith(self._in) for question in self.answers):
                return
            else:
                self._in = self._in[1:]

    def send(self, now: float) -> bytes:
        while self.unasked and self._next <= now:
            self._out += self.unasked
            self._next += self.PERIOD
        said, self._out = self._out, b""
        return said

    @property
    def wake_at(self) -> float | None:
        return self._next if self.unasked else None


class Rectifier:
    """The rectifier of the page: Modbus TCP, frame by frame as the public specification has them."""

    wake_at = None

    def __init__(self) -> None:
        self.on = False
        self.kind = 5301
        self._held = {1: 0, 2: 0}
        self._in = b""
        self._out = b""

    def receive(self, data: bytes, now: float) -> None:
        self._in += data
        while len(self._in) >= 6 and len(self._in) >= 6 + struct.unpack(">H", self._in[4:6])[0]:
            size = 6 + struct.unpack(">H", self._in[4:6])[0]
            frame, self._in = self._in[:size], self._in[size:]
            answer = bytes([frame[6]]) + self._answer(frame[7], *struct.unpack(">HH", frame[8:12]), frame)
            self._out += frame[:4] + struct.pack(">H", len(answer)) + answer

    def _answer(self, code: int, address: int, value: int, frame: bytes) -> bytes:
        if code == 1:
            return bytes([1, 1, int(self.on)])
        if code == 5:
            self.on = value == 0xFF00
            return frame[7:12]
        if code == 6:
            self._held[address] = value
            return frame[7:12]
        values = {(3, 0): self.kind, (4, 10): 4800 if self.on else 0, **{(3, k): v for k, v in self._held.items()}}
        if (code, address) not in values:
            return bytes([code | 0x80, 2])
        return bytes([code, 2]) + struct.pack(">H", values[code, address])

    def send(self, now: float) -> bytes:
        said, self._out = self._out, b""
        return said


@dataclass(frozen=True)
class Kind:
    """One kind: its profile, what plays it, and what it must read; None for one that reads nothing."""

    profile: Profile
    engine: Callable[[], object]
    value: float | None

    @property
    def asked(self) -> bool:
        """Whether it is asked, and does not talk by itself."""
        return not isinstance(self.profile.dialogue, Stream)


def _plain(name: str) -> Kind:
    units, top, step, reply, value = PLAINS[name]
    # as many figures as the display has: a reply that lost one is no number then
    whole, _, places = reply.split()[0].decode().partition(".")
    figure = rf"[+-]\d{{{len(whole) - 1}}}\.\d{{{len(places)}}}"
    text = PLAIN.format(name=name, units=units, top=top, step=step, figure=figure)
    profile = parse(text, Profile, f"{name}.yaml")[0]
    answers = {b"R\n": reply + b"\n", b"WHO\n": b"a meter 17\n"}
    return Kind(profile, lambda: Recited(answers), value)


MORE: dict[str, Kind] = {
    "battery-tester": Kind(
        told("battery-tester"),
        lambda: Recited({b"WHO\r": b"CELLS 17\r\n", b"MI\r": b"OK\r\n", b"RD\r": b"000431 2 mOhm\r\n"}),
        0.00431,
    ),
    "level-meter": Kind(told("level-meter"), lambda: Recited({}, b"LEV -12,3 dBm\r\n"), -12.3),
    "capacitance-meter": Kind(told("capacitance-meter"), lambda: Recited({b"C": b"12.35n\r"}), 1.235e-8),
    "network-rectifier": Kind(told("network-rectifier"), Rectifier, None),
    "electronic-load": Kind(parse(LOAD, Profile, "electronic-load.yaml")[0], Loaded, 53.4),
    "bus-meter": Kind(parse(METER, Profile, "bus-meter.yaml")[0], Station, -53.4),
    "hygrometer": Kind(told("hygrometer"), lambda: Recited({b"read\n": b"45.2%\n"}), 45.2),
    **{name: _plain(name) for name in PLAINS},
}
"""Name to kind. All of the page are here."""
assert set(BLOCKS) <= set(MORE)
