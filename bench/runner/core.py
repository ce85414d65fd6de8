"""The runner's one loop: ask the machine, have it done, write down what happened, go on.

Only this loop touches the record and the state. Instruments, screens and signals put messages into its inbox. The
order for every event is: would the machine take it; append it and have it on disk; take it; tell the screens.
"""

from __future__ import annotations

import contextlib
import queue
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Protocol

import msgspec

from bench.record.append import RecordTrouble, RecordWriter
from bench.runner import protocol as p
from bench.runner.contact import Contact
from bench.runner.ports import Crew, Hands, Happened, Manner, Sample
from bench.sequence.file import Measure
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.results import annotated
from bench.walk.state import OutOfTurn, Phase, Refused, Stale, State, request, take

LIVE_EVERY: Final = 0.05
"""Seconds between live readings sent to screens: nobody reads faster."""
BLIND_AFTER: Final = 1.2
"""Seconds after which simulated hands that touch an open wire say so themselves."""
RETRIES: Final = 2
"""How often hands that work alone try again after trouble before they give up."""


class Screen(Protocol):
    """One who watches or operates; a connected client, or the console in the same process."""

    name: str
    where: str

    def send(self, message: p.ToClient) -> None:
        """Queue a message; never blocks."""


@dataclass(frozen=True, slots=True)
class Came:
    """A screen came in."""

    screen: Screen


@dataclass(frozen=True, slots=True)
class Left:
    """A screen is gone."""

    screen: Screen


@dataclass(frozen=True, slots=True)
class Heard:
    """A screen said something."""

    screen: Screen
    message: p.FromClient


@dataclass(frozen=True, slots=True)
class Signalled:
    """The process was told to end."""

    name: str


Message = Happened | Sample | Came | Left | Heard | Signalled


