"""The runner's loop with instruments that have threads of their own, and a clock that jumps."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from bench.record.append import RecordTrouble
from bench.record.read import read_record
from bench.runner import protocol as p
from bench.runner.core import LIVE_EVERY, Signalled
from bench.runner.ports import Leaving, LiveReading, Manner, WentOff
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.results import passed, verdict_lines
from bench.walk.state import MOVED_ON, Phase
from tests.runner.fake_world import FakeScreen, World, world
from tests.walk import paper_walk as paper
from tests.walk.paper_walk import Made, refold

ALONE = Manner(alone=True)
BY_KEY = Manner()
BY_CONTACT = Manner(by_contact=True)
HOLD, SET_ON, VOLTS = 13, 15, 16

Build = Callable[..., World]


@pytest.fixture
def build(tmp_path: Path, small: Made) -> Iterator[Build]:
    with ExitStack() as stack:

        def make(manner: Manner = ALONE, **more: Any) -> World:
            return stack.enter_context(world(tmp_path, more.pop("began", small.began), manner, **more))

        yield make


def operated(build: Build, upto: int = 0, manner: Manner = BY_KEY, **more: Any) -> tuple[World, FakeScreen]:
    """A runner with an operator at a screen, who holds the seat; the walk stands at a step."""
    made = build(manner, upto=upto, **more).start()
    screen = FakeScreen(made, "Ana")
    screen.take_seat()
    made.wait(lambda: made.state.seat == "Ana", "the seat")
    made.settle()
    return made, screen


# alone


def test_a_whole_walk_alone(build: Build) -> None:
    made = build().start()
    state = made.finish()
    assert state.phase is Phase.DONE and passed(state)
    assert made.crew.closed and not made.crew.on
    assert [call[2] for call in made.crew.calls if call[0] == "switch"] == ["on", "off"]
    again = refold(made.record())
    assert again == state
    assert list(verdict_lines(again)) == list(verdict_lines(state))
    assert made.hands.jumped == [5.0, 3.0]
    assert made.hands.placed == [step.index for step in state.setting.plan.steps if step.reads]  # type: ignore[union-attr]


def test_a_whole_walk_alone_is_told_event_by_event_after_it_was_written(build: Build) -> None:
    made = build()
    kept: list[int] = []
    made.tells = lambda entry, state: kept.append(made.path.read_bytes().count(b"\n") - entry.n)
    state = made.start().finish()
    assert set(kept) == {0}, "each was on disk, and nothing further, when it was told"
    assert [entry.n for entry, _ in made.told] == list(range(2, state.taken + 1))


def test_each_request_is_begun_once(build: Build) -> None:
    made = build().start()
    made.finish()
    numbered = [call[:2] for call in made.crew.calls if call[0] in ("meet", "measure", "switch", "make_safe")]
    assert len(numbered) == len(set(numbered))


def test_alone_trouble_is_tried_twice_more_and_then_ends_the_walk_safely(build: Build) -> None:
    made = build()
    made.crew.wrong["measure"] = lambda number: e.Troubled(
        number=number, instrument="meter", kind="late", what="The meter did not answer."
    )
    state = made.start().finish()
    assert state.phase is Phase.ABORTED
    assert made.crew.count("measure") == 3
    (aborted,) = made.events(e.Aborted)
    assert aborted.why == "The meter did not answer."


def test_alone_a_reading_gives_new_courage(build: Build) -> None:
    """Trouble now and then does not end a long walk; trouble at one place does."""
    made = build()
    spoilt = {7: 2, 9: 2, 11: 2}

    def sometimes(number: int) -> e.Event:
        step = made.state.step
        assert step is not None
        if spoilt.get(step.index, 0) > 0:
            spoilt[step.index] -= 1
            return e.Troubled(number=number, instrument="meter", kind="late", what="late")
        return made.crew.reading(made.state, step)

    made.crew.wrong["measure"] = sometimes
    assert passed(made.start().finish())
    assert len(made.events(e.Troubled)) == 6


def test_alone_an_answer_that_is_refused_ends_the_walk(build: Build) -> None:
    made = build()
    made.hands.says = lambda step: "no"
    state = made.start().finish()
    assert state.phase is Phase.ABORTED
    assert made.events(e.Aborted)[0].why == ("the fake hands cannot answer: this hold point wants the word DEAD")


def test_what_does_not_fit_is_trouble_and_not_silence(build: Build) -> None:
    """The crew answers the right request with something that the machine refuses: it will not come again by itself."""
    made = build()
    made.crew.wrong["meet"] = lambda number: e.Met(
        number=number, instrument="oven", roles=["thermometer"], identity="oven 1.0"
    )
    assert made.start().finish().phase is Phase.ABORTED
    trouble = made.events(e.Troubled)[0]
    assert (trouble.kind, trouble.instrument) == ("misfit", "oven")
    assert trouble.what == "what came does not fit what was asked: oven fills none of ohms, supply, volts"


def test_a_reading_that_a_record_cannot_hold_is_trouble_too(build: Build) -> None:
    made = build()
    made.crew.wrong["measure"] = lambda number: e.Read(
        number=number, instrument="meter", function="resistance 2w", unit="Ω", value=float("inf")
    )
    assert made.start().finish().phase is Phase.ABORTED
    assert made.events(e.Troubled)[0].what.endswith("Read holds a number that is none, or infinite")


def test_a_bench_that_cannot_prove_a_limit_is_consented_to_in_the_record(build: Build, small: Made) -> None:
    made = build(began=small.with_bench(paper.WEAK).began).start()
    made.finish()
    assert made.state.consented == "a simulated bench: going on to show what can be shown"


# with an operator


def test_a_whole_walk_by_an_operator(build: Build) -> None:
    made, screen = operated(build)
    answered = -1
    while not made.ended:
        made.wait(lambda: made.state.number > answered or made.ended, "the next request")  # noqa: B023
        made.settle()
        asked, answered = made.asked, made.state.number
        match asked:
            case r.Ask(step=step):
                screen.answer({"hold": getattr(step.source, "word", ""), "ask": "21.5"}.get(step.kind, ""))
            case r.Place():
                screen.answer()
            case r.Wait():
                made.clock.advance(1.0)
    assert passed(made.finish())
    answers = made.events(e.Answered)
    assert {(answer.by, answer.how) for answer in answers} == {("Ana", "key")}
    lines = [message.raw for message in screen.got(p.Line)]
    assert "".join(lines) == made.path.read_text("utf-8"), "the screen has the record, line for line"


def test_a_wait_is_told_in_pieces(build: Build) -> None:
    made, _ = operated(build, upto=12)
    made.wait_for(r.Wait, 12)
    for _ in range(4):
        number = made.state.number
        made.clock.advance(1.0)
        made.wait(lambda number=number: made.state.number > number)  # type: ignore[misc]
        made.settle()
    assert isinstance(made.asked, r.Wait) and made.asked.left == pytest.approx(1.0)
    made.advance(0.4)
    assert isinstance(made.asked, r.Wait), "not before its time"
    made.advance(0.6)
    assert [event.seconds for event in made.events(e.Elapsed)] == [1.0] * 5
    assert made.state.place.cursor == 13


def test_a_timer_of_a_request_goes_with_it(build: Build) -> None:
    """Hands that place by themselves after a second do so for the step that is up, not for one that was left."""
    made, screen = operated(build, upto=7, manner=Manner(place_after=1.0))
    made.wait_for(r.Place, 7)
    made.advance(0.9)
    screen.wish(e.Skipped(number=made.state.number, reason="not reachable"))
    made.wait_for(r.Place, 8)
    made.advance(0.5)
    assert made.hands.placed == [], "the timer of step 7 is gone with it"
    made.advance(0.6)
    assert made.hands.placed == [8]
    made.advance(0.5)  # no contact is looked for: they say so themselves
    made.wait(lambda: 8 in made.state.kept.latest)
    assert made.state.kept.latest[7].verdict == "skipped"
    assert [event.how for event in made.events(e.Answered)] == ["simulated"]


def test_a_pause_stops_the_timers(build: Build) -> None:
    made, screen = operated(build, upto=12)
    made.wait_for(r.Wait, 12)
    screen.wish(e.Paused(why="tea"))
    made.wait_for(r.Rest)
    made.advance(100.0)
    assert made.events(e.Elapsed) == []
    screen.wish(e.Continued())
    made.wait_for(r.Wait, 12)
    assert isinstance(made.asked, r.Wait) and made.asked.left == 5.0


def test_leaving_a_measurement_lets_go_of_it(build: Build) -> None:
    made, screen = operated(build, upto=7)
    made.crew.held.add("measure")
    made.wait_for(r.Place, 7)
    screen.answer()
    made.wait_for(r.Measure, 7)
    dropped = made.crew.count("drop_work")
    late = made.state
    screen.wish(e.Went(number=made.state.number, to=7))
    made.wait_for(r.Place, 7)
    assert made.crew.count("drop_work") == dropped + 1
    made.post(made.crew.reading(late, late.step))  # type: ignore[arg-type]
    made.settle()
    assert isinstance(made.asked, r.Place), "its late reading has no effect"
    assert made.events(e.Read) == []


# keys


def test_a_held_key_answers_once(build: Build) -> None:
    made, screen = operated(build, upto=2)
    made.wait_for(r.Ask, 2)
    again = e.Answered(number=made.state.number)
    for _ in range(5):
        screen.wish(again)
    made.settle()
    assert made.state.place.cursor == 3
    assert len(made.events(e.Answered)) == 1
    assert len(screen.refusals()) == 4
    assert all(why == MOVED_ON for why in screen.refusals())


def test_a_wish_is_recorded_under_the_name_of_its_screen_whatever_it_says(build: Build) -> None:
    made, screen = operated(build, upto=2)
    made.wait_for(r.Ask, 2)
    screen.wish(e.Answered(number=made.state.number, by="the inspector", how="simulated"))
    screen.wish(e.Noted(text="looks fine", by="the inspector"))
    made.settle()
    assert made.events(e.Answered)[0] == e.Answered(number=made.state.number - 1, by="Ana", how="key")
    assert made.events(e.Noted)[0].by == "Ana"


def test_a_refusal_says_why(build: Build) -> None:
    made, screen = operated(build, upto=1)
    made.wait_for(r.Ask, 1)
    screen.answer("yes")
    screen.wish(e.Continued())
    made.settle()
    assert screen.refusals() == [
        "this hold point wants the word DEAD",
        "Continued has no place while asking",
    ]


# contact


def samples(made: World, values: list[float | None], *, role: str = "ohms", every: float = 0.1) -> None:
    """Live readings, as a meter's thread would post them."""
    for value in values:
        made.clock.now += every
        over = "+" if value is None else ""
        made.runner.inbox.put(LiveReading(role, made.clock.now, "Ω", value, over, 0.001))
    made.settle()


