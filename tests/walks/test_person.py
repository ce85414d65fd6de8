"""A real bench: a person at a terminal answers, and nothing passes a hold point for them."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from bench.plant.load import load_plant
from bench.record.read import read_record
from bench.simulate.messages import Configuration, Move, Twin
from bench.simulate.process import SimulatedBench
from bench.walk import events as e
from tests.walks.terminal import Terminal
from tests.walks.tool import JOB, proveout

PLANT = load_plant(JOB / "plant.yaml")
SEQUENCE = """\
sequence: two wires
plant: {plant}
steps:
  - {{step: hold, text: All is dead., word: DEAD}}
  - {{step: ask, text: How warm is it?, name: ambient}}
  - {{step: zero}}
  - step: each
    over: conductors
    of: W101
    only: [W101.1, W101.2]
    steps:
      - step: measure
        read: resistance
        between: ["{{conductor.near}}", "{{conductor.far}}"]
        limit: {{computed: conductor}}
"""
BENCH = """\
bench: my bench
instruments:
  - name: meter
    profile: scpi-bench-meter
    port: {port}
    calibrated: 2026-03-02
    settings: {{nplc: '0.2', compensation: 'OFF'}}
"""


@pytest.fixture
def running() -> Iterator[SimulatedBench]:
    """A meter on a port; to the program it is as real as any."""
    with SimulatedBench(
        Configuration(plant=PLANT.file, twins=[Twin(name="meter", kind="scpi-bench-meter")], seed=2)
    ) as bench:
        yield bench


def written(folder: Path, port: str) -> tuple[Path, Path]:
    sequence, bench = folder / "two.yaml", folder / "bench.yaml"
    sequence.write_text(SEQUENCE.format(plant=JOB / "plant.yaml"), "utf-8")
    bench.write_text(BENCH.format(port=port), "utf-8")
    return sequence, bench


@pytest.fixture
def files(running: SimulatedBench, tmp_path: Path) -> tuple[Path, Path]:
    return written(tmp_path, running.ports["meter"])


def touch(running: SimulatedBench, terminal: Terminal, move: Move, then: str) -> None:
    """Lift, touch and hold until the reading was taken; a person who lifted too briefly does so again."""
    for lifted in (0.3, 1.0, 2.0, 4.0):
        running.move(Move(lift=True))
        time.sleep(lifted)
        running.move(move)
        with suppress(AssertionError):
            terminal.expect(then, timeout=8.0)
            return
    raise AssertionError(f"{then!r} did not come, however often the probes were put on: {terminal.seen}")


def test_without_a_terminal_a_real_bench_is_refused(files: tuple[Path, Path], tmp_path: Path) -> None:
    done = proveout("run", files[0], "--bench", files[1], "--record", tmp_path / "r.jsonl", cwd=tmp_path)
    assert done.returncode == 2
    assert "somebody at the terminal" in done.stderr
    assert not (tmp_path / "r.jsonl").exists()


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize("port", ["{}", "ASRL{}::INSTR"], ids=["serial port", "VISA resource"])
def test_a_person_walks_a_real_bench(running: SimulatedBench, port: str, tmp_path: Path) -> None:
    """The same over pyserial and over PyVISA: the runner neither knows nor cares."""
    record = tmp_path / "r.jsonl"
    files = written(tmp_path, port.format(running.ports["meter"]))
    terminal = Terminal("run", files[0], "--bench", files[1], "--record", record, "--operator", "Ada", cwd=tmp_path)
    terminal.expect("DEAD")
    terminal.type("yes")
    terminal.type("DEAD")
    terminal.expect("How warm is it?")
    terminal.type("18")
    terminal.expect("probe tips firmly together")
    # both hands hold probes: the settled contact is taken by itself
    touch(running, terminal, Move(hold="together"), "W101.1")
    touch(running, terminal, Move(place=("J101.26", "J205.26")), "W101.2")
    touch(running, terminal, Move(place=("J101.1", "J205.1")), "3 passed")
    assert terminal.end() == 0
    events = [entry.event for entry in read_record(record)]
    answers = [event for event in events if isinstance(event, e.Answered)]
    assert answers[0].answer == "DEAD"
    assert all(answer.by == "Ada" for answer in answers)
    assert [answer.how for answer in answers] == ["key", "key", "contact", "contact", "contact"]
    readings = [event for event in events if isinstance(event, e.Read)]
    assert [event.judged["verdict"] for event in readings] == ["pass", "pass", "pass"]
    assert isinstance(events[-1], e.MadeSafe)


def test_leaving_the_terminal_ends_the_walk_safely(files: tuple[Path, Path], tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    terminal = Terminal("run", files[0], "--bench", files[1], "--record", record, cwd=tmp_path)
    terminal.expect("DEAD")
    terminal.type("leave")
    assert terminal.end() == 3
    events = [entry.event for entry in read_record(record)]
    assert isinstance(events[-1], e.MadeSafe)
    assert any(isinstance(event, e.Aborted) for event in events)
    assert not any(isinstance(event, e.Read) for event in events)
