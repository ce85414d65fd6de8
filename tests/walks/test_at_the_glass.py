"""A whole walk before a real terminal, both hands full: a person who reads the glass and presses what it asks for.

The person knows nothing but what is painted. Contacts are taken by themselves; no key is pressed for a reading.
"""

from __future__ import annotations

import os
import re
import signal
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

pytest.importorskip("pyte")

from bench.record.read import read_record
from bench.runner.address import address_file, read_address
from bench.screens.walk.follow import Follower
from bench.sequence.file import Measure
from bench.sequence.load import load_sequence
from bench.walk import events as e
from bench.walk.afterwards import not_passed
from bench.walk.results import results
from bench.walk.state import State
from tests.walks.glass import Glass
from tests.walks.tool import BENCH, JOB, SEQUENCE, run_json, verdicts

CONDUCTORS = [f"W101.{number}" for number in (1, 2, 5, 12, 17, 30, 31, 38)]
NEIGHBOURS = ["J101.19~J101.20", "J101.1~J101.2"]
PERSON = 300.0
"""Seconds that the walk may take on a slow machine; here it takes about twenty."""


def some_of(folder: Path) -> Path:
    """The shipped sequence over some of the conductors, in one row: sound ones, the open and the high one, a short."""
    text = SEQUENCE.read_text("utf-8").replace("plant: plant.yaml", f"plant: {JOB / 'plant.yaml'}")
    first, rest = text.index("  - step: each\n    over: conductors\n    only:"), text.index("    of: W101\n    but:")
    text = text[:first] + "  - step: each\n    over: conductors\n" + re.sub("    but: .*\n", "", text[rest:], count=1)
    for over, only in (
        ("over: conductors\n    of: W101\n", CONDUCTORS),
        ("over: neighbours\n    of: J101\n", NEIGHBOURS),
    ):
        assert over in text
        text = text.replace(over, f"{over}    only: [{', '.join(only)}]\n")
    path = folder / "some.yaml"
    path.write_text(text, "utf-8")
    return path


@pytest.fixture
def sequence(tmp_path: Path) -> Path:
    return some_of(tmp_path)


@pytest.fixture
def glasses() -> Iterator[list[Glass]]:
    kept: list[Glass] = []
    yield kept
    for glass in kept:
        glass.close()


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Path]:
    """The record to write; its runner is ended, should a test have failed before its walk was over."""
    path = tmp_path / "r.jsonl"
    yield path
    with suppress(FileNotFoundError, ProcessLookupError):
        os.kill(read_address(address_file(path)).process, signal.SIGTERM)


def folded(record: Path) -> State:
    follower = Follower()
    for entry in read_record(record):
        follower.hear(entry)
    assert follower.lost is None
    return follower.state


def readings(record: Path) -> int:
    return sum(isinstance(entry.event, e.Read) for entry in read_record(record)) if record.exists() else 0


class Person:
    """Reads the glass and does what it says, until something that they wait for stands there."""

    def __init__(self, glass: Glass) -> None:
        self.glass = glass
        self.pressed: list[str] = []

    def once(self) -> None:
        """Look once, and act if something is asked of a person."""
        glass, words = self.glass, self.glass.words
        caution = re.search(r"press ([yu]) when you have read it", words)
        box = "Enter sends it" in words
        word = re.search(r"Type ([A-Z]+) when it is true", words)
        if box and (word is not None or "Wanted: a number" in words):
            self.press(f"{word[1] if word is not None else 18}\r", lambda: "Enter sends it" not in glass.words)
        elif "press Enter to type" in words:
            # the page behind a box that has just closed may ask a moment longer
            self.press("\r", lambda: "Enter sends it" in glass.words or "press Enter to type" not in glass.words)
        elif caution is not None:
            self.press(caution[1], lambda: "when you have read it" not in glass.words)
        elif "press Enter when it is done" in words:
            self.press("\r", lambda: "press Enter when it is done" not in glass.words)
        elif "The walk is paused" in words:
            self.press("p", lambda: "The walk is paused" not in glass.words)

    def press(self, keys: str, then: object) -> None:
        self.pressed.append(keys)
        self.glass.press(keys, then)  # type: ignore[arg-type]

    def walk(self, true: object) -> None:
        """Go on until something is true."""

        def seen() -> bool:
            self.once()
            return bool(true())  # type: ignore[operator]

        self.glass.until(seen, PERSON)


