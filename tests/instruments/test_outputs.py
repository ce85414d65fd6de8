"""Outputs, channels and test voltages: read back, never sent twice, and safe on every way out."""

from __future__ import annotations

import sys
import threading
import time

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.instruments.instrument import Instrument
from bench.instruments.ports.transport import open_port
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.quantity import Duration
from bench.simulate.twins.insulation import InsulationTwin
from bench.simulate.twins.matrix import MatrixTwin
from bench.simulate.twins.supply import SupplyTwin
from tests.drawn import draws
from tests.drivers.twins import Hall
from tests.instruments.server import LIBRARY, Mangled, VirtualLine, served
from tests.instruments.test_trouble_table import FAULTS, Once, _mangling

SUPPLY = LIBRARY.profile("scpi-supply")
TESTER = LIBRARY.profile("scpi-insulation-tester")
MATRIX = LIBRARY.profile("scpi-relay-matrix")
ON = {"voltage": 48.0, "current": 1.0}


def bench(profile, engine, world):
    wire = Mangled(engine(world))
    line = VirtualLine(wire)
    instrument = Instrument(profile, line, line.clock)
    instrument.open()
    wire.questions.clear()
    return instrument, line, wire, world


def supply():
    return bench(SUPPLY, SupplyTwin, Hall())


def insulation():
    instrument, line, wire, world = bench(TESTER, InsulationTwin, Hall())
    instrument.configure("insulation", None, {"voltage": 500})
    wire.questions.clear()
    return instrument, line, wire, world


def matrix(**options):
    return bench(MATRIX, lambda world: MatrixTwin(world, rows=24, **options), Hall())


# ---- a supply ------------------------------------------------------------------------------


def test_it_is_set_while_off_and_read_back_before_and_after():
    instrument, _, wire, world = supply()
    state = instrument.set_output(True, ON)
    assert (state.on, state.settings["voltage"], state.settings["current"]) == (True, "48", "1")
    assert state.raw[-1] == b"1\n"
    assert world.held == pytest.approx(48.0, abs=0.1)
    order = [question for question in wire.questions if b"ERR" not in question]
    assert order == [
        b"OUTP OFF",
        b"VOLT 48",
        b"CURR 1",
        b"CURR:PROT:STAT OFF",
        b"OUTP?",
        b"VOLT?",
        b"CURR?",
        b"OUTP ON",
        b"OUTP?",
    ]
    off = instrument.set_output(False)
    assert not off.on
    assert world.held is None


@pytest.mark.parametrize(
    ("wanted", "says"),
    [
        ({}, "'voltage'"),
        ({"voltage": 48.0}, "'current'"),
        ({"voltage": 75.0, "current": 1.0}, "0 to 60 V"),
        ({"voltage": -48.0, "current": 1.0}, "0 to 60 V"),
        ({"voltage": float("nan"), "current": 1.0}, "0 to 60 V"),
        ({"voltage": 48.0, "current": 0.0}, "0.001 to 5 A"),
        ({"volts": 48.0}, "voltage, current, trip"),
        ({"voltage": "48\nOUTP ON", "current": 1.0}, "0 to 60 V"),
    ],
)
def test_what_it_cannot_be_set_to_is_refused_before_anything_is_sent(wanted, says):
    instrument, _, wire, _ = supply()
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.set_output(True, wanted)
    assert caught.value.kind == "unable"
    assert says in f"{caught.value.what} {caught.value.advice}"
    assert wire.questions == []


def test_an_output_that_there_is_not():
    instrument, _, _, _ = supply()
    with pytest.raises(InstrumentTrouble, match="no output 'second'"):
        instrument.set_output(True, ON, "second")


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("question", [b"SYST:ERR?", b"OUTP?", b"VOLT?", b"CURR?"])
@pytest.mark.quick_cases(27)
def test_trouble_while_switching_on_ends_on_and_confirmed_or_off(question, fault):
    instrument, _, wire, world = supply()
    wire.mangle = Once(question, FAULTS[fault])
    try:
        instrument.set_output(True, ON)
    except InstrumentTrouble as trouble:
        assert world.held is None
        assert trouble.kind in ("silent", "garbled", "mismatch", "refused", "unsafe")
    else:
        assert world.held is not None
    # an output is never switched on twice for one order
    assert wire.questions.count(b"OUTP ON") <= 1


def test_a_protection_that_trips_is_told_and_everything_is_off():
    instrument, _, _, world = supply()
    world.draw = lambda volts, time: volts / 0.5
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.set_output(True, {**ON, "trip": "ON"})
    assert caught.value.kind == "mismatch"
    assert "tripped" in caught.value.advice
    assert world.held is None


def test_an_abort_while_switching_on_ends_off():
    instrument, line, wire, world = supply()
    wire.mangle = Once(b"CURR?", lambda q, r: [(1.0, r)])
    line.when_idle = lambda now: instrument.abort()
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.set_output(True, ON)
    assert caught.value.kind == "aborted"
    assert world.held is None
    assert b"OUTP ON" not in wire.questions


