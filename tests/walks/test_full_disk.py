"""The disk fills up, the folder cannot be written, the record is looked into while it grows: each with its words."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from bench.record.read import read_record
from bench.walk import events as e
from bench.walk.state import fold
from tests.walks.tool import (
    COMMAND,
    JOB,
    bench_without_faults,
    environment,
    proveout,
    run_json,
    started,
    wait_for_lines,
)

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="limits of a process")
SEQUENCE = JOB / "polarity-bay-2.yaml"


@pytest.mark.slow
def test_a_disk_that_fills_up_ends_the_run_safely_and_it_can_be_continued(tmp_path: Path) -> None:
    import resource

    # apart: a walk takes up how other records of its folder leave the plant, and its first line grows with that
    apart, own = tmp_path / "apart", tmp_path / "own"
    apart.mkdir()
    own.mkdir()
    bench, record = bench_without_faults(tmp_path), own / "r.jsonl"
    words = ("run", SEQUENCE, "--bench", bench, "--record", apart / "whole.jsonl", "--speed", 300)
    _, whole = run_json(*words, cwd=apart)
    lines = (apart / "whole.jsonl").read_bytes().splitlines(keepends=True)
    room = sum(map(len, lines[:20])) + 40  # the next line begins, and has no room

    def small() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))

    done = subprocess.run(
        [*COMMAND, "run", SEQUENCE, "--bench", bench, "--record", record, "--speed", "300"],
        cwd=own,
        env=environment(),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        preexec_fn=small,
        timeout=90,
        check=False,
    )
    assert done.returncode == 3
    assert f"{record} cannot be written: File too large" in done.stderr
    assert "Traceback" not in done.stderr
    entries = list(read_record(record))
    assert record.read_bytes().endswith(b"\n"), "what did not fit whole was cut off again"
    assert len(entries) >= 15 and not fold(entries).finished
    code, summary = run_json("run", "--resume", record, "--speed", 300, cwd=own)
    assert code == 0
    assert {one["step"]: one["verdict"] for one in summary["verdicts"]} == {
        one["step"]: one["verdict"] for one in whole["verdicts"]
    }


@pytest.mark.slow
def test_a_record_is_reported_and_replayed_while_it_is_written(tmp_path: Path) -> None:
    record = tmp_path / "r.jsonl"
    sequence = JOB / "continuity-W101.yaml"
    words = ("run", sequence, "--bench", bench_without_faults(tmp_path), "--record", record, "--speed", 0.2)
    process = started(*words, cwd=tmp_path)
    try:
        wait_for_lines(record, 16)
        process.send_signal(signal.SIGSTOP)  # wherever it is just now, be the machine fast or slow
        report = proveout("report", record, "-o", tmp_path / "page.html", cwd=tmp_path)
        replay = proveout("replay", record, "--json", cwd=tmp_path)
        verify = proveout("verify", record, cwd=tmp_path)
        assert process.poll() is None, "it has the record open"
    finally:
        process.send_signal(signal.SIGCONT)
        process.terminate()
        process.communicate(timeout=30)
    assert report.returncode in (0, 1), report.stderr
    assert "not finished" in (tmp_path / "page.html").read_text("utf-8").replace("unfinished", "not finished")
    assert json.loads(replay.stdout)["verdicts"] is not None
    assert verify.returncode in (0, 1) and "changed" not in verify.stdout
    assert isinstance(list(read_record(record))[-1].event, e.MadeSafe)


def test_a_folder_that_cannot_be_written_is_told_before_anything_is_done(tmp_path: Path) -> None:
    blocked = tmp_path / "a file"
    blocked.write_text("in the way", "utf-8")
    words = ("run", SEQUENCE, "--bench", bench_without_faults(tmp_path), "--record", blocked / "logs" / "r.jsonl")
    done = proveout(*words, cwd=tmp_path)
    assert done.returncode == 3
    assert "cannot be made: Not a directory" in done.stderr and "Traceback" not in done.stderr
    assert done.stdout == ""
