"""An insulation reading is held against its minimum as it was taken, whatever it comes to at another temperature."""

from pathlib import Path

import msgspec
import pytest

from bench.judge.accuracy import AccuracyRow
from bench.walk.facts import InstrumentFacts
from bench.walk.results import results
from tests.walk import paper_walk as paper

TESTER = InstrumentFacts(
    name="tester",
    profile="a-tester",
    title="insulation tester",
    roles=["insulation"],
    rows=(
        AccuracyRow(
            "insulation", "Ω", 1e10, percent_of_reading=3.0, resolution=1.0, drift_percent_of_reading_per_k=0.1
        ),
    ),
    accuracy_of={"insulation": "insulation"},
)
BENCH = msgspec.structs.replace(
    paper.BENCH,
    instruments=[*paper.BENCH.instruments, TESTER],
    role_of={**paper.BENCH.role_of, "insulation": "tester"},
)
SEQUENCE = """
sequence: one reading
plant: plant.yaml
steps:
  - {step: ask, text: How warm is it?, name: ambient, least: -10, most: 45}
  - {step: do, text: Cards out., take-out: ["1A"]}
  - step: measure
    read: insulation
    between: [J1.1, J1.2]
    at: 250 V
    after: 15 s
    bring-to: 20 °C
    limit: {at-least: 500 kohm, source: set for this test}
"""


@pytest.mark.parametrize(("celsius", "ohms", "verdict"), [(35, 260e3, "fail"), (35, 900e3, "pass"), (5, 1.2e6, "pass")])
def test_a_minimum_is_for_the_reading_as_taken(tmp_path: Path, celsius: int, ohms: float, verdict: str) -> None:
    walker = paper.PaperWalk(paper.made(tmp_path, SEQUENCE, bench=BENCH).began)
    walker.until(index=0)
    walker.answer(str(celsius))
    walker.until(index=2, phase=paper.Phase.MEASURING)
    walker.read(value=ohms, instrument="tester", function="insulation", unit="Ω")
    outcome = results(walker.state)[2]
    assert outcome.verdict == verdict, outcome.sentence
    assert outcome.figure.value == ohms
    assert "For comparison" in outcome.remark and "to 20 °C" in outcome.remark
