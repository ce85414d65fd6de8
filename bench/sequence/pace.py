"""About how long a sequence takes people: what each kind of step costs, and what the clock takes by itself.

The figures are common practice without a source: two people who know the plant, a meter on a port, hands that go from
one place to the next. They are there to compare sequences, and to say whether an evening is long enough.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from bench.sequence.file import Do, Energise, Look, Measure
from bench.sequence.plan import Step

_KINDS: Final = {"caution": 30.0, "hold": 20.0, "ask": 30.0, "gate": 20.0, "zero": 20.0, "prove": 30.0, "set": 2.0,
                 "seek": 180.0}  # fmt: skip
"""Seconds of a step, by its kind."""
READING: Final = 12.0
"""Seconds of a reading whose two places are found, touched and held."""
_AT_HAND: Final = 8.0
"""Seconds of one where a lead stays where it was."""
_LEADS: Final = 240.0
"""Seconds that a bench supply's leads take to be bolted on or taken off, with a second person looking."""
_BREAKER: Final = 10.0
_ACT: Final = 30.0
_CARD: Final = 45.0
_LOOK: Final = 3.0
_LEVEL: Final = 20.0
"""Seconds of one level of a load that comes up."""


def seconds_of(steps: Iterable[Step]) -> float:
    """About how long some steps take, in seconds.

    Args:
        steps: in order.
    """
    total, last = 0.0, frozenset[str]()
    for step in steps:
        total += _of(step, last)
        if isinstance(step.source, Measure):
            last = frozenset(step.source.between)
    return total


def _of(step: Step, last: frozenset[str]) -> float:
    match step.source:
        case Measure(between=between, after=after):
            hand = _AT_HAND if last & set(between) else READING
            return hand + (after.value if after is not None else 0.0)
        case Do(connect=connect, disconnect=disconnect, take_out=out, put_in=put) as act:
            breakers = _BREAKER * len({*act.open, *act.close})
            return _ACT + breakers + _CARD * len({*out, *put}) + (_LEADS if connect or disconnect else 0.0)
        case Look(names=names):
            return _ACT + _LOOK * len(names)
        case Energise(ramp=ramp, soak=soak):
            return _LEVEL * (len(ramp) + 1) + (soak.value if soak is not None else 0.0)
    return _KINDS.get(step.kind, 0.0) + step.seconds
