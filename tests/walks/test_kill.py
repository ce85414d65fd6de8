"""Killed in the middle, resumed: no acknowledged reading is lost, and the verdicts are those of a whole run."""

from __future__ import annotations

import itertools
import random
import signal
from pathlib import Path

import pytest

from bench.record.read import read_record
from bench.walk import events as e
from tests.walks.kills import Killing
from tests.walks.tool import BENCH, SEQUENCE, proveout, run_json, started, verdicts, wait_for_lines


@pytest.mark.slow
def test_kill_9_and_resume_gives_the_same_verdicts(tmp_path: Path) -> None:
    _, whole = run_json("run", SEQUENCE, "--bench", BENCH, "--record", tmp_path / "whole.jsonl", cwd=tmp_path)
    record = tmp_path / "killed.jsonl"
    words: tuple[object, ...] = ("run", SEQUENCE, "--bench", BENCH, "--record", record, "--speed", 10)
    for lines in (20, 83, 150, 240):
        process = started(*words, cwd=tmp_path)
        wait_for_lines(record, lines)
        process.kill()
        process.communicate(timeout=20)
        acknowledged = record.read_bytes()
        words = ("run", "--resume", record, "--speed", 10)
        assert process.returncode == -signal.SIGKILL
        # what was on disk stays on disk, byte for byte
        kept = acknowledged[: acknowledged.rfind(b"\n") + 1]
        assert record.read_bytes().startswith(kept)
    code, resumed = run_json("run", "--resume", record, cwd=tmp_path)
    assert record.read_bytes().startswith(kept)
    assert code == 1
    assert verdicts(resumed) == verdicts(whole)
    events = [entry.event for entry in read_record(record)]
    assert sum(isinstance(event, e.Resumed) for event in events) == 4
    # after each restart outputs are made safe before anything else is done
    for before, after in itertools.pairwise(events):
        if isinstance(before, e.Resumed):
            assert isinstance(after, e.MadeSafe)


@pytest.mark.slow
def test_killed_at_random_while_shelves_come_up(tmp_path: Path) -> None:
    killing = Killing("first-power", tmp_path, random.Random(7))
    killing.walk(deaths=2)
    assert killing.walks == 1


@pytest.mark.slow
def test_a_torn_end_is_set_aside_and_told(tmp_path: Path) -> None:
    record = tmp_path / "torn.jsonl"
    process = started("run", SEQUENCE, "--bench", BENCH, "--record", record, "--speed", 10, cwd=tmp_path)
    wait_for_lines(record, 40)
    process.kill()
    process.communicate(timeout=20)
    whole = record.read_bytes()
    whole = whole[: whole.rfind(b"\n") + 1]
    record.write_bytes(whole + b'{"n":99,"at":"2026')
    done = proveout("run", "--resume", record, cwd=tmp_path)
    assert done.returncode == 1
    assert "18 torn bytes were set aside" in done.stdout
    (aside,) = tmp_path.glob("torn.jsonl.torn-*")
    assert aside.read_bytes() == b'{"n":99,"at":"2026'
    assert record.read_bytes().startswith(whole)


@pytest.mark.parametrize(
    "number",
    [signal.SIGTERM, *(pytest.param(number, marks=pytest.mark.slow) for number in (signal.SIGINT, signal.SIGHUP))],
)
def test_a_signal_ends_the_walk_safely(number: signal.Signals, tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    process = started("run", SEQUENCE, "--bench", BENCH, "--record", record, "--speed", 2, cwd=tmp_path)
    wait_for_lines(record, 30)
    process.send_signal(number)
    out, err = process.communicate(timeout=20)
    assert process.returncode == 3, err
    events = [entry.event for entry in read_record(record)]
    assert isinstance(events[-2], e.Aborted) and isinstance(events[-1], e.MadeSafe)
    assert number.name in out
    again = proveout("run", "--resume", record, cwd=tmp_path)
    assert again.returncode == 2
    assert "is over" in again.stderr


@pytest.mark.slow
def test_two_runs_cannot_write_one_record(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    process = started("run", SEQUENCE, "--bench", BENCH, "--record", record, "--speed", 2, cwd=tmp_path)
    wait_for_lines(record, 20)
    second = proveout("run", "--resume", record, cwd=tmp_path)
    assert second.returncode == 3
    assert "written by another process" in second.stderr
    process.terminate()
    process.communicate(timeout=20)