def check(record: Path, expected: dict[str, str]) -> None:
    """The verdicts are those of a run without a screen, and no touch was taken twice or by a key."""
    found = {outcome.key: outcome.verdict for outcome in results(folded(record)).values()}
    assert {key: found[key] for key in expected} == expected
    failed = sorted(key for key, verdict in expected.items() if verdict == "fail")
    assert len(failed) == 4, f"the open, the high one, the short and the search: {failed}"
    events = [entry.event for entry in read_record(record)]
    taken = [x for x in events if isinstance(x, e.Answered) and x.how == "contact"]
    # what is to be apart is not seen to touch: there the simulator's hands speak up, as they do at the open wire
    spoken = [x for x in events if isinstance(x, e.Answered) and x.how == "simulated"]
    assert len(taken) >= len(CONDUCTORS) - 1 and len(taken) + len(spoken) == readings(record)
    assert len({x.number for x in (*taken, *spoken)}) == len(taken) + len(spoken)
    assert all(x.how == "key" for x in events if isinstance(x, e.Answered) and x not in taken and x not in spoken)


@pytest.fixture(scope="module")
def expected(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """What the same walk comes to without a screen."""
    folder = tmp_path_factory.mktemp("straight")
    code, summary = run_json("run", some_of(folder), "--bench", BENCH, "--record", folder / "r.jsonl", cwd=folder)
    assert code == 1
    return verdicts(summary)


WORDS = ("--operator", "Ada", "--place-after", "0.2", "--give-up-after", "600")


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")
def test_a_whole_walk_hands_free(
    sequence: Path, record: Path, glasses: list[Glass], expected: dict[str, str], tmp_path: Path
) -> None:
    glass = Glass("walk", sequence, "--bench", BENCH, "--record", record, *WORDS, cwd=tmp_path)
    glasses.append(glass)
    person = Person(glass)
    person.walk(lambda: "The walk is done" in glass.words)
    assert "4 failed" in glass.words
    assert set(person.pressed) <= {"y", "u", "\r", "DEAD\r", "18\r"}
    check(record, expected)
    # what failed is measured again by one key: drafted, and begun on the same bench
    glass.press("g", lambda: "again" in glass.words and "when you have read it" in glass.words)
    again = load_sequence(record.with_name("r-again.yaml")).plan.steps
    assert {step.subject for step in again if isinstance(step.source, Measure)} == {
        one.subject for one in not_passed(folded(record))
    }
    glass.press("x", lambda: "Type ABORT" in glass.words)
    glass.press("ABORT seen enough\r", lambda: "given up" in glass.words)
    glass.type("q")
    assert glass.end() == 1
    assert b"\x1b[?1049l" in glass.raw, "the terminal is itself again"


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")
def test_a_screen_that_is_killed_in_mid_walk_is_taken_up_again(
    sequence: Path, record: Path, glasses: list[Glass], expected: dict[str, str], tmp_path: Path
) -> None:
    size = (120, 40)
    first = Glass("walk", sequence, "--bench", BENCH, "--record", record, *WORDS, cwd=tmp_path, size=size)
    glasses.append(first)
    Person(first).walk(lambda: readings(record) >= 5)
    first.kill()
    kept = record.read_bytes()
    kept = kept[: kept.rfind(b"\n") + 1]

    second = Glass("walk", "--attach", record, "--operator", "Bo", cwd=tmp_path, size=size)
    glasses.append(second)
    second.shows("The walk is paused")
    person = Person(second)
    person.walk(lambda: "The walk is done" in second.words)
    assert set(person.pressed) == {"p"}, "nothing that was answered is asked again"
    assert record.read_bytes().startswith(kept)
    check(record, expected)
    seats = [x.by for x in (entry.event for entry in read_record(record)) if isinstance(x, e.Seated)]
    assert seats[:3] == ["Ada", "", "Bo"]
    second.type("q")
    assert second.end() == 1


@pytest.mark.slow
@pytest.mark.timeout(300)
@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")
def test_a_record_is_replayed_at_the_glass_and_printed_elsewhere(
    record: Path, glasses: list[Glass], sequence: Path, tmp_path: Path
) -> None:
    code, _ = run_json("run", sequence, "--bench", BENCH, "--record", record, cwd=tmp_path)
    before = record.read_bytes()
    glass = Glass("replay", record, cwd=tmp_path)
    glasses.append(glass)
    glass.shows("Space play")
    glass.press("f", lambda: "FAIL" in glass.words)
    glass.press("\t", lambda: "What the meter said" in glass.words)
    glass.type("q")
    assert glass.end() == code == 1
    assert record.read_bytes() == before

    printed = Glass("replay", record, "--no-screen", cwd=tmp_path, size=(200, 60))
    glasses.append(printed)
    assert printed.end() == 1
    # the open, the high one and the short, and the search that tells what became of them
    assert "4 fail" in printed.words and b"\x1b[?1049h" not in printed.raw
