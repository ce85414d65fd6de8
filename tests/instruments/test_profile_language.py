"""What a profile can say of how an instrument talks, each on an exchange byte for byte.

Modbus frames are those of the public specifications (Modbus application protocol V1.1b3, Modbus over serial line V1.02,
Modbus messaging on TCP/IP V1.0b); the check sums were worked out here by a second program of our own below, not by the
library that sends them.
"""

from __future__ import annotations

import struct
import sys
import time
from pathlib import Path

import pytest

from bench.files import BadFile, parse
from bench.instruments.examples import replay
from bench.instruments.instrument import Instrument
from bench.instruments.parts import Parts
from bench.instruments.ports import program
from bench.instruments.ports.transport import open_port
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.profile import Profile
from bench.instruments.wire_text import show


def profile(text: str) -> Profile:
    return parse(text, Profile, "words.yaml")[0]


def right(text: str, decoder=None) -> None:
    told = profile(text)
    assert told.examples
    for example in told.examples:
        assert replay(told, example, decoder) == [], example.about


def crc(data: bytes) -> bytes:
    """CRC-16 of the serial line specification: polynomial 0xA001 reflected, low byte first."""
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0xA001 if value & 1 else 0)
    return struct.pack("<H", value)


def rtu(*data: int) -> str:
    return show(bytes(data) + crc(bytes(data)))


def ascii_(*data: int) -> str:
    return show(b":" + (bytes(data) + bytes([-sum(data) & 0xFF])).hex().upper().encode() + b"\r\n")


def tcp(number: int, *data: int) -> str:
    return show(struct.pack(">HHH", number, 0, len(data)) + bytes(data))


HEAD = """
profile: words
title: a meter
dialogue: {{kind: query, read: 'V', reply: '{reply}'{more}}}
{line}
functions:
  - {{name: volts dc, reads: voltage, takes: 1 s{function}}}
examples:
"""


def query(examples: str, reply: str = r"(?P<value>[+-]?\d+\.\d+)", more="", line="", function="") -> str:
    return HEAD.format(reply=reply, more=more, line=line, function=function) + examples


def test_a_command_that_is_acknowledged():
    text = query(
        r"""
  - does: configure
    function: volts dc
    exchange: [{sent: 'DC\n', received: 'OK\n'}]
  - does: configure
    about: it refuses
    function: volts dc
    exchange: [{sent: 'DC\n', received: 'E7\n'}]
    gives: {trouble: refused}
  - does: configure
    about: it says nothing
    function: volts dc
    exchange: [{sent: 'DC\n'}]
    gives: {trouble: silent}
""",
        more=", acknowledge: OK",
        function=", configure: [DC]",
    )
    right(text)


def test_something_is_sent_before_it_is_asked_who_it_is():
    right(
        query(
            r"""
  - does: open
    exchange:
      - {sent: '\r', received: 'ready>\n'}
      - {sent: '++addr 7\n'}
      - {sent: '?\n', received: 'meter 12\n'}
      - {sent: '?\n', received: 'meter 12\n'}
    gives: {identity: meter 12}
""",
            line=r"""
line: {wake: ['\r', '++addr 7\n']}
identify: {ask: '?', reply: 'meter (?P<serial>\d+)'}
""",
        )
    )


def test_a_comma_before_the_fraction():
    right(
        query(
            r"""
  - does: read
    function: volts dc
    exchange: [{sent: 'V\n', received: '-53,9\n'}]
    gives: {value: -53.9, unit: V}
""",
            reply=r"(?P<value>[+-]?\d+,\d+)",
            line="line: {decimal: comma}",
        )
    )


@pytest.mark.parametrize(
    ("sent", "value"), [("00539 1", 53.9), ("-00539 2", -5.39), ("00539 0", 539.0), ("00003 4", 0.0003)]
)
def test_the_place_of_the_point_comes_as_a_digit(sent, value):
    right(
        query(
            rf"""
  - does: read
    function: volts dc
    exchange: [{{sent: 'V\n', received: '{sent}\n'}}]
    gives: {{value: {value}, unit: V}}
""",
            reply=r"(?P<value>-?\d{5}) (?P<point>\d)",
        )
    )


