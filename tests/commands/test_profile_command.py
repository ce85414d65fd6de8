"""`proveout profile`: a meter that nobody has heard of, described in YAML alone, and mistakes in that description."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from bench.cli import main
from bench.files import shipped
from bench.instruments import trial as kit
from bench.instruments.hints import suggested, suggested_identity, why_no_match
from bench.instruments.lenient_session import LenientSession, Told
from bench.instruments.ports.transport import open_port
from bench.instruments.profile.library import load_decoder, load_profile
from bench.instruments.wire_text import Pattern
from tests.drivers.twins import TWINS, Hall
from tests.instruments.server import served
from tests.walks.terminal import Terminal
from tests.walks.tool import proveout

MADE_UP = """\
profile: hall-meter
title: the made-up meter of the receiver hall
line: {baud: 4800, write-end: '\\r', read-end: '\\r\\n', timeout: 300 ms, settle: 0 s}
dialogue: {kind: query, read: RD, reply: '(?P<value>[+-]\\d{4}\\.\\d\\d) (?P<unit>[a-z]+)'}
identify: {ask: WHO, reply: '(?P<maker>GH) (?P<model>meter) (?P<serial>\\d{4})'}
errors: {ask: ERR, reply: '(?P<number>\\d) (?P<text>[a-z ]+)'}
specials: {over: ['+9999.99']}
accuracy-source: invented
functions:
  - name: ohms
    reads: resistance
    units: {ohm: ohm, kohm: kohm}
    configure: [FN OHM]
    automatic: [RG 0]
    lock: ['RG {range}']
    confirm:
      - {ask: FN, reply: OHM}
      - {ask: RG, reply: '(?P<value>\\d+)', equals: range}
    takes: 200 ms
    ranges:
      - {range: 100 ohm, resolution: 10 mohm, accuracy: [{of-reading: 0.2 %, counts: 3}]}
      - {range: 10 kohm, resolution: 1 ohm, accuracy: [{of-reading: 0.2 %, counts: 3}]}
  - name: volts
    reads: voltage
    units: {volt: V}
    configure: [FN VDC]
    takes: 200 ms
    confirm: [{ask: FN, reply: VDC}]
examples:
  - does: read
    function: volts
    exchange:
      - {sent: 'RD\\r', received: '-0053.40 volt\\r\\n'}
      - {sent: 'FN\\r', received: 'VDC\\r\\n'}
    gives: {value: -53.4, unit: V}
