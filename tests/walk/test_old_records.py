"""Records that were written before the plant as handled was one value: they fold to the verdicts that they had.

Each stands in ``data/`` with what was made of it when it was written: where it ended, what was handled after each event
that changed that, and every verdict. A walk of the shipped earth sequence with a bond lifted and a second path, a first
power with a shelf that draws too much, and a walk of every kind of step with trouble, a reading taken again, a skip, a
rest and a disturbance.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from bench.record.read import read_record
from bench.walk.results import results, verdict_lines
from bench.walk.state import State, start, take

DATA = Path(__file__).parent / "data"
RECORDS = sorted(DATA.glob("*.jsonl"))


def handled(state: State) -> dict[str, list[str]]:
    """What is closed, live, out, lifted and on, as far as the walk knows."""
    here = state.conditions.handled
    found = {
        "closed": sorted(here.closed),
        "live": sorted(here.live),
        "out": sorted(here.out),
        "lifted": sorted(here.lifted),
        "powered": sorted(here.on),
    }
    return {word: names for word, names in found.items() if names}


def near(was: Any) -> Any:
    """The same, but for the last digits of a number: another processor may round otherwise."""
    return pytest.approx(was, rel=1e-12) if isinstance(was, float) else was


def test_there_are_some() -> None:
    assert len(RECORDS) >= 3


@pytest.mark.parametrize("path", RECORDS, ids=lambda path: path.stem)
def test_an_old_record_folds_to_the_verdicts_that_it_had(path: Path) -> None:
    pinned = json.loads(path.with_suffix(".json").read_text("utf-8"))
    state, moves = start(), []
    before: dict[str, list[str]] | None = None
    for entry in read_record(path):
        state = take(state, entry)
        now = handled(state)
        if now != before:
            moves.append({"n": entry.n, **now})
            before = now
    assert (state.phase.value, state.place.cursor) == (pinned["phase"], pinned["cursor"])
    assert moves == pinned["moves"]
    found = results(state).values()
    for outcome, was in zip(found, pinned["verdicts"], strict=True):
        facts: dict[str, Any] = {
            name: getattr(outcome.figure if name in ("value", "expanded") else outcome, name) for name in was
        }
        assert facts == {name: near(exact) for name, exact in was.items()}
    assert list(verdict_lines(state)) == pinned["lines"]
