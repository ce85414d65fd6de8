"""A runner whose instruments fail and whose screens wish at random: outputs keep to their hold points, every way out is
safe, and the record folds to where the runner stood."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.judge.ramp import RampUp
from bench.record.append import RecordWriter
from bench.record.read import read_record
from bench.runner import protocol as p
from bench.runner.core import Came, Heard, Runner, Signalled
from bench.runner.open_record import OpenRecord
from bench.runner.ports import Happened, Manner
from bench.sequence.file import Set
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.state import Phase, State, fold, start, take
from tests.drawn import draws
from tests.runner import crash_points
from tests.runner.crash_points import DoomedCrew, DoomedHands, Fate, Twins, Watcher
from tests.walk import paper_walk as paper

WORDS = ("", "retry", "CLEAR", "DEAD", "ISOLATED", "a reason")


class Chaos(DoomedCrew):
    """Instruments that fail at random; whatever is asked of them, somebody at a screen may wish something first."""

    def __init__(self, twins: Twins, runner: Runner, screen: Watcher, draw: random.Random) -> None:
        super().__init__(twins, Fate(0, draw), runner)
        self._world, self._worker, self._screen, self._draw = twins, runner, screen, draw
        self.went_on = 0

    def _meddle(self) -> None:
        number, draw = self._worker.state.number, self._draw
        to = draw.randrange(40)
        wish: p.Wish = draw.choice(
            (
                e.Answered(number=number - draw.randrange(2), answer=draw.choice(WORDS)),
                e.Skipped(number=number, reason="not today"),
                e.Went(number=number, to=to, then=draw.choice(("return", "go-on"))),
                e.Paused(why="tea"),
                e.Paused(why="nobody is there", make_safe=True),
                e.Continued(),
                e.Noted(text="a note"),
                e.Disturbed(touches=["W1"]),
            )
        )
        if draw.random() < 0.15:
            self._worker.inbox.put(Heard(self._screen, p.Do(wish=wish)))
        elif draw.random() < 0.004:
            self._worker.inbox.put(Signalled("SIGTERM"))

    def _fails(self, number: int, chance: float = 0.06) -> bool:
        self._meddle()
        if self._draw.random() >= chance:
            return False
        kind = self._draw.choice(("late", "lost", "garbled"))
        self._worker.inbox.put(Happened(e.Troubled(number=number, instrument="meter", kind=kind, what="Trouble.")))
        return True

    def _goes_on(self, step: Step) -> None:
        """An output goes on: behind a hold point that was passed, and in a step that says so."""
        state = self._worker.state
        assert state.setting is not None and state.phase in (Phase.SWITCHING, Phase.ENERGISING)
        holds = [one.index for one in state.setting.plan.steps[: step.index] if one.kind == "hold"]
        assert holds and holds[-1] in state.outputs.held, "an output went on without its hold point"
        self.went_on += 1

    def meet(self, roles: tuple[str, ...], number: int) -> None:
        if not self._fails(number):
            super().meet(roles, number)

    def measure(self, step: Step, number: int) -> None:
        if not self._fails(number):
            super().measure(step, number)

    def switch(self, step: Step, number: int) -> None:
        assert isinstance(step.source, Set)
        if step.source.output == "on":
            self._goes_on(step)
        if self._fails(number, 0.0) or self._draw.random() < 0.1:
            # nobody knows how it ended; but an order to go off switches nothing on
            self._world.on = (self._world.on or step.source.output == "on") and self._draw.random() < 0.5
            name = self._role("supply")
            self._worker.inbox.put(Happened(e.Switched(number=number, instrument=name, state="off", confirmed=False)))
            return
        super().switch(step, number)

    def energise(self, step: Step, ramp: RampUp, number: int) -> None:
        self._goes_on(step)
        self._meddle()
        super().energise(step, ramp, number)

    def make_safe(self, number: int) -> None:
        self._meddle()
        super().make_safe(number)


def through(first: e.Began, folder: Path, draw: random.Random) -> tuple[State, int]:
    """One walk to its end, whatever happens; the promises are held at every event."""
    twins, screen = Twins(), Watcher()
    path = folder / "chaos.jsonl"
    path.unlink(missing_ok=True)
    with RecordWriter.create(path) as writer:
        entry = writer.envelope(first)
        state = take(start(), entry)
        lines = [writer.append(entry)]
        crew: Chaos

        def told(entry: e.Entry, after: State) -> None:
            assert after.number == runner.state.number
            if twins.on and after.phase not in (Phase.SWITCHING, Phase.ENERGISING, Phase.SAFING):
                assert after.outputs.on or after.phase is Phase.TROUBLED, f"on, and nobody knows: {after.phase}"
            if len(record.lines) > 1200:
                runner.inbox.put(Signalled("enough"))

        def clock() -> float:
            if runner.state.phase is Phase.PAUSED and runner.inbox.empty():
                # whoever made it rest goes on, where nothing else is to come
                runner.inbox.put(Heard(screen, p.Do(wish=e.Continued())))
            return 0.0

        record = OpenRecord(writer, state, lines, told)
        hands = DoomedHands(twins, Fate(0, draw))
        runner = Runner(record, hands, Manner(alone=True), clock=clock)
        runner.inbox.put(Came(screen))
        crew = Chaos(twins, runner, screen, draw)
        end = runner.run(crew)
    assert end.finished and not twins.on and not end.outputs.on
    entries = list(read_record(path))
    assert fold(entries) == end
    assert b"".join(screen.lines) == path.read_bytes(), "a screen sees what the record has, in order"
    return end, crew.went_on


@pytest.fixture(scope="module")
def walks(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[e.Began], Path]:
    """A walk with every kind of step, and a first power."""
    folder = tmp_path_factory.mktemp("chaos")
    return [paper.made(folder).began, crash_points.beginning("first-power", folder)], folder


@draws(30)
@given(seed=st.integers(0, 10**9), which=st.integers(0, 1))
def test_whatever_fails_and_whoever_meddles(walks: tuple[list[e.Began], Path], seed: int, which: int) -> None:
    through(walks[0][which], walks[1], random.Random(seed))


@pytest.mark.slow
def test_outputs_do_go_on_in_the_midst_of_it(walks: tuple[list[e.Began], Path]) -> None:
    found = [through(first, walks[1], random.Random(seed)) for first in walks[0] for seed in range(12)]
    assert sum(went_on for _, went_on in found) > 3
    assert {state.phase for state, _ in found} == {Phase.DONE, Phase.ABORTED}
