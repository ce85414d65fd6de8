"""One path to earth, by processes as a user runs them: the drafted sequence on the simulated low-ohm bench."""

from __future__ import annotations

import json
import os
import shutil
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest

from bench.record.read import read_record
from bench.walk import events as e
from bench.walk.results import outcomes
from bench.walk.state import fold
from tests.walks.tool import BENCH, JOB, ROOT, proveout, run_json

PLANT = JOB / "plant.yaml"
SEQUENCE = JOB / "earth.yaml"
LOW_OHM = JOB / "benches" / "low-ohm.yaml"


def bench_with(folder: Path, *faults: str) -> Path:
    text = LOW_OHM.read_text("utf-8")
    path = folder / "bench.yaml"
    head = text[: text.index("  faults:")]
    path.write_text(head + ("  faults:\n" if faults else "") + "".join(f"    - {fault}\n" for fault in faults), "utf-8")
    return path


def walked(folder: Path, *faults: str) -> tuple[int, dict[str, Any]]:
    words = ("run", SEQUENCE, "--bench", bench_with(folder, *faults), "--record", folder / "r.jsonl")
    return run_json(*words, "--speed", 300, cwd=folder)


def found_in(folder: Path) -> tuple[int, dict[str, Any]]:
    done = proveout("earth", PLANT, "--record", folder / "r.jsonl", "--json", cwd=folder)
    assert done.stdout, done.stderr
    return done.returncode, json.loads(done.stdout)


@pytest.mark.slow
def test_a_sound_plant_passes(tmp_path: Path) -> None:
    code, summary = walked(tmp_path)
    assert code == 0, summary
    assert set(summary["counts"]) == {"pass"}
    code, found = found_in(tmp_path)
    assert (code, found["verdict"], found["kind"]) == (0, "pass", "clear")
    assert "No second path below" in found["sentence"] and "not excluded" in found["sentence"]


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize(
    ("faults", "named"),
    [
        (["{fault: second-earth-path, between: [E3, ET1], ohms: 6 mohm}"], [{"E3", "ET1"}]),
        (["{fault: second-earth-path, between: [E3, X3], ohms: 9 mohm}"], [{"E3", "X3"}]),
        (["{fault: bond-poor, bond: LT3, ohms: 30 mohm}"], [{"LT3"}]),
        (["{fault: bond-open, bond: LE5}"], [{"LE5"}]),
        (
            [
                "{fault: second-earth-path, between: [E3, ET1], ohms: 6 mohm}",
                "{fault: second-earth-path, between: [E1, E2], ohms: 4 mohm}",
            ],
            [{"E3", "ET1"}, {"E1", "E2"}],
        ),
    ],
)
def test_what_is_wrong_is_found_and_named_first(faults: list[str], named: list[set[str]], tmp_path: Path) -> None:
    code, summary = walked(tmp_path, *faults)
    assert code == 1, summary
    code, found = found_in(tmp_path)
    assert (code, found["verdict"]) == (1, "fail")
    first = [set(one.get("between", [one.get("bond")])) for one in found["posterior"][: len(named)]]
    assert sorted(map(sorted, first)) == sorted(map(sorted, named))
    assert all(one["chance"] > 0.9 for one in found["posterior"][: len(named)])


@pytest.mark.slow
def test_a_meter_that_is_too_poor_says_so(tmp_path: Path) -> None:
    path = tmp_path / "earth.yaml"
    asked = SEQUENCE.read_text("utf-8").replace('lifting: "yes"', 'lifting: "no"')
    path.write_text(asked.replace("plant: plant.yaml", f"plant: {os.path.relpath(PLANT, tmp_path)}"), "utf-8")
    text = BENCH.read_text("utf-8")
    bench = tmp_path / "bench.yaml"
    bench.write_text(text[: text.index("  faults:")], "utf-8")
    record = tmp_path / "r.jsonl"
    code, _ = run_json("run", path, "--bench", bench, "--record", record, "--speed", 300, cwd=tmp_path)
    assert code == 1
    code, found = found_in(tmp_path)
    assert (code, found["verdict"]) == (1, "undecided")
    assert "this meter cannot decide" in found["sentence"]
    assert found["sight"]["share"] < 0.5
    assert any(line.startswith("lifting bond ") for line in found["lines"])


