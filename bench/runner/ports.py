"""What the runner needs from the world, as protocols. Each has a real, a simulated and a test side."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final, Protocol

import msgspec

from bench.judge.ramp import RampUp
from bench.sequence.plan import Step
from bench.walk.events import Advised, Event
from bench.walk.state import State


class Happened(msgspec.Struct, frozen=True):
    """The crew or the hands report an event that they want recorded.

    Attributes:
        event: the fact.
    """

    event: Event


class LiveReading(msgspec.Struct, frozen=True):
    """A live reading; never recorded.

    Attributes:
        role: what it was read for.
        at: moment of the monotonic clock.
        unit: base unit.
        value: None over range, or where there is no reading.
        over: '+' or '-' where the meter showed over range.
        resolution: one step of the last digit; None where not known.
        wrong: what stands in the way of a reading and what to do at the instrument, where its dial is not as it should
            be.
    """

    role: str
    at: float
    unit: str
    value: float | None
    over: str
    resolution: float | None
    wrong: str = ""


class Rising(msgspec.Struct, frozen=True):
    """A load on its way up, as it is now; never recorded. See :class:`bench.runner.protocol.Rise`.

    Attributes:
        at: seconds since the output went on.
        level: which of the ramp, from 0.
        since: seconds since that step was set.
        amps: None where the meter gave no number.
        volts: at the terminals, where they were looked at since.
        settled: seconds since the last step has settled; None before.
    """

    at: float
    level: int
    since: float
    amps: float | None
    volts: float | None
    settled: float | None


class WentOff(msgspec.Struct, frozen=True):
    """An output that the walk counts on is not on any more, or nobody can tell; noticed while nothing was read.

    Attributes:
        instrument: whose output it is.
        what: was seen, in a sentence.
    """

    instrument: str
    what: str


class Leaving(msgspec.Struct, frozen=True):
    """Charge that leaves while an instrument is made safe; never recorded.

    Attributes:
        instrument: that discharges.
        value: what is left, in ``unit``.
        unit: base unit.
        gone: what was read back when nothing was left that could hurt, in words; empty until then.
        lost: it could not be read back: nobody knows what is left.
    """

    instrument: str
    value: float
    unit: str
    gone: str = ""
    lost: bool = False


Post = Callable[[Happened | LiveReading | Rising | WentOff | Leaving], None]


class Ears(Protocol):
    """Whoever listens to consoles of the plant; see :class:`bench.runner.listening.Listening`."""

    def send(self, console: str, data: bytes) -> str:
        """Send something, and wait until the port took it; why it was not sent, empty where it was."""


class Crew(Protocol):
    """The instruments, by role. Calls return at once; results are posted, with the number of the request they answer.

    Attributes:
        safe_within: seconds after which :meth:`make_safe` has given its account, however it went.
    """

    safe_within: float

    def meet(self, roles: tuple[str, ...], number: int) -> None:
        """Open and identify the instruments of these roles; posts ``Met`` for each, or ``Troubled``."""

    def measure(self, step: Step, number: int) -> None:
        """Take the step's reading; posts ``Read`` or ``Troubled``."""

    def switch(self, step: Step, number: int) -> None:
        """Set the step's output and read it back; posts ``Switched`` or ``Troubled``."""

    def energise(self, step: Step, ramp: RampUp, number: int) -> None:
        """Bring the step's output up and watch it; posts ``Energised`` or ``Troubled``. Off unless done."""

    def live(self, step: Step | None, number: int = -1) -> None:
        """Take live readings as the step would, as fast as the meter goes; None stops them.

        Posts ``Troubled`` with the number where none can be had.
        """

    def make_safe(self, number: int) -> None:
        """Bring all outputs to their safe state, whatever else is going on; posts ``MadeSafe``."""

    def agreed(self, instrument: str) -> None:
        """A person was told that somebody else answers as this instrument, or who does, and tried again."""

    def drop_work(self) -> None:
        """Let go of a measurement under way; its result is not wanted any more."""

    def close(self) -> None:
        """Close all ports."""


class Watchman(Protocol):
    """Makes outputs safe when the runner is gone; see :class:`bench.runner.guard.Guard`."""

    def stands(self, met: Mapping[str, str], on: bool) -> None:
        """How it stands: instruments with outputs that were met and where, and whether something is on."""

    def close(self, safe: bool) -> None:
        """The runner ends; ``safe``: it made everything safe itself."""


class Hands(Protocol):
    """Who places probes and works breakers: a person, or the simulator's hands.

    Attributes:
        name: as records keep it.
    """

    name: str

    def reaches(self, step: Step) -> str:
        """Who places for this step by itself and at once, as a relay matrix does; empty: it takes hands."""

    def place(self, step: Step) -> None:
        """Put the probes where the step wants them. A person's hands have done so already."""

    def lift(self) -> None:
        """Take the probes off."""

    def act(self, step: Step) -> None:
        """Do what the step says: breakers, supplies. A person's hands have done so already."""

    def answer(self, step: Step) -> str:
        """What these hands answer to a caution, a hold point, an act or a question."""

    def jump(self, seconds: float) -> bool:
        """Let time pass at once, where time is simulated. Returns whether it did."""


Adviser = Callable[[State], Advised]
"""Says what a search wants next, given the state (:class:`bench.walk.adviser.Adviser`).

The same state always gets the same answer. It may take a while; the runner asks on a thread of its own. Where there is
nothing to advise it raises ``ValueError`` with the reason, in words for a person.
"""


COUNTDOWN: Final = 5
"""Seconds in which somebody who still has a hand on a wire can call, and somebody else can stop it (common practice,
no source)."""


class Manner(msgspec.Struct, frozen=True):
    """How the hands work.

    Attributes:
        alone: the hands answer everything by themselves. Only a simulated bench may.
        place_after: seconds after which the hands place the probes by themselves; None: they wait to be told.
        by_contact: a settled contact is taken without a key.
        give_up_after: seconds that an empty seat is waited for before the walk is aborted.
        countdown: seconds between hands off and an insulation test voltage, in which any key stops it.
        tick: real seconds that each of those takes: less where simulated time is hurried.
    """

    alone: bool = False
    place_after: float | None = None
    by_contact: bool = False
    give_up_after: float = 1800.0
    countdown: int = COUNTDOWN
    tick: float = 1.0