"""


class MadeUp:
    """The made-up meter."""

    def __init__(self, delay: float = 0.02):
        self.function = "OHM"
        self.range = "0"
        self.error = "0 none"
        self.delay = delay
        self.asked: list[str] = []
        self._in = b""
        self._out: list[tuple[float, bytes]] = []

    def receive(self, data, now):
        self._in += data
        while b"\r" in self._in:
            line, _, self._in = self._in.partition(b"\r")
            answer = self.carry_out(line.decode("ascii"))
            if answer:
                self._out.append((now + (self.delay if line == b"RD" else 0.0), answer.encode("ascii") + b"\r\n"))

    def carry_out(self, line: str) -> str:
        self.asked.append(line)
        match line.split(" "):
            case ["WHO"]:
                return "GH meter 0417"
            case ["ERR"]:
                error, self.error = self.error, "0 none"
                return error
            case ["FN", "OHM" | "VDC" as name]:
                self.function = name
            case ["RG", "0" | "100" | "10000" as top]:
                self.range = top
            case ["FN"]:
                return self.function
            case ["RG"]:
                return {"0": "100"}.get(self.range, self.range)
            case ["RD"]:
                return "+0012.34 ohm" if self.function == "OHM" else "-0053.40 volt"
            case _:
                self.error = "3 no such command"
        return ""

    def send(self, now):
        due = [data for at, data in self._out if at <= now]
        self._out = [(at, data) for at, data in self._out if at > now]
        return b"".join(due)

    @property
    def wake_at(self):
        return min((at for at, _ in self._out), default=None)


@contextmanager
def made_up(folder: Path, *changes: tuple[str, str], delay: float = 0.02) -> Iterator[tuple[Path, str, MadeUp]]:
    """The profile's file with changes, the meter's port, and the meter."""
    text = MADE_UP
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = folder / "hall-meter.yaml"
    path.write_text(text, "utf-8")
    meter = MadeUp(delay)
    with served(meter) as port:
        yield path, port.address, meter


def tried(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str]:
    """Run the command in this process, which spares the tests its start."""
    code = main(["profile", *map(str, words)])
    return code, capsys.readouterr().out


def told(output: str, kind: str) -> list[str]:
    """What was told of a kind, each with the advice below it."""
    lines = output.splitlines()
    found = []
    for number, line in enumerate(lines):
        if line.startswith(f"  {kind} "):
            advice = lines[number + 1].strip() if lines[number + 1 : number + 2] else ""
            found.append(f"{line[10:]} / {advice}" if lines[number + 1].startswith(" " * 10) else line[10:])
    return found


def test_a_made_up_meter_needs_no_python(tmp_path: Path) -> None:
    assert MADE_UP.count("\n") < 40
    with made_up(tmp_path) as (profile, address, meter):
        done = proveout("profile", profile, "--port", address, "--trace-bytes", tmp_path / "bytes", cwd=tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr
    assert not told(done.stdout, "WRONG")
    for shown in (
        "'WHO' is answered by 'GH meter 0417\\r\\n'",
        "it is maker GH, model meter, serial 0417",
        "'+0012.34 ohm\\r\\n' is 12.34 Ω on the 100 Ω range",
        "'-0053.40 volt\\r\\n' is -53.40 V",
        "(median of 3)",
        "it takes each range: 100 Ω, 10 kΩ",
        "the error queue is empty",
        "it reads volts: -53.40 V",
        "remark  no example of a reading of ohms",
    ):
        assert shown in done.stdout
    # bytes were written down as they went over the wire
    lines = (tmp_path / "bytes").read_text("utf-8").splitlines()
    sent = "".join(line.split(" ", 3)[3] for line in lines if line.split(" ")[2] == "sent")
    assert sent.split("\\r") == [*meter.asked, ""]


def test_three_mistakes_are_told_in_one_run(tmp_path: Path) -> None:
    mistakes = (("(?P<model>meter)", "(?P<model>Meter)"), ("FN VDC", "FN VOLT"), ("{ohm: ohm, ", "{"))
    with made_up(tmp_path, *mistakes) as (profile, address, _):
        done = proveout("profile", profile, "--port", address, cwd=tmp_path)
    assert done.returncode == 1, done.stdout + done.stderr
    identity, unit, command, *follows = told(done.stdout, "WRONG")
    assert "'GH meter 0417\\r\\n' does not match the pattern of identify.reply" in identity
    assert "it would match with other capitals" in identity
    assert "no function of the profile has the unit 'ohm' / Say in 'units' of ohms what it is" in unit
    assert "it refuses 'FN VOLT': 3 no such command / Correct 'configure' of volts." in command
    # what follows from the third mistake: the meter is still on ohms
    assert all("volts" in one or "'FN'" in one for one in follows)


MISTAKES = [
    (
        "hall-meter",
        "write-end: '\\r'",
        "write-end: '\\n'",
        "commands that end with '\\n'",
        "Set line.write-end to '\\r'",
    ),
    (
        "hall-meter",
        "read-end: '\\r\\n'",
        "read-end: '\\n'",
        "and the profile says '\\n'",
        "Set line.read-end to '\\r\\n'",
    ),
    ("hall-meter", "read-end: '\\r\\n'", "read-end: ';'", "it ends with '\\r\\n'", "Set line.read-end to '\\r\\n'"),
    ("hall-meter", "{ask: WHO,", "{ask: NAME,", "'NAME' is not answered", "Check identify.ask"),
    (
        "hall-meter",
        "reply: '(?P<value>[+-]\\d{4}",
        "reply: '(?P<value>[+-]\\d{3}",
        "the reply '+0012.34 ohm\\r\\n' does not match the pattern of dialogue.reply",
        "This would match: '(?P<value>[+-]?\\d+\\.\\d+) (?P<unit>[A-Za-z]+)'",
    ),
    (
        "hall-meter",
        "{ask: FN, reply: OHM}",
        "{ask: FN, reply: RES}",
        "the pattern of 'confirm' of ohms",
        "Correct 'confirm'",
    ),
    ("hall-meter", "{range: 100 ohm", "{range: 200 ohm", "it refuses 'RG 200'", "Correct 'lock' of ohms for 200 Ω"),
    (
        "hall-meter",
        "{ask: ERR, reply: '(?P<number>\\d) (",
        "{ask: ERR, reply: '(?P<number>\\d),(",
        "of errors.reply",
        "",
    ),
    ("hall-meter", "value: -53.4", "value: 53.4", "example 1, read volts: value -53.4, expected 53.4", "Correct"),
    ("hall-meter", "over: ['+9999.99']", "over: ['+0012.35']", "", ""),
    ("streaming-text-meter", "RES|VDC", "OHM|VDC", "does not match the pattern of dialogue.reply", "This would match"),
    ("streaming-text-meter", "marks: [RES]", "marks: [OHM]", "the mark 'RES'", "Add it to 'marks'"),
    ("streaming-text-meter", "{Ohm: ohm, ", "{", "the unit 'Ohm'", "units: {Ohm: ohm}"),
    ("seven-segment-frames", "decoder: seven_segment", "decoder: other", "cannot be taken apart", "the decoder"),
    ("modbus-panel-meter", "4660", "4661", "the register holds 4660", "'(?P<model>4660)'"),
    (
        "modbus-panel-meter",
        "address: 256",
        "address: 300",
        "the register that identifies it",
        "Check identify.register",
    ),
    ("polled-text-meter", "  ask: D", "  ask: E", "'E' is not answered", "Check dialogue.ask"),
    (
        "scpi-supply",
        "is-off: {ask: 'OUTP?', reply: '0'}",
        "is-off: {ask: 'OUTP?', reply: '2'}",
        "fits neither",
        "these two",
    ),
    ("scpi-supply", "set: '*ESE {number}'", "set: '*SRE {number}'", "the number 2 to keep", "leave 'probe' out"),
]
"""Profile, what stands in it, what a mistake makes of that, what is told, and the advice."""


def examined(folder: Path, name: str, old: str, new: str, delay: float = 0.02) -> list[Told]:
    """What is told of a profile that has a mistake, with its meter at a real port."""
    drivers = shipped("drivers")
    text = MADE_UP if name == "hall-meter" else (drivers / f"{name}.yaml").read_text("utf-8")
    assert old in text
    folder.mkdir()
    path = folder / f"{name}.yaml"
    path.write_text(text.replace(old, new).replace("timeout: 2 s", "timeout: 0.7 s"), "utf-8")
    decoder = (drivers / "seven_segment_frame.py").read_text("utf-8")
    (folder / "other_frame.py").write_text(decoder.replace("START = 0xA5", "START = 0xA6"), "utf-8")
    profile = load_profile(path)
    decode = load_decoder(folder / "other_frame.py") if name == "seven-segment-frames" else None
    meter = MadeUp(delay) if name == "hall-meter" else TWINS[name](Hall(), time.monotonic())
    if hasattr(meter, "PERIOD"):
        meter.PERIOD, meter.byte_time = 0.1, 0.001
    told_of: list[Told] = []
    wrong = kit.examples(profile, decode, told_of.append)
    with served(meter) as port:
        transport = open_port(port.address, profile.line)
        try:
            wrong += kit.examine(LenientSession(profile, transport, told_of.append, decoder=decode))
        finally:
            transport.close()
    assert wrong == len([one for one in told_of if one.kind == "wrong"])
    return told_of


@pytest.fixture(scope="module")
def all_examined(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Told]]:
    """All mistakes, and meters that are slow, several at a time: most of it is waiting."""
    folder = tmp_path_factory.mktemp("mistakes")
    tries: dict[str, tuple[object, ...]] = {str(number): one[:3] for number, one in enumerate(MISTAKES)}
    tries |= {"slow": ("hall-meter", "invented", "invented", 0.3), "late": ("hall-meter", "invented", "invented", 0.65)}
    with ThreadPoolExecutor(max_workers=5) as pool:
        running = {key: pool.submit(examined, folder / key, *words) for key, words in tries.items()}  # type: ignore[arg-type]
        return {key: one.result(timeout=120) for key, one in running.items()}


@pytest.mark.quick_cases(2)
@pytest.mark.parametrize("number", range(len(MISTAKES)))
def test_each_mistake_is_told_with_what_to_change(all_examined: dict[str, list[Told]], number: int) -> None:
    _, _, _, text, advice = MISTAKES[number]
    wrong = [one for one in all_examined[str(number)] if one.kind == "wrong"]
    if not text:
        # another text in its place is no mistake
        assert wrong == []
        return
    assert any(text in one.text and advice in one.advice for one in wrong), wrong


def test_a_meter_that_is_slower_than_its_profile_says(all_examined: dict[str, list[Told]]) -> None:
    slow = [one for one in all_examined["slow"] if one.kind in ("wrong", "remark")]
    assert not [one for one in slow if one.kind == "wrong"]
    assert any("'takes' of ohms says 0.2 s" in one.text and "s or more" in one.advice for one in slow)
    late = [one for one in all_examined["late"] if one.kind == "wrong"]
    assert any("'RD' is answered after" in one.text and "the profile waits 0.5 s" in one.text for one in late)


def test_a_pattern_that_takes_an_answer_with_a_byte_lost_for_another_value_is_pointed_at(tmp_path: Path) -> None:
    lax = """
