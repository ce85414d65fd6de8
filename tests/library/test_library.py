"""The library's few names: the examples of its page are run as they stand, against a real port."""

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import bench
from bench import expected_resistance, open_job, open_meter, open_record
from bench.files import parse
from bench.instruments.instrument import Instrument
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.profile import Profile
from bench.judge.conductor import Run, awg_conductor
from bench.judge.judge_error import JudgeError
from bench.judge.limit import Limit
from bench.library import Meter
from bench.plant.load import load_plant
from bench.quantity import QuantityError
from bench.record.read import BrokenRecord
from bench.simulate.messages import Configuration, Move, Twin
from bench.simulate.process import SimulatedBench
from tests.drivers.more_kinds import Recited
from tests.instruments.server import VirtualLine
from tests.walks.tool import proveout

ROOT = Path(bench.__file__).parent.parent
PAGE = ROOT / "docs" / "library.md"
HALL = ROOT / "sequences" / "gannet-head"


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The receiver hall's folder with one record: its first cable, walked on the simulated bench."""
    folder = tmp_path_factory.mktemp("library") / "gannet-head"
    shutil.copytree(HALL, folder)
    words = ["run", "continuity-W101.yaml", "--bench", "benches/simulated.yaml", "--speed", "200"]
    done = proveout(*words, "--record", "logs/continuity.jsonl", cwd=folder)
    assert (folder / "logs" / "continuity.jsonl").is_file(), done.stderr
    return folder


@pytest.fixture(scope="module")
def port() -> Iterator[str]:
    """Where a simulated bench meter answers, with its leads on the two pins of W101.1."""
    plant = load_plant(HALL / "plant.yaml")
    twins = [Twin(name="meter", kind="scpi-bench-meter"), Twin(name="tester", kind="scpi-insulation-tester")]
    wire = plant.conductors["W101.1"]
    assert wire.near is not None and wire.far is not None
    with SimulatedBench(Configuration(plant=plant.file, twins=twins, seed=3, speed=50.0)) as running:
        running.move(Move(place=(wire.near.name, wire.far.name)))
        yield running.ports["meter"]


