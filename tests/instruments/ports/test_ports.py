"""Real ports: the same profile and twin over a pseudo-terminal, a TCP socket, PyVISA, and an independent simulator."""

from __future__ import annotations

import contextlib
import grp
import os
import socket
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path

import msgspec
import pytest

from bench.instruments.instrument import Instrument
from bench.instruments.ports import owned
from bench.instruments.ports.address import is_visa, port_key
from bench.instruments.ports.transport import open_port
from bench.instruments.ports.trouble import InstrumentTrouble, denied_advice, trouble_from
from bench.instruments.profile.line import Line
from bench.instruments.wire_text import WireText
from bench.quantity import Duration
from bench.simulate.twins.meter import MeterTwin
from tests.instruments.server import LIBRARY, Bars, Mangled, served

PROFILE = LIBRARY.profile("scpi-bench-meter")
QUICK = msgspec.structs.replace(PROFILE.line, settle=Duration(0.0), quiet=Duration(0.02), timeout=Duration(0.3))
HERE = Path(__file__).parent

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")


def meter(ohms=47.0, **options) -> MeterTwin:
    return MeterTwin(Bars(ohms), error_scale=0.0, now=time.monotonic(), **options)


def visa_name(address: str) -> str:
    if address.startswith("socket://"):
        host, port = address.removeprefix("socket://").split(":")
        return f"TCPIP0::{host}::{port}::SOCKET"
    return f"ASRL{address}::INSTR"


WAYS = {
    "serial": (False, lambda address: address),
    "serial:": (False, lambda address: f"serial:{address}"),
    "visa serial": (False, visa_name),
    "socket": (True, lambda address: address),
    "visa socket": (True, visa_name),
}


@pytest.mark.parametrize("way", WAYS)
def test_a_reading_over_each_kind_of_port(way):
    tcp, name = WAYS[way]
    traced = []
    with served(meter(), tcp=tcp) as port:
        transport = open_port(name(port.address), QUICK)
        with Instrument(PROFILE, transport, line=QUICK, trace=lambda way, data, at: traced.append((way, data))) as dmm:
            assert dmm.open().model == "bench meter"
            setup = dmm.configure("ohms 4w", 100.0, {"nplc": "0.02"})
            assert setup.range == 100.0
            samples = [dmm.read() for _ in range(3)]
            dmm.configure("volts dc", None, {"nplc": "0.02"})
            volts = dmm.read()
    assert [sample.value for sample in samples] == [pytest.approx(47.0, abs=0.05)] * 3
    assert all(sample.tries == 1 and sample.raw[0].endswith(b"\n") for sample in samples)
    assert volts.unit == "V"
    sent = b"".join(data for direction, data in traced if direction == "sent")
    assert sent.count(b"READ?\n") == 4
    received = b"".join(data for direction, data in traced if direction == "received")
    assert all(raw in received for sample in samples for raw in sample.raw)


def test_pyvisa_as_an_outside_client_reads_the_same():
    """PyVISA, without any code of ours but the twin, gets the same numbers from the same seed as the profile does."""
    pyvisa = pytest.importorskip("pyvisa")
    with served(MeterTwin(Bars(47.0), seed=5, now=time.monotonic())) as port:
        manager = pyvisa.ResourceManager("@py")
        outside = manager.open_resource(visa_name(port.address), read_termination="\n", write_termination="\n")
        outside.timeout = 2000
        assert outside.query("*IDN?").split(",")[1] == "bench meter"
        outside.write("CONF:FRES 100")
        outside.write("FRES:NPLC 0.02")
        theirs = [float(outside.query("READ?")) for _ in range(4)]
        assert outside.query("SYST:ERR?") == '0,"No error"'
        outside.close()
    settings = {"nplc": "0.02", "compensation": "OFF"}
    with served(MeterTwin(Bars(47.0), seed=5, now=time.monotonic())) as port, open_one(port.address) as dmm:
        dmm.configure("ohms 4w", 100.0, settings)
        ours = [dmm.read().value for _ in range(4)]
    assert ours == theirs


