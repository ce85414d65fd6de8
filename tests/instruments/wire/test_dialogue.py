from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.instruments.wire.dialogue import (
    Dialogue,
    Echo,
    Garbled,
    Late,
    NeedData,
    OutOfTurn,
    Quiet,
    Reply,
    State,
    Suspect,
    Unasked,
)
from bench.instruments.wire.framing import LineFramer


def dialogue(**options) -> Dialogue:
    return Dialogue(LineFramer(b"\r\n"), write_end=b"\n", **options)


def events(talk: Dialogue, now: float) -> list:
    found = []
    while True:
        event = talk.next_event(now)
        if isinstance(event, NeedData | Suspect):
            return [*found, event] if isinstance(event, Suspect) else found
        found.append(event)


@pytest.mark.parametrize("way", ["whole", "byte by byte"])
@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"+1.5\r\n", [Reply]),
        (b"+1.5\r\n+2.5\r\n", [Reply, Unasked, Suspect]),
        (b"READ?\r\n+1.5\r\n", [Echo, Reply]),
        (b"\x00\r\n", [Garbled, Suspect]),
        (b"+1.5\n", []),
        (b"+1.", []),
    ],
    ids=["answer", "trailing", "echo", "noise", "wrong end", "cut"],
)
def test_what_comes_after_a_question(data, expected, way):
    talk = dialogue()
    assert talk.send(b"READ?", now=0.0, wait=1.0) == b"READ?\n"
    found = []
    for piece in [data] if way == "whole" else [data[i : i + 1] for i in range(len(data))]:
        talk.receive(piece, 0.1)
        found += [event for event in events(talk, 0.1) if not isinstance(event, Suspect) or event not in found]
    assert [type(event) for event in found] == expected


def test_a_reply_carries_the_number_of_its_question():
    talk = dialogue()
    for number in (1, 2, 3):
        talk.send(b"READ?", now=0.0, wait=1.0)
        talk.receive(b"%d\r\n" % number, 0.1)
        (reply,) = events(talk, 0.1)
        assert (reply.number, reply.command, reply.frame.body) == (number, b"READ?", b"%d" % number)


def test_a_deadline_that_passes_makes_the_line_suspect_until_it_is_proven():
    talk = dialogue()
    talk.send(b"READ?", now=0.0, wait=1.0)
    assert talk.next_event(0.9) == NeedData(1.0)
    talk.receive(b"+1.", 0.95)
    assert talk.next_event(1.0) == Late(1, b"READ?", b"+1.")
    assert isinstance(talk.next_event(1.0), Suspect)
    with pytest.raises(OutOfTurn):
        talk.send(b"READ?", now=1.0, wait=1.0)
    talk.receive(b"5\r\n", 1.1)
    assert isinstance(talk.next_event(1.1), Suspect)

    talk.resynchronise(1.2, quiet=0.05)
    talk.receive(b"late\r\n", 1.23)
    assert talk.next_event(1.25) == NeedData(pytest.approx(1.28))
    quiet = talk.next_event(1.28)
    assert isinstance(quiet, Quiet)
    assert quiet.dropped == b"+1.5\r\nlate\r\n"
    assert not talk.trusted
    talk.send(b"*IDN?", now=1.3, wait=1.0)
    talk.receive(b"me\r\n", 1.3)
    (reply,) = events(talk, 1.3)
    assert reply.frame.body == b"me"
    assert talk.state is State.PROVING
    talk.trust()
    assert talk.trusted
    assert talk.state is State.READY


def test_one_question_at_a_time():
    talk = dialogue()
    talk.send(b"A?", now=0.0, wait=1.0)
    with pytest.raises(OutOfTurn):
        talk.send(b"B?", now=0.0, wait=1.0)


def test_trust_without_proof_is_a_bug():
    with pytest.raises(OutOfTurn):
        dialogue().trust()


def test_bytes_that_nobody_asked_for_make_the_line_suspect():
    talk = dialogue()
    talk.receive(b"+1.5\r\n", 0.0)
    assert [type(event) for event in events(talk, 0.0)] == [Unasked, Suspect]


