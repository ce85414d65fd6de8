"""Where a feed should be and nothing arrives: the breakers of that very way are looked at first.

A breaker that was forgotten is the commonest reason, and the cheapest to put right: at a harmless voltage it is closed
by its handle and the reading is taken again. At a higher one it waits until the output is off, since what lies behind
it is brought up from below.
"""

from __future__ import annotations

from typing import Final

from bench.plant.model import NoPath, Plant
from bench.sequence.file import Energise, Measure
from bench.sequence.plan import Step
from bench.sequence.power_tree import Powered
from bench.walk.outcome import Outcome

NOTHING: Final = 0.1
"""Part of what should be there below which nothing is (assumed)."""
HARMLESS_V: Final = 5.0
"""So low that a breaker may be closed on it by its handle (common practice, no source; the drafts' first voltage)."""


def to_look_at(plant: Plant, step: Step, outcome: Outcome) -> tuple[str, ...]:
    """The breakers on the way to where nothing arrives, from the supply on; none where something does.

    Args:
        plant: the plant.
        step: a reading of volts, or a load that was brought up.
        outcome: what came of it.
    """
    value, low, high = outcome.figure.value, outcome.bounds.low, outcome.bounds.high
    if outcome.verdict != "fail" or value is None or not low:
        return ()
    least = abs(low) if high is None else min(abs(low), abs(high))
    if (low < 0.0 and (high is None or high > 0.0)) or abs(value) >= NOTHING * least:
        return ()
    source = step.source
    if isinstance(source, Measure) and source.read == "voltage" and source.limit.computed == "shelf-voltage":
        return _way(plant, step.subject, ())
    if isinstance(source, Energise) and outcome.finding == "light":
        return _way(plant, step.subject, source.at)
    return ()


def _way(plant: Plant, subject: str, at: list[str] | tuple[str, ...]) -> tuple[str, ...]:
    """The breakers to an inlet, to all inlets of a shelf that are fed from some supplies, or up to a breaker."""
    inlets = [one for shelf in subject.split("+") if shelf in plant.shelves for one in plant.shelves[shelf].inlets]
    inlets = [plant.inlets[subject]] if subject in plant.inlets else inlets
    if subject in plant.breakers:
        inlets = list(plant.inlets.values())
    found: list[str] = []
    for inlet in inlets:
        try:
            path = plant.supply_path(inlet.shelf, inlet.feed)
        except NoPath:
            continue
        names = list(path.breakers)
        if subject in plant.breakers:
            if subject not in names:
                continue
            return tuple(names[: names.index(subject) + 1])
        if not at or path.supply in at:
            found += names
    return tuple(dict.fromkeys(found))


def look_first(breakers: tuple[str, ...], volts: float) -> str:
    """What somebody does where nothing arrives.

    Args:
        breakers: on the way, from the supply on.
        volts: that are on it; 0 where the walk does not know.
    """
    if not breakers:
        return ""
    names = ", then ".join(breakers)
    each = "it must be closed" if len(breakers) == 1 else "each must be closed"
    if 0.0 < abs(volts) <= HARMLESS_V:
        return f"Look at {names} first: {each}. One that is open: close it by its handle, and measure again."
    return (
        f"Look at {names} first: {each}. One that is open stays open until the output is off: then it is closed, and "
        "all is brought up from the beginning."
    )


def volts_on(fed: Powered | None) -> float:
    """The volts that feed it, without sign; 0 where not known."""
    return abs(fed.volts) if fed is not None else 0.0
