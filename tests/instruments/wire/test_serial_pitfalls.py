"""The pitfalls of serial ports and of the libraries over them, each with its test or a reason why there is none.

Wrong readings in place of errors
    A split reply turns into a plausible number       here: trickle; test_trouble_table: cut, front lost
    A late reply answers the next question            test_trouble_table: late, again a little later
    A write raises although the bytes went out        test_ports: takes no more bytes; test_outputs: never sent again
    Wrong line settings look like data                here: parity bits; test_trouble_table: noise
    Two owners share the bytes                        test_ports: one owner, another process, another run

Time-outs
    The time-out restarts with each byte              here: trickle
    A library's time-out lasts twice as long          here: a deadline that has passed; only short reads are asked for
    inter_byte_timeout: nothing here, an error there  here: it is never set
    Short bytes come back as if they were whole       here: trickle; test_framing: the whole end must match
    A wall clock that steps                           here: no clock but the monotonic one is asked
    Time-out 0 misses what waits already              here: a deadline that has passed
    Setting a time-out reconfigures the port          here: nothing is set after opening

Terminators
    Only the last character is looked at              test_framing: two-byte end, wrong end within
    An end is put on, or looked for, unasked          here: all byte values
    An answer without end fills the memory            fault table: a line without end
    A block that holds the end's bytes                test_framing: blocks are cut by their length
    CR-only talkers                                   test_framing: carriage return only
    A terminator left behind by a failed read         no test: the libraries' terminators are switched off
    Noise raises a decoding error and loses the line  test_trouble_table: noise; the bytes are kept: here
    XON and XOFF taken out of binary data             here: all byte values
    END_IN last bit, mark parity                      no: neither is offered for VISA but by the library's own names

Flushing and opening
    flush may hang, buffers are not emptied           here: never called
    Opening discards waiting input                    test_drivers: the first, cut line of a stream is dropped
    DTR and RTS go up on opening                      here: set before opening; a pulse cannot be seen on a pty
    Settings are applied one by one after opening     here: drained after the last
    clear, read_stb, lock, trigger not supported      no: none is used on a serial resource
    list_resources is slow and misses ptys            no: it is never called

Loss
    One event, many error types                       here: table of errors
    is_open stays true                                no: it is never asked
    Closing from another thread                       test_ports: an abort, then the owner closes
    cancel_read spoils the next read                  here: never called
    The polling reader crashes at a time-out          no: it is not used
    Readiness but no data: unplugged, or two readers  here: table of errors; test_ports: one owner
    Reconnecting by a port's number                   test_trouble_table: another meter; test_instrument: reconnect

Pseudo-terminals and Windows
    Echo and line-end translation of a new pty        the simulator's own tests; here: echo is recognised
    Reading with no client is an error                here: clients come and go on one simulated port
    A descriptor held open keeps a pty plugged in     test_trouble_table and the walks: unplugged
    A custom rate fails on some systems' ptys         here: profiles keep to the usual rates
    No pty at all                                     test_drivers: each kind over a loopback socket
    A killed process leaves a port denied             here: the advice says to unplug it once
    Modem lines, baud and parity are ignored          no: what a pty ignores cannot be tested on one
    COM10 and up, in_waiting raising                  test_ports: keys; here: any error of in_waiting is a loss
    1.5 stop bits                                     here: passed on as they are
    socket://'s in_waiting and slow close             no: our own sockets are used
"""

from __future__ import annotations

import contextlib
import errno
import os
import sys
import time
from pathlib import Path

import msgspec
import pytest

from bench.instruments import session
from bench.instruments.instrument import Instrument
from bench.instruments.ports import owned
from bench.instruments.ports import serial_line as serial_port
from bench.instruments.ports import tcp as tcp_port
from bench.instruments.ports import visa as visa_port
from bench.instruments.ports.transport import open_port
from bench.instruments.ports.trouble import InstrumentTrouble, trouble_from
from bench.instruments.profile.line import Line
from bench.instruments.wire import conversation
from bench.quantity import Duration
from bench.simulate.twins.meter import MeterTwin
from tests.instruments.server import LIBRARY, Bars, Mangled, VirtualLine, served

PROFILE = LIBRARY.profile("scpi-bench-meter")
QUICK = msgspec.structs.replace(PROFILE.line, settle=Duration(0.0), quiet=Duration(0.02), timeout=Duration(0.3))

posix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")


def virtual(mangle):
    wire = Mangled(MeterTwin(Bars(42.0), error_scale=0.0))
    line = VirtualLine(wire)
    dmm = Instrument(PROFILE, line, line.clock)
    dmm.open()
    dmm.configure("ohms 4w", 100.0, {"nplc": "1"})
    wire.mangle = mangle
    return dmm, line


