"""How far along a cable: beforehand, by readings that are typed, and by a walk over a real port."""

from __future__ import annotations

import subprocess
from itertools import pairwise
from pathlib import Path

import pytest

from bench.plant.load import load_plant
from bench.plant.route import way, where_words
from tests.one_process import command

JOB = Path("sequences/gannet-head")
BENCH = JOB / "benches" / "damaged-cable.yaml"


def proveout(*words: object) -> subprocess.CompletedProcess[str]:
    return command(words, Path.cwd())


def test_the_way_of_a_cable_ends_where_the_cable_does() -> None:
    plant = load_plant(JOB / "plant.yaml")
    for cable in plant.cables.values():
        stretches = way(plant, cable)
        assert stretches[0].begin == 0.0 and stretches[-1].end == pytest.approx(cable.length_m)
        assert all(one.end == pytest.approx(other.begin) for one, other in pairwise(stretches))
    found = way(plant, plant.cables["W104"])
    assert [one.name for one in found] == ["", "T1.1", "T1.2", "T1.3", "T1.4", "T1.5", ""]
    assert where_words(found, 12.6, 13.0, 13.4) == "in tray T1.4, over bay 4"
    assert where_words(found, 11.0, 13.0, 13.4).startswith("likely in tray T1.4")


def test_readings_that_are_typed_are_told_and_drawn(tmp_path: Path) -> None:
    readings = ["--read", "near=2.79ohm", "--read", "far=2.15ohm", "--read", "loop=3.541ohm"]
    where = ["W104.11", "short", "--bench", BENCH, "--method", "short-both-ends", *readings]
    done = proveout("distance", *where, "--svg", tmp_path / "way.svg")
    assert done.returncode == 0, done.stderr
    assert "12.4 m from J104, 95 % between" in done.stdout and "T1.4" in done.stdout and "X" in done.stdout
    assert "length decides" in done.stdout
    assert (tmp_path / "way.svg").read_text().startswith("<svg")
    taped = proveout("distance", *where, "--length", "21 m 0.2 %")
    assert "length decides" not in taped.stdout
    wanders = proveout("distance", *where, "--again", "6.9ohm")
    assert wanders.returncode == 1 and "two voltages" in wanders.stdout


def test_what_is_missing_or_does_not_fit_is_said() -> None:
    for words, code, said in (
        (["W104.11", "short", "--bench", BENCH], 0, "short, resistances from both ends"),
        (["W104.11", "open", "--bench", BENCH], 1, "role lcr"),
        (["W104.99", "short", "--bench", BENCH], 2, "expected a conductor"),
        (["W104.11"], 2, "what is wrong with it"),
        (
            [
                "W104.11",
                "short",
                "--bench",
                BENCH,
                "--method",
                "murray",
                "--to",
                "L9",
                "--sound",
                "W104.13",
                "--write",
                "x.yaml",
            ],
            2,
            "expected a terminal",
        ),
        (["W104.11", "short", "--bench", BENCH, "--method", "bridge", "--write", "x.yaml"], 2, "one that is walked"),
        (["W104.11", "short", "--bench", BENCH, "--method", "short-both-ends", "--read", "near=2V"], 2, "figure in Ω"),
    ):
        done = proveout("distance", *words)
        assert done.returncode == code and said in done.stdout + done.stderr, (words, done.stdout, done.stderr)


@pytest.mark.slow
def test_a_cable_that_is_damaged_at_12_4_metres_is_found_by_a_walk(tmp_path: Path) -> None:
    sequence, record = tmp_path / "short.yaml", tmp_path / "short.jsonl"
    where = ["--bench", BENCH, "--method", "short-both-ends", "--to", "W104.12", "--write", sequence]
    assert proveout("distance", "W104.11", "short", *where).returncode == 0
    walked = proveout("run", sequence, "--bench", BENCH, "--record", record)
    assert walked.returncode == 0, walked.stdout + walked.stderr
    told = proveout("distance", "--record", record)
    assert told.returncode == 0 and "12.4 m from J104" in told.stdout, told.stdout + told.stderr


def _answers(path: Path, typed: dict[str, str], bench: str) -> Path:
    """Walk a sequence on paper: a person types what dials say, and its record."""
    from bench import assemble
    from bench.instruments.bench_file import parse_bench
    from bench.instruments.profile.library import Library
    from bench.record.append import RecordWriter
    from bench.sequence.load import load_sequence
    from tests.walk import paper_walk as paper

    loaded = load_sequence(path)
    job = assemble.fitted(loaded, parse_bench(bench, "bench.yaml", Library.for_job(JOB)), path, bench)
    walker = paper.PaperWalk(assemble.began(job, "Ana"))
    said = walker.said

    def answer(step: paper.Step) -> str:
        name = step.title.partition(":")[0]
        return typed[name] if step.kind == "ask" and step.source.name == "dial" else said(step)

    walker.said = answer  # type: ignore[method-assign]
    walker.readings = lambda state, step: {"value": float(typed[step.title.partition(":")[0]])}
    walker.finish()
    record = path.with_suffix(".jsonl")
    with RecordWriter.create(record) as writer:
        for entry in walker.entries:
            writer.append(entry)
    return record


