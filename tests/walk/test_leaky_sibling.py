"""A pair that passes its insulation but lies decades below the other pairs of its cable is pointed at."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.walk.results import results
from tests.walk.by_hand_hall import BENCH, began, walked

SEQUENCE = """
sequence: insulation pair by pair
plant: plant.yaml
steps:
  - {step: do, text: Cards out., take-out: [1C, 2C]}
  - {step: hold, text: Everybody is clear of both ends., word: CLEAR}
  - step: each
    over: pairs
    of: W101
    only: [W101/1, W101/2, W101/3, W101/4, W101/5, W101/6]
    title: Pairs
    steps:
      - step: measure
        read: insulation
        between: ["{pair.tip-near}", "{pair.ring-near}"]
        at: 250 V
        limit: {at-least: 1 Mohm, source: set for this test}
"""


@pytest.mark.slow
def test_it_is_pointed_at(tmp_path: Path) -> None:
    typed = iter(["150 M", "120 M", "140 M", "5.0 M", "160 M", "130 M"])
    first = began(tmp_path, SEQUENCE, BENCH)
    state = walked(first, mistake=lambda state, step, text: next(typed))
    found = [one for one in results(state).values() if one.reading is not None]
    assert [one.verdict for one in found] == ["pass"] * 6
    assert [one.odd for one in found].count(True) == 1
    odd = next(one for one in found if one.odd)
    assert odd.figure.value is not None and odd.figure.value < 10e6 and "decades below" in odd.remark
