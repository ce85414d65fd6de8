"""What is written for Windows and macOS, as far as it can be run here: the system's own calls are stood in for.

None of it was ever run on those systems; that is said in docs/profile-from-a-leaflet.md.
"""

from __future__ import annotations

import os
import queue
import signal
import subprocess
import sys
from types import SimpleNamespace

import pytest

from bench.commands.run_here import signals_to
from bench.instruments.ports.program import words_of
from bench.record import append
from bench.runner import guard
from bench.runner.core import Signalled

POSIX = pytest.mark.skipif(sys.platform == "win32", reason="stands in for other systems on a POSIX one")


def test_a_guard_without_select_hears_lines_silence_and_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a pipe cannot be waited for with a time, a thread reads it."""
    reading, writing = os.pipe()
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=os.fdopen(reading, "rb")))
    lines = guard._lines_by_thread()
    os.write(writing, b"one\r\n")
    assert next(lines) == b"one"
    assert next(lines) is None, "a second without a word"
    os.write(writing, b"two\n")
    os.close(writing)
    assert next(lines) == b"two"
    assert list(lines) == []


@POSIX
def test_a_guard_on_windows_is_out_of_reach_of_keys_pressed_in_the_runners_window(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert guard._apart() == 0
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0x200, raising=False)
    monkeypatch.setattr(subprocess, "CREATE_NO_WINDOW", 0x8000000, raising=False)
    assert guard._apart() == 0x8000200


@POSIX
def test_a_window_that_is_closed_on_windows_ends_the_walk_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """It comes as SIGBREAK there; here another signal plays it."""
    monkeypatch.setattr(signal, "SIGBREAK", signal.SIGUSR1, raising=False)
    runner = SimpleNamespace(inbox=queue.Queue())
    before = signal.getsignal(signal.SIGUSR1)
    with signals_to(runner):  # type: ignore[arg-type]
        handler = signal.getsignal(signal.SIGUSR1)
        assert callable(handler) and handler is not before
    assert signal.getsignal(signal.SIGUSR1) == before
    handler(signal.SIGUSR1, None)
    assert isinstance(runner.inbox.get(timeout=10), Signalled)


@POSIX
def test_on_macos_a_record_is_synced_to_the_disk_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    import fcntl

    asked: list[int] = []
    plain: list[int] = []
    monkeypatch.setattr(append, "_SYNC", plain.append)
    append._sync(7)
    assert plain == [7]
    monkeypatch.setattr(sys, "platform", "darwin")
    monkeypatch.setattr(fcntl, "F_FULLFSYNC", 51, raising=False)
    monkeypatch.setattr(fcntl, "fcntl", lambda descriptor, command: asked.append(command))
    append._sync(8)
    assert asked == [51] and plain == [7]

    def refuse(descriptor: int, command: int) -> None:
        raise OSError(45, "not supported")

    monkeypatch.setattr(fcntl, "fcntl", refuse)
    append._sync(9)
    assert plain == [7, 9], "a file system that lacks it"


def test_a_program_on_windows_keeps_the_backslashes_of_its_path() -> None:
    assert words_of("python3 'my meter.py' -v", windows=False) == ["python3", "my meter.py", "-v"]
    assert words_of(r'C:\tools\python.exe "C:\my bench\meter.py" -v', windows=True) == [
        r"C:\tools\python.exe",
        r"C:\my bench\meter.py",
        "-v",
    ]