profile: lax
title: a meter
dialogue: {kind: query, read: R, reply: '(?P<value>[+-]?\\d+\\.\\d+)'}
functions: [{name: volts dc, reads: voltage, takes: 1 s}]
examples:
  - {does: read, function: volts dc, exchange: [{sent: "R\\n", received: "+53.4\\n"}], gives: {value: 53.4, unit: V}}
"""
    path = tmp_path / "lax.yaml"
    path.write_text(lax, "utf-8")
    found: list[Told] = []
    assert kit.examples(load_profile(path), None, found.append) == 0
    (remark,) = [one for one in found if "byte lost" in one.text]
    assert remark.kind == "remark" and "as many figures as there are" in remark.advice
    strict = tmp_path / "strict.yaml"
    strict.write_text(lax.replace("profile: lax", "profile: strict").replace("\\d+\\.\\d+", "\\d{2}\\.\\d"), "utf-8")
    found.clear()
    assert kit.examples(load_profile(strict), None, found.append) == 0
    assert [one.text for one in found if "byte lost" in one.text] == []


def test_without_a_port_the_examples_are_replayed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out = tried(capsys, "scpi-supply")
    assert code == 0, out
    assert len(told(out, "right")) == 7
    path = tmp_path / "hall-meter.yaml"
    path.write_text(MADE_UP.replace("RD\\r", "RD\\n"), "utf-8")
    code, out = tried(capsys, path)
    assert code == 1
    (wrong,) = told(out, "WRONG")
    assert wrong.startswith("example 1, read volts: sent 'RD") and " / Correct the example" in wrong
    path.write_text(MADE_UP.replace("reads: voltage", "reads: voltages"), "utf-8")
    assert main(["profile", str(path)]) == 2
    told_of = capsys.readouterr().err
    assert "hall-meter.yaml:" in told_of and "voltages" in told_of
    assert main(["profile", "hall-metre"]) == 2


def test_a_supply_is_left_as_it_is_without_the_word(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its output is on and stays on: nothing that sets, resets or switches is sent."""
    supply = TWINS["scpi-supply"](Hall(), time.monotonic())
    supply.receive(b"VOLT 12;:OUTP ON\n", time.monotonic())
    with served(supply) as port:
        code, out = tried(capsys, "scpi-supply", "--port", port.address)
        assert code == 0, out
        assert "output reads as ON" in out
        assert any("--energise tries that" in one for one in told(out, "left"))
        assert supply.on
        assert main(["profile", "scpi-supply", "--port", port.address, "--energise"]) == 2
        assert "wants somebody at the terminal" in capsys.readouterr().err
        terminal = Terminal("profile", "scpi-supply", "--port", port.address, "--energise", cwd=tmp_path)
        terminal.expect("Type ENERGISE to go on")
        terminal.type("yes")
        assert terminal.end() == 2
        assert supply.on