def test_it_is_waited_for_until_it_is_ready():
    text = query(
        r"""
  - does: read
    function: volts dc
    exchange:
      - {sent: 'GO\n'}
      - {sent: 'S\n', received: 'busy\n'}
      - {sent: 'S\n', received: 'busy\n'}
      - {sent: 'S\n', received: 'done\n'}
      - {sent: 'V\n', received: '+1.5\n'}
    gives: {value: 1.5, unit: V}
""",
        function=", begin: [GO], ready: [{ask: S, reply: done}]",
    )
    right(text)
    told = profile(text)
    never = r"""
  - does: read
    function: volts dc
    exchange:
      - {sent: 'GO\n'}
""" + "".join("      - {sent: 'S\\n', received: 'busy\\n'}\n" for _ in range(62))
    never += "    gives: {trouble: mismatch}\n"
    last = profile(query(never, function=", begin: [GO], ready: [{ask: S, reply: done}]")).examples[0]
    assert any("did not send" in text or text == "" for text in replay(told, last) or [""])


POLL = r"""
profile: words
title: a meter without check sums
dialogue: {kind: poll, ask: D, reply: '(?P<value>\d\.\d{3})(?P<unit>[km ])V', agree: 2, agree-within: 3}
line: {read-end: '\r'}
functions:
  - {name: volts dc, reads: voltage, units: {'k': kV, m: mV, '': V}, takes: 1 s}
examples:
  - does: read
    about: two agree
    function: volts dc
    exchange: [{sent: D, received: '1.234 V\r'}, {sent: D, received: '1.236 V\r'}]
    gives: {value: 1.236, unit: V}
  - does: read
    about: a bit of the prefix flipped in the first
    function: volts dc
    exchange: [{sent: D, received: '1.234kV\r'}, {sent: D, received: '1.234 V\r'}, {sent: D, received: '1.234 V\r'}]
    gives: {value: 1.234, unit: V}
  - does: read
    about: they never agree
    function: volts dc
    exchange:
      - {sent: D, received: '1.234 V\r'}
      - {sent: D, received: '2.234 V\r'}
      - {sent: D, received: '3.234 V\r'}
      - {sent: D, received: '4.234 V\r'}
      - {sent: D, received: '5.234 V\r'}
      - {sent: D, received: '6.234 V\r'}
      - {sent: D, received: '7.234 V\r'}
    gives: {trouble: garbled}
"""


def test_two_readings_must_agree():
    right(POLL)


SUPPLY = """
profile: words
title: a supply
line: {{baud: 9600, quiet: 5 ms}}
dialogue:
  kind: modbus
  station: 3
  framing: {framing}
  points:
    out: {{table: coil, address: 1}}
    volts: {{table: holding, address: 16, type: uint16, scale: 0.01}}
    amps: {{table: holding, address: 32, type: float32, low-word-first: true, low-byte-first: true}}
    terminal: {{table: input, address: 2, type: uint16, scale: 0.01}}
identify: {{register: {{table: holding, address: 0, type: uint16}}, reply: '(?P<model>291)'}}
outputs:
  - settings: [{{name: voltage, least: 0, most: 60}}, {{name: current, least: 0, most: 5}}]
    prepare: ['volts={{voltage}}', 'amps={{current}}']
    confirm: [{{ask: volts, reply: '(?P<value>.+)', equals: voltage}}]
    'on': ['out=1']
    'off': ['out=0']
    is-on: {{ask: out, reply: '1'}}
    is-off: {{ask: out, reply: '0'}}
safe: {{send: ['out=0'], checks: [{{ask: out, reply: '0'}}, {{ask: terminal, reply: '(?P<value>.+)', at-most: 5}}]}}
examples:
"""
F48 = struct.pack(">f", 1.5)
LOW = bytes([F48[3], F48[2], F48[1], F48[0]])
"""1.5 with the lower word first and the bytes of each word exchanged: every byte in the other order."""