def test_a_line_that_is_lost_while_switching_on_is_unsafe_and_says_what_to_do():
    instrument, line, wire, _ = supply()

    def unplug(question, reply):
        if b"OUTP ON" in wire.questions:
            line.unplugged = True
        return [(0.0, reply)]

    wire.mangle = unplug
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.set_output(True, ON)
    assert caught.value.kind == "unsafe"
    assert "prove it dead" in caught.value.advice
    # the cause is kept
    assert caught.value.__cause__.kind == "lost"


def test_a_command_that_the_port_did_not_take_is_not_sent_again():
    instrument, line, wire, _ = supply()
    sent = []
    write = line.write

    def stuck(data):
        if data == b"OUTP ON\n":
            sent.append(data)
            # it went out all the same, as it can with flow control
            write(data)
            raise InstrumentTrouble("silent", "The port did not take a command.", effect_unknown=True)
        write(data)

    line.write = stuck
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.set_output(True, ON)
    assert caught.value.effect_unknown
    assert sent == [b"OUTP ON\n"]
    assert wire.engine.on is False


def test_leaving_a_with_block_makes_safe():
    instrument, line, _, world = supply()
    with pytest.raises(ZeroDivisionError), instrument:
        instrument.set_output(True, ON)
        raise ZeroDivisionError
    assert world.held is None
    assert line.closed


@draws(60)
@given(st.lists(_mangling, min_size=1, max_size=10))
def test_no_sequence_of_faults_leaves_an_output_on_that_is_not_known_to_be(manglings):
    left = list(manglings)
    instrument, _, wire, world = supply()
    wire.mangle = lambda question, reply: left.pop(0)(reply, question) if left else [(0.0, reply)]
    try:
        instrument.set_output(True, ON)
    except InstrumentTrouble:
        assert world.held is None
    else:
        assert world.held is not None
    state = instrument.make_safe()
    assert world.held is None
    if not left:
        # nothing more goes wrong, so it can be confirmed now
        assert state.confirmed or instrument.make_safe().confirmed or instrument.make_safe().confirmed


# ---- an insulation tester ------------------------------------------------------------------


def test_the_voltage_is_on_for_the_reading_only():
    instrument, line, wire, world = insulation()
    before = line.now
    sample = instrument.read(after=60.0)
    assert sample.value == pytest.approx(3e9, rel=0.05)
    assert line.now - before >= 60.0
    assert not wire.engine.on
    assert world.insulation.volts < 25.0
    assert wire.questions.index(b"OUTP ON") < wire.questions.index(b"READ?") < wire.questions.index(b"OUTP OFF")


def test_a_longer_dwell_reads_higher_while_the_cable_absorbs():
    from bench.simulate.world.dielectric import Branch

    values = []
    for after in (2.0, 60.0):
        instrument, _, _, world = insulation()
        world.insulation = type(world.insulation)(ohms=3e9, farads=20e-9, branches=(Branch(2e9, 10e-9),))
        sample = instrument.read(after=after)
        assert sample.value is not None
        values.append(sample.value)
    assert values[0] < 0.8 * values[1]


def test_several_readings_of_one_test():
    instrument, _, wire, _ = insulation()
    samples = instrument.read_timed([15.0, 60.0])
    assert [sample.value for sample in samples] == [pytest.approx(3e9, rel=0.05)] * 2
    assert samples[1].started - samples[0].started == pytest.approx(45.0, abs=1.0)
    assert wire.questions.count(b"OUTP ON") == 1
    assert not wire.engine.on


def test_a_test_voltage_must_be_said():
    instrument, _, wire, _ = bench(TESTER, InsulationTwin, Hall())
    for wanted in ({}, {"voltage": 300}):
        with pytest.raises(InstrumentTrouble) as caught:
            instrument.configure("insulation", None, wanted)
        assert caught.value.kind == "unable"
    assert wire.questions == []


def test_a_live_circuit_is_refused_and_stays_so():
    instrument, _, wire, world = insulation()
    world.live = -53.0
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.read(after=60.0)
    # the tester refuses, and what it is on is not safe to touch either
    assert caught.value.kind == "unsafe"
    assert "live" in caught.value.what
    assert not wire.engine.on
    assert b"READ?" not in wire.questions


def test_a_charge_that_does_not_leave_is_unsafe():
    instrument, _, wire, world = insulation()
    # 200 uF through the tester's 100 kohm: a minute until less than 25 V is left
    world.insulation.farads = 200e-6
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.read(after=200.0)
    assert caught.value.kind == "unsafe"
    assert "less than 25 V" in caught.value.what
    assert not wire.engine.on


