"""What trips, blown fuses and resets have in common: each circumstance ranked, with how easily chance brings it.

Of ``n`` events ``k`` share a circumstance that a part ``p`` of all that could trip has too. Chance alone brings ``k``
or more with the upper tail of the binomial distribution. Many circumstances are tried, so the tail is multiplied by
their number (Bonferroni). Nothing is called a cause: what stands out is where to look first.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Final

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.plant.model import Plant
from bench.say.lists import count

COLUMNS: Final = ("at", "thing", "what", "temperature", "touched", "remark")
STANDS_OUT: Final = 0.01
"""Below this chance something stands out."""
HINT: Final = 0.1
FEWEST: Final = 3
"""With fewer events nothing is ranked."""
HOURS: Final = ("0 to 6 h", "6 to 12 h", "12 to 18 h", "18 to 24 h")


class Trip(msgspec.Struct, frozen=True):
    """One event.

    Attributes:
        at: when, local.
        thing: the breaker or shelf.
        what: what happened, in words.
        temperature: of the hall, in °C; None where nobody looked.
        touched: what was touched before it.
        how: who or what told it.
    """

    at: datetime
    thing: str
    what: str = ""
    temperature: float | None = None
    touched: str = ""
    how: str = ""


class Common(msgspec.Struct, frozen=True):
    """A circumstance that events share.

    Attributes:
        kind: such as ``feed``.
        value: such as ``B``.
        events: how many have it.
        of: of how many.
        part: of all that could trip, or of all time, that has it too.
        chance: that so many or more have it by chance, for all that was tried together.
    """

    kind: str
    value: str
    events: int
    of: int
    part: float
    chance: float


def read_trips(path: Path, plant: Plant) -> list[Trip]:
    """Events out of a table with the columns of :data:`COLUMNS`, of which the first two are needed.

    Raises:
        DiagnoseError: with every line that cannot be read.
        OSError: the file cannot be read.
    """
    found, wrong = [], []
    with path.open(encoding="utf-8-sig", newline="") as stream:
        for number, row in enumerate(csv.DictReader(stream), 2):
            values = {name: (row.get(name) or "").strip() for name in COLUMNS}
            thing = values["thing"]
            if thing not in plant.breakers and thing not in plant.shelves:
                wrong.append(f"{path}:{number}: found '{thing}', expected a breaker or a shelf of the plant")
                continue
            try:
                warm = float(values["temperature"]) if values["temperature"] else None
                at = datetime.fromisoformat(values["at"])
            except ValueError as error:
                wrong.append(f"{path}:{number}: {error}")
                continue
            found.append(Trip(at, thing, values["what"], warm, values["touched"]))
    if wrong:
        raise DiagnoseError("\n".join(wrong))
    return sorted(found, key=lambda one: one.at)


def in_common(plant: Plant, trips: Sequence[Trip]) -> list[Common]:
    """What events have in common, what chance brings least easily first; empty with too few events.

    Args:
        plant: the plant.
        trips: the events.
    """
    if len(trips) < FEWEST:
        return []
    things = [*plant.breakers, *plant.shelves]
    kinds = [{name: _circumstances(plant, name) for name in things if (name in plant.breakers) == is_breaker}
             for is_breaker in (True, False)]  # fmt: skip
    tried: list[tuple[str, str, int, int, float]] = []
    for population in kinds:
        mine = [one for one in trips if one.thing in population]
        if not mine:
            continue
        values = {pair for one in mine for pair in population[one.thing]}
        for kind, value in sorted(values):
            having = sum((kind, value) in circumstances for circumstances in population.values())
            events = sum((kind, value) in population[one.thing] for one in mine)
            tried.append((kind, value, events, len(mine), having / len(population)))
    for number, hours in enumerate(HOURS):
        events = sum(one.at.hour // 6 == number for one in trips)
        tried.append(("time of day", hours, events, len(trips), 0.25))
    found = [
        Common(kind, value, events, of, part, min(1.0, _tail(events, of, part) * len(tried)))
        for kind, value, events, of, part in tried
        if events and part < 1.0
    ]
    return sorted(found, key=lambda one: (one.chance, -one.events))


def _circumstances(plant: Plant, name: str) -> frozenset[tuple[str, str]]:
    if name in plant.breakers:
        breaker = plant.breakers[name]
        return frozenset({("breaker", name), ("feed", breaker.feed), ("at", breaker.at)})
    shelf = plant.shelves[name]
    cards = {("card type", card.type.name) for card in shelf.cards}
    return frozenset({("shelf", name), ("bay", shelf.bay), *cards})


def _tail(events: int, of: int, part: float) -> float:
    from scipy.stats import binom

    return float(binom.sf(events - 1, of, part))


def told(trips: Sequence[Trip], common: Iterable[Common], most: int = 6) -> list[str]:
    """What stands out, what is a hint, and what cannot be said.

    Args:
        trips: the events.
        common: of :func:`in_common`.
        most: so many at most.
    """
    if len(trips) < FEWEST:
        return [f"{count(len(trips), 'event')}: too few to say what they have in common; from {FEWEST} on it is tried"]
    lines = []
    ranked = list(common)
    for one in ranked[:most]:
        if one.chance >= HINT:
            break
        word = "stands out" if one.chance < STANDS_OUT else "a hint, no more"
        lines.append(
            f"{one.kind} {one.value}: {one.events} of {one.of} events, and {one.part:.0%} of all that could; chance "
            f"brings that {_odds(one.chance)}: {word}"
        )
    if not lines:
        best = f" (the most: {ranked[0].kind} {ranked[0].value}, {_odds(ranked[0].chance)})" if ranked else ""
        lines.append(f"{count(len(trips), 'event')}: nothing they share is more than chance brings{best}")
    touched = [one for one in trips if one.touched]
    for text in dict.fromkeys(one.touched for one in touched):
        events = sum(one.touched == text for one in touched)
        if events > 1:
            lines.append(
                f"touched before {events} of {len(trips)}: {text}; how often that was done without one is not known"
            )
    warm = [one.temperature for one in trips if one.temperature is not None]
    if len(warm) > 1:
        lines.append(
            f"hall at {min(warm):g} to {max(warm):g} °C in {len(warm)} of them; how warm it is else is not known here"
        )
    return lines


def _odds(chance: float) -> str:
    return "as often as not" if chance >= 0.5 else f"once in {1.0 / max(chance, 1e-6):.0f} times"
