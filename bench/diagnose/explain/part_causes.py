"""Parts of connectors whose wires were landed in another order, as hands do it: a search among wires that are not home.

For each wire that was found at another contact than its own, the step from the one to the other is known. Runs of wires
with the same step, with steps there and back, or with steps that mirror a run, and whole connectors that follow another
count are candidates; each is weighed by the wires that it puts right against the bits that it takes to say. What
remains is left to :mod:`bench.diagnose.explain.wire_causes`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import pairwise
from math import log2

import msgspec
from msgspec.structs import replace

from bench.diagnose.explain.causes import Order, Relanded, bits
from bench.diagnose.explain.forward import NOWHERE, Seat, meets
from bench.diagnose.explain.pin_map import Index, Side
from bench.diagnose.explain.seen import OFF, UNTESTED, Seen
from bench.diagnose.explain.wire_causes import Seating

_FEWEST = 3
"""Fewest wires that are told as a part of a connector."""
_DISORDER = 6
"""Fewest wires that are told as landed in no order."""


class _Found(msgspec.Struct, frozen=True):
    """The wires of one connector: by place where each belongs, and where it was found.

    Attributes:
        wire: by contact; contacts with several wires or none are left out.
        at: contact to the contact where its wire was found; NOWHERE for a wire that leads nowhere.
    """

    connector: int
    side: Side
    wire: dict[int, int]
    at: dict[int, int]


class Parts:
    """The search for one map; `of` gives the causes for one seating of the plugs, and the seating under them."""

    def __init__(self, index: Index, seen: Seen) -> None:
        self.index = index
        self.seen = seen
        self.gain = log2(max(2, len(index.wires))) + 0.75
        self.sound = seen.sound(index)
        self._costs: dict[Relanded, float] = {}
        self._back: dict[tuple[int, Seat], dict[int, int]] = {}

    def of(self, seating: Seating, only: Iterable[int] | None = None) -> tuple[list[Relanded], Seating]:
        """Parts that save bits, the best first, each on top of the ones before it.

        Args:
            seating: how the plugs sit.
            only: connectors to look at; by default all with several wires that are not at home.
        """
        chosen: list[Relanded] = []
        index = self.index
        for connector in self.troubled(seating) if only is None else only:
            while True:
                best: tuple[float, Relanded] | None = None
                for part in self._candidates(connector, seating):
                    saved = self._saved(part, seating)
                    if saved > 0 and (best is None or saved > best[0] + 1e-9):
                        best = saved, part
                if best is None:
                    break
                chosen.append(best[1])
                seating = landed(index, seating, best[1])
        return chosen, seating

    def cost(self, part: Relanded) -> float:
        """Bits of a part, worked out once."""
        if part not in self._costs:
            self._costs[part] = bits(part, self.index)
        return self._costs[part]

    # Where wires are.

    def _away(self, seating: Seating, wire: int) -> bool:
        label = self.seen.padded
        a, b = label[seating.near[wire]], label[seating.far[wire]]
        if a == b or UNTESTED in (a, b):
            return False
        return a < 0 or b < 0 or self.seen.clash(a, b)

    def worthwhile(self, seating: Seating, among: Collection[int]) -> Iterator[Relanded]:
        """Every part that saves bits at some connectors.

        Args:
            seating: how the plugs sit, and where wires were landed before.
            among: the connectors.
        """
        for connector in self.troubled(seating, among):
            for part in self._candidates(connector, seating):
                if self._saved(part, seating) > 0:
                    yield part

    def troubled(self, seating: Seating, among: Collection[int] | None = None) -> list[int]:
        """Connectors with several wires that were found elsewhere, far ones first.

        Args:
            seating: how the plugs sit.
            among: the connectors to look at; all of them by default.
        """
        index, label, size = self.index, self.seen.padded, self.seen.size
        count = [0] * len(index.connectors)
        for wire, (a, b) in enumerate(zip(seating.near, seating.far, strict=True)):
            if label[a] != label[b] and self._away(seating, wire):
                led = max(size.get(label[a], 0), size.get(label[b], 0)) > 1
                for contact in (seating.near_contact[wire], seating.far_contact[wire]):
                    if contact >= 0 and led:
                        count[index.home[contact]] += 1
        split = index.near_connectors
        order = [*range(split, len(count)), *range(split)]
        return [number for number in order if count[number] >= _FEWEST and (among is None or number in among)]

    def _found(self, connector: int, seating: Seating) -> _Found:
        index, seen = self.index, self.seen
        far = connector >= index.near_connectors
        mine, other = (seating.far_contact, seating.near) if far else (seating.near_contact, seating.far)
        partners = seen.far if far else seen.near
        wire_at: dict[int, list[int]] = {}
        for wire in index.fed[connector]:
            contact = mine[wire]
            if contact >= 0 and index.home[contact] == connector:
                wire_at.setdefault(contact, []).append(wire)
        at: dict[int, int] = {}
        wire_of: dict[int, int] = {}
        label = seen.padded
        met = meets(index, seating.seats[connector], connector)
        for contact, wires in wire_at.items():
            if len(wires) > 1:
                continue
            wire = wire_of[contact] = wires[0]
            group = label[other[wire]]
            if group < 0:
                continue
            pins = partners[group]
            own = met[contact]
            if own >= 0 and label[own] == group:
                at[contact] = contact
            elif len(pins) == 1:
                at[contact] = self._meets(seating, pins[0])
            elif not pins:
                at[contact] = NOWHERE
        return _Found(connector, "far" if far else "near", wire_of, at)

    def _meets(self, seating: Seating, pin: int) -> int:
        home = self.index.home[pin]
        if seating.seats[home] == Seat(home):
            return pin
        for plug, seat in enumerate(seating.seats):
            if seat.socket == home:
                back = self._back.get((plug, seat))
                if back is None:
                    met = meets(self.index, seat, plug)
                    back = self._back[plug, seat] = {spot: contact for contact, spot in met.items()}
                if pin in back:
                    return back[pin]
        return NOWHERE

    # What it saves.

    def _saved(self, part: Relanded, seating: Seating) -> float:
        cost = self.cost(part)
        if len(part.conductors) * self.gain <= cost:
            return 0.0
        far = part.end == "far"
        own = self.index.far if far else self.index.near
        number, wires = self.index.number, self.index.wire_number
        for name, to in zip(part.conductors, part.onto, strict=True):
            if (wire := wires[name]) in self.sound and (to is None or number[to] != own[wire]):
                return 0.0  # no part is said to hold a good wire that another cause would have to bring back
        right = 0
        for wire, _, pin in lands(self.index, seating, part):
            near_pin, far_pin = seating.near[wire], seating.far[wire]
            right -= self._right(near_pin, far_pin)
            right += self._right(near_pin, pin) if far else self._right(pin, far_pin)
        return right * self.gain - cost

    def _right(self, near: int, far: int) -> bool:
        label, size = self.seen.padded, self.seen.size
        start, end = label[near], label[far]
        return (
            start in (end, UNTESTED)
            or end == UNTESTED
            or (start == OFF and size[end] == 1)
            or (end == OFF and size[start] == 1)
            or (OFF not in (start, end) and not self.seen.clash(start, end))
        )

    # Candidates.

    def _candidates(self, connector: int, seating: Seating) -> Iterator[Relanded]:
        found = self._found(connector, seating)
        moved = {contact: to for contact, to in found.at.items() if to not in (contact, NOWHERE)}
        if len(moved) < 2:
            return
        yield from self._runs(found, moved)
        yield from self._mirrored(found, moved)
        yield from self._neighbours(found, moved)
        yield from self.counted(found.connector, found.side, found.wire)
        yield from self._no_order(found, moved)

    def _part(self, order: Order, found: _Found, onto: dict[int, int]) -> Relanded | None:
        """A part of wires that are there, by contact and the contact that each sits on."""
        index = self.index
        kept = {contact: to for contact, to in sorted(onto.items()) if contact in found.wire}
        if len(kept) < _FEWEST:
            return None
        return Relanded(
            order,
            tuple(index.names[found.wire[contact]] for contact in kept),
            tuple(None if to == NOWHERE else index.pins[to] for to in kept.values()),
            found.side,
        )

    def _runs(self, found: _Found, moved: dict[int, int]) -> Iterator[Relanded]:
        """Runs of wires a fixed step away, alone or with the run that sits in their place."""
        index = self.index
        order = index.order[found.connector]
        steps: dict[tuple[int, int], list[int]] = {}
        for contact, to in moved.items():
            steps.setdefault((index.home[to], index.place[to] - index.place[contact]), []).append(index.place[contact])
        for (home, step), places in steps.items():
            if len(places) < 2:
                continue
            for first, last in _spans(sorted(places), found, order, home == found.connector and bool(step)):
                yield from self._run(found, home, step, first, last)

    def _run(self, found: _Found, home: int, step: int, first: int, last: int) -> Iterator[Relanded]:
        index = self.index
        order, there = index.order[found.connector], index.order[home]
        length = last - first + 1
        inside = range(first, last + 1)
        if home == found.connector:
            onto = {order[at]: order[at + step] if 0 <= at + step < len(order) else NOWHERE for at in inside}
            if (part := self._part("moved along", found, onto)) is not None:
                yield part
            # from here on, to the end of the connector
            for reach in (range(first, len(order)), range(last + 1)):
                onto = {order[at]: order[at + step] if 0 <= at + step < len(order) else NOWHERE for at in reach}
                if (part := self._part("moved along", found, onto)) is not None:
                    yield part
            # what should have made room, or had no room left, leads nowhere
            beyond = (
                range(last + 1, min(len(order), last + 1 + step)) if step > 0 else range(max(0, first + step), first)
            )
            if all(found.at.get(order[at]) == NOWHERE for at in beyond):
                onto = {order[at]: order[at + step] for at in inside if 0 <= at + step < len(order)}
                onto |= {order[at]: NOWHERE for at in (*beyond, *inside) if order[at] not in onto}
                if (part := self._part("moved along", found, onto)) is not None:
                    yield part
            # the wire that had to make room sits at the other end
            round_first, round_last = (first, last + step) if step > 0 else (first + step, last)
            if round_first >= 0 and round_last < len(order) and abs(step) < length:
                count = round_last - round_first + 1
                onto = {
                    order[at]: order[round_first + (at - round_first + step) % count]
                    for at in range(round_first, round_last + 1)
                }
                if (part := self._part("moved along", found, onto)) is not None:
                    yield part
        if home != found.connector or abs(step) >= length:
            onto = {}
            other = range(first + step, last + step + 1)
            if other.start < 0 or other.stop > len(there):
                return
            for at, to in zip(inside, other, strict=True):
                onto[order[at]] = there[to]
                onto[there[to]] = order[at]
            yield from self._exchange(found, onto)

    def _exchange(self, found: _Found, onto: dict[int, int]) -> Iterator[Relanded]:
        """Two runs that sit in each other's place; those of the other connector are found there."""
        index = self.index
        contacts = index.far if found.side == "far" else index.near
        wires: dict[int, int] = {}
        for connector in {index.home[contact] for contact in onto}:
            for wire in index.fed[connector]:
                if contacts[wire] in onto:
                    wires[contacts[wire]] = wire
        both = replace(found, wire=wires)
        if sum(contact in wires for contact in onto) < 2 * _FEWEST:
            return
        if (part := self._part("exchanged", both, onto)) is not None:
            yield part

    def _mirrored(self, found: _Found, moved: dict[int, int]) -> Iterator[Relanded]:
        index = self.index
        order = index.order[found.connector]
        sums: dict[int, list[int]] = {}
        for contact, to in moved.items():
            if index.home[to] == found.connector:
                sums.setdefault(index.place[contact] + index.place[to], []).append(index.place[contact])
        for total, places in sums.items():
            if len(places) < _FEWEST:
                continue
            # the widest, and each within it: two wires around them may be exchanged by themselves
            for first in sorted({min(at, total - at) for at in places}):
                last = total - first
                if first < 0 or last >= len(order):
                    continue
                onto = {order[at]: order[total - at] for at in range(first, last + 1)}
                if (part := self._part("end for end", found, onto)) is not None:
                    yield part

    def _neighbours(self, found: _Found, moved: dict[int, int]) -> Iterator[Relanded]:
        index = self.index
        order = index.order[found.connector]
        for parity in (0, 1):
            pairs = [
                at
                for at in range(parity, len(order) - 1, 2)
                if moved.get(order[at]) == order[at + 1] or moved.get(order[at + 1]) == order[at]
            ]
            if len(pairs) < 2:
                continue
            spans = [(pairs[0], pairs[-1])]
            # runs of them, where others lie between
            begin = 0
            for at in range(1, len(pairs) + 1):
                if at == len(pairs) or pairs[at] != pairs[at - 1] + 2:
                    if at - begin > 1:
                        spans.append((pairs[begin], pairs[at - 1]))
                    begin = at
            if parity == 0 or len(order) % 2:
                spans.append((parity, len(order) - 2 - (len(order) - parity) % 2))
            for start, end in spans:
                onto = {}
                for at in range(start, end + 1, 2):
                    onto[order[at]], onto[order[at + 1]] = order[at + 1], order[at]
                if (part := self._part("neighbours", found, onto)) is not None:
                    yield part

    def counted(self, connector: int, side: Side, wire: dict[int, int]) -> Iterator[Relanded]:
        """The whole connector by another count: across its rows, or by the pins of the other end.

        Args:
            connector: its number.
            side: that it is on.
            wire: by contact.
        """
        index = self.index
        found = _Found(connector, side, wire, {})
        order = index.order[connector]
        rows, columns = index.shape[connector]
        if rows > 1 and columns > 1:
            across = sorted(order, key=lambda pin: (index.column[pin], index.row[pin]))
            for onto in (dict(zip(order, across, strict=True)), dict(zip(across, order, strict=True))):
                if (part := self._part("counted across", found, onto)) is not None:
                    yield part
        by_name = {index.pins[pin].name: pin for pin in order}
        contacts = index.near if side == "far" else index.far
        onto = {}
        for contact, number in wire.items():
            to = by_name.get(index.pins[contacts[number]].name, NOWHERE)
            onto[contact] = to
        if any(contact != to for contact, to in onto.items()):
            placed = [to for to in onto.values() if to != NOWHERE]
            part = self._part("other list", found, onto)
            if part is not None and len(placed) == len(set(placed)) == len(onto):
                yield part

    def _no_order(self, found: _Found, moved: dict[int, int]) -> Iterator[Relanded]:
        here = {c: to for c, to in moved.items() if self.index.home[to] == found.connector}
        if len(here) < _DISORDER or 2 * len(here) < len(found.wire):
            return
        if (part := self._part("no order", found, dict(sorted(here.items())))) is not None:
            yield part


