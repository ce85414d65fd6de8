"""More than one signal: the first ends the walk safely, the next say so, and the last way out is deliberate."""

from __future__ import annotations

import os
import queue
import signal
import sys
import time
from pathlib import Path

import pytest

from bench import exits
from bench.commands import run_here
from bench.record.read import read_record
from bench.runner.core import Signalled
from bench.walk import events as e
from tests.walks.tool import BENCH, SEQUENCE, started, wait_for_lines

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals")


class Inbox:
    def __init__(self) -> None:
        self.inbox: queue.SimpleQueue[object] = queue.SimpleQueue()


class Gone(BaseException):
    pass


def test_the_first_ends_the_walk_and_the_next_do_no_harm(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    def gone(code: int) -> None:
        raise Gone(code)

    monkeypatch.setattr(os, "_exit", gone)
    now = [100.0]
    runner = Inbox()
    before = signal.getsignal(signal.SIGTERM)
    with run_here.signals_to(runner, lambda: now[0]):  # type: ignore[arg-type]
        signal.raise_signal(signal.SIGTERM)
        assert runner.inbox.get_nowait() == Signalled("SIGTERM")
        assert capfd.readouterr().err == ""
        for _ in range(3):
            signal.raise_signal(signal.SIGINT)
            now[0] += 1.0
        assert runner.inbox.empty(), "it is ending already"
        err = capfd.readouterr().err
        assert err.count("outputs are made safe first") == 3 and "after 20 s" in err and "after 18 s" in err
        now[0] = 100.0 + run_here.PATIENCE + 0.1
        with pytest.raises(Gone) as found:
            signal.raise_signal(signal.SIGTERM)
        assert found.value.args == (exits.STOPPED,)
        assert "nobody knows what is on" in capfd.readouterr().err
    assert signal.getsignal(signal.SIGTERM) is before


def test_two_signals_in_a_row_end_a_walk_once_and_safely(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    process = started("run", SEQUENCE, "--bench", BENCH, "--record", record, "--speed", 2, cwd=tmp_path)
    wait_for_lines(record, 30, timeout=60)
    for _ in range(5):
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
        time.sleep(0.001)
    process.communicate(timeout=60)
    assert process.returncode == exits.STOPPED
    events = [entry.event for entry in read_record(record)]
    assert sum(isinstance(event, e.Aborted) for event in events) == 1
    assert isinstance(events[-2], e.Aborted) and isinstance(events[-1], e.MadeSafe)
