"""Runs commands in a folder of their own: in this process, or as a user does in one of theirs.

What is about death, signals, terminals or what a process loads takes a process; all else needs none.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from tests import one_process

ROOT = Path(__file__).resolve().parents[2]
JOB = ROOT / "sequences" / "gannet-head"
SEQUENCE = JOB / "continuity-W101.yaml"
BENCH = JOB / "benches" / "simulated.yaml"
COMMAND = [sys.executable, "-m", "bench.cli"]


def environment() -> dict[str, str]:
    """The environment of a user without a terminal's peculiarities."""
    return {**os.environ, "PYTHONPATH": str(ROOT), "TEXTUAL_ANIMATIONS": "none", "COLUMNS": "100"}


def proveout(*words: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run a command to its end in this process, without a terminal."""
    return one_process.command(words, cwd)


def by_a_process(*words: object, cwd: Path, timeout: float = 90.0) -> subprocess.CompletedProcess[str]:
    """Run a command to its end in a process of its own, without a terminal."""
    return subprocess.run(
        [*COMMAND, *map(str, words)],
        cwd=cwd,
        env=environment(),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=timeout,
        check=False,
    )


def started(*words: object, cwd: Path) -> subprocess.Popen[str]:
    """Start a command and leave it running."""
    return subprocess.Popen(
        [*COMMAND, *map(str, words)],
        cwd=cwd,
        env=environment(),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def verdicts(summary: dict[str, Any]) -> dict[str, str]:
    """Step key to verdict."""
    return {one["step"]: one["verdict"] for one in summary["verdicts"]}


def run_json(*words: object, cwd: Path) -> tuple[int, dict[str, Any]]:
    """Run a walk in this process; returns exit code and summary."""
    done = proveout(*words, "--json", cwd=cwd)
    assert done.stdout, done.stderr
    return done.returncode, json.loads(done.stdout)


def wait_for_lines(record: Path, lines: int, timeout: float = 30.0) -> None:
    """Wait until a record has so many lines."""
    until = time.monotonic() + timeout
    while time.monotonic() < until:
        if record.exists() and record.read_bytes().count(b"\n") >= lines:
            return
        time.sleep(0.005)
    raise AssertionError(f"{record} did not get {lines} lines within {timeout:g} s")


def bench_without_faults(folder: Path) -> Path:
    """The shipped simulated bench with a sound plant behind it."""
    text = BENCH.read_text("utf-8")
    path = folder / "sound.yaml"
    path.write_text(text[: text.index("  faults:")], "utf-8")
    return path