@pytest.mark.parametrize(
    ("name", "settings", "shown"),
    [
        ("scpi-supply", ["voltage=5"], "it switches output on at voltage 5, current 0.001, trip OFF, and off"),
        ("scpi-relay-matrix", ["channels=101,203"], "it closes 101, 203 and opens them again"),
        ("scpi-insulation-tester", [], "it reads insulation at voltage 50: "),
    ],
)
@pytest.mark.quick_cases(1)
def test_with_the_word_outputs_are_tried_and_made_safe(
    tmp_path: Path, name: str, settings: list[str], shown: str
) -> None:
    twin = TWINS[name](Hall(), time.monotonic())
    with served(twin) as port:
        words = [word for text in settings for word in ("--set", text)]
        terminal = Terminal("profile", name, "--port", port.address, "--energise", *words, cwd=tmp_path)
        terminal.expect("Type ENERGISE to go on")
        terminal.type("ENERGISE")
        code = terminal.end()
    assert code == 0, terminal.seen
    assert shown in terminal.seen
    assert "it makes it safe. Confirmed" in terminal.seen


def until_sent(twin: Any, word: str) -> None:
    """Wait until a twin has sent a line with a word, and with it all that it had begun before."""
    plainly, there, sent = twin.send, threading.Event(), threading.Event()

    def send(now: float) -> bytes:
        if there.is_set():
            sent.set()  # what was given out the time before is on the port by now
        given: bytes = plainly(now)
        seen.extend(given)
        if word.encode() in seen:
            there.set()
        return given

    seen = bytearray()
    twin.send = send
    assert sent.wait(30.0)
    twin.send = plainly


