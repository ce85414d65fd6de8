"""What the machine asks for next. Each request has a number, and an answer carries it back."""

from __future__ import annotations

from dataclasses import dataclass

from bench.judge.watch import Ladder
from bench.sequence.plan import Step


@dataclass(frozen=True, slots=True)
class Start:
    """Nothing is recorded yet: the walk wants its beginning."""

    number: int = 0


@dataclass(frozen=True, slots=True)
class Meet:
    """Open and identify the instruments that fill these roles."""

    number: int
    roles: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Consent:
    """The bench cannot prove some limits: go on with a reason, or give up."""

    number: int
    weak: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Ask:
    """A person reads, does, confirms or types: caution, hold point, act or value."""

    number: int
    step: Step


@dataclass(frozen=True, slots=True)
class Place:
    """The probes go to their places. For a zero or a proof the step's text says where."""

    number: int
    step: Step


@dataclass(frozen=True, slots=True)
class Measure:
    """Take the step's reading now."""

    number: int
    step: Step


@dataclass(frozen=True, slots=True)
class Switch:
    """Set an output and read it back."""

    number: int
    step: Step


@dataclass(frozen=True, slots=True)
class Energise:
    """Bring an output up its ladder and watch it; off at the first reading beyond."""

    number: int
    step: Step
    ladder: Ladder


@dataclass(frozen=True, slots=True)
class Wait:
    """Let time pass; report it in pieces."""

    number: int
    step: Step
    left: float


@dataclass(frozen=True, slots=True)
class Advise:
    """A search wants to know what to do next; see :mod:`bench.walk.seeking`."""

    number: int
    step: Step


@dataclass(frozen=True, slots=True)
class Resolve:
    """Trouble: try again, skip with a reason, or give up."""

    number: int
    step: Step | None
    kind: str
    what: str
    advice: str


@dataclass(frozen=True, slots=True)
class Rest:
    """Paused."""

    number: int
    why: str


@dataclass(frozen=True, slots=True)
class MakeSafe:
    """Bring every output to its safe state and read it back."""

    number: int
    then: str


@dataclass(frozen=True, slots=True)
class Finished:
    """Nothing more to do."""

    number: int
    aborted: bool


Request = (
    Start
    | Meet
    | Consent
    | Ask
    | Place
    | Measure
    | Switch
    | Energise
    | Wait
    | Advise
    | Resolve
    | Rest
    | MakeSafe
    | Finished
)
