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
from tests.walk.paper_walk import Made, PaperWalk, refold


@pytest.fixture
def walker(small: Made) -> PaperWalk:
    return PaperWalk(small.began)


def refused(act: Callable[[], object], why: str) -> None:
    with pytest.raises(Refused, match=why):
        act()


# the whole way


def test_the_shipped_sequence_is_walked_to_its_end(shipped: Made) -> None:
    walker = PaperWalk(shipped.began).finish()
    assert walker.state.phase is Phase.DONE
    assert passed(walker.state)
    assert walker.state.setting is not None
    steps = walker.state.setting.plan.steps
    assert [outcome.index for outcome in outcomes(walker.state)] == [step.index for step in reversed(steps)]
    lines = list(verdict_lines(walker.state))
    assert len(lines) == sum(1 for step in steps if step.judged)
    assert all(line.startswith("pass ") for line in lines)
    assert isinstance(walker.asked, r.Finished) and not walker.asked.aborted


@pytest.mark.slow
def test_faults_of_the_shipped_plant_are_told_by_name(shipped: Made) -> None:
    """An open conductor, one with a bad contact, and two neighbours that touch: by synthetic readings."""

    def readings(state: object, step: paper.Step) -> dict[str, object]:
        if step.subject == "W101.12" and step.kind == "measure":
            return {"over": "+", "range": 100.0}
        shown = paper.sound(walker.state, step)
        if step.subject == "W101.31":
            return {"value": float(str(shown["value"])) + 4.7}
        return {"value": 0.4} if step.subject == "J101.19~J101.20" else shown

    walker = PaperWalk(shipped.began)
    walker.readings = readings
    walker.finish()
    bad = {outcome.subject: outcome.verdict for outcome in results(walker.state).values() if outcome.verdict == "fail"}
    assert bad == {"W101.12": "fail", "W101.31": "fail", "J101.19~J101.20": "fail"}
    assert not passed(walker.state)


def test_every_kind_of_step_is_walked(walker: PaperWalk) -> None:
    asked: list[type] = []
    while not walker.state.finished:
        asked.append(type(walker.asked))
        walker.one()
    assert passed(walker.state)
    assert set(asked) == {r.MakeSafe, r.Meet, r.Ask, r.Place, r.Measure, r.Switch, r.Wait}
    assert asked[0] is r.MakeSafe and asked[-1] is r.MakeSafe


def test_before_the_beginning_only_a_beginning_is_taken(small: Made) -> None:
    assert request(paper.start()) == r.Start()
    with pytest.raises(OutOfTurn, match="Noted has no place while empty"):
        paper.take(paper.start(), e.Entry(n=1, at="", event=e.Noted(text="hello")))


def test_a_sequence_without_instruments_is_walked(tmp_path: Path) -> None:
    text = "sequence: by eye\nplant: plant.yaml\nsteps: [{step: do, text: Look.}]\n"
    walker = PaperWalk(paper.made(tmp_path, text).began)
    walker.safe()
    assert isinstance(walker.asked, r.Ask)
    walker.finish()
    assert passed(walker.state)


# numbers


def test_a_stale_number_changes_nothing_and_says_which_one_is_open(walker: PaperWalk) -> None:
    walker.until(phase=Phase.ASKING)
    before = walker.state
    with pytest.raises(Stale, match=f"request {before.number - 1} is no longer open; request {before.number} is"):
        walker.add(e.Answered(number=before.number - 1))
    assert walker.state is before


def test_the_same_key_twice_answers_once(walker: PaperWalk) -> None:
    walker.until(index=2)
    again = e.Answered(number=walker.state.number)
    walker.add(again)
    with pytest.raises(Stale):
        walker.add(again)
    assert walker.state.place.cursor == 3