def open_one(address, **options) -> Instrument:
    instrument = Instrument(PROFILE, open_port(address, QUICK), line=QUICK, **options)
    instrument.open()
    return instrument


@pytest.mark.parametrize("name", ["ASRL1::INSTR", "TCPIP0::localhost::5025::SOCKET", "GPIB0::9::INSTR"])
def test_an_independent_simulator(name):
    pytest.importorskip("pyvisa_sim")
    backend = f"{HERE / 'sim-meter.yaml'}@sim"
    transport = open_port(name, QUICK, visa_backend=backend)
    with Instrument(PROFILE, transport, line=QUICK) as dmm:
        identity = dmm.open()
        assert (identity.maker, identity.serial) == ("Elsewhere", "S77")
        dmm.configure("ohms 4w", 100.0)
        assert dmm.read().value == 47.0
        dmm.configure("ohms 4w")
        sample = dmm.read()
        assert (sample.value, sample.range) == (47.0, 100.0)


def test_pyvisa_is_not_imported_for_other_ports():
    code = (
        "import sys\n"
        "from bench.instruments.ports.transport import open_port\n"
        "from bench.instruments.ports.trouble import InstrumentTrouble\n"
        "for address in ('/dev/not-there', 'socket://127.0.0.1:1'):\n"
        "    try: open_port(address)\n"
        "    except InstrumentTrouble as t: print(t.kind)\n"
        "print([m for m in ('pyvisa', 'pymodbus', 'numpy', 'scipy', 'textual') if m in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split("\n")[:3] == ["lost", "lost", "[]"]


# ---- who has the port ----------------------------------------------------------------------


def aliases(address: str, folder: Path) -> dict[str, str]:
    """Names of one port: as people, adapters' links, VISA and pyserial have it."""
    by_id = folder / "serial" / "by-id"
    by_id.mkdir(parents=True)
    (by_id / "usb-adapter-if00-port0").symlink_to(address)
    (folder / "ttyMETER").symlink_to(by_id / "usb-adapter-if00-port0")
    return {
        "the same": address,
        "with its kind": f"serial:{address}",
        "as a VISA resource": f"ASRL{address}::INSTR",
        "as a VISA resource in small letters": f"asrl{address}::instr",
        "a link of /dev/serial/by-id": str(by_id / "usb-adapter-if00-port0"),
        "a link to that link": str(folder / "ttyMETER"),
        "a link as a VISA resource": f"ASRL{by_id / 'usb-adapter-if00-port0'}::INSTR",
        "round about": f"{Path(address).parent}/../{Path(address).parent.name}/{Path(address).name}",
        "from here": os.path.relpath(address),
        "listened in on": f"spy://{address}?file=/dev/null",
    }


def test_a_port_that_its_owner_is_just_letting_go_of_is_waited_for():
    with served(meter()) as port:
        held = open_port(port.address, QUICK)
        goes = threading.Timer(0.05, held.close)
        goes.start()
        open_port(port.address, QUICK).close()
        goes.join()


def test_one_owner_however_the_port_is_spelled(tmp_path, monkeypatch):
    monkeypatch.setattr(owned, "LETTING_GO", 0.0)  # nobody lets go here
    with served(meter()) as port:
        names = aliases(port.address, tmp_path)
        for first, second in [*((name, "the same") for name in names), *(("the same", name) for name in names)]:
            try:
                held = open_port(names[first], QUICK)
            except InstrumentTrouble as trouble:
                # the VISA library takes its names in capitals only
                assert "small letters" in first and trouble.kind != "busy", (first, trouble)
                continue
            try:
                with pytest.raises(InstrumentTrouble) as caught:
                    open_port(names[second], QUICK)
                assert caught.value.kind == "busy", (first, second)
            finally:
                held.close()


@pytest.mark.skipif(sys.platform == "win32", reason="device nodes are POSIX")
def test_two_nodes_of_one_device_are_one_port(tmp_path):
    with served(meter()) as port:
        node = tmp_path / "second-node"
        try:
            os.mknod(node, 0o600 | stat.S_IFCHR, Path(port.address).stat().st_rdev)
        except OSError:
            pytest.skip("only who runs the system makes device nodes")
        held = open_port(port.address, QUICK)
        try:
            with pytest.raises(InstrumentTrouble) as caught:
                open_port(str(node), QUICK)
            assert caught.value.kind == "busy"
        finally:
            held.close()


def test_another_process_that_has_the_port_exclusively():
    import serial

    with served(meter()) as port, serial.Serial(port.address, exclusive=True):
        with pytest.raises(InstrumentTrouble) as caught:
            open_port(port.address, QUICK)
        assert caught.value.kind == "busy"
        assert "Close that program" in caught.value.advice


def test_another_run_of_the_program_has_the_port():
    code = (
        "import sys\n"
        "from bench.instruments.ports.transport import open_port\n"
        "port = open_port(sys.argv[1])\n"
        "print('held', flush=True)\n"
        "sys.stdin.read()\n"
    )
    with served(meter()) as port:
        other = subprocess.Popen(
            [sys.executable, "-c", code, port.address], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        try:
            assert other.stdout is not None
            assert other.stdout.readline() == "held\n"
            with pytest.raises(InstrumentTrouble) as caught:
                open_port(visa_name(port.address), QUICK)
            assert caught.value.kind == "busy"
            assert "another run" in caught.value.what
        finally:
            other.communicate("", timeout=10)
        # the lock went with the process
        open_port(visa_name(port.address), QUICK).close()


def test_a_lock_is_let_go_when_opening_fails(tmp_path):
    path = str(tmp_path / "no-port")
    # a port that was still locked would be busy
    for _ in range(3):
        with pytest.raises(InstrumentTrouble) as caught:
            open_port(path, QUICK)
        assert caught.value.kind == "lost"


@pytest.mark.parametrize(
    ("address", "key"),
    [
        ("COM3", "COM3"),
        ("com3", "COM3"),
        ("\\\\.\\COM12", "COM12"),
        ("socket://Hall-Meter:5025/", "socket://hall-meter:5025"),
        ("socket://localhost:5025", "socket://127.0.0.1:5025"),
        ("TCPIP::localhost::5025::SOCKET", "socket://127.0.0.1:5025"),
        ("spy://COM3", "COM3"),
        ("TCPIP0::Hall-Meter::5025::SOCKET", "socket://hall-meter:5025"),
        ("TCPIP::hall-meter::INSTR", "tcpip::hall-meter::instr"),
        ("ASRL3::INSTR", "asrl3"),
        ("rfc2217://rack:4000", "rfc2217://rack:4000"),
    ],
)
def test_keys_of_ports(address, key):
    assert port_key(address) == key


@pytest.mark.parametrize(
    ("system", "one", "other"),
    [
        ("win32", "ASRL3::INSTR", "COM3"),
        ("win32", "\\\\.\\com12", "COM12"),
        ("darwin", "/dev/tty.usbserial-1", "/dev/cu.usbserial-1"),
        ("darwin", "ASRL/dev/tty.usbserial-1::INSTR", "/dev/cu.usbserial-1"),
        ("win32", "ASRLCOM3::INSTR", "serial:COM3"),
    ],
)
def test_two_names_of_one_port_on_other_systems(monkeypatch, system, one, other):
    monkeypatch.setattr(sys, "platform", system)
    assert port_key(one) == port_key(other)


@pytest.mark.parametrize(
    ("address", "visa"),
    [
        ("ASRL/dev/ttyUSB0::INSTR", True),
        ("TCPIP0::10.0.0.7::INSTR", True),
        ("TCPIP::meter::5025::SOCKET", True),
        ("USB0::0x1234::0x5678::SERIAL::INSTR", True),
        ("GPIB0::22::INSTR", True),
        ("/dev/ttyUSB0", False),
        ("COM3", False),
        ("socket://meter:5025", False),
    ],
)
def test_which_addresses_are_visa(address, visa):
    assert is_visa(address) is visa


# ---- what goes wrong with a port -----------------------------------------------------------


@pytest.mark.parametrize("way", WAYS)
def test_unplugging_is_lost_at_once(way):
    tcp, name = WAYS[way]
    with served(Mangled(meter(), lambda q, r: [] if q == b"READ?" else [(0.0, r)]), tcp=tcp) as port:
        transport = open_port(name(port.address), QUICK)
        dmm = Instrument(PROFILE, transport, line=QUICK)
        dmm.open()
        dmm.configure("ohms 4w", 100.0, {"nplc": "0.02" if way == "visa socket" else "100"})
        threading.Timer(0.1, port.close).start()
        before = time.monotonic()
        with pytest.raises(InstrumentTrouble) as caught:
            dmm.read()
        assert caught.value.advice
        if way == "visa socket":
            # the library does not tell that the other side has closed
            assert caught.value.kind in ("lost", "silent")
        else:
            assert caught.value.kind == "lost"
            # long before the ten seconds that the reading may take
            assert time.monotonic() - before < 5
        dmm.close()


@pytest.mark.parametrize("way", WAYS)
def test_an_abort_from_another_thread_ends_a_blocked_read(way):
    tcp, name = WAYS[way]
    with served(Mangled(meter(), lambda q, r: [] if q == b"READ?" else [(0.0, r)]), tcp=tcp) as port:
        dmm = Instrument(PROFILE, open_port(name(port.address), QUICK), line=QUICK)
        dmm.open()
        dmm.configure("ohms 4w", 100.0, {"nplc": "100"})
        threading.Timer(0.05, dmm.abort).start()
        before = time.monotonic()
        with pytest.raises(InstrumentTrouble) as caught:
            dmm.read()
        assert caught.value.kind == "aborted"
        assert time.monotonic() - before < 5
        # closed by its owner, after the reader has come back
        dmm.close()


def test_a_port_that_takes_no_more_bytes_says_that_the_effect_is_unknown():
    main, slave = os.openpty()
    try:
        import tty

        tty.setraw(slave)
        transport = open_port(os.ttyname(slave), QUICK)
        with pytest.raises(InstrumentTrouble) as caught:
            transport.write(b"x" * 200_000)
        assert caught.value.kind == "silent"
        assert caught.value.effect_unknown
        transport.close()
    finally:
        os.close(main)
        os.close(slave)


def test_nobody_listens():
    with socket.create_server(("127.0.0.1", 0)) as server:
        free = server.getsockname()[1]
    with pytest.raises(InstrumentTrouble) as caught:
        open_port(f"socket://127.0.0.1:{free}", QUICK)
    assert caught.value.kind == "lost"
    assert "Nothing answers" in caught.value.what


@pytest.mark.parametrize("address", ["socket://", "socket://host", "socket://host:no", "socket://host:99999999"])
def test_addresses_without_host_and_port(address):
    with pytest.raises(InstrumentTrouble) as caught:
        open_port(address, QUICK)
    assert "socket://host:5025" in caught.value.advice


def test_no_permission_names_the_group(monkeypatch, tmp_path):
    path = tmp_path / "ttyUSB9"
    path.touch(mode=0o660)
    group = grp.getgrgid(path.stat().st_gid)
    monkeypatch.setattr(grp, "getgrgid", lambda gid: grp.struct_group(("dialout", "x", gid, [])))
    trouble = trouble_from(PermissionError(13, "Permission denied"), str(path), "opening")
    assert trouble.kind == "denied"
    assert "usermod -aG dialout" in trouble.advice
    assert isinstance(trouble.__cause__, PermissionError)
    path.chmod(0o600)
    assert "udev rule" in denied_advice(str(path))[1]
    assert group is not None


def test_what_pyserial_says_of_permission_is_understood(monkeypatch):
    import serial

    error = serial.SerialException(13, "could not open port /dev/x: [Errno 13] Permission denied: '/dev/x'")
    assert trouble_from(error, "/dev/x", "opening").kind == "denied"


def test_a_number_of_ports_can_be_opened_and_closed_without_leaving_anything_open():
    def open_files() -> int:
        folder = Path("/proc/self/fd")
        return len(list(folder.iterdir())) if folder.is_dir() else 0

    with served(meter()) as port:
        open_port(port.address, QUICK).close()
        before = open_files()
        for _ in range(20):
            open_port(port.address, QUICK).close()
        # the serving thread may have a selector open or not
        assert open_files() <= before + 2


def test_line_ends_of_two_bytes_over_a_real_port():
    class Crlf(Mangled):
        pass

    line = msgspec.structs.replace(QUICK, read_end=WireText(b"\r\n"))
    with served(Crlf(meter(), lambda q, r: [(0.0, r[:-1]), (0.005, b"\r"), (0.005, b"\n")])) as port:
        dmm = Instrument(PROFILE, open_port(port.address, line), line=line)
        dmm.open()
        dmm.configure("ohms 4w", 100.0, {"nplc": "0.02"})
        assert dmm.read().value == pytest.approx(47.0, abs=0.05)
        dmm.close()


def test_the_wrong_line_end_says_so():
    line = msgspec.structs.replace(QUICK, read_end=WireText(b"\r\n"))
    with served(meter()) as port:
        dmm = Instrument(PROFILE, open_port(port.address, line), line=line)
        with pytest.raises(InstrumentTrouble) as caught:
            dmm.open()
        assert "line end" in caught.value.advice
        dmm.close()


def test_default_line_settings_are_those_of_the_profile_language():
    assert (Line().baud, Line().bits, Line().parity, Line().stop) == (9600, 8, "none", "1")


@pytest.mark.filterwarnings("ignore::DeprecationWarning:serial.rfc2217")
def test_a_serial_port_behind_an_rfc_2217_server():
    """The server side is pyserial's own, over the pseudo-terminal of the twin."""
    import serial
    from serial.rfc2217 import PortManager

    class Connection:
        def __init__(self, connected):
            self.connected = connected

        def write(self, data):
            self.connected.sendall(data)

    class WithModemLines(serial.Serial):
        """A pseudo-terminal has no modem lines, and the server asks for them."""

        cts = dsr = ri = cd = True

        def _update_dtr_state(self):
            pass

        def _update_rts_state(self):
            pass

    with served(meter()) as port, socket.create_server(("127.0.0.1", 0)) as server:
        inside = WithModemLines(port.address, timeout=0.01)
        done = threading.Event()

        def serve():
            connected, _ = server.accept()
            manager = PortManager(inside, Connection(connected))
            connected.settimeout(0.005)
            while not done.is_set():
                with contextlib.suppress(TimeoutError):
                    data = connected.recv(1000)
                    if not data:
                        break
                    inside.write(b"".join(manager.filter(data)))
                data = inside.read(inside.in_waiting or 1)
                if data:
                    connected.sendall(b"".join(manager.escape(data)))
            connected.close()

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        line = msgspec.structs.replace(QUICK, timeout=Duration(2.0))
        transport = open_port(f"rfc2217://127.0.0.1:{server.getsockname()[1]}", line)
        try:
            dmm = Instrument(PROFILE, transport, line=line)
            assert dmm.open().model == "bench meter"
            dmm.configure("ohms 4w", 100.0, {"nplc": "0.02"})
            assert dmm.read().value == pytest.approx(47.0, abs=0.05)
            done.set()
            thread.join(timeout=5)
            with pytest.raises(InstrumentTrouble) as caught:
                dmm.read()
            assert caught.value.kind == "lost"
        finally:
            done.set()
            transport.close()
            inside.close()
