"""One step of the last digit decides nothing, and a meter is proven on either pole of a live source."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import msgspec
import pytest

from bench.judge.accuracy import AccuracyRow
from bench.walk.results import results
from bench.walk.state import Phase
from tests.walk import paper_walk as paper
from tests.walk.paper_walk import Made, PaperWalk

PROOF = """
sequence: live source
plant: plant.yaml
steps:
  - {step: prove, against: live-source, read: voltage, text: Touch the battery}
  - {step: measure, read: voltage, between: [BA, RA], limit: {at-least: -1 V, at-most: 1 V, source: dead}}
  - {step: prove, against: live-source, read: voltage, text: Touch the battery again}
"""


@pytest.mark.parametrize(
    ("shown", "verdict"),
    [
        ({"value": 48.0}, "pass"),
        ({"value": -48.0}, "pass"),
        ({"over": "-", "range": 100.0}, "pass"),
        ({"value": -9.0}, "fail"),
        ({"value": 0.02}, "fail"),
    ],
)
def test_either_pole_proves_a_meter(tmp_path: Path, shown: Mapping[str, object], verdict: str) -> None:
    made = paper.made(tmp_path, PROOF)
    dead = {"value": 0.01}
    walker = PaperWalk(made.began, readings=lambda state, step: dict(shown) if step.kind == "prove" else dead)
    walker.finish()
    found = results(walker.state)
    assert [found[0].verdict, found[2].verdict] == [verdict, verdict]
    assert found[1].verdict == ("pass" if verdict == "pass" else "void")
    assert found[0].reading is not None and found[0].reading.value == shown.get("value")


LEADS_AND_ONE = """
sequence: one wire
plant: plant.yaml
decide: {rule: guarded, probability: 95 %}
steps:
  - {step: zero}
  - {step: measure, read: resistance, between: [J1.1, J1.2], limit: {at-most: 0.2 ohm, source: set for this test}}
"""
FINE = AccuracyRow(
    "ohms 2w",
    "Ω",
    10.0,
    percent_of_reading=0.01,
    percent_of_range=0.002,
    resolution=1e-4,
    highest=12.0,
)


def test_one_count_below_the_zero_is_as_good_as_the_zero_itself(tmp_path: Path) -> None:
    meter = msgspec.structs.replace(paper.METER, rows=(FINE, *paper.VOLTS))
    bench = msgspec.structs.replace(paper.BENCH, instruments=[meter, paper.SUPPLY])
    made = Made(paper.made(tmp_path, LEADS_AND_ONE).began).with_bench(bench)
    doubt: dict[float, float] = {}
    for shown in (0.2995, 0.2999, 0.3, 0.3001, 0.3005):
        walker = PaperWalk(
            made.began, readings=lambda state, step, v=shown: {"value": 0.3 if step.kind == "zero" else v}
        )
        walker.finish()
        outcome = results(walker.state)[1]
        assert outcome.verdict == "pass", (shown, outcome.sentence)
        assert outcome.figure.value == pytest.approx(max(0.0, shown - 0.3), abs=6e-4)
        assert outcome.figure.expanded is not None
        doubt[shown] = outcome.figure.expanded
    assert max(doubt.values()) < 1.1 * min(doubt.values())


APART = """
sequence: apart
plant: plant.yaml
steps:
  - {step: measure, read: resistance, between: [J1.1, J1.2], limit: {at-least: 100 kohm, source: wires that are apart}}
"""


@pytest.mark.parametrize(
    ("shown", "verdict"),
    [
        ({"over": "+"}, "undecided"),
        ({"over": "+", "range": 10.0}, "undecided"),
        ({"over": "+", "range": 1e6}, "pass"),
        ({"over": "+", "bound": 1e6}, "pass"),
    ],
)
def test_over_range_proves_what_its_range_proves_and_one_that_nobody_knows_the_lowest(
    tmp_path: Path, shown: Mapping[str, object], verdict: str
) -> None:
    walker = PaperWalk(paper.made(tmp_path, APART).began).until(index=0, phase=Phase.MEASURING)
    walker.read(**shown)
    assert results(walker.state)[0].verdict == verdict
