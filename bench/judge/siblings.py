"""Siblings: a pin that stands out from its cable's others, whether it passes or cannot be decided.

What a meter is off by is off for all of them alike, so readings that are too coarse for a limit still compare.

The modified z-score of Iglewicz and Hoaglin, 0.6745 (x - median) / MAD, marks values beyond 3.5 (both as quoted in the
NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17). One wild value cannot hide itself, as it can with mean and
standard deviation. A mark is a pointer and never a verdict.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from statistics import median
from typing import Final

import msgspec

from bench.judge.judge_error import JudgeError, base_unit, number
from bench.quantity import engineering

SCALE: Final = 0.6745
THRESHOLD: Final = 3.5
FEWEST: Final = 5
"""Fewer siblings than this are not compared: common practice, no source."""
AS_GOOD_AS_NOTHING: Final = 0.1
"""Part of what its siblings read, or of the least that a path can have, below which no wire lies between the probes:
common practice, no source."""
INSULATES_OHM: Final = 1e5
"""Ohms from which siblings are insulation and no wires (common practice, no source)."""


class StandOut(msgspec.Struct, frozen=True):
    """One reading that stands out.

    Attributes:
        name: of the pin or conductor.
        value: its reading.
        score: modified z-score, with its sign.
        sentence: what to look at.
    """

    name: str
    value: float
    score: float
    sentence: str


class Comparison(msgspec.Struct, frozen=True):
    """How a group of siblings reads.

    Attributes:
        unit: base unit of the readings.
        centre: their median.
        deviation: median absolute deviation that was used; see :func:`compare`.
        count: how many were compared.
        scores: modified z-score by name.
        stand_outs: those beyond the threshold, most striking first.
        threshold: that was used.
    """

    unit: str
    centre: float
    deviation: float
    count: int
    scores: Mapping[str, float]
    stand_outs: tuple[StandOut, ...]
    threshold: float

    @property
    def sentence(self) -> str:
        """The outcome in words."""
        if self.count < FEWEST:
            return f"Too few to compare: {self.count} readings, {FEWEST} are needed."
        if not self.stand_outs:
            return f"All {self.count} agree: about {engineering(self.centre, self.unit)} each."
        return " ".join(each.sentence for each in self.stand_outs)


def compare(
    readings: Mapping[str, float],
    unit: str,
    *,
    resolution: float,
    threshold: float = THRESHOLD,
) -> Comparison:
    """Compare the readings of siblings.

    When most readings are the same the median absolute deviation is zero and every other value would be infinitely far
    out. It is therefore never taken below half a step of the last digit, so that a difference of three steps or more is
    marked and one or two are not.

    Args:
        readings: name to value, all of the same kind and all of a pass.
        unit: base unit.
        resolution: one step of the meter's last digit, above zero.
        threshold: modified z-score beyond which a reading is marked.

    Returns:
        The comparison; without marks when there are fewer than five readings.

    Raises:
        JudgeError: a reading that is not finite, or no resolution.
    """
    base_unit("siblings: unit", unit)
    step = number("siblings: resolution", resolution, unit, above=0.0)
    number("siblings: threshold", threshold, above=0.0)
    if not readings:
        raise JudgeError("siblings", "no readings", "at least one")
    values = {name: number(f"siblings: {name}", value, unit) for name, value in readings.items()}
    centre = median(values.values())
    spread = median(abs(value - centre) for value in values.values())
    deviation = max(spread, step / 2.0)
    scores = {name: SCALE * (value - centre) / deviation for name, value in values.items()}
    marked = []
    if len(values) >= FEWEST:
        for name, score in scores.items():
            if abs(score) > threshold:
                marked.append(StandOut(name, values[name], score, _words(name, values[name], centre, unit)))
    marked.sort(key=lambda each: -abs(each.score))
    return Comparison(unit, centre, deviation, len(values), scores, tuple(marked), threshold)


def _words(name: str, value: float, centre: float, unit: str) -> str:
    higher = value > centre
    if unit == "Ω" and value <= AS_GOOD_AS_NOTHING * centre and centre < INSULATES_OHM:
        return (
            f"{name} reads {engineering(value, unit)}, as good as nothing where its siblings read "
            f"{engineering(centre, unit)}: the probes may have touched each other, or two wires are joined at both "
            "ends."
        )
    if centre > 0 and value > 0 and not math.isclose(centre, 0.0):
        times = value / centre if higher else centre / value
        if times >= 2:
            much = f"{times:.3g} times {'higher' if higher else 'lower'} than"
        else:
            much = f"{abs(value / centre - 1) * 100:.2g} % {'above' if higher else 'below'}"
    else:
        much = "above" if higher else "below"
    return f"{name} reads {engineering(value, unit)}, {much} its siblings' {engineering(centre, unit)}: look at it."


DECADE: Final = 10.0
"""Insulation spreads over decades; one part in ten of its siblings' is worth a look (common practice, no source)."""


def a_decade_below(readings: Mapping[str, float], unit: str) -> tuple[StandOut, ...]:
    """Insulation readings that pass but lie a decade or more below the median of their siblings, the lowest first.

    Args:
        readings: name to value, above zero; where a tester was over range, what it is at least.
        unit: base unit.

    Returns:
        What stands out, with the decades below as its score; nothing where there are fewer than five readings.

    Raises:
        JudgeError: a reading that is not above zero.
    """
    base_unit("siblings: unit", unit)
    values = {name: number(f"siblings: {name}", value, unit, above=0.0) for name, value in readings.items()}
    if len(values) < FEWEST:
        return ()
    centre = median(values.values())
    low = sorted((value, name) for name, value in values.items() if value * DECADE <= centre)
    return tuple(
        StandOut(name, value, math.log10(value / centre), _words(name, value, centre, unit)) for value, name in low
    )
