"""Which place is like which: a few readings between pins of a connector on a shelf, held against those of other places.

Straps, terminations and supply pins differ from one family of sockets and cards to the next, and twins have the same. A
reading is joined, open, or some ohms. Of two places of one family a reading agrees as a rule; a card that is out, a
fuse that is gone or a slip of the probe makes one differ, so no single reading decides. Only dead things are read: a
place that was not proved dead has no readings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import inf, isclose, log2
from typing import Final

import msgspec

from bench.plant.finds import FreePlace, PinRead

JOINED_OHM: Final = 2.0
"""Below this two pins are one (common practice, no source): leads, contacts and a strap stay under it."""
OPEN_OHM: Final = 5e6
"""Above this a reading is as good as open: what a hand that touches both tips reads."""
_ALIKE: Final = 0.15
"""Two readings in ohms within this part of each other are the same."""
AGREES: Final = 0.93
"""Chance that a reading agrees between two sound places of one family; an assumption."""
_BY_CHANCE: Final = {"joined": 0.1, "open": 0.7, "ohms": 0.05}
"""Chance that a reading agrees between places that have nothing to do with each other; an assumption."""
_STRANGER: Final = 1.0
"""Weight of a place being of no family that is known, against each of the others."""

Pins = tuple[str, str]
Read = Mapping[Pins, float]
"""Two pins, the lesser name first, to ohms; infinite where nothing was read."""


class Likeness(msgspec.Struct, frozen=True):
    """How alike two places are.

    Attributes:
        other: the other place; empty for none of them.
        chance: that this place is of its family.
        agree: pins that read alike at both.
        differ: pins that do not.
    """

    other: str
    chance: float
    agree: tuple[Pins, ...] = ()
    differ: tuple[Pins, ...] = ()


def readings_of(reads: Sequence[PinRead]) -> dict[Pins, float]:
    """Readings by pins, whichever probe was where; the newest of each counts."""
    found: dict[Pins, float] = {}
    for read in reads:
        low, high = sorted((read.first, read.second))
        found[low, high] = inf if read.ohms is None else read.ohms
    return found


def kind_of_reading(ohms: float) -> str:
    """``joined``, ``open`` or ``ohms``."""
    return "joined" if ohms < JOINED_OHM else "open" if ohms > OPEN_OHM else "ohms"


def alike(one: float, other: float) -> bool:
    """Whether two readings say the same."""
    kind = kind_of_reading(one)
    return kind == kind_of_reading(other) and (kind != "ohms" or isclose(one, other, rel_tol=_ALIKE))


def likenesses(place: FreePlace, others: Sequence[FreePlace]) -> tuple[Likeness, ...]:
    """The places whose family this one may be of, the likeliest first, and none of them.

    Args:
        place: with readings.
        others: those it is held against; of another connector, or without a reading in common, they are left out.
    """
    own = readings_of(place.reads)
    weights: list[tuple[float, Likeness]] = [(_STRANGER, Likeness("", 0.0))]
    for other in others:
        if other.name == place.name or (place.connector and other.connector and other.connector != place.connector):
            continue
        theirs = readings_of(other.reads)
        both = sorted(own.keys() & theirs.keys())
        if not both:
            continue
        weight = 1.0
        for pins in both:
            by_chance = _BY_CHANCE[kind_of_reading(theirs[pins])]
            weight *= AGREES / by_chance if alike(own[pins], theirs[pins]) else (1.0 - AGREES) / (1.0 - by_chance)
        agree = tuple(pins for pins in both if alike(own[pins], theirs[pins]))
        differ = tuple(pins for pins in both if pins not in agree)
        weights.append((weight, Likeness(other.name, 0.0, agree, differ)))
    whole = sum(weight for weight, _ in weights)
    found = [Likeness(one.other, weight / whole, one.agree, one.differ) for weight, one in weights]
    return tuple(sorted(found, key=_less_likely))


def _less_likely(one: Likeness) -> tuple[float, str]:
    return -one.chance, one.other


def next_pins(place: FreePlace, others: Sequence[FreePlace], most: int = 3) -> tuple[tuple[Pins, float], ...]:
    """Pins that were read elsewhere and not here, and the bits that reading them would tell between the families.

    Args:
        place: with readings or without.
        others: the places that it may be like.
        most: pairs of pins at most.
    """
    own = readings_of(place.reads)
    rivals = [
        other for other in others if other.name != place.name and other.connector == place.connector and other.reads
    ]
    chances = {one.other: one.chance for one in likenesses(place, rivals)}
    weight = {other.name: chances.get(other.name, 1.0 / len(rivals)) for other in rivals}
    found = []
    for pins in sorted({pins for other in rivals for pins in readings_of(other.reads)} - own.keys()):
        shares: list[tuple[float, float]] = []
        for other in rivals:
            ohms = readings_of(other.reads).get(pins)
            if ohms is None:
                continue
            at = next((number for number, (value, _) in enumerate(shares) if alike(value, ohms)), None)
            if at is None:
                shares.append((ohms, weight[other.name]))
            else:
                shares[at] = shares[at][0], shares[at][1] + weight[other.name]
        whole = sum(share for _, share in shares)
        bits = -sum(share / whole * log2(share / whole) for _, share in shares if share > 0) * min(1.0, whole)
        if bits > 0.01:
            found.append((pins, bits))
    return tuple(sorted(found, key=_tells_less)[:most])


def _tells_less(pair: tuple[Pins, float]) -> tuple[float, Pins]:
    return -pair[1], pair[0]
