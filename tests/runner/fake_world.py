"""Stand-ins for the world around a runner: instruments with real threads, hands, screens, a clock that jumps.

Nothing here sleeps. Tests wait on a bell that rings whenever something happened.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import msgspec

from bench.record.append import RecordTrouble, RecordWriter
from bench.record.read import read_record
from bench.runner import protocol as p
from bench.runner.core import Came, Heard, Left, Runner
from bench.runner.open_record import OpenRecord
from bench.runner.ports import Happened, LiveReading, Manner, Watchman
from bench.sequence.file import Set
from bench.sequence.plan import Step
from bench.simulate.on_paper import at_rest
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.state import State, request, start, take
from tests.walk import paper_walk as paper

PATIENCE = 20.0
"""Seconds before a test that waits for something calls it a failure."""


class Bell:
    """Rings when something happened; waiting ends when a condition holds."""

    def __init__(self) -> None:
        self._condition = threading.Condition()

    def ring(self) -> None:
        with self._condition:
            self._condition.notify_all()

    def wait(self, holds: Callable[[], object], what: str = "") -> None:
        with self._condition:
            assert self._condition.wait_for(holds, PATIENCE), f"never came: {what}"


class FakeClock:
    """Monotonic seconds that pass only when they are told to."""

    def __init__(self) -> None:
        self.now = 1000.0
        self.wake: Callable[[], None] = lambda: None

    def __call__(self) -> float:
        return self.now

    def advance(self, seconds: float) -> None:
        self.now += seconds
        self.wake()


class FakeCrew:
    """Instruments that do as they are told, each call carried out by a thread of its own.

    Attributes:
        on: outputs that are on, really.
        calls: what was asked for, in order.
        held: kinds of calls that are not carried out: their result never comes.
        wrong: by kind of call, what is posted in place of the result.
    """

    safe_within = 12.0

    def __init__(self, world: World) -> None:
        self.on: set[str] = set()
        self.calls: list[tuple[Any, ...]] = []
        self.held: set[str] = set()
        self.wrong: dict[str, Callable[[int], e.Event]] = {}
        self.closed = False
        self.on_when_closed: set[str] = set()
        self.safe_after: threading.Event | None = None
        self._world = world
        self._jobs: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def _work(self) -> None:
        while (job := self._jobs.get()) is not None:
            job()

    def _do(self, kind: str, number: int, *details: Any, make: Callable[[], e.Event]) -> None:
        self.calls.append((kind, number, *details))
        self._world.bell.ring()
        if kind not in self.held:
            self._jobs.put(lambda: self._world.post(self.wrong[kind](number) if kind in self.wrong else make()))

    def meet(self, roles: tuple[str, ...], number: int) -> None:
        state = self._world.runner.state

        def make() -> e.Event:
            met = paper.willing(state)
            return msgspec.structs.replace(met, address="a port") if isinstance(met, e.Met) else met

        self._do("meet", number, roles, make=make)

    def measure(self, step: Step, number: int) -> None:
        state = self._world.runner.state
        self._do("measure", number, step.index, make=lambda: self.reading(state, step))

    def reading(self, state: State, step: Step) -> e.Read:
        return paper.reading(state, step, **paper.sound(state, step))

    def switch(self, step: Step, number: int) -> None:
        assert isinstance(step.source, Set)
        wanted = step.source.output

        def make() -> e.Event:
            (self.on.add if wanted == "on" else self.on.discard)("supply")
            return e.Switched(number=number, instrument="supply", state=wanted, confirmed=True)

        self._do("switch", number, wanted, make=make)

    def live(self, step: Step | None, number: int = -1) -> None:
        self.calls.append(("live", None if step is None else step.index))
        self._world.bell.ring()

    def make_safe(self, number: int) -> None:
        self.calls.append(("make_safe", number))
        self._world.bell.ring()
        if "make_safe" in self.held:
            return

        def make() -> None:
            if self.safe_after is not None:
                assert self.safe_after.wait(PATIENCE)
            self.on.clear()
            self._world.bell.ring()
            self._world.post(e.MadeSafe(number=number, confirmed={"supply": True}))

        threading.Thread(target=make, daemon=True).start()

    def agreed(self, instrument: str) -> None:
        """Nobody else ever answers here."""

    def drop_work(self) -> None:
        self.calls.append(("drop_work",))

    def close(self) -> None:
        self.closed = True
        self.on_when_closed = set(self.on)
        self._jobs.put(None)
        self._thread.join(PATIENCE)

    def count(self, *call: Any) -> int:
        """How often something was asked for; fewer details match more."""
        return sum(1 for made in list(self.calls) if made[: len(call)] == call)


class FakeHands:
    """Hands that know what to do."""

    name = "the fake hands"

    def __init__(self, world: World) -> None:
        self.matrix = ""
        self.placed: list[int] = []
        self.lifted = 0
        self.acted: list[int] = []
        self.jumped: list[float] = []
        self.says: Callable[[Step], str] | None = None
        self.fails: Callable[[Step], None] = lambda step: None
        self._world = world

    def reaches(self, step: Step) -> str:
        return self.matrix

    def place(self, step: Step) -> None:
        self.fails(step)
        self.placed.append(step.index)
        self._world.bell.ring()

    def lift(self) -> None:
        self.lifted += 1

    def act(self, step: Step) -> None:
        self.acted.append(step.index)

    def answer(self, step: Step) -> str:
        if self.says is not None:
            return self.says(step)
        return {"hold": getattr(step.source, "word", ""), "ask": "21.5", "look": at_rest(step), "gate": "to see"}.get(
            step.kind, ""
        )

    def jump(self, seconds: float) -> bool:
        self.jumped.append(seconds)
        return True


class FakeScreen:
    """A screen in the same process."""

    where = "here"

    def __init__(self, world: World, name: str, *, comes: bool = True) -> None:
        self.name = name
        self.said: list[p.ToClient] = []
        self.breaks = False
        self._world = world
        if comes:
            world.runner.inbox.put(Came(self))

    def send(self, message: p.ToClient) -> None:
        if self.breaks:
            raise ValueError("the screen is broken")
        self.said.append(message)
        self._world.bell.ring()

    def wish(self, event: p.Wish) -> None:
        self._world.runner.inbox.put(Heard(self, p.Do(wish=event)))

    def take_seat(self) -> None:
        self._world.runner.inbox.put(Heard(self, p.TakeSeat()))

    def busy(self, covered: bool) -> None:
        self._world.runner.inbox.put(Heard(self, p.Busy(covered=covered)))

    def leave(self) -> None:
        self._world.runner.inbox.put(Left(self))

    def got(self, kind: type) -> list[Any]:
        return [message for message in list(self.said) if isinstance(message, kind)]

    def answer(self, text: str = "") -> None:
        """Answer the open request."""
        self.wish(e.Answered(number=self._world.runner.state.number, answer=text))

    def refusals(self) -> list[str]:
        return [message.why for message in self.got(p.Refusal)]


class World:
    """A runner at work in a thread, with everything around it.

    Attributes:
        told: every entry and the state after it.
    """

    def __init__(self, folder: Path, began: e.Began, manner: Manner, *, seated: bool = False, upto: int = -1) -> None:
        self.bell = Bell()
        self.clock = FakeClock()
        self.told: list[tuple[e.Entry, State]] = []
        self.path = folder / "walk.jsonl"
        self.writer = RecordWriter.create(self.path)
        self.failing: list[bool] = []
        state, lines = start(), []
        walker = paper.PaperWalk(began)
        if upto >= 0:
            walker.until(index=upto)
        for entry in walker.entries:
            state = take(state, entry)
            lines.append(self.writer.append(entry))
        self.hands = FakeHands(self)
        record = OpenRecord(self.writer, state, lines, told=self._hear)
        self.runner = Runner(record, self.hands, manner, seated=seated, clock=self.clock)
        self.clock.wake = lambda: self.runner.inbox.put(LiveReading("nobody", self.clock.now, "", None, "", None))
        self.crew = FakeCrew(self)
        self.guard: Watchman | None = None
        self.ended: list[State | BaseException] = []
        self._probe = FakeScreen(self, "the test", comes=False)
        self.tells: Callable[[e.Entry, State], None] = lambda entry, state: None
        self._append = self.writer.append
        self.writer.append = self._write  # type: ignore[method-assign]
        self._thread = threading.Thread(target=self._run, daemon=True)

    def _write(self, entry: e.Entry) -> bytes:
        if self.failing:
            self.bell.ring()
            raise RecordTrouble("the disk is full")
        return self._append(entry)

    def _run(self) -> None:
        try:
            self.ended.append(self.runner.run(self.crew, self.guard))
        except BaseException as error:
            self.ended.append(error)
        self.bell.ring()

    def _hear(self, entry: e.Entry, state: State) -> None:
        self.tells(entry, state)
        self.told.append((entry, state))
        self.bell.ring()

    def post(self, event: e.Event) -> None:
        self.runner.inbox.put(Happened(event))

    def start(self) -> World:
        self._thread.start()
        return self

    def finish(self) -> State:
        """Wait for the end; raises what the runner raised."""
        self._thread.join(PATIENCE)
        assert self.ended, "the runner did not end"
        self.writer.close()
        outcome = self.ended[0]
        if isinstance(outcome, BaseException):
            raise outcome
        return outcome

    @property
    def state(self) -> State:
        return self.runner.state

    @property
    def asked(self) -> r.Request:
        return request(self.runner.state)

    def events(self, kind: type | None = None) -> list[Any]:
        """What was recorded since the runner began."""
        return [entry.event for entry, _ in list(self.told) if kind is None or isinstance(entry.event, kind)]

    def wait(self, holds: Callable[[], object], what: str = "") -> None:
        self.bell.wait(holds, what)

    def settle(self) -> None:
        """Wait until the runner has handled all that was in its inbox and has begun what is asked now, or has ended."""
        heard = len(self._probe.said)
        self.runner.inbox.put(Heard(self._probe, p.Hello(token="")))
        self.wait(lambda: len(self._probe.said) > heard or self.ended, "the runner does not answer")

    def wait_for(self, kind: type, index: int | None = None) -> None:
        """Wait until a request of this kind is open, for a step of this index, and was begun."""

        def holds() -> bool:
            asked = self.asked
            step = getattr(asked, "step", None)
            return isinstance(asked, kind) and (index is None or (step is not None and step.index == index))

        self.wait(holds, f"{kind.__name__} {index}")
        self.settle()
        assert holds(), self.asked

    def advance(self, seconds: float) -> None:
        """Let time pass and wait until the runner has done what was due."""
        self.settle()
        self.clock.advance(seconds)
        self.settle()
        self.settle()

    def fail(self) -> None:
        """From now on the record cannot be written."""
        self.failing.append(True)

    def mend(self) -> None:
        """It can again; and the time for another try has come."""
        self.failing.clear()
        self.advance(2.5)

    def record(self) -> list[e.Entry]:
        return list(read_record(self.path))


@contextmanager
def world(
    folder: Path, began: e.Began, manner: Manner | None = None, *, seated: bool = False, upto: int = -1
) -> Iterator[World]:
    """A world whose runner has ended when this does; a test that fails still ends it."""
    made = World(folder, began, manner or Manner(alone=True), seated=seated, upto=upto)
    try:
        yield made
    finally:
        from bench.runner.core import Signalled

        made.failing.clear()
        made.crew.held.clear()
        if made._thread.ident is not None:
            made.runner.inbox.put(Signalled("the end of the test"))
            made._thread.join(PATIENCE)
        made.writer.close()