class Runner:
    """Carries one walk out.

    Args:
        writer: the open record.
        state: the state so far: the fold of what the record already holds.
        lines: the raw lines that the record already holds, for screens that come in.
        hands: who places the probes.
        manner: how they work.
        told: called with every entry and the state after it, in order (the console prints from here).
        seated: whether a screen is needed to go on (the walk pauses when its seat falls empty).
        clock: monotonic seconds.
    """

    def __init__(
        self,
        writer: RecordWriter,
        state: State,
        lines: list[bytes],
        hands: Hands,
        manner: Manner,
        *,
        told: Callable[[e.Entry, State], None] = lambda entry, state: None,
        seated: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.inbox: queue.Queue[Message] = queue.Queue()
        self.state = state
        self.crew: Crew
        self._writer = writer
        self._lines = lines
        self._hands = hands
        self._manner = manner
        self._told = told
        self._seated = seated
        self._clock = clock
        self._screens: list[Screen] = []
        self._seat: Screen | None = None
        self._empty_since = clock() if seated else None
        self._begun = -1
        self._timers: list[tuple[float, Callable[[], object]]] = []
        self._contact: dict[str, Contact] = {}
        self._live_sent = 0.0
        self._retries = 0
        self._ending: str = ""
        self._unwritten: e.Event | None = None

    @property
    def alone(self) -> bool:
        """Whether the hands answer everything by themselves."""
        return self._manner.alone

    def run(self, crew: Crew) -> State:
        """Work until the walk is over; outputs are safe when this returns or raises.

        Raises:
            RecordTrouble: the record could not be written and nobody mended that before the walk was given up.
        """
        self.crew = crew
        try:
            while not self.state.finished:
                asked = request(self.state)
                if asked.number != self._begun and self._unwritten is None:
                    self._begun = asked.number
                    self._begin(asked)
                    continue
                self._handle_next()
        finally:
            crew.close()
        return self.state

    # what the machine asks for

    def _begin(self, asked: r.Request) -> None:
        self._timers.clear()
        self.crew.live(None)
        alone, number = self._manner.alone, asked.number
        match asked:
            case r.MakeSafe():
                self.crew.make_safe(number)
            case r.Meet():
                self.crew.meet(asked.roles, number)
            case r.Ask() if alone:
                self._hands.act(asked.step)
                self._answer(number, self._hands.answer(asked.step))
            case r.Consent() if alone:
                self._answer(number, "a simulated bench: going on to show what can be shown")
            case r.Place():
                self._begin_placing(asked)
            case r.Measure():
                self.crew.measure(asked.step, number)
            case r.Switch():
                self.crew.switch(asked.step, number)
            case r.Wait():
                self._begin_waiting(asked)
            case r.Resolve() if alone:
                self._resolve_alone(number)
            case _:
                pass  # somebody at a screen answers

    def _answer(self, number: int, answer: str) -> None:
        self._record(e.Answered(number=number, answer=answer, by=self._hands.name, how="simulated"))

    def _resolve_alone(self, number: int) -> None:
        self._retries += 1
        if self._retries > RETRIES:
            trouble = self.state.trouble
            self._record(e.Aborted(why=trouble.what if trouble else "trouble", by=self._hands.name))
        else:
            self._answer(number, "retry")

    def _begin_placing(self, asked: r.Place) -> None:
        if self._manner.alone:
            self._hands.place(asked.step)
            self._answer(asked.number, "")
            return
        self._hands.lift()
        role = asked.step.role or ""
        self._contact.setdefault(role, Contact())
        self.crew.live(asked.step)
        if self._manner.place_after is not None:
            self._after(self._manner.place_after, lambda: self._place_by_itself(asked))

    def _place_by_itself(self, asked: r.Place) -> None:
        """Simulated hands beside a screen: place, and speak up where no reading can tell that they have."""
        self._hands.place(asked.step)
        source = asked.step.source
        sees_nothing = isinstance(source, Measure) and source.limit.at_least is not None
        wait = 0.4 if sees_nothing or not self._manner.by_contact else BLIND_AFTER
        self._after(wait, lambda: self._answer(asked.number, ""))

    def _begin_waiting(self, asked: r.Wait) -> None:
        piece = min(1.0, asked.left)
        if self._manner.alone and self._hands.jump(asked.left):
            self._record(e.Elapsed(number=asked.number, seconds=asked.left))
            return
        began = self._clock()
        self._after(
            piece,
            lambda: self._record(e.Elapsed(number=asked.number, seconds=self._clock() - began)),
        )

    # time

    def _after(self, seconds: float, act: Callable[[], object]) -> None:
        self._timers.append((self._clock() + seconds, act))
        self._timers.sort(key=lambda timer: timer[0])

    def _handle_next(self) -> None:
        now = self._clock()
        if self._timers and self._timers[0][0] <= now:
            self._timers.pop(0)[1]()
            return
        self._watch_seat(now)
        wait = 0.5 if not self._timers else min(0.5, self._timers[0][0] - now)
        with contextlib.suppress(queue.Empty):
            self._handle(self.inbox.get(timeout=max(0.0, wait)))

    # what comes in

    def _handle(self, message: Message) -> None:
        match message:
            case Happened(event):
                self._record(event)
            case Sample():
                self._live(message)
            case Came(screen):
                self._come(screen)
            case Left(screen):
                self._leave(screen)
            case Heard(screen, said):
                self._hear(screen, said)
            case Signalled(name):
                self._end(f"told to end by {name}")

    def _record(self, event: e.Event) -> str:
        """Record one event. Returns why not, or nothing."""
        if self._unwritten is not None and event is not self._unwritten:
            return "the record cannot be written; nothing goes on until it can"
        entry = self._writer.envelope(event)
        try:
            after = take(self.state, entry)
        except (Stale, Refused, OutOfTurn) as error:
            return str(error)
        entry = annotated(entry, after)
        try:
            line = self._writer.append(entry)
        except RecordTrouble as error:
            self._record_fails(event, str(error))
            return str(error)
        self._unwritten = None
        self._lines.append(line)
        if isinstance(event, e.Read):
            self._retries = 0
        if isinstance(event, e.Answered | e.Skipped | e.Went) and self.state.phase is Phase.PLACING:
            self._contact.setdefault(self._role(), Contact()).taken()
        if self.state.phase is Phase.MEASURING and after.phase is not Phase.MEASURING and not isinstance(event, e.Read):
            self.crew.drop_work()
        self.state = after
        message = p.Line(raw=line.decode())
        for screen in self._screens:
            screen.send(message)
        self._told(entry, after)
        return ""

    def _role(self) -> str:
        step = self.state.step
        return (step.role or "") if step is not None else ""

    def _record_fails(self, event: e.Event, why: str) -> None:
        """Outputs off, say so, and try the same event again until it can be written or the walk is given up."""
        first = self._unwritten is None
        self._unwritten = event
        if first:
            self.crew.make_safe(-1)
        for screen in self._screens:
            screen.send(p.RecordFailing(why=why))
        if self._ending or (not self._screens and self._manner.alone):
            raise RecordTrouble(why)
        self._after(2.0, lambda: self._try_again(event))

    def _try_again(self, event: e.Event) -> None:
        self._record(event)

    def _live(self, sample: Sample) -> None:
        asked = request(self.state)
        if not isinstance(asked, r.Place) or asked.number != self._begun or sample.role != self._role():
            return
        contact = self._contact.setdefault(sample.role, Contact())
        settled = contact.feed(sample.at, sample.value, sample.resolution)
        if settled or sample.at - self._live_sent >= LIVE_EVERY:
            self._live_sent = sample.at
            message = p.Live(
                role=sample.role,
                unit=sample.unit,
                value=sample.value,
                over=sample.over,
                resolution=sample.resolution,
                settled=contact.settled,
                touch=contact.touch,
            )
            for screen in self._screens:
                screen.send(message)
        if settled and self._manner.by_contact:
            self._record(e.Answered(number=asked.number, by=self._operator(), how="contact"))

    def _operator(self) -> str:
        return self._seat.name if self._seat is not None else self._hands.name

    # screens and the seat

    def _come(self, screen: Screen) -> None:
        screen.send(p.Welcome(record=str(self._writer.path), you=screen.name, seat=self.state.seat))
        for line in self._lines:
            screen.send(p.Line(raw=line.decode()))
        self._screens.append(screen)

    def _leave(self, screen: Screen) -> None:
        if screen in self._screens:
            self._screens.remove(screen)
        if screen is self._seat:
            self._seat = None
            self._empty_since = self._clock()
            self._record(e.Seated(by=""))
            self._record(e.Paused(why="the operator's screen went away", make_safe=True))

    def _watch_seat(self, now: float) -> None:
        """Nobody in the seat for too long: give the walk up safely."""
        if not self._seated or self._seat is not None or self._empty_since is None:
            return
        if now - self._empty_since > self._manner.give_up_after:
            self._empty_since = None
            self._record(e.Aborted(why="nobody took the operator's seat in time"))

    def _sit(self, screen: Screen) -> None:
        self._seat = screen
        self._empty_since = None
        self._record(e.Seated(by=screen.name, where=screen.where))

    def _hear(self, screen: Screen, said: p.FromClient) -> None:
        match said:
            case p.TakeSeat():
                if screen is not self._seat:
                    self._sit(screen)
            case p.Do(wish=wish):
                if self._seat is None:
                    self._sit(screen)
                if screen is not self._seat and not isinstance(wish, e.Noted | e.Disturbed | e.Aborted):
                    assert self._seat is not None
                    screen.send(p.Refusal(why=f"{self._seat.name} holds the operator's seat; take it first"))
                    return
                self._wish(screen, wish)
            case _:
                screen.send(p.Refusal(why="you are let in already"))

    def _wish(self, screen: Screen, wish: p.Wish) -> None:
        named = _named(wish, screen.name)
        asked = request(self.state)
        if isinstance(named, e.Answered):
            named = e.Answered(number=named.number, answer=named.answer, by=named.by, how="key")
            if isinstance(asked, r.Place) and asked.number == named.number:
                self._hands.place(asked.step)
            if isinstance(asked, r.Ask) and asked.number == named.number:
                self._hands.act(asked.step)
        if self._unwritten is not None and isinstance(named, e.Aborted):
            self._end("given up while the record could not be written")
            return
        why = self._record(named)
        if why:
            screen.send(p.Refusal(why=why))

    def _end(self, why: str) -> None:
        if self._ending:
            return
        self._ending = why
        self.crew.drop_work()
        if self._unwritten is not None:
            self.crew.make_safe(-1)
            raise RecordTrouble(f"{why}; the record could not be written")
        self._record(e.Aborted(why=why))


def _named(wish: p.Wish, name: str) -> p.Wish:
    """The wish with the sender's name in it, whatever it said itself."""
    return msgspec.structs.replace(wish, by=name)
