"""First power end to end as a user runs it: drafted, walked by the program itself, over real ports."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

from bench.record.read import read_record
from bench.walk import events as e
from tests.power import small_hall
from tests.walks.tool import COMMAND, environment, proveout

BENCH = small_hall.BENCH


@pytest.mark.slow
@pytest.mark.parametrize(
    ("fault", "told", "highest"),
    [
        ("", "", 48.0),
        ("{fault: shelf-short, shelf: 2C, feed: A, ohms: 0.3 ohm}", "2C.A is free of shorts", 0.0),
        ("{fault: polarity-reversed, shelf: 2C, feed: A}", "2C.A has feed A", 5.0),
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
    done = proveout(*words, cwd=tmp_path)
    summary = json.loads(done.stdout)
    assert done.returncode == (1 if fault else 0), done.stdout + done.stderr
    failed = [one["title"] for one in summary["verdicts"] if one["verdict"] == "fail"]
    assert failed[:1] == ([told] if told else [])
    events = [entry.event for entry in read_record(tmp_path / "r.jsonl")]
    reached = [volts for event in events if isinstance(event, e.Energised) for _, volts, _ in event.sets]
    assert max(reached, default=0.0) == highest
    last = events[-1]
    assert isinstance(last, e.MadeSafe) and last.confirmed == {"supply": True}


SHORTLY = """\
sequence: one shelf
plant: plant.yaml
steps:
  - {step: do, text: Cards out., take-out: [2C]}
  - {step: measure, read: resistance, between: [2C.A, 2C.A-return], after: 15 s,
     limit: {at-least: 1 kohm, source: here}}
  - {step: hold, text: Clear., word: ENERGISE}
  - {step: do, text: Close., close: [FA, FA2C]}
  - step: energise
    title: Up
    text: Watch.
    at: [GA]
    voltage: 48 V
    current-limit: 1 A
    margin: 60 mA
    ramp:
      - {to: 12 V, limit: 0.5 A, leakage: 8 mA}
      - {to: 36 V, limit: 0.5 A, leakage: 8 mA}
  - {step: set, text: Off., output: off}
"""


@pytest.mark.slow
def test_a_load_that_comes_up_is_told_line_by_line_as_it_does(tmp_path: Path) -> None:
    """Readings of the ramp travel from the instrument's thread over the line to the screen; none is recorded for it."""
    small_hall.written(tmp_path)
    (tmp_path / "bench.yaml").write_text(BENCH.format(faults=""), "utf-8")
    (tmp_path / "one.yaml").write_text(SHORTLY, "utf-8")
    words = ["walk", "one.yaml", "--bench", "bench.yaml", "--plain", "--record", "r.jsonl", "--speed", "10"]
    typed = "\n".join(["", "", "ENERGISE", "", "", "", ""]) + "\n"
    done = subprocess.run(
        [*COMMAND, *words],
        cwd=tmp_path,
        env=environment(),
        input=typed,
        capture_output=True,
        text=True,
        timeout=110.0,
        check=False,
    )
    said = done.stdout
    for told in (
        "The stages of shelf 2C:",
        "Live: coming up to 48 V: in the place of GA at 48 V through FA, FA2C: shelf 2C.",
        "level 1 of 3: 12 V set, limit 0.5 A",
        "level 2 of 3: 36 V set",
        "level 3 of 3: 48 V set",
        "settled",
    ):
        assert told in said, said + done.stderr
    assert any(isinstance(entry.event, e.Energised) for entry in read_record(tmp_path / "r.jsonl"))