def test_a_stable_contact_is_taken_by_itself_and_lifting_arms_the_next(build: Build) -> None:
    made, _ = operated(build, upto=7, manner=BY_CONTACT)
    made.wait_for(r.Place, 7)
    samples(made, [None, None, 0.857, 0.858, 0.857, 0.857, 0.857])
    made.wait_for(r.Place, 8)
    assert made.events(e.Answered)[0].how == "contact"
    assert made.events(e.Answered)[0].by == "Ana"
    samples(made, [0.857] * 20)
    assert isinstance(made.asked, r.Place) and made.asked.step.index == 8, "the same touch counts once"
    samples(made, [None, None, *[0.857] * 5])
    made.wait_for(r.Place, 9)
    assert len(made.events(e.Read)) == 2


def test_probes_that_lie_together_when_a_request_comes_up_are_not_taken(build: Build) -> None:
    made, screen = operated(build, upto=7, manner=BY_CONTACT)
    made.wait_for(r.Place, 7)
    samples(made, [0.2] * 20)
    assert made.events(e.Answered) == []
    samples(made, [None, None, 0.857, 0.857])
    screen.wish(e.Paused(why="tea"))
    made.wait_for(r.Rest)
    screen.wish(e.Continued())
    made.wait_for(r.Place, 7)
    samples(made, [0.2] * 20)
    assert made.events(e.Answered) == [], "they were put down on each other"


