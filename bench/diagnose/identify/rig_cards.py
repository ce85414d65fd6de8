"""What is clipped where, as a card for each end: what a person joins or tags at the places that are in reach there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from bench.plant.model import Plant
from bench.quantity import engineering
from bench.sequence.file import Rig


class Row(msgspec.Struct, frozen=True):
    """One thing to clip on: ends in their order, with a tag between the last two, or joined.

    Attributes:
        places: as they are called at that end.
        ohms: of the tag; None for ends that are joined, 0 for a plain lead.
    """

    places: tuple[str, ...]
    ohms: float | None = None

    def __str__(self) -> str:
        if self.ohms is None:
            return "join " + " + ".join(self.places)
        if self.ohms == 0:
            return f"{self.places[0]} straight to {self.places[1]}"
        return f"{self.places[0]}: tag {engineering(self.ohms, 'Ω', digits=4)} to {self.places[1]}"


class EndCard(msgspec.Struct, frozen=True):
    """What one end looks like when all is done.

    Attributes:
        title: which end, and where.
        rows: what is on it; without any, every wire lies free.
    """

    title: str
    rows: tuple[Row, ...]

    def lines(self) -> list[str]:
        """The card as text."""
        return [self.title, *(f"  {row}" for row in self.rows)] if self.rows else [f"{self.title}: every wire free"]


def where_of(plant: Plant, place: str) -> str:
    """The heading that a place belongs under: its connector, or its cable's end; empty for a floating point."""
    terminal = plant.terminals.get(place) or plant.flags.get(place)
    if terminal is None:
        return ""
    if terminal.kind == "end":
        side = "near" if terminal.pin.startswith("near") or terminal.pin.endswith("near") else "far"
        return f"{terminal.owner}, {side} end"
    connector = plant.connectors.get(terminal.owner)
    return terminal.owner if connector is None else f"{connector.name}, bay {connector.bay}, shelf {connector.shelf}"


def called(plant: Plant, place: str) -> str:
    """What a place is called where one stands before it: ``flag 7``, ``J523.13``."""
    flag = plant.flags.get(place)
    return f"flag {flag.pin.partition('/')[2]}" if flag is not None else place


def cards_of(plant: Plant, rig: Rig, always: Iterable[str] = ()) -> list[EndCard]:
    """A card for each place where something is clipped on.

    Args:
        plant: the plant.
        rig: all that is clipped on.
        always: headings that get a card although nothing is on there.
    """
    found: dict[str, list[Row]] = {heading: [] for heading in always}

    def put(places: Sequence[str], ohms: float | None) -> None:
        heading = next((where for where in (where_of(plant, place) for place in places) if where), "")
        row = Row(tuple(called(plant, place) for place in places), ohms)
        found.setdefault(heading, []).append(row)

    for group in rig.join:
        put(group, None)
    for tag in rig.tags:
        put((tag.place, tag.to), tag.ohms.value)
    return [EndCard(heading, tuple(rows)) for heading, rows in found.items()]


def headings(plant: Plant, places: Iterable[str]) -> tuple[str, ...]:
    """The headings of some places, each once, in order."""
    return tuple(dict.fromkeys(where for where in (where_of(plant, place) for place in places) if where))