def test_a_person_turns_the_dial(tmp_path: Path) -> None:
    twin = TWINS["streaming-text-meter"](Hall(), time.monotonic())
    twin.PERIOD = 0.1
    twin.byte_time = 0.001
    with served(twin) as port:
        terminal = Terminal("profile", "streaming-text-meter", "--port", port.address, cwd=tmp_path)
        terminal.expect("Turn the dial to ohms. Press Enter")
        terminal.type("")
        terminal.expect("ohms 2w reads")
        terminal.expect("Turn the dial to direct volts. Press Enter")
        twin.turn("voltage")
        until_sent(twin, "VDC")
        terminal.type("")
        terminal.expect("volts dc reads")
        terminal.expect("Turn the dial to alternating volts.")
        terminal.type("s")
        terminal.expect("volts ac: the meter was not set to it")
        terminal.expect("Turn the dial to direct amperes")
        terminal.type("s")
        # the dial is where it was left: the program reads what it can
        assert terminal.end() == 0, terminal.seen
    assert "it reads volts dc: -53.4" in terminal.seen


# ---- hints -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "pattern", "why"),
    [
        (" 12.5", r"\d+\.\d", "without the blanks"),
        ("12.5\t", r"\d+\.\d", "characters of a line end"),
        ("ohm 5", r"OHM \d", "with other capitals"),
        ("R 12.5 ohm", r"\d+\.\d", "it matches but for 'R ' and ' ohm'"),
        ("12.5 kohm", r"\d+\.\d Mohm", "as far as '12.5 ', and 'kohm' is not 'Mohm'"),
        ("12.5", r"\d+\.\d ohm", "the reply ends where the pattern goes on with ' ohm'"),
        ("12.5", r"\d+\.\d", ""),
        ("?", r"\d", ""),
    ],
)
def test_why_a_reply_does_not_match(text: str, pattern: str, why: str) -> None:
    assert why in why_no_match(text, Pattern(pattern))
    assert bool(why) == bool(why_no_match(text, Pattern(pattern)))


@pytest.mark.parametrize("text", ["+1.5E+03", "12", "VDC -3.25 V", "  7.1kohm", "(9)", "a.b 5*", "1e5 Ohm", "-.5 mV"])
def test_a_suggested_pattern_matches_what_it_was_made_from(text: str) -> None:
    found = Pattern(suggested(text)).match(text)
    assert found is not None and found["value"] in text
    assert Pattern(suggested_identity(text)).match(text) is not None


