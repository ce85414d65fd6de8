"""What a demo, a walk and a killed walk leave behind: their records, and nothing else; and nobody sees a traceback."""

from __future__ import annotations

import os
import signal
import subprocess
from pathlib import Path

import pytest

from tests.walks.tool import BENCH, COMMAND, SEQUENCE, environment, wait_for_lines


def run(*words: object, cwd: Path) -> subprocess.Popen[bytes]:
    """Start a command whose temporary folder is one of its own; what it and its children say goes into a file."""
    for name in ("temporary", "here"):
        (cwd / name).mkdir(exist_ok=True)
    with (cwd / "said").open("ab") as said:
        return subprocess.Popen(
            [*COMMAND, *map(str, words)],
            cwd=cwd / "here",
            env={**environment(), "TMPDIR": str(cwd / "temporary")},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=said,
        )


def left_in(cwd: Path) -> list[str]:
    """What is in the temporary folder, but for the empty files that are the locks of ports, of which each has one."""
    found = [path for path in (cwd / "temporary").rglob("*") if path.is_file() or path.is_socket()]
    return [str(path) for path in found if path.suffix != ".lock" or path.stat().st_size]


def nobody_left(cwd: Path) -> bool:
    """Whether no process of the command is there any more: a twin ends when its parent has."""
    with (cwd / "said").open("rb") as said:
        mine = os.fstat(said.fileno())
    for process in Path("/proc").glob("[0-9]*"):
        try:
            there = (process / "fd" / "2").stat()
        except OSError:
            continue
        if (there.st_dev, there.st_ino) == (mine.st_dev, mine.st_ino):
            return False
    return True


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks for processes in /proc")
def test_a_demo_leaves_its_records_and_nothing_else(tmp_path: Path) -> None:
    assert run("demo", cwd=tmp_path).wait(timeout=100) == 1  # faults are in the bundle
    assert left_in(tmp_path) == []
    assert b"Traceback" not in (tmp_path / "said").read_bytes()


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks for processes in /proc")
def test_a_walk_that_is_killed_and_gone_on_with_leaves_its_record_and_nothing_else(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    words: tuple[object, ...] = ("run", SEQUENCE, "--bench", BENCH, "--record", record, "--speed", 10)
    for lines in (20, 60):
        process = run(*words, cwd=tmp_path)
        wait_for_lines(record, lines)
        process.kill()
        assert process.wait(timeout=20) == -signal.SIGKILL
        words = ("run", "--resume", record, "--speed", 10)
    assert run("run", "--resume", record, "--speed", 100, cwd=tmp_path).wait(timeout=100) == 1
    while not nobody_left(tmp_path):
        os.sched_yield()
    assert b"Traceback" not in (tmp_path / "said").read_bytes()
    assert left_in(tmp_path) == []
    assert [path.name for path in tmp_path.glob("r.jsonl*")] == ["r.jsonl"]
