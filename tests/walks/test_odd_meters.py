"""Meters that do not speak SCPI, end to end over real ports at their own pace; a thermometer that moves the limits."""

from __future__ import annotations

import json
import re
import time
from pathlib import Path

import msgspec
import pytest

from bench.assemble import began, load_job
from bench.files import BadFile
from bench.instruments.instrument import Instrument
from bench.instruments.ports.serial_line import SerialPort
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.accuracy import accuracy_rows
from bench.instruments.profile.library import Library
from bench.judge.accuracy import AccuracyTable
from bench.judge.decision import Rule, decide
from bench.judge.limit import Limit
from bench.judge.reading import overload_reading
from bench.plant.faults import PolarityReversed, Short
from bench.plant.faulty import affected_pins
from bench.plant.load import load_plant
from bench.record.read import read_record
from bench.sequence.load import load_sequence
from bench.simulate.twins.handhelds import HandheldTwin, PolledText, SevenSegment, StreamingText
from bench.simulate.twins.panel import PanelTwin
from bench.simulate.twins.thermometer import ThermometerTwin
from bench.walk import events as e
from bench.walk.results import results
from bench.walk.setting import Conditions, Rules, Setting
from bench.walk.state import fold
from tests.instruments.server import Bars, VirtualLine, served
from tests.walks.tool import JOB, SEQUENCE, proveout, run_json

BENCHES = {kind: JOB / "benches" / f"odd-meters-{kind}.yaml" for kind in ("polled", "streaming", "segments")}
TWINS: dict[str, type[HandheldTwin]] = {
    "streaming-text-meter": StreamingText,
    "seven-segment-frames": SevenSegment,
    "polled-text-meter": PolledText,
}
LIBRARY = Library.for_job()
PLANT = load_plant(JOB / "plant.yaml")
QUICK = ("--speed", "100")


def read_on(name: str, twin: HandheldTwin, function: str = "ohms 2w") -> tuple[Instrument, VirtualLine]:
    """An instrument on a twin, opened and set, in time that jumps."""
    line = VirtualLine(twin)
    instrument = Instrument(LIBRARY.profile(name), line, line.clock, decoder=LIBRARY.decoder(name))
    instrument.open()
    instrument.configure(function)
    return instrument, line


