"""The job screen before a real terminal: a job is opened and looked through, a walk begun from it and found again."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path

import pytest

pytest.importorskip("pyte")

from bench.runner.address import address_file, read_address
from tests.job.season_folder import copy
from tests.walks.glass import WITHIN, Glass
from tests.walks.terminal import Terminal
from tests.walks.tool import JOB, environment


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Callable[..., Glass]]:
    """Opens a glass; when all is over no runner is left behind."""
    kept: list[Glass] = []

    def start(*words: object, size: tuple[int, int] = (80, 24), more: Mapping[str, str] | None = None) -> Glass:
        kept.append(Glass(*words, cwd=tmp_path, size=size, more=more))
        return kept[-1]

    yield start
    for glass in kept:
        glass.close()
    for record in (tmp_path / "logs").glob("*.jsonl"):
        with suppress(FileNotFoundError, ProcessLookupError):
            os.kill(read_address(address_file(record)).process, signal.SIGTERM)


@pytest.mark.slow
def test_a_walk_is_begun_from_the_hall_and_found_again_in_it(opened: Callable[..., Glass], tmp_path: Path) -> None:
    glass = opened("open", JOB, "--operator", "Bea", "--quiet")
    glass.shows("Gannet Head Radio", "sequences", "never tested")
    glass.press("4", lambda: "sequences of the job" in glass.words)
    glass.press("/", lambda: "find:" in glass.words)
    glass.type("continuity of W101\r")
    glass.press("\r", lambda: "which bench?" in glass.words)
    glass.press("\x1b[F\r", lambda: "CAUTION" in glass.words)
    glass.press("q", lambda: "y yes" in glass.words)
    glass.press("y", lambda: "Enter goes back to the job" in glass.words)
    glass.press("\r", lambda: "the walk is not finished" in glass.words)
    glass.press("5", lambda: "under way" in glass.words)
    glass.press("\r", lambda: "Takes a seat at this walk" in glass.words)
    assert "by Bea" in glass.words
    glass.press("k", lambda: "CAUTION" in glass.words or "paused" in glass.words)
    glass.press("q", lambda: "y yes" in glass.words)
    glass.press("y", lambda: "Enter goes back to the job" in glass.words)
    glass.press("\r", lambda: "Takes a seat at this walk" in glass.words)
    # what the runner writes is looked back at while it waits
    glass.press("\r", lambda: "began by Bea" in glass.words)
    glass.press("\x1b", lambda: "Takes a seat at this walk" in glass.words)
    glass.press("q", lambda: glass.process.poll() is not None)
    assert glass.end() == 0 and len(list((tmp_path / "logs").glob("*.jsonl"))) == 1


@pytest.mark.slow
@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=lambda size: "x".join(map(str, size)))
def test_pages_open_from_their_commands(opened: Callable[..., Glass], tmp_path: Path, size: tuple[int, int]) -> None:
    copy(tmp_path / "season")
    glass = opened("trace", "W101.34", "--logs", "season", "--screen", size=size)
    glass.shows("A step from 1.04 Ω at 20 °C to 2.96 Ω", "last good 2026-04-07", "touched")
    glass.press("6", lambda: "76 of 304 series changed or failed" in glass.words)
    glass.press("q", lambda: glass.process.poll() is not None)
    assert glass.end() == 0
    glass = opened("ready", JOB / "plant.yaml", "--logs", "season", "--screen", "--ascii", size=size)
    glass.shows("everything, all", "never tested", "151 of 151")
    glass.press("f", lambda: "everything, open" in glass.words)
    assert glass.text.isascii()
    glass.press("\x03", lambda: glass.process.poll() is not None)
    assert glass.end() == 0


HELD = """
import sys

asked = []


def held(event, given):
    if event == "open" and str(given[0]).endswith(".jsonl") and not asked:
        asked.append(given[0])
        open("asked", "w").close()
        open("go").close()


sys.addaudithook(held)
"""
"""A program with this in it opens no record before somebody writes into the pipe ``go``."""


@pytest.mark.slow
def test_the_job_is_painted_before_any_of_its_records_is_read(opened: Callable[..., Glass], tmp_path: Path) -> None:
    records = copy(tmp_path / "season", worked_out=False)
    (tmp_path / "held").mkdir()
    (tmp_path / "held" / "sitecustomize.py").write_text(HELD)
    os.mkfifo(tmp_path / "go")
    path = os.pathsep.join([str(tmp_path / "held"), environment()["PYTHONPATH"]])
    glass = opened("open", JOB, "--logs", "season", more={"PYTHONPATH": path})
    number = len(list(records.glob("2*.jsonl")))
    glass.shows("1[start]", "Reading the job ...", f"reading the records: 1 of {number}", "? help")
    glass.until((tmp_path / "asked").exists)
    assert "Gannet Head Radio" not in glass.words
    (tmp_path / "go").write_bytes(b"")
    glass.shows("Gannet Head Radio", "next")
    glass.press("q", lambda: glass.process.poll() is not None)
    assert glass.end() == 0


def test_a_terminal_that_is_closed_takes_the_hall_with_it(tmp_path: Path) -> None:
    terminal = Terminal("open", JOB, cwd=tmp_path)
    try:
        terminal.expect("Gannet")
    finally:
        terminal.hang_up()
    assert terminal.process.wait(timeout=WITHIN) is not None