def test_the_pages_examples_run(
    job: Path, port: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    blocks = re.findall(r"```python\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)
    assert len(blocks) >= 9
    monkeypatch.chdir(job)
    names: dict[str, object] = {}
    for number, block in enumerate(blocks, 1):
        exec(compile(block.replace("/dev/ttyUSB0", port), f"{PAGE.name}, example {number}", "exec"), names)
    said = capsys.readouterr().out
    assert "Expect about 1.003 Ω" in said
    assert "gannet-head done" in said
    assert "scpi-bench-meter" in said
    assert re.search(r"^pass Pass: .*; limit: ", said, re.MULTILINE)
    assert "at most 10 Ω" in said


def test_what_a_conductor_should_read_is_what_judging_takes_for_it() -> None:
    ours = expected_resistance("AWG 24", "25 m", length_tolerance=1.0, temperature="18 degC")
    theirs = awg_conductor("24", Run(25.0, 1.0, 18.0))
    assert (ours.low_ohm, ours.nominal_ohm, ours.high_ohm) == (theirs.low_ohm, theirs.nominal_ohm, theirs.high_ohm)
    # IEC 60228 table 2, class 2: 7.41 ohm per km at 20 °C for 2.5 mm²
    assert expected_resistance("2.5 mm2", 1000.0, strands=2).high_ohm == pytest.approx(7.41)
    with pytest.raises(QuantityError):
        expected_resistance("thick", "25 m")


@pytest.mark.slow
def test_a_record_gives_its_readings_and_what_counts(job: Path) -> None:
    record = open_record(job / "logs" / "continuity.jsonl")
    rows = record.readings()
    counting = [row for row in rows if row["kind"] == "measure" and row["counts"]]
    assert [row["subject"] for row in counting] == [one["subject"] for one in record.verdicts() if one["between"]]
    assert record.table().to_pylist() == rows
    assert not record.verify().wrong
    with pytest.raises(BrokenRecord):
        open_record(job / "plant.yaml")


def test_a_job_counts_what_its_records_prove(job: Path) -> None:
    opened = open_job(job)
    assert [path.name for path in opened.records()] == ["continuity.jsonl"]
    passed = {row["subject"] for row in opened.evidence() if row["verdict"] == "pass"}
    counting = {row["subject"] for row in open_record(opened.records()[0]).readings() if row["counts"] == "pass"}
    assert passed and passed <= counting
    assert opened.ready().plant == "gannet-head"
    assert open_job(job / "plant.yaml").plant.file == opened.plant.file


def test_a_meter_reads_what_lies_between_its_leads(port: str) -> None:
    with open_meter("scpi-bench-meter", port) as meter:
        four = meter.read("resistance", wires=4)
        two = meter.read("resistance", leads_ohm=0.2)
        bare = meter.read("resistance")
        with pytest.raises(ValueError, match="it reads: "):
            meter.read("insulation")
    assert four.value is not None and two.value is not None and bare.value is not None
    assert four.expanded is not None and bare.expanded is not None
    assert two.value == pytest.approx(four.value, abs=0.1)
    assert bare.expanded > four.expanded, "nobody knows what its leads have"
    assert str(four).startswith(f"{four.value:.1f}"[:2]) and "±" in str(four)
    assert four.judge(Limit.at_most(four.value / 2, "Ω", "a test")).verdict == "fail"
    assert four.judge(Limit.at_most(four.value * 2, "Ω", "a test")).verdict == "pass"
    with pytest.raises(JudgeError):
        four.judge(Limit.at_most(1.0, "V", "a test"))
    with pytest.raises(InstrumentTrouble):
        open_meter("scpi-bench-meter", port, serial="another one")


def test_what_energises_is_refused_until_somebody_says_so() -> None:
    plant = load_plant(HALL / "plant.yaml")
    twin = Twin(name="tester", kind="scpi-insulation-tester")
    with SimulatedBench(Configuration(plant=plant.file, twins=[twin], seed=3, speed=50.0)) as running:
        running.move(Move(place=("J101.1", "J101.2")))
        with open_meter("scpi-insulation-tester", running.ports["tester"]) as meter:
            with pytest.raises(ValueError, match="energise=True"):
                meter.read("insulation")
            reading = meter.read("insulation", settings={"voltage": 100}, after=2.0, energise=True)
            assert meter.instrument.make_safe().confirmed
    assert reading.sample.overload or (reading.value is not None and reading.value > 1e6)
    assert reading.judge(Limit.at_least(1e6, "Ω", "a test")).verdict == "pass"


def test_the_names_load_nothing_until_they_are_asked_for() -> None:
    heavy = "[m for m in ('msgspec', 'yaml', 'numpy', 'bench.library') if m in sys.modules]"
    code = f"import sys, bench; print({heavy}); bench.open_job; print('bench.library' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.split() == ["[]", "True"]
    with pytest.raises(AttributeError, match="open_plant"):
        bench.open_plant  # noqa: B018


@pytest.mark.parametrize(("says", "verdict"), [("ranges-itself: true", "pass"), ("ranges-itself: false", "undecided")])
def test_over_range_of_a_range_that_nobody_knows_proves_no_more_than_the_lowest(says: str, verdict: str) -> None:
    text = f"""
profile: kind
title: a meter whose key may hold a range
dialogue: {{kind: query, read: R, reply: '(?P<value>OL|[0-9.]+)'}}
specials: {{over: [OL]}}
accuracy-source: test
functions:
  - name: ohms
    reads: resistance
    {says}
    takes: 1 s
    ranges:
      - {{range: 400 ohm, resolution: 0.1 ohm, accuracy: [{{of-reading: 1 %, counts: 2}}]}}
      - {{range: 40 Mohm, resolution: 10 kohm, accuracy: [{{of-reading: 1 %, counts: 2}}]}}
"""
    profile = parse(text, Profile, "kind.yaml")[0]
    line = VirtualLine(Recited({b"R\n": b"OL\n"}))
    instrument = Instrument(profile, line, line.clock)
    meter = Meter(instrument, instrument.open())
    reading = meter.read("resistance")
    assert reading.sample.over == "+"
    assert reading.judge(Limit.at_least(100e3, "Ω", "wires that should be apart")).verdict == verdict
