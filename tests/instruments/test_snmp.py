"""A rectifier by SNMP over real datagrams, against an agent that was written from the rules of BER alone.

The agent is our own, from the public documents (RFC 1157, RFC 3416; BER of ITU-T X.690): the library that the program
uses has no part in it.
"""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from bench.files import BadFile, parse
from bench.instruments.instrument import Instrument
from bench.instruments.ports.transport import open_port
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.profile import Profile

RECTIFIER = r"""
profile: snmp-rectifier
title: a rectifier that is asked by SNMP
line: {timeout: 0.5 s, quiet: 5 ms, settle: 0 s}
dialogue:
  kind: snmp
  community: reads
  write-community: writes
  points:
    kind: {oid: 1.3.6.1.2.1.1.1.0, text: true}
    volts: {oid: 1.3.6.1.4.1.99999.1.1.0, scale: 0.01}
    output: {oid: 1.3.6.1.4.1.99999.1.2.0, set: true}
    absent: {oid: 1.3.6.1.4.1.99999.1.9.0}
identify: {ask: kind, reply: '(?P<model>Gannet rectifier) no (?P<serial>\d+)'}
accuracy-source: test
functions:
  - {name: volts dc, reads: voltage, read: volts, takes: 0.5 s,
     ranges: [{range: 80 V, resolution: 10 mV, accuracy: [{counts: 5}]}]}
  - {name: amps dc, reads: current, read: absent, takes: 0.5 s}
outputs:
  - {'on': ['output=1'], 'off': ['output=0'], is-on: {ask: output, reply: '1'}, is-off: {ask: output, reply: '0'}}
safe: {send: ['output=0', 'output=0'], checks: [{ask: output, reply: '0'}]}
"""


def ber(tag: int, body: bytes) -> bytes:
    """Tag, length and content."""
    size = len(body)
    head = bytes([size]) if size < 128 else bytes([0x82]) + size.to_bytes(2, "big")
    return bytes([tag]) + head + body


