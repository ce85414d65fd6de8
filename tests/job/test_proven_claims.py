"""From a claim to a proven landing: only readings prove, and no false claim ever gets into the plant file."""

import random
from pathlib import Path

import pytest

from bench.cli import main
from bench.job.findings import findings
from bench.job.folder import open_folder
from bench.plant.load import load_plant
from bench.sequence.file import Each, Limit, Measure
from tests.job.test_findings import recorded

PLANT = """plant: pile
connector-types:
  - {name: D7, pins: 7}
cable-types:
  - {name: N7, conductors: 7, colours: numbered, size: 0.5 mm2}
bays:
  - name: "1"
    shelves:
      - {name: 1A, connectors: [{name: J1, type: D7}, {name: J2, type: D7}]}
  - name: "2"
    shelves:
      - {name: 2A, connectors: [{name: J3, type: D7}, {name: J4, type: D7}]}
cables:
  - {name: W1, type: N7, length: 10 m, from: J1, to: J3, from-status: claimed, to-status: claimed}
"""
THROUGH = Measure(
    title="{conductor.name}", read="resistance", between=("{conductor.near}", "{conductor.far}"),
    limit=Limit(computed="conductor"),
)  # fmt: skip


def prove(job: Path, name: str, day: int, ohms: dict[str, float]) -> None:
    recorded(job, name, [Each(over="conductors", of="W1", title="through", steps=[THROUGH])], day=day, ohms=ohms)


def claims(job: Path) -> list[str]:
    plant = load_plant(job / "plant.yaml")
    return [one.name for one in findings(open_folder(job / "logs", plant.name), plant) if one.kind == "landings"]


@pytest.fixture
def job(tmp_path: Path) -> Path:
    (tmp_path / "plant.yaml").write_text(PLANT, "utf-8")
    (tmp_path / "logs").mkdir()
    return tmp_path


def good() -> dict[str, float]:
    plant_ohm = 10 * 0.036 + 0.01
    return {f"W1.{number}": plant_ohm for number in range(1, 8)}


def test_a_claim_is_known_once_all_its_conductors_read_through(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert claims(job) == []
    prove(job, "one.jsonl", 3, good())
    assert claims(job) == ["W1"]
    assert (
        main(["findings", str(job / "plant.yaml"), "W1", "--write", "--kind", "landings", "--logs", str(job / "logs")])
        == 0
    )
    assert "from-status" not in (job / "plant.yaml").read_text("utf-8")
    assert "all its 7 conductors read through" in capsys.readouterr().out
    assert claims(job) == []


def test_one_conductor_that_does_not_read_through_keeps_it_a_claim(job: Path) -> None:
    prove(job, "one.jsonl", 3, {**good(), "W1.4": 1e7})
    assert claims(job) == []


def test_what_was_read_last_counts(job: Path) -> None:
    prove(job, "one.jsonl", 3, good())
    prove(job, "two.jsonl", 4, {**good(), "W1.1": 1e7})
    assert claims(job) == []


def chance_of_falsehood(job: Path, runs: int) -> int:
    """Claims of which a share is false, each proven by readings on what is truly plugged in; how many false ones pass.

    The world is a pile of twins: J1 leads to J3 or to J4, or nowhere, in order or with wires exchanged. Now and then a
    probe slips, so a wire that gets through reads open, or a short between leads reads like a wire.
    """
    draw = random.Random(20)
    accepted = 0
    for run in range(runs):
        folder = job / str(run)
        (folder / "logs").mkdir(parents=True)
        (folder / "plant.yaml").write_text(PLANT, "utf-8")
        pins = list(range(1, 8))
        leads = draw.choice(["J3", "J3", "J4", ""])
        if draw.random() < 0.3:
            one, other = draw.sample(range(7), 2)
            pins[one], pins[other] = pins[other], pins[one]
        true = leads == "J3" and pins == list(range(1, 8))
        ohms = {}
        for number in range(1, 8):
            through = leads == "J3" and pins[number - 1] == number
            if draw.random() < 0.01:
                through = not through
            ohms[f"W1.{number}"] = draw.gauss(0.37, 0.003) if through else 1e7
        prove(folder, "one.jsonl", 3, ohms)
        accepted += bool(claims(folder)) and not true
    return accepted


def test_no_false_claim_is_accepted_in_a_few_runs(tmp_path: Path) -> None:
    assert chance_of_falsehood(tmp_path, 12) == 0
