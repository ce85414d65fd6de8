"""`proveout ports`: the list sends and opens nothing; asking is done on consent, and sends what identifies only."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from types import SimpleNamespace

import pytest

from bench.cli import main
from bench.files import shipped
from bench.instruments.discovery import questions
from bench.instruments.ports import listing
from bench.instruments.ports.listing import Port, holder, joined
from bench.instruments.profile.library import Library
from bench.simulate.port_ends import PseudoTerminal
from tests.drivers.twins import TWINS, Hall
from tests.instruments.server import Mangled, served
from tests.walks.terminal import Terminal
from tests.walks.tool import environment, proveout

QUICK = ("scpi-bench-meter", "scpi-supply", "scpi-relay-matrix", "streaming-text-meter", "polled-text-meter")


class Noted:
    """A twin, and every byte that came to it."""

    def __init__(self, engine):
        self.engine = engine
        self.came = b""

    def receive(self, data, now):
        self.came += data
        self.engine.receive(data, now)

    def send(self, now):
        return self.engine.send(now)

    @property
    def wake_at(self):
        return self.engine.wake_at


class Chatter:
    """Something that talks by itself, as no profile describes."""

    def __init__(self):
        self._next = time.monotonic()

    def receive(self, data, now):
        """Deaf."""

    def send(self, now):
        if now < self._next:
            return b""
        self._next = now + 0.1
        return b"tick tock\r\n"

    @property
    def wake_at(self):
        return self._next


class Dead:
    """Nobody on the line."""

    wake_at = None

    def receive(self, data, now):
        """Nobody hears."""

    def send(self, now):
        return b""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A job's folder whose profiles wait briefly, so that silence does not take the tests long; one works there."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "drivers").mkdir()
    for name in QUICK:
        text = (shipped("drivers") / f"{name}.yaml").read_text("utf-8")
        text = text.replace("timeout: 2 s", "timeout: 0.6 s").replace("settle: 500 ms", "settle: 50 ms")
        (tmp_path / "drivers" / f"{name}.yaml").write_text(text, "utf-8")
    return tmp_path


@contextmanager
def ports(*engines) -> Iterator[list[str]]:
    with ExitStack() as stack:
        yield [stack.enter_context(served(engine)).address for engine in engines]


@contextmanager
def held(address: str) -> Iterator[int]:
    """Another program that has the port open."""
    descriptor = os.open(address, os.O_RDWR | os.O_NOCTTY)
    other = subprocess.Popen(["sleep", "60"], stdin=descriptor)
    os.close(descriptor)
    try:
        yield other.pid
    finally:
        other.kill()
        other.wait()


def twin(name: str) -> Noted:
    return Noted(TWINS[name](Hall(), time.monotonic()))


def asked(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    """Run the command in this process, which spares the tests its start; exit code, output and errors."""
    code = main(["ports", *map(str, words)])
    said = capsys.readouterr()
    return code, said.out, said.err


def only(*names: str) -> list[str]:
    return [word for name in names for word in ("--profile", name)]


# ---- the list --------------------------------------------------------------------------------


def test_the_list_opens_no_port_and_sends_nothing(tmp_path: Path) -> None:
    """The interpreter reports every file that is opened and every socket that is used: no port is among them."""
    code = """
import json, sys
seen = []
def hook(event, args):
    if event == "open" and str(args[0]).startswith("/dev/") or event.startswith("socket."):
        seen.append([event, str(args[0])])
sys.addaudithook(hook)
from bench.cli import main
assert main(["ports", "--visa", "--port", sys.argv[1], "--port", "socket://127.0.0.1:5025"]) == 0
print(json.dumps(seen))
"""
    meter = twin("scpi-bench-meter")
    with ports(meter) as (address,):
        words = [sys.executable, "-c", code, address]
        done = subprocess.run(words, env=environment(), cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert address in done.stdout and "socket://127.0.0.1:5025" in done.stdout
    touched = [name for event, name in json.loads(done.stdout.splitlines()[-1]) if event == "open"]
    assert not [name for name in touched if name.startswith(("/dev/tty", "/dev/pts", "/dev/bus"))], touched
    assert "socket.connect" not in done.stdout and "socket.sendto" not in done.stdout
    assert meter.came == b""


def test_the_list_without_visa_does_not_load_it(tmp_path: Path) -> None:
    code = "import sys\nfrom bench.cli import main\nmain(['ports'])\nassert 'pyvisa_py' not in sys.modules"
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment(), cwd=tmp_path, capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_what_the_system_knows_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Ports sort by number, and an adapter is named by the name that stays."""
    known = [
        SimpleNamespace(device="/dev/ttyUSB10", description="n/a", manufacturer=None, serial_number=None),
        SimpleNamespace(device="/dev/ttyUSB9", description="an adapter", manufacturer="a works", serial_number="A7"),
    ]
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: known)
    (tmp_path / "usb-an_adapter-A7").symlink_to("/dev/ttyUSB9")
    monkeypatch.setattr(listing, "BY_ID", tmp_path)
    first, second = listing.serial_ports()
    by_id = str(tmp_path / "usb-an_adapter-A7")
    assert first == Port("/dev/ttyUSB9", "an adapter (a works)", "A7", by_id)
    assert first.address == by_id
    assert (second.device, second.description, second.address) == ("/dev/ttyUSB10", "", "/dev/ttyUSB10")
    # a VISA list and a person name the same port in their own ways: it is one port
    visa = Port("ASRL/dev/ttyUSB9::INSTR", visa="ASRL/dev/ttyUSB9::INSTR")
    (one, other) = joined([first, second, visa], [by_id, "serial:/dev/ttyUSB10"])
    assert one.visa == "ASRL/dev/ttyUSB9::INSTR" and one.serial == "A7"
    assert not other.given