def number(value: int) -> bytes:
    return ber(2, value.to_bytes(value.bit_length() // 8 + 1, "big", signed=True))


def parts(data: bytes) -> list[tuple[int, bytes]]:
    """What a constructed value holds, tag by tag."""
    found = []
    while data:
        tag, size, head = data[0], data[1], 2
        if size & 0x80:
            head += size & 0x7F
            size = int.from_bytes(data[2:head], "big")
        found.append((tag, data[head : head + size]))
        data = data[head + size :]
    return found


def oid_bytes(oid: str) -> bytes:
    first, second, *rest = (int(part) for part in oid.split("."))
    out = bytes([40 * first + second])
    for part in rest:
        piece = [part & 0x7F]
        while part := part >> 7:
            piece.append(part & 0x7F | 0x80)
        out += bytes(reversed(piece))
    return out


class Agent:
    """The rectifier's side."""

    def __init__(self) -> None:
        self.kind = b"Gannet rectifier no 17"
        self.volts = 5412
        self.on = 0
        self.version: int | None = None
        self.spoil: Callable[[bytes], list[bytes]] = lambda answer: [answer]
        self.communities: list[bytes] = []

    def answer(self, request: bytes) -> list[bytes]:
        ((_, body),) = parts(request)
        (_, version), (_, community), (kind, pdu) = parts(body)
        self.version = version[0]
        self.communities.append(community)
        (_, asked), _, _, (_, bindings) = parts(pdu)
        ((_, binding),) = parts(bindings)
        (_, oid), (_, value) = parts(binding)
        status, held = 0, b""
        if kind == 0xA3 and community != b"writes":
            status, held = 16, ber(5, b"")  # authorizationError
        elif oid == oid_bytes("1.3.6.1.2.1.1.1.0"):
            held = ber(4, self.kind)
        elif oid == oid_bytes("1.3.6.1.4.1.99999.1.1.0"):
            held = ber(0x42, self.volts.to_bytes(2, "big"))  # Gauge32
        elif oid == oid_bytes("1.3.6.1.4.1.99999.1.2.0"):
            if kind == 0xA3:
                self.on = value[-1]
            held = number(self.on)
        else:
            held = ber(0x80, b"")  # noSuchObject
        bound = ber(0x30, ber(0x30, ber(6, oid) + held))
        response = ber(0xA2, ber(2, asked) + number(status) + number(0) + bound)
        return self.spoil(ber(0x30, ber(2, version) + ber(4, community) + response))


@contextmanager
def served(agent: Agent) -> Iterator[str]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as door:
        door.bind(("127.0.0.1", 0))
        done = False

        def serve() -> None:
            while True:
                data, who = door.recvfrom(65535)
                if done:
                    return
                for answer in agent.answer(data):
                    door.sendto(answer, who)

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        try:
            yield f"udp://127.0.0.1:{door.getsockname()[1]}"
        finally:
            done = True
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as last:
                last.sendto(b"", door.getsockname())
            thread.join(10)


def profile(text: str = RECTIFIER) -> Profile:
    return parse(text, Profile, "snmp.yaml")[0]


@contextmanager
def at_work(agent: Agent, text: str = RECTIFIER) -> Iterator[Instrument]:
    told = profile(text)
    with served(agent) as address, Instrument(told, open_port(address, told.line)) as instrument:
        instrument.open()
        yield instrument


@pytest.mark.parametrize(("version", "told"), [("2c", 1), ("1", 0)])
def test_a_rectifier_is_known_read_switched_and_made_safe(version: str, told: int) -> None:
    agent = Agent()
    with at_work(agent, RECTIFIER.replace("kind: snmp", f"kind: snmp\n  version: '{version}'")) as rectifier:
        assert rectifier.identity.serial == "17" and agent.version == told
        rectifier.configure("volts dc")
        sample = rectifier.read()
        assert (sample.value, sample.unit) == (54.12, "V") and sample.raw[0].startswith(b"\x30")
        assert rectifier.set_output(True).on and agent.on == 1
        rectifier.confirm_output({})
        assert rectifier.make_safe().confirmed and agent.on == 0
    assert set(agent.communities) == {b"reads", b"writes"}


def test_what_it_does_not_have_or_may_not_be_told_is_refused() -> None:
    agent = Agent()
    with at_work(agent) as rectifier:
        rectifier.configure("amps dc")
        with pytest.raises(InstrumentTrouble, match="no such value") as stop:
            rectifier.read()
        assert stop.value.kind == "refused"
    with at_work(agent, RECTIFIER.replace("write-community: writes", "write-community: others")) as rectifier:
        with pytest.raises(InstrumentTrouble) as stop:
            rectifier.set_output(True)
        assert stop.value.kind in ("refused", "unsafe") and agent.on == 0


def test_a_lost_a_doubled_a_late_and_a_damaged_answer_never_give_a_wrong_value() -> None:
    agent = Agent()
    kept: list[bytes] = []
    ways: dict[str, Callable[[bytes], list[bytes]]] = {
        "lost": lambda answer: [],
        "doubled": lambda answer: [answer, answer],
        "cut": lambda answer: [answer[:-3]],
        "another's": lambda answer: [answer.replace(b"\x42\x02", b"\x45\x02")],
        "noise": lambda answer: [b"\xff\xfe"],
        "the one before": lambda answer: kept[-1:] or [answer],
    }
    with at_work(agent) as rectifier:
        rectifier.configure("volts dc")
        for name, way in ways.items():
            left = [1]

            def spoil(answer: bytes, way=way, left=left) -> list[bytes]:  # type: ignore[no-untyped-def]
                if left and left.pop():
                    return way(answer)
                kept.append(answer)
                return [answer]

            agent.volts += 10
            agent.spoil = spoil
            try:
                sample = rectifier.read()
            except InstrumentTrouble as stop:
                assert stop.kind in ("silent", "garbled", "refused"), name
            else:
                assert sample.value == pytest.approx(agent.volts / 100), name
            agent.spoil = lambda answer: [answer]
            assert rectifier.read().value == pytest.approx(agent.volts / 100), name


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("read: volts,", "read: vols,", "a point's name"),
        ("'off': ['output=0']", "'off': ['volts=0']", "set: true"),
        ("oid: 1.3.6.1.2.1.1.1.0", "oid: sysDescr", "figures with points"),
    ],
)
def test_a_slip_is_told(old: str, new: str, says: str) -> None:
    assert old in RECTIFIER
    with pytest.raises(BadFile, match=says):
        profile(RECTIFIER.replace(old, new))


def test_an_address_that_names_no_port_is_told() -> None:
    with pytest.raises(InstrumentTrouble, match="host and port"):
        open_port("udp://rectifier")
