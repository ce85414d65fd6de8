"""First power on the evidence of other records: their readiness clears a shelf, or a person gives a reason."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import pytest

from bench.assemble import Job, began
from bench.assemble import load_job as load_files
from bench.commands.power_evidence import cleared
from bench.commands.run_here import load
from bench.record.read import read_record
from bench.sequence.load import load_sequence
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.setting import Setting
from bench.walk.state import Phase, request, start, take
from tests.power import small_hall
from tests.power.test_on_ports import BENCH
from tests.walks.tool import proveout

SEQUENCE = """\
sequence: straight on
plant: plant.yaml
steps:
  - {{step: hold, text: Clear., word: CLEAR}}
  - {{step: do, text: Cards out., take-out: [2C]}}
  - {{step: do, text: Close., close: [FA, FA2C]}}
  - {{step: energise, text: On., at: [GA], voltage: 48 V, current-limit: 1 A, margin: 60 mA, evidence: {evidence}}}
"""


def load_job(sequence: Path, bench: Path) -> Job:
    """As every command that begins a walk does."""
    return load(argparse.Namespace(sequence=sequence, bench=bench))


def written(folder: Path, evidence: str = "logs") -> Path:
    small_hall.written(folder)
    (folder / "bench.yaml").write_text(BENCH.format(faults=""), "utf-8")
    path = folder / "on.yaml"
    path.write_text(SEQUENCE.format(evidence=evidence), "utf-8")
    return path


def test_without_records_nothing_is_clear_and_the_reason_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(tmp_path)
    monkeypatch.chdir(tmp_path)
    blind = began(load_files(path, tmp_path / "bench.yaml"), "Ana")
    assert blind.cleared == {"2C": "they were not looked at"}
    first = began(load_job(path, tmp_path / "bench.yaml"), "Ana")
    assert first.cleared == {"2C": "there is no folder of records 'logs'"}
    assert Setting.of(first).unclear == (
        "Shelf 2C is not clear for power by its records: there is no folder of records 'logs'.",
    )
    (tmp_path / "logs").mkdir()
    first = began(load_job(path, tmp_path / "bench.yaml"), "Ana")
    assert "holds no record of this plant" in first.cleared["2C"]


def test_nothing_goes_on_before_a_person_gave_a_reason(tmp_path: Path) -> None:
    job = load_job(written(tmp_path), tmp_path / "bench.yaml")
    state = take(start(), e.Entry(n=1, at="2026-06-01T18:00:00Z", event=began(job, "Ana")))

    def add(event: e.Event) -> None:
        nonlocal state
        state = take(state, e.Entry(n=state.taken + 1, at=state.at, event=event))

    add(e.MadeSafe(number=state.number, confirmed={"supply": True}))
    while isinstance(asked := request(state), r.Meet):
        add(e.Met(number=state.number, instrument="supply", roles=list(asked.roles), identity="supply"))
    assert state.phase is Phase.CONSENTING and "2C" in state.setting.weak[0]  # type: ignore[union-attr]
    with pytest.raises(Exception, match="reason"):
        add(e.Answered(number=state.number, answer=" ", by="Ana"))
    add(e.Answered(number=state.number, answer="proved by hand, sheet 12, in the presence of the engineer", by="Ana"))
    assert isinstance(request(state), r.Ask)
    assert state.consented is not None and "sheet 12" in str(state.consented)


def test_what_the_records_lack_is_named_and_a_simulator_clears_nothing_real(tmp_path: Path) -> None:
    path = written(tmp_path)
    drafted = proveout("draft", "plant.yaml", "polarity", "--shelf", "2C", "-o", "p.yaml", cwd=tmp_path)
    assert drafted.returncode == 0, drafted.stderr
    done = proveout("run", "p.yaml", "--bench", "bench.yaml", "--speed", "200", cwd=tmp_path)
    assert done.returncode == 0, done.stdout
    loaded = load_sequence(path)
    on_simulated = cleared(loaded.plan, loaded.plant, tmp_path, True)
    assert on_simulated["2C"].startswith("not proven: ")
    on_real = cleared(loaded.plan, loaded.plant, tmp_path, False)
    assert "simulated benches and proves nothing here" in on_real["2C"]


def test_records_that_clear_a_shelf_ask_for_no_reason(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What readiness itself asks for is tried in its own tests; here only that its word counts."""
    import bench.job.readiness as ready

    (tmp_path / "logs").mkdir()
    path = written(tmp_path)
    proveout("draft", "plant.yaml", "polarity", "--shelf", "2C", "-o", "p.yaml", cwd=tmp_path)
    proveout("run", "p.yaml", "--bench", "bench.yaml", "--speed", "200", cwd=tmp_path)
    gates = (ready.GateState("2C", "first power", ()), ready.GateState("2C", "cards in", (("polarity", "2C"),)))
    found = ready.Readiness("small-hall", (), gates, ())
    monkeypatch.setattr("bench.commands.power_evidence.readiness", lambda plant, rows, order: found)
    loaded = load_sequence(path)
    assert cleared(loaded.plan, loaded.plant, tmp_path, True) == {"2C": ""}, "its cards are out"
    text = path.read_text("utf-8").replace("  - {step: do, text: Cards out., take-out: [2C]}\n", "")
    path.write_text(text, "utf-8")
    loaded = load_sequence(path)
    assert cleared(loaded.plan, loaded.plant, tmp_path, True) == {"2C": "not proven: polarity of 2C"}


@pytest.mark.slow
def test_a_simulated_walk_says_what_is_missing_and_keeps_why_it_went_on(tmp_path: Path) -> None:
    path = written(tmp_path)
    words = ("run", path.name, "--bench", "bench.yaml", "--record", "r.jsonl", "--speed", "60")
    done = proveout(*words, cwd=tmp_path)
    assert "warning   Shelf 2C is not clear for power by its records: there is no folder" in done.stdout, done.stdout
    events = [entry.event for entry in read_record(tmp_path / "r.jsonl")]
    assert json.dumps(events[0].cleared) == '{"2C": "there is no folder of records \'logs\'"}'  # type: ignore[union-attr]
    assert any(isinstance(event, e.Energised) and event.why == "done" for event in events)
