"""From the records of a cable that was read whole to its pin list in the job, by one command."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from bench.cli import main
from bench.plant.load import load_plant
from tests.job.test_findings import identified, recorded, seek
from tests.job.test_proven_claims import PLANT

ORDER = {1: 4, 2: 6, 3: 1, 4: 7, 5: 2, 6: 5}
"""Pin of J1 to pin of J3; the seventh wire is open, and J3.3 is left over."""


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return read_whole(tmp_path)


def read_whole(tmp_path: Path) -> Path:
    """A job whose one record read a cable from pin to pin."""
    (tmp_path / "plant.yaml").write_text(
        PLANT.replace("from-status: claimed, to-status: claimed", "remark: kept"), "utf-8"
    )
    (tmp_path / "logs").mkdir()
    found = identified("W1", "far", {f"J3.{pin}": f"W1.{n}" for n, pin in ORDER.items()})
    facts = {**found.facts, "open_flags": ["J3.3"], "open_conductors": ["W1.7"]}
    found = msgspec.structs.replace(found, facts=facts, verdict="fail")
    recorded(tmp_path, "one.jsonl", seek("W1", flags="J3"), day=3, found=found)
    return tmp_path


def learn(job: Path, *words: str) -> int:
    return main(["learn", str(job / "plant.yaml"), "W1", "--logs", str(job / "logs"), *words])


def test_what_is_sure_is_written_and_what_looks_like_damage_stays_unknown(job: Path, capsys) -> None:
    before = (job / "plant.yaml").read_text("utf-8")
    assert learn(job) == 1
    told = capsys.readouterr().out
    assert "6 of 6 wires that get through are learned" in told and "an order of its own" in told
    assert "asked, not learned: W1.7: J1.7 reaches no pin at the other end, and J3.3 is left over" in told
    assert (job / "plant.yaml").read_text("utf-8") == before and not (job / "pins").exists()
    assert learn(job, "--write") == 1
    assert "pins: pins/w1.csv" in (job / "plant.yaml").read_text("utf-8")
    cable = load_plant(job / "plant.yaml").cables["W1"]
    ends = {one.number: one.far.pin if one.far is not None else "" for one in cable.conductors}
    assert ends == {**{n: str(pin) for n, pin in ORDER.items()}, 7: ""}
    assert "remark: kept" in (job / "plant.yaml").read_text("utf-8")
    assert learn(job, "--write") == 1  # written again by the same hand, nothing else is changed


def test_a_list_that_hands_wrote_is_never_written_over(job: Path, capsys) -> None:
    (job / "pins").mkdir()
    (job / "pins" / "w1.csv").write_text("conductor,from_pin,to_pin\n1,1,1\n", "utf-8")
    assert learn(job, "--write") == 2
    assert "written by hand" in capsys.readouterr().err
    assert (job / "pins" / "w1.csv").read_text("utf-8").startswith("conductor")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--take", "2"], "expected conductors that are asked: W1.7"),
        (["--twin", "W9"], "the plant has no such cable"),
    ],
)
def test_what_cannot_be_is_said(job: Path, words: list[str], said: str, capsys) -> None:
    assert learn(job, *words) == 2
    assert said in capsys.readouterr().err


def test_without_a_record_it_says_how_to_read_the_cable(tmp_path: Path, capsys) -> None:
    (tmp_path / "plant.yaml").write_text(PLANT, "utf-8")
    (tmp_path / "logs").mkdir()
    assert learn(tmp_path) == 2
    assert "proveout identify W1 --flags J3" in capsys.readouterr().err
