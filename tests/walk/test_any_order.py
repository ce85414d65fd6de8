"""Any order of answers, readings, troubles, pauses, detours, crashes and aborts: the promises hold."""

from __future__ import annotations

import itertools
import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import hypothesis.strategies as st
import msgspec
import pytest
from hypothesis import settings
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from bench.quantity import Amount
from bench.sequence.file import Do, Found, Limit, Measure, Rig
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.outcome import History
from bench.walk.results import outcomes, results, verdict_lines
from bench.walk.state import OutOfTurn, Phase, Refused, Stale, State, request
from tests.walk import paper_walk as paper
from tests.walk.paper_walk import Made, PaperWalk, refold
from tests.walk.walk_explorer import Ghosts, energises

NAMES = ("W1", "W1.2", "J1", "J1.1", "J2.4", "2A", "1", "F1", "nobody knows this")
READINGS: tuple[dict[str, Any], ...] = (
    {},
    {"value": 0.9},
    {"value": 1.16},
    {"value": 7.0},
    {"value": 103.0},
    {"over": "+", "range": 10.0},
    {"over": "+"},
    {"nan": True},
    {"value": -0.2},
    {"value": 1e-9, "count": 4, "spread": 1e-3},
)
PASSIVE = (e.Noted, e.Disturbed, e.Seated, e.Mended, e.Guarded, e.OutputsSeen, e.Attached)
LIVE = """
sequence: searches and power
plant: plant.yaml
steps:
  - {step: hold, text: Isolated and locked off., word: DEAD}
  - {step: zero}
  - {step: measure, read: resistance, between: [BA, RA], subject: G1, limit: {at-least: 100 ohm, source: for this test}}
  - {step: seek, find: crosses, of: W1}
  - {step: hold, text: Clear to energise., word: CLEAR}
  - {step: energise, text: Bring it up., at: [G1], voltage: 48 V, current-limit: 2 A}
  - {step: set, text: Off., output: off}
  - {step: hold, text: Everybody is clear., word: CLEAR}
  - {step: do, text: Switch G1 on., switch-on: [G1], close: [F1]}
  - {step: wait, text: Let it rest., time: 2 s}
  - {step: do, text: Look at the lamps.}
  - {step: do, text: Switch G1 off., switch-off: [G1], open: [F1]}
  - {step: seek, find: crosses, of: W2}
"""
"""What the first lacks: searches, an output that comes up under watch, and a supply that is switched on by hand."""


@cache
def beginning(text: str = paper.EVERY_STEP) -> Made:
    with tempfile.TemporaryDirectory() as folder:
        return paper.made(Path(folder), text)


def links(link: History | None) -> Iterator[History]:
    """The history's links, newest first."""
    while link is not None:
        yield link
        link = link.before


def apart(a: str, b: str) -> Measure:
    return Measure(read="resistance", between=(a, b), limit=Limit(at_least=Amount(1e5, "Ω"), source="for this test"))


WANTS: tuple[Do | Measure | Found, ...] = (
    apart("J1.1", "J1.2"),
    apart("J1.1", "J1.3"),
    Do(text="Clip J1.1 to J1.2.", rig=Rig(join=[["J1.1", "J1.2"]])),
    Do(text="Lift it.", lift=["L1"]),
    Do(text="Close it.", close=["F1"]),
    Do(text="Switch it on.", switch_on=["G1"]),
    Found(verdict="fail", sentence="They are crossed."),
)


