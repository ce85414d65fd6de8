"""Insulation as a user proves it: a broken lead passes nothing, neighbours are seen, and the voltage fits the cable."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.record.read import read_record
from bench.record.replay import replay
from bench.sequence.file import Found
from bench.walk import events as e
from bench.walk.results import results
from tests.walks.tool import BENCH, JOB, proveout

PLANT = JOB / "plant.yaml"


def bench_with(folder: Path, faults: str, broken: str = "[]") -> Path:
    text = BENCH.read_text("utf-8")
    text = text[: text.find("  faults:")]
    path = folder / "bench.yaml"
    path.write_text(f"{text}  faults: [{faults}]\n  broken-leads: {broken}\n", "utf-8")
    return path


def run(folder: Path, bench: Path, kind: str = "insulation") -> tuple[list[e.Event], str]:
    draft, record = folder / f"{kind}.yaml", folder / "r.jsonl"
    made = proveout("draft", PLANT, kind, "--cable", "W101", "-o", draft, cwd=folder)
    assert made.returncode == 0, made.stderr
    done = proveout("run", draft, "--bench", bench, "--record", record, "--speed", 300, cwd=folder)
    return [entry.event for entry in read_record(record)], done.stdout + done.stderr


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize(("after", "sound"), [(0, 0), (6, 0), (12, 10)])
def test_a_broken_lead_passes_nothing_that_rests_on_it(after: int, sound: int, tmp_path: Path) -> None:
    """Of 25 pairs only those count that lie between two proofs that passed: the lead holds for so many placings."""
    run(tmp_path, bench_with(tmp_path, "", f"[{{of: insulation, after: {after}}}]"))
    state = replay(tmp_path / "r.jsonl")
    assert state.setting is not None
    steps = state.setting.plan.steps
    told = [
        out.verdict for index, out in results(state).items() if "/" in out.subject and steps[index].kind == "measure"
    ]
    assert told.count("pass") == sound and told.count("void") >= 25 - sound, told


@pytest.mark.slow
def test_a_leak_between_neighbouring_pairs_is_found(tmp_path: Path) -> None:
    bench = bench_with(tmp_path, "{fault: leakage, between: [W101.2, W101.3], ohms: 50 kohm}")
    events, said = run(tmp_path, bench)
    found = [event.want for event in events if isinstance(event, e.Advised) and isinstance(event.want, Found)]
    assert found and found[-1].verdict == "fail" and len(found[-1].facts["poor"]) == 1, said[-2000:]


def test_more_than_the_cable_bears_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "s.yaml"
    path.write_text(
        f"""sequence: too much
plant: {PLANT}
steps:
  - {{step: hold, text: Cards out., word: OUT}}
  - {{step: measure, read: insulation, between: [J101.1, J101.2], at: 1 kV, limit: {{computed: insulation}}}}
""",
        "utf-8",
    )
    done = proveout("check", path, cwd=tmp_path)
    assert done.returncode != 0
    assert "at most 600 V" in done.stdout + done.stderr and "rated for 300 V" in done.stdout + done.stderr


def test_no_test_voltage_on_cards_that_nobody_looked_at(tmp_path: Path) -> None:
    path = tmp_path / "s.yaml"
    path.write_text(
        f"""sequence: on cards
plant: {PLANT}
steps:
  - {{step: measure, read: insulation, between: [J101.1, J101.2], at: 250 V, limit: {{computed: insulation}}}}
""",
        "utf-8",
    )
    done = proveout("check", path, cwd=tmp_path)
    assert done.returncode != 0 and "cards at its ends" in done.stdout + done.stderr
