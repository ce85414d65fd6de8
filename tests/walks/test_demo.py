"""The main job, end to end over a real port: the demo's faults are found, all of them and no others."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.commands.demo_faults import CABLE, demo_faults
from bench.plant.faults import Short
from bench.plant.faulty import affected_pins
from bench.plant.load import load_plant
from tests.walks.tool import BENCH, JOB, SEQUENCE, bench_without_faults, proveout, run_json

PLANT = load_plant(JOB / "plant.yaml")


@pytest.mark.parametrize("seed", [1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(2, 21))])
def test_every_injected_fault_is_found_and_nothing_else_fails(seed: int, tmp_path: Path) -> None:
    faults = demo_faults(PLANT, seed)
    assert len(faults) == 5
    wanted = {name for fault in faults for name in affected_pins(fault, PLANT).continuity}
    shorts = ["~".join(fault.between) for fault in faults if isinstance(fault, Short)]
    code, summary = run_json("demo", "--seed", seed, "--record", tmp_path / "r.jsonl", cwd=tmp_path)
    found = {one["subject"]: one["verdict"] for one in summary["verdicts"]}
    failed = {subject for subject, verdict in found.items() if verdict == "fail"}
    # the look at the walk's end says of the whole cable what was done wrong
    assert failed == wanted | set(shorts) | {CABLE}
    assert set(found.values()) == {"pass", "fail"}
    assert code == 1
    # every conductor of the bundle was read, and all of its pins' neighbours
    assert {name for name in found if name.startswith(f"{CABLE}.")} == {c.name for c in PLANT.cables[CABLE].conductors}
    assert len([name for name in found if "~" in name]) == len(PLANT.neighbours_of("J101"))


@pytest.mark.slow
def test_a_sound_bundle_passes(tmp_path: Path) -> None:
    bench = bench_without_faults(tmp_path)
    code, summary = run_json("run", SEQUENCE, "--bench", bench, "--record", tmp_path / "r.jsonl", cwd=tmp_path)
    assert code == 0
    assert set(summary["counts"]) == {"pass"}


@pytest.mark.slow
def test_the_same_seed_gives_the_same_readings(tmp_path: Path) -> None:
    summaries = [
        run_json("run", SEQUENCE, "--bench", BENCH, "--record", tmp_path / f"{i}.jsonl", cwd=tmp_path)[1]
        for i in range(2)
    ]
    assert summaries[0]["verdicts"] == summaries[1]["verdicts"]
    other = run_json("demo", "--seed", 99, "--record", tmp_path / "other.jsonl", cwd=tmp_path)[1]
    assert [v["value"] for v in other["verdicts"]] != [v["value"] for v in summaries[0]["verdicts"]]


@pytest.mark.slow
def test_over_tcp_where_there_are_no_pseudo_terminals(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PROVEOUT_SIMULATED_PORTS", "tcp")
    bench = bench_without_faults(tmp_path)
    record = tmp_path / "r.jsonl"
    code, _ = run_json("run", SEQUENCE, "--bench", bench, "--record", record, cwd=tmp_path)
    assert code == 0
    assert b'"address":"socket://127.0.0.1:' in record.read_bytes()


@pytest.mark.slow
def test_replay_prints_the_very_lines_of_the_run(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    ran = proveout("run", SEQUENCE, "--bench", BENCH, "--record", record, cwd=tmp_path)
    again = [proveout("replay", record, cwd=tmp_path) for _ in range(2)]
    assert ran.stdout == again[0].stdout == again[1].stdout
    assert ran.returncode == again[0].returncode == 1
    lines = [proveout("replay", record, "--verdicts", cwd=tmp_path).stdout for _ in range(2)]
    assert lines[0] == lines[1]
    assert lines[0].count("\n") == 129


def test_a_record_is_never_overwritten(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    record.write_text("precious\n")
    done = proveout("run", SEQUENCE, "--bench", BENCH, "--record", record, cwd=tmp_path)
    assert done.returncode == 2
    assert record.read_text() == "precious\n"


@pytest.mark.slow
def test_without_a_record_named_one_is_made_in_logs(tmp_path: Path) -> None:
    done = proveout("demo", "--json", cwd=tmp_path)
    assert done.returncode == 1
    (record,) = (tmp_path / "logs").glob("*.jsonl")
    assert "continuity-W101" in record.name