HAND_BENCH = """
bench: by hand
instruments:
  - {name: meter, profile: scpi-bench-meter, port: /dev/null1, calibrated: 2026-03-02, due: 2027-03-02}
  - {name: supply, profile: scpi-supply, port: /dev/null2}
roles: {ohms: meter, volts: meter, supply: supply}
references:
  - {name: the 100 ohm resistor, value: 100 ohm, tolerance: 0.1 %}
"""


def test_a_bridge_is_walked_and_its_dials_tell_the_distance(tmp_path: Path) -> None:
    # 12.4 m of 21 m: arms P / Q as the rest of the loop to what lies before the fault
    for method, typed in (
        ("murray", {"p": f"{100 * (42 - 12.4) / 12.4:.3f}", "q": "100 ohm"}),
        ("varley", {"p": "100", "q": "100", "whole": "3.536 ohm", "balance": f"{3.536 * (1 - 12.4 / 21):.4f}"}),
    ):
        path = tmp_path / f"{method}.yaml"
        words = ["W104.11", "earth", "--method", method, "--to", "EB", "--sound", "W104.13"]
        done = proveout("distance", *words, "--plant", JOB / "plant.yaml", "--write", path)
        assert done.returncode == 0, done.stderr
        record = _answers(path, {**typed, "again": list(typed.values())[-1]}, HAND_BENCH)
        asked = proveout("distance", "--record", record)
        assert asked.returncode == 2 and "how exact the bridge's dials are" in asked.stderr
        told = proveout("distance", "--record", record, "--accuracy", "0.1 % + 0.001 ohm")
        assert told.returncode == 0 and "12.4 m from J104, 95 % between" in told.stdout, told.stdout + told.stderr


def test_a_loop_by_two_voltages_is_walked_both_ways_round(tmp_path: Path) -> None:
    path = tmp_path / "voltages.yaml"
    words = ["W104.11", "earth", "--method", "loop-by-voltages", "--to", "EB", "--sound", "W104.13"]
    done = proveout("distance", *words, "--plant", JOB / "plant.yaml", "--write", path)
    assert done.returncode == 0, done.stderr
    text = path.read_text()
    assert text.index("word: LOOP") < text.index('output: "on"') and text.count("word: LOOP") == 2
    assert text.count('output: "off"') == 2
    # 0.1 A through 84.2 mohm a metre, and a cell of 0.35 V that the fault makes in damp insulation
    faulty, sound, cell = 0.1 * 0.0842 * 12.4, 0.1 * 0.0842 * (42 - 12.4), 0.35
    typed = {
        "faulty": f"{faulty + cell}",
        "sound": f"{-sound + cell}",
        "faulty, reversed": f"{-faulty + cell}",
        "sound, reversed": f"{sound + cell}",
        "again": f"{-faulty + cell}",
    }
    told = proveout("distance", "--record", _answers(path, typed, HAND_BENCH))
    assert told.returncode == 0 and "12.4 m from J104, 95 % between" in told.stdout, told.stdout + told.stderr


def test_a_bridge_that_is_at_hand_is_reckoned_with_beforehand() -> None:
    done = proveout("distance", "W104.11", "short", "--bench", BENCH, "--bridge", "0.1 % + 0.01 ohm")
    line = next(one for one in done.stdout.splitlines() if "Murray" in one)
    assert "wants a bridge" not in line and " m" in line


@pytest.mark.slow
@pytest.mark.parametrize("method", ["open-both-ends", "open-by-sibling"])
def test_a_broken_wire_is_walked_by_its_capacitance_over_a_real_port(tmp_path: Path, method: str) -> None:
    bench = JOB / "benches" / "broken-wire.yaml"
    before = proveout("distance", "W104.11", "open", "--bench", bench)
    assert before.returncode == 0 and "open, capacitances from both ends" in before.stdout
    path, record = tmp_path / "open.yaml", tmp_path / "open.jsonl"
    words = ["W104.11", "open", "--method", method, "--sound", "W104.13", "--bench", bench]
    assert proveout("distance", *words, "--write", path).returncode == 0
    walked = proveout("run", path, "--bench", bench, "--record", record)
    assert walked.returncode == 0, walked.stdout + walked.stderr
    told = proveout("distance", "--record", record)
    assert told.returncode == 0, told.stdout + told.stderr
    low, high = (float(part.split(" m")[0]) for part in told.stdout.split("between ")[1].split(":")[0].split(" and "))
    assert low < 12.4 < high and "T1.4" in told.stdout
