"""A walk that is gone on with days later, and going back while something is live by hand."""

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


def desk_at(small: paper.Made, kind: str, which: int) -> paper.Desk:
    desk = paper.Desk(small.began)
    return desk.until(index=desk.index(kind, which))


def test_an_old_zero_is_asked_for_again_and_then_the_walk_goes_on(small: paper.Made) -> None:
    desk = desk_at(small, "measure", 2)
    stood, instrument = desk.state.place.cursor, "meter"
    assert desk.state.conditions.zeros[instrument]
    desk.resume(zero_again=True)
    assert instrument not in desk.state.conditions.zeros
    desk.until(phase=Phase.MEASURING)
    assert desk.state.step is not None and desk.state.step.kind == "zero"
    desk.read(value=0.35)
    desk.until(phase=Phase.MEASURING)
    assert desk.state.place.cursor == stood
    assert desk.state.conditions.zeros[instrument] == (0.35,)
    desk.finish()
    assert paper.refold(desk.entries) == desk.state
    found = results(desk.state)
    assert found[stood].verdict in ("pass", "undecided")
    assert found[stood].figure.zero == pytest.approx(0.35)


def test_a_fresh_zero_is_kept(small: paper.Made) -> None:
    desk = desk_at(small, "measure", 2)
    zeros = desk.state.conditions.zeros
    desk.resume()
    desk.until(phase=Phase.PLACING)
    assert desk.state.conditions.zeros == zeros
    assert desk.state.step is not None and desk.state.step.kind == "measure"


def test_how_old_is_too_old(small: paper.Made) -> None:
    desk = desk_at(small, "measure", 2)
    assert not zero_is_old(desk.state, "2026-05-12T23:00:00.000000Z")
    assert zero_is_old(desk.state, "2026-05-13T09:00:00.000000Z")
    assert not zero_is_old(desk.state, "2026-05-01T09:00:00.000000Z"), "a clock that was set back tells nothing"
    early = desk_at(small, "prove", 0)
    assert not zero_is_old(early.state, "2026-06-13T09:00:00.000000Z"), "it comes anyway"
    late = paper.Desk(small.began).finish()
    assert not zero_is_old(late.state, "2026-06-13T09:00:00.000000Z"), "nothing is read any more"


def test_no_zero_is_asked_for_while_an_output_is_on(small: paper.Made) -> None:
    desk = paper.Desk(small.began)
    desk.until(index=desk.index("set") + 1)
    assert desk.state.outputs.on
    desk.resume(zero_again=True)
    desk.finish()


def test_nobody_goes_back_before_what_is_live_by_hand(tmp_path: Path) -> None:
    text = BY_HAND + "  - {step: do, text: Look., touches: [W1]}\n  - {step: do, text: Off., switch-off: [G1]}\n"
    desk = paper.Desk(paper.made(tmp_path, text).began, readings=lambda state, step: {"value": 1.0})
    on = 4
    desk.until(index=on + 1)
    assert desk.state.conditions.handled.live == {"G1"}
    before = desk.state
    for to in range(on):
        with pytest.raises(Refused, match="G1 is live, and that step comes before it was switched on"):
            desk.went(to)
        assert desk.state is before
    desk.went(on)
    desk.one()
    desk.until(index=on + 2)
    with pytest.raises(Refused, match="G1 is live"):
        desk.went(3)
    desk.one()
    assert desk.state.finished or not desk.state.conditions.handled.live


def test_what_was_switched_off_bars_nothing(tmp_path: Path) -> None:
    text = BY_HAND + "  - {step: do, text: Off., switch-off: [G1]}\n  - {step: do, text: Look., touches: [W1]}\n"
    desk = paper.Desk(paper.made(tmp_path, text).began, readings=lambda state, step: {"value": 1.0})
    desk.until(index=6)
    assert not desk.state.conditions.handled.live
    desk.went(3)
    assert desk.state.place.cursor == 3
    assert replace(desk.state) == desk.state
    assert isinstance(desk.entries[-1].event, e.Went)
