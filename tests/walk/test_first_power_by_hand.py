"""First power of a shelf with a supply that a person sets by its knobs, and meters that a person reads."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from bench.plant.faults import ShelfHeavy
from bench.plant.load import load_plant
from bench.quantity import Current
from bench.sequence.draft import draft
from bench.sequence.plan import Step
from bench.walk import by_knobs
from bench.walk import events as e
from bench.walk.by_eye import FLAG
from bench.walk.by_knobs import LIMIT, OFF
from bench.walk.left_on import outputs_on
from bench.walk.power import BY_HAND
from bench.walk.results import outcomes, results
from bench.walk.setting import Setting
from bench.walk.state import Phase, Refused, State, by_knobs_course, fold, take
from tests.walk.by_hand_hall import JOB, Person, began, walked


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> e.Began:
    """Drafted as ever; the leader allows a margin, since a meter without its leaflet is too coarse for a drop."""
    text = draft(load_plant(JOB / "plant.yaml"), "first-power", "2C", "plant.yaml", "s.json")
    text = text.replace("computed: shelf-voltage", "computed: shelf-voltage, margin: 2 V")
    return began(tmp_path_factory.mktemp("job"), text)


def verdict_of(state: State, title: str) -> tuple[str, str]:
    assert state.setting is not None
    steps = state.setting.plan.steps
    return next((one.verdict, one.sentence) for index, one in results(state).items() if steps[index].title == title)


STAGE = "2C without cards"


@pytest.fixture(scope="module")
def stood(first: e.Began) -> State:
    """The walk where the empty shelf is to be brought up, nothing of it typed yet."""
    person = Person(first)
    while person.state.phase is not Phase.ENERGISING or person.state.step is None or person.state.step.title != STAGE:
        person.add(person.event())
    return person.state


def at_the_knobs(first: e.Began, stood: State, *lines: str) -> Person:
    """Somebody who stands there and has typed these lines."""
    person = Person(first)
    person.state = stood
    for line in lines:
        person.add(person.answered(line))
    return person


@pytest.mark.slow
def test_it_is_walked_whole(first: e.Began) -> None:
    kept: list[e.Entry] = []
    state = walked(first, kept=kept)
    assert state.phase is Phase.DONE and not outputs_on(state)
    assert {one.verdict for one in results(state).values()} == {"pass", "done"}
    raised = [one.event for one in kept if isinstance(one.event, e.Energised)]
    assert len(raised) > 5 and all(one.by_hand and one.confirmed for one in raised)
    assert BY_HAND in next(one.remark for one in results(state).values() if BY_HAND in one.remark)
    # the record alone says it all
    assert verdict_of(fold(kept), "2C on A alone, all cards in") == verdict_of(state, "2C on A alone, all cards in")


@pytest.mark.slow
@pytest.mark.parametrize(("bay", "amps", "raised"), [("6", "hand-held", 8), ("2", "desk", 40)])
def test_a_whole_bay_is_walked_on_to_its_batteries(tmp_path: Path, bay: str, amps: str, raised: int) -> None:
    """Shelf by shelf, feed by feed, both feeds, then the plant's own supplies: nothing is passed over.

    A shelf that draws little wants a desk meter for its current, read by eye as all the others are.
    """
    text = draft(load_plant(JOB / "plant.yaml"), "first-power", bay, "plant.yaml", "s.json")
    text = text.replace("computed: shelf-voltage", "computed: shelf-voltage, margin: 2 V")
    kept: list[e.Entry] = []
    state = walked(began(tmp_path, text, amps=amps), kept=kept)
    assert state.phase is Phase.DONE and not outputs_on(state)
    assert {one.verdict for one in results(state).values()} == {"pass", "done"}
    readings = [one.reading for one in outcomes(state) if one.reading is not None]
    assert readings and all(FLAG in one.flags for one in readings)
    brought_up = [one.event for one in kept if isinstance(one.event, e.Energised)]
    assert len(brought_up) == raised and all(one.by_hand and one.confirmed for one in brought_up)


@pytest.mark.slow
def test_a_shelf_that_draws_too_much_is_switched_off_by_the_hand_and_stays_off(first: e.Began) -> None:
    state = walked(first, [ShelfHeavy(shelf="2C", by=Current(1.0))])
    assert state.phase is Phase.DONE and not outputs_on(state)
    failed = [one.sentence for one in results(state).values() if one.verdict == "fail"]
    assert len(failed) == 1 and "too much" in failed[0] and "says who switched it" in failed[0], failed
    assert verdict_of(state, "2C on B alone")[0] == "skipped"


@pytest.mark.slow
def test_each_level_is_asked_for_and_too_much_wants_the_word_off(first: e.Began, stood: State) -> None:
    person = at_the_knobs(first, stood)
    ramp, now = person.state.pending.ramp, by_knobs_course(person.state)
    assert ramp is not None and now.level == 0 and len(ramp.levels) == 5
    asked = by_knobs.asks(ramp, now)
    assert "12 V" in asked and "NOTHING SWITCHES THIS SUPPLY OFF BY ITSELF" in asked
    for nonsense in ("", "twelve", "retry"):
        with pytest.raises(Refused):
            take(person.state, person.entry(person.answered(nonsense)))
    person.add(person.answered("0.01"))
    assert by_knobs_course(person.state).level == 1
    person.add(person.answered("3.00"))
    now = by_knobs_course(person.state)
    assert now.why == "over" and now.said.startswith("TOO MUCH: switch it off now")
    person.add(person.answered("0.01"))
    assert not by_knobs_course(person.state).over and "Switch it off first" in by_knobs_course(person.state).said
    assert [one.name for one in outputs_on(person.state)] == ["supply"]
    person.add(person.answered(OFF))
    person.add(person.event())
    assert verdict_of(person.state, STAGE)[0] == "fail" and not outputs_on(person.state)


@pytest.mark.quick_cases(1)
@pytest.mark.parametrize(("line", "why"), [(LIMIT, "limit"), ("OL", "over"), (OFF, "by hand")])
def test_the_limit_a_full_scale_and_a_hand_end_it(first: e.Began, stood: State, line: str, why: str) -> None:
    person = at_the_knobs(first, stood)
    person.add(person.answered(line))
    if line != OFF:
        person.add(person.answered(OFF))
    event = person.event()
    assert isinstance(event, e.Energised) and (event.why, event.state) == (why, "off")
    person.add(event)
    assert verdict_of(person.state, STAGE)[0] == "fail"


def test_who_types_too_soon_is_asked_to_wait(first: e.Began, stood: State) -> None:
    person = at_the_knobs(first, stood)
    at = person.state.pending.asked_at
    person.state = take(person.state, e.Entry(n=person.state.taken + 1, at=at, event=person.answered("0.01")))
    now = by_knobs_course(person.state)
    assert now.level == 0 and "is to stand for" in now.said


@pytest.mark.parametrize("lines", [0, 2])
def test_a_walk_that_rests_is_not_safe_before_somebody_said_off(first: e.Began, stood: State, lines: int) -> None:
    person = at_the_knobs(first, stood, *["0.00"] * lines)
    person.add(e.Paused(why="the phone rings", make_safe=True))
    person.add(person.event())
    assert person.state.phase is Phase.TROUBLED and person.state.pending.trouble is not None
    assert "could not be confirmed off" in person.state.pending.trouble.what
    assert [one.name for one in outputs_on(person.state)] == ["supply"]
    for answer in ("retry", ""):
        with pytest.raises(Refused, match="type OFF"):
            take(person.state, person.entry(person.answered(answer)))
    with pytest.raises(Refused):
        take(person.state, person.entry(e.Skipped(number=person.state.number, reason="never mind")))
    person.add(person.answered(OFF))
    assert not outputs_on(person.state)
    person.add(person.event())
    assert person.state.phase is Phase.PAUSED
    # what people agreed to is to be agreed to again
    person.add(person.event())
    step: Step | None = person.state.step
    assert step is not None and step.kind == "hold"


def test_a_walk_that_is_given_up_says_that_it_may_be_on(first: e.Began, stood: State) -> None:
    person = at_the_knobs(first, stood, "0.00")
    person.add(e.Aborted(why="fire alarm"))
    person.add(person.event())
    assert person.state.phase is Phase.ABORTED and [one.name for one in outputs_on(person.state)] == ["supply"]


def test_what_an_ammeter_may_show_with_nothing_flowing_is_no_leakage(first: e.Began, stood: State) -> None:
    """The supply's leaflet allows three counts of 10 mA: a display that stands at 20 mA is no shelf that leaks."""
    ramp = stood.pending.ramp
    assert ramp is not None and ramp.levels[0].leakage_a is not None and stood.step is not None
    person = at_the_knobs(first, stood)
    before = by_knobs_course(person.state).level
    for _ in range(20):
        person.add(person.answered("0.02"))
        if by_knobs_course(person.state).level != before or by_knobs_course(person.state).why:
            break
    now = by_knobs_course(person.state)
    assert not now.why and now.level == before + 1
    # a record that was walked before is folded as it was
    old = msgspec.structs.replace(first, edition=6)
    levels = Setting.of(old).prepared(stood.step, stood.conditions).ramp
    assert levels is not None and levels.levels[0].leakage_a is not None
    assert levels.levels[0].leakage_a < ramp.levels[0].leakage_a
    # what is beyond both is
    assert ramp.levels[0].leakage_a < 0.05
