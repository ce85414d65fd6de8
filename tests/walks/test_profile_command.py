"""`proveout profile`: a meter that nobody has heard of, described in YAML alone, and mistakes in that description."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from bench.cli import main
from bench.files import shipped
from bench.instruments.hints import suggested, suggested_identity, why_no_match
from bench.instruments.wire import Pattern
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


@pytest.mark.parametrize(
    ("change", "text", "advice"),
    [
        (
            ("write-end: '\\r'", "write-end: '\\n'"),
            "does not answer commands that end with '\\n'",
            "write-end to '\\r'",
        ),
        (
            ("read-end: '\\r\\n'", "read-end: '\\n'"),
            "it ends with '\\r\\n', and the profile says '\\n'",
            "line.read-end to '\\r\\n'",
        ),
        (
            ("read-end: '\\r\\n'", "read-end: ';'"),
            "it ends with '\\r\\n', and the profile says ';'",
            "Set line.read-end to '\\r\\n'",
        ),
        (("{ask: WHO,", "{ask: NAME,"), "'NAME' is not answered", "Check identify.ask"),
        (
            ("reply: '(?P<value>[+-]\\d{4}\\.\\d\\d) ", "reply: '(?P<value>[+-]\\d{3}\\.\\d\\d) "),
            "the reply '+0012.34 ohm\\r\\n' does not match the pattern of dialogue.reply",
            "This would match: '(?P<value>[+-]?\\d+\\.\\d+) (?P<unit>[A-Za-z]+)'",
        ),
        (("{ask: FN, reply: OHM}", "{ask: FN, reply: RES}"), "'OHM\\r\\n' does not match the pattern of 'confirm'", ""),
        (("{range: 100 ohm", "{range: 200 ohm"), "it refuses 'RG 200'", "Correct 'lock' of ohms for 200 Ω"),
        (
            ("errors: {ask: ERR, reply: '(?P<number>\\d) (", "errors: {ask: ERR, reply: '(?P<number>\\d),("),
            "errors.reply",
            "",
        ),
        (("resolution: 1 ohm, acc", "highest: 12 kohm, resolution: 1 ohm, acc"), "", ""),
        (
            ("gives: {value: -53.4", "gives: {value: 53.4"),
            "example 1, read volts: value -53.4, expected 53.4",
            "Correct",
        ),
        (
            ("dialogue: {kind: query, read: RD", "dialogue: {kind: query, read: RX"),
            "'RX' is not answered",
            "'read' of ohms",
        ),
    ],
)
def test_each_mistake_is_told_with_what_to_change(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], change: tuple[str, str], text: str, advice: str
) -> None:
    with made_up(tmp_path, change) as (profile, address, _):
        code, out = tried(capsys, profile, "--port", address)
    wrong = told(out, "WRONG")
    if not text:
        # no mistake at all
        assert code == 0, out
        return
    assert code == 1, out
    assert any(text in one and advice in one for one in wrong), wrong


def test_a_meter_that_is_slower_than_its_profile_says(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with made_up(tmp_path, delay=0.3) as (profile, address, _):
        code, out = tried(capsys, profile, "--port", address)
    assert code == 0
    assert "s, and 'takes' of ohms says 0.2 s" in out
    with made_up(tmp_path, delay=0.65) as (profile, address, _):
        code, out = tried(capsys, profile, "--port", address)
    assert code == 1
    assert any("'RD' is answered after 0." in one and "the profile waits 0.5 s" in one for one in told(out, "WRONG"))


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


@pytest.mark.parametrize(
    ("name", "change", "text", "advice"),
    [
        ("streaming-text-meter", ("RES|VDC", "OHM|VDC"), "does not match the pattern of dialogue.reply", ""),
        ("streaming-text-meter", ("marks: [RES]", "marks: [OHM]"), "the mark 'RES'", "Add it to 'marks'"),
        ("streaming-text-meter", ("{Ohm: ohm, ", "{"), "the unit 'Ohm'", "units: {Ohm: ohm}"),
        ("seven-segment-frames", ("decoder: seven_segment", "decoder: other"), "cannot be taken apart", "the decoder"),
        ("modbus-panel-meter", ("4660", "4661"), "the register holds 4660", "'(?P<model>4660)'"),
        (
            "modbus-panel-meter",
            ("address: 256", "address: 300"),
            "the register that identifies it",
            "identify.register",
        ),
        ("polled-text-meter", ("  ask: D", "  ask: E"), "'E' is not answered", "Check dialogue.ask"),
        (
            "scpi-supply",
            ("is-off: {ask: 'OUTP?', reply: '0'}", "is-off: {ask: 'OUTP?', reply: 'OFF'}"),
            "fits neither",
            "",
        ),
        ("scpi-supply", ("set: '*ESE {number}'", "set: '*SRE {number}'"), "the number 2 to keep", "leave 'probe' out"),
    ],
)
def test_each_kind_of_dialogue_is_told_of_its_mistakes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, change: tuple[str, str], text: str, advice: str
) -> None:
    folder = shipped("drivers")
    text_of = (folder / f"{name}.yaml").read_text("utf-8")
    assert change[0] in text_of
    profile = tmp_path / f"{name}.yaml"
    profile.write_text(text_of.replace(*change).replace("timeout: 2 s", "timeout: 0.7 s"), "utf-8")
    decoder = (folder / "seven_segment_frame.py").read_text("utf-8")
    (tmp_path / "other_frame.py").write_text(decoder.replace("START = 0xA5", "START = 0xA6"), "utf-8")
    twin = TWINS[name](Hall(), time.monotonic())
    twin.PERIOD, twin.byte_time = 0.1, 0.001
    with served(twin) as port:
        code, out = tried(capsys, profile, "--port", port.address)
    assert code == 1, out
    lines = [one for one in told(out, "WRONG") if not one.startswith("example")] + out.splitlines()
    assert any(text in one and advice in one for one in lines), out


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
        twin.function = "volts dc"
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