def _spans(places: Sequence[int], found: _Found, order: Sequence[int], bridging: bool) -> Iterator[tuple[int, int]]:
    """Runs of places one after the other, dead or empty ones between them passed over; and the widest of them all."""
    runs: list[list[int]] = [[places[0]]]
    for before, here in pairwise(places):
        between = [order[at] for at in range(before + 1, here)]
        if all(contact not in found.at or found.at[contact] == NOWHERE for contact in between):
            runs[-1].append(here)
        else:
            runs.append([here])
    for run in runs:
        if len(run) > 1:
            yield run[0], run[-1]
    if bridging and len(runs) > 1:
        yield places[0], places[-1]


def lands(index: Index, seating: Seating, part: Relanded) -> Iterator[tuple[int, int, int]]:
    """Each wire of a part, with the contact that it sits on and the socket pin that this meets."""
    met: dict[int, dict[int, int]] = {}
    for name, to in zip(part.conductors, part.onto, strict=True):
        if to is None:
            yield index.wire_number[name], NOWHERE, NOWHERE
            continue
        contact = index.number[to]
        home = index.home[contact]
        seat = seating.seats[home]
        if home not in met:
            met[home] = meets(index, seat, home)
        yield index.wire_number[name], contact, met[home][contact]


def landed(index: Index, seating: Seating, part: Relanded) -> Seating:
    """The seating with the wires of a part on the contacts that they sit on."""
    far = part.end == "far"
    contacts = list(seating.far_contact if far else seating.near_contact)
    pins = list(seating.far if far else seating.near)
    for wire, contact, pin in lands(index, seating, part):
        contacts[wire], pins[wire] = contact, pin
    if far:
        return replace(seating, far_contact=contacts, far=pins)
    return replace(seating, near_contact=contacts, near=pins)