def test_a_late_answer_is_stale_and_no_bug_also_where_no_answer_has_a_place(walker: PaperWalk) -> None:
    walker.until(phase=Phase.PLACING)
    late = e.Answered(number=walker.state.number)
    walker.add(late)
    assert walker.state.phase is Phase.MEASURING
    with pytest.raises(Stale):
        walker.add(late)
    with pytest.raises(OutOfTurn, match="Answered has no place while measuring"):
        walker.answer()


def test_a_number_from_the_future_is_stale_too(walker: PaperWalk) -> None:
    with pytest.raises(Stale):
        walker.add(e.MadeSafe(number=walker.state.number + 1))


def test_trying_an_event_keeps_nothing(walker: PaperWalk) -> None:
    walker.until(phase=Phase.ASKING)
    before = walker.state
    accepts(before, e.Answered(number=before.number))
    assert walker.state is before
    with pytest.raises(Stale):
        accepts(before, e.Answered(number=before.number + 1))


# refusals


def test_a_hold_point_wants_its_word_and_nothing_else(walker: PaperWalk) -> None:
    walker.until(index=1)
    for wrong in ("", "yes", "DEAD!", "DE AD", "CLEAR"):
        refused(lambda wrong=wrong: walker.answer(wrong), "this hold point wants the word DEAD")
    walker.answer("  dead ")
    assert walker.state.place.cursor == 2


@pytest.mark.parametrize("index", [0, 1, 12, 15], ids=["caution", "hold", "wait", "set"])
def test_what_protects_people_is_never_skipped(walker: PaperWalk, index: int) -> None:
    walker.until(index=index)
    with pytest.raises((Refused, OutOfTurn)):
        walker.skip()
    if walker.state.phase is Phase.SWITCHING:
        walker.trouble()
        refused(walker.skip, "a set step is not skipped; abort the walk if it cannot be done")


def test_skipping_wants_a_reason(walker: PaperWalk) -> None:
    walker.until(index=2)
    refused(lambda: walker.skip("  "), "skipping needs a reason, in words")
    walker.skip("both ends hang free already")
    assert walker.state.kept.latest[2].sentence == "Skipped: both ends hang free already"


@pytest.mark.parametrize("answer", ["-11", "46", "nan", "inf", "warm", "", "21,5"])
def test_a_value_out_of_bounds_is_refused(walker: PaperWalk, answer: str) -> None:
    walker.until(index=3)
    refused(lambda: walker.answer(answer), "a number from -10 to 45 is wanted")


def test_a_value_within_bounds_counts_from_there_on(walker: PaperWalk) -> None:
    walker.until(index=3)
    walker.answer("31.5")
    assert walker.state.conditions.ambient == 31.5
    assert walker.state.setting is not None
    first = walker.until(phase=Phase.PLACING, index=7).state.step
    assert first is not None
    warm = walker.state.setting.limit(first, walker.state.conditions).limit.upper
    cold = walker.state.setting.limit(first, paper.State().conditions).limit.upper
    assert warm is not None and cold is not None
    # copper: 0.393 % for each kelvin at 20 °C (IEC 60028), on the wire's part of the limit
    assert warm > cold * (1 + 0.0039 * 0.8 * 11.5)


def test_a_humidity_is_a_percentage(tmp_path: Path) -> None:
    text = """
    sequence: damp
    plant: plant.yaml
    steps: [{step: ask, text: How damp is it?, name: humidity}, {step: ask, text: Anything else?, name: remark}]
    """
    walker = PaperWalk(paper.made(tmp_path, text).began).until(phase=Phase.ASKING)
    refused(lambda: walker.answer("101"), "a number from 0 to 100")
    refused(lambda: walker.answer("-1"), "a number from 0 to 100")
    walker.answer("100")
    walker.answer("no number at all")
    assert walker.state.conditions.answers == {"humidity": "100", "remark": "no number at all"}


def test_nobody_goes_forward(walker: PaperWalk) -> None:
    walker.until(index=7)
    refused(lambda: walker.went(8), "only a step that was reached before can be chosen")
    refused(lambda: walker.went(-1), "only a step that was reached before can be chosen")
    walker.went(7)


