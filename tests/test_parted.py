"""Tests that run in processes that parted are told, counted and missed as if one process had run them."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

FILE = """
import os, signal, warnings
import pytest

made = []

@pytest.fixture(scope="session", autouse=True)
def closed(tmp_path_factory):
    place = tmp_path_factory.getbasetemp()
    yield
    (place / "closed").write_text("")

@pytest.mark.parametrize("number", range(8))
@pytest.mark.xdist_group("one after the other")
def test_group(number):
    made.append(number)
    assert made == list(range(number + 1))

@pytest.mark.parametrize("number", range(20))
def test_sound(number, tmp_path):
    print("said")
    if number == 7:
        warnings.warn("seven")

def test_wrong(capsys):
    print("this was printed")
    assert os.getpid() == 0
"""
KILLED = """
def test_killed():
    os.kill(os.getpid(), signal.SIGKILL)
"""


def run(folder: Path, text: str, *words: str) -> tuple[int, str]:
    """Run the tests of a text; answers the exit code and what was printed."""
    (folder / "conftest.py").write_text("from tests.parted import pytest_addoption, pytest_runtestloop\n")
    (folder / "test_some.py").write_text(text)
    command = [sys.executable, "-m", "pytest", "-q", "--basetemp", str(folder / "base"), *words, "test_some.py"]
    done = subprocess.run(
        command,
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


@pytest.mark.slow
def test_all_are_run_and_told_and_what_is_shared_is_closed(tmp_path: Path) -> None:
    code, said = run(tmp_path, FILE, "--parted", "3")
    assert code == 1, said
    assert "1 failed, 28 passed, 1 warning" in said
    assert "this was printed" in said and "UserWarning: seven" in said
    parts = sorted(place.name for place in (tmp_path / "base").iterdir())
    assert parts == ["part0", "part1", "part2"]
    assert all((tmp_path / "base" / part / "closed").exists() for part in parts)


@pytest.mark.slow
def test_a_part_that_is_killed_is_a_failure_of_its_test(tmp_path: Path) -> None:
    code, said = run(tmp_path, FILE + KILLED, "--parted", "2")
    assert code == 1, said
    assert "test_killed" in said and "ended with -9 in this test" in said


@pytest.mark.slow
def test_what_no_part_has_run_is_an_error(tmp_path: Path) -> None:
    """One part alone, and it is killed: what comes after is not passed over in silence."""
    code, said = run(tmp_path, "import os, signal\n" + KILLED + "\n\ndef test_after():\n    pass\n", "--parted", "1")
    assert code != 0
    assert "1 of 2 tests were not run" in said


@pytest.mark.slow
def test_the_first_failure_ends_it_where_that_is_wanted(tmp_path: Path) -> None:
    code, said = run(tmp_path, FILE, "--parted", "2", "-x", "-k", "wrong or sound")
    assert code in (1, 2)
    assert "stopping after 1 failures" in said