def test_a_late_answer_while_proving_is_caught():
    talk = dialogue()
    talk.doubt("test")
    talk.resynchronise(0.0, quiet=0.05)
    assert isinstance(talk.next_event(0.05), Quiet)
    talk.receive(b"+1.5\r\n", 0.06)
    assert [type(event) for event in events(talk, 0.06)] == [Unasked, Suspect]


def test_an_echo_that_must_come_and_does_not():
    talk = dialogue(echo=True)
    talk.send(b"READ?", now=0.0, wait=1.0)
    talk.receive(b"+1.5\r\n", 0.1)
    assert [type(event) for event in events(talk, 0.1)] == [Garbled, Suspect]


def test_echoes_of_commands_without_answers():
    talk = dialogue(echo=True)
    talk.send(b"*CLS", now=0.0)
    talk.receive(b"*CLS\r\n", 0.0)
    assert [type(event) for event in events(talk, 0.0)] == [Echo]
    talk.send(b"A?", now=0.0, wait=1.0)
    talk.receive(b"A?\r\n7\r\n", 0.0)
    assert [type(event) for event in events(talk, 0.0)] == [Echo, Reply]


def test_a_command_may_not_hold_its_own_end():
    with pytest.raises(ValueError, match="its own end"):
        dialogue().send(b"A\nB", now=0.0)


def test_what_talks_unasked_is_never_suspect():
    talk = dialogue(unasked=True)
    talk.skip_first()
    talk.receive(b"2.5\r\n+1.5\r\n\x00\r\n+1.6\r\n", 0.0)
    assert [type(event) for event in events(talk, 0.0)] == [Unasked, Garbled, Unasked]
    assert talk.trusted


def test_what_is_dropped_is_bounded():
    talk = dialogue()
    talk.doubt("test")
    for _ in range(100):
        talk.receive(b"x" * 10000, 0.0)
    talk.resynchronise(0.0, quiet=0.01)
    quiet = talk.next_event(1.0)
    assert isinstance(quiet, Quiet)
    assert len(quiet.dropped) == 65536


@given(st.lists(st.tuples(st.sampled_from(["send", "receive", "wait", "resync", "trust"]), st.binary(max_size=8))))
def test_a_reply_is_only_ever_given_for_an_open_question(steps):
    talk = dialogue()
    now, count, open_question = 0.0, 0, 0
    for step, data in steps:
        now += 0.3
        try:
            if step == "send":
                talk.send(b"A?", now=now, wait=1.0)
                count += 1
                open_question = count
            elif step == "receive":
                talk.receive(data + b"\r\n", now)
            elif step == "resync":
                talk.resynchronise(now, 0.1)
                open_question = 0
            elif step == "trust":
                talk.trust()
        except OutOfTurn:
            continue
        for event in events(talk, now):
            if isinstance(event, Reply):
                assert event.number == open_question
                open_question = 0
            elif not isinstance(event, Echo):
                open_question = 0


def test_messages_show_bytes_as_a_profile_writes_them() -> None:
    """One backslash for each: what a person reads in a message is what they put into a profile."""
    from bench.instruments.instrument import Instrument
    from bench.instruments.ports.trouble import InstrumentTrouble
    from bench.simulate.twins.supply import SupplyTwin
    from tests.instruments.server import LIBRARY, Bars, Mangled, VirtualLine

    class Plant(Bars):
        def draw(self, volts: float, time: float) -> float:
            return 0.0

        def hold(self, volts: float | None, time: float) -> None:
            pass

        def idle_voltage(self, time: float) -> float:
            return 0.0

    said = set()
    for spoilt in (b"\x00\\?\r\n", b"1\t", b"\xff\xfe\n"):
        twin = Mangled(SupplyTwin(Plant()), lambda question, reply, out=spoilt: [(0.0, out)])
        line = VirtualLine(twin)
        with pytest.raises(InstrumentTrouble) as caught:
            Instrument(LIBRARY.profile("scpi-supply"), line, line.clock).open()
        said.add(caught.value.what)
    assert not any("\\\\x" in text or "\\\\r" in text or "\\\\n" in text or "\\\\t" in text for text in said), said
    assert any("\\" in text for text in said), said