@pytest.mark.parametrize("pace", [0.05, 0.2, 0.5, 2.0])
def test_a_reply_that_trickles_is_whole_or_late_but_never_its_tail(pace):
    dmm, line = virtual(lambda q, r: [(pace, r[i : i + 1]) for i in range(len(r))] if q == b"READ?" else [(0.0, r)])
    before = line.now
    try:
        sample = dmm.read()
    except InstrumentTrouble as trouble:
        assert trouble.kind in ("silent", "garbled")
        assert pace * 16 > 3
    else:
        assert sample.value == pytest.approx(42.0, abs=0.01)
        # it came within the time that the profile gives, however many bytes it was cut into
        assert sample.took <= 3.0 + 0.1
        assert line.now - before < 10


def test_bytes_with_a_parity_bit_are_no_number():
    def even_parity(question, reply):
        return [(0.0, bytes(b | (0x80 if b.bit_count() % 2 else 0) for b in reply))]

    dmm, _ = virtual(even_parity)
    with pytest.raises(InstrumentTrouble) as caught:
        dmm.read()
    assert caught.value.kind in ("garbled", "silent")
    assert "parity" in caught.value.advice or "baud" in caught.value.advice
    # what came is kept, although it is no text
    assert any(byte >= 0x80 for raw in caught.value.raw for byte in raw)


def test_no_clock_but_the_monotonic_one_is_asked(monkeypatch):
    def wrong(*_):
        raise AssertionError("the time of day was asked for")

    monkeypatch.setattr(time, "time", wrong)
    with served(MeterTwin(Bars(42.0), now=time.monotonic())) as port:
        dmm = Instrument(PROFILE, open_port(port.address, QUICK), line=QUICK)
        dmm.open()
        dmm.configure("ohms 4w", 100.0, {"nplc": "0.02"})
        # pyserial's own time-outs are on the monotonic clock too
        assert dmm.read().value is not None
        dmm.close()


@posix
@pytest.mark.parametrize("kind", ["serial", "visa"])
def test_a_deadline_that_has_passed_gives_what_is_there(kind):
    import tty

    main, slave = os.openpty()
    tty.setraw(slave)
    name = os.ttyname(slave)
    try:
        port = open_port(name if kind == "serial" else f"ASRL{name}::INSTR", QUICK)
        os.write(main, b"+1.5\n")
        data = b""
        while len(data) < 5:
            data += port.read(float("-inf"))
        assert data == b"+1.5\n"
        assert port.read(float("-inf")) == b""
        port.close()
    finally:
        os.close(main)
        os.close(slave)


@posix
@pytest.mark.parametrize("kind", ["serial", "visa"])
def test_all_byte_values_pass_both_ways(kind):
    import tty

    every = bytes(range(256))
    main, slave = os.openpty()
    tty.setraw(slave)
    name = os.ttyname(slave)
    try:
        port = open_port(name if kind == "serial" else f"ASRL{name}::INSTR", QUICK)
        port.write(every)
        got = b""
        while len(got) < 256:
            got += os.read(main, 1000)
        os.write(main, every)
        back = b""
        while len(back) < 256:
            back += port.read(time.monotonic() + 5)
        port.close()
    finally:
        os.close(main)
        os.close(slave)
    assert got == every
    assert back == every


@posix
def test_a_busy_machine_loses_no_byte_of_what_waits_at_a_visa_port(monkeypatch):
    """The library fetches byte by byte, and throws away what it has where its time ends in the midst of it."""
    import tty

    import pyvisa_py.sessions as sessions

    class Busy:
        """A clock on a machine where each byte takes a millisecond."""

        now = 0.0

        def time(self):
            self.now += 0.001
            return self.now

    main, slave = os.openpty()
    tty.setraw(slave)
    try:
        port = open_port(f"ASRL{os.ttyname(slave)}::INSTR", QUICK)
        monkeypatch.setattr(sessions, "time", Busy())
        os.write(main, b"+1.23456789E+03\n" * 8)
        got = b""
        while data := port.read(time.monotonic() + 0.3):
            got += data
        port.close()
    finally:
        os.close(main)
        os.close(slave)
    assert got == b"+1.23456789E+03\n" * 8


class Recorder:
    """Stands for a serial port: records what is set and called."""

    def __init__(self, trouble: BaseException | None = None):
        object.__setattr__(self, "calls", [])
        object.__setattr__(self, "trouble", trouble)

    def __setattr__(self, name, value):
        self.calls.append((name, value))

    def open(self):
        self.calls.append(("open", None))

    def close(self):
        self.calls.append(("close", None))

    def fileno(self):
        raise OSError("none")

    @property
    def in_waiting(self):
        if self.trouble is not None:
            raise self.trouble
        return 0

    def read(self, count):
        return b""

    def write(self, data):
        if self.trouble is not None:
            raise self.trouble
        self.calls.append(("write", data))
        return len(data)


@pytest.fixture
def recorded(monkeypatch, tmp_path):
    def make(line=QUICK, trouble=None):
        import serial

        recorder = Recorder(trouble)
        monkeypatch.setattr(serial, "serial_for_url", lambda name, do_not_open: recorder)
        # a port of this test's own: the lock of a port is shared by all programs on this computer
        return serial_port.SerialPort(str(tmp_path / "recorder"), line), recorder

    return make


