"""The promises of the machine, held against every state that some small walks can get into."""

from __future__ import annotations

import tempfile
from collections import defaultdict
from pathlib import Path

import pytest
from msgspec.structs import replace

from bench.sequence.file import Do
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.state import BEGINS, NEXT, OPEN, Phase, Refused, Stale, State, request, start, take
from tests.walk import paper_walk as paper
from tests.walk.walk_explorer import Explored, Found, Walks, energises

pytestmark = pytest.mark.xdist_group("explored")


@pytest.fixture(
    scope="module",
    params=[
        "an output",
        "by hand",
        *(pytest.param(one, marks=pytest.mark.slow) for one in ("under watch", "a search")),
    ],
)
def found(request: pytest.FixtureRequest, explored: Walks) -> Explored:
    return explored[request.param]


def nearest_hold(state: State) -> int:
    assert state.setting is not None
    return max(step.index for step in state.setting.plan.steps[: state.place.cursor] if step.kind == "hold")


def test_something_was_found(found: Explored) -> None:
    assert len(found.states) > 1000
    assert {one.state.phase for one in found.states.values()} >= set(Phase) - {
        Phase.CONSENTING,
        Phase.SWITCHING,
        Phase.ENERGISING,
        Phase.WAITING,
        Phase.ADVISING,
    }


def test_every_state_asks_for_something_and_always_for_the_same(found: Explored) -> None:
    for one in found.states.values():
        assert request(one.state) == request(one.state)
        assert request(one.state).number == one.state.number


def test_nothing_is_made_live_but_behind_its_hold_point(found: Explored) -> None:
    met = 0
    for one in found.states.values():
        if energises(one.state):
            met += 1
            assert nearest_hold(one.state) in one.state.outputs.held
        assert one.state.outputs.held <= one.ghosts.passed
    assert met


def test_what_a_tester_said_is_yes_or_no_and_nothing_else(found: Explored) -> None:
    said = set()
    for before, event, after in found.moves:
        asked = request(before.state)
        source = asked.step.source if isinstance(asked, r.Ask) else None
        if not isinstance(event, e.Answered) or not isinstance(source, Do):
            continue
        assert after.state.kept.history is not None
        outcome = after.state.kept.history.outcome
        if source.beeps is None:
            assert outcome.answer == ""
            continue
        said.add(event.answer)
        assert outcome.answer == {"yes": "yes", "n": "no"}[event.answer] and outcome.verdict == "done"
    assert said == ({"yes", "n"} if any(one.searched for one in found.states.values()) else set())


def test_nothing_happens_before_outputs_are_safe(found: Explored) -> None:
    waits = (r.Start, r.MakeSafe, r.Resolve, r.Rest, r.Finished)
    for one in found.states.values():
        if not one.ghosts.safe:
            assert isinstance(request(one.state), waits)


def test_an_output_that_may_be_on_is_never_forgotten(found: Explored) -> None:
    for one in found.states.values():
        state = one.state
        if one.ghosts.on and state.phase is not Phase.SAFING:
            mid_way = isinstance(request(state), r.Switch | r.Energise)
            assert mid_way or "supply" in state.outputs.on or "supply" in state.outputs.unconfirmed


def test_when_nobody_is_there_outputs_go_off(found: Explored) -> None:
    seen = 0
    for before, event, after in found.moves:
        if isinstance(event, e.Paused) and event.make_safe and before.ghosts.on:
            seen += 1
            assert after.state.phase is Phase.SAFING
    assert seen or not any(one.ghosts.on for one in found.states.values())


def test_a_pause_for_an_empty_seat_is_refused_only_where_nothing_is_left_to_do(found: Explored) -> None:
    for one in found.states.values():
        state = one.state
        if state.phase not in OPEN:
            continue
        event = e.Paused(make_safe=True)
        try:
            take(state, e.Entry(n=1, at=state.at, event=event))
        except Refused:
            resting = state.phase is Phase.PAUSED and not one.ghosts.on and not state.outputs.held
            assert resting or (state.phase is Phase.SAFING and state.place.then is not Phase.MEETING)


def test_a_walk_ends_by_making_outputs_safe_and_in_no_other_way(found: Explored) -> None:
    for before, event, after in found.moves:
        if after.state.finished and not before.state.finished:
            assert isinstance(event, e.MadeSafe)
            assert after.ghosts.on is False or "supply" in after.state.outputs.unconfirmed


def test_an_instrument_that_gave_trouble_says_its_name_before_it_is_used(found: Explored) -> None:
    for one in found.states.values():
        asked = request(one.state)
        if isinstance(asked, r.Place | r.Measure | r.Switch):
            assert asked.step.role not in one.ghosts.suspect


def test_an_answer_closes_its_request(found: Explored) -> None:
    """So the same answer once more is stale, and no request has two outcomes."""
    for before, event, after in found.moves:
        if getattr(event, "number", None) is not None:
            assert after.state.number == before.state.number + 1
            again = e.Entry(n=after.state.taken + 1, at=after.state.at, event=event)
            with pytest.raises(Stale):
                take(after.state, again)
        if after.state.kept.history is not before.state.kept.history:
            newest = after.state.kept.history
            while newest is not None and newest.outcome.barred and newest is not before.state.kept.history:
                newest = newest.before  # passed over by the walk itself, for what the answer left undone
            if newest is before.state.kept.history:
                continue
            assert newest is not None
            assert newest.before is before.state.kept.history
            assert newest.outcome.index == before.state.place.cursor