def test_time_does_not_run_backwards(walker: PaperWalk) -> None:
    walker.until(phase=Phase.WAITING)
    for seconds in (-0.1, float("nan"), float("inf")):
        refused(
            lambda seconds=seconds: walker.add(e.Elapsed(number=walker.state.number, seconds=seconds)),
            "time does not run backwards",
        )


def test_an_instrument_that_fills_no_role_that_is_wanted_is_refused(walker: PaperWalk) -> None:
    walker.until(phase=Phase.MEETING)
    stranger = e.Met(number=walker.state.number, instrument="oven", roles=["thermometer"], identity="oven 1.0")
    refused(lambda: walker.add(stranger), "oven fills none of ohms, supply, volts")


def test_consent_is_asked_for_once_and_wants_words(small: Made) -> None:
    walker = PaperWalk(small.with_bench(paper.WEAK).began).until(phase=Phase.CONSENTING)
    assert isinstance(walker.asked, r.Consent) and walker.asked.weak
    refused(lambda: walker.answer(" "), "going on needs a reason, in words")
    walker.answer("to train the helpers")
    assert walker.state.phase is Phase.ASKING
    walker.resume()
    walker.until(phase=Phase.ASKING)
    assert walker.state.consented == "to train the helpers"


def test_another_bench_is_asked_about_anew(small: Made) -> None:
    walker = PaperWalk(small.began).until(index=8)
    assert walker.state.conditions.zeros
    walker.resume(bench=paper.WEAK)
    assert not walker.state.conditions.zeros
    walker.until(phase=Phase.CONSENTING)
    walker.answer("nothing better at hand")
    # it is another meter: what the first one was checked by comes again, and then the walk goes on where it stood
    assert walker.state.place.cursor == 4 and walker.state.place.back_to == 8
    assert walker.state.setting is not None and walker.state.setting.bench == paper.WEAK


# time


def test_a_wait_is_over_when_its_time_is(walker: PaperWalk) -> None:
    walker.until(phase=Phase.WAITING)
    assert isinstance(walker.asked, r.Wait) and isinstance(walker.asked.step.source, Wait)
    assert walker.asked.left == 5.0
    for _ in range(49):
        walker.add(e.Elapsed(number=walker.state.number, seconds=0.1))
    assert walker.state.phase is Phase.WAITING
    assert walker.state.pending.left == pytest.approx(0.1)
    walker.add(e.Elapsed(number=walker.state.number, seconds=0.1))
    assert walker.state.place.cursor == 13


def test_time_does_not_pass_while_the_walk_rests(walker: PaperWalk) -> None:
    walker.until(phase=Phase.WAITING)
    walker.add(e.Elapsed(number=walker.state.number, seconds=2.0))
    walker.add(e.Paused(why="tea"))
    walker.add(e.Continued())
    assert isinstance(walker.asked, r.Wait) and walker.asked.left == 3.0


# back and again


def test_again_measures_one_step_and_returns(walker: PaperWalk) -> None:
    walker.until(phase=Phase.PLACING, index=10)
    walker.went(8)
    assert walker.state.phase is Phase.PLACING and walker.state.place.cursor == 8
    walker.answer()
    walker.read(value=3.0)
    assert walker.state.place.cursor == 10 and walker.state.place.back_to is None
    assert walker.state.kept.latest[8].verdict == "fail"
    readings = [outcome.figure.value for outcome in outcomes(walker.state) if outcome.index == 8]
    assert len(readings) == 2, "both readings stay in the history"


def test_back_goes_on_from_there(walker: PaperWalk) -> None:
    walker.until(phase=Phase.PLACING, index=10)
    walker.went(8, "go-on")
    for index in (8, 9, 10):
        assert walker.state.place.cursor == index
        walker.answer()
        walker.read()