def test_a_key_takes_a_touch_too(build: Build) -> None:
    made, screen = operated(build, upto=7, manner=BY_CONTACT)
    made.wait_for(r.Place, 7)
    samples(made, [None, None, 0.857])
    screen.answer()
    made.wait_for(r.Place, 8)
    samples(made, [0.857] * 10)
    assert len(made.events(e.Answered)) == 1


STEADY = [0.857, 0.858, 0.857, 0.857, 0.857, 0.857]


def test_no_contact_is_taken_behind_a_box_and_one_that_is_held_settles_anew(build: Build) -> None:
    made, screen = operated(build, upto=7, manner=BY_CONTACT)
    made.wait_for(r.Place, 7)
    screen.busy(True)
    samples(made, [None, None, *STEADY])
    made.wait_for(r.Place, 7)
    assert not made.events(e.Answered)
    screen.busy(False)
    samples(made, STEADY)
    made.wait_for(r.Place, 8)
    assert [event.how for event in made.events(e.Answered)] == ["contact"]


def test_nothing_begins_behind_a_box_of_the_operator(build: Build) -> None:
    made, screen = operated(build, upto=7)
    made.wait_for(r.Place, 7)
    screen.busy(True)
    screen.answer()
    made.wait(lambda: made.runner.state.phase is Phase.MEASURING, "the reading is asked for")
    made.settle()
    assert made.crew.count("measure") == 0
    screen.busy(False)
    made.wait_for(r.Place, 8)


