"""What happened between the last good and the first bad reading of a point, ranked by how it touches the point.

The rank of an event is the weight of its kind times how near what it touched lies to the point's path. Both scales are
common practice, no source. What lies outside the bracket is never listed.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import msgspec

from bench.job.points import Surroundings, names_in
from bench.job.rows import Told
from bench.plant.model import Plant

WEIGHTS: Final = {"disturbance": 1.0, "plant": 0.8, "unexplained": 0.8, "act": 0.6, "bench": 0.5, "note": 0.3}
"""How much an event of a kind may have done."""
ALL_OF_IT: Final = 0.5
"""Nearness of what concerns every reading alike: another meter."""


class Suspect(msgspec.Struct, frozen=True):
    """An event that may have caused a change.

    Attributes:
        told: the event.
        score: weight of its kind times nearness.
        nearness: 1 for the point itself down to 0.02 for elsewhere.
        words: how it touches the point.
    """

    told: Told
    score: float
    nearness: float
    words: str


def suspects(told: Iterable[Told], after: str, until: str, around: Surroundings, plant: Plant) -> list[Suspect]:
    """The events of a bracket, the likeliest first.

    Args:
        told: what happened, in any order.
        after: time of the last good reading, UTC; empty for the beginning.
        until: time of the last reading that may be the first bad one.
        around: what lies around the point.
        plant: for names that remarks mention.
    """
    found = []
    for one in told:
        if not after < one.happened <= until:
            continue
        names = one.names or names_in(plant, one.text)
        nearness, words = around.nearness(names)
        if one.kind == "bench":
            nearness, words = ALL_OF_IT, "every reading from here on"
        found.append(Suspect(one, WEIGHTS[one.kind] * nearness, nearness, words))
    return sorted(found, key=lambda one: (-one.score, one.told.happened))