def test_modem_lines_are_set_before_opening_and_nothing_is_set_after(recorded):
    line = msgspec.structs.replace(QUICK, dtr=False, rts=True, stop="1.5", parity="mark", flow="rts-cts")
    port, recorder = recorded(line)
    names = [name for name, _ in recorder.calls]
    opened = names.index("open")
    assert ("dtr", False) in recorder.calls[:opened]
    assert ("rts", True) in recorder.calls[:opened]
    assert ("exclusive", True) in recorder.calls[:opened]
    assert ("stopbits", 1.5) in recorder.calls
    assert ("parity", "M") in recorder.calls
    assert dict(recorder.calls)["rtscts"] is True
    assert dict(recorder.calls)["xonxoff"] is False
    assert not {"inter_byte_timeout", "timeout"} & set(names[opened:])
    assert "inter_byte_timeout" not in names
    port.write(b"READ?\n")
    port.read(time.monotonic() + 0.01)
    # no time-out is changed, nothing is flushed or cancelled: a call to anything else would have failed
    assert names[opened + 1 :] == []
    assert recorder.calls[opened + 1 :] == [("write", b"READ?\n")]
    port.close()


def _errors():
    import serial

    yield serial.SerialException("device reports readiness to read but returned no data")
    yield OSError(errno.EIO, "Input/output error")
    yield TypeError("an integer is required (got type NoneType)")
    yield serial.SerialException("ClearCommError failed (PermissionError(13, 'The device does not recognize'))")
    with contextlib.suppress(ImportError):
        import termios

        yield termios.error(5, "Input/output error")


@pytest.mark.parametrize("error", list(_errors()), ids=lambda error: type(error).__name__)
@pytest.mark.parametrize("doing", ["reading", "writing"])
def test_however_a_lost_port_shows_it_is_lost(recorded, error, doing):
    port, _ = recorded(trouble=error)
    with pytest.raises(InstrumentTrouble) as caught:
        port.read(time.monotonic()) if doing == "reading" else port.write(b"x")
    assert caught.value.kind == "lost"
    assert caught.value.__cause__ is error
    port.close()


def test_a_stuck_write_has_an_unknown_effect(recorded):
    import serial

    port, _ = recorded(trouble=serial.SerialTimeoutException("Write timeout"))
    with pytest.raises(InstrumentTrouble) as caught:
        port.write(b"OUTP ON\n")
    assert caught.value.effect_unknown
    port.close()


def test_what_is_sent_right_after_opening_is_drained_before_anything_is_asked():
    wire = Mangled(MeterTwin(Bars(42.0)))
    line = VirtualLine(wire)
    wire.inject(b"\xff\xfe BOOT v1.2\r\nREADY\r\n+4.40000000E+01\n", 0.02)
    dmm = Instrument(PROFILE, line, line.clock)
    assert dmm.open().serial == "0001"


def test_a_line_that_echoes_is_understood_with_and_without_being_told():
    class Echoing(Mangled):
        def receive(self, data, now):
            self.inject(data, now)
            super().receive(data, now)

    for told in (False, True):
        line = VirtualLine(Echoing(MeterTwin(Bars(42.0), error_scale=0.0)))
        settings = msgspec.structs.replace(PROFILE.line, echo=told)
        dmm = Instrument(PROFILE, line, line.clock, line=settings)
        dmm.open()
        dmm.configure("ohms 4w", 100.0, {"nplc": "1"})
        assert dmm.read().value == pytest.approx(42.0, abs=0.01)


def test_no_module_flushes_or_cancels():
    for module in (serial_port, tcp_port, visa_port, owned, conversation, session):
        assert module.__file__ is not None
        code = Path(module.__file__).read_text(encoding="utf-8")
        for call in (".flush(", ".reset_input_buffer(", ".cancel_read(", ".readline(", ".list_resources("):
            assert call not in code


def test_the_shortest_quiet_is_longer_than_a_packet_of_an_adapter():
    assert Line().quiet.value >= 0.016


# the rates that every system's driver knows by name: POSIX.1-2017, <termios.h>, with the usual two above
USUAL = {0, 300, 600, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200}


def test_profiles_keep_to_the_usual_rates():
    assert {LIBRARY.profile(name).line.baud for name in LIBRARY.names()} <= USUAL


@posix
def test_clients_come_and_go_on_one_simulated_port():
    with served(MeterTwin(Bars(42.0), now=time.monotonic())) as port:
        for _ in range(3):
            with Instrument(PROFILE, open_port(port.address, QUICK), line=QUICK) as dmm:
                assert dmm.open().serial == "0001"


def test_a_port_that_a_killed_program_left_taken_is_told_of(monkeypatch):
    monkeypatch.setattr(sys, "platform", "win32")
    trouble = trouble_from(PermissionError(13, "Access is denied"), "COM12", "opening")
    assert trouble.kind == "denied"
    assert "unplug it once" in trouble.advice
