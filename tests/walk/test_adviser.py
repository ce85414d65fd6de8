"""The adviser: what it says follows from the state and the trail, however it came there."""

from __future__ import annotations

from collections.abc import Generator
from pathlib import Path

import msgspec
import pytest

from bench.sequence.file import Do, Find, Found, Measure, Rig
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.adviser import Adviser, Begin, NoAdvice, followed
from bench.walk.seeking import Answer, Search, Trail, Wanted
from bench.walk.state import State, fold
from tests.walk.test_search import Search as Walk
from tests.walk.test_search import apart

PINS = ("J1.2", "J1.3", "J1.4")


@pytest.fixture
def walk(tmp_path: Path) -> Walk:
    made = Walk(tmp_path)
    made.arrive()
    return made


class Searches:
    """Counts how often a search was begun."""

    def __init__(self, begin: Begin) -> None:
        self._begin = begin
        self.begun = 0

    def __call__(self, find: Find) -> Begin:
        assert find == "crosses"
        self.begun += 1
        return self._begin


def step_by_step(state: State, step: Step, trail: Trail) -> Search:
    return followed(_step_by_step(), trail)


def _step_by_step() -> Search:
    low = []
    yield Wanted(Do(text="Free every end.", rig=Rig()), "before anything is read", 3)
    for left, pin in zip((3, 2, 1), PINS, strict=True):
        answer = yield Wanted(apart("J1.1", pin), f"low so far: {len(low)}", left, {"low": list(low)})
        if answer.ohms is not None and answer.ohms < 1e5:
            low.append(pin)
    return Found(verdict="fail" if low else "pass", sentence=f"{len(low)} joined.", facts={"low": low})


def from_the_trail(state: State, step: Step, trail: Trail) -> Search:
    """The same without the first act, taking whatever was read."""
    seen = {pin: answer for answer in trail for pin in _pins(answer)}
    while left := [pin for pin in PINS if pin not in seen]:
        answer = yield Wanted(apart("J1.1", left[0]), left=len(left))
        seen.update(dict.fromkeys(_pins(answer), answer))
    return Found(verdict="pass", sentence=", ".join(seen))


def _pins(answer: Answer) -> tuple[str, ...]:
    return answer.want.between[1:] if isinstance(answer.want, Measure) else ()


def one(walk: Walk, adviser: Adviser, ohms: float = 1e6) -> e.Advised:
    """Ask, and do what is wanted; returns what was said."""
    advised = adviser(walk.state)
    walk.say(msgspec.structs.replace(advised, number=walk.state.number))
    if isinstance(advised.want, Do):
        walk.say(e.Answered(number=walk.state.number))
    elif isinstance(advised.want, Measure):
        walk.read(ohms)
    return advised


@pytest.mark.parametrize("begin", [step_by_step, from_the_trail])
def test_one_who_was_there_all_along_says_what_a_newcomer_says(walk: Walk, begin: Begin) -> None:
    searches = Searches(begin)
    adviser = Adviser(searches)
    said = []
    while not said or not isinstance(said[-1].want, Found):
        assert adviser(walk.state) == adviser(walk.state) == Adviser(Searches(begin))(walk.state)
        assert Adviser(Searches(begin))(fold(walk.entries)) == adviser(walk.state)
        said.append(one(walk, adviser, 2.0 if len(said) == 2 else 1e6))
    assert searches.begun == 1
    assert [advised.done for advised in said][-4:] == [0, 1, 2, 3]


def test_what_is_said_beside_an_act_comes_from_the_search(walk: Walk) -> None:
    adviser = Adviser(Searches(step_by_step))
    said = [one(walk, adviser, ohms) for ohms in (0.0, 2.0, 1e6, 1e6, 0.0)]
    assert [advised.why for advised in said[:3]] == ["before anything is read", "low so far: 0", "low so far: 1"]
    assert [advised.left for advised in said] == [3, 3, 2, 1, 0]
    assert [advised.facts for advised in said[:4]] == [{}, {"low": []}, {"low": ["J1.2"]}, {"low": ["J1.2"]}]
    end = said[-1].want
    assert isinstance(end, Found) and end.facts == {"low": ["J1.2"]}


