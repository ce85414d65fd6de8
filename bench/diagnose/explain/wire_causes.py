"""What is left of a map once all plugs are placed: causes at single wires.

Think of the measured groups as towns and of every wire as a road from the group of its near pin to
the group of the contact where it belongs. A right wire stays in its town. Wires that changed places
make round trips, and a wire that is open, or landed on top of another, makes a one-way trip. So
the roads are cut into round trips, shortest first, and one-way trips, and each is given a name. What
then still lies in one group in several pieces was joined by somebody.

With exchanges alone this is exact: n wires in c rounds take n - c exchanges, and no fewer do
(Cayley's theorem on products of transpositions). With joins on top a group has many wires, the
rounds can be cut in several ways, and the shortest-first cut is a good one, not always the best.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence

import msgspec

from bench.diagnose.explain.causes import (
    Bridged,
    Cause,
    Moved,
    Open,
    PairReversed,
    PairsExchanged,
    PairsSplit,
    PinsExchanged,
    StrayJoin,
    bits,
)
from bench.diagnose.explain.dead_parts import adrift, together
from bench.diagnose.explain.forward import NOWHERE, Seat, place
from bench.diagnose.explain.pin_map import Index, Pin
from bench.diagnose.explain.seen import OFF, UNTESTED, Seen


class Seating(msgspec.Struct):
    """How all plugs sit, and where that puts the wires (by wire number)."""

    seats: list[Seat]
    near_contact: list[int]
    far_contact: list[int]
    near: list[int]
    far: list[int]


class _Trip(msgspec.Struct):
    """Wires along a one-way trip, the towns it leaves and reaches."""

    wires: list[int]
    start: int
    end: int


class _Roads(msgspec.Struct):
    """The wires that do not stay at home, as roads between groups.

    A pin that was not tested, or a contact that meets no socket, is a place of its own with a
    negative number; `ghost` says which kind it is.
    """

    out: dict[int, list[int]] = msgspec.field(default_factory=dict)
    tail: dict[int, int] = msgspec.field(default_factory=dict)
    head: dict[int, int] = msgspec.field(default_factory=dict)
    excess: dict[int, int] = msgspec.field(default_factory=dict)
    ghost: dict[int, int] = msgspec.field(default_factory=dict)

    def add(self, wire: int, start: int, end: int) -> None:
        if start < 0:
            self.ghost[-3 - 2 * wire] = start
            start = -3 - 2 * wire
        if end < 0:
            self.ghost[-4 - 2 * wire] = end
            end = -4 - 2 * wire
        self.tail[wire], self.head[wire] = start, end
        self.out.setdefault(start, []).append(wire)
        self.excess[start] = self.excess.get(start, 0) + 1
        self.excess[end] = self.excess.get(end, 0) - 1

    def take(self, wires: Sequence[int]) -> None:
        for wire in wires:
            start = self.tail.pop(wire)
            end = self.head.pop(wire)
            self.out[start].remove(wire)
            self.excess[start] -= 1
            self.excess[end] += 1

    def shortest(self, start: int, ends: int | None, limit: int) -> list[int] | None:
        """Fewest roads from a place to another, or to any place with more arrivals (ends None)."""
        came: dict[int, int] = {start: -1}
        queue = deque([(start, 0)])
        while queue:
            at, steps = queue.popleft()
            if steps == limit:
                continue
            for wire in self.out.get(at, ()):
                to = self.head[wire]
                if to in came:
                    continue
                came[to] = wire
                if to == ends or (ends is None and self.excess.get(to, 0) < 0):
                    trail = [wire]
                    while self.tail[trail[-1]] != start:
                        trail.append(came[self.tail[trail[-1]]])
                    return trail[::-1]
                queue.append((to, steps + 1))
        return None


class WireCauses:
    """The causes at wires for one seating of the plugs.

    Args:
        index: the design.
        seen: what was measured.
        seating: where each plug sits.
        parts: causes that the seating has in it already: they come first, and count.

    Attributes:
        causes: in the order in which they act.
        bits: their cost.
        near: socket pin of every wire's near end after these causes.
        far: the same of its far end.
        cut: the open wires.
    """

    def __init__(self, index: Index, seen: Seen, seating: Seating, parts: Sequence[Cause] = ()) -> None:
        self._index = index
        self._seen = seen
        self._seating = seating
        self.near = list(seating.near)
        self.far = list(seating.far)
        self.cut: set[int] = set()
        self.causes: list[Cause] = list(parts)
        self._at_home: dict[int, list[int]] = {}
        roads = self._roads()
        if roads.tail:
            rounds = list(self._rounds(roads))
            trips = list(self._trips(roads))
            trips = self._close_freely(trips, roads, rounds)
            for wires in rounds:
                self._land_round(wires)
            ends = self._name_trips(trips, rounds)
            self._name_rounds(rounds)
            self.causes += ends
        self.causes += self._joins()
        self.causes = together(index, self.causes, adrift(self.near, self.far))
        self.bits = sum(bits(cause, index) for cause in self.causes)

    # Sorting wires into those that stay at home and roads.

    def _roads(self) -> _Roads:
        seen = self._seen
        label, size, large = seen.padded, seen.size, seen.large
        home = self._at_home
        roads = _Roads()
        unsure: list[tuple[int, int, int]] = []
        starts = [label[a] for a in self.near]
        ends = [label[b] for b in self.far]
        # Most wires stay in a group of two, which then needs no more thought.
        self._quiet = {start for start, end in zip(starts, ends, strict=True) if start == end}
        for wire, (start, end) in enumerate(zip(starts, ends, strict=True)):
            if start == end:
                if start in large:
                    home.setdefault(start, []).append(wire)
            elif start >= 0 and end >= 0:
                if seen.clash(start, end):
                    roads.add(wire, start, end)
            elif start == UNTESTED or end == UNTESTED:
                if start >= 0 or end >= 0:
                    unsure.append((wire, start, end))
            elif size[max(start, end)] > 1:
                roads.add(wire, start, end)
        if roads.tail:
            # A wire with an untested end counts as right unless others need the room it takes.
            for wire, start, end in unsure:
                if (start == UNTESTED and roads.excess.get(end, 0) > 0 and size[end] > 1) or (
                    end == UNTESTED and roads.excess.get(start, 0) < 0 and size[start] > 1
                ):
                    roads.add(wire, start, end)
        return roads

    # Cutting the roads into round trips and one-way trips.

    def _rounds(self, roads: _Roads) -> Iterator[list[int]]:
        mate = self._index.mate
        between: dict[tuple[int, int], list[int]] = {}
        for wire, start in roads.tail.items():
            between.setdefault((start, roads.head[wire]), []).append(wire)

        def back(wire: int) -> list[int]:
            """Roads still open that lead straight back."""
            return [w for w in between.get((roads.head[wire], roads.tail[wire]), ()) if w in roads.tail]

        for wire in list(roads.tail):
            if wire in roads.tail and mate[wire] in roads.tail and mate[wire] in back(wire):
                yield self._taken(roads, [wire, mate[wire]])
        for wire in list(roads.tail):
            if wire not in roads.tail or mate[wire] not in roads.tail:
                continue
            others = back(mate[wire])
            for other in back(wire):
                if mate[other] in others and mate[other] != wire:
                    yield self._taken(roads, [wire, other])
                    yield self._taken(roads, [mate[wire], mate[other]])
                    break
        for wire in list(roads.tail):
            if wire in roads.tail and (choice := back(wire)):
                yield self._taken(roads, [wire, choice[0]])
        for limit in (2, 3, len(roads.tail)):
            for wire in list(roads.tail):
                if wire not in roads.tail:
                    continue
                rest = roads.shortest(roads.head[wire], roads.tail[wire], limit)
                if rest:
                    yield self._taken(roads, [wire, *rest])

    def _trips(self, roads: _Roads) -> Iterator[_Trip]:
        for limit in (1, len(roads.tail) + 1):
            for start in list(roads.out):
                while roads.excess.get(start, 0) > 0:
                    wires = roads.shortest(start, None, limit)
                    if wires is None:
                        break
                    end = roads.head[wires[-1]]
                    yield _Trip(self._taken(roads, wires), start, end)

    @staticmethod
    def _taken(roads: _Roads, wires: list[int]) -> list[int]:
        roads.take(wires)
        return wires

    def _close_freely(self, trips: list[_Trip], roads: _Roads, rounds: list[list[int]]) -> list[_Trip]:
        """Turn trips whose way back nobody could have seen into rounds; return the others."""
        size = self._seen.size
        left = []
        for trip in trips:
            start = roads.ghost.get(trip.start, 0)
            end = roads.ghost.get(trip.end, 0)
            hidden = (
                UNTESTED in (start, end)
                or start == end == OFF
                or (start == OFF and size[trip.end] == 1)
                or (end == OFF and size[trip.start] == 1)
            )
            if hidden or OFF in (start, end):
                if len(trip.wires) > 1:
                    rounds.append(trip.wires)
            else:
                left.append(trip)
        return left

    # Giving names.

    def _land_round(self, wires: list[int]) -> None:
        ends = [self.far[w] for w in wires]
        for wire, end in zip(wires, ends[-1:] + ends[:-1], strict=True):
            self.far[wire] = end
            self._settle(wire)

    def _settle(self, wire: int) -> None:
        """Count a wire as at home if both its ends are in one group."""
        label = self._seen.padded
        a, b = self.near[wire], self.far[wire]
        if label[a] == label[b] >= 0:
            self._at_home.setdefault(label[a], []).append(wire)

    def _name_rounds(self, rounds: list[list[int]]) -> None:
        index = self._index
        names = index.names
        partner: dict[int, int] = {}
        for wires in rounds:
            if len(wires) == 2:
                partner[wires[0]], partner[wires[1]] = wires[1], wires[0]
        done: set[int] = set()
        for wires in rounds:
            if wires[0] in done:
                continue
            if len(wires) == 2:
                i, j = sorted(wires)
                k, m = index.mate[i], index.mate[j]
                if k == j:
                    pair = index.wires[i].pair
                    assert pair is not None
                    self.causes.append(PairReversed(pair))
                elif k >= 0 and m >= 0 and partner.get(k) == m:
                    done |= {k, m}
                    self.causes.append(self._pairs_exchanged(i, j))
                elif k >= 0 and m >= 0:
                    self.causes.append(PairsSplit((names[i], names[j])))
                else:
                    self.causes.append(PinsExchanged((names[i], names[j])))
            else:
                self.causes += self._long_round(wires)

    def _pairs_exchanged(self, i: int, j: int) -> PairsExchanged:
        index = self._index
        p, q = index.wires[i].pair, index.wires[j].pair
        assert p is not None and q is not None
        same_leg = (index.pair_wires[p][0] == i) == (index.pair_wires[q][0] == j)
        return PairsExchanged((p, q), crossed=not same_leg)

    def _long_round(self, wires: list[int]) -> list[Cause]:
        """A round of three or more: wires moved along, or two pairs exchanged and one reversed."""
        index = self._index
        moved: list[Cause] = [Moved(tuple(index.names[w] for w in wires))]
        if len(wires) != 4:
            return moved
        pairs = [index.wires[w].pair for w in wires]
        p, q = pairs[0], pairs[1]
        if p is None or q is None or p == q or pairs != [p, q, p, q]:
            return moved
        # Each wire sits on the contact of the one before it: see whose legs came out straight.
        first = wires[0]
        on = wires[-1]
        straight = (index.pair_wires[p][0] == first) == (index.pair_wires[q][0] == on)
        named: list[Cause] = [PairsExchanged((p, q)), PairReversed(q if straight else p)]
        if sum(bits(c, index) for c in named) < bits(moved[0], index):
            return named
        return moved

    def _name_trips(self, trips: list[_Trip], rounds: list[list[int]]) -> list[Cause]:
        """Causes for one-way trips; the rounds that some of them make are added to `rounds`."""
        names = self._index.names
        causes: list[Cause] = []
        leaving: dict[int, list[int]] = {}
        arriving: dict[int, list[int]] = {}
        for trip in trips:
            leaving.setdefault(trip.start, []).append(self.near[trip.wires[0]])
            arriving.setdefault(trip.end, []).append(self.far[trip.wires[-1]])
        ground = {
            (town, side): self._ground(town, loose)
            for side, ends in (("far", leaving), ("near", arriving))
            for town, loose in ends.items()
        }
        for trip in trips:
            wires = trip.wires
            contacts = self._seating.far_contact
            onto = self._contact(ground[trip.start, "far"], True, contacts[wires[0]])
            if onto is not None:
                self._land_on(wires, self.far, onto)
                moved = tuple(names[w] for w in wires)
                causes.append(Moved(moved, self._index.pins[onto[1]], "far"))
                continue
            contacts = self._seating.near_contact
            onto = self._contact(ground[trip.end, "near"], False, contacts[wires[-1]])
            if onto is not None:
                wires = wires[::-1]
                self._land_on(wires, self.near, onto)
                moved = tuple(names[w] for w in wires)
                causes.append(Moved(moved, self._index.pins[onto[1]], "near"))
                continue
            if len(wires) > 1:
                rounds.append(wires)
                self._land_round(wires)
            self.cut.add(wires[0])
            causes.append(Open(names[wires[0]]))
        return causes

    def _land_on(self, wires: list[int], where: list[int], onto: tuple[int, int]) -> None:
        places = [onto[0], *(where[w] for w in wires[:-1])]
        for wire, pin in zip(wires, places, strict=True):
            where[wire] = pin
            self._settle(wire)

    def _ground(self, town: int, loose: list[int]) -> list[int]:
        """Pins of a group on which its loose ends may be landed, where that saves a join."""
        if town < 0 or self._seen.size[town] == 1:
            return []
        pieces = self._pieces(town)
        firm = [piece for piece in pieces if not any(pin in piece for pin in loose)]
        if not firm or len(list(self._merge(pieces))) == len(list(self._merge(firm))):
            return []
        return [pin for piece in firm for pin in piece]

    def _contact(self, ground: list[int], far: bool, near_to: int) -> tuple[int, int] | None:
        """The pin of the ground that lies nearest to a contact, with the contact that meets it."""
        index = self._index
        best: tuple[tuple[bool, int], tuple[int, int]] | None = None
        for pin in ground:
            if (pin >= index.near_pins) != far:
                continue
            contact = self._meets(pin)
            if contact == NOWHERE:
                continue
            other = index.home[contact] != index.home[near_to]
            distance = (other, abs(index.place[contact] - index.place[near_to]))
            if best is None or distance < best[0]:
                best = distance, (pin, contact)
        return best[1] if best else None

    def _meets(self, pin: int) -> int:
        """The plug contact that meets a socket pin, or NOWHERE."""
        index = self._index
        for plug, seat in enumerate(self._seating.seats):
            if seat.socket == index.home[pin]:
                if seat == Seat(plug):
                    return pin
                for contact in index.order[plug]:
                    if place(index, seat, contact) == pin:
                        return contact
        return NOWHERE

    # Joins.

    def _pieces(self, town: int) -> list[list[int]]:
        """The pins of a group in the pieces that the wires at home in it make."""
        pins = self._seen.near[town] + self._seen.far[town]
        root = {pin: pin for pin in pins}

        def find(pin: int) -> int:
            while root[pin] != pin:
                root[pin] = root[root[pin]]
                pin = root[pin]
            return pin

        for wire in self._at_home.get(town, ()):
            root[find(self.near[wire])] = find(self.far[wire])
        pieces: dict[int, list[int]] = {}
        for pin in pins:
            pieces.setdefault(find(pin), []).append(pin)
        return list(pieces.values())

    def _joins(self) -> Iterator[Cause]:
        pins = self._index.pins
        busy: set[int] | None = None
        quiet = self._quiet
        for town in (*(t for t in self._seen.twos if t not in quiet), *self._seen.large):
            if town in self._at_home and self._seen.size[town] == 2:
                continue
            for joined, side_by_side in self._merge(self._pieces(town)):
                if busy is None:
                    busy = {*self.near, *self.far}
                named = tuple(pins[p] for p in sorted(joined))
                if side_by_side and (len(joined) > 2 or busy.issuperset(joined)):
                    yield Bridged(named)
                else:
                    yield StrayJoin(named)

    def _merge(self, pieces: list[list[int]]) -> Iterator[tuple[list[int], bool]]:
        """The fewest joins that make one of several pieces: within connectors first, then across.

        Yields the pins to join and whether they lie in one connector.
        """
        index = self._index
        while len(pieces) > 1:
            reach: dict[int, list[int]] = {}
            for number, piece in enumerate(pieces):
                for connector in {index.home[pin] for pin in piece}:
                    reach.setdefault(connector, []).append(number)
            # The far side first: its pins are where the volunteers' landings are.
            connector = max(reach, key=lambda c: (len(reach[c]), c >= index.near_connectors, -c))
            members = reach[connector]
            if len(members) == len(pieces):
                yield self._side_by_side(connector, [pieces[m] for m in members]), True
            else:
                # pieces that no one connector has all of met in one joint
                members = list(range(len(pieces)))
                yield [max(piece) for piece in pieces], False
            merged = [pin for m in members for pin in pieces[m]]
            pieces = [merged, *(p for n, p in enumerate(pieces) if n not in members)]

    def _side_by_side(self, connector: int, pieces: list[list[int]]) -> list[int]:
        """One pin of each piece in this connector, each as near to the first as may be."""
        index = self._index
        chosen: list[int] = []
        for piece in pieces:
            pins = [pin for pin in piece if index.home[pin] == connector]
            anchor = chosen[0] if chosen else pins[0]
            chosen.append(min(pins, key=lambda pin: abs(index.place[pin] - index.place[anchor])))
        return chosen

    def pins_of(self, wire: int) -> tuple[Pin | None, Pin | None]:
        """The socket pins where a wire ends, None for an end that meets none."""
        pins = self._index.pins
        a, b = self.near[wire], self.far[wire]
        return (pins[a] if a >= 0 else None, pins[b] if b >= 0 else None)
