"""Crosses and insulation of all nets, drafted and run over real ports: by hand and through a relay matrix."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.plant.load import load_plant
from bench.record.read import read_record
from bench.sequence.file import Found
from bench.walk import events as e
from tests.walks.tool import BENCH, JOB, proveout

PLANT = JOB / "plant.yaml"
MATRIX = JOB / "benches" / "simulated-matrix.yaml"


def with_faults(source: Path, folder: Path, *faults: str) -> Path:
    text = source.read_text("utf-8")
    at = text.find("  faults:")
    head = text if at < 0 else text[:at]
    path = folder / "faulty.yaml"
    path.write_text(head + "  faults:\n" + "".join(f"    - {fault}\n" for fault in faults), "utf-8")
    return path


def run(kind: str, scope: tuple[str, str], bench: Path, folder: Path) -> tuple[Found, list[e.Event], str]:
    draft, record = folder / f"{kind}.yaml", folder / "r.jsonl"
    made = proveout("draft", PLANT, kind, *scope, "-o", draft, cwd=folder)
    assert made.returncode == 0, made.stderr
    done = proveout("run", draft, "--bench", bench, "--record", record, "--speed", 300, cwd=folder)
    events = [entry.event for entry in read_record(record)]
    wants = [event.want for event in events if isinstance(event, e.Advised)]
    assert wants and isinstance(wants[-1], Found), done.stdout + done.stderr
    return wants[-1], events, draft.read_text("utf-8")


@pytest.mark.slow
def test_all_joins_of_a_connector_are_found_also_those_far_apart(tmp_path: Path) -> None:
    bench = with_faults(BENCH, tmp_path, "{fault: short, between: [J101.2, J101.47]}")
    found, _, text = run("crosses", ("--connector", "J101"), bench, tmp_path)
    assert found.verdict == "fail" and [set(group) for group in found.facts["joined"]] == [{"J101.2", "J101.47"}]
    assert "By hand, where all is well: 50 nets on two bars in 6 readings" in text and "CARDS-OUT" in text


def test_through_a_matrix_every_group_is_closed_by_relays(tmp_path: Path) -> None:
    bench = with_faults(MATRIX, tmp_path, "{fault: short, between: [W111.3, W111.21]}")
    found, events, _ = run("crosses", ("--cable", "W111"), bench, tmp_path)
    assert found.verdict == "fail" and len(found.facts["joined"]) == 1
    by_matrix = [event for event in events if isinstance(event, e.Answered) and event.how == "matrix"]
    assert len(by_matrix) >= found.facts["readings"]


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize("fault", [None, "{fault: leakage, between: [W101.9, W101.32], ohms: 300 kohm}"])
def test_insulation_among_all_nets_at_test_voltage(fault: str | None, tmp_path: Path) -> None:
    bench = with_faults(BENCH, tmp_path, *([fault] if fault else ["{fault: open, conductor: W102.1}"]))
    found, _, text = run("isolation", ("--cable", "W101"), bench, tmp_path)
    for words in ("step: caution", "250 V", "GUARDED", "discharge", "By hand, where all is well"):
        assert words in text
    if fault is None:
        assert found.verdict == "pass" and found.facts["readings"] == 6
        return
    assert found.verdict == "fail"
    plant = load_plant(PLANT)
    leak = {plant.conductors[name].near_end.name for name in ("W101.9", "W101.32")}
    assert [set(row[:2]) for row in found.facts["poor"]] == [leak]


def test_a_wrong_scope_is_said(tmp_path: Path) -> None:
    for kind in ("crosses", "isolation"):
        done = proveout("draft", PLANT, kind, cwd=tmp_path)
        assert done.returncode == 2 and "name one" in done.stderr
    done = proveout("draft", PLANT, "identify", "--bay", "2", cwd=tmp_path)
    assert done.returncode == 2 and "wants a cable" in done.stderr