def test_an_identity_of_four_parts_is_taken_apart() -> None:
    found = Pattern(suggested_identity("GH,meter,1,2.0")).match("GH,meter,1,2.0")
    assert found == {"maker": "GH", "model": "meter", "serial": "1", "version": "2.0"}


KNOWN = r"""
profile: known
title: a meter
line: {timeout: 0.5 s, settle: 0 s, quiet: 20 ms}
dialogue: {kind: query, read: 'R {pace}', reply: '(?P<value>\d{3}\.\d) (?P<unit>k?Ohm)'}
accuracy-source: test
functions:
  - name: ohms 2w
    reads: resistance
    units: {Ohm: ohm, kOhm: kohm}
    settings: [{name: pace, default: fast, choices: [{value: slow, takes: 3 s}, {value: fast, takes: 0.1 s}]}]
    begin: [GO]
    ready: [{ask: S, reply: done}]
    takes: 0.05 s
    ranges: [{range: 1 kohm, resolution: 0.1 ohm, accuracy: [{of-reading: 1 %, counts: 2}]}]
"""


class Paced:
    """Answers a reading after some seconds, and says when it is ready; a reading before that is none."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self.asked: list[bytes] = []
        self._busy_until = 0.0
        self._out: list[tuple[float, bytes]] = []

    def receive(self, data: bytes, now: float) -> None:
        for line in data.split(b"\n")[:-1]:
            self.asked.append(line)
            if line == b"GO":
                self._busy_until = now + 0.2
            elif line == b"S":
                self._out.append((now, b"done\n" if now >= self._busy_until else b"busy\n"))
            elif line.startswith(b"R") and now >= self._busy_until:
                self._out.append((now + self.seconds, b"099.8 Ohm\n"))

    def send(self, now: float) -> bytes:
        due = [one for one in self._out if one[0] <= now]
        self._out = [one for one in self._out if one[0] > now]
        return b"".join(data for _, data in due)

    @property
    def wake_at(self) -> float | None:
        return min((at for at, _ in self._out), default=None)


def tried_on(text: str, meter: object, tmp_path: Path, **options: object) -> list[Told]:
    """What is told of a profile, with this meter at a real port."""
    path = tmp_path / "known.yaml"
    path.write_text(text, "utf-8")
    profile = load_profile(path)
    found: list[Told] = []
    with served(meter) as port:
        transport = open_port(port.address, profile.line)
        try:
            kit.examine(LenientSession(profile, transport, found.append, **options))  # type: ignore[arg-type]
        finally:
            transport.close()
    return found


@pytest.mark.parametrize(
    ("true", "kind", "says"),
    [
        (None, "remark", "whether that is right is not proven"),
        (100.0, "right", "where 100 Ω is on it"),
        (1000.0, "wrong", "off by 0.1"),
        (-100.0, "wrong", "sign"),
        (3e9, "wrong", "order of words"),
        (130.0, "wrong", "Look what is on it"),
    ],
)
def test_a_function_is_called_right_only_against_something_known(
    tmp_path: Path, true: float | None, kind: str, says: str
) -> None:
    known = {} if true is None else {"ohms 2w": true}
    found = tried_on(KNOWN, Paced(0.0), tmp_path, known=known)
    (told_of,) = [one for one in found if "it reads ohms 2w" in one.text]
    assert told_of.kind == kind and says in f"{told_of.text} {told_of.advice}", told_of


def test_a_slow_choice_has_its_own_time_and_each_reading_is_begun_and_waited_for(tmp_path: Path) -> None:
    """Nothing is said against 'takes' of a function where the choice that was asked for says how long it takes."""
    meter = Paced(0.7)
    found = tried_on(KNOWN, meter, tmp_path, settings={"pace": "slow"})
    assert [one for one in found if one.kind == "wrong" or "'takes'" in one.text] == []
    assert meter.asked.count(b"GO") == meter.asked.count(b"R slow") == 4 and meter.asked.count(b"S") > 4
    found = tried_on(KNOWN, Paced(0.3), tmp_path)
    assert any("'takes' of ohms 2w, pace fast, says 0.1 s" in one.text for one in found)
