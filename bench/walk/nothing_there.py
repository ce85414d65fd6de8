"""Where a feed should be and nothing arrives, or nothing runs through a meter: the breakers of that way come first.

A breaker that was forgotten is the commonest reason, and the cheapest to put right: it is worked by its handle as the
walk asked before, and the reading is taken again. On the bench supply that is so at a harmless voltage only; with more
on it, it waits until the output is off, since what lies behind is brought up from below.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from typing import Final

from bench.plant.model import NoPath, Plant
from bench.sequence.file import Energise, Measure
from bench.sequence.plan import Step
from bench.sequence.power_tree import SAFE_VOLTS, Powered
from bench.walk.outcome import Outcome

NOTHING: Final = 0.1
"""Part of what should be there below which nothing is (assumed)."""


def look_first(plant: Plant, step: Step, outcome: Outcome, volts: float) -> str:
    """What somebody looks at first where nothing arrives or nothing is drawn; empty where something does or is.

    Args:
        plant: the plant.
        step: a reading, or a load that was brought up.
        outcome: what came of it.
        volts: that are on it, see :func:`volts_on`.
    """
    value, low, high = outcome.figure.value, outcome.bounds.low, outcome.bounds.high
    if outcome.verdict != "fail" or value is None or not low:
        return ""
    least = abs(low) if high is None else min(abs(low), abs(high))
    if (low < 0.0 and (high is None or high > 0.0)) or abs(value) >= NOTHING * least:
        return ""
    source = step.source
    match source:
        case Measure(read="voltage") if source.limit.computed in ("shelf-voltage", "feed-voltage"):
            return _not_closed("Nothing arrives.", _way(plant, step.subject, ()), volts)
        case Energise() if outcome.finding == "light":
            return _not_closed("Nothing is drawn.", _way(plant, step.subject, source.at), volts)
        case Measure(read="current", clamp=False):
            return _not_opened(plant, source.between)
    return ""


def _not_closed(what: str, breakers: tuple[str, ...], volts: float) -> str:
    if not breakers:
        return ""
    # who finds the right one open may have closed another
    each = "it must be closed, and" if len(breakers) == 1 else "each must be closed, and"
    looks = (
        f"{what} Look at {', then '.join(breakers)} first: {each} none beside that was not asked for (open that first)."
    )
    if abs(volts) > SAFE_VOLTS:
        return (
            f"{looks} One that is open stays open until the output is off: then go back to where it is closed, close "
            "it, and bring it up again."
        )
    if volts:
        return f"{looks} One that is open: close it by its handle, and measure again."
    return (
        f"{looks} Where one is open, open those after it too; then close them in this order, by their handles and as "
        "this walk asked before, and measure again."
    )


def _not_opened(plant: Plant, between: tuple[str, str]) -> str:
    """A meter across a breaker that is still closed has nothing to show."""
    for name, breaker in plant.breakers.items():
        if {breaker.line.name, breaker.load.name} == set(between):
            return (
                f"Nothing runs through the meter. Look at {name} first: with the meter across it, it must be open. If "
                "it is closed and the clips hold, open it by its handle, and measure again."
            )
    return ""


def _way(plant: Plant, subject: str, at: Sequence[str]) -> tuple[str, ...]:
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


def volts_on(fed: Powered | None, live: Collection[str]) -> float:
    """The volts of the bench supply that are on, without sign; 0 where a supply of the plant feeds in its place.

    Args:
        fed: what the bench supply feeds, as far as the walk knows.
        live: supplies of the plant that are on.

    Returns:
        Infinity where the walk knows of neither: nobody is told to work anything then.
    """
    if fed is not None:
        return abs(fed.volts)
    return 0.0 if live else math.inf