def test_who_holds_a_port_is_seen(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    port = PseudoTerminal()
    try:
        # whoever plays the instrument has the far end open, and holds nothing
        assert holder(port.address) == ""
        with held(port.address) as other:
            assert holder(port.address) == f"sleep (process {other})"
            link = tmp_path / "link"
            link.symlink_to(port.address)
            assert holder(str(link)) == f"sleep (process {other})"
        assert holder(port.address) == ""
        monkeypatch.setattr(listing, "_LOCKS", (tmp_path,))
        lock = tmp_path / f"LCK..{Path(port.address).name}"
        lock.write_text(f"{os.getppid():>10}\n", "ascii")
        assert f"process {os.getppid()}" in holder(port.address)
        lock.write_text("999999999\n", "ascii")
        assert holder(port.address) == ""
    finally:
        port.close()


# ---- what would be sent ----------------------------------------------------------------------


def test_nothing_but_identification_is_ever_sent() -> None:
    """All that any shipped profile would send at any kind of port; and listening comes first."""
    library = Library.for_job()
    profiles = [library.profile(name) for name in library.names()]
    for address in ("/dev/ttyUSB0", "socket://h:1", "rfc2217://h:1", "ASRL1::INSTR"):
        tries = questions(profiles, address)
        assert not tries[0].sends
        assert {one.sends for one in tries if one.sends} == {
            b"*IDN?\n",
            b"D",
            bytes.fromhex("01 03 01 00 00 01 85 f6"),
        }
        # what a person reads has no port to be asked at
        asked = {profile.profile for profile in profiles if not profile.by_eye}
        assert {profile.profile for one in tries for profile in one.profiles} == asked < set(library.names())
        # an instrument is asked in text before loose characters go out
        assert next(one.sends for one in tries if one.sends) == b"*IDN?\n"
    assert [one.sends for one in questions(profiles, "TCPIP0::192.0.2.1::INSTR")] == [b"*IDN?\n"]


# ---- consent ---------------------------------------------------------------------------------


def test_nothing_is_sent_without_consent(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    meter = twin("scpi-bench-meter")
    with ports(meter) as (address,):
        words = only("scpi-bench-meter")
        for options, said in (
            (["--ask", address, *words], "wants the word ASK typed"),
            (["--ask", address, "--consent", "yes", *words], "wants the word ASK"),
            (["--port", address, "--ask", "--consent", "ASK", *words], "wants the ports by name"),
            (["--port", address, "--consent", "ASK"], "go with --ask"),
        ):
            code, _, err = asked(capsys, *options)
            assert code == 2
            assert said in err
        terminal = Terminal("ports", "--port", address, "--exclude", "/dev/ttyS0", "--ask", *words, cwd=folder)
        terminal.expect("sends '*IDN?\\n' at 9600 8N1")
        terminal.expect("A stray byte can upset some devices")
        terminal.expect("Type ASK to ask: ")
        terminal.type("ask")
        assert terminal.end() == 2
        assert "nothing was sent" in terminal.seen
        assert meter.came == b""


def test_the_typed_word_lets_all_free_ports_be_asked(folder: Path) -> None:
    meter = twin("scpi-bench-meter")
    words = only("scpi-bench-meter")
    with ports(meter) as (address,):
        terminal = Terminal("ports", "--port", address, "--exclude", "/dev/ttyS0", "--ask", *words, cwd=folder)
        terminal.expect("Type ASK to ask: ")
        assert meter.came == b""
        terminal.type("ASK")
        assert terminal.end() == 0
    assert "profile scpi-bench-meter" in terminal.seen and "serial number 0001" in terminal.seen
    assert meter.came == b"*IDN?\n"


# ---- asking ----------------------------------------------------------------------------------


def test_a_bench_is_found_and_written_down(folder: Path) -> None:
    """Each kind is recognised at its port, gets what identifies and no more; held and excluded ports get nothing."""
    meter, supply, stream, polled, spare, taken = map(
        twin,
        ("scpi-bench-meter", "scpi-supply", "streaming-text-meter", "polled-text-meter", "scpi-supply", "scpi-supply"),
    )
    supply.engine.receive(b"VOLT 12;:OUTP ON\n", time.monotonic())
    engines = (meter, supply, stream, polled, spare, taken, Chatter(), Dead())
    with ports(*engines) as addresses:
        with held(addresses[5]):
            done = proveout(
                *("ports", "--ask", *addresses, "--consent", "ASK", "--exclude", addresses[4], *only(*QUICK)),
                *("--bench", folder / "found.yaml"),
                cwd=folder,
            )
        assert done.returncode == 0, done.stdout + done.stderr
        assert meter.came == supply.came == b"*IDN?\n"
        assert stream.came == spare.came == taken.came == b""
        assert supply.engine.on
        # the polled meter passed over the question in text
        assert polled.came == b"*IDN?\nD"
        assert f"{addresses[4]} is left alone: excluded" in done.stdout
        assert f"{addresses[5]} is left alone: held by sleep" in done.stdout
        told = {line.strip() for line in done.stdout.splitlines()}
        assert "talks by itself, as no profile describes: 'tick tock\\r\\n" in done.stdout
        assert "is silent, or is none of these" in told
        text = (folder / "found.yaml").read_text("utf-8")
        for name, address in zip(("scpi-bench-meter", "scpi-supply"), addresses, strict=False):
            assert f"  - name: {name}\n    profile: {name}\n    port: '{address}'\n    serial: '0001'\n" in text
        assert f"    profile: streaming-text-meter\n    port: '{addresses[2]}'\n" in text
        assert f"    profile: polled-text-meter\n    port: '{addresses[3]}'\n" in text
        assert not any(address in text for address in addresses[4:])
        # all generic profiles that fit are named
        assert "# its answer fits these profiles less: scpi-supply, scpi-relay-matrix" in text
    good = proveout("check", folder / "found.yaml", cwd=folder)
    assert good.returncode == 0, good.stderr


def test_a_bench_file_that_is_there_is_left_as_it_is(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "mine.yaml").write_text("my own\n", "utf-8")
    meter = twin("scpi-bench-meter")
    with ports(meter) as (address,):
        code, _, err = asked(capsys, "--ask", address, "--consent", "ASK", "--bench", folder / "mine.yaml")
    assert code == 2
    assert "is left as it is" in err
    assert (folder / "mine.yaml").read_text("utf-8") == "my own\n"
    assert meter.came == b""


def test_a_profile_that_names_this_very_meter_comes_first(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = (folder / "drivers" / "scpi-relay-matrix.yaml").read_text("utf-8")
    text = text.replace("profile: scpi-relay-matrix", "profile: hall-meter")
    text = text.replace("(?P<model>[^,]{1,60})", "(?P<model>bench meter)")
    (folder / "drivers" / "hall-meter.yaml").write_text(text, "utf-8")
    with ports(twin("scpi-bench-meter")) as (address,):
        words = only("scpi-bench-meter", "scpi-supply", "hall-meter")
        code, out, _ = asked(capsys, "--ask", address, "--consent", "ASK", *words)
    assert code == 0, out
    named = [line.split()[1].rstrip(":") for line in out.splitlines() if line.strip().startswith(("profile", "or"))]
    assert named == ["hall-meter", "scpi-bench-meter", "scpi-supply"]


def test_an_answer_that_tells_nothing_is_said_to_tell_nothing(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain = Mangled(TWINS["scpi-supply"](Hall(), time.monotonic()), lambda q, r: [(0.0, b"A,B,C,D\n")])
    with ports(plain) as (address,):
        words = only("scpi-bench-meter", "scpi-supply")
        _, out, _ = asked(capsys, "--ask", address, "--consent", "ASK", *words, "--bench", folder / "b.yaml")
    assert "does not tell which of these it is" in out
    assert "# CHECK: its answer fits these as well: scpi-supply" in (folder / "b.yaml").read_text("utf-8")


def test_an_answer_that_no_profile_knows_ends_the_asking(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    strange = Noted(Mangled(TWINS["scpi-supply"](Hall(), time.monotonic()), lambda q, r: [(0.0, b"HELLO\n")]))
    with ports(strange) as (address,):
        words = only("scpi-supply", "polled-text-meter")
        code, out, _ = asked(capsys, "--ask", address, "--consent", "ASK", *words)
    assert code == 1
    assert "answers 'HELLO\\n' to '*IDN?\\n' at 9600 8N1, which no profile knows" in out
    assert strange.came == b"*IDN?\n"


def test_a_port_that_cannot_be_had_is_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = asked(capsys, "--ask", "/dev/ttyNONE7", "--consent", "ASK", *only("scpi-supply"))
    assert code == 1
    assert "There is no port /dev/ttyNONE7" in out