def test_a_detour_from_a_detour_returns_to_where_the_walk_stood(walker: PaperWalk) -> None:
    walker.until(phase=Phase.PLACING, index=10)
    walker.went(8)
    walker.went(7)
    walker.went(9)
    walker.answer()
    walker.read()
    assert walker.state.place.cursor == 10
    walker.went(7)
    walker.went(10)
    assert walker.state.place.cursor == 10 and walker.state.place.back_to is None


def test_the_same_step_again_in_a_detour_is_still_a_detour(walker: PaperWalk) -> None:
    walker.until(phase=Phase.PLACING, index=10)
    walker.went(8)
    walker.answer()
    walker.went(8)
    assert walker.state.phase is Phase.PLACING
    walker.answer()
    walker.read()
    assert walker.state.place.cursor == 10


def test_a_skip_in_a_detour_returns_too(walker: PaperWalk) -> None:
    walker.until(phase=Phase.PLACING, index=10)
    walker.went(8)
    walker.skip("cannot reach it any more")
    assert walker.state.place.cursor == 10
    assert walker.state.kept.latest[8].verdict == "skipped"


# pauses


@pytest.mark.parametrize("index", [0, 1, 2, 3, 4, 7, 12, 14])
def test_pause_and_go_on_in_every_kind_of_step(walker: PaperWalk, index: int) -> None:
    walker.until(index=index)
    asked = type(walker.asked)
    walker.add(e.Paused(why="tea", by="Ana"))
    assert walker.asked == r.Rest(walker.state.number, "tea")
    with pytest.raises(OutOfTurn):
        walker.answer()
    walker.add(e.Continued(by="Ana"))
    assert type(walker.asked) is asked and walker.state.place.cursor == index
    assert passed(walker.finish().state)


def test_after_a_pause_in_a_measurement_the_probes_are_placed_again(walker: PaperWalk) -> None:
    walker.until(phase=Phase.MEASURING, index=8)
    walker.add(e.Paused())
    walker.add(e.Continued())
    assert walker.state.phase is Phase.PLACING


def test_notes_and_the_seat_leave_the_open_request_alone(walker: PaperWalk) -> None:
    walker.until(phase=Phase.MEASURING)
    number = walker.state.number
    walker.add(e.Noted(text="the lamp flickers"))
    walker.add(e.Disturbed(touches=["J4"]))
    walker.add(e.Seated(by="Ben", where="the other bay"))
    assert walker.state.number == number and walker.state.phase is Phase.MEASURING
    assert walker.state.seat == "Ben"
    assert [note.text for _, note in walker.state.kept.notes] == ["the lamp flickers"]


# trouble


def test_after_trouble_the_instrument_says_its_name_again(walker: PaperWalk) -> None:
    walker.until(phase=Phase.MEASURING, index=8)
    walker.trouble()
    assert isinstance(walker.asked, r.Resolve) and walker.asked.kind == "late"
    refused(lambda: walker.answer("maybe"), "answer 'retry', skip the step with a reason, or abort")
    walker.answer("retry")
    assert walker.asked == r.Meet(walker.state.number, ("ohms",))
    walker.one()
    assert walker.state.phase is Phase.PLACING and walker.state.place.cursor == 8


def test_a_step_in_trouble_can_be_skipped_and_the_next_one_asks_for_the_name(walker: PaperWalk) -> None:
    walker.until(phase=Phase.MEASURING, index=8)
    walker.trouble()
    walker.skip("the meter hangs on this one")
    assert walker.asked == r.Meet(walker.state.number, ("ohms",))
    walker.one()
    assert walker.state.phase is Phase.PLACING and walker.state.place.cursor == 9


def test_trouble_is_not_forgotten_over_a_pause(walker: PaperWalk) -> None:
    walker.until(phase=Phase.MEASURING, index=8)
    walker.trouble()
    walker.add(e.Paused())
    walker.add(e.Continued())
    assert isinstance(walker.asked, r.Resolve)
    walker.answer("retry")
    assert walker.state.phase is Phase.MEETING