def test_only_a_box_of_the_operator_holds_the_walk_and_not_one_that_is_gone(build: Build) -> None:
    made, screen = operated(build, upto=7)
    other = FakeScreen(made, "Bea")
    other.busy(True)
    screen.answer()
    made.wait_for(r.Place, 8)
    screen.busy(True)
    other.busy(False)
    made.settle()
    screen.answer()
    made.wait(lambda: made.runner.state.phase is Phase.MEASURING, "the reading is asked for")
    made.settle()
    assert made.crew.count("measure") == 1
    # outputs go off all the same, and the box is gone with its screen
    screen.leave()
    made.wait(lambda: made.runner.state.phase is Phase.PAUSED, "a rest")
    other.take_seat()
    other.wish(e.Continued())
    made.wait_for(r.Place, 8)


def test_only_ohms_are_taken_by_contact(build: Build) -> None:
    """An open voltmeter shows a steady nothing: that must never pass for a contact, least of all for a dead bar."""
    made, screen = operated(build, upto=HOLD, manner=BY_CONTACT)
    for _ in range(2):
        made.wait_for(r.Ask)
        screen.answer("CLEAR")
    made.wait_for(r.Place, VOLTS)
    answers = len(made.events(e.Answered))
    samples(made, [None, None, *[0.0] * 30], role="volts")
    assert isinstance(made.asked, r.Place)
    assert len(made.events(e.Answered)) == answers
    assert screen.got(p.Live), "but they are shown"


def test_without_contact_a_key_is_waited_for(build: Build) -> None:
    made, _ = operated(build, upto=7)
    made.wait_for(r.Place, 7)
    samples(made, [None, None, *[0.857] * 20])
    assert made.events(e.Answered) == []


def test_live_readings_are_shown_at_a_steady_pace_and_never_recorded(build: Build) -> None:
    made, screen = operated(build, upto=7)
    made.wait_for(r.Place, 7)
    before = made.path.read_bytes()
    values = [0.5 + 0.1 * (n % 7) for n in range(1000)]
    samples(made, values, every=0.001)
    shown = screen.got(p.Live)
    assert 1.0 / LIVE_EVERY * 0.9 <= len(shown) <= 1.0 / LIVE_EVERY + 1
    assert made.path.read_bytes() == before
    assert shown[-1].touch == "lift" and shown[-1].unit == "Ω"


def test_readings_of_another_meter_and_of_an_earlier_request_are_not_shown(build: Build) -> None:
    made, screen = operated(build, upto=7)
    made.wait_for(r.Place, 7)
    samples(made, [1.0] * 5, role="volts")
    screen.wish(e.Paused())
    made.wait_for(r.Rest)
    samples(made, [1.0] * 5)
    assert screen.got(p.Live) == []


# on the way out


@pytest.mark.parametrize("upto", [0, 7, 12, VOLTS])
def test_told_to_end_it_ends_safely(build: Build, upto: int) -> None:
    made = build(BY_KEY, upto=min(upto, HOLD), seated=True).start()
    screen = FakeScreen(made, "Ana")
    screen.take_seat()
    if upto == VOLTS:
        for _ in range(2):
            made.wait_for(r.Ask)
            screen.answer("CLEAR")
        made.wait_for(r.Place, VOLTS)
        assert made.crew.on == {"supply"}
    made.settle()
    made.runner.inbox.put(Signalled("SIGTERM"))
    made.runner.inbox.put(Signalled("SIGTERM"))
    state = made.finish()
    assert state.phase is Phase.ABORTED
    assert [event.why for event in made.events(e.Aborted)] == ["told to end by SIGTERM"]
    assert not made.crew.on and made.crew.closed
    assert refold(made.record()).phase is Phase.ABORTED


def test_told_to_end_in_a_measurement_that_hangs_it_lets_go_of_it(build: Build) -> None:
    made = build()
    made.crew.held.add("measure")
    made.start()
    made.wait(lambda: made.crew.count("measure"), "a measurement")
    made.runner.inbox.put(Signalled("SIGINT"))
    assert made.finish().phase is Phase.ABORTED
    assert made.crew.count("drop_work")


def test_when_the_hands_fail_outputs_are_off_before_the_error_comes_out(build: Build) -> None:
    made = build()

    def fails(step: paper.Step) -> None:
        if step.index == VOLTS:
            assert made.crew.on == {"supply"}
            raise RuntimeError("the simulator is gone")

    made.hands.fails = fails
    with pytest.raises(RuntimeError, match="the simulator is gone"):
        made.start().finish()
    assert not made.crew.on and made.crew.closed
    assert not refold(made.record()).finished, "it can be resumed"


