"""What a person mistypes and what a machine runs out of: a sentence and the right exit code, never a traceback."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from bench.cli import main
from bench.exits import BAD_INPUT, NOT_PASSED, STOPPED
from bench.record.chain import FIRST, hash_of, split
from tests.job.season_folder import PLANT, copy, season
from tests.walks.tool import proveout

PLACEHOLDER = """
sequence: a slip in where a limit comes from
plant: {plant}
steps:
  - step: each
    over: conductors
    of: W101
    steps:
      - step: measure
        read: resistance
        between: ["{{conductor.near}}", "{{conductor.far}}"]
        limit: {{at-most: 2 ohm, source: "the sheet of {{conductor.colourr}}"}}
"""
FULL = Path("/dev/full")
needs_full = pytest.mark.skipif(not FULL.exists(), reason="this system has no device that is always full")


def said(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str]:
    code = main([str(word) for word in words])
    return code, capsys.readouterr().err


def test_a_mistyped_placeholder_in_the_source_of_a_limit_is_told_with_its_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sequence = tmp_path / "slip.yaml"
    sequence.write_text(PLACEHOLDER.format(plant=PLANT), "utf-8")
    code, told = said(capsys, "check", sequence)
    assert code == BAD_INPUT
    assert "slip.yaml:12:" in told and "colourr" in told and "did you mean" in told


@pytest.mark.parametrize(
    "text", ["9999-12-31T23:59", "9999-12-31", "0001-01-01", "0001-01-01T00:00", "0001-01-01T00:00+14:00", "99-01-01"]
)
def test_a_time_that_no_calendar_reaches_is_told(
    text: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    for zone in ("UTC+12", "UTC-12"):
        monkeypatch.setenv("TZ", zone)
        code, told = said(capsys, "compare", text, "2026-05-12", "--logs", season())
        assert code != 1 or not told, "a difference needs two days that are days"
        code, told = said(capsys, "disturb", "W101", "--note", "moved", "--plant", PLANT, "--when", text)
        assert code == BAD_INPUT and text in told and "expected a time" in told


def test_a_line_that_is_no_text_keeps_no_other_record_from_being_verified(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = copy(tmp_path / "logs")
    first, last = min(folder.glob("*.jsonl")), max(folder.glob("*.jsonl"))
    with first.open("ab") as file:
        # one line of bytes that are no text, one that is sealed as it should be
        file.write(b'\xff\xfe{"x": "\xc3"\n')
        whole = last.read_bytes().splitlines()[1]
        body, _ = split(whole + b"\n")
        strange = body.replace(b'"at":"20', b'"at":"\xff\xfe')
        assert strange != body
        file.write(strange + b'"hash":"' + hash_of(strange, FIRST) + b'"}\n')
    code = main(["verify", str(folder)])
    told = capsys.readouterr().out
    assert code == NOT_PASSED
    assert "WRONG" in told and f"sound  {last}" in told


@needs_full
@pytest.mark.parametrize(
    "words", [("--help",), ("--version",), ("verify", "SEASON"), ("ready", PLANT, "--logs", "SEASON")]
)
@pytest.mark.quick_cases(2)
def test_a_standard_output_that_is_full_is_said(words: tuple[object, ...], tmp_path: Path) -> None:
    import subprocess
    import sys

    with FULL.open("w") as full:
        command = [
            sys.executable,
            "-m",
            "bench.cli",
            *(str(season()) if word == "SEASON" else str(word) for word in words),
        ]
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, cwd=tmp_path, check=False)
    assert "Traceback" not in done.stderr
    assert done.returncode == STOPPED and "No space left" in done.stderr


def test_a_full_disk_leaves_no_empty_draft_in_the_way(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "continuity.yaml"
    words = ("draft", PLANT, "continuity", "--cable", "W101", "-o", target)
    with monkeypatch.context() as full:

        def refuse(handle: int) -> None:
            raise OSError(errno.ENOSPC, "No space left on device")

        full.setattr(os, "fsync", refuse)
        code, told = said(capsys, *words)
        assert code == STOPPED and f"{target} cannot be written: No space left on device" in told
        assert list(tmp_path.iterdir()) == []
    assert said(capsys, *words) == (0, "") or target.exists()
    assert target.read_text("utf-8").rstrip().endswith(("}", "]", "'", '"')) or target.stat().st_size > 500


def test_a_table_with_a_cell_beyond_all_measure_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    colours = tmp_path / "colours.csv"
    colours.write_text("flag,colour\n1," + "x" * 200_000 + "\n", "utf-8")
    code, told = said(capsys, "identify", "W101", "--plant", PLANT, "--colours", colours, "--plan")
    assert code == BAD_INPUT and str(colours) in told and "line 2" in told


def test_drafting_into_what_is_no_file_is_told(tmp_path: Path) -> None:
    done = proveout("draft", PLANT, "continuity", "--cable", "W101", "-o", tmp_path / "none" / "a.yaml", cwd=tmp_path)
    assert done.returncode == STOPPED and "none" in done.stderr and "Traceback" not in done.stderr
