"""A draft that lets power in begins by looking: how every breaker stands that could carry it somewhere else."""

from __future__ import annotations

from collections.abc import Collection

from bench.plant.model import Plant
from bench.sequence.drafts.parts import Part
from bench.sequence.file import Gate, Look


def breakers_of(plant: Plant, supplies: Collection[str]) -> list[str]:
    """Every breaker on the feeds of some supplies, upstream and in every bay, whatever is to be powered.

    Args:
        plant: the plant.
        supplies: of it.
    """
    feeds = {plant.supplies[name].feed for name in supplies}
    return [name for name, breaker in plant.breakers.items() if breaker.feed in feeds]


def all_breakers(plant: Plant, supplies: Collection[str]) -> list[Part]:
    """Somebody looks at every breaker upstream and beside, feed by feed.

    Args:
        plant: the plant.
        supplies: that will be let in, or in whose place a bench supply will stand.
    """
    made: list[Part] = []
    for feed in dict.fromkeys(plant.supplies[name].feed for name in supplies):
        names = breakers_of(plant, [name for name in supplies if plant.supplies[name].feed == feed])
        text = f"Go to every breaker of feed {feed}, those of other bays too, and look: open, closed or locked off?"
        made.append(Look(title=f"How the breakers of feed {feed} stand", text=text, breakers=names))
    return made


def nothing_beside(plant: Plant, supplies: Collection[str], own: Collection[str]) -> list[Part]:
    """All breakers beside must be open before anything is brought up; nobody is asked where they are known to be.

    Args:
        plant: the plant.
        supplies: that will be let in.
        own: breakers of what is to be powered.
    """
    beside = [name for name in breakers_of(plant, supplies) if name not in own]
    if not beside:
        return []
    text = "What is closed here would be fed too. Open it and lock it off, with whoever is in charge of it; look again."
    return [Look(title="Nothing beside is fed", text=text, breakers=beside, expect=["open", "locked off"])]


def gate(shelf: str) -> Part:
    """What the records must have proven of a shelf before it is brought up.

    Args:
        shelf: its name.
    """
    text = "Prove first what is missing. Going on without it wants a reason; it is kept with your name."
    return Gate(title=f"What the records have proven for {shelf}", text=text, shelf=shelf)
