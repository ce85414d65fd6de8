"""A simulated bench may name another plant file as its truth: the job's own is wrong then, and readings show it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from bench.plant.load import load_plant
from bench.plant.writing import Change, changed
from tests.walks.tool import proveout, run_json

HUT = Path("tests/jobs/beacon-hut").resolve()
WALK = """
sequence: two wires of C2
plant: plant.yaml
steps:
  - {step: hold, text: Dead., word: DEAD}
  - {step: zero, text: Hold the tips together., at-most: 1 ohm}
  - {step: measure, read: resistance, between: [X11.1, X21.1], subject: C2.1, limit: {at-most: 2 ohm, source: invented}}
  - {step: measure, read: resistance, between: [X11.3, X21.3], subject: C2.3, limit: {at-most: 2 ohm, source: invented}}
"""


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """The hut, whose file is wrong: two wires of C2 are exchanged in truth, and C4 has a place that the file lacks."""
    folder = tmp_path / "hut"
    shutil.copytree(HUT, folder)
    text = (folder / "plant.yaml").read_text("utf-8")
    swapped = [Change(("cables", "C2", "conductors", "1"), {"to": "X21.2"}),
               Change(("cables", "C2", "conductors", "2"), {"to": "X21.1"})]  # fmt: skip
    (folder / "truth.yaml").write_text(changed(text, swapped), "utf-8")
    bench = folder / "benches" / "simulated.yaml"
    bench.write_text(bench.read_text("utf-8").replace("{seed: 24}", "{seed: 24, truth: truth.yaml}"), "utf-8")
    (folder / "walk.yaml").write_text(WALK, "utf-8")
    return folder


def test_the_file_is_wrong_and_readings_show_it(job: Path) -> None:
    words = ("run", job / "walk.yaml", "--bench", job / "benches" / "simulated.yaml", "--speed", 300)
    code, told = run_json(*words, "--record", job / "r.jsonl", cwd=job)
    assert code == 1
    assert [one["verdict"] for one in told["verdicts"] if one["subject"].startswith("C2")] == ["fail", "pass"]
    # nothing of the truth is in the record: who reads it knows no more than who walked
    assert b"truth.yaml" in (job / "r.jsonl").read_bytes()  # the bench file names it
    assert load_plant(job / "plant.yaml").conductors["C2.1"].far_end.name == "X21.1"


def test_a_truth_without_the_places_of_the_walk_is_refused(job: Path) -> None:
    text = (job / "truth.yaml").read_text("utf-8").replace("X21", "X29")
    (job / "truth.yaml").write_text(text, "utf-8")
    done = proveout("run", job / "walk.yaml", "--bench", job / "benches" / "simulated.yaml", cwd=job)
    assert done.returncode == 2 and "which has no X21.1, X21.3" in done.stderr


def test_a_truth_that_is_no_plant_is_told_with_its_place(job: Path) -> None:
    (job / "truth.yaml").write_text("plant: hut\ncablse: []\n", "utf-8")
    done = proveout("run", job / "walk.yaml", "--bench", job / "benches" / "simulated.yaml", cwd=job)
    assert done.returncode == 2 and "truth.yaml:2:1" in done.stderr