def test_outputs_that_cannot_be_confirmed_off_let_nothing_else_happen(walker: PaperWalk) -> None:
    walker.safe(supply=False)
    assert isinstance(walker.asked, r.Resolve) and walker.asked.kind == "unsafe"
    assert "supply could not be confirmed off" in walker.asked.what
    refused(walker.skip, "outputs could not be confirmed off")
    refused(lambda: walker.went(0), "outputs could not be confirmed off")
    walker.answer("retry")
    assert walker.state.phase is Phase.SAFING
    walker.safe(supply=True)
    assert walker.state.phase is Phase.MEETING


def test_an_output_that_is_not_spoken_of_is_not_taken_for_off(walker: PaperWalk) -> None:
    walker.until(index=16, phase=Phase.PLACING)
    walker.resume()
    walker.add(e.MadeSafe(number=walker.state.number, confirmed={}))
    assert walker.state.phase is Phase.TROUBLED and walker.state.outputs.unconfirmed == ("supply",)


# outputs and hold points


def test_an_output_goes_on_behind_its_hold_point(walker: PaperWalk) -> None:
    walker.until(phase=Phase.SWITCHING)
    assert walker.state.place.cursor == 15 and 13 in walker.state.outputs.held
    walker.one()
    assert walker.state.outputs.on == {"supply": 15}
    walker.until(phase=Phase.SWITCHING).one()
    assert walker.state.outputs.on == {}


def test_after_a_restart_with_an_output_on_the_hold_point_is_passed_again(walker: PaperWalk) -> None:
    walker.until(phase=Phase.PLACING, index=16)
    walker.resume()
    assert walker.state.outputs.on, "on, until it is made safe"
    walker.until(phase=Phase.ASKING)
    assert walker.state.place.cursor == 13
    refused(lambda: walker.went(15), "only a step that was reached before")
    walker.answer("CLEAR")
    assert walker.state.place.cursor == 14
    assert passed(walker.finish().state)


def test_after_a_pause_with_nobody_there_the_hold_point_is_passed_again(walker: PaperWalk) -> None:
    walker.until(phase=Phase.PLACING, index=16)
    walker.add(e.Paused(why="the operator's screen went away", make_safe=True))
    assert walker.asked == r.MakeSafe(walker.state.number, "paused")
    walker.safe()
    assert walker.state.phase is Phase.PAUSED
    walker.add(e.Continued())
    assert walker.state.place.cursor == 13 and walker.state.phase is Phase.ASKING


def test_a_hold_point_of_before_a_restart_does_not_energise_after_it(walker: PaperWalk) -> None:
    """Nothing was on, so the walk stands where it stood; but what may make something live asks for its hold point."""
    walker.until(index=14)
    walker.resume()
    walker.until(phase=Phase.ASKING)
    assert walker.state.place.cursor == 14
    walker.answer()
    assert walker.state.place.cursor == 13 and walker.state.phase is Phase.ASKING
    refused(lambda: walker.went(15), "go to the hold point before it first")
    walker.answer("CLEAR")
    assert walker.state.phase is Phase.SWITCHING and walker.state.place.cursor == 15


def test_going_back_to_energise_after_a_restart_wants_the_hold_point(walker: PaperWalk) -> None:
    walker.until(index=18, phase=Phase.SWITCHING).one()
    walker.until(phase=Phase.ASKING)
    walker.resume()
    walker.until(phase=Phase.ASKING)
    refused(lambda: walker.went(15), "go to the hold point before it first")
    walker.went(13)
    walker.answer("CLEAR")
    walker.went(15)
    assert walker.state.phase is Phase.SWITCHING