def test_willing_hands_always_get_to_an_end(found: Explored) -> None:
    """No state is a dead end: whoever does what is asked gets out of it, and not in circles."""
    ends: set[tuple[object, ...]] = set()
    for one in found.states.values():
        here: Found | None = one
        way = []
        while here is not None and here.key not in ends:
            assert len(way) < 60, f"goes in circles from {one.state.phase} at step {one.state.place.cursor}"
            way.append(here.key)
            if here.state.phase is Phase.EMPTY or here.state.finished:
                break
            event = willing(here.state)
            after = take(here.state, e.Entry(n=here.state.taken + 1, at="2026-05-12T18:00:00Z", event=event))
            here = Found(after, here.ghosts.after(here.state, event, after))
        ends.update(way)


def willing(state: State) -> e.Event:
    step = state.step
    if state.phase is Phase.MEASURING and step is not None:
        return paper.reading(state, step, value=1.0)
    return paper.willing(state)


def test_going_back_and_returning_does_not_lose_the_place(found: Explored) -> None:
    """Where a walk stood is the place to return to, through any number of detours."""
    for before, event, after in found.moves:
        if not isinstance(event, e.Went) or event.then != "return":
            continue
        stood = before.state.place.cursor if before.state.place.back_to is None else before.state.place.back_to
        reached = after.state.place.cursor if after.state.place.back_to is None else after.state.place.back_to
        assert reached == stood


def test_nobody_gets_further_than_they_were_by_going(found: Explored) -> None:
    for before, event, _ in found.moves:
        if isinstance(event, e.Went):
            stood = before.state.place.cursor if before.state.place.back_to is None else before.state.place.back_to
            assert event.to <= stood


@pytest.mark.parametrize("phase", list(Phase))
@pytest.mark.parametrize("kind", e.Event.__args__)  # type: ignore[attr-defined]
def test_every_pair_has_its_handler_or_no_place(phase: Phase, kind: type) -> None:
    """The table is read by its rows once more, from the prose: which event may come in which phase."""
    steps = {Phase.ASKING, Phase.PLACING, Phase.MEASURING, Phase.SWITCHING, Phase.WAITING, Phase.ADVISING}
    places = {
        e.Began: {Phase.EMPTY},
        e.MadeSafe: {Phase.SAFING},
        e.Met: {Phase.MEETING},
        e.Answered: {Phase.CONSENTING, Phase.ASKING, Phase.PLACING, Phase.TROUBLED, Phase.SWITCHING, Phase.ENERGISING},
        e.Read: {Phase.MEASURING},
        e.Switched: {Phase.SWITCHING},
        e.Energised: {Phase.ENERGISING},
        e.Elapsed: {Phase.WAITING},
        e.Advised: {Phase.ADVISING},
        e.Troubled: {Phase.MEETING, Phase.ADVISING, Phase.PLACING, Phase.MEASURING, Phase.SWITCHING, Phase.ENERGISING},
        e.Skipped: {Phase.ASKING, Phase.PLACING, Phase.MEASURING, Phase.ADVISING, Phase.TROUBLED},
        e.Went: steps | {Phase.TROUBLED},
        e.Continued: {Phase.PAUSED},
        # after its end too: an output may have been left on then
        e.Guarded: set(Phase) - {Phase.EMPTY},
        e.OutputsSeen: set(Phase) - {Phase.EMPTY},
        e.Attached: set(Phase) - {Phase.EMPTY},
        # a machine talks whenever it likes; something is sent to it while a step that says what asks for it
        e.Said: set(Phase) - {Phase.EMPTY},
        e.Sending: {Phase.ASKING},
    }
    assert ((phase, kind) in NEXT) == (phase in places.get(kind, OPEN))


@pytest.mark.slow
def test_all_pairs_of_the_table_were_walked(explored: Walks) -> None:
    used = {(before.state.phase, type(event)) for one in explored.whole().values() for before, event, _ in one.moves}
    assert used == set(NEXT)


@pytest.mark.slow
def test_the_table_says_where_everything_leads_and_no_more(explored: Walks) -> None:
    """Every move goes where the table says, and each handler gets to all that the table says of it."""
    reached: dict[tuple[Phase, type], set[Phase]] = defaultdict(set)
    for one in explored.whole().values():
        for before, event, after in one.moves:
            reached[before.state.phase, type(event)].add(after.state.phase)
    assert all(reached[pair] <= move.reaches for pair, move in NEXT.items())
    for handler in {move.handler for move in NEXT.values()}:
        pairs = [pair for pair, move in NEXT.items() if move.handler == handler]
        assert set().union(*(NEXT[pair].to for pair in pairs)) <= set().union(*(reached[pair] for pair in pairs))
    entered = set().union(*(reached[pair] for pair, move in NEXT.items() if move.enters))
    assert entered >= BEGINS


def test_a_handler_that_leads_elsewhere_is_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    pair = (Phase.EMPTY, e.Began)
    wrong = replace(NEXT[pair], reaches=frozenset({Phase.DONE}))
    monkeypatch.setitem(NEXT, pair, wrong)
    with tempfile.TemporaryDirectory() as folder:
        began = paper.made(Path(folder)).began
    with pytest.raises(AssertionError, match="began leads from empty to safing"):
        take(start(), e.Entry(n=1, at="2026-05-12T18:00:00Z", event=began))
