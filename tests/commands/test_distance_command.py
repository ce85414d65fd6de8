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
        (["W104.11", "short", "--bench", BENCH, "--method", "murray", "--write", "x.yaml"], 2, "one that is walked"),
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
