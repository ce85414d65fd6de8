"""A dial tester that is held on for a minute: three figures, each at its second by the walk's clock."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.screens.walk.sayings import page
from bench.walk import events as e
from bench.walk.results import results
from bench.walk.state import Refused, fold, take
from tests.walk.by_hand_hall import BENCH, began
from tests.walk.mistyped import TypedWalk

SEQUENCE = """
sequence: absorption
plant: plant.yaml
steps:
  - {step: do, text: Cards out., take-out: [1C, 2C]}
  - step: measure
    title: Absorption
    read: insulation
    between: [J101.1, J101.2]
    at: 250 V
    times: [15 s, 30 s, 60 s]
    bring-to: 20 degC
    limit: {at-least: 1 Mohm, source: set for this test}
"""


def at(walk: TypedWalk, seconds: int, text: str) -> None:
    """Type a line so long after the test began."""
    minute, second = divmod(seconds, 60)
    when = f"2026-05-12T18:{minute:02}:{second:02}.000000Z"
    entry = e.Entry(n=walk.state.taken + 1, at=when, event=walk.answered(text))
    walk.state = take(walk.state, entry)
    walk.entries.append(entry)


def test_three_figures_at_their_seconds(tmp_path: Path) -> None:
    walk = TypedWalk(began(tmp_path, SEQUENCE, BENCH))
    at(walk, 0, "")
    assert "keep it on" in page(walk.state).text and "15 s" in page(walk.state).text
    with pytest.raises(Refused, match="runs 15 s"):
        at(walk, 5, "80 M")
    at(walk, 15, "80 M")
    assert "When 30 s have gone" in page(walk.state).text
    with pytest.raises(Refused, match="runs 30 s"):
        at(walk, 20, "95 M")
    at(walk, 31, "95 M")
    at(walk, 62, "120 M")
    walk.settle()
    outcome = results(walk.state)[1]
    assert outcome.verdict == "pass" and outcome.reading is not None
    assert outcome.reading.series == [(15.0, 80e6), (30.0, 95e6), (60.0, 120e6)]
    assert outcome.reading.raw == ["80 M", "95 M", "120 M"]
    assert "1.26" in f"{outcome.sentence} {outcome.remark}"
    assert results(fold(walk.entries))[1].reading == outcome.reading
