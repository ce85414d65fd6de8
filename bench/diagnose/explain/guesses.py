"""What may have become of wires that do not get through, before anybody looked: big mistakes, with what each predicts.

A guess is one cause with the far pin that it brings each near pin to. :mod:`bench.diagnose.explain.reveal` weighs them
against what is read, and asks for the reading that tells most of them apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.explain.causes import (
    CableTurned,
    Cause,
    ConnectorsExchanged,
    Mirrored,
    Order,
    PartOpen,
    Relanded,
    Shifted,
    Unplugged,
    bits,
)
from bench.diagnose.explain.forward import NOWHERE, land
from bench.diagnose.explain.part_causes import Parts
from bench.diagnose.explain.pin_map import Index, Pin
from bench.diagnose.explain.seen import Seen

_FARTHEST = 3
"""Most places that a plug is guessed to sit off (common practice, no source)."""
_FEWEST = 2
"""A connector with fewer wires that do not get through gives no guesses of its own."""


class Guess(msgspec.Struct, frozen=True):
    """One cause, and where it brings the wires.

    Attributes:
        cause: the cause.
        bits: what it costs to name.
        partner: near pin to far pin, by number; a near pin that leads nowhere is left out.
    """

    cause: Cause
    bits: float
    partner: dict[int, int]


def guesses(index: Index, seen: Seen, troubled: Sequence[int]) -> list[Guess]:
    """Big mistakes that may be behind wires that do not get through, the likeliest first.

    Args:
        index: of the design.
        seen: what was measured.
        troubled: numbers of the wires that do not get through.
    """
    found: list[Guess] = []
    known: set[tuple[tuple[int, int], ...]] = set()
    for cause in _causes(index, seen, troubled):
        try:
            landing = land(index, [cause])
        except DiagnoseError:
            continue
        partner = {
            near: far
            for wire, (near, far) in enumerate(zip(landing.near, landing.far, strict=True))
            if near != NOWHERE and far != NOWHERE and wire not in landing.cut
        }
        key = tuple(sorted(partner.items()))
        if key not in known:
            known.add(key)
            found.append(Guess(cause, bits(cause, index), partner))
    return sorted(found, key=lambda guess: guess.bits)


def _causes(index: Index, seen: Seen, troubled: Sequence[int]) -> Iterator[Cause]:
    split = index.near_connectors
    at: dict[int, list[int]] = {}
    for wire in troubled:
        for contact in (index.far[wire], index.near[wire]):
            at.setdefault(index.home[contact], []).append(contact)
    hurt = sorted((c for c, contacts in at.items() if len(contacts) >= _FEWEST), key=lambda c: (c < split, c))
    parts = Parts(index, seen)
    for connector in hurt:
        name = index.connectors[connector].name
        yield Unplugged(name)
        yield from _seats(index, connector)
        yield from _orders(index, parts, connector, sorted(set(at[connector]), key=index.place.__getitem__))
        dead = [wire for wire in troubled if connector in (index.home[index.far[wire]], index.home[index.near[wire]])]
        yield PartOpen(name, tuple(index.names[wire] for wire in dead))
    for one in hurt:
        for other in hurt:
            if one < other and (one < split) == (other < split):
                if index.connectors[one].layout.grid == index.connectors[other].layout.grid:
                    yield ConnectorsExchanged((index.connectors[one].name, index.connectors[other].name))
                runs = [sorted(set(at[c]), key=index.place.__getitem__) for c in (one, other)]
                if len(runs[0]) == len(runs[1]) > _FEWEST:
                    onto = dict(zip(runs[0], runs[1], strict=True)) | dict(zip(runs[1], runs[0], strict=True))
                    yield from _relanded(index, "exchanged", onto)
    for cable in {index.wires[wire].cable for wire in troubled} - {None}:
        assert cable is not None
        yield CableTurned(cable)


def _seats(index: Index, connector: int) -> Iterator[Cause]:
    name = index.connectors[connector].name
    rows, columns = index.shape[connector]
    if columns > 1:
        yield Mirrored(name, "ends")
    if rows > 1:
        yield Mirrored(name, "rows")
        if columns > 1:
            yield Mirrored(name, "both")
    for by in range(1, _FARTHEST + 1):
        for way in (by, -by):
            yield Shifted(name, way, "row")
            if rows > 1 and columns > 1:
                yield Shifted(name, way, "count")
            if by == 1 and rows > 1:
                yield Shifted(name, way, "rows")


def _orders(index: Index, parts: Parts, connector: int, hurt: Sequence[int]) -> Iterator[Cause]:
    """Other orders of a connector's wires: of all of it, of its rows and halves, and of what does not get through."""
    order = index.order[connector]
    first, last = index.place[hurt[0]], index.place[hurt[-1]]
    whole = range(len(order))
    spans = {whole, *index.lines[connector], range(first, last + 1), range(first, len(order)), range(last + 1)}
    for span in sorted(spans, key=lambda one: (one.start, one.stop)):
        if len(span) <= _FEWEST:
            continue
        for by in (1, -1):
            onto = {order[at]: order[at + by] if at + by in span else NOWHERE for at in span}
            yield from _relanded(index, "moved along", onto)
            around = {order[at]: order[span.start + (at - span.start + by) % len(span)] for at in span}
            yield from _relanded(index, "moved along", around)
        yield from _relanded(index, "end for end", {order[at]: order[span.stop - 1 - at + span.start] for at in span})
        even = [at for at in span if (at - span.start) // 2 * 2 + 1 < len(span)]
        yield from _relanded(
            index, "neighbours", {order[at]: order[at + 1 if (at - span.start) % 2 == 0 else at - 1] for at in even}
        )
        half = len(span) // 2
        if half > _FEWEST:
            onto = {}
            for at in span[:half]:
                onto[order[at]], onto[order[at + len(span) - half]] = order[at + len(span) - half], order[at]
            yield from _relanded(index, "exchanged", onto)
    far = connector >= index.near_connectors
    contacts = index.far if far else index.near
    wire = {contacts[number]: number for number in index.fed[connector]}
    yield from parts.counted(connector, "far" if far else "near", wire)


def _relanded(index: Index, order: Order, onto: dict[int, int]) -> Iterable[Cause]:
    far = next(iter(onto)) >= index.near_pins
    contacts = index.far if far else index.near
    wires: dict[int, int] = {}
    for connector in {index.home[contact] for contact in onto}:
        for wire in index.fed[connector]:
            wires[contacts[wire]] = wire
    kept = [contact for contact in sorted(onto) if contact in wires]
    sits: list[Pin | None] = [None if onto[contact] == NOWHERE else index.pins[onto[contact]] for contact in kept]
    if len(kept) > _FEWEST and any(sits):
        names = tuple(index.names[wires[contact]] for contact in kept)
        yield Relanded(order, names, tuple(sits), "far" if far else "near")
