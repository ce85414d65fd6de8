"""The four sequences that ship for Gannet Head run on its simulated bench and find what is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.walks.tool import BENCH, JOB, bench_without_faults, proveout, run_json

SEQUENCES = ["continuity-W101.yaml", "insulation-W101.yaml", "polarity-bay-2.yaml", "idle-current-bay-2.yaml"]


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize("name", SEQUENCES)
def test_each_passes_on_a_sound_plant(name: str, tmp_path: Path) -> None:
    bench = bench_without_faults(tmp_path)
    words = ("run", JOB / name, "--bench", bench, "--record", tmp_path / "r.jsonl", "--speed", 300)
    code, summary = run_json(*words, cwd=tmp_path)
    assert code == 0, summary
    assert set(summary["counts"]) == {"pass"}


def with_faults(folder: Path, *faults: str) -> Path:
    text = BENCH.read_text("utf-8")
    path = folder / "faulty.yaml"
    head = text[: text.index("  faults:")]
    path.write_text(head + "  faults:\n" + "".join(f"    - {fault}\n" for fault in faults), "utf-8")
    return path


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize(
    ("name", "faults", "failed"),
    [
        (
            "insulation-W101.yaml",
            ["{fault: leakage, between: [W101.9, W101.10], ohms: 200 kohm}"],
            {"W101", "W101/5"},
        ),
        (
            "polarity-bay-2.yaml",
            ["{fault: polarity-reversed, shelf: 2B, feed: A}"],
            {"2B.A"},
        ),
        (
            "idle-current-bay-2.yaml",
            ["{fault: shelf-heavy, shelf: 2A, by: 0.9 A}", "{fault: shelf-light, shelf: 2D, by: 1.2 A}"],
            {"2A.A", "2D.A"},
        ),
    ],
)
def test_each_finds_its_faults_and_nothing_else(name: str, faults: list[str], failed: set[str], tmp_path: Path) -> None:
    words = ("run", JOB / name, "--bench", with_faults(tmp_path, *faults), "--record", tmp_path / "r.jsonl")
    code, summary = run_json(*words, "--speed", 300, cwd=tmp_path)
    assert code == 1
    assert {one["subject"] for one in summary["verdicts"] if one["verdict"] == "fail"} == failed
    assert {one["verdict"] for one in summary["verdicts"]} <= {"pass", "fail", "skipped"}
    # a shelf ends where something of it failed, and nothing else is passed over
    ended = {name.partition(".")[0] for name in failed}
    passed_over = {one["title"] for one in summary["verdicts"] if one["verdict"] == "skipped"}
    assert all(any(re.search(rf"\b[FG]?[AB]?{shelf}\b", title) for shelf in ended) for title in passed_over), (
        passed_over
    )


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize("kind", ["insulation", "continuity", "polarity", "idle-current"])
@pytest.mark.parametrize("scope", [("--cable", "W101"), ("--bay", "2"), ("--shelf", "2C")])
def test_every_draft_is_a_good_sequence(kind: str, scope: tuple[str, str], tmp_path: Path) -> None:
    if scope[0] == "--cable" and kind in ("polarity", "idle-current"):
        done = proveout("draft", JOB / "plant.yaml", kind, *scope, cwd=tmp_path)
        assert done.returncode == 2
        assert "cable" in done.stderr
        return
    path = tmp_path / "drafted.yaml"
    assert proveout("draft", JOB / "plant.yaml", kind, *scope, "-o", path, cwd=tmp_path).returncode == 0
    checked = proveout("check", path, "--bench", BENCH, cwd=tmp_path)
    if kind == "continuity" and scope[0] != "--cable":
        # power wiring and joints are far below an ohm: this bench proves that they are connected, and what would do
        lines = checked.stdout.splitlines()
        weak = [lines[number - 1].strip() for number, text in enumerate(lines) if "Cannot prove" in text]
        assert checked.returncode == 1 and weak
        assert all(text.startswith(("WG", "WA", "WB", "Joint")) for text in weak), weak
    else:
        assert checked.returncode == 0, checked.stdout + checked.stderr
    # drafted again it is left as it is; another draft never takes its place
    drafted = path.read_bytes()
    again = proveout("draft", JOB / "plant.yaml", kind, *scope, "-o", path, cwd=tmp_path)
    assert again.returncode == 0 and "is there, and fits the plant" in again.stdout
    other = proveout("draft", JOB / "plant.yaml", "earth", "-o", path, cwd=tmp_path)
    assert other.returncode == 2 and "never takes a file's place" in other.stderr
    assert path.read_bytes() == drafted


def test_a_wrong_name_is_met_with_the_near_one(tmp_path: Path) -> None:
    done = proveout("draft", JOB / "plant.yaml", "continuty", "--cable", "W101", cwd=tmp_path)
    assert done.returncode == 2
    assert "did you mean 'continuity'?" in done.stderr
    done = proveout("draft", JOB / "plant.yaml", "continuity", "--cable", "W1011", cwd=tmp_path)
    assert "did you mean 'W101'?" in done.stderr or "did you mean" in done.stderr


@pytest.mark.slow
def test_a_record_is_judged_again_without_measuring(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    run_json(
        "run", JOB / "continuity-W101.yaml", "--bench", bench_without_faults(tmp_path), "--record", record, cwd=tmp_path
    )
    before = record.read_bytes()
    limits = tmp_path / "limits.yaml"
    limits.write_text(
        "decide: {rule: simple}\nlimits:\n  W101.7: {at-most: 0.9 ohm, source: a stricter house rule}\n", "utf-8"
    )
    done = proveout("judge", record, "--limits", limits, cwd=tmp_path)
    assert done.returncode == 1
    assert "was pass      now fail      W101.7" in done.stdout
    assert "1 of 129 verdicts changed" in done.stdout
    same = proveout("judge", record, "--rule", "simple", cwd=tmp_path)
    assert same.returncode == 0
    assert "0 of 129 verdicts changed" in same.stdout
    assert record.read_bytes() == before