def test_an_act_by_hand_that_makes_something_live_is_behind_its_hold_point_too(walker: PaperWalk) -> None:
    walker.until(index=19, phase=Phase.ASKING)
    walker.add(e.Paused(make_safe=True))
    walker.add(e.Continued())
    assert walker.state.place.cursor == 13, "whoever comes now has not passed the hold point"
    walker.answer("CLEAR")
    assert walker.state.place.cursor == 19
    walker.answer()
    assert walker.state.conditions.handled.closed == {"F1"}
    walker.answer()
    assert walker.state.conditions.handled.closed == frozenset()


def test_leaving_while_an_output_is_being_switched_counts_it_as_on(walker: PaperWalk) -> None:
    walker.until(phase=Phase.SWITCHING)
    walker.add(e.Paused(make_safe=True))
    assert walker.state.phase is Phase.SAFING
    assert walker.state.outputs.on == {"supply": 15}


def test_a_pause_by_hand_leaves_outputs_on_and_an_empty_seat_then_turns_them_off(walker: PaperWalk) -> None:
    walker.until(phase=Phase.PLACING, index=16)
    walker.add(e.Paused(why="tea"))
    assert walker.state.phase is Phase.PAUSED and walker.state.outputs.on
    walker.add(e.Paused(why="the operator's screen went away", make_safe=True))
    assert walker.state.phase is Phase.SAFING
    walker.safe()
    assert walker.state.phase is Phase.PAUSED and not walker.state.outputs.on
    refused(lambda: walker.add(e.Paused(make_safe=True)), "the walk is paused already")


def test_a_pause_while_outputs_are_made_safe_is_kept(walker: PaperWalk) -> None:
    number = walker.state.number
    walker.add(e.Paused(why="the operator's screen went away", make_safe=True))
    assert walker.asked == r.MakeSafe(number, "paused"), "the same request: nothing is begun anew"
    walker.safe()
    assert walker.state.phase is Phase.PAUSED
    walker.add(e.Continued())
    assert walker.state.phase is Phase.MEETING


@pytest.mark.parametrize(("shown", "confirmed"), [("off", True), ("on", False)])
def test_an_output_that_does_not_do_as_told_is_trouble_and_counts_as_on(
    walker: PaperWalk, shown: str, confirmed: bool
) -> None:
    walker.until(phase=Phase.SWITCHING)
    walker.add(e.Switched(number=walker.state.number, instrument="supply", state=shown, confirmed=confirmed))
    assert isinstance(walker.asked, r.Resolve) and walker.asked.kind == "unconfirmed"
    assert walker.state.outputs.on == {"supply": 15}
    walker.add(e.Paused(make_safe=True))
    assert walker.state.phase is Phase.SAFING


def test_while_an_output_is_on_nobody_goes_back_to_before_it(walker: PaperWalk) -> None:
    walker.until(phase=Phase.PLACING, index=16)
    refused(lambda: walker.went(8), "an output is on, and that step comes before it went on")
    walker.went(15)
    assert walker.state.phase is Phase.SWITCHING


def test_a_walk_that_ends_with_an_output_on_is_complete_once_it_is_safe(tmp_path: Path) -> None:
    text = """
    sequence: left on
    plant: plant.yaml
    steps: [{step: hold, text: Clear.}, {step: set, text: On., output: on}]
    """
    walker = PaperWalk(paper.made(tmp_path, text).began).until(phase=Phase.SWITCHING)
    walker.one()
    assert walker.asked == r.MakeSafe(walker.state.number, "done")
    walker.safe()
    assert walker.state.phase is Phase.DONE and passed(walker.state)


# the end


def test_an_abort_makes_safe_and_ends(walker: PaperWalk) -> None:
    walker.until(phase=Phase.PLACING, index=16)
    walker.add(e.Aborted(why="smoke", by="Ana"))
    assert walker.asked == r.MakeSafe(walker.state.number, "aborted")
    refused(lambda: walker.add(e.Aborted()), "the walk is being given up already")
    walker.safe(supply=False)
    assert walker.asked == r.Finished(walker.state.number, aborted=True)
    assert walker.state.outputs.unconfirmed == ("supply",)
    assert not passed(walker.state)
    with pytest.raises(OutOfTurn, match="Noted has no place while aborted"):
        walker.add(e.Noted(text="too late"))


