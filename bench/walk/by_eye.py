"""Readings that a person takes from a display and types: what the digits say, and what must be asked again.

The digits typed fix the resolution, and value and last digit together fix the range. What no range of the meter shows
is asked again before it counts; so is a reading that would fail. Pure, as the machine is.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import isclose
from typing import Final, Literal

from bench.roles import UNIT_OF, Reads
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.facts import Display, InstrumentFacts

FLAG: Final = "by-eye"
"""Marks a reading that a person read and typed."""
WANTED: Final = "what the meter shows, with its unit's prefix: 0.4, 4.72 k, -53.4, 120 m, or OL (OL M)"

_PREFIXES: Final = {"": 0, "k": 3, "K": 3, "M": 6, "G": 9, "m": -3, "u": -6, "µ": -6, "μ": -6}
_FIGURE: Final = re.compile(r"([+-]?)([0-9]{1,7})(?:[.,]([0-9]{1,6}))?\s*([kKMGmuµμ]?)")
_OVER: Final = re.compile(r"(-?)(?:OL|ol|0L|oL|Ol)\s*([kKMGmuµμ]?)")


@dataclass(frozen=True, slots=True)
class Shown:
    """What a display shows, in the base unit.

    Attributes:
        value: None where it is over range.
        resolution: one step of the last digit typed; over range, the size of the prefix.
        over: over range, above or below.
    """

    value: float | None
    resolution: float
    over: Literal["", "+", "-"] = ""


def read_display(text: str) -> Shown | None:
    """What was typed, as a display's figure; None where it is none. Comma and point are the same."""
    typed = text.strip()
    over = _OVER.fullmatch(typed)
    if over is not None:
        return Shown(None, float(f"1e{_PREFIXES[over[2]]}"), "-" if over[1] else "+")
    figure = _FIGURE.fullmatch(typed)
    if figure is None:
        return None
    sign, whole, part, prefix = figure[1], figure[2], figure[3] or "", figure[4]
    exponent = _PREFIXES[prefix] - len(part)
    return Shown(float(f"{sign}{whole}{part}e{exponent}"), float(f"1e{exponent}"))


def function_of(step: Step) -> tuple[Reads, str]:
    """What a step reads, and that function's name in readings."""
    return step.source.read, step.source.function


def _fits(shown: Shown, display: Display) -> bool:
    return shown.value is not None and abs(shown.value) <= display.top * 1.001


def range_of(shown: Shown, displays: list[Display]) -> Display | None:
    """The range that the meter is on: by its last digit, else the lowest that reaches so far.

    Over range only the prefix tells: the value is beyond the lowest range that is shown with it, and more is not known.
    """
    if shown.value is None:
        unit = shown.resolution
        named = (one for one in displays if unit <= one.range < 1000 * unit)
        return next(named, displays[0] if displays else None)
    fitting = [one for one in displays if _fits(shown, one)]
    exact = (one for one in fitting if one.resolution and isclose(one.resolution, shown.resolution, rel_tol=1e-6))
    return next(exact, fitting[0] if fitting else None)


def doubt(shown: Shown, displays: list[Display]) -> str:
    """Why this meter can hardly show that; empty where it can."""
    if shown.value is None or not displays:
        return ""
    found = range_of(shown, displays)
    if found is None:
        return "That is more than this meter can show. Please look at the prefix of its unit: k, M, m or none?"
    if found.resolution is not None and not isclose(found.resolution, shown.resolution, rel_tol=1e-6):
        return "No range of this meter ends in that digit. Please type every digit that it shows, and its prefix."
    return ""


def impossible(shown: Shown, displays: list[Display]) -> bool:
    """Whether no range reaches so far: that never counts, however often it is typed."""
    return bool(displays) and shown.value is not None and range_of(shown, displays) is None


def reading(facts: InstrumentFacts, step: Step, typed: tuple[str, ...], number: int) -> e.Read:
    """The reading of what was typed last; everything typed for it before is kept in ``raw``.

    Args:
        facts: the instrument.
        step: what it was read for.
        typed: the lines, oldest first; the last is a figure.
        number: of the request that it answers.
    """
    shown = read_display(typed[-1])
    assert shown is not None
    reads, function = function_of(step)
    held = range_of(shown, facts.displays.get(function, []))
    coarser = [shown.resolution, (held.resolution or 0.0) if held is not None else 0.0]
    return e.Read(
        number=number,
        instrument=facts.name,
        function=function,
        unit=UNIT_OF[reads],
        value=shown.value,
        over=shown.over,
        bound=held.top if held is not None and shown.over else None,
        flags=[FLAG],
        range=held.range if held is not None else None,
        resolution=max(coarser) if shown.value is not None else None,
        raw=list(typed),
    )