# ---- walks -----------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", BENCHES)
@pytest.mark.quick_cases(1)
def test_faults_are_found_and_what_cannot_be_told_is_left_open(kind: str, tmp_path: Path) -> None:
    faults = load_job(SEQUENCE, BENCHES[kind]).faults
    touched = {name for fault in faults for name in affected_pins(fault, PLANT).continuity}
    wanted = {name for name in touched if name.startswith("W101.")}
    wanted |= {"~".join(fault.between) for fault in faults if isinstance(fault, Short)}
    assert len(wanted) == 5

    # said beforehand ...
    before = proveout("check", SEQUENCE, "--bench", BENCHES[kind], cwd=tmp_path)
    assert before.returncode == 1
    promised = re.search(r"Cannot prove at most [^\n]*even a sound item would be undecided[^\n]*", before.stdout)
    assert promised is not None and "may allow a margin of" in promised[0], "that comes before a better meter"
    assert "Can prove at least 100 kΩ" in before.stdout

    # ... and so it comes
    record = tmp_path / "r.jsonl"
    code, summary = run_json("run", SEQUENCE, "--bench", BENCHES[kind], "--record", record, *QUICK, cwd=tmp_path)
    assert code == 1
    found = {one["subject"]: one["verdict"] for one in summary["verdicts"]}
    # and the search at the end, which says what became of W101
    assert {subject for subject, verdict in found.items() if verdict == "fail"} == wanted | {"W101"}
    conductors = {name for name in found if name.startswith("W101.")}
    assert {found[name] for name in conductors - wanted} == {"undecided"}
    assert set(summary["counts"]) == {"pass", "fail", "undecided"}
    assert b'"is":"troubled"' not in record.read_bytes()

    # each that is undecided knows what would decide it, and says that it is connected
    told = proveout("replay", record, cwd=tmp_path).stdout
    reasons = dict(re.findall(r"^undecided (\S+): (.*)$", told, re.MULTILINE))
    # after its first wires the cable as a whole is open still, and that is said
    assert "looked for in the end" in reasons.pop("W101")
    assert set(reasons) == conductors - wanted
    assert all("It is connected, pin to pin" in reason for reason in reasons.values())
    undecided = [one for one in results(fold(read_record(record))).values() if one.verdict == "undecided"]
    undecided = [one for one in undecided if one.subject != "W101"]
    assert {one.subject for one in undecided} == conductors - wanted
    # where the leads' zero has moved, that is proposed beside it
    assert all("Use a meter that is good to ±" in " ".join(one.advice) for one in undecided)
    # what would decide them all is told once, the margin first
    assert told.count("\n          Whoever answers for the work may allow a margin of") == 1


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize(("kind", "meter"), [("polled", "panel meter"), ("segments", "hand-held")])
def test_feeds_are_read_by_a_panel_meter_or_with_the_dial_on_volts(kind: str, meter: str, tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    sequence = JOB / "polarity-bay-2.yaml"
    faults = load_job(sequence, BENCHES[kind]).faults
    (reversed_feed,) = (fault for fault in faults if isinstance(fault, PolarityReversed))
    _, summary = run_json("run", sequence, "--bench", BENCHES[kind], "--record", record, *QUICK, cwd=tmp_path)
    found = {one["subject"]: one["verdict"] for one in summary["verdicts"]}
    wrong = f"{reversed_feed.shelf}.{reversed_feed.feed}"
    assert found.pop(wrong) == "fail"
    # a shelf with one feed the wrong way round gets no other: its breaker stays open, its inlet is not read
    other = f"{reversed_feed.shelf}.B"
    after = {other} if reversed_feed.feed == "A" else set()
    passed_over = {subject for subject, verdict in found.items() if verdict == "skipped"}
    assert passed_over - {""} == after
    assert {verdict for subject, verdict in found.items() if subject not in {"", *after}} == {"pass"}
    inlets = {f"{shelf}.{feed}" for shelf in ("2A", "2B", "2C", "2D") for feed in "AB"}
    events = [json.loads(line)["event"] for line in record.read_text("utf-8").splitlines()]
    went_wrong = [event for event in events if event["is"] in ("troubled", "aborted")]
    assert inlets == (found.keys() & inlets) | {wrong}, went_wrong
    assert {event["instrument"] for event in events if event["is"] == "read"} == {meter}


BOTH = """
sequence: live source, then ohms
plant: {plant}
steps:
  - {{step: prove, against: live-source, read: voltage, text: Touch the battery}}
  - {{step: zero}}
  - {{step: prove, against: live-source, read: voltage, text: Touch the battery again}}
"""


def test_the_simulators_hands_turn_the_dial_with_every_step(tmp_path: Path) -> None:
    sequence = tmp_path / "both.yaml"
    sequence.write_text(BOTH.format(plant=JOB / "plant.yaml"), "utf-8")
    record = tmp_path / "r.jsonl"
    code, _ = run_json("run", sequence, "--bench", BENCHES["streaming"], "--record", record, *QUICK, cwd=tmp_path)
    assert code == 0
    events = [json.loads(line)["event"] for line in record.read_text("utf-8").splitlines()]
    assert [event["function"] for event in events if event["is"] == "read"] == ["voltage", "resistance 2w", "voltage"]
    assert not any(event["is"] == "troubled" for event in events)


WARM = """
sequence: two wires of W101
plant: {plant}
steps:
{first}
  - {{step: zero}}
  - step: each
    over: conductors
    of: W101
    only: [W101.1, W101.2]
    steps:
      - step: measure
        read: resistance
        between: ["{{conductor.near}}", "{{conductor.far}}"]
        limit: {{computed: conductor}}
"""
THERMOMETER = """  - step: measure
    title: Room temperature
    read: temperature
    subject: ambient
    limit: {at-least: -10 degC, at-most: 45 degC, source: what the meter may be used in}
"""
WARM_BENCH = """
bench: bench meter and thermometer
instruments:
  - {name: meter, profile: scpi-bench-meter, port: simulated, settings: {nplc: '1', compensation: 'OFF'}}
  - {name: thermometer, profile: scpi-thermometer, port: simulated}
simulate: {seed: 3, lead-resistance: 0.2 ohm, ambient: 31 degC}
"""


def test_a_thermometer_sets_the_temperature_of_later_limits(tmp_path: Path) -> None:
    bench = tmp_path / "bench.yaml"
    bench.write_text(WARM_BENCH, "utf-8")
    runs = {}
    for name, first in (("read", THERMOMETER), ("taken for granted", "")):
        sequence = tmp_path / f"{name}.yaml"
        sequence.write_text(WARM.format(plant=JOB / "plant.yaml", first=first), "utf-8")
        record = tmp_path / f"{name}.jsonl"
        run_json("run", sequence, "--bench", bench, "--record", record, *QUICK, cwd=tmp_path)
        events = [json.loads(line)["event"] for line in record.read_text("utf-8").splitlines()]
        runs[name] = {event["judged"]["subject"]: event for event in events if event["is"] == "read"}
    room = runs["read"]["ambient"]
    assert room["instrument"] == "thermometer"
    assert room["judged"]["verdict"] == "pass"
    assert room["value"] == pytest.approx(31.0, abs=0.005 * 31.0 + 0.4)
    assert room["value"] != 31.0
    granted = PLANT.ambient_c
    # temperature coefficient of annealed copper, IEC 60228 annex: R is proportional to 234.5 + t
    warmer = (234.5 + room["value"]) / (234.5 + granted)
    for wire in ("W101.1", "W101.2"):
        read, assumed = runs["read"][wire]["judged"], runs["taken for granted"][wire]["judged"]
        assert read["ambient"] == room["value"]
        assert assumed["ambient"] == granted
        # two contacts of up to 50 mΩ in the limit are no warmer
        assert (read["high"] - 0.1) / (assumed["high"] - 0.1) == pytest.approx(warmer, rel=2e-3)
        # and so is the simulated copper, by its own account: two contacts of 5 mΩ
        cold = PLANT.conductors[wire].expected(granted).nominal_ohm
        assert (read["value"] - 0.01) / (cold - 0.01) == pytest.approx(warmer, rel=0.01)


# ---- what the twins are made of ----------------------------------------------------------------


@pytest.mark.parametrize("name", TWINS)
def test_bytes_go_out_no_faster_than_the_line_carries_them(name: str) -> None:
    twin = TWINS[name](Bars(ohms=123.4), dial="resistance")
    twin.receive(b"D" * 20, 0.0)
    sent, now = 0, 0.0
    while now < 2.0:
        fresh = len(twin.send(now))
        sent += fresh
        # start bit, eight bits of data or seven with two stop bits, stop bit
        assert sent <= now * LIBRARY.profile(name).line.baud / 10 + 1e-9
        wake = twin.wake_at
        assert wake is not None
        now = max(wake, now)
    assert sent > 40


@pytest.mark.parametrize("name", TWINS)
@pytest.mark.parametrize("seed", range(20))
@pytest.mark.quick_cases(9)
def test_each_is_as_good_as_its_profile_says(name: str, seed: int) -> None:
    """With its own errors and leads off, no reading is off by more than the accuracy table allows."""
    table = AccuracyTable(name, accuracy_rows(LIBRARY.profile(name)))
    for truth in (0.4, 47.0, 399.0, 820.0, 4712.0, 38e3, 510e3, 2.2e6, 33e6):
        instrument, _ = read_on(name, TWINS[name](Bars(ohms=truth), seed=seed, lead_ohms=0.0, dial="resistance"))
        sample = instrument.read()
        assert sample.value is not None
        row = table.pick("ohms 2w", sample.value, range_top=sample.range).row
        assert abs(sample.value - truth) <= row.error_at(truth).half_width * (1 + 1e-9)


@pytest.mark.parametrize("name", ["streaming-text-meter", "seven-segment-frames"])
def test_over_range_on_a_range_that_a_key_holds_is_no_open_circuit(name: str) -> None:
    """A leak of 2 kΩ must not pass as more than 100 kΩ because somebody pressed a key."""
    twin = TWINS[name](Bars(ohms=2000.0), dial="resistance")
    instrument, _ = read_on(name, twin)
    assert instrument.read().value == pytest.approx(2000.0, rel=0.02)
    twin.held_on = 0
    sample = [instrument.read() for _ in range(2)][-1]
    lowest = instrument.profile.function("ohms 2w").ranges[0]
    assert (sample.over, sample.range, sample.bound) == ("+", lowest.range.value, lowest.top)
    table = AccuracyTable(name, accuracy_rows(instrument.profile))
    row = next(row for row in table.rows if row.function == "ohms 2w" and row.range_top == sample.range)
    limit = Limit.at_least(100e3, "Ω", "wires that should be apart")
    assert decide(overload_reading(row), limit, Rule.guarded()).verdict == "undecided"
    twin.held_on = None
    twin.world = Bars(ohms=float("inf"))
    sample = [instrument.read() for _ in range(2)][-1]
    assert (sample.over, sample.range) == ("+", instrument.profile.function("ohms 2w").ranges[-1].range.value)


@pytest.mark.parametrize("name", TWINS)
def test_it_shows_nonsense_on_a_live_circuit_and_not_what_is_not_there(name: str) -> None:
    instrument, _ = read_on(name, TWINS[name](Bars(ohms=10.0, volts=24.0), dial="resistance"))
    value = instrument.read().value
    assert value is None or value > 1000.0


def test_a_frozen_display_goes_on_showing_what_it_showed() -> None:
    world = Bars(ohms=47.0)
    twin = StreamingText(world, lead_ohms=0.0, error_scale=0.0, dial="resistance")
    assert b"RES +0047.0 Ohm  A--\r\n" in twin.send(1.0)
    twin.marks = "hold"
    twin.world = Bars(ohms=120.0)
    frozen = twin.send(3.0)
    assert b"RES +0047.0 Ohm  AH-\r\n" in frozen and b"0120.0" not in frozen
    twin.marks = ""
    assert b"RES +0120.0 Ohm  A--\r\n" in twin.send(5.0)


def test_a_dial_has_no_position_for_insulation() -> None:
    with pytest.raises(ValueError, match="found 'insulation'"):
        StreamingText(Bars()).turn("insulation")


class Ticking(Bars):
    """A resistance that is the time in seconds, and remembers when it was last asked for."""

    last = 0.0

    def ohms(self, at: float) -> float:
        self.last = at
        return at


@pytest.mark.slow
def test_after_a_long_pause_no_old_reading_is_taken() -> None:
    """Left talking, it fills what the system keeps for a port several times over; what is then read is of now."""
    begun = time.monotonic()
    world = Ticking()
    twin = StreamingText(world, lead_ohms=-begun, error_scale=0.0, dial="resistance", now=begun)
    with served(twin, speed=1000.0, stride=0.5) as port:
        profile = LIBRARY.profile("streaming-text-meter")
        with Instrument(profile, SerialPort(port.address, profile.line)) as instrument:
            instrument.open()
            instrument.configure("ohms 2w")
            for _ in range(3):
                left_at = world.last
                # 4000 lines of 22 bytes
                while world.last - left_at < 1600.0:
                    time.sleep(0.01)
                asked_at = world.last
                value = instrument.read().value
                assert value is not None
                # a step of the last digit is ten seconds at most
                assert value >= asked_at - begun - 10.0


def test_a_panel_meter_says_what_it_cannot_show() -> None:
    panel = PanelTwin(Bars(volts=95.0), error_scale=0.0)
    line = VirtualLine(panel)
    instrument = Instrument(LIBRARY.profile("modbus-panel-meter"), line, line.clock)
    instrument.open()
    instrument.configure("volts dc")
    assert instrument.read().over == "+"
    panel.world = Bars(volts=-95.0)
    assert instrument.read().over == "-"
    panel.world = Bars(volts=float("nan"))
    assert instrument.read().value == 0.0
    instrument.configure("amps dc")
    assert instrument.read().value == 0.25
    panel.shunt = False
    assert instrument.read().nan


def test_a_panel_meters_own_error_stays_within_its_class() -> None:
    for seed in range(50):
        panel = PanelTwin(Bars(volts=48.0), seed=seed)
        line = VirtualLine(panel)
        instrument = Instrument(LIBRARY.profile("modbus-panel-meter"), line, line.clock)
        instrument.open()
        instrument.configure("volts dc")
        assert instrument.read().value == pytest.approx(48.0, abs=0.005 * 80.0 + 0.0005)


def test_an_open_sensor_reads_as_no_number() -> None:
    class Hall:
        def temperature(self, time: float) -> float:
            return -3.0

    twin = ThermometerTwin(Hall(), seed=4)
    line = VirtualLine(twin)
    instrument = Instrument(LIBRARY.profile("scpi-thermometer"), line, line.clock)
    instrument.open()
    instrument.configure("temperature")
    assert instrument.read().value == pytest.approx(-3.0, abs=0.005 * 3.0 + 0.4)
    twin.sensor = False
    sample = instrument.read()
    assert sample.nan and sample.value is None


def test_a_dial_that_nobody_turned_stops_the_reading() -> None:
    instrument, _ = read_on("polled-text-meter", PolledText(Bars(ohms=5.0), dial="voltage"))
    with pytest.raises(InstrumentTrouble) as caught:
        instrument.read()
    assert caught.value.kind == "mismatch"
    assert caught.value.advice == "Turn the dial to ohms."


@pytest.mark.parametrize(("bench", "proposed"), [("odd-meters-streaming", False), ("simulated", True)])
def test_four_wires_are_proposed_where_the_meter_has_them(bench: str, proposed: bool) -> None:
    """A limit that no two-wire reading can prove: what would help must be something that the meter can do."""
    job = load_job(SEQUENCE, JOB / "benches" / f"{bench}.yaml")
    setting = Setting.of(began(job, "Ada"))
    step = next(one for one in setting.plan.steps if one.subject == "W101.1")
    read = e.Read(number=1, instrument="", function="resistance 2w", unit="Ω", resolution=0.001)
    advice: list[str] = []
    for value in range(40, 400, 5):
        read = msgspec.structs.replace(read, instrument=setting.bench.role_of["ohms"], value=value / 100)
        advice += setting.judge(step, read, 1, Conditions(), Rules(), "2026-11-25T12:00:00+00:00")[0].advice
    assert advice, "some reading straddles the limit"
    assert any("four wires, the sense probes" in text for text in advice) == proposed


@pytest.mark.parametrize(
    ("line", "said"),
    [("", ""), ("    between: [J101.1, J205.1]\n", ""), ("    read: resistance\n", "the two places for the probes")],
)
def test_a_thermometer_needs_no_two_places_and_an_ohmmeter_does(line: str, said: str, tmp_path: Path) -> None:
    step = THERMOMETER.replace("    read: temperature\n", line) if said else THERMOMETER + line
    path = tmp_path / "warm.yaml"
    path.write_text(f"sequence: warm\nplant: {JOB / 'plant.yaml'}\nsteps:\n{step}", "utf-8")
    if said:
        with pytest.raises(BadFile) as caught:
            load_sequence(path)
        assert said in str(caught.value)
        return
    (planned,) = load_sequence(path).plan.steps
    assert planned.probes == (("J101.1", "J205.1") if line else None)
    assert planned.subject == "ambient"
    assert [name for name in planned.touches if name.startswith("J")] == (["J101.1", "J205.1"] if line else [])