def test_an_abort_after_the_last_step_does_not_undo_the_walk(walker: PaperWalk) -> None:
    walker.until(phase=Phase.PLACING, index=22)
    walker.answer()
    walker.read()
    assert walker.state.phase is Phase.SAFING
    walker.add(e.Aborted(why="ctrl-c"))
    walker.safe()
    assert walker.state.phase is Phase.DONE


# one fold


def facts(walker: PaperWalk) -> list[tuple[object, ...]]:
    return [
        (outcome.index, outcome.verdict, outcome.sentence, outcome.figure.value)
        for outcome in results(walker.state).values()
        if outcome.verdict != "done"
    ]


def test_resumed_at_any_moment_the_same_verdicts_come_out(small: Made) -> None:
    """Every prefix of a whole walk is folded as after a crash, resumed, and walked to its end."""
    whole = PaperWalk(small.began).finish()
    wanted = facts(whole)
    for length in range(1, len(whole.entries)):
        prefix = whole.entries[:length]
        walker = PaperWalk(small.began, list(prefix), refold(prefix))
        walker.resume()
        assert isinstance(walker.asked, r.MakeSafe)
        walker.finish()
        assert walker.state.phase is Phase.DONE, length
        assert facts(walker) == wanted, length


def test_after_a_restart_nobody_is_known(walker: PaperWalk) -> None:
    walker.until(index=7)
    walker.add(e.Seated(by="Ana"))
    assert set(walker.state.instruments.met) == {"ohms", "volts", "supply"}
    walker.resume()
    assert walker.state.instruments.met == {} and walker.state.seat == ""
    assert set(walker.until(phase=Phase.PLACING).state.instruments.met) == {"ohms", "volts", "supply"}


def test_resuming_what_is_over_has_no_place(walker: PaperWalk) -> None:
    walker.finish()
    with pytest.raises(OutOfTurn):
        walker.resume()


def test_resumed_while_ending_it_ends_and_nothing_else(walker: PaperWalk) -> None:
    walker.until(index=7)
    walker.add(e.Aborted())
    walker.resume()
    assert walker.asked == r.MakeSafe(walker.state.number, "aborted")


def test_folding_twice_is_the_same_to_the_last_bit(small: Made) -> None:
    whole = PaperWalk(small.began).finish()
    one, other = refold(whole.entries), refold(whole.entries)
    assert one == other == whole.state
    assert one.kept.history is not other.kept.history and one.kept.history == other.kept.history
    lines = "\n".join(verdict_lines(one)).encode()
    assert "\n".join(verdict_lines(other)).encode() == lines == "\n".join(verdict_lines(whole.state)).encode()


@pytest.mark.slow
def test_states_of_long_walks_are_compared_and_shown_without_going_deep(tmp_path: Path) -> None:
    text = "sequence: long\nplant: plant.yaml\nsteps:\n" + "  - {step: do, text: Look.}\n" * 3000
    walker = PaperWalk(paper.made(tmp_path, text).began).finish()
    assert refold(walker.entries) == walker.state
    assert len(repr(walker.state)) < 2_000_000
    assert refold(walker.entries[:-2]) != walker.state


def test_what_the_runner_made_of_a_reading_is_never_looked_at(small: Made) -> None:
    """A verdict that somebody wrote into a record changes nothing: it is worked out from the reading."""
    whole = PaperWalk(small.began).finish()
    told = [
        msgspec.structs.replace(entry, event=msgspec.structs.replace(entry.event, judged={"verdict": "fail"}))
        if isinstance(entry.event, e.Read)
        else entry
        for entry in whole.entries
    ]
    assert refold(told) == whole.state