def supply(framing: str, frame) -> str:
    def pair(sent: str, received: str) -> str:
        return f"      - {{sent: '{sent}', received: '{received}'}}\n"

    numbers = iter([1, 2, 3, 4, 5, 1, 2, 4, 5, 3, 6])
    """Of the transactions: a question is numbered when it is made, and who it is may be asked before it goes out."""

    def both(sent: tuple[int, ...], received: tuple[int, ...]) -> str:
        number = next(numbers)
        if framing == "tcp":
            return pair(tcp(number, *sent), tcp(number, *received))
        return pair(frame(*sent), frame(*received))

    text = SUPPLY.format(framing=framing)
    text += "  - does: 'on'\n    settings: {voltage: '48', current: '1.5'}\n    exchange:\n"
    text += both((3, 6, 0, 16, 0x12, 0xC0), (3, 6, 0, 16, 0x12, 0xC0))
    text += both((3, 16, 0, 32, 0, 2, 4, *LOW), (3, 16, 0, 32, 0, 2))
    text += both((3, 3, 0, 16, 0, 1), (3, 3, 2, 0x12, 0xC0))
    text += both((3, 5, 0, 1, 0xFF, 0), (3, 5, 0, 1, 0xFF, 0))
    text += both((3, 1, 0, 1, 0, 1), (3, 1, 1, 1))
    text += "  - does: 'on'\n    about: it refuses, and is made safe\n    settings: {voltage: '48', current: '1.5'}\n"
    text += "    exchange:\n"
    text += both((3, 6, 0, 16, 0x12, 0xC0), (3, 0x86, 3))
    text += both((3, 5, 0, 1, 0, 0), (3, 5, 0, 1, 0, 0))
    text += both((3, 3, 0, 0, 0, 1), (3, 3, 2, 1, 0x23))
    text += both((3, 3, 0, 0, 0, 1), (3, 3, 2, 1, 0x23))
    text += both((3, 1, 0, 1, 0, 1), (3, 1, 1, 0))
    text += both((3, 4, 0, 2, 0, 1), (3, 4, 2, 0, 7))
    return text + "    gives: {trouble: refused}\n"


@pytest.mark.parametrize(("framing", "frame"), [("rtu", rtu), ("ascii", ascii_), ("tcp", tcp)])
def test_an_output_on_modbus_is_set_switched_read_back_and_made_safe(framing, frame):
    right(supply(framing, frame))


def test_a_response_to_another_request_is_none():
    text = SUPPLY.format(framing="tcp") + (
        "  - does: 'off'\n    exchange:\n"
        f"      - {{sent: '{tcp(1, 3, 5, 0, 1, 0, 0)}', received: '{tcp(9, 3, 5, 0, 1, 0, 0)}'}}\n"
    )
    (wrong,) = replay(profile(text), profile(text).examples[0])
    assert "garbled" in wrong or "did not send" in wrong or "sent" in wrong


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("'on': ['out=1']", "'on': ['outt=1']", "a point's name: out, volts"),
        ("'on': ['out=1']", "'on': ['terminal=1']", "a point that can be written"),
        ("is-on: {ask: out,", "is-on: {ask: ask,", "a point's name"),
        ("framing: rtu", "framing: rtx", "'rtu'"),
    ],
)
def test_a_slip_in_a_point_is_said_by_check(old, new, says):
    text = SUPPLY.format(framing="rtu").replace("examples:\n", "")
    profile(text)
    with pytest.raises(BadFile) as caught:
        profile(text.replace(old, new))
    assert says in str(caught.value)


@pytest.mark.parametrize(
    ("kind", "data", "value"),
    [
        ("int64", struct.pack(">q", -2), -2.0),
        ("float64", struct.pack(">d", 48.5), 48.5),
        ("uint64", struct.pack(">Q", 7), 7.0),
    ],
)
def test_registers_of_64_bits(kind, data, value):
    right(
        f"""
profile: words
title: a meter
dialogue: {{kind: modbus, station: 1}}
functions:
  - {{name: volts dc, reads: voltage, register: {{address: 8, type: {kind}}}}}
examples:
  - does: read
    function: volts dc
    exchange: [{{sent: '{rtu(1, 4, 0, 8, 0, 4)}', received: '{rtu(1, 4, 8, *data)}'}}]
    gives: {{value: {value}, unit: V}}
"""
    )


