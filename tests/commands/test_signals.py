"""More than one signal: the first ends the walk safely, the next say so, and the last way out is deliberate."""

from __future__ import annotations

import atexit
import os
import queue
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from bench import exits
from bench.commands import run_here
from bench.record.read import read_record
from bench.runner.core import Signalled
from bench.walk import events as e
from tests.walks.tool import BENCH, SEQUENCE, environment, started, wait_for_lines

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals")


class Inbox:
    def __init__(self) -> None:
        self.inbox: queue.SimpleQueue[object] = queue.SimpleQueue()


class Gone(BaseException):
    pass


@pytest.fixture
def signals_as_before() -> Iterator[None]:
    """The worker goes on when the walk that a signal ended is over."""
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)}
    yield
    atexit.unregister(run_here.ignore)
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.mark.usefixtures("signals_as_before")
def test_the_first_ends_the_walk_and_the_next_do_no_harm(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    def gone(code: int) -> None:
        raise Gone(code)

    monkeypatch.setattr(os, "_exit", gone)
    now = [100.0]
    runner = Inbox()
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


def test_a_walk_that_no_signal_ended_leaves_signals_as_they_were() -> None:
    before = signal.getsignal(signal.SIGTERM)
    with run_here.signals_to(Inbox()):  # type: ignore[arg-type]
        assert signal.getsignal(signal.SIGTERM) is not before
    assert signal.getsignal(signal.SIGTERM) is before


AFTER_THE_WALK = """
import atexit, os, queue, signal, sys

from bench import exits
from bench.commands.run_here import signals_to


def stop():
    os.kill(os.getpid(), signal.SIGTERM)
    os.kill(os.getpid(), signal.SIGINT)
    print("still here", flush=True)


class TakenDown:
    def __del__(self, stop=stop):
        stop()


class Runner:
    inbox = queue.SimpleQueue()


last = TakenDown()
sys.modules["taken down last"] = last
atexit.register(stop)
with signals_to(Runner):
    stop()
stop()
sys.exit(exits.STOPPED)
"""


def test_signals_after_the_walk_has_ended_leave_its_exit_code_alone(tmp_path: Path) -> None:
    """One after the walk, one at the exit, one while the interpreter takes its objects down."""
    done = subprocess.run(
        [sys.executable, "-c", AFTER_THE_WALK], env=environment(), capture_output=True, text=True, check=False
    )
    assert done.stdout.count("still here") == 4, done.stderr
    assert done.returncode == exits.STOPPED


@pytest.mark.slow
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
