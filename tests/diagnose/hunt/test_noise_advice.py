"""What would tell where a hum comes from; and the whole of it on recordings of the simulated plant."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from bench.diagnose.hunt.noise import Tone
from bench.diagnose.hunt.noise_advice import proposals
from bench.plant.load import load_plant
from tests.one_process import command

JOB = Path("sequences/gannet-head")


def test_each_kind_of_line_wants_something_else_and_dead_plant_rules_come_with_it() -> None:
    plant = load_plant(JOB / "plant.yaml")
    hum, ripple, tone = Tone(50.0, 1e-3, 1), Tone(100.0, 1e-3, 2), Tone(3170.0, 1e-3)
    for line, word in ((hum, "LIFT"), (ripple, "rectifier OFF"), (tone, "SWAP")):
        told = proposals([line], plant, "A")
        assert len(told) == 2 and word in told[0] and "proved dead" in told[1]
    assert proposals([], plant, "A") == []
    first = proposals([tone], plant, "A", ["2C.A"])[0]
    assert first.index("2C") < first.index("1A")
    assert "L2" in proposals([hum], plant, "", ["L2", "W101"])[0]


@pytest.mark.slow
def test_a_converter_that_was_connected_since_is_found_from_recording_to_proposal(tmp_path: Path) -> None:
    job = tmp_path / "job"
    (job / "benches").mkdir(parents=True)
    shutil.copy(JOB / "plant.yaml", job)
    shutil.copytree(JOB / "pins", job / "pins")
    text = (JOB / "benches" / "simulated.yaml").read_text().split("  faults:")[0]
    (job / "benches" / "sound.yaml").write_text(text)
    (job / "benches" / "hums.yaml").write_text(text + "  faults:\n    - {fault: hums, shelf: 2C, volts: 4 mV}\n")
    where = ["--at", "2C.A~2C.A-return", "--seconds", "6", "--plant", job / "plant.yaml"]
    before, after = job / "before.wav", job / "after.wav"
    assert command(["noise", before, "--simulated", job / "benches" / "sound.yaml", *where], job).returncode == 0
    old = before.stat().st_mtime - 7200.0
    os.utime(before, (old, old))
    done = command(["disturb", "2C", "--note", "converter exchanged", "--logs", job / "logs", "--plant",
                    job / "plant.yaml"], job)  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    words = ["noise", after, "--simulated", job / "benches" / "hums.yaml", *where, "--before", before, "--feed", "A"]
    out = command([*words, "--logs", job / "logs"], job).stdout
    assert "3170" in out and "converter exchanged" in out, out
    told = next(line for line in out.splitlines() if line.startswith("what would tell: 3170"))
    assert told.index("2C") < told.index("1A") and "proved dead" in out
