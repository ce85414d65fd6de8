"""Many cables told apart in one trip by one conductor of each, by identify's ways, over the real ports of a bench."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.cli import main
from bench.plant import faults as k
from bench.record.survey import SURVEY, read_survey
from tests.diagnose.explain.damage_kinds import landed
from tests.walks.tool import BENCH, proveout, run_json

HERE = ["L1", "L2", "L3", "L4", "L5", "L6"]
THERE = ["L11", "L12", "L13", "L14", "L15", "L16"]
TRUE = {"L11": "L4", "L12": "L1", "L13": "L6", "L14": "L2", "L15": "L5", "L16": "L3"}
"""Which of the ends in bay 1 each of those in bay 2 belongs to; but L5 and L15 are two cables."""
ALONE = ("L5", "L15")


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    words = ["new", "hut", "--name", "hut", "--title", "The hut", "--feed", "+24 V", "--feeds", "A", "--bays", "2"]
    assert main(words) == 0
    rows = [f"loose-end,{name},1,grey,25,,12" for name in HERE] + [f"loose-end,{name},2,grey,25,,12" for name in THERE]
    Path("finds.csv").write_text("\n".join(["find,name,bay,jacket,conductors,label,length", *rows, ""]), "utf-8")
    assert main(["survey", "hut", "--import", "finds.csv"]) == 0
    return tmp_path / "hut"


def bench(folder: Path) -> Path:
    """A simulated bench at the bundle as it is."""
    text = BENCH.read_text("utf-8")
    head = text[: text.index("  faults:")]
    order = {HERE.index(mate) + 1: THERE.index(end) + 1 for end, mate in TRUE.items()}
    pins = [[THERE[int(pin.rpartition(".")[2]) - 1] for pin in one.pins] for one in landed("there", order)
            if isinstance(one, k.Exchanged)]  # fmt: skip
    faults = [f"{{fault: exchanged, pins: [there.{one}, there.{other}]}}" for one, other in pins]
    faults.append(f"{{fault: open, conductor: group.{HERE.index(ALONE[0]) + 1}}}")
    path = folder / "bench.yaml"
    path.write_text(head + "  faults:\n" + "".join(f"    - {fault}\n" for fault in faults), "utf-8")
    return path


@pytest.mark.parametrize(
    "way",
    [
        ("--way", "tags", "--tags", "E24"),
        pytest.param(("--way", "chain"), marks=pytest.mark.slow),
        pytest.param(("--way", "star", "--tags", "E24"), marks=pytest.mark.slow),
    ],
)
def test_one_trip_names_many_cables(way: tuple[str, ...], job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["survey", "hut", "--group", *HERE, "--against", *THERE, *way]
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "nothing is written" in said and not (job / "group-1").exists()
    assert "here: L1, L2, L3, L4, L5, L6 in bay 1" in said and "CARD: there, bay 2" in said
    assert ("here.frame" in said) is (way[1] == "tags")
    assert main([*words, "--write"]) == 0
    record = job / "logs" / "group.jsonl"
    walk = job / "group-1" / "group-1.yaml"
    run_json("run", walk, "--bench", bench(job), "--record", record, "--speed", 300, cwd=job)
    done = proveout("survey", job, "--reads", record, "--tell", cwd=job)
    assert done.returncode == 0, done.stderr
    survey = read_survey(job / "logs" / SURVEY)
    told = {one.touched: one.answer for one in survey.tries.values() if one.answer}
    assert told == {end: mate for end, mate in TRUE.items() if end not in ALONE}
    assert {one.touched for one in survey.tries.values() if not one.answer} == set(ALONE)
    again = proveout("survey", job, "--reads", record, cwd=job)
    assert again.returncode == 2 and "nothing new" in again.stderr, "a record counts once"


def test_as_many_ends_on_both_sides_are_wanted(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for against in (["L11"], ["L11", "L1"], ["L11", "Q1"]):
        assert main(["survey", "hut", "--group", "L1", "L2", "--against", *against]) == 2
    assert "as many on both sides" in capsys.readouterr().err


def test_the_next_trip_is_the_group_where_none_is_named(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["survey", "hut", "--group"]) == 0
    said = capsys.readouterr().out
    assert "chain" in said and "CARD" in said