def test_an_output_in_binary_frames():
    def decode(data: bytes) -> Parts | None:
        return Parts(value=f"{data[0]:02x}", used=2) if len(data) >= 2 else None

    right(
        r"""
profile: words
title: a source with frames of two bytes
dialogue: {kind: frames, decoder: two, ask: '\x10\x00', acknowledge: '06'}
outputs:
  - {'on': ['\x01\x01'], 'off': ['\x01\x00'], is-on: {ask: '\x02\x00', reply: '01'},
     is-off: {ask: '\x02\x00', reply: '00'}}
safe: {send: ['\x01\x00'], checks: [{ask: '\x02\x00', reply: '00'}]}
examples:
  - does: 'on'
    exchange: [{sent: '\x01\x01', received: '\x06\x00'}, {sent: '\x02\x00', received: '\x01\x00'}]
  - does: 'off'
    exchange: [{sent: '\x01\x00', received: '\x06\x00'}, {sent: '\x02\x00', received: '\x00\x00'}]
""",
        decode,
    )


METER = """
import sys
for line in sys.stdin:
    word = line.strip()
    if word == "V":
        print("+48.25", flush=True)
    elif word == "END":
        sys.exit(3)
    elif word == "HANG":
        continue
"""


def test_a_program_of_ones_own_is_a_meter(tmp_path: Path):
    program = tmp_path / "a meter.py"
    program.write_text(METER, "utf-8")
    told = profile(
        query("", reply=r"(?P<value>[+-]\d+\.\d+)", line="line: {timeout: 20 s, settle: 0 s, quiet: 5 ms}").replace(
            "examples:\n", ""
        )
    )
    address = f"program:{sys.executable} '{program}'"
    with Instrument(told, open_port(address, told.line)) as meter:
        meter.configure("volts dc")
        assert meter.read().value == 48.25
        with pytest.raises(InstrumentTrouble) as caught:
            open_port(address, told.line)
        assert caught.value.kind == "busy"
        process = meter._transport._process
        meter._session.conversation.tell(b"END", 1.0)
        with pytest.raises(InstrumentTrouble) as caught:
            meter.read()
        assert caught.value.kind == "lost" and "code 3" in caught.value.what
    assert process.poll() is not None
    with pytest.raises(InstrumentTrouble) as caught:
        open_port("program:there-is-no-such-program", told.line)
    assert caught.value.kind == "lost" and "cannot be started" in caught.value.what


def test_a_program_that_hangs_is_silent_in_time_and_ended_although_it_does_not_go(tmp_path: Path, monkeypatch):
    monkeypatch.setattr(program, "ENDS_WITHIN", 0.1)
    deaf = tmp_path / "deaf.py"
    deaf.write_text("import signal, time\nsignal.signal(signal.SIGTERM, signal.SIG_IGN)\ntime.sleep(600)\n", "utf-8")
    told = profile(query("", line="line: {timeout: 50 ms, settle: 0 s, quiet: 5 ms}").replace("examples:\n", ""))
    meter = Instrument(told, open_port(f"program:{sys.executable} {deaf}", told.line))
    process = meter._transport._process
    meter.configure("volts dc")
    with pytest.raises(InstrumentTrouble) as caught:
        meter.read()
    assert caught.value.kind == "silent"
    meter.close()
    assert process.poll() is not None


@pytest.mark.skipif(sys.platform == "win32", reason="words of a POSIX shell")
def test_no_shell_takes_a_programs_words(tmp_path: Path):
    left = tmp_path / "left"
    words = f"{sys.executable} -c 'import sys; print(sys.argv[1:], flush=True); sys.stdin.read()'"
    port = open_port(f"program:{words} ; touch {left} '$(touch {left})' | > {left} `touch {left}`")
    said = b""
    while b"\n" not in said:
        said += port.read(time.monotonic() + 20.0)
    port.close()
    assert said.startswith(b"[';', 'touch', ") and b"$(touch" in said and not left.exists()