def test_when_nobody_can_be_told_outputs_are_off_too(build: Build) -> None:
    made = build()

    def tells(entry: e.Entry, state: paper.State) -> None:
        if state.outputs.on:
            raise BrokenPipeError

    made.tells = tells
    with pytest.raises(BrokenPipeError):
        made.start().finish()
    assert not made.crew.on and made.crew.closed


def test_on_the_way_out_an_old_account_of_safe_outputs_does_not_do(build: Build) -> None:
    """The error comes out only after outputs were made safe for it, not because an earlier time is told of late."""
    import threading

    made = build()
    made.crew.safe_after = threading.Event()
    made.crew.safe_after.set()

    def fails(step: paper.Step) -> None:
        if step.index == VOLTS:
            assert made.crew.safe_after is not None
            made.crew.safe_after.clear()
            made.post(e.MadeSafe(number=-1, confirmed={"supply": True}))
            raise RuntimeError("gone")

    made.hands.fails = fails
    made.start()
    made.wait(lambda: made.crew.count("make_safe", -2), "being made safe on the way out")
    assert not made.ended and made.crew.on
    made.crew.safe_after.set()
    with pytest.raises(RuntimeError, match="gone"):
        made.finish()
    assert made.crew.closed and not made.crew.on_when_closed


def test_an_output_that_goes_on_late_is_made_safe_at_once(build: Build) -> None:
    """The operator left while it was being switched; it went on all the same, after everything was made safe."""
    made, screen = operated(build, upto=HOLD)
    made.crew.held.add("switch")
    for _ in range(2):
        made.wait_for(r.Ask)
        screen.answer("CLEAR")
    made.wait_for(r.Switch, SET_ON)
    number = made.state.number
    screen.wish(e.Paused(why="the door bell", make_safe=True))
    made.wait_for(r.Rest)
    made.crew.on.add("supply")
    made.post(e.Switched(number=number, instrument="supply", state="on", confirmed=True))
    made.wait(lambda: not made.crew.on, "being made safe")
    assert made.crew.count("make_safe", -1) == 1
    assert made.events(e.Switched) == []


def test_an_output_that_went_by_itself_brings_a_rest_with_everything_off(build: Build) -> None:
    made, screen = operated(build, upto=HOLD)
    for _ in range(2):
        made.wait_for(r.Ask)
        screen.answer("CLEAR")
    made.wait_for(r.Place, VOLTS)
    made.runner.inbox.put(WentOff("supply", "The output of supply is not known to be on any more: it tripped."))
    made.wait_for(r.Rest)
    assert not made.crew.on and not made.state.outputs.on and not made.state.outputs.held
    assert "tripped" in made.events(e.Paused)[-1].why
    made.runner.inbox.put(WentOff("supply", "once more"))  # on its way since before
    made.settle()
    assert len(made.events(e.Paused)) == 1


def test_hands_that_work_alone_give_up_where_an_output_goes_again_and_again(build: Build) -> None:
    made = build(ALONE)

    def trip(entry: e.Entry, state: Any) -> None:
        if isinstance(entry.event, e.Switched) and entry.event.state == "on":
            made.runner.inbox.put(WentOff("supply", "it tripped"))

    made.tells = trip
    made.start()
    assert made.finish().phase is Phase.ABORTED
    assert not made.crew.on
    assert made.events(e.Aborted)[-1].why == "it tripped"


def test_a_guard_knows_before_anything_goes_on_and_is_let_go_at_the_end(build: Build) -> None:
    made = build()
    told: list[tuple[str, object]] = []

    class Noting:
        def stands(self, met: Any, on: bool) -> None:
            told.append(("on" if on else "off", dict(met)))

        def close(self, safe: bool) -> None:
            told.append(("closed", safe))

    switch = made.crew.switch

    def noted(step: Any, number: int) -> None:
        told.append(("switch", step.source.output))
        switch(step, number)

    made.crew.switch = noted  # type: ignore[method-assign]
    made.guard = Noting()
    made.start().finish()
    at = told.index(("switch", "on"))
    assert told[at - 1][0] == "on" and told[at - 1][1]
    assert told[0][0] == "off" and told[-2][0] == "off" and told[-1] == ("closed", True)


def test_what_is_left_on_an_output_is_shown_while_it_goes(build: Build) -> None:
    made, screen = operated(build, upto=HOLD)
    made.runner.inbox.put(Leaving("supply", 34.0, "V"))
    made.settle()
    assert screen.got(p.Live)[-1] == p.Live(role="supply", unit="V", value=34.0)


# a record that cannot be written


