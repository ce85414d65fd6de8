"""Everything that can go wrong between a meter and us ends in a right reading, or in a clear stop: never a wrong value.

The meter's resistance changes each second of its clock, so a reading that is older than its trigger shows.
"""

from __future__ import annotations

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.instruments.instrument import Instrument
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.simulate.twins.meter import MeterTwin
from tests.drawn import draws
from tests.instruments.server import LIBRARY, Bars, Mangled, VirtualLine

PROFILE = LIBRARY.profile("scpi-bench-meter")
NEVER = 1e9


def bench(mangle=None, *, byte_by_byte: bool = False, profile=PROFILE, settle: bool = True):
    """An instrument that is open and on four-wire ohms; trouble begins after that."""
    world = Bars()
    wire = Mangled(MeterTwin(world, error_scale=0.0))
    line = VirtualLine(wire, byte_by_byte=byte_by_byte)
    notices = []
    instrument = Instrument(profile, line, line.clock, notice=notices.append)
    instrument.open()
    instrument.configure("ohms 4w", 100.0, {"nplc": "1"})
    if mangle is not None:
        wire.mangle = mangle
    return instrument, line, wire, world, notices


def check(sample, world) -> None:
    """The value is of a moment between trigger and reply."""
    moments = [sample.started, *range(int(sample.started) + 1, int(sample.finished) + 1), sample.finished]
    assert any(sample.value == pytest.approx(world.ohms(moment), rel=1e-3) for moment in moments), sample
    assert sample.unit == "Ω"
    assert sample.range == 100.0


class Once:
    """Mangles one reply to a question."""

    def __init__(self, question: bytes, pieces, times: int = 1):
        self.question = question
        self.pieces = pieces
        self.left = times

    def __call__(self, question, reply):
        if question == self.question and self.left:
            self.left -= 1
            return self.pieces(question, reply)
        return [(0.0, reply)]


