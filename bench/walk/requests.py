"""What the machine asks for next. Each request has a number, and an answer carries it back."""

from __future__ import annotations

import msgspec

from bench.judge.ramp import RampUp
from bench.sequence.plan import Step


class Start(msgspec.Struct, frozen=True):
    """Nothing is recorded yet: the walk wants its beginning.

    Attributes:
        number: of the request.
    """

    number: int = 0


class Meet(msgspec.Struct, frozen=True):
    """Open and identify the instruments that fill these roles.

    Attributes:
        number: of the request.
        roles: that have still to answer.
    """

    number: int
    roles: tuple[str, ...]


class Consent(msgspec.Struct, frozen=True):
    """The bench cannot prove some limits: go on with a reason, or give up.

    Attributes:
        number: of the request.
        weak: what the bench cannot prove and what is not clear for power, a sentence each.
    """

    number: int
    weak: tuple[str, ...]


class Ask(msgspec.Struct, frozen=True):
    """A person reads, does, confirms or types: caution, hold point, act or value.

    Attributes:
        number: of the request.
        step: what is under way.
    """

    number: int
    step: Step


class Place(msgspec.Struct, frozen=True):
    """The probes go to their places. For a zero or a proof the step's text says where.

    Attributes:
        number: of the request.
        step: what is under way.
    """

    number: int
    step: Step


class Measure(msgspec.Struct, frozen=True):
    """Take the step's reading now.

    Attributes:
        number: of the request.
        step: what is under way.
    """

    number: int
    step: Step


class Switch(msgspec.Struct, frozen=True):
    """Set an output and read it back.

    Attributes:
        number: of the request.
        step: what is under way.
    """

    number: int
    step: Step


class Energise(msgspec.Struct, frozen=True):
    """Bring an output up its ramp and watch it; off at the first reading beyond.

    Attributes:
        number: of the request.
        step: what is under way.
        ramp: what to follow.
    """

    number: int
    step: Step
    ramp: RampUp


class Wait(msgspec.Struct, frozen=True):
    """Let time pass; report it in pieces.

    Attributes:
        number: of the request.
        step: what is under way.
        left: seconds to go.
    """

    number: int
    step: Step
    left: float


class Advise(msgspec.Struct, frozen=True):
    """A search wants to know what to do next; see :mod:`bench.walk.seeking`.

    Attributes:
        number: of the request.
        step: what is under way.
    """

    number: int
    step: Step


class Resolve(msgspec.Struct, frozen=True):
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


class Rest(msgspec.Struct, frozen=True):
    """Paused.

    Attributes:
        number: of the request.
        why: it is paused, in words; may be empty.
    """

    number: int
    why: str


class MakeSafe(msgspec.Struct, frozen=True):
    """Bring every output to its safe state and read it back.

    Attributes:
        number: of the request.
        then: the phase that comes after.
    """

    number: int
    then: str


class Finished(msgspec.Struct, frozen=True):
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
