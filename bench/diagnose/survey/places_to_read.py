"""Which places to read a few pins of, and how many bits that tells of the end that belongs there.

A place that reads as one whose end is known wants a cable of the same kind. So what is told is the entropy of who
belongs to the place, less what is left of it on the average over the families that its pins may show. Where places of
its connector were read before, the pins are those that part their families; where none was, one place whose end is
likely is read beside it, by the same pins.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import msgspec
import numpy as np

from bench.diagnose.survey.belief import Answer
from bench.diagnose.survey.fingerprint import AGREES, Pins, alike, likenesses, next_pins, readings_of
from bench.diagnose.survey.matching import Floats
from bench.diagnose.survey.rates import SURE, Costs
from bench.diagnose.survey.weights import Weighing
from bench.plant.finds import FreePlace

_MOST: Final = 6
"""Pairs of pins that are read at one place; each of them is a clip and a look (own choice)."""
_LIKELY: Final = 0.5
"""Chance of its likeliest end from which on a place says what its family wants, before it was read."""
_BESIDE: Final = 4
"""How many places are weighed to be read beside one: those whose ends are likeliest."""
_TELLS_NOTHING: Final = 0.1
"""Bits below which nobody climbs for a place (own choice)."""


class PlaceRead(msgspec.Struct, frozen=True):
    """A place of which a few pins are read.

    Attributes:
        place: its name.
        bay: where it is.
        pins: two by two; none where no place of its kind was read yet, and any that lie apart will do.
        beside: a place that is read by the same pins, as nothing is there to compare with; empty where there is.
        beside_bay: where that is.
        bits: what it tells of the end that belongs there.
        minutes: that it takes.
    """

    place: str
    bay: str
    pins: tuple[Pins, ...]
    bits: float
    minutes: float
    beside: str = ""
    beside_bay: str = ""


def places_to_read(answer: Answer, costs: Costs) -> tuple[PlaceRead, ...]:
    """The places whose reading tells something, with what it takes; the most telling a minute first.

    Args:
        answer: what is believed.
        costs: what acts take.
    """
    places = answer.pile.places
    kinds = [place.connector for place in places]
    if not any(kind and kinds.count(kind) > 1 for kind in set(kinds)):
        return ()
    placed = answer.places_roughly
    weighing = Weighing(answer.pile, answer.rates)
    wanted = [weighing.wanted_like(column) for column in placed.T]
    found = []
    for at, place in enumerate(places):
        column = placed[:, at]
        if max(column.max(initial=0.0), 1.0 - column.sum()) >= SURE:
            continue
        wants = {
            other: wanted[other] for other, kind in enumerate(kinds) if other != at and kind and kind == place.connector
        }
        one = _against_read(place, column, places, wants, costs) or _with_another(at, placed, places, wants, costs)
        if one is not None and one.bits >= _TELLS_NOTHING:
            found.append(one)
    return tuple(sorted(found, key=_tells_less))


def _tells_less(one: PlaceRead) -> tuple[float, str]:
    return -one.bits / one.minutes, one.place


def _against_read(
    place: FreePlace, column: Floats, places: Sequence[FreePlace], wants: dict[int, Floats | None], costs: Costs
) -> PlaceRead | None:
    """A place held against those of its kind that were read; None where their readings part nothing."""
    read = [other for other in wants if places[other].reads]
    pins = tuple(pair for pair, _ in next_pins(place, [places[other] for other in read], _MOST))
    if not pins:
        return None
    known = {one.other: one.chance for one in likenesses(place, [places[other] for other in read])}
    even = 1.0 / (len(read) + 1)
    stranger = known.get("", 0.0) if len(known) > 1 else even
    families: list[tuple[int, list[tuple[float, Floats | None]]]] = []
    for other in read:
        weight = known.get(places[other].name, 0.0) if len(known) > 1 else even
        like = next((kept for first, kept in families if _read_alike(places[first], places[other], pins)), None)
        if like is None:
            families.append((other, like := []))
        like.append((weight, wants[other]))
    bits = _told(column, [*(kept for _, kept in families), [(stranger, None)]])
    return PlaceRead(place.name, place.bay, pins, bits, costs.pins)


def _with_another(
    at: int, placed: Floats, places: Sequence[FreePlace], wants: dict[int, Floats | None], costs: Costs
) -> PlaceRead | None:
    """A place and another one whose end is likely, where none of their kind was read."""
    if places[at].reads or any(places[other].reads for other in wants):
        return None
    surest = [(float(placed[:, other].max(initial=0.0)), other) for other in wants]
    likely = [other for chance, other in sorted(surest, reverse=True)[:_BESIDE] if chance >= _LIKELY]
    best: PlaceRead | None = None
    for other in likely:
        bits = _told(placed[:, at], [[(0.5, wants[other])], [(0.5, None)]])
        if best is None or bits > best.bits:
            beside = places[other]
            best = PlaceRead(places[at].name, places[at].bay, (), bits, 2.0 * costs.pins, beside.name, beside.bay)
    return best


def _read_alike(one: FreePlace, other: FreePlace, pins: Sequence[Pins]) -> bool:
    """Whether two places read the same at some pins, as far as both were read there."""
    first, second = readings_of(one.reads), readings_of(other.reads)
    return all(alike(first[pair], second[pair]) for pair in pins if pair in first and pair in second)


def _told(column: Floats, families: Sequence[Sequence[tuple[float, Floats | None]]]) -> float:
    """Bits that the family of a place tells of its end.

    Args:
        column: chance of each end to belong there.
        families: for each outcome of the readings the weights of what it may be, each with how much likelier it makes
            each end; None for a family of which nothing is known.
    """
    now = np.append(column, max(0.0, 1.0 - float(column.sum())))
    outcomes = []
    for family in families:
        joint = np.zeros_like(now)
        for weight, factor in family:
            joint += weight * now * (1.0 if factor is None else np.append(factor, 1.0))
        outcomes.append(joint)
    whole = sum(float(joint.sum()) for joint in outcomes)
    if whole <= 0.0:
        return 0.0
    left = sum(float(joint.sum()) / whole * _entropy(joint) for joint in outcomes)
    return AGREES * max(0.0, _entropy(np.sum(outcomes, axis=0)) - left)


def _entropy(weights: Floats) -> float:
    """Bits of some weights that need not sum to one."""
    inside = weights[weights > 0]
    if not len(inside):
        return 0.0
    share = inside / inside.sum()
    return float(-(share * np.log2(share)).sum())
