"""A runner that is killed before its screen has the operator's seat: what happened is said, and what to do."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from bench import exits
from bench.cli import main
from bench.commands import start_screen
from tests.walks.tool import BENCH, ROOT, SEQUENCE, environment

AT_ONCE = "pass"
LISTENS = """
from bench.runner.address import Listener
frame = Listener(record)
"""
LETS_IN = """
from bench.runner import protocol as p
from bench.runner.address import Listener
frame = Listener(record)
link, _ = frame.listener.accept()
stream = link.makefile("rb")
stream.readline()
link.sendall(p.encode(p.Welcome(version=p.VERSION, you="Ada", record=str(record), seat="")))
"""
DIES = """
import os, signal, sys
from pathlib import Path
record = Path(sys.argv[1])
{}
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.parametrize("moment", [AT_ONCE, LISTENS, LETS_IN], ids=["at once", "listens", "lets in"])
@pytest.mark.parametrize("begun", [False, True])
def test_a_runner_that_is_killed_before_the_seat_is_taken_is_told_of(
    moment: str,
    begun: bool,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    record = tmp_path / "r.jsonl"
    if begun:
        record.write_text("{}\n", "utf-8")

    def start(options: object) -> tuple[Path, subprocess.Popen[bytes]]:
        record.with_name(f"{record.name}.messages").touch()
        words = [sys.executable, "-c", DIES.format(moment), str(record)]
        return record, subprocess.Popen(words, cwd=ROOT, env=environment())

    monkeypatch.setattr(start_screen, "_start", start)
    code = main(["walk", str(SEQUENCE), "--bench", str(BENCH), "--record", str(record), "--plain"])
    said = capsys.readouterr().err
    assert code == exits.STOPPED
    assert "look at every supply and tester yourself" in said, said
    assert (f"proveout walk --resume {record}" if begun else "start the walk again") in said, said
    if moment == AT_ONCE:
        assert f"signal {int(signal.SIGKILL)} (SIGKILL)" in said


def test_a_runner_that_says_why_it_ends_is_quoted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    record = tmp_path / "r.jsonl"

    def start(options: object) -> tuple[Path, subprocess.Popen[bytes]]:
        record.with_name(f"{record.name}.messages").write_text("bench.yaml:3: no such meter\n", "utf-8")
        return record, subprocess.Popen([sys.executable, "-c", "raise SystemExit(2)"])

    monkeypatch.setattr(start_screen, "_start", start)
    assert main(["walk", str(SEQUENCE), "--bench", str(BENCH), "--record", str(record), "--plain"]) == exits.BAD_INPUT
    assert capsys.readouterr().err == "bench.yaml:3: no such meter\n"