FAULTS = {
    "late": lambda q, r: [(10.0, r)],
    "just late": lambda q, r: [(3.999, r)],
    "cut": lambda q, r: [(0.0, r[: len(r) // 2])],
    "cut, rest late": lambda q, r: [(0.0, r[:4]), (10.0, r[4:])],
    "front lost": lambda q, r: [(0.0, r[4:])],
    "one byte lost": lambda q, r: [(0.0, r[:3] + r[4:])],
    "end lost": lambda q, r: [(0.0, r[:-1])],
    "twice": lambda q, r: [(0.0, r + r)],
    "again a little later": lambda q, r: [(0.0, r), (0.01, r)],
    "again much later": lambda q, r: [(0.0, r), (5.0, r)],
    "echo": lambda q, r: [(0.0, q + b"\n" + r)],
    "noise before": lambda q, r: [(0.0, b"\xff\x80" + r)],
    "noise within": lambda q, r: [(0.0, r[:5] + b"\x9b" + r[6:])],
    "noise line": lambda q, r: [(0.0, b"@@@\n" + r)],
    "other end of line": lambda q, r: [(0.0, r[:-1] + b"\r\n")],
    "silence": lambda q, r: [],
    "another's answer": lambda q, r: [(0.0, b"+7.70000000E+01\n" + r)],
    "a short break": lambda q, r: [(0.0, r[:1]), (1.0, r[1:])],
    "a very long line": lambda q, r: [(0.0, b"9" * 20000 + b"\n")],
    "a block": lambda q, r: [(0.0, b"#15+1E+0\n")],
}
QUESTIONS = [b"READ?", b"FUNC?", b"FRES:RANG?"]


@pytest.mark.parametrize("byte_by_byte", [False, True], ids=["whole", "byte-by-byte"])
@pytest.mark.parametrize("question", QUESTIONS, ids=["reading", "function", "range"])
@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.quick_cases(40)
def test_once(fault, question, byte_by_byte):
    instrument, _, _, world, _ = bench(Once(question, FAULTS[fault]), byte_by_byte=byte_by_byte)
    for _ in range(3):
        try:
            check(instrument.read(), world)
        except InstrumentTrouble as trouble:
            # a clear stop, and the next reading is right again
            assert trouble.kind in ("silent", "garbled", "mismatch")
            assert trouble.what
            assert trouble.advice
    check(instrument.read(), world)


@pytest.mark.parametrize("fault", ["late", "cut", "front lost", "noise within", "silence", "end lost"])
def test_a_reading_that_went_wrong_once_is_taken_again_and_says_so(fault):
    instrument, _, _, world, notices = bench(Once(b"READ?", FAULTS[fault]))
    sample = instrument.read()
    check(sample, world)
    kinds = [notice.kind for notice in notices]
    assert kinds.count("retry") == sample.tries - 1 > 0
    assert kinds[-1] == "resynchronised"


@pytest.mark.parametrize("fault", ["late", "cut", "front lost", "noise within", "silence", "end lost"])
def test_what_goes_wrong_each_time_is_a_clear_stop(fault):
    instrument, _, _, _, _ = bench(Once(b"READ?", FAULTS[fault], times=1000))
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.read()
    assert caught.value.kind in ("silent", "garbled")
    assert caught.value.advice


def test_a_meter_that_falls_silent_for_good_is_a_clear_stop():
    instrument, _, wire, _, _ = bench()
    wire.deaf = True
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.read()
    assert caught.value.kind == "silent"


def test_stale_bytes_before_the_trigger_are_not_the_reading():
    instrument, line, wire, world, notices = bench()
    wire.inject(b"+1.23400000E+01\n", line.now)
    check(instrument.read(), world)
    assert [notice.kind for notice in notices] == ["resynchronised"]
    assert notices[0].raw == (b"+1.23400000E+01\n",)


def test_half_a_stale_line_before_the_trigger_is_not_the_front_of_the_reading():
    instrument, line, wire, world, _ = bench()
    wire.inject(b"+1.2", line.now)
    check(instrument.read(), world)


def test_stale_bytes_that_come_while_the_line_is_drained():
    instrument, line, wire, world, _ = bench()
    for k in range(40):
        wire.inject(b"+1.23400000E+01\n", line.now + 0.05 * k)
    check(instrument.read(), world)


def test_a_line_that_never_falls_quiet_is_a_clear_stop():
    instrument, line, wire, _, _ = bench()
    for k in range(4000):
        wire.inject(b"+1.23400000E+01\n", line.now + 0.01 * k)
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.read()
    assert caught.value.kind == "garbled"
    assert "stream" in caught.value.advice


@pytest.mark.parametrize("key", [b"FUNC 'VOLT'\n", b"CONF:RES\n", b"FRES:RANG 1000\n"])
def test_a_key_pressed_at_the_meter_is_noticed(key):
    instrument, line, wire, world, notices = bench()
    wire.engine.receive(key, line.now)
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.read()
    assert caught.value.kind == "mismatch"
    assert "ohms 4w" in caught.value.advice
    check(instrument.read(), world)
    assert notices[-1].kind == "set-anew"


def test_a_key_pressed_during_the_reading_is_noticed():
    instrument, line, wire, _, _ = bench()

    def press(now):
        line.when_idle = None
        wire.engine.receive(b"FUNC 'VOLT'\n", now)

    line.when_idle = press
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.read()
    assert caught.value.kind == "mismatch"


def test_a_meter_that_was_switched_off_and_on_is_noticed():
    instrument, line, wire, _, _ = bench()
    wire.engine.receive(b"*RST\n", line.now)
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.read()
    assert caught.value.kind == "mismatch"


def test_another_meter_on_the_same_line_is_noticed():
    instrument, _, wire, _, _ = bench(Once(b"READ?", FAULTS["silence"]))
    wire.engine.identity = "Gannet Head,bench meter,0002,1.0"
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.read()
    assert caught.value.kind == "stranger"


def test_an_unplugged_meter_is_lost_and_is_not_asked_again():
    instrument, line, _, _, notices = bench()
    line.unplugged = True
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.read()
    assert caught.value.kind == "lost"
    assert notices == []


def test_an_abort_ends_a_reading_and_is_no_reading():
    instrument, line, _, world, _ = bench(Once(b"READ?", FAULTS["late"]))
    line.when_idle = lambda now: instrument.abort()
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.read()
    assert caught.value.kind == "aborted"
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.read()
    assert caught.value.kind == "aborted"
    line.when_idle = None
    instrument.clear_abort()
    # the answer of the reading that was given up is on its way still
    check(instrument.read(), world)


# One digit exchanged for another digit cannot be told from a measurement without a parity bit: it is left out here,
# as it is in what the profile promises.
_byte = st.sampled_from([b"\x00", b"\xff", b"\r", b"?", b" ", b"x", b"\n"])
_mangling = st.one_of(
    st.just(lambda r, q: [(0.0, r)]),
    st.just(lambda r, q: []),
    st.just(lambda r, q: [(0.0, r + r)]),
    st.just(lambda r, q: [(0.0, q + b"\n" + r)]),
    st.builds(lambda d: lambda r, q: [(d, r)], st.floats(0.0, 12.0)),
    st.builds(lambda n, d: lambda r, q: [(0.0, r[:n]), (d, r[n:])], st.integers(0, 20), st.floats(0.0, 12.0)),
    st.builds(lambda n: lambda r, q: [(0.0, r[:n])], st.integers(0, 20)),
    st.builds(lambda n: lambda r, q: [(0.0, r[n:])], st.integers(0, 20)),
    st.builds(lambda n: lambda r, q: [(0.0, r[:n] + r[n + 1 :])], st.integers(0, 20)),
    st.builds(lambda n, b: lambda r, q: [(0.0, r[:n] + b + r[n:])], st.integers(0, 20), _byte),
    st.builds(lambda n, b: lambda r, q: [(0.0, r[:n] + b + r[n + 1 :])], st.integers(0, 20), _byte),
)


@draws(150)
@given(st.lists(_mangling, min_size=1, max_size=12), st.booleans())
def test_no_sequence_of_faults_makes_a_wrong_reading(manglings, byte_by_byte):
    left = list(manglings)

    def mangle(question, reply):
        return left.pop(0)(reply, question) if left else [(0.0, reply)]

    instrument, _, _, world, _ = bench(mangle, byte_by_byte=byte_by_byte)
    for _ in range(8):
        try:
            check(instrument.read(), world)
        except InstrumentTrouble as trouble:
            assert trouble.kind in ("silent", "garbled", "mismatch", "stranger")
    for _ in range(3):
        try:
            instrument.read()
        except InstrumentTrouble:
            continue
    check(instrument.read(), world)


@draws(100)
@given(st.lists(_mangling, min_size=1, max_size=12))
def test_no_sequence_of_faults_opens_the_wrong_instrument_or_leaves_it_unset(manglings):
    left = list(manglings)

    def mangle(question, reply):
        return left.pop(0)(reply, question) if left else [(0.0, reply)]

    world = Bars()
    wire = Mangled(MeterTwin(world, error_scale=0.0), mangle)
    line = VirtualLine(wire)
    for _ in range(50):
        instrument = Instrument(PROFILE, line, line.clock)
        try:
            identity = instrument.open()
            instrument.configure("ohms 4w", 100.0)
        except InstrumentTrouble:
            continue
        assert identity.serial == "0001"
        check(instrument.read(), world)
        return
    pytest.fail("it was not opened when nothing was wrong any more")


def test_without_a_probe_a_late_answer_is_waited_out():
    """A profile whose instrument keeps no number: quiet must last as long as an answer may take."""
    plain = msgspec.structs.replace(PROFILE, probe=None)
    instrument, _, _, world, _ = bench(Once(b"READ?", lambda q, r: [(5.0, r)]), profile=plain)
    check(instrument.read(), world)
