"""Walking: the shipped sequence, refusals, detours, pauses, trouble, and resuming at any moment."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

from bench.sequence.file import Wait
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.results import outcomes, passed, results, verdict_lines
from bench.walk.state import OutOfTurn, Phase, Refused, Stale, accepts, request
from tests.walk import paper_walk as paper
from tests.walk.paper_walk import Desk, Made, refold


@pytest.fixture
def desk(small: Made) -> Desk:
    return Desk(small.began)


def refused(act: Callable[[], object], why: str) -> None:
    with pytest.raises(Refused, match=why):
        act()


# the whole way


def test_the_shipped_sequence_is_walked_to_its_end(shipped: Made) -> None:
    desk = Desk(shipped.began).finish()
    assert desk.state.phase is Phase.DONE
    assert passed(desk.state)
    assert desk.state.setting is not None
    steps = desk.state.setting.plan.steps
    assert [outcome.index for outcome in outcomes(desk.state)] == [step.index for step in reversed(steps)]
    lines = list(verdict_lines(desk.state))
    assert len(lines) == sum(1 for step in steps if step.judged)
    assert all(line.startswith("pass ") for line in lines)
    assert isinstance(desk.asked, r.Finished) and not desk.asked.aborted


@pytest.mark.slow
def test_faults_of_the_shipped_plant_are_told_by_name(shipped: Made) -> None:
    """An open conductor, one with a bad contact, and two neighbours that touch: by synthetic readings."""

    def readings(state: object, step: paper.Step) -> dict[str, object]:
        if step.subject == "W101.12" and step.kind == "measure":
            return {"over": "+", "range": 100.0}
        shown = paper.sound(desk.state, step)
        if step.subject == "W101.31":
            return {"value": float(str(shown["value"])) + 4.7}
        return {"value": 0.4} if step.subject == "J101.19~J101.20" else shown

    desk = Desk(shipped.began)
    desk.readings = readings
    desk.finish()
    bad = {outcome.subject: outcome.verdict for outcome in results(desk.state).values() if outcome.verdict == "fail"}
    assert bad == {"W101.12": "fail", "W101.31": "fail", "J101.19~J101.20": "fail"}
    assert not passed(desk.state)


def test_every_kind_of_step_is_walked(desk: Desk) -> None:
    asked: list[type] = []
    while not desk.state.finished:
        asked.append(type(desk.asked))
        desk.one()
    assert passed(desk.state)
    assert set(asked) == {r.MakeSafe, r.Meet, r.Ask, r.Place, r.Measure, r.Switch, r.Wait}
    assert asked[0] is r.MakeSafe and asked[-1] is r.MakeSafe


def test_before_the_beginning_only_a_beginning_is_taken(small: Made) -> None:
    assert request(paper.start()) == r.Start()
    with pytest.raises(OutOfTurn, match="Noted has no place while empty"):
        paper.take(paper.start(), e.Entry(n=1, at="", event=e.Noted(text="hello")))


def test_a_sequence_without_instruments_is_walked(tmp_path: Path) -> None:
    text = "sequence: by eye\nplant: plant.yaml\nsteps: [{step: do, text: Look.}]\n"
    desk = Desk(paper.made(tmp_path, text).began)
    desk.safe()
    assert isinstance(desk.asked, r.Ask)
    desk.finish()
    assert passed(desk.state)


# numbers


def test_a_stale_number_changes_nothing_and_says_which_one_is_open(desk: Desk) -> None:
    desk.until(phase=Phase.ASKING)
    before = desk.state
    with pytest.raises(Stale, match=f"request {before.number - 1} is no longer open; request {before.number} is"):
        desk.add(e.Answered(number=before.number - 1))
    assert desk.state is before


def test_the_same_key_twice_answers_once(desk: Desk) -> None:
    desk.until(index=2)
    again = e.Answered(number=desk.state.number)
    desk.add(again)
    with pytest.raises(Stale):
        desk.add(again)
    assert desk.state.place.cursor == 3


def test_a_late_answer_is_stale_and_no_bug_also_where_no_answer_has_a_place(desk: Desk) -> None:
    desk.until(phase=Phase.PLACING)
    late = e.Answered(number=desk.state.number)
    desk.add(late)
    assert desk.state.phase is Phase.MEASURING
    with pytest.raises(Stale):
        desk.add(late)
    with pytest.raises(OutOfTurn, match="Answered has no place while measuring"):
        desk.answer()


def test_a_number_from_the_future_is_stale_too(desk: Desk) -> None:
    with pytest.raises(Stale):
        desk.add(e.MadeSafe(number=desk.state.number + 1))


def test_trying_an_event_keeps_nothing(desk: Desk) -> None:
    desk.until(phase=Phase.ASKING)
    before = desk.state
    accepts(before, e.Answered(number=before.number))
    assert desk.state is before
    with pytest.raises(Stale):
        accepts(before, e.Answered(number=before.number + 1))


# refusals


def test_a_hold_point_wants_its_word_and_nothing_else(desk: Desk) -> None:
    desk.until(index=1)
    for wrong in ("", "yes", "DEAD!", "DE AD", "CLEAR"):
        refused(lambda wrong=wrong: desk.answer(wrong), "this hold point wants the word DEAD")
    desk.answer("  dead ")
    assert desk.state.place.cursor == 2


@pytest.mark.parametrize("index", [0, 1, 12, 15], ids=["caution", "hold", "wait", "set"])
def test_what_protects_people_is_never_skipped(desk: Desk, index: int) -> None:
    desk.until(index=index)
    with pytest.raises((Refused, OutOfTurn)):
        desk.skip()
    if desk.state.phase is Phase.SWITCHING:
        desk.trouble()
        refused(desk.skip, "a set step is not skipped; abort the walk if it cannot be done")


def test_skipping_wants_a_reason(desk: Desk) -> None:
    desk.until(index=2)
    refused(lambda: desk.skip("  "), "skipping needs a reason, in words")
    desk.skip("both ends hang free already")
    assert desk.state.kept.latest[2].sentence == "Skipped: both ends hang free already"


@pytest.mark.parametrize("answer", ["-11", "46", "nan", "inf", "warm", "", "21,5"])
def test_a_value_out_of_bounds_is_refused(desk: Desk, answer: str) -> None:
    desk.until(index=3)
    refused(lambda: desk.answer(answer), "a number from -10 to 45, with a decimal point, is wanted")


def test_a_value_within_bounds_counts_from_there_on(desk: Desk) -> None:
    desk.until(index=3)
    desk.answer("31.5")
    assert desk.state.conditions.ambient == 31.5
    assert desk.state.setting is not None
    first = desk.until(phase=Phase.PLACING, index=7).state.step
    assert first is not None
    warm = desk.state.setting.limit(first, desk.state.conditions).limit.upper
    cold = desk.state.setting.limit(first, paper.State().conditions).limit.upper
    assert warm is not None and cold is not None
    # copper: 0.393 % for each kelvin at 20 °C (IEC 60028), on the wire's part of the limit
    assert warm > cold * (1 + 0.0039 * 0.8 * 11.5)


def test_a_humidity_is_a_percentage(tmp_path: Path) -> None:
    text = """
    sequence: damp
    plant: plant.yaml
    steps: [{step: ask, text: How damp is it?, name: humidity}, {step: ask, text: Anything else?, name: remark}]
    """
    desk = Desk(paper.made(tmp_path, text).began).until(phase=Phase.ASKING)
    refused(lambda: desk.answer("101"), "a number from 0 to 100")
    refused(lambda: desk.answer("-1"), "a number from 0 to 100")
    desk.answer("100")
    desk.answer("no number at all")
    assert desk.state.conditions.answers == {"humidity": "100", "remark": "no number at all"}


def test_nobody_goes_forward(desk: Desk) -> None:
    desk.until(index=7)
    refused(lambda: desk.went(8), "only a step that was reached before can be chosen")
    refused(lambda: desk.went(-1), "only a step that was reached before can be chosen")
    desk.went(7)


def test_time_does_not_run_backwards(desk: Desk) -> None:
    desk.until(phase=Phase.WAITING)
    for seconds in (-0.1, float("nan"), float("inf")):
        refused(
            lambda seconds=seconds: desk.add(e.Elapsed(number=desk.state.number, seconds=seconds)),
            "time does not run backwards",
        )


def test_an_instrument_that_fills_no_role_that_is_wanted_is_refused(desk: Desk) -> None:
    desk.until(phase=Phase.MEETING)
    stranger = e.Met(number=desk.state.number, instrument="oven", roles=["thermometer"], identity="oven 1.0")
    refused(lambda: desk.add(stranger), "oven fills none of ohms, supply, volts")


def test_consent_is_asked_for_once_and_wants_words(small: Made) -> None:
    desk = Desk(small.with_bench(paper.WEAK).began).until(phase=Phase.CONSENTING)
    assert isinstance(desk.asked, r.Consent) and desk.asked.weak
    refused(lambda: desk.answer(" "), "going on needs a reason, in words")
    desk.answer("to train the helpers")
    assert desk.state.phase is Phase.ASKING
    desk.resume()
    desk.until(phase=Phase.ASKING)
    assert desk.state.consented == "to train the helpers"


def test_another_bench_is_asked_about_anew(small: Made) -> None:
    desk = Desk(small.began).until(index=8)
    assert desk.state.conditions.zeros
    desk.resume(bench=paper.WEAK)
    assert not desk.state.conditions.zeros
    desk.until(phase=Phase.CONSENTING)
    desk.answer("nothing better at hand")
    # it is another meter: what the first one was checked by comes again, and then the walk goes on where it stood
    assert desk.state.place.cursor == 4 and desk.state.place.back_to == 8
    assert desk.state.setting is not None and desk.state.setting.bench == paper.WEAK


# time


def test_a_wait_is_over_when_its_time_is(desk: Desk) -> None:
    desk.until(phase=Phase.WAITING)
    assert isinstance(desk.asked, r.Wait) and isinstance(desk.asked.step.source, Wait)
    assert desk.asked.left == 5.0
    for _ in range(49):
        desk.add(e.Elapsed(number=desk.state.number, seconds=0.1))
    assert desk.state.phase is Phase.WAITING
    assert desk.state.pending.left == pytest.approx(0.1)
    desk.add(e.Elapsed(number=desk.state.number, seconds=0.1))
    assert desk.state.place.cursor == 13


def test_time_does_not_pass_while_the_walk_rests(desk: Desk) -> None:
    desk.until(phase=Phase.WAITING)
    desk.add(e.Elapsed(number=desk.state.number, seconds=2.0))
    desk.add(e.Paused(why="tea"))
    desk.add(e.Continued())
    assert isinstance(desk.asked, r.Wait) and desk.asked.left == 3.0


# back and again


def test_again_measures_one_step_and_returns(desk: Desk) -> None:
    desk.until(phase=Phase.PLACING, index=10)
    desk.went(8)
    assert desk.state.phase is Phase.PLACING and desk.state.place.cursor == 8
    desk.answer()
    desk.read(value=3.0)
    assert desk.state.place.cursor == 10 and desk.state.place.back_to is None
    assert desk.state.kept.latest[8].verdict == "fail"
    readings = [outcome.figure.value for outcome in outcomes(desk.state) if outcome.index == 8]
    assert len(readings) == 2, "both readings stay in the history"


def test_back_goes_on_from_there(desk: Desk) -> None:
    desk.until(phase=Phase.PLACING, index=10)
    desk.went(8, "go-on")
    for index in (8, 9, 10):
        assert desk.state.place.cursor == index
        desk.answer()
        desk.read()


def test_a_detour_from_a_detour_returns_to_where_the_walk_stood(desk: Desk) -> None:
    desk.until(phase=Phase.PLACING, index=10)
    desk.went(8)
    desk.went(7)
    desk.went(9)
    desk.answer()
    desk.read()
    assert desk.state.place.cursor == 10
    desk.went(7)
    desk.went(10)
    assert desk.state.place.cursor == 10 and desk.state.place.back_to is None


def test_the_same_step_again_in_a_detour_is_still_a_detour(desk: Desk) -> None:
    desk.until(phase=Phase.PLACING, index=10)
    desk.went(8)
    desk.answer()
    desk.went(8)
    assert desk.state.phase is Phase.PLACING
    desk.answer()
    desk.read()
    assert desk.state.place.cursor == 10


def test_a_skip_in_a_detour_returns_too(desk: Desk) -> None:
    desk.until(phase=Phase.PLACING, index=10)
    desk.went(8)
    desk.skip("cannot reach it any more")
    assert desk.state.place.cursor == 10
    assert desk.state.kept.latest[8].verdict == "skipped"


# pauses


@pytest.mark.parametrize("index", [0, 1, 2, 3, 4, 7, 12, 14])
def test_pause_and_go_on_in_every_kind_of_step(desk: Desk, index: int) -> None:
    desk.until(index=index)
    asked = type(desk.asked)
    desk.add(e.Paused(why="tea", by="Ana"))
    assert desk.asked == r.Rest(desk.state.number, "tea")
    with pytest.raises(OutOfTurn):
        desk.answer()
    desk.add(e.Continued(by="Ana"))
    assert type(desk.asked) is asked and desk.state.place.cursor == index
    assert passed(desk.finish().state)


def test_after_a_pause_in_a_measurement_the_probes_are_placed_again(desk: Desk) -> None:
    desk.until(phase=Phase.MEASURING, index=8)
    desk.add(e.Paused())
    desk.add(e.Continued())
    assert desk.state.phase is Phase.PLACING


def test_notes_and_the_seat_leave_the_open_request_alone(desk: Desk) -> None:
    desk.until(phase=Phase.MEASURING)
    number = desk.state.number
    desk.add(e.Noted(text="the lamp flickers"))
    desk.add(e.Disturbed(touches=["J4"]))
    desk.add(e.Seated(by="Ben", where="the other bay"))
    assert desk.state.number == number and desk.state.phase is Phase.MEASURING
    assert desk.state.seat == "Ben"
    assert [note.text for _, note in desk.state.kept.notes] == ["the lamp flickers"]


# trouble


def test_after_trouble_the_instrument_says_its_name_again(desk: Desk) -> None:
    desk.until(phase=Phase.MEASURING, index=8)
    desk.trouble()
    assert isinstance(desk.asked, r.Resolve) and desk.asked.kind == "late"
    refused(lambda: desk.answer("maybe"), "answer 'retry', skip the step with a reason, or abort")
    desk.answer("retry")
    assert desk.asked == r.Meet(desk.state.number, ("ohms",))
    desk.one()
    assert desk.state.phase is Phase.PLACING and desk.state.place.cursor == 8


def test_a_step_in_trouble_can_be_skipped_and_the_next_one_asks_for_the_name(desk: Desk) -> None:
    desk.until(phase=Phase.MEASURING, index=8)
    desk.trouble()
    desk.skip("the meter hangs on this one")
    assert desk.asked == r.Meet(desk.state.number, ("ohms",))
    desk.one()
    assert desk.state.phase is Phase.PLACING and desk.state.place.cursor == 9


def test_trouble_is_not_forgotten_over_a_pause(desk: Desk) -> None:
    desk.until(phase=Phase.MEASURING, index=8)
    desk.trouble()
    desk.add(e.Paused())
    desk.add(e.Continued())
    assert isinstance(desk.asked, r.Resolve)
    desk.answer("retry")
    assert desk.state.phase is Phase.MEETING


def test_outputs_that_cannot_be_confirmed_off_let_nothing_else_happen(desk: Desk) -> None:
    desk.safe(supply=False)
    assert isinstance(desk.asked, r.Resolve) and desk.asked.kind == "unsafe"
    assert "supply could not be confirmed off" in desk.asked.what
    refused(desk.skip, "outputs could not be confirmed off")
    refused(lambda: desk.went(0), "outputs could not be confirmed off")
    desk.answer("retry")
    assert desk.state.phase is Phase.SAFING
    desk.safe(supply=True)
    assert desk.state.phase is Phase.MEETING


def test_an_output_that_is_not_spoken_of_is_not_taken_for_off(desk: Desk) -> None:
    desk.until(index=16, phase=Phase.PLACING)
    desk.resume()
    desk.add(e.MadeSafe(number=desk.state.number, confirmed={}))
    assert desk.state.phase is Phase.TROUBLED and desk.state.outputs.unconfirmed == ("supply",)


# outputs and hold points


def test_an_output_goes_on_behind_its_hold_point(desk: Desk) -> None:
    desk.until(phase=Phase.SWITCHING)
    assert desk.state.place.cursor == 15 and 13 in desk.state.outputs.held
    desk.one()
    assert desk.state.outputs.on == {"supply": 15}
    desk.until(phase=Phase.SWITCHING).one()
    assert desk.state.outputs.on == {}


def test_after_a_restart_with_an_output_on_the_hold_point_is_passed_again(desk: Desk) -> None:
    desk.until(phase=Phase.PLACING, index=16)
    desk.resume()
    assert desk.state.outputs.on, "on, until it is made safe"
    desk.until(phase=Phase.ASKING)
    assert desk.state.place.cursor == 13
    refused(lambda: desk.went(15), "only a step that was reached before")
    desk.answer("CLEAR")
    assert desk.state.place.cursor == 14
    assert passed(desk.finish().state)


def test_after_a_pause_with_nobody_there_the_hold_point_is_passed_again(desk: Desk) -> None:
    desk.until(phase=Phase.PLACING, index=16)
    desk.add(e.Paused(why="the operator's screen went away", make_safe=True))
    assert desk.asked == r.MakeSafe(desk.state.number, "paused")
    desk.safe()
    assert desk.state.phase is Phase.PAUSED
    desk.add(e.Continued())
    assert desk.state.place.cursor == 13 and desk.state.phase is Phase.ASKING


def test_a_hold_point_of_before_a_restart_does_not_energise_after_it(desk: Desk) -> None:
    """Nothing was on, so the walk stands where it stood; but what may make something live asks for its hold point."""
    desk.until(index=14)
    desk.resume()
    desk.until(phase=Phase.ASKING)
    assert desk.state.place.cursor == 14
    desk.answer()
    assert desk.state.place.cursor == 13 and desk.state.phase is Phase.ASKING
    refused(lambda: desk.went(15), "go to the hold point before it first")
    desk.answer("CLEAR")
    assert desk.state.phase is Phase.SWITCHING and desk.state.place.cursor == 15


def test_going_back_to_energise_after_a_restart_wants_the_hold_point(desk: Desk) -> None:
    desk.until(index=18, phase=Phase.SWITCHING).one()
    desk.until(phase=Phase.ASKING)
    desk.resume()
    desk.until(phase=Phase.ASKING)
    refused(lambda: desk.went(15), "go to the hold point before it first")
    desk.went(13)
    desk.answer("CLEAR")
    desk.went(15)
    assert desk.state.phase is Phase.SWITCHING


def test_an_act_by_hand_that_makes_something_live_is_behind_its_hold_point_too(desk: Desk) -> None:
    desk.until(index=19, phase=Phase.ASKING)
    desk.add(e.Paused(make_safe=True))
    desk.add(e.Continued())
    assert desk.state.place.cursor == 13, "whoever comes now has not passed the hold point"
    desk.answer("CLEAR")
    assert desk.state.place.cursor == 19
    desk.answer()
    assert desk.state.conditions.handled.closed == {"F1"}
    desk.answer()
    assert desk.state.conditions.handled.closed == frozenset()


def test_leaving_while_an_output_is_being_switched_counts_it_as_on(desk: Desk) -> None:
    desk.until(phase=Phase.SWITCHING)
    desk.add(e.Paused(make_safe=True))
    assert desk.state.phase is Phase.SAFING
    assert desk.state.outputs.on == {"supply": 15}


def test_a_pause_by_hand_leaves_outputs_on_and_an_empty_seat_then_turns_them_off(desk: Desk) -> None:
    desk.until(phase=Phase.PLACING, index=16)
    desk.add(e.Paused(why="tea"))
    assert desk.state.phase is Phase.PAUSED and desk.state.outputs.on
    desk.add(e.Paused(why="the operator's screen went away", make_safe=True))
    assert desk.state.phase is Phase.SAFING
    desk.safe()
    assert desk.state.phase is Phase.PAUSED and not desk.state.outputs.on
    refused(lambda: desk.add(e.Paused(make_safe=True)), "the walk is paused already")


def test_a_pause_while_outputs_are_made_safe_is_kept(desk: Desk) -> None:
    number = desk.state.number
    desk.add(e.Paused(why="the operator's screen went away", make_safe=True))
    assert desk.asked == r.MakeSafe(number, "paused"), "the same request: nothing is begun anew"
    desk.safe()
    assert desk.state.phase is Phase.PAUSED
    desk.add(e.Continued())
    assert desk.state.phase is Phase.MEETING


@pytest.mark.parametrize(("shown", "confirmed"), [("off", True), ("on", False)])
def test_an_output_that_does_not_do_as_told_is_trouble_and_counts_as_on(
    desk: Desk, shown: str, confirmed: bool
) -> None:
    desk.until(phase=Phase.SWITCHING)
    desk.add(e.Switched(number=desk.state.number, instrument="supply", state=shown, confirmed=confirmed))
    assert isinstance(desk.asked, r.Resolve) and desk.asked.kind == "unconfirmed"
    assert desk.state.outputs.on == {"supply": 15}
    desk.add(e.Paused(make_safe=True))
    assert desk.state.phase is Phase.SAFING


def test_while_an_output_is_on_nobody_goes_back_to_before_it(desk: Desk) -> None:
    desk.until(phase=Phase.PLACING, index=16)
    refused(lambda: desk.went(8), "an output is on, and that step comes before it went on")
    desk.went(15)
    assert desk.state.phase is Phase.SWITCHING


def test_a_walk_that_ends_with_an_output_on_is_complete_once_it_is_safe(tmp_path: Path) -> None:
    text = """
    sequence: left on
    plant: plant.yaml
    steps: [{step: hold, text: Clear.}, {step: set, text: On., output: on}]
    """
    desk = Desk(paper.made(tmp_path, text).began).until(phase=Phase.SWITCHING)
    desk.one()
    assert desk.asked == r.MakeSafe(desk.state.number, "done")
    desk.safe()
    assert desk.state.phase is Phase.DONE and passed(desk.state)


# the end


def test_an_abort_makes_safe_and_ends(desk: Desk) -> None:
    desk.until(phase=Phase.PLACING, index=16)
    desk.add(e.Aborted(why="smoke", by="Ana"))
    assert desk.asked == r.MakeSafe(desk.state.number, "aborted")
    refused(lambda: desk.add(e.Aborted()), "the walk is being given up already")
    desk.safe(supply=False)
    assert desk.asked == r.Finished(desk.state.number, aborted=True)
    assert desk.state.outputs.unconfirmed == ("supply",)
    assert not passed(desk.state)
    with pytest.raises(OutOfTurn, match="Noted has no place while aborted"):
        desk.add(e.Noted(text="too late"))


def test_an_abort_after_the_last_step_does_not_undo_the_walk(desk: Desk) -> None:
    desk.until(phase=Phase.PLACING, index=22)
    desk.answer()
    desk.read()
    assert desk.state.phase is Phase.SAFING
    desk.add(e.Aborted(why="ctrl-c"))
    desk.safe()
    assert desk.state.phase is Phase.DONE


# one fold


def facts(desk: Desk) -> list[tuple[object, ...]]:
    return [
        (outcome.index, outcome.verdict, outcome.sentence, outcome.figure.value)
        for outcome in results(desk.state).values()
        if outcome.verdict != "done"
    ]


def test_resumed_at_any_moment_the_same_verdicts_come_out(small: Made) -> None:
    """Every prefix of a whole walk is folded as after a crash, resumed, and walked to its end."""
    whole = Desk(small.began).finish()
    wanted = facts(whole)
    for length in range(1, len(whole.entries)):
        prefix = whole.entries[:length]
        desk = Desk(small.began, list(prefix), refold(prefix))
        desk.resume()
        assert isinstance(desk.asked, r.MakeSafe)
        desk.finish()
        assert desk.state.phase is Phase.DONE, length
        assert facts(desk) == wanted, length


def test_after_a_restart_nobody_is_known(desk: Desk) -> None:
    desk.until(index=7)
    desk.add(e.Seated(by="Ana"))
    assert set(desk.state.instruments.met) == {"ohms", "volts", "supply"}
    desk.resume()
    assert desk.state.instruments.met == {} and desk.state.seat == ""
    assert set(desk.until(phase=Phase.PLACING).state.instruments.met) == {"ohms", "volts", "supply"}


def test_resuming_what_is_over_has_no_place(desk: Desk) -> None:
    desk.finish()
    with pytest.raises(OutOfTurn):
        desk.resume()


def test_resumed_while_ending_it_ends_and_nothing_else(desk: Desk) -> None:
    desk.until(index=7)
    desk.add(e.Aborted())
    desk.resume()
    assert desk.asked == r.MakeSafe(desk.state.number, "aborted")


def test_folding_twice_is_the_same_to_the_last_bit(small: Made) -> None:
    whole = Desk(small.began).finish()
    one, other = refold(whole.entries), refold(whole.entries)
    assert one == other == whole.state
    assert one.kept.history is not other.kept.history and one.kept.history == other.kept.history
    lines = "\n".join(verdict_lines(one)).encode()
    assert "\n".join(verdict_lines(other)).encode() == lines == "\n".join(verdict_lines(whole.state)).encode()


@pytest.mark.slow
def test_states_of_long_walks_are_compared_and_shown_without_going_deep(tmp_path: Path) -> None:
    text = "sequence: long\nplant: plant.yaml\nsteps:\n" + "  - {step: do, text: Look.}\n" * 3000
    desk = Desk(paper.made(tmp_path, text).began).finish()
    assert refold(desk.entries) == desk.state
    assert len(repr(desk.state)) < 2_000_000
    assert refold(desk.entries[:-2]) != desk.state


def test_what_the_runner_made_of_a_reading_is_never_looked_at(small: Made) -> None:
    """A verdict that somebody wrote into a record changes nothing: it is worked out from the reading."""
    whole = Desk(small.began).finish()
    told = [
        msgspec.structs.replace(entry, event=msgspec.structs.replace(entry.event, judged={"verdict": "fail"}))
        if isinstance(entry.event, e.Read)
        else entry
        for entry in whole.entries
    ]
    assert refold(told) == whole.state
