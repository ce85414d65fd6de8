"""What a search says of many nets at once, as evidence: a real walk over real ports, on the simulated bench."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from bench.files import shipped
from bench.job.claims import Claims
from bench.job.rows import APART, Chapter, distil
from bench.plant.load import load_plant
from bench.plant.model import Plant
from bench.record.replay import follow

SEQUENCE = """
sequence: crosses of W101
plant: plant.yaml
steps:
  - {step: zero}
  - {step: seek, find: crosses, of: W101}
"""


@pytest.fixture(scope="module")
def searched(tmp_path_factory: pytest.TempPathFactory) -> tuple[Plant, Chapter, Path]:
    folder = tmp_path_factory.mktemp("job") / "gannet-head"
    shutil.copytree(shipped("sequences") / "gannet-head", folder)
    (folder / "crosses.yaml").write_text(SEQUENCE, "utf-8")
    record = folder / "crosses.jsonl"
    bench = folder / "benches" / "simulated.yaml"
    command = [sys.executable, "-m", "bench.cli", "run", folder / "crosses.yaml", "--bench", bench, "--record", record]
    told = subprocess.run([*command, "--json"], capture_output=True, timeout=300, check=False)
    assert told.returncode == 1, told.stderr.decode()
    assert json.loads(told.stdout)["counts"] == {"pass": 1, "fail": 1}
    return load_plant(folder / "plant.yaml"), distil(record.name, follow(record)), record


@pytest.mark.slow
def test_the_join_that_the_simulated_plant_has_is_named_in_few_readings(
    searched: tuple[Plant, Chapter, Path],
) -> None:
    _, chapter, record = searched
    failing = [row for row in chapter.evidence if row.function == APART and row.verdict == "fail"]
    assert [row.between for row in failing] == [("J101.19", "J101.20")]
    readings = [line for line in record.read_bytes().splitlines() if b'"is":"read"' in line]
    # six where all is well (50 nets), a zero, and for one join six more readings to name each of its ends
    assert len(readings) <= 1 + 6 + 2 * 6
    assert all(json.loads(line)["event"]["judged"]["between"] == [] for line in readings[1:5])


@pytest.mark.slow
def test_every_neighbour_is_proven_apart_but_those_that_are_joined(searched: tuple[Plant, Chapter, Path]) -> None:
    plant, chapter, _ = searched
    claims = Claims(plant)
    said: dict[object, str] = {}
    for row in chapter.evidence:
        for key in claims.keys_of(row):
            assert said.setdefault(key, row.verdict) == row.verdict
    asked = [claim for claim in claims.of_cable["W101"] if claim.kind == "apart"]
    assert len(asked) > 50
    verdicts = {claim.about: said.get(claim.key) for claim in asked}
    near = {about: verdict for about, verdict in verdicts.items() if about.startswith("J101.")}
    assert near["J101.19~J101.20"] == "fail"
    silent = {about for about, verdict in near.items() if verdict is None}
    # of what is joined nothing is said but that: more may hide behind it
    assert silent and all({"J101.19", "J101.20"} & set(about.split("~")) for about in silent)
    assert set(near.values()) == {"pass", "fail", None}
