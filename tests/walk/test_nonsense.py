"""A record that is whole and chained and says nonsense is refused in words, and never breaks the program."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from bench.walk import events as e
from bench.walk.state import Phase, Refused, start, take
from tests.walk import paper_walk as paper


@pytest.mark.parametrize("value", [1e200, -1e308, 1e308])
@pytest.mark.parametrize("beside", [{}, {"range": 1e300}, {"count": 3, "spread": 1e200}])
def test_no_reading_is_too_large(small: paper.Made, value: float, beside: dict[str, Any]) -> None:
    walker = paper.PaperWalk(small.began)
    while not walker.state.finished:
        step = walker.state.step
        if walker.state.phase is Phase.MEASURING and step is not None:
            after = take(walker.state, walker.entry(paper.reading(walker.state, step, value=value, **beside)))
            assert after.kept.history is not None
            high = getattr(getattr(step.source, "limit", None), "at_least", None) is None
            assert after.kept.history.outcome.verdict in (
                ("fail", "undecided") if high else ("pass", "fail", "undecided")
            )
        walker.one()


def test_a_bench_of_nonsense_is_refused_at_the_start(small: paper.Made) -> None:
    rows = [replace(paper.VOLTS[0], unit="")]
    meter = msgspec.structs.replace(paper.METER, rows=(*rows, *paper.VOLTS[1:]))
    odd = msgspec.structs.replace(paper.BENCH, instruments=[meter, paper.SUPPLY])
    with pytest.raises(Refused, match=r"its bench makes no sense: .*one unit"):
        take(start(), e.Entry(n=1, at="", event=small.with_bench(odd).began))


def test_a_sequence_that_does_not_fit_its_plant_is_refused_at_the_start(small: paper.Made) -> None:
    first = small.began.sequence.steps[0]
    odd = msgspec.structs.replace(first, text="{conductor.__class__}")
    sequence = msgspec.structs.replace(small.began.sequence, steps=[odd, *small.began.sequence.steps[1:]])
    with pytest.raises(Refused, match="its sequence does not fit its plant"):
        take(start(), e.Entry(n=1, at="", event=msgspec.structs.replace(small.began, sequence=sequence)))
