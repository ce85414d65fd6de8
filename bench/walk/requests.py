"""What the machine asks for next. Each request has a number, and an answer carries it back."""

from __future__ import annotations

from dataclasses import dataclass

from bench.judge.watch import RampUp
from bench.sequence.plan import Step


@dataclass(frozen=True, slots=True)
class Start:
    """Nothing is recorded yet: the walk wants its beginning.

    Attributes:
        number: of the request.
    """

    number: int = 0


@dataclass(frozen=True, slots=True)
class Meet:
    """Open and identify the instruments that fill these roles.

    Attributes:
        number: of the request.
        roles: that have still to answer.
    """

    number: int
    roles: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Consent:
    """The bench cannot prove some limits: go on with a reason, or give up.

    Attributes:
        number: of the request.
        weak: what the bench cannot prove and what is not clear for power, a sentence each.
    """

    number: int
    weak: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Ask:
    """A person reads, does, confirms or types: caution, hold point, act or value.

    Attributes:
        number: of the request.
        step: what is under way.
    """

    number: int
    step: Step


@dataclass(frozen=True, slots=True)
class Place:
    """The probes go to their places. For a zero or a proof the step's text says where.

    Attributes:
        number: of the request.
        step: what is under way.
    """

    number: int
    step: Step


@dataclass(frozen=True, slots=True)
class Measure:
    """Take the step's reading now.

    Attributes:
        number: of the request.
        step: what is under way.
    """

    number: int
    step: Step


@dataclass(frozen=True, slots=True)
class Switch:
    """Set an output and read it back.

    Attributes:
        number: of the request.
        step: what is under way.
    """

    number: int
    step: Step


@dataclass(frozen=True, slots=True)
class Energise:
    """Bring an output up its ramp and watch it; off at the first reading beyond.

    Attributes:
        number: of the request.
        step: what is under way.
        ramp: what to follow.
    """

    number: int
    step: Step
    ramp: RampUp


@dataclass(frozen=True, slots=True)
class Wait:
    """Let time pass; report it in pieces.

    Attributes:
        number: of the request.
        step: what is under way.
        left: seconds to go.
    """

    number: int
    step: Step
    left: float


@dataclass(frozen=True, slots=True)
class Advise:
    """A search wants to know what to do next; see :mod:`bench.walk.seeking`.

    Attributes:
        number: of the request.
        step: what is under way.
    """

    number: int
    step: Step


@dataclass(frozen=True, slots=True)
class Resolve:
    """Trouble: try again, skip with a reason, or give up.

    Attributes:
        number: of the request.
        step: what was under way; None before the first.
        kind: of the trouble, in one word.
        what: happened, in a sentence.
        advice: what to do about it.
    """

    number: int
    step: Step | None
    kind: str
    what: str
    advice: str


@dataclass(frozen=True, slots=True)
class Rest:
    """Paused.

    Attributes:
        number: of the request.
        why: it rests, in words; may be empty.
    """

    number: int
    why: str


@dataclass(frozen=True, slots=True)
class MakeSafe:
    """Bring every output to its safe state and read it back.

    Attributes:
        number: of the request.
        then: the phase that comes after.
    """

    number: int
    then: str


@dataclass(frozen=True, slots=True)
class Finished:
    """Nothing more to do.

    Attributes:
        number: of the request.
        aborted: given up, and not walked to its end.
    """

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
