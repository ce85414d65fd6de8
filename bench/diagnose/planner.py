"""A planner: a pure dialogue of requests and answers that names what it wants next.

    planner = Planner(script)
    while not isinstance(request := planner.next(), Done):
        planner = planner.take(Answer(request.number, look(request)))
    result = request.result

A planner is a value. `next` may be asked any number of times, `take` leaves the old planner as it
was, `undo` is the planner before the last answer, and `resume` makes the same planner again from
the answers alone. Inside, a script is a generator that yields requests and is sent the answers: the
same answers always lead to the same request. The generator is handed on from planner to planner, so
a dialogue costs what its script costs; only going back replays.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable
from dataclasses import dataclass, replace
from math import isnan
from typing import Generic, Literal, TypeVar

from bench.diagnose.diagnose_error import DiagnoseError

R = TypeVar("R")
End = Literal["near", "far"]
Wants = Literal["ohms", "joined"]
Value = float | bool | None

COMMON = "common"
"""The known common: shield, frame, or a conductor that is known at both ends."""
STAR = "star"
"""A floating point where tags meet."""


@dataclass(frozen=True)
class Fit:
    """Join a conductor to a point, through a tag of so many ohms, or directly when `ohms` is 0."""

    conductor: str
    ohms: float
    to: str

    def __str__(self) -> str:
        if self.ohms:
            return f"{self.conductor}: tag of {self.ohms:g} ohm to {self.to}"
        return f"{self.conductor}: straight to {self.to}"


@dataclass(frozen=True)
class Clip:
    """Join these ends with one another."""

    members: tuple[str, ...]

    def __str__(self) -> str:
        return "join " + " + ".join(self.members)


@dataclass(frozen=True)
class Clear:
    """Take off all clips, tags and bars of this end: every conductor lies free."""

    def __str__(self) -> str:
        return "free every end"


@dataclass(frozen=True)
class Card:
    """What to do at one end before measuring, in order."""

    end: End
    steps: tuple[Fit | Clip | Clear, ...]

    def lines(self) -> tuple[str, ...]:
        """The card as lines of text."""
        return tuple(str(step) for step in self.steps)


@dataclass(frozen=True)
class SetUp:
    """Do what the card says; the answer carries no value."""

    card: Card
    number: int = 0


@dataclass(frozen=True)
class Measure:
    """Measure between two sides, each one end or several ends on a bar.

    wants: "ohms" for a resistance (infinity for open, None when it could not be measured),
    "joined" for yes or no.
    """

    end: End
    red: tuple[str, ...]
    black: tuple[str, ...]
    wants: Wants
    number: int = 0


@dataclass(frozen=True)
class Done(Generic[R]):
    """Nothing more is wanted."""

    result: R
    number: int = 0


@dataclass(frozen=True)
class Answer:
    """What came back for the request of that number."""

    number: int
    value: Value = None


Request = SetUp | Measure
Script = Generator[Request, Value, R]


class Planner(Generic[R]):
    """One point in a dialogue. See the head of the module."""

    __slots__ = ("_before", "_last", "_live", "_number", "_request", "_script")

    def __init__(self, script: Callable[[], Script[R]]) -> None:
        self._script = script
        self._before: Planner[R] | None = None
        self._last: Answer | None = None
        self._number = 1
        self._live: Script[R] | None = None
        self._request: SetUp | Measure | Done[R] | None = None

    def next(self) -> SetUp | Measure | Done[R]:
        """What is wanted now; the same each time it is asked."""
        if self._request is None:
            self._revive()
        assert self._request is not None
        return self._request

    def take(self, answer: Answer) -> Planner[R]:
        """The planner after an answer to the request that `next` shows.

        Raises DiagnoseError for an answer to another request, or of the wrong kind.
        """
        request = self.next()
        if isinstance(request, Done):
            raise DiagnoseError("the plan is done; no answer was expected")
        if answer.number != request.number:
            raise DiagnoseError(f"answer to request {answer.number}; expected one to request {request.number}")
        _check(request, answer.value)
        if self._live is None:
            self._revive()
        follower: Planner[R] = Planner(self._script)
        follower._before, follower._last, follower._number = self, answer, self._number + 1
        live, self._live = self._live, None
        assert live is not None
        follower._advance(live, answer.value)
        return follower

    def undo(self) -> Planner[R]:
        """The planner before the last answer. Raises DiagnoseError if there was none."""
        if self._before is None:
            raise DiagnoseError("there is no answer to take back")
        return self._before

    def answers(self) -> tuple[Answer, ...]:
        """All answers taken so far, oldest first."""
        found: list[Answer] = []
        at: Planner[R] | None = self
        while at is not None and at._last is not None:
            found.append(at._last)
            at = at._before
        return tuple(reversed(found))

    def resume(self, answers: Iterable[Answer]) -> Planner[R]:
        """The planner after these answers, taken one by one."""
        planner = self
        for answer in answers:
            planner = planner.take(answer)
        return planner

    def _advance(self, live: Script[R], value: Value, first: bool = False) -> None:
        try:
            wanted = next(live) if first else live.send(value)
            self._request = replace(wanted, number=self._number)
            self._live = live
        except StopIteration as end:
            self._request = Done(end.value, self._number)

    def _revive(self) -> None:
        """Replay from the first request, since the script has gone on without this planner."""
        live = self._script()
        fresh: Planner[R] = Planner(self._script)
        fresh._advance(live, None, first=True)
        request = fresh._request
        for answer in self.answers():
            assert not isinstance(request, Done)
            fresh._number = answer.number + 1
            fresh._advance(live, answer.value)
            request = fresh._request
        self._request, self._live = request, fresh._live


def _check(request: Request, value: Value) -> None:
    if isinstance(request, SetUp):
        if value is not None:
            raise DiagnoseError(f"a set-up was answered with {value!r}; expected no value")
    elif request.wants == "joined":
        if not isinstance(value, bool):
            raise DiagnoseError(f"found {value!r}; expected yes or no (joined or not)")
    elif value is not None and (
        isinstance(value, bool) or not isinstance(value, int | float) or isnan(value) or value < 0
    ):
        raise DiagnoseError(f"found {value!r}; expected ohms from 0 up, infinity for open")


def carry_out(planner: Planner[R], look: Callable[[Request], Value]) -> Planner[R]:
    """Answer every request by a function until the plan is done; for tests and simulations."""
    while not isinstance(request := planner.next(), Done):
        planner = planner.take(Answer(request.number, look(request)))
    return planner
