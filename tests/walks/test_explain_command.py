"""A walk's map explained: over the real port, from the record alone."""

from __future__ import annotations

import json
from pathlib import Path

from tests.walks.tool import BENCH, SEQUENCE, bench_without_faults, proveout, run_json


def test_the_demo_s_faults_are_explained_with_what_to_do(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    run_json("run", SEQUENCE, "--bench", BENCH, "--record", record, cwd=tmp_path)
    done = proveout("explain", record, "--json", cwd=tmp_path)
    assert done.returncode == 1
    (cable,) = json.loads(done.stdout)
    kinds = sorted(cause["kind"] for cause in cable["causes"])
    # the exchanged pins read open at both: that they are exchanged needs a reading from pin to other pin
    assert kinds == ["Bridged", "HighResistance", "Open", "Open", "Open"] or kinds == [
        "HighResistance", "Open", "Open", "Open", "StrayJoin",
    ]  # fmt: skip
    assert cable["unexplained"] == []
    assert any("only sampled" in note for note in cable["notes"])
    told = proveout("explain", record, cwd=tmp_path)
    assert "Look for" in told.stdout and "prove again" in told.stdout


def test_a_sound_bundle_is_as_designed(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    run_json("run", SEQUENCE, "--bench", bench_without_faults(tmp_path), "--record", record, cwd=tmp_path)
    done = proveout("explain", record, cwd=tmp_path)
    assert done.returncode == 0
    assert "as designed, as far as it was looked at" in done.stdout
