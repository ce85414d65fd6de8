"""What the machine does with an output that is brought up: trips, pauses, trouble, evidence that no longer counts."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from bench.plant.handled import Change, Handled
from bench.plant.model import Plant
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.power import still_live
from bench.walk.results import outcomes
from bench.walk.state import OutOfTurn, Phase, State, accepts
from tests.power import small_hall
from tests.walk import paper_walk as paper

SEQUENCE = """
sequence: one shelf
plant: plant.yaml
steps:
  - step: measure
    title: no short
    read: resistance
    between: [2A.A, 2A.A-return]
    limit: {at-most: 2 ohm, source: set for this test}
  - {step: hold, text: Clear., word: CLEAR}
  - {step: do, text: Close., close: [FA, FA2A]}
  - step: energise
    title: up
    text: On.
    at: [GA]
    voltage: 48 V
    current-limit: 4 A
  - step: measure
    title: under load
    read: voltage
    between: [2A.A, 2A.A-return]
    live: true
    limit: {computed: shelf-voltage}
  - {step: set, text: Off., output: off}
"""
BENCH = paper.msgspec.structs.replace(
    paper.BENCH,
    instruments=[
        paper.METER,
        paper.msgspec.structs.replace(
            paper.SUPPLY,
            rows=(paper.AccuracyRow("amps", "A", 5.0, percent_of_reading=0.1, counts=30, resolution=1e-4),),
            accuracy_of={"current": "amps"},
        ),
    ],
)


@pytest.fixture
def walker(tmp_path: Path) -> paper.PaperWalk:
    return paper.PaperWalk(paper.made(tmp_path, SEQUENCE, small_hall.SMALL, BENCH).began, readings=sound)


def sound(state: State, step: object) -> dict[str, object]:
    return {"value": -47.85} if getattr(step, "role", "") == "volts" else {"value": 1.0}


def up(walker: paper.PaperWalk) -> paper.PaperWalk:
    return walker.until(phase=Phase.ENERGISING)


def energised(walker: paper.PaperWalk, **changes: object) -> None:
    step = walker.state.step
    assert step is not None
    walker.add(paper.brought_up(walker.state, step, **changes))


def test_a_sound_load_passes_and_is_fed(walker: paper.PaperWalk) -> None:
    energised(up(walker))
    outcome = next(outcomes(walker.state))
    assert (outcome.verdict, outcome.finding) == ("pass", "")
    assert walker.state.outputs.on and walker.state.conditions.fed is not None
    walker.finish()
    assert [o.verdict for o in outcomes(walker.state)][:2] == ["done", "pass"]
    assert walker.state.conditions.fed is None


def test_a_trip_fails_and_every_hold_point_is_to_be_passed_again(walker: paper.PaperWalk) -> None:
    energised(up(walker), state="off", why="over")
    assert not walker.state.outputs.on and not walker.state.outputs.held
    newest = list(outcomes(walker.state))
    assert newest[0].barred and newest[0].sentence == "Passed over: no output is on"
    assert newest[1].verdict == "fail" and newest[1].finding == "heavy"
    assert "Output off" in newest[1].sentence


@pytest.mark.parametrize(("jump", "word"), [(False, "creeps"), (True, "heavy")])
def test_a_current_that_rises_beyond_bit_by_bit_creeps(walker: paper.PaperWalk, jump: bool, word: str) -> None:
    up(walker)
    step = walker.state.step
    assert step is not None
    base = paper.brought_up(walker.state, step).amps
    rise = [0.0] * (len(base) - 1) + [0.3] if jump else [0.3 * k / len(base) for k in range(len(base))]
    energised(walker, state="off", why="over", amps=[(a or 0.0) + b for a, b in zip(base, rise, strict=True)])
    outcome = next(o for o in outcomes(walker.state) if not o.barred)
    assert (outcome.verdict, outcome.finding) == ("fail", word)


@pytest.mark.parametrize(("part", "word"), [(0.5, "light"), (1.4, "heavy")])
def test_too_little_is_a_finding_as_much_as_too_much(walker: paper.PaperWalk, part: float, word: str) -> None:
    up(walker)
    step = walker.state.step
    assert step is not None
    sample = paper.brought_up(walker.state, step)
    energised(walker, amps=[part * (a or 0.0) for a in sample.amps])
    outcome = next(o for o in outcomes(walker.state) if not o.barred)
    assert (outcome.verdict, outcome.finding) == ("fail", word)


def test_resting_takes_the_output_off_first(walker: paper.PaperWalk) -> None:
    """Whoever rests while it comes up, with somebody there or not: off, read back, and the hold point again."""
    up(walker)
    walker.add(e.Paused(why="tea"))
    assert walker.state.phase is Phase.SAFING
    walker.safe()
    assert walker.state.phase is Phase.PAUSED and not walker.state.outputs.held
    walker.add(e.Continued(by="Ana"))
    assert isinstance(walker.asked, r.Ask) and walker.asked.step.kind == "hold"


def test_trouble_takes_the_output_off_first(walker: paper.PaperWalk) -> None:
    up(walker).trouble("lost")
    assert walker.state.phase is Phase.SAFING
    walker.safe()
    assert walker.state.phase is Phase.TROUBLED and not walker.state.outputs.on
    walker.answer("retry")
    walker.until(phase=Phase.ASKING)
    assert walker.state.step is not None and walker.state.step.kind == "hold"


def test_an_output_that_is_not_confirmed_off_is_not_forgotten(walker: paper.PaperWalk) -> None:
    energised(up(walker), state="off", why="over", confirmed=False)
    assert walker.state.phase is Phase.SAFING and "supply" in walker.state.outputs.on
    walker.safe(supply=False)
    assert walker.state.phase is Phase.TROUBLED and walker.state.pending.trouble is not None
    assert walker.state.pending.trouble.kind == "unsafe"


def test_nothing_else_goes_on_while_it_comes_up(walker: paper.PaperWalk) -> None:
    up(walker)
    for event in (
        e.Went(number=walker.state.number, to=0),
        e.Skipped(number=walker.state.number, reason="later"),
        e.Answered(number=walker.state.number),
    ):
        with pytest.raises(OutOfTurn):
            accepts(walker.state, event)


def test_giving_up_takes_the_output_off(walker: paper.PaperWalk) -> None:
    up(walker).add(e.Aborted(why="smoke"))
    assert isinstance(walker.asked, r.MakeSafe)
    walker.safe()
    assert walker.state.phase is Phase.ABORTED and not walker.state.outputs.on


def test_what_was_disturbed_bars_the_way_until_it_is_measured_again(walker: paper.PaperWalk) -> None:
    walker.until(phase=Phase.ASKING, index=2)
    walker.add(e.Disturbed(touches=["2A"], text="a screw fell in"))
    walker.answer()
    barred = [o for o in outcomes(walker.state) if o.barred]
    assert "'no short' does not count as passed (void)" in barred[-1].sentence
    assert walker.state.conditions.fed is None and not walker.state.outputs.on


def test_a_persons_reason_stands_for_evidence_and_is_kept(walker: paper.PaperWalk) -> None:
    walker.until(phase=Phase.PLACING, index=0).skip("proved by hand in the presence of the person in charge, sheet 12")
    up(walker)
    assert isinstance(walker.asked, r.Energise)


def left(on: Sequence[str] = (), closed: Sequence[str] = ()) -> Handled:
    """The hall with these supplies on and these breakers closed."""
    return Handled().after(
        [Change("supply", name, "on") for name in on] + [Change("breaker", n, "closed") for n in closed]
    )


def test_a_battery_behind_breakers_is_said_with_whom_to_tell(hall: Plant) -> None:
    texts = still_live(hall, left(on=["GA"], closed=["FA", "FA2A"]))
    assert len(texts) == 1
    for words in ("battery GA is on", "cannot switch it off", "breaker FA", "FA2A"):
        assert words in texts[0]
    assert still_live(hall, left(closed=["FA"])) == []
    assert "open breakers" in still_live(hall, left(on=["GB"], closed=["FA"]))[0]