TWO = """
bench: two ohmmeters
instruments:
  - {name: milliohms, profile: scpi-low-ohm-meter, port: simulated, serial: GH-0011}
  - {name: desk, profile: scpi-bench-meter, port: simulated, serial: GH-0001}
roles: {ohms: milliohms, high-ohms: desk, volts: desk}
references:
  - {name: the 10 milliohm shunt, value: 10 mohm, tolerance: 0.5 %}
simulate:
  seed: 7
"""


@pytest.mark.slow
@pytest.mark.parametrize(
    ("faults", "named"),
    [
        ("[]", set()),
        ("[{fault: second-earth-path, between: [E3, ET1], ohms: 6 mohm}]", {"E3", "ET1"}),
        ("[{fault: bond-poor, bond: LT3, ohms: 30 mohm}]", {"LT3"}),
    ],
)
def test_two_meters_on_their_ports_prove_it_in_one_walk(faults: str, named: set[str], tmp_path: Path) -> None:
    shutil.copy(PLANT, tmp_path)
    shutil.copytree(JOB / "pins", tmp_path / "pins")
    shutil.copy(SEQUENCE, tmp_path)
    (tmp_path / "drivers").mkdir()
    # one that shows no more than 20 ohm: it cannot tell that anything floats
    text = (ROOT / "drivers" / "scpi-low-ohm-meter.yaml").read_text("utf-8")
    head, examples = text[: text.index("      - range: 200 ohm")], text.index("examples:")
    opened = text.index("  - does: read\n    about: open clips")
    left = text[examples:opened] + text[text.index("  - does: read\n    about: a character was lost") :]
    (tmp_path / "drivers" / "scpi-low-ohm-meter.yaml").write_text(f"{head}\n{left}", "utf-8")
    bench, sequence, record = tmp_path / "bench.yaml", tmp_path / SEQUENCE.name, tmp_path / "r.jsonl"
    bench.write_text(f"{TWO}  faults: {faults}\n", "utf-8")
    told = proveout("check", sequence, "--bench", bench, cwd=tmp_path)
    assert told.returncode == 0, told.stdout + told.stderr
    assert "The inside floats\n      By desk: " in told.stdout
    words = ("run", sequence, "--bench", bench, "--record", record, "--speed", 300)
    code, summary = run_json(*words, cwd=tmp_path)
    assert code == (1 if named else 0), summary
    readings = [entry.event for entry in read_record(record) if isinstance(entry.event, e.Read)]
    state = fold(read_record(record))
    assert state.setting is not None
    read = [(state.setting.step_of(one).title, one.reading) for one in outcomes(state)]
    by = {title: reading.instrument for title, reading in read if reading is not None}
    assert by["The inside floats"] == "desk" and by["L1 is proven again"] == "milliohms"
    assert all(one.raw for one in readings) and {one.function for one in readings if one.instrument == "milliohms"} == {
        "resistance 4w"
    }
    assert proveout("report", record, "-o", tmp_path / "r.html", cwd=tmp_path).returncode == 0
    sheet = (tmp_path / "r.html").read_text("utf-8")
    assert "with desk" in sheet and "with milliohms" in sheet
    done = proveout("earth", PLANT, "--record", record, "--json", cwd=tmp_path)
    found = json.loads(done.stdout)
    assert found["verdict"] == ("fail" if named else "pass")
    if named:
        first = found["posterior"][0]
        assert set(first.get("between", [first.get("bond")])) == named and first["chance"] > 0.9