def test_while_the_record_fails_outputs_are_off_and_screens_are_told(build: Build) -> None:
    made, screen = operated(build, upto=HOLD)
    for _ in range(2):
        made.wait_for(r.Ask)
        screen.answer("CLEAR")
    made.wait_for(r.Place, VOLTS)
    assert made.crew.on
    made.fail()
    screen.wish(e.Noted(text="the lamp flickers"))
    made.wait(lambda: not made.crew.on, "outputs off")
    made.settle()
    assert [message.why for message in screen.got(p.RecordFailing)] == ["the disk is full"]
    screen.answer()
    made.settle()
    assert screen.refusals() == ["the record cannot be written; nothing goes on until it can"]
    made.advance(2.5)
    assert len(screen.got(p.RecordFailing)) == 2, "tried again, in vain"
    made.mend()
    made.wait_for(r.Rest)
    assert made.events(e.Noted)[-1].text == "the lamp flickers"
    assert made.events(e.Paused)[-1].why == "the record could not be written; outputs were made safe"
    screen.wish(e.Continued())
    made.wait_for(r.Ask, HOLD)
    assert not made.state.outputs.on
    assert refold(made.record()) == made.state


@pytest.mark.parametrize("upto", [7, 12])
def test_what_was_under_way_when_the_record_failed_is_begun_anew(build: Build, upto: int) -> None:
    """A reading or a second that came in between is let go; nothing may wait for it for ever."""
    made, screen = operated(build, upto=upto)
    if upto == 7:
        made.wait_for(r.Place, 7)
        made.crew.held.add("measure")
        screen.answer()
        made.wait_for(r.Measure, 7)
        late = made.state
    made.settle()
    made.fail()
    screen.wish(e.Noted(text="hm"))
    made.wait(lambda: screen.got(p.RecordFailing))
    if upto == 7:
        made.post(made.crew.reading(late, late.step))  # type: ignore[arg-type]
        made.crew.held.clear()
    else:
        made.advance(1.0)
    made.settle()
    assert made.events(e.Read) == [] and made.events(e.Elapsed) == []
    made.mend()
    if upto == 7:
        made.wait(lambda: made.events(e.Read), "the reading, taken again")
        assert made.crew.count("measure") == 2
    else:
        made.advance(1.0)
        made.wait(lambda: made.events(e.Elapsed), "the time, counted again")


def test_the_event_that_could_not_be_written_is_written_once(build: Build) -> None:
    made, screen = operated(build, upto=2)
    made.wait_for(r.Ask, 2)
    made.fail()
    screen.answer()
    made.wait(lambda: screen.got(p.RecordFailing))
    for _ in range(3):
        made.advance(2.5)
    made.mend()
    made.wait_for(r.Ask, 3)
    assert len(made.events(e.Answered)) == 1
    assert [entry.n for entry in made.record()] == list(range(1, made.state.taken + 1))


def test_while_the_record_fails_the_hands_rest_too(build: Build) -> None:
    made, screen = operated(build, upto=7, manner=Manner(place_after=3.0))
    made.wait_for(r.Place, 7)
    made.fail()
    screen.wish(e.Noted(text="hm"))
    made.wait(lambda: screen.got(p.RecordFailing))
    made.advance(2.5)
    made.advance(2.0)
    assert made.hands.placed == []
    made.mend()
    made.advance(3.5)
    assert made.hands.placed == [7]


def test_an_output_that_goes_on_while_the_record_fails_is_made_safe(build: Build) -> None:
    made, screen = operated(build, upto=HOLD)
    made.crew.held.add("switch")
    for _ in range(2):
        made.wait_for(r.Ask)
        screen.answer("CLEAR")
    made.wait_for(r.Switch, SET_ON)
    made.fail()
    screen.wish(e.Noted(text="hm"))
    made.wait(lambda: screen.got(p.RecordFailing))
    made.settle()
    made.crew.on.add("supply")
    made.post(e.Switched(number=made.state.number, instrument="supply", state="on", confirmed=True))
    made.wait(lambda: not made.crew.on, "being made safe")
    made.mend()
    made.wait_for(r.Rest)
    assert not made.crew.on


def test_alone_and_unseen_a_failing_record_ends_the_walk(build: Build) -> None:
    made = build()
    made.tells = lambda entry, state: made.fail() if state.outputs.on else None
    with pytest.raises(RecordTrouble, match="the disk is full"):
        made.start().finish()
    assert not made.crew.on and made.crew.closed


