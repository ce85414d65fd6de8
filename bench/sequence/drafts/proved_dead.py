"""Proves a plant dead at every point that hands will touch, before they do.

A typed word proves nothing, and a reading between feed and return alone misses a feed that is crossed or has lost its
earth: it shows to the frame only. So every point is read in all pairs of what meets there: feed, return and frame, and
with two feeds at a shelf each against the other (five places, ten pairs; fewer where returns share a bar). The meter is
proven on a known source before and after; where it fails after, nothing in between counts. The same order is asked of
two-pole indicators in EN 50110-1 and HSG85 as they are taught; it defers to local codes and to the person in charge.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations
from typing import Final

import msgspec

from bench.plant.model import NoPath, Plant
from bench.plant.things import Inlet
from bench.sequence.drafts.parts import Part, by_hand, unique
from bench.sequence.file import Do, Measure, Prove
from bench.sequence.power_tree import DEAD_V

DEAD_VOLTS: Final = by_hand(
    "common practice, no source: what is dead reads nothing", at_least=f"{-DEAD_V:g} V", at_most=f"{DEAD_V:g} V"
)


class _Place(msgspec.Struct, frozen=True):
    """Somewhere a probe goes at a point: its name, its electrical node, and whether it is the frame."""

    name: str
    node: str
    frame: bool = False


def proved_dead(plant: Plant, inlets: Sequence[Inlet], why: str = "") -> list[Part]:
    """The meter is proven, every point of these inlets' ways is read in all pairs, and the meter is proven again.

    Args:
        plant: the plant.
        inlets: whose shelves and ways will be handled.
        why: what the readings are for, said with the first proof; may be empty.
    """
    return between_proofs(plant, way_readings(plant, inlets), why)


def way_readings(plant: Plant, inlets: Sequence[Inlet]) -> list[Part]:
    """Every point of these inlets' ways in all pairs.

    Args:
        plant: the plant.
        inlets: whose shelves and ways will be handled.
    """
    made: list[Part] = []
    lost = [bay for bay in unique(plant.shelves[inlet.shelf].bay for inlet in inlets) if _frame(plant, bay) is None]
    for bay in lost:
        made.append(
            Do(
                title=f"Read to the frame of {bay} too",
                text=f"The plant file names no earth point at {bay}, so the readings below leave its frame out. Read "
                "each point against bare metal of the frame as well; go on only if all of it reads nothing.",
            )
        )
    shelves = unique(inlet.shelf for inlet in inlets)
    return [*made, *point_readings(plant, _on_the_way(plant, inlets), shelves)]


def fed_readings(plant: Plant, shelves: Sequence[str]) -> list[Measure]:
    """Whether any feed is at the inlets of shelves where only signal wires are handled.

    Each feed is read to its own return, to the frame and to the other feed: three for each of two feeds, one of them
    for both. Returns are not read apart, since nobody touches them.

    Args:
        plant: the plant.
        shelves: of it.
    """
    lives = {inlet.live.name for name in shelves for inlet in plant.shelves[name].inlets}
    owns = {frozenset((inlet.live.name, inlet.back.name)) for name in shelves for inlet in plant.shelves[name].inlets}
    frames = set(plant.earth_points)

    def asked(step: Measure) -> bool:
        places = set(step.between)
        return places in owns or (bool(places & lives) and (places <= lives or bool(places & frames)))

    return [step for step in point_readings(plant, [], shelves) if asked(step)]


def between_proofs(plant: Plant, readings: Sequence[Part], why: str = "") -> list[Part]:
    """Readings between two proofs of the meter on a known source.

    Args:
        plant: the plant.
        readings: that count only where the meter is proven after them too.
        why: what they are for, said with the first proof; may be empty.
    """
    text = (
        "Put the probes on a proving unit or another known source of direct voltage near the plant's own, and leave "
        "the meter on that range. It must show it. An indicator's lamp for dangerous voltage stays dark on this plant "
        "by design: go by its lowest step, or by a meter."
    )
    return [
        Prove(
            title="The meter shows a known source, before",
            against="live-source",
            read="voltage",
            text=f"{why} {text}".strip(),
        ),
        *readings,
        Prove(
            title="The meter shows a known source, after",
            against="live-source",
            read="voltage",
            text="Put the probes on the same known source again. If the meter does not show it now, none of the "
            "readings since the first proof counts.",
        ),
    ]


def stands_on(plant: Plant, inlets: Iterable[Inlet]) -> list[str]:
    """All names that the readings are about: where one of them does not pass, nothing may be touched there.

    Args:
        plant: the plant.
        inlets: as for :func:`proved_dead`.
    """
    every = list(inlets)
    shelves = unique(inlet.shelf for inlet in every)
    return [*shelves, *(inlet.name for inlet in every), *_on_the_way(plant, every)]


def points_of(plant: Plant, inlets: Iterable[Inlet]) -> list[str]:
    """The same without the shelves: what was read, and not what is held up for one shelf alone.

    Args:
        plant: the plant.
        inlets: as for :func:`proved_dead`.
    """
    return [name for name in stands_on(plant, inlets) if name not in plant.shelves]


def _on_the_way(plant: Plant, inlets: Iterable[Inlet]) -> list[str]:
    names: list[str] = []
    for inlet in inlets:
        try:
            path = plant.supply_path(inlet.shelf, inlet.feed)
        except NoPath:
            continue
        names += [path.supply] if path.supply in plant.supplies else []
        names += path.breakers
    return unique(names)


def point_readings(plant: Plant, names: Sequence[str], shelves: Sequence[str]) -> list[Measure]:
    """Every point of some supplies and breakers, both sides of each, and of some shelves' inlets, in all pairs.

    Args:
        plant: the plant.
        names: supplies and breakers.
        shelves: whose inlets are read.
    """
    found: list[Measure] = []
    seen: set[frozenset[str]] = set()

    def read(subject: str, where: str, places: Sequence[_Place], hint: str = "") -> None:
        for one, other in combinations(places, 2):
            pair = frozenset((one.node, other.node))
            if len(pair) < 2 or pair in seen:
                continue
            seen.add(pair)
            # the earth probe touches first
            red, black = (other, one) if one.frame else (one, other)
            first = "Black probe on the frame first, on bare metal; then the red one." if black.frame else ""
            text = f"{hint} {first}".strip()
            found.append(
                Measure(
                    title=f"{where} is dead: {red.name} to {black.name}",
                    text=text,
                    read="voltage",
                    between=(red.name, black.name),
                    subject=subject,
                    limit=DEAD_VOLTS,
                )
            )

    for name in names:
        if name in plant.supplies:
            supply = plant.supplies[name]
            ends = [_Place(end.name, end.node) for end in (supply.live, supply.back)]
            hint = f"On the ends of the leads to {name}; its own posts stay live." if supply.kind == "battery" else ""
            read(name, f"supply {name}", [*ends, *_frame_of(plant, supply.at)], hint)
    # bay by bay: nobody walks to and fro
    breakers = [name for name in names if name in plant.breakers]
    bays = unique(_bay(plant, plant.breakers[name].at) for name in breakers)
    for name in sorted(breakers, key=lambda name: bays.index(_bay(plant, plant.breakers[name].at))):
        breaker = plant.breakers[name]
        back = _Place(*return_beside(plant, name))
        for side, end in (("line", breaker.line), ("load", breaker.load)):
            places = [_Place(end.name, end.node), back, *_frame_of(plant, breaker.at)]
            read(name, f"breaker {name}, {side} side,", places)
    for shelf in shelves:
        mine = plant.shelves[shelf].inlets
        places = [_Place(end.name, end.node) for inlet in mine for end in (inlet.live, inlet.back)]
        # about its first inlet: what is wrong at one keeps the whole shelf off
        read(mine[0].name, f"shelf {shelf}", [*places, *_frame_of(plant, shelf)])
    return found


def return_beside(plant: Plant, breaker: str) -> tuple[str, str]:
    """The return that a breaker is read against: the bar in its bay, else the return of its feed; name and node.

    Args:
        plant: the plant.
        breaker: its name.
    """
    one = plant.breakers[breaker]
    bay = _bay(plant, one.at)
    bars = [bar for bar in plant.busbars.values() if bar.pole == "return" and bar.feed in ("", one.feed)]
    here = next((bar.name for bar in bars if _bay(plant, bar.at) == bay), "")
    name = (
        here or plant.feeds[one.feed].back or next(s.back.name for s in plant.supplies.values() if s.feed == one.feed)
    )
    return name, plant.terminal(name).node


def _frame_of(plant: Plant, at: str) -> list[_Place]:
    frame = _frame(plant, _bay(plant, at))
    return [] if frame is None else [frame]


def _frame(plant: Plant, bay: str) -> _Place | None:
    """The frame where a point is: of its bay, else the earth bar, else any frame; None where there is none."""
    inside = [point for point in plant.earth_points.values() if not point.outside and not point.is_return]
    frames = [point for point in inside if point.kind == "frame"]
    here = [point for point in frames if _bay(plant, point.at) == bay]
    chosen = next(iter([*here, *(point for point in inside if point.kind == "bar"), *frames]), None)
    return None if chosen is None else _Place(chosen.name, chosen.node, frame=True)


def _bay(plant: Plant, at: str) -> str:
    return plant.shelves[at].bay if at in plant.shelves else at
