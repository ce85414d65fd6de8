"""Line by line: a walk that is paused goes on when it is told to, and by nothing else; not by a new screen either."""

from __future__ import annotations

import os
import signal
import sys
from contextlib import suppress
from pathlib import Path

import pytest

from bench.record.read import read_record
from bench.runner.address import address_file, read_address
from bench.walk import events as e
from tests.walks.terminal import Terminal
from tests.walks.tool import SEQUENCE, bench_without_faults

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")


def told(record: Path) -> list[str]:
    """The kinds of events that people brought about, in order."""
    kinds = (e.Answered, e.Paused, e.Continued, e.Aborted)
    return [type(entry.event).__name__ for entry in read_record(record) if isinstance(entry.event, kinds)]


@pytest.mark.slow
def test_a_pause_lasts_until_go_whoever_comes(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    bench = bench_without_faults(tmp_path)
    first = Terminal(
        "walk", SEQUENCE, "--bench", bench, "--record", record, "--plain", "--operator", "Ada", cwd=tmp_path
    )
    try:
        first.expect("Type read", timeout=90)
        first.type("read")
        first.expect("DEAD")
        first.type("DEAD")
        first.expect("Press Enter when it is done")
        first.type("pause")
        first.expect("Type go to go on.")
        # neither an empty line nor a word that means something elsewhere goes on
        for line in ("", "read", "DEAD", "back"):
            first.type(line)
        first.type("note the kettle")
        first.expect("note kept")
        assert told(record) == ["Answered", "Answered", "Paused"]
        first.type("leave")
        assert first.end() == 3

        second = Terminal("walk", "--attach", record, "--plain", "--operator", "Bo", cwd=tmp_path)
        second.expect("The walk is paused", timeout=90)
        second.expect("Type go to go on.")
        second.type("")
        second.expect("Type go to go on.")
        second.type("note still here")
        second.expect("note kept")
        assert told(record) == ["Answered", "Answered", "Paused"], "a new screen is no reason to go on"
        second.type("go")
        second.expect("Press Enter when it is done")
        assert told(record) == ["Answered", "Answered", "Paused", "Continued"]
        second.type("ABORT enough")
        assert second.end() == 3
    finally:
        with suppress(FileNotFoundError, ProcessLookupError):
            os.kill(read_address(address_file(record)).process, signal.SIGTERM)