@pytest.mark.parametrize("how", ["abort", "signal"])
def test_a_walk_can_be_given_up_while_the_record_fails(build: Build, how: str) -> None:
    made, screen = operated(build, upto=7)
    made.wait_for(r.Place, 7)
    made.fail()
    screen.wish(e.Noted(text="hm"))
    made.wait(lambda: screen.got(p.RecordFailing))
    if how == "abort":
        screen.wish(e.Aborted(why="enough"))
    else:
        made.runner.inbox.put(Signalled("SIGTERM"))
    with pytest.raises(RecordTrouble, match="the record could not be written"):
        made.finish()
    assert made.crew.count("make_safe", -2) == 1 and made.crew.closed


def test_the_seat_that_falls_empty_while_the_record_fails_is_told_of_afterwards(build: Build) -> None:
    made, screen = operated(build, upto=7, seated=True)
    watcher = FakeScreen(made, "Ben")
    made.wait_for(r.Place, 7)
    made.fail()
    screen.wish(e.Noted(text="hm"))
    made.wait(lambda: watcher.got(p.RecordFailing))
    screen.leave()
    made.settle()
    made.mend()
    made.wait_for(r.Rest)
    assert made.state.seat == ""
    assert [type(event) for event in made.events()[-3:]] == [e.Noted, e.Seated, e.Paused]


# seats


def test_the_first_who_answers_holds_the_seat_and_others_may_note(build: Build) -> None:
    made = build(BY_KEY, upto=2, seated=True).start()
    ana, ben = FakeScreen(made, "Ana"), FakeScreen(made, "Ben")
    made.wait_for(r.Ask, 2)
    ben.wish(e.Noted(text="I am only looking"))
    made.settle()
    assert made.state.seat == "", "a remark takes no seat"
    ben.wish(e.Answered(number=made.state.number - 1))
    made.settle()
    assert made.state.seat == "", "and neither does a key that comes too late"
    ana.answer()
    made.wait_for(r.Ask, 3)
    assert made.state.seat == "Ana"
    ben.answer("20")
    ben.wish(e.Disturbed(touches=["J2"], text="I bumped into it"))
    made.settle()
    assert ben.refusals()[-1] == "Ana holds the operator's seat; take it first"
    assert made.state.place.cursor == 3
    assert made.events(e.Disturbed)[0].by == "Ben"
    ben.wish(e.Aborted(why="smoke"))
    assert made.finish().phase is Phase.ABORTED, "anybody may stop it"


def test_a_second_screen_of_the_same_login_takes_no_seat_unasked(build: Build) -> None:
    """It is told that another one sits there, and that it is the second of that name."""
    made, _ = operated(build, upto=2, seated=True)
    page = FakeScreen(made, "Ana")
    made.settle()
    (welcome,) = page.got(p.Welcome)
    assert (welcome.you, welcome.seat) == ("Ana 2", "Ana")
    page.answer()
    made.settle()
    assert made.state.seat == "Ana" and page.refusals() == ["Ana holds the operator's seat; take it first"]
    page.take_seat()
    made.settle()
    assert made.state.seat == "Ana 2"


def test_the_seat_can_be_taken_over(build: Build) -> None:
    made, ana = operated(build, upto=2, seated=True)
    ben = FakeScreen(made, "Ben")
    ben.take_seat()
    ben.take_seat()
    made.settle()
    assert made.state.seat == "Ben"
    assert [(event.by, event.where) for event in made.events(e.Seated)] == [("Ana", "here"), ("Ben", "here")]
    ana.answer()
    made.settle()
    assert ana.refusals() == ["Ben holds the operator's seat; take it first"]
    ana.leave()
    made.settle()
    assert not isinstance(made.asked, r.Rest), "it was not she who held it"


def test_when_the_operator_is_gone_it_rests_with_outputs_off_and_another_goes_on(build: Build) -> None:
    made, ana = operated(build, upto=HOLD, seated=True)
    for _ in range(2):
        made.wait_for(r.Ask)
        ana.answer("CLEAR")
    made.wait_for(r.Place, VOLTS)
    assert made.crew.on
    ana.leave()
    made.wait_for(r.Rest)
    assert not made.crew.on
    assert made.state.seat == "" and made.state.pending.why_paused == "the operator's screen went away"
    ben = FakeScreen(made, "Ben")
    ben.wish(e.Continued())
    made.wait_for(r.Ask, HOLD)
    assert made.state.seat == "Ben"
    assert ben.got(p.Welcome)[0].seat == ""


def test_the_operator_goes_while_resting_with_an_output_on(build: Build) -> None:
    made, ana = operated(build, upto=HOLD, seated=True)
    for _ in range(2):
        made.wait_for(r.Ask)
        ana.answer("CLEAR")
    made.wait_for(r.Place, VOLTS)
    ana.wish(e.Paused(why="tea"))
    made.wait_for(r.Rest)
    assert made.crew.on
    ana.leave()
    made.wait(lambda: not made.crew.on, "outputs off")
    made.wait_for(r.Rest)


