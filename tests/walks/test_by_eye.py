"""A small cable proven with a meter that has no port: line by line at a terminal, and by keys on the screen."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import sys
import time
from pathlib import Path

import pytest

from bench.record.read import read_record
from bench.runner.address import address_file, read_address
from bench.walk import events as e
from bench.walk.by_eye import FLAG
from bench.walk.state import fold
from bench.walk.work_sheet import scan_text
from tests.walks.glass import Glass
from tests.walks.terminal import Terminal
from tests.walks.tool import JOB, wait_for_lines
from tests.walks.window import Window

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")]

BENCH = """
bench: by hand
instruments:
  - {name: hand-held, profile: polled-text-meter, port: typed}
"""
SEQUENCE = """
sequence: two wires by hand
plant: plant.yaml
steps:
  - step: measure
    title: Wire 1
    read: resistance
    between: [J101.1, J205.1]
    limit: {at-most: 10 ohm, source: by hand}
  - step: measure
    title: Wire 2
    read: resistance
    between: [J101.2, J205.2]
    limit: {at-most: 10 ohm, source: by hand}
"""


@pytest.fixture
def job(tmp_path: Path) -> Path:
    shutil.copy(JOB / "plant.yaml", tmp_path)
    shutil.copytree(JOB / "pins", tmp_path / "pins")
    (tmp_path / "sequence.yaml").write_text(SEQUENCE, "utf-8")
    (tmp_path / "bench.yaml").write_text(BENCH, "utf-8")
    return tmp_path


def readings(record: Path) -> list[e.Read]:
    return [entry.event for entry in read_record(record) if isinstance(entry.event, e.Read)]


def answers(record: Path) -> list[str]:
    events = [entry.event for entry in read_record(record)]
    return [event.answer for event in events if isinstance(event, e.Answered) and event.by == "Ada"]


def end_runner(record: Path) -> None:
    """The walk waits for somebody to take the seat again: nobody will."""
    with contextlib.suppress(FileNotFoundError, ProcessLookupError, LookupError):
        os.kill(read_address(address_file(record)).process, signal.SIGTERM)


def test_line_by_line(job: Path) -> None:
    record = job / "r.jsonl"
    words = ("walk", job / "sequence.yaml", "--bench", job / "bench.yaml", "--record", record, "--plain")
    person = Terminal(*words, "--operator", "Ada", cwd=job)
    person.expect("is read by eye", timeout=90)
    person.expect("Type what the meter shows")
    person.type("1,72")
    person.expect("Please type every digit that it shows")
    person.type("1,7")
    person.expect("PASS")
    person.expect("Type what the meter shows")
    person.type("OL")
    person.expect("That would fail")
    person.type("OL")
    person.expect("FAIL")
    person.end()
    assert answers(record) == ["1,72", "1,7", "OL", "OL"]
    first, second = readings(record)
    assert (first.value, first.range, first.resolution, first.flags) == (1.7, 400.0, 0.1, [FLAG])
    assert (second.value, second.over, second.bound) == (None, "+", 400.0)


def test_by_keys_digits_are_taken_at_once(job: Path) -> None:
    record = job / "r.jsonl"
    shown = bytearray()

    def wait_for(text: bytes) -> None:
        until = time.monotonic() + 90
        while text not in shown:
            assert time.monotonic() < until, f"{text!r} is not shown: {bytes(shown[-2000:])!r}"
            time.sleep(0.02)

    words = ("walk", job / "sequence.yaml", "--bench", job / "bench.yaml", "--record", record, "--operator", "Ada")
    window = Window(*words, cwd=job, heard=shown.extend)
    try:
        wait_for(b"read by eye")
        window.type("1")
        wait_for(b"Wanted:")
        window.type(".7\r")
        wait_for_lines(record, 6, timeout=90)
        assert answers(record) == ["1.7"]
    finally:
        window.process.terminate()
        window.process.wait(timeout=30)
        window.close()
        end_runner(record)


def test_a_code_that_is_scanned_from_a_sheet_leads_back_to_its_line(job: Path) -> None:
    """A scanner types the code and Enter, whatever page is open."""
    record = job / "r.jsonl"
    words = ("walk", job / "sequence.yaml", "--bench", job / "bench.yaml", "--record", record, "--operator", "Ada")
    glass = Glass(*words, cwd=job)
    try:
        glass.shows("Wire 1", within=90)
        glass.type("1.7\r")
        glass.shows("Wire 2")
        glass.until(lambda: answers(record) == ["1.7"])
        plan = fold(read_record(record)).setting.plan  # type: ignore[union-attr]
        glass.type(f"{scan_text(plan, plan.steps[0])}\r")
        glass.until(lambda: [one.to for one in went(record)] == [0])
        glass.shows("Wire 1")
        glass.type("1.8\r")
        glass.until(lambda: answers(record) == ["1.7", "1.8"])
        glass.shows("Wire 2")
    finally:
        glass.close()
        end_runner(record)


def went(record: Path) -> list[e.Went]:
    return [entry.event for entry in read_record(record) if isinstance(entry.event, e.Went)]


def test_the_demo_by_hand_shows_a_display_and_takes_what_is_typed(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    person = Terminal("demo", "--by-hand", "--plain", "--record", record, cwd=tmp_path)
    person.expect("Type a reason to go on", timeout=90)
    person.type("it is what there is")
    person.expect("Type read when")
    person.type("read")
    person.expect("the word DEAD")
    person.type("DEAD")
    person.expect("Press Enter when it is done")
    person.type("=")
    person.expect("Type a number")
    person.type("20")
    person.expect("The display shows OL M", timeout=90)
    person.type("OL M")
    person.expect("The display shows 0.", timeout=90)
    person.type("0.2")
    person.expect("The leads read", timeout=90)
    person.hang_up()
    person.process.wait(timeout=60)
    end_runner(record)
    assert [one.flags for one in readings(record)] == [[FLAG], [FLAG]]
