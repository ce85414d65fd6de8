"""What takes long says what it does: on a terminal, on one line that goes away again, and nowhere else."""

from __future__ import annotations

import io
from contextlib import redirect_stderr
from pathlib import Path

import pytest

from bench.cli import main
from bench.commands.common import busy, say_progress
from tests.job.season_folder import PLANT, season


class Terminal(io.StringIO):
    """Somebody looks at it."""

    def isatty(self) -> bool:
        return True


def shown(text: str) -> str:
    """What stands on the line in the end: each return of the carriage writes over it."""
    line: list[str] = []
    for part in text.split("\r"):
        line[: len(part)] = part
    return "".join(line).strip()


def test_what_is_done_stands_on_the_line_until_it_is_done() -> None:
    with redirect_stderr(Terminal()) as terminal, busy("looking for changes"):
        assert shown(terminal.getvalue()) == "looking for changes ..."
        say_progress(1, 2)
        assert shown(terminal.getvalue()).startswith("reading records: 1 of 2")
        say_progress(2, 2, then="looking for changes ...")
        assert shown(terminal.getvalue()) == "looking for changes ..."
    assert shown(terminal.getvalue()) == ""


def test_the_line_goes_away_where_it_failed() -> None:
    with redirect_stderr(Terminal()) as terminal, pytest.raises(ValueError, match="no"), busy("looking for changes"):
        raise ValueError("no")
    assert shown(terminal.getvalue()) == ""


def test_nothing_of_it_is_written_into_a_file_or_a_pipe() -> None:
    with redirect_stderr(io.StringIO()) as pipe, busy("looking for changes"):
        say_progress(1, 2)
    assert pipe.getvalue() == ""


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["trace", "--all", "--logs", "LOGS"], "looking for changes"),
        (["trace", "W101.34", "--logs", "LOGS"], "reading records: 1 of"),
        (["ready", str(PLANT), "--logs", "LOGS"], "reading records: 1 of"),
        (["export", "LOGS", "-o", "FILE.csv"], "reading records: 1 of"),
        (["report", "LOGS", "-o", "FILE.html"], "writing the report"),
        (["findings", str(PLANT), "--logs", "LOGS"], "working out what was found"),
        (["verify", "LOGS", "--chain-only"], "against one another"),
        (["verify", "LOGS", "--chain-only", "--json"], "reading records: 1 of"),
    ],
)
def test_each_command_over_all_records_says_what_it_does(
    words: list[str], says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    places = {"LOGS": str(season()), "FILE.csv": str(tmp_path / "all.csv"), "FILE.html": str(tmp_path / "all.html")}
    with redirect_stderr(Terminal()) as terminal:
        main([places.get(word, word) for word in words])
    assert says in terminal.getvalue() and shown(terminal.getvalue()) == ""
    assert "reading records" not in capsys.readouterr().out