def test_the_network_on_paper_and_what_a_bench_can_see(tmp_path: Path) -> None:
    done = proveout("earth", PLANT, "--between", "E3", "ET1", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    # 16 mm2 over 7 m and over 5 m (IEC 60228: 1.15 ohm/km at 20 degC), at the hall's 18 degC; two lugs of 0.2 mohm each
    milliohm = 1.15 * 12 * (1 + 0.00393 * (18 - 20)) + 4 * 0.2
    assert f"expected from frame of bay 3 (E3) to signal tray (ET1): {milliohm:.0f} mΩ" in done.stdout
    good = proveout("earth", PLANT, "--bench", LOW_OHM, cwd=tmp_path).stdout
    poor = proveout("earth", PLANT, "--bench", BENCH, cwd=tmp_path).stdout
    assert "would show at 85 % of the possible places" in good
    assert "would show at 4 % of the possible places" in poor
    assert "lifting bond" in poor and "lift 10 bonds, all at once" in poor


@pytest.mark.slow
def test_the_picture_is_drawn_with_the_path(tmp_path: Path) -> None:
    assert walked(tmp_path, "{fault: second-earth-path, between: [E3, ET1], ohms: 6 mohm}")[0] == 1
    record, picture = tmp_path / "r.jsonl", tmp_path / "earth.svg"
    done = proveout("earth", PLANT, "--record", record, "--svg", picture, cwd=tmp_path)
    assert done.returncode == 1, done.stderr
    assert "<1> second path: frame of bay 3 (E3) - - - signal tray (ET1), about 6 mΩ" in done.stdout
    assert "T1.3, over bay 3, within about 3 m" in done.stdout
    drawn = ET.parse(picture).getroot()
    paths = [one for one in drawn.iter("{http://www.w3.org/2000/svg}path") if one.get("class") == "second-path"]
    assert len(paths) == 1 and paths[0].get("stroke-dasharray")
    report = proveout("report", record, "-o", tmp_path / "r.html", cwd=tmp_path)
    assert report.returncode == 0, report.stderr
    page = (tmp_path / "r.html").read_text("utf-8")
    assert 'class="second-path"' in page
    assert "A second path joins frame of bay 3 (E3) to signal tray (ET1)" in page


def test_what_makes_no_sense_is_refused(tmp_path: Path) -> None:
    for words, said in (
        (("--json",), "--json wants --record"),
        (("--between", "E3", "E99"), "'E99' is no point"),
        (("--bench", LOW_OHM, "--path", "5 kg"), "--path"),
        (("--bench", LOW_OHM, "--wires", 2), "with 2 wires"),
    ):
        done = proveout("earth", PLANT, *words, cwd=tmp_path)
        assert done.returncode == 2
        assert said in done.stderr


@pytest.mark.parametrize(
    ("faults", "verdicts"),
    [
        ([], ("pass", "pass")),
        # a frame that touches the building closes a loop; no load current runs in it
        (["{fault: second-earth-path, between: [E3, X3], ohms: 9 mohm}"], ("pass", "fail")),
        # a return that touches the building leads part of the load's current home through the earth
        (["{fault: short, between: [BR3.1, X3]}"], ("fail", "fail")),
    ],
)
@pytest.mark.quick_cases(1)
def test_what_flows_in_the_live_earth(faults: list[str], verdicts: tuple[str, str], tmp_path: Path) -> None:
    text = (JOB / "benches" / "live-earth.yaml").read_text("utf-8")
    bench = tmp_path / "bench.yaml"
    bench.write_text(
        text + ("  faults:\n" if faults else "") + "".join(f"    - {fault}\n" for fault in faults), "utf-8"
    )
    words = ("run", JOB / "earth-live.yaml", "--bench", bench, "--record", tmp_path / "r.jsonl", "--speed", 300)
    code, summary = run_json(*words, cwd=tmp_path)
    told = summary["verdicts"]
    assert tuple(one["verdict"] for one in told if one["subject"] == "L1") == verdicts
    assert all(one["verdict"] == "pass" for one in told if one["subject"] != "L1") and len(told) > 10
    assert code == (0 if set(verdicts) == {"pass"} else 1)


def test_earth_is_drafted_for_the_whole_plant_alone(tmp_path: Path) -> None:
    done = proveout("draft", PLANT, "earth", "--bay", "3", cwd=tmp_path)
    assert done.returncode == 2 and "whole plant" in done.stderr