def test_the_operator_goes_while_outputs_are_made_safe(build: Build) -> None:
    made = build(BY_KEY, seated=True)
    made.crew.held.add("make_safe")
    made.start()
    ana = FakeScreen(made, "Ana")
    ana.take_seat()
    made.wait(lambda: made.state.seat == "Ana")
    ana.leave()
    made.settle()
    made.crew.held.clear()
    made.post(e.MadeSafe(number=made.state.number, confirmed={"supply": True}))
    made.wait_for(r.Rest)
    assert made.crew.count("meet") == 0


def test_nobody_comes_back_and_the_walk_is_given_up_safely(build: Build) -> None:
    made, ana = operated(build, upto=7, manner=Manner(give_up_after=600.0), seated=True)
    made.wait_for(r.Place, 7)
    ana.leave()
    made.wait_for(r.Rest)
    made.advance(599.0)
    assert isinstance(made.asked, r.Rest)
    made.clock.advance(2.0)
    assert made.finish().phase is Phase.ABORTED
    assert made.events(e.Aborted)[0].why == "nobody took the operator's seat in time"


def test_nobody_comes_at_all(build: Build) -> None:
    made = build(Manner(give_up_after=600.0), seated=True).start()
    watcher = FakeScreen(made, "Ben")
    made.wait_for(r.Ask, 0)
    watcher.wish(e.Noted(text="where is everybody?"))
    made.advance(599.0)
    assert not made.state.finished
    made.clock.advance(2.0)
    assert made.finish().phase is Phase.ABORTED


def test_nobody_comes_back_while_the_record_fails(build: Build) -> None:
    made, ana = operated(build, upto=7, manner=Manner(give_up_after=600.0), seated=True)
    made.wait_for(r.Place, 7)
    made.fail()
    ana.wish(e.Noted(text="hm"))
    made.wait(lambda: ana.got(p.RecordFailing))
    ana.leave()
    made.settle()
    made.clock.now += 700.0
    made.clock.wake()
    with pytest.raises(RecordTrouble, match="nobody took the operator's seat in time"):
        made.finish()


def test_a_screen_that_breaks_is_only_a_dead_screen(build: Build) -> None:
    made, ana = operated(build, upto=2, seated=True)
    ben = FakeScreen(made, "Ben")
    made.wait_for(r.Ask, 2)
    ana.breaks = True
    ben.wish(e.Noted(text="hello"))
    made.wait_for(r.Rest)
    assert made.state.seat == ""
    assert [type(event) for event in made.events()[-3:]] == [e.Noted, e.Seated, e.Paused]
    ben.wish(e.Continued())
    made.wait_for(r.Ask, 2)


def test_a_walk_alone_goes_on_when_somebody_who_paused_it_has_left(build: Build) -> None:
    made = build()
    made.crew.held.add("measure")
    made.start()
    made.wait(lambda: made.crew.count("measure"), "a measurement")
    visitor = FakeScreen(made, "Ana")
    visitor.wish(e.Paused(why="let me look"))
    made.wait_for(r.Rest)
    made.settle()
    assert isinstance(made.asked, r.Rest)
    made.crew.held.clear()
    visitor.leave()
    assert passed(made.finish())
    assert made.events(e.Continued)[0].by == "the fake hands"


def test_who_comes_late_gets_the_whole_record_first(build: Build) -> None:
    made, ana = operated(build, upto=7)
    made.wait_for(r.Place, 7)
    late = FakeScreen(made, "Ben")
    ana.wish(e.Noted(text="welcome"))
    made.settle()
    assert isinstance(late.said[0], p.Welcome)
    assert (late.said[0].you, late.said[0].seat, late.said[0].record) == ("Ben", "Ana", str(made.path))
    assert "".join(message.raw for message in late.got(p.Line)) == made.path.read_text("utf-8")


def test_a_record_that_is_taken_away_is_said_and_the_walk_goes_on(build: Build) -> None:
    made, screen = operated(build, upto=HOLD)
    before = made.runner._writer.path
    before.unlink()
    screen.wish(e.Noted(text="the lamp flickers"))
    made.settle()
    after = made.runner._writer.path
    assert after != before and after.is_file()
    said = made.events(e.Noted)[-1]
    assert str(before) in said.text and str(after) in said.text and "moved or removed" in said.text
    assert made.events(e.Noted)[-2].text == "the lamp flickers"
    assert refold(read_record(after)) == made.state
