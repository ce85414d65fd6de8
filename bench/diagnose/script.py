"""What is done and read at the two ends of a cable, one after the other, as a script.

A script is a generator: it yields what it wants next, a card to carry out or two sides to put the probes on, is sent
what came back, and returns what it concludes. It speaks of the names of conductors and flags;
:mod:`bench.diagnose.script_search` speaks it as a search, of places that a probe can touch. The same answers always
lead to the same request.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from math import isnan
from typing import Literal, TypeVar

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError

R = TypeVar("R")
End = Literal["near", "far"]
Wants = Literal["ohms", "joined"]
Value = float | bool | None

COMMON = "common"
"""The known common: shield, frame, or a conductor that is known at both ends."""
STAR = "star"
"""A floating point where tags meet."""


class Fit(msgspec.Struct, frozen=True):
    """Join a conductor to a point, through a tag, or straight.

    Attributes:
        conductor: its name.
        ohms: of the tag; 0 for none.
        to: the point.
    """

    conductor: str
    ohms: float
    to: str

    def __str__(self) -> str:
        if self.ohms:
            return f"{self.conductor}: tag of {self.ohms:g} ohm to {self.to}"
        return f"{self.conductor}: straight to {self.to}"


class Clip(msgspec.Struct, frozen=True):
    """Join these ends with one another."""

    members: tuple[str, ...]

    def __str__(self) -> str:
        return "join " + " + ".join(self.members)


class Clear(msgspec.Struct, frozen=True):
    """Take off all clips, tags and bars of this end: every conductor lies free."""

    def __str__(self) -> str:
        return "free every end"


class Card(msgspec.Struct, frozen=True):
    """What to do at one end before measuring, in order."""

    end: End
    steps: tuple[Fit | Clip | Clear, ...]

    def lines(self) -> tuple[str, ...]:
        """The card as lines of text."""
        return tuple(str(step) for step in self.steps)


class SetUp(msgspec.Struct, frozen=True):
    """Do what the card says; it is answered by nothing."""

    card: Card


class Probe(msgspec.Struct, frozen=True):
    """Put the probes on two sides, each one end or several ends on a bar.

    Attributes:
        end: of the cable.
        red: ends on the red side.
        black: ends on the black side.
        wants: ``ohms`` for a resistance (answered by infinity for open, by None when it could not be measured),
            ``joined`` for yes or no.
        again: a second look, which the script can do without: answered by None where it was skipped.
    """

    end: End
    red: tuple[str, ...]
    black: tuple[str, ...]
    wants: Wants
    again: bool = False


Request = SetUp | Probe
Script = Generator[Request, Value, R]


def carry_out(script: Script[R], look: Callable[[Request], Value]) -> R:
    """Answer every request of a script by a function, for tests and simulations; returns what it concludes.

    Raises:
        DiagnoseError: an answer is of the wrong kind.
    """
    value: Value = None
    while True:
        try:
            request = script.send(value)
        except StopIteration as end:
            result: R = end.value
            return result
        value = look(request)
        _check(request, value)


def _check(request: Request, value: Value) -> None:
    if isinstance(request, SetUp):
        if value is not None:
            raise DiagnoseError(f"a set-up was answered with {value!r}; expected no value")
    elif request.wants == "joined":
        if not isinstance(value, bool) and not (request.again and value is None):
            raise DiagnoseError(f"found {value!r}; expected yes or no (joined or not)")
    elif value is not None and (
        isinstance(value, bool) or not isinstance(value, int | float) or isnan(value) or value < 0
    ):
        raise DiagnoseError(f"found {value!r}; expected ohms from 0 up, infinity for open")
