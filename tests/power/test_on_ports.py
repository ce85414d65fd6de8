"""First power end to end as a user runs it: drafted, walked by the program itself, over real ports."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import small_hall

from bench.record.read import read_record
from bench.walk import events as e
from tests.walks.tool import proveout

BENCH = """
bench: power bench
instruments:
  - name: meter
    profile: scpi-bench-meter
    port: simulated
    calibrated: 2026-03-02
    settings: {{nplc: '0.2', compensation: 'OFF'}}
  - {{name: supply, profile: scpi-supply, port: simulated, calibrated: 2026-03-02}}
roles: {{ohms: meter, volts: meter, amps: meter, supply: supply}}
references:
  - {{name: the 100 ohm resistor, value: 100 ohm, tolerance: 0.1 %}}
simulate:
  seed: 7
  faults: [{faults}]
"""


@pytest.mark.slow
@pytest.mark.parametrize(
    ("fault", "told", "highest"),
    [
        ("", "", 48.0),
        ("{fault: shelf-short, shelf: 2C, feed: A, ohms: 0.3 ohm}", "2C.A is free of shorts", 0.0),
        ("{fault: polarity-reversed, shelf: 2C, feed: A}", "2C.A has feed A", 12.0),
        ("{fault: shelf-heavy, shelf: 2C, by: 0.3 A}", "2C on A alone, all cards in", 48.0),
    ],
    ids=["sound", "short", "reversed", "heavy"],
)
def test_a_shelf_meets_its_first_power(tmp_path: Path, fault: str, told: str, highest: float) -> None:
    small_hall.written(tmp_path)
    (tmp_path / "bench.yaml").write_text(BENCH.format(faults=fault), "utf-8")
    drafted = proveout("draft", "plant.yaml", "first-power", "--shelf", "2C", "-o", "first.yaml", cwd=tmp_path)
    assert drafted.returncode == 0, drafted.stderr
    words = ("run", "first.yaml", "--bench", "bench.yaml", "--record", "r.jsonl", "--speed", "40", "--json")
    done = proveout(*words, cwd=tmp_path, timeout=110.0)
    summary = json.loads(done.stdout)
    assert done.returncode == (1 if fault else 0), done.stdout + done.stderr
    failed = [one["title"] for one in summary["verdicts"] if one["verdict"] == "fail"]
    assert failed[:1] == ([told] if told else [])
    events = [entry.event for entry in read_record(tmp_path / "r.jsonl")]
    reached = [volts for event in events if isinstance(event, e.Energised) for _, volts, _ in event.sets]
    assert max(reached, default=0.0) == highest
    last = events[-1]
    assert isinstance(last, e.MadeSafe) and last.confirmed == {"supply": True}
