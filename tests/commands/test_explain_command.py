"""A walk's map explained: over the real port, from the record alone."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.walks.tool import BENCH, JOB, SEQUENCE, bench_without_faults, proveout, run_json


@pytest.mark.slow
def test_the_demo_s_faults_are_explained_with_what_to_do(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    run_json("run", SEQUENCE, "--bench", BENCH, "--record", record, cwd=tmp_path)
    done = proveout("explain", record, "--json", cwd=tmp_path)
    assert done.returncode == 1
    (cable,) = json.loads(done.stdout)
    kinds = sorted(cause["kind"] for cause in cable["causes"])
    # the exchanged pins read open at both; the look at the walk's end says that they are exchanged
    assert kinds == ["Bridged", "HighResistance", "Open", "PairsSplit"]
    (exchanged,) = [cause for cause in cable["causes"] if cause["kind"] == "PairsSplit"]
    assert "J205.3" in exchanged["sentence"] and "J205.9" in exchanged["sentence"]
    assert cable["unexplained"] == []
    assert any("only sampled" in note for note in cable["notes"])
    told = proveout("explain", record, cwd=tmp_path)
    assert "Look for" in told.stdout and "prove again" in told.stdout
    # where it is, and a picture of the connector with what moved
    assert "mend them in this order" in told.stdout and "bay" in told.stdout.casefold()
    assert "J205 pin" in told.stdout and "more" not in told.stdout.split("note:")[0]


@pytest.mark.slow
def test_exchanged_pins_are_named_with_a_second_record_and_proved_again_after_the_repair(tmp_path: Path) -> None:
    """Continuity alone reads two open wires; the readings proposed among them tell that two rings are exchanged."""
    plant, first = JOB / "plant.yaml", tmp_path / "first.jsonl"
    bench = tmp_path / "bench.yaml"
    text = BENCH.read_text("utf-8")
    head = text[: text.index("  faults:")]
    bench.write_text(head + "  faults:\n    - {fault: exchanged, pins: [J205.3, J205.9]}\n", "utf-8")
    # the same walk as people had it before there was a look at its end
    whole = SEQUENCE.read_text("utf-8").replace("plant: plant.yaml", f"plant: {plant}")
    start = whole.index("  # Where something failed")
    end = whole.index("  - step: zero\n    title: Zero the leads again")
    short = tmp_path / "short.yaml"
    short.write_text(whole[:start] + whole[end:], "utf-8")
    run_json("run", short, "--bench", bench, "--record", first, "--speed", 300, cwd=tmp_path)
    more = tmp_path / "more.yaml"
    told = proveout("explain", first, "--follow-up", more, "--plant", plant, cwd=tmp_path)
    assert told.returncode == 1 and more.exists(), told.stderr
    second = tmp_path / "second.jsonl"
    run_json("run", more, "--bench", bench, "--record", second, "--speed", 300, cwd=tmp_path)
    both = proveout("explain", second, first, "--json", cwd=tmp_path)
    (cable,) = json.loads(both.stdout)
    assert [cause["kind"] for cause in cable["causes"]] == ["PairsSplit"]
    again = tmp_path / "again.yaml"
    drafted = proveout("draft", plant, "reprove", "-o", again, "--record", first, second, cwd=tmp_path)
    assert drafted.returncode == 0 and again.exists(), drafted.stderr
    sound = bench_without_faults(tmp_path)
    words = ("run", again, "--bench", sound, "--record", tmp_path / "r.jsonl", "--speed", 300)
    code, summary = run_json(*words, cwd=tmp_path)
    subjects = {one["subject"] for one in summary["verdicts"] if one["subject"].startswith("W101.")}
    assert code == 0 and {"W101.6", "W101.18"} & subjects and len(subjects) < 25


def test_a_sound_bundle_is_as_designed(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    run_json("run", SEQUENCE, "--bench", bench_without_faults(tmp_path), "--record", record, cwd=tmp_path)
    done = proveout("explain", record, cwd=tmp_path)
    assert done.returncode == 0
    assert "as designed, as far as it was looked at" in done.stdout
    # neighbours were read, and pins that lie apart were not
    assert "'proveout draft PLANT crosses --cable W101' holds all of them apart" in done.stdout
