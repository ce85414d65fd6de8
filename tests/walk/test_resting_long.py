"""A walk that is continued days later, and going back while something is live by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace

from bench.assemble import zero_is_old
from bench.walk import events as e
from bench.walk.results import results
from bench.walk.state import Phase, Refused
from tests.walk import paper_walk as paper
from tests.walk.walk_explorer import BY_HAND


def walker_at(small: paper.Made, kind: str, which: int) -> paper.PaperWalk:
    walker = paper.PaperWalk(small.began)
    return walker.until(index=walker.index(kind, which))


def test_an_old_zero_is_asked_for_again_and_then_the_walk_goes_on(small: paper.Made) -> None:
    walker = walker_at(small, "measure", 2)
    stood, instrument = walker.state.place.cursor, "meter"
    assert walker.state.conditions.zeros[instrument]
    walker.resume(zero_again=True)
    assert instrument not in walker.state.conditions.zeros
    walker.until(phase=Phase.MEASURING)
    assert walker.state.step is not None and walker.state.step.kind == "zero"
    walker.read(value=0.35)
    walker.until(phase=Phase.MEASURING)
    assert walker.state.place.cursor == stood
    assert walker.state.conditions.zeros[instrument] == (0.35,)
    walker.finish()
    assert paper.refold(walker.entries) == walker.state
    found = results(walker.state)
    assert found[stood].verdict in ("pass", "undecided")
    assert found[stood].figure.zero == pytest.approx(0.35)


def test_a_fresh_zero_is_kept(small: paper.Made) -> None:
    walker = walker_at(small, "measure", 2)
    zeros = walker.state.conditions.zeros
    walker.resume()
    walker.until(phase=Phase.PLACING)
    assert walker.state.conditions.zeros == zeros
    assert walker.state.step is not None and walker.state.step.kind == "measure"


def test_how_old_is_too_old(small: paper.Made) -> None:
    walker = walker_at(small, "measure", 2)
    assert not zero_is_old(walker.state, "2026-05-12T23:00:00.000000Z")
    assert zero_is_old(walker.state, "2026-05-13T09:00:00.000000Z")
    assert not zero_is_old(walker.state, "2026-05-01T09:00:00.000000Z"), "a clock that was set back tells nothing"
    early = walker_at(small, "prove", 0)
    assert not zero_is_old(early.state, "2026-06-13T09:00:00.000000Z"), "it comes anyway"
    late = paper.PaperWalk(small.began).finish()
    assert not zero_is_old(late.state, "2026-06-13T09:00:00.000000Z"), "nothing is read any more"


def test_no_zero_is_asked_for_while_an_output_is_on(small: paper.Made) -> None:
    walker = paper.PaperWalk(small.began)
    walker.until(index=walker.index("set") + 1)
    assert walker.state.outputs.on
    walker.resume(zero_again=True)
    walker.finish()


def test_nobody_goes_back_before_what_is_live_by_hand(tmp_path: Path) -> None:
    text = BY_HAND + "  - {step: do, text: Look., touches: [W1]}\n  - {step: do, text: Off., switch-off: [G1]}\n"
    walker = paper.PaperWalk(paper.made(tmp_path, text).began, readings=lambda state, step: {"value": 1.0})
    on = 4
    walker.until(index=on + 1)
    assert walker.state.conditions.handled.live == {"G1"}
    before = walker.state
    for to in range(on):
        with pytest.raises(Refused, match="G1 is live, and that step comes before it was switched on"):
            walker.went(to)
        assert walker.state is before
    walker.went(on)
    walker.one()
    walker.until(index=on + 2)
    with pytest.raises(Refused, match="G1 is live"):
        walker.went(3)
    walker.one()
    assert walker.state.finished or not walker.state.conditions.handled.live


def test_what_was_switched_off_bars_nothing(tmp_path: Path) -> None:
    text = BY_HAND + "  - {step: do, text: Off., switch-off: [G1]}\n  - {step: do, text: Look., touches: [W1]}\n"
    walker = paper.PaperWalk(paper.made(tmp_path, text).began, readings=lambda state, step: {"value": 1.0})
    walker.until(index=6)
    assert not walker.state.conditions.handled.live
    walker.went(3)
    assert walker.state.place.cursor == 3
    assert replace(walker.state) == walker.state
    assert isinstance(walker.entries[-1].event, e.Went)