class AnyOrder(RuleBasedStateMachine):
    """A walk to which anything happens."""

    @initialize(weak=st.booleans(), text=st.sampled_from([paper.EVERY_STEP, LIVE]))
    def begin(self, weak: bool, text: str) -> None:
        made = beginning(text).with_bench(paper.WEAK) if weak else beginning(text)
        self.walker = PaperWalk(made.began)
        self.ghosts = Ghosts()
        self.outcome_of: dict[int, int] = {}

    @property
    def state(self) -> State:
        return self.walker.state

    def happens(self, event: e.Event) -> bool:
        """Let it happen; the machine takes it or refuses it, and when it refuses nothing has changed."""
        before, kept = self.state, len(self.walker.entries)
        try:
            self.walker.add(event)
        except (OutOfTurn, Stale, Refused):
            assert self.state is before and len(self.walker.entries) == kept
            return False
        after = self.state
        self.ghosts = self.ghosts.after(before, event, after)
        assert after.taken == len(self.walker.entries)
        assert after.number >= before.number
        if isinstance(event, PASSIVE):
            assert after.number == before.number and after.phase is before.phase
        new = list(itertools.takewhile(lambda link: link is not before.kept.history, links(after.kept.history)))
        # steps that the machine passes over by itself come on top of what the event itself brought about
        brought = [link.outcome for link in new if not link.outcome.barred]
        assert len(brought) <= 1
        for outcome in brought:
            assert before.number not in self.outcome_of, "two outcomes of one request"
            self.outcome_of[before.number] = outcome.n
        assert all(link.outcome.n == len(self.walker.entries) for link in new)
        assert (new[-1].before if new else after.kept.history) is before.kept.history
        return True

    # what a willing crew and operator do

    @rule(shown=st.sampled_from(READINGS), times=st.integers(1, 6))
    def go_on(self, shown: dict[str, Any], times: int) -> None:
        for _ in range(times):
            if self.state.finished:
                return
            step = self.state.step
            if self.state.phase is Phase.MEASURING and shown and step is not None:
                assert self.happens(paper.reading(self.state, step, **shown))
            else:
                assert self.happens(paper.willing(self.state)), "a willing answer was refused"

    # what goes wrong

    @rule(answer=st.sampled_from(["", "retry", "CLEAR", "DEAD", "20", "a reason"]), back=st.integers(0, 3))
    def key(self, answer: str, back: int) -> None:
        number = self.state.number - back
        assert not self.happens(e.Answered(number=number, answer=answer)) or back == 0

    @rule()
    def instrument_trouble(self) -> None:
        self.happens(e.Troubled(number=self.state.number, instrument="meter", kind="late", what="No answer."))

    @rule(confirmed=st.booleans(), shown=st.sampled_from(["on", "off"]))
    def output_does_as_it_likes(self, confirmed: bool, shown: str) -> None:
        event = e.Switched(number=self.state.number, instrument="supply", state=shown, confirmed=confirmed)
        self.happens(event)

    @rule(confirmed=st.sampled_from([{"supply": False}, {}, {"supply": True}]))
    def made_safe_or_not(self, confirmed: dict[str, bool]) -> None:
        self.happens(e.MadeSafe(number=self.state.number, confirmed=confirmed))

    @rule(state=st.sampled_from(["on", "off"]), confirmed=st.booleans(), why=st.sampled_from(["done", "over"]))
    def comes_up_as_it_likes(self, state: Any, confirmed: bool, why: str) -> None:
        if self.state.phase is Phase.ENERGISING and self.state.step is not None:
            self.happens(paper.brought_up(self.state, self.state.step, state=state, confirmed=confirmed, why=why))

    @rule(want=st.sampled_from(WANTS))
    def advice(self, want: Do | Measure | Found) -> None:
        taken = self.happens(e.Advised(number=self.state.number, want=want))
        if isinstance(want, Do) and want.energises:
            assert not taken, "a search made something live"

    @rule(make_safe=st.booleans())
    def pause(self, make_safe: bool) -> None:
        self.happens(e.Paused(why="because", make_safe=make_safe))

    @rule()
    def go_on_after_a_pause(self) -> None:
        self.happens(e.Continued())

    @rule(seconds=st.sampled_from([0.0, 0.5, 1.0, 100.0, -1.0]))
    def time_passes(self, seconds: float) -> None:
        self.happens(e.Elapsed(number=self.state.number, seconds=seconds))

    # what people do

    @rule(reason=st.sampled_from(["", "not reachable"]), whole=st.booleans())
    def skip(self, reason: str, whole: bool) -> None:
        self.happens(e.Skipped(number=self.state.number, reason=reason, whole=whole))

    @rule(to=st.integers(-1, 23), then=st.sampled_from(["return", "go-on"]))
    def go_to(self, to: int, then: Any) -> None:
        before = self.state
        if self.happens(e.Went(number=before.number, to=to, then=then)) and before.conditions.handled.live:
            assert to >= min(index for index, _ in self.switched_on(before)), "gone to before what is live by hand"

    def switched_on(self, state: State) -> list[tuple[int, Do]]:
        """The steps that switch on by hand what is live, as the plan has them."""
        assert state.setting is not None
        acts = [(step.index, step.source) for step in state.setting.plan.steps if isinstance(step.source, Do)]
        return [(index, act) for index, act in acts if set(act.switch_on) & state.conditions.handled.live]

    @rule(text=st.text(max_size=5))
    def note(self, text: str) -> None:
        assert self.happens(e.Noted(text=text)) != self.state.finished

    @rule(touches=st.lists(st.sampled_from(NAMES), max_size=2))
    def disturb(self, touches: list[str]) -> None:
        self.happens(e.Disturbed(touches=touches))

    @rule(by=st.sampled_from(["", "Ana", "Ben"]))
    def sit(self, by: str) -> None:
        self.happens(e.Seated(by=by))

    @precondition(lambda self: len(self.walker.entries) > 30)
    @rule(sure=st.integers(0, 5))
    def abort(self, sure: int) -> None:
        if sure == 0:
            self.happens(e.Aborted(why="enough"))

    # what the world does

    @rule(other_bench=st.booleans(), days_later=st.booleans())
    def crash_and_resume(self, other_bench: bool, days_later: bool) -> None:
        entries = self.walker.entries
        folded = refold(entries)
        assert folded == self.state
        self.walker = PaperWalk(self.walker.began, entries, folded)
        self.happens(e.Mended(bytes=3, sha256="0" * 64, kept="aside"))
        bench = msgspec.structs.replace(paper.BENCH, name="another one") if other_bench else None
        assert self.happens(e.Resumed(software="0.0 test", bench=bench, zero_again=days_later)) != self.state.finished

    # the promises

    @invariant()
    def keeps_its_promises(self) -> None:
        state, asked = self.state, request(self.state)
        assert asked == request(state) and asked.number == state.number
        assert state.outputs.held <= self.ghosts.passed
        if energises(state):
            assert state.setting is not None
            steps = state.setting.plan.steps[: state.place.cursor]
            assert max(step.index for step in steps if step.kind == "hold") in state.outputs.held
        if not self.ghosts.safe:
            assert isinstance(asked, r.MakeSafe | r.Resolve | r.Rest | r.Finished)
        if self.ghosts.on and not isinstance(asked, r.MakeSafe | r.Switch | r.Energise):
            assert "supply" in state.outputs.on or "supply" in state.outputs.unconfirmed
        if isinstance(asked, r.Place | r.Measure | r.Switch | r.Energise):
            assert asked.step.role not in self.ghosts.suspect
            assert asked.step.role in state.instruments.met

    @invariant()
    def going_back_erases_nothing(self) -> None:
        newest: dict[int, int] = {}
        numbers = []
        for outcome in outcomes(self.state):
            newest.setdefault(outcome.index, outcome.n)
            if not outcome.barred:
                numbers.append(outcome.n)
        assert numbers == sorted(set(numbers), reverse=True)
        assert newest == {index: outcome.n for index, outcome in self.state.kept.latest.items()}
        assert len(numbers) == len(self.outcome_of)

    def teardown(self) -> None:
        if not hasattr(self, "walker"):
            return
        again = refold(self.walker.entries)
        assert again == self.state
        assert "\n".join(verdict_lines(again)).encode() == "\n".join(verdict_lines(self.state)).encode()
        for index, outcome in results(self.state).items():
            latest = self.state.kept.latest[index]
            if outcome.verdict == "void":
                assert latest.verdict in ("pass", "fail", "undecided")
            elif latest.reading is None:
                assert outcome == latest
        while not self.state.finished:  # whatever happened, a willing crew brings it to an end
            assert self.happens(paper.willing(self.state))
        assert self.state.phase in (Phase.DONE, Phase.ABORTED)


class TestAnyOrder(AnyOrder.TestCase):
    settings = settings(max_examples=15, stateful_step_count=50, deadline=None, derandomize=True)


@pytest.mark.slow
class TestAnyOrderForLonger(AnyOrder.TestCase):
    settings = settings(max_examples=60, stateful_step_count=50, deadline=None, derandomize=True)