def test_what_is_left_is_told_while_charge_leaves():
    instrument, line, wire, world = insulation()
    world.insulation.farads = 100e-6
    told = []
    wire.engine.receive(b"OUTP ON\n", line.now)
    line.now += 60.0
    assert instrument.make_safe(lambda left, unit: told.append((left, unit))).confirmed
    assert {unit for _, unit in told} == {"V"}
    assert 100 < told[0][0] <= 600 and told[0][0] > told[-1][0] > 25


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("question", [b"SYST:ERR?", b"OUTP?", b"READ?", b"VOLT?", b"MEAS:VOLT?"])
@pytest.mark.quick_cases(34)
def test_trouble_during_a_test_ends_with_the_voltage_off(question, fault):
    instrument, _, wire, _ = insulation()
    wire.mangle = Once(question, FAULTS[fault])
    try:
        assert instrument.read(after=5.0).value == pytest.approx(3e9, rel=0.05)
    except InstrumentTrouble as trouble:
        assert trouble.kind in ("silent", "garbled", "mismatch", "refused", "unsafe")
    assert not wire.engine.on
    # a voltage is never put on a second time without being asked for
    assert wire.questions.count(b"OUTP ON") == 1


@pytest.mark.parametrize("how", ["abort", "interrupt"])
def test_however_the_wait_ends_the_voltage_is_off(how):
    instrument, line, wire, _ = insulation()

    def stop(now):
        if wire.engine.on and now > 10.0:
            if how == "abort":
                instrument.abort()
            else:
                line.when_idle = None
                raise KeyboardInterrupt

    line.when_idle = stop
    with pytest.raises((InstrumentTrouble, KeyboardInterrupt)) as caught:
        instrument.read(after=60.0)
    assert caught.type is KeyboardInterrupt or caught.value.kind == "aborted"
    assert not wire.engine.on
    assert line.now < 60.0


def test_it_is_not_shown_live():
    instrument, _, wire, _ = insulation()
    with pytest.raises(InstrumentTrouble) as caught:
        next(instrument.live())
    assert caught.value.kind == "unable"
    assert not wire.engine.on


# ---- a relay matrix ------------------------------------------------------------------------


def test_channels_are_opened_before_others_are_closed():
    instrument, _, _, world = matrix()
    seen = []
    switched = world.switched
    world.switched = lambda closed, time: (seen.append(closed), switched(closed, time))
    instrument.set_channels(["101", "202"])
    instrument.set_channels(["103", "204"])
    instrument.set_channels([])
    assert seen == [{101, 202}, frozenset(), {103, 204}, frozenset()]


@pytest.mark.parametrize("channels", [["301"], ["100"], ["101);OUTP ON"], [""], [f"1{row:02}" for row in range(1, 62)]])
def test_channels_that_cannot_be_closed(channels):
    instrument, _, wire, _ = matrix()
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.set_channels(channels)
    assert caught.value.kind == "unable"
    assert wire.questions == []


def test_a_row_that_would_join_both_buses_is_refused_and_all_is_open():
    instrument, _, _, world = matrix()
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.set_channels(["101", "201"])
    assert caught.value.kind == "refused"
    assert "would join" in caught.value.what
    assert world.closed == frozenset()


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("question", [b"SYST:ERR?", b"ROUT:CLOS:STAT?"])
def test_trouble_while_switching_ends_as_asked_or_open(question, fault):
    instrument, _, wire, world = matrix()
    wire.mangle = Once(question, FAULTS[fault])
    try:
        instrument.set_channels(["101", "202"])
    except InstrumentTrouble:
        assert world.closed == frozenset()
    else:
        assert world.closed == {101, 202}


def test_a_meter_has_no_channels():
    instrument, _, _, _ = supply()
    with pytest.raises(InstrumentTrouble, match="no channels"):
        instrument.set_channels(["101"])


# ---- from another thread, over a real port -------------------------------------------------


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
def test_making_safe_takes_over_from_a_thread_that_waits():
    world = Hall()
    engine = InsulationTwin(world, now=time.monotonic())
    line = msgspec.structs.replace(TESTER.line, settle=Duration(0.0), quiet=Duration(0.02))
    with served(engine, speed=1.0) as port:
        instrument = Instrument(TESTER, open_port(port.address, line), line=line)
        instrument.open()
        instrument.configure("insulation", None, {"voltage": 50})
        ended = []

        def measure():
            try:
                instrument.read(after=600.0)
            except InstrumentTrouble as trouble:
                ended.append(trouble.kind)

        thread = threading.Thread(target=measure, daemon=True)
        thread.start()
        while not engine.on:
            assert thread.is_alive()
            time.sleep(0.005)
        state = instrument.make_safe()
        thread.join(timeout=20)
        assert state.confirmed, state.what
        assert ended == ["aborted"]
        assert not engine.on
        # and it can be worked with again
        assert instrument.read(after=0.5).value is not None
        instrument.close()