def test_facts_stay_where_a_search_says_nothing_of_them(walk: Walk) -> None:
    def begin(state: State, step: Step, trail: Trail) -> Search:
        return followed(_told_once(), trail)

    def _told_once() -> Search:
        yield Wanted(apart("J1.1", "J1.2"), facts={"suspects": ["J1.2"]})
        yield Wanted(apart("J1.1", "J1.3"))
        return Found(verdict="pass", sentence="Apart.")

    adviser = Adviser(Searches(begin))
    one(walk, adviser)
    assert adviser(walk.state).facts == {"suspects": ["J1.2"]}
    assert Adviser(Searches(begin))(fold(walk.entries)).facts == {"suspects": ["J1.2"]}


def test_an_answer_that_is_taken_back_is_forgotten(walk: Walk) -> None:
    searches = Searches(step_by_step)
    adviser = Adviser(searches)
    one(walk, adviser)
    before = adviser(walk.state)
    one(walk, adviser, 2.0)
    assert adviser(walk.state) != before
    assert searches.begun == 1
    walk.say(e.Went(number=walk.state.number, to=1))
    assert adviser(walk.state) == before
    assert searches.begun == 2
    one(walk, adviser, 1e6)
    assert adviser(walk.state).facts == {"low": []}


def test_a_step_before_it_that_is_done_again_begins_it_anew_along_its_trail(walk: Walk) -> None:
    searches = Searches(step_by_step)
    adviser = Adviser(searches)
    one(walk, adviser)
    one(walk, adviser, 2.0)
    before = adviser(walk.state)
    walk.say(e.Went(number=walk.state.number, to=0))
    walk.read(0.3)
    assert adviser(walk.state) == before
    assert searches.begun == 2


def test_one_that_was_asked_in_the_middle_of_asking_says_the_same(walk: Walk) -> None:
    adviser: Adviser
    inner: list[e.Advised] = []

    def begin(state: State, step: Step, trail: Trail) -> Search:
        if not inner:
            inner.append(Adviser(Searches(step_by_step))(state))
            inner.append(adviser(state))
        return step_by_step(state, step, trail)

    adviser = Adviser(Searches(begin))
    assert adviser(walk.state) == inner[0] == inner[1]


def test_a_trail_that_the_search_would_not_have_asked_for_is_refused(walk: Walk) -> None:
    walk.advise(apart("J1.1", "J1.4"))
    walk.read(1e6)
    with pytest.raises(NoAdvice, match="does not follow from this plan"):
        Adviser(Searches(step_by_step))(walk.state)
    # one that works from what was read goes on
    advised = Adviser(Searches(from_the_trail))(walk.state)
    assert isinstance(advised.want, Measure) and advised.want.between == ("J1.1", "J1.2")


def test_words_and_limits_may_be_others_than_they_were(walk: Walk) -> None:
    walk.advise(Do(title="Free them", text="Take everything off.", rig=Rig()))
    walk.say(e.Answered(number=walk.state.number))
    advised = Adviser(Searches(step_by_step))(walk.state)
    assert isinstance(advised.want, Measure)


def test_a_trail_beyond_the_end_is_refused(walk: Walk) -> None:
    def short(state: State, step: Step, trail: Trail) -> Search:
        return followed(_short(), trail)

    def _short() -> Generator[Wanted, Answer, Found]:
        yield Wanted(apart("J1.1", "J1.2"))
        return Found(verdict="pass", sentence="Apart.")

    for pin in PINS[:2]:
        walk.advise(apart("J1.1", pin))
        walk.read(1e6)
    with pytest.raises(NoAdvice, match="goes on where the plan had ended"):
        Adviser(Searches(short))(walk.state)


def test_a_search_that_failed_is_begun_anew_when_it_is_asked_again(walk: Walk) -> None:
    tries = []

    def begin(state: State, step: Step, trail: Trail) -> Search:
        tries.append(trail)
        if len(tries) == 1:
            raise ValueError("the meter is not known")
        return step_by_step(state, step, trail)

    adviser = Adviser(Searches(begin))
    with pytest.raises(ValueError, match="the meter is not known"):
        adviser(walk.state)
    assert isinstance(adviser(walk.state).want, Do)


def test_without_a_search_there_is_nothing_to_say(tmp_path: Path) -> None:
    with pytest.raises(NoAdvice, match="no search is under way"):
        Adviser(Searches(step_by_step))(Walk(tmp_path).state)
