"""What a twin takes from the profile it answers to: ranges, their last digits, how far off it may be, its name.

A twin states none of it a second time. What a profile does not say, such as the input resistance of a voltmeter or how
much a reading is noisy, is the twin's own.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable
from functools import cache

import msgspec

from bench.instruments.profile.functions import Function, Range
from bench.instruments.profile.profile import Profile

__all__ = ["Scale", "drawn_errors", "identity_of", "scales", "shipped_profile"]


@cache
def shipped_profile(name: str) -> Profile:
    """A profile that comes with the program.

    Raises:
        BadFile: there is none of that name.
    """
    from bench.instruments.profile.library import Library

    return Library.for_job().profile(name)


class Scale(msgspec.Struct, frozen=True):
    """One range of a function, in its base unit.

    The allowance is ± (``gain`` of the reading + ``offset``), that of the longest calibration interval which the
    profile states.

    Attributes:
        full: what the range is called by.
        top: the highest magnitude that it shows.
        step: one step of the last digit, at default settings.
        gain: as a part of the reading.
        offset: of the range and of counts together.
        test_amps: forced through the part, on ohms; not a number where the profile does not say.
    """

    full: float
    top: float
    step: float
    gain: float
    offset: float
    test_amps: float = math.nan


def scales(function: Function) -> tuple[Scale, ...]:
    """A function's ranges, from the lowest."""
    return tuple(_scale(part) for part in function.ranges)


def _scale(part: Range) -> Scale:
    full = part.range.value
    # a profile may leave the last digit to what its meter sends
    step = part.resolution.value if part.resolution is not None else 1e-6 * full
    gain = offset = 0.0
    if part.accuracy:
        line = max(part.accuracy, key=lambda line: line.good_for.value)
        gain, offset = line.of_reading.value, line.of_range.value * full + line.counts * step
    amps = part.test_current.value if part.test_current is not None else math.nan
    return Scale(full, part.top, step, gain, offset, amps)


def drawn_errors(
    ranges: Iterable[Scale], draw: random.Random, scale: float = 1.0, spare_steps: int = 0
) -> list[tuple[float, float]]:
    """Gain error (a part) and offset error (base unit) of each range, within its allowance.

    Args:
        ranges: from the lowest.
        draw: where from.
        scale: stretches them: 1 keeps them within the allowance, 0 takes them away.
        spare_steps: of the last digit, left out of the offset for noise and rounding.
    """
    return [
        (
            scale * one.gain * draw.uniform(-1.0, 1.0),
            scale * (one.offset - spare_steps * one.step) * draw.uniform(-1.0, 1.0),
        )
        for one in ranges
    ]


def identity_of(profile: Profile) -> str:
    """What an instrument of this kind names itself, as the profile's own examples have it; empty where they do not."""
    return next((example.gives.identity for example in profile.examples if example.gives.identity), "")
