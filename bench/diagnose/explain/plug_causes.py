"""How the plugs sit: a search for exchanged, shifted, mirrored, turned and unmated connectors.

Every wire of a connector votes for the seats of its plug that would put it right: it was found in
some socket pin, so mirrored this way and shifted by that much would explain it. Seats with many
votes are weighed exactly, and the best is taken as long as it saves more bits than it costs, the
wires that it pushes off the end counted as explained. Then small changes are tried against the full
cost, wires and all, since votes go wrong where nearly every wire is at fault as well. Last, sets of parts are weighed
against all that is told beside them.

One search over one state, with its votes, changes and costs: that is why it is long.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from math import log2

from msgspec.structs import replace

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.explain.causes import (
    Bridged,
    CableTurned,
    Cause,
    Moved,
    PairsSplit,
    PinsExchanged,
    Relanded,
    StrayJoin,
    bits,
    wires_of,
)
from bench.diagnose.explain.forward import Mirror, Seat, meets, place, seated, turned_ends
from bench.diagnose.explain.part_causes import Parts, landed
from bench.diagnose.explain.pin_map import Index
from bench.diagnose.explain.seats import plug_causes, rounds, rounds_bits, seat_causes
from bench.diagnose.explain.seen import OFF, UNTESTED, Seen, gather
from bench.diagnose.explain.wire_causes import Seating, WireCauses

_VOTERS = 6
"""A group with more pins than this on one side says nothing about where a single wire went."""
_WEIGHED = 6
"""How many seats with the most votes are weighed for one connector."""
_LONGEST_ROUND = 6
"""Most connectors in one round of exchanges that the search looks for."""
_EVALUATIONS = 240
"""How many full evaluations the last, small changes may cost for a plant of 64 wires."""
_SETTLED = 8
"""Leaving out a seat that puts more wires right than this is tried only where nearly as many are still wrong."""
_NEVER = 1e6
"""Bits for an explanation that has somebody part a designed join: no other may cost as much."""
_HARM = 8.0
"""Bits for each time that good wires, which a plug or a part is said to move, are said to be brought back."""
_COMPOUND = 3.0
"""Bits for each way beyond the first in which one plug sits wrong, and where its wires are in no order as well: hands
seldom do two things to one plug."""
_WORTHWHILE = 24
"""Fewest full evaluations with which sets of parts are weighed."""
_DEEPEST = 4
"""Most parts that are tried together at the connectors of one trouble."""
_FRONT = 4
"""How many sets of parts are followed up."""
_LEADS = 2
"""How many changes of a connector are tried in place of changes across from it."""

Option = tuple[int, Seat]
"""How many wires a seat puts right, and the seat."""
Change = tuple[dict[int, Seat], frozenset[str]]
"""New seats by connector number, and cables to turn over."""


class Plugs:
    """The search; `run` returns the causes at connectors and the best `WireCauses` under them."""

    def __init__(self, index: Index, seen: Seen) -> None:
        self.index = index
        self.seen = seen
        self.gain = log2(max(2, len(index.wires))) + 0.75
        self._led = self._led_through()
        self._net = gather(len(index.pins), zip(index.near, index.far, strict=True))
        self._plain = [Seat(c) for c in range(len(index.connectors))]
        self.seats = list(self._plain)
        self.turned: frozenset[str] = frozenset()
        self._sitting = list(range(len(self.seats)))
        self._cost_of_seats: dict[tuple[int, Seat], float] = {}
        self._options: dict[int, tuple[int, list[Option]]] = {}
        self._mirrors = [self._useful_mirrors(c) for c in range(len(index.connectors))]
        self._tours: dict[str, dict[int, tuple[int, int]]] = {}
        for cable in index.cables:
            try:
                ends = turned_ends(index, cable)
            except (DiagnoseError, KeyError):
                continue
            right = {(index.near[w], index.far[w]) for w in ends}
            if right != set(ends.values()):
                self._tours[cable] = ends
        self._seating = self._seat(self.seats, self.turned)
        self._parts = Parts(index, seen)
        self._sound_wires = self._parts.sound
        self._fed = index.fed
        self._fixed: set[int] = set()
        self.weighed: list[tuple[float, list[Cause]]] = []
        """Explanations that were weighed on the way, each with its bits."""

    def run(self) -> tuple[list[Cause], WireCauses, Seating]:
        """Search, and return the causes at plugs, the causes at wires under them, and the seating."""
        while (change := self._best_change()) is not None:
            self._apply(change)
        best = self._evaluate(self.seats, self.turned)
        best = self._polish(best)
        if best[0] >= _NEVER or self._moved_sound_wires(best[2]):
            best = self._again(best)
        best = self._without(best)
        return plug_causes(self.index, self.seats, self.turned), best[1], best[2]

    def _again(self, best: tuple[float, WireCauses, Seating]) -> tuple[float, WireCauses, Seating]:
        """The search from plugs that sit right, where the first one moved good wires: the better of the two.

        Plugs with several good wires stay where they are, so that parts and single wires have their turn.
        """
        index = self.index
        kept = list(self.seats), self.turned
        good = Counter(index.home[pin] for wire in self._sound_wires for pin in (index.near[wire], index.far[wire]))
        seats, turned = self._retry(
            {c: plain for c, plain in enumerate(self._plain) if self.seats[c] != plain},
            [connector for connector, wires in good.items() if wires > 1],
        )
        for trial in ((seats, turned), (list(self._plain), frozenset[str]())):
            self._put(*trial)
            found = self._polish(self._evaluate(self.seats, self.turned))
            if found[0] < best[0]:
                best, kept = found, (list(self.seats), self.turned)
        self._put(*kept)
        return best

    def _without(self, best: tuple[float, WireCauses, Seating]) -> tuple[float, WireCauses, Seating]:
        """What is told weighed against fewer and other parts, and with plugs straight, by the cost of all together.

        A part or a seat is taken for the wires that it puts right, before anything is known of the rest; what then has
        to be said of this rest may cost more than it saved. So where there is such a rest at the same connector, sets
        of parts are tried one by one.
        """
        budget = _EVALUATIONS * 64 // max(64, len(self.index.wires))
        crowded = self._crowded(best[1].causes)
        if not crowded or budget < _WORTHWHILE:
            return best
        trials = [list(self.seats)]
        for connector, seat in enumerate(self.seats):
            if seat != Seat(seat.socket) and connector in crowded:
                trials.append(list(self.seats))
                trials[-1][connector] = Seat(seat.socket)
        for seats in trials:
            trial = self._weigh_parts(seats, crowded, budget // len(trials))
            if trial is not None and trial[0] < best[0] - 1e-9:
                best = trial
                self._put(seats, self.turned)
        return best

    def _weigh_parts(
        self, seats: Sequence[Seat], crowded: Collection[int], budget: int
    ) -> tuple[float, WireCauses, Seating] | None:
        """The cheapest of many sets of parts at some connectors, under these seats; those elsewhere stay."""
        bare = self._seat(seats, self.turned)
        elsewhere = [number for number in range(len(seats)) if number not in crowded]
        kept, after = self._parts.of(bare, self._parts.troubled(bare, elsewhere))
        best: tuple[float, WireCauses, Seating] | None = None
        known: set[frozenset[Relanded]] = set()
        front = [(0.0, tuple(kept), after)]
        for depth in range(_DEEPEST + 1):
            weighed: list[tuple[float, tuple[Relanded, ...], Seating]] = []
            for _, chosen, seating in front:
                more = self._parts.worthwhile(seating, crowded) if depth else [None]
                for part in more:
                    parts = chosen if part is None else (*chosen, part)
                    if frozenset(parts) in known or budget <= 0:
                        continue
                    known.add(frozenset(parts))
                    budget -= 1
                    then = seating if part is None else landed(self.index, seating, part)
                    trial = self._told(seats, self.turned, parts, bare, then)
                    weighed.append((trial[0], parts, then))
                    if best is None or trial[0] < best[0] - 1e-9:
                        best = trial
            front = sorted(weighed, key=lambda one: one[0])[:_FRONT]
        return best

    def _crowded(self, causes: Iterable[Cause]) -> set[int]:
        """Connectors of which single wires are told to be moved or joined, or in no order, beside a plug or a part."""
        index = self.index
        crowded: set[int] = set()
        parted: set[int] = {number for number, seat in enumerate(self.seats) if seat != Seat(number)}
        for cause in causes:
            names: Iterable[str] = ()
            match cause:
                case Bridged(pins) | StrayJoin(pins):
                    crowded |= {index.home[index.number[pin]] for pin in pins}
                case Moved(names) | PinsExchanged(names) | PairsSplit(names) | Relanded(_, names):
                    pass
                case _:
                    pass
            wires = [index.wire_number[name] for name in names]
            homes = {index.home[pin] for wire in wires for pin in (index.near[wire], index.far[wire])}
            if isinstance(cause, Relanded):
                parted |= homes
            if not isinstance(cause, Relanded) or cause.order == "no order":
                crowded |= homes
        return crowded if crowded & parted else set()

    # States.

    def _seat(self, seats: Sequence[Seat], turned: frozenset[str]) -> Seating:
        index = self.index
        near, far = index.near, index.far
        if turned:
            near, far = list(near), list(far)
            for cable in turned:
                for wire, (n, f) in self._tours[cable].items():
                    near[wire], far[wire] = n, f
        plain = self._plain
        odd = {c for c, seat in enumerate(seats) if seat is not plain[c] and seat != plain[c]}
        if not odd:
            return Seating(list(seats), near, far, near, far)
        return Seating(
            list(seats),
            near,
            far,
            seated(index, seats, near) if min(odd) < index.near_connectors else near,
            seated(index, seats, far) if max(odd) >= index.near_connectors else far,
        )

    def _apply(self, change: Change) -> None:
        seats, cables = change
        touched = set(seats)
        for connector, seat in seats.items():
            self.seats[connector] = seat
        for connector, seat in seats.items():
            self._sitting[seat.socket] = connector
        if cables:
            self.turned ^= cables
        self._seating = self._seat(self.seats, self.turned)
        home = self.index.home
        wires: Iterable[int] = [w for c in touched for w in self._fed[c]]
        if cables:
            self._fed = [[] for _ in self.index.connectors]
            for wire in range(len(self.index.wires)):
                self._fed[home[self._seating.near_contact[wire]]].append(wire)
                self._fed[home[self._seating.far_contact[wire]]].append(wire)
            self._options.clear()
            wires = ()
        for wire in wires:
            touched.add(home[self._seating.near_contact[wire]])
            touched.add(home[self._seating.far_contact[wire]])
        for connector in touched:
            self._options.pop(connector, None)

    def _evaluate(self, seats: Sequence[Seat], turned: frozenset[str]) -> tuple[float, WireCauses, Seating]:
        seating = self._seat(seats, turned)
        best = self._told(seats, turned, (), seating, seating)
        parts, after = self._parts.of(seating)
        if parts:
            whole = self._told(seats, turned, parts, seating, after)
            if whole[0] < best[0]:
                best = whole
        return best

    def _told(
        self,
        seats: Sequence[Seat],
        turned: frozenset[str],
        parts: Sequence[Relanded],
        seating: Seating,
        after: Seating,
    ) -> tuple[float, WireCauses, Seating]:
        """What is told of these seats and parts, with its bits; `after` is the seating with the parts landed."""
        by_wire = WireCauses(self.index, self.seen, after, parts)
        cost = sum(bits(CableTurned(cable), self.index) for cable in turned) + rounds_bits(self.index, seats)
        cost += sum(self._seat_bits(c, seat) for c, seat in enumerate(seats) if seat != self._plain[c])
        harm = self._harm(self._moved_sound_wires(seating, parts), parts, by_wire.causes)
        cost += self._bits(by_wire) + harm + self._hidden(seats, parts)
        self._note((cost, by_wire, after), seats, turned)
        return cost, by_wire, after

    def _hidden(self, seats: Sequence[Seat], parts: Sequence[Relanded]) -> float:
        """Bits against plugs that sit wrong and whose wires are in no order: a seat brings a few of them home."""
        index = self.index
        moved = 0
        for part in parts:
            if part.order == "no order":
                wires = [index.wire_number[name] for name in part.conductors]
                homes = {index.home[pin] for wire in wires for pin in (index.near[wire], index.far[wire])}
                moved += sum(seats[connector] != Seat(connector) for connector in homes)
        return _COMPOUND * moved

    def _note(self, state: tuple[float, WireCauses, Seating], seats: Sequence[Seat], turned: frozenset[str]) -> None:
        """Keep an explanation that was weighed, with its bits: it may be as good as the one that is taken."""
        self.weighed.append((state[0], [*plug_causes(self.index, seats, turned), *state[1].causes]))

    def _moved_sound_wires(self, seating: Seating, parts: Sequence[Relanded] = ()) -> set[int]:
        """Wires that conduct where the design has them, and that plugs or parts are said to move."""
        index = self.index
        moved: set[int] = set()
        if seating.far is not index.far or seating.near is not index.near:
            odd = [plug for plug, seat in enumerate(seating.seats) if seat != self._plain[plug]]
            # a cable that was turned moves wires of plugs that sit as they should
            turned = seating.near_contact is not index.near
            touched = self._sound_wires if turned else {wire for plug in odd for wire in index.fed[plug]}
            for wire in self._sound_wires & touched:
                if seating.far[wire] != index.far[wire] or seating.near[wire] != index.near[wire]:
                    moved.add(wire)
        for part in parts:
            contacts = index.far if part.end == "far" else index.near
            for name, to in zip(part.conductors, part.onto, strict=True):
                wire = index.wire_number[name]
                if wire in self._sound_wires and (to is None or index.number[to] != contacts[wire]):
                    moved.add(wire)
        return moved

    def _harm(self, moved: set[int], parts: Sequence[Relanded], causes: Iterable[Cause]) -> float:
        """Bits against good wires that plugs and parts are said to move and something else to bring back.

        Whoever follows the words first harms a good wire. That one mistake undoes another is a chance that is taken
        once for what one hand did: two pairs that were exchanged bring two wires home together. Where no single
        mistake at wires is named for it, each wire is a chance of its own.
        """
        acts = 0
        left = set(moved)
        for cause in causes:
            if left and cause not in parts and (back := wires_of(self.index, cause) & left):
                left -= back
                acts += 1
        return _HARM * (acts + len(left))

    def _bits(self, by_wire: WireCauses) -> float:
        """The cost of causes at wires and parts, with those barred that part a join of the design."""
        return by_wire.bits + _NEVER * sum(self._parts_a_designed_join(cause) for cause in by_wire.causes)

    def _parts_a_designed_join(self, cause: Cause) -> bool:
        """Whether a join is called wrong that the design has: then a plug was taken to sit where it does not."""
        if not isinstance(cause, Bridged | StrayJoin):
            return False
        nets = {self._net[self.index.number[pin]] for pin in cause.pins}
        return len(nets) < len(cause.pins)

    # Votes.

    def _useful_mirrors(self, connector: int) -> list[Mirror]:
        rows, columns = self.index.shape[connector]
        mirrors: list[Mirror] = [""]
        if columns > 1:
            mirrors.append("ends")
        if rows > 1:
            mirrors.append("rows")
        if rows > 1 and columns > 1:
            mirrors.append("both")
        return mirrors

    def _is_far(self, connector: int) -> bool:
        return connector >= self.index.near_connectors

    def _right(self, connector: int, seat: Seat) -> int:
        """How many wires of the connector this seat of its plug leaves explained."""
        label, size = self.seen.padded, self.seen.size
        seen, sampled = self.seen, self.seen.sampled
        seating = self._seating
        far = self._is_far(connector)
        mine = seating.far_contact if far else seating.near_contact
        other = seating.near if far else seating.far
        right = 0
        met = meets(self.index, seat, connector)
        for wire in self._fed[connector]:
            start = label[other[wire]]
            end = label[met[mine[wire]]]
            right += (
                start in (end, UNTESTED)
                or end == UNTESTED
                or (start == OFF and size[end] == 1)
                or (end == OFF and size[start] == 1)
                or (sampled and OFF not in (start, end) and not seen.clash(start, end))
            )
        return right

    def _votes(self, connector: int) -> Counter[Seat]:
        index, seen, seating = self.index, self.seen, self._seating
        far = self._is_far(connector)
        mine = seating.far_contact if far else seating.near_contact
        other = seating.near if far else seating.far
        partners = seen.far if far else seen.near
        rows, columns = index.shape[connector]
        last = [len(row) - 1 for row in index.connectors[connector].layout.grid]
        mirrors = self._mirrors[connector]
        votes: Counter[tuple[int, Mirror, int, int, int]] = Counter()
        for wire in self._fed[connector]:
            a = other[wire]
            if a < 0 or seen.label[a] < 0:
                continue
            found = partners[seen.label[a]]
            if len(found) > _VOTERS:
                continue
            contact = mine[wire]
            r, c = index.row[contact], index.column[contact]
            for pin in found:
                socket = index.home[pin]
                r2, c2 = index.row[pin], index.column[pin]
                for mirror in mirrors:
                    r1 = rows - 1 - r if mirror in ("rows", "both") else r
                    c1 = last[r] - c if mirror in ("ends", "both") else c
                    votes[socket, mirror, r2 - r1, c2 - c1, 0] += 1
                    if rows > 1 and columns > 1:
                        at = index.grid[connector].get((r1, c1))
                        if at is not None and index.place[pin] != index.place[at]:
                            steps = index.place[pin] - index.place[at]
                            votes[socket, mirror, 0, 0, steps] += 1
        counted: Counter[Seat] = Counter()
        for (socket, mirror, dr, dc, count), number in votes.items():
            if number > 1 or self.seen.sampled:
                counted[Seat(socket, mirror, dr, dc, count)] = number
        return counted

    def _options_of(self, connector: int) -> tuple[int, list[Option]]:
        """How many wires are right now, and seats worth weighing with how many they put right."""
        known = self._options.get(connector)
        if known is not None:
            return known
        seat = self.seats[connector]
        now = self._right(connector, seat)
        options: list[Option] = []
        if len(self._fed[connector]) - now >= 2 and connector not in self._fixed:
            options += [(self._right(connector, other), other) for other in self._voted(connector) if other != seat]
            if seat.mated and self._dead(connector) and seat.socket not in self._led:
                out = Seat(seat.socket, mated=False)
                options.append((self._right(connector, out), out))
        self._options[connector] = now, options
        return now, options

    def _voted(self, connector: int) -> list[Seat]:
        """Seats of a plug that its wires speak for, those with most votes first."""
        # where few pairs were tried a single wire that was found elsewhere is worth weighing
        floor = 1 if self.seen.sampled else max(2, len(self._fed[connector]) // 6)
        votes = self._votes(connector).most_common(_WEIGHED * (4 if self.seen.sampled else 1))
        return [seat for seat, count in votes if count >= floor and self._is_seen(connector, seat)]

    def _dead(self, connector: int) -> bool:
        """Whether several wires of a connector lead nowhere at both ends."""
        label, size, seating = self.seen.label, self.seen.size, self._seating
        dead = 0
        for wire in self._fed[connector]:
            ends = [label[p] for p in (seating.near[wire], seating.far[wire]) if p >= 0]
            dead += all(e < 0 or size[e] == 1 for e in ends)
        return dead >= 2 and dead * 4 >= len(self._fed[connector])

    def _led_through(self) -> set[int]:
        """Connectors with a pin that conducts to one pin of the other side, and to nothing else: a plug is in them."""
        home, seen = self.index.home, self.seen
        return {
            home[pin]
            for group in seen.twos
            if seen.near[group] and seen.far[group]
            for pin in (*seen.near[group], *seen.far[group])
        }

    def _is_seen(self, connector: int, seat: Seat) -> bool:
        """Whether wires were found where this seat puts them and its own plain place does not.

        A seat that only keeps good wires where they are and pushes the others off the end looks like a plug that
        sits wrong, but nothing speaks for it: those others are open.
        """
        index, label, seating = self.index, self.seen.label, self._seating
        far = self._is_far(connector)
        mine = seating.far_contact if far else seating.near_contact
        other = seating.near if far else seating.far
        met = meets(index, seat, connector)
        # a plug in another socket may sit plainly there: what speaks for that speaks for nothing else done to it
        plain = Seat(seat.socket)
        straight = {} if seat == plain else meets(index, plain, connector)
        for wire in self._fed[connector]:
            contact = mine[wire]
            spot = met[contact]
            if spot != straight.get(contact, contact) and self._joined(other[wire], spot, label):
                return True
        return seat == Seat(connector)

    # Changes.

    def _seat_bits(self, connector: int, seat: Seat) -> float:
        key = connector, seat
        if key not in self._cost_of_seats:
            causes = seat_causes(self.index, connector, seat)
            compound = _COMPOUND * max(0, len(causes) - 1)
            self._cost_of_seats[key] = sum(bits(c, self.index) for c in causes) + compound
        return self._cost_of_seats[key]

    def _best_change(self) -> Change | None:
        best: tuple[float, Change] | None = None
        for saved, change in self._changes():
            if saved > 0 and (best is None or saved > best[0] + 1e-9):
                best = saved, change
        return best[1] if best else None

    def _changes(self) -> Iterator[tuple[float, Change]]:
        count = len(self.index.connectors)
        # Far connectors first: where the map cannot tell, the far end is named.
        split = self.index.near_connectors
        for connector in (*range(split, count), *range(split)):
            yield from self._changes_at(connector)
        for cable, ends in self._tours.items():
            yield self._turn(cable, ends)

    def _changes_at(self, connector: int) -> Iterator[tuple[float, Change]]:
        now, options = self._options_of(connector)
        seat = self.seats[connector]
        for right, option in options:
            if option.socket == seat.socket:
                saved = (right - now) * self.gain
                saved += self._seat_bits(connector, seat) - self._seat_bits(connector, option)
                yield saved, ({connector: option}, frozenset())
        yield from self._exchanges(connector)

    def _exchanges(self, first: int) -> Iterator[tuple[float, Change]]:
        """Rounds of exchanges that begin with moving one plug to where its wires were found."""
        base = self.seats[first].socket
        tried: set[int] = set()
        for _, seat in self._options_of(first)[1]:
            if seat.socket == base or seat.socket in tried:
                continue
            tried.add(seat.socket)
            seats: dict[int, Seat] = {}
            saved = 0.0
            plug, onto = first, seat.socket
            while len(seats) < _LONGEST_ROUND:
                gain, chosen = self._best_in(plug, onto)
                seats[plug] = chosen
                saved += gain
                plug = self._sitting[onto]
                if plug in seats:
                    break
                gain, chosen = self._best_in(plug, base)
                closed = {**seats, plug: chosen}
                cost = self._exchange_bits(closed)
                yield saved + gain - cost, (closed, frozenset())
                away = [s.socket for _, s in self._options_of(plug)[1] if s.socket != onto]
                if not away or away[0] == base:
                    break
                onto = away[0]

    def _best_in(self, plug: int, socket: int) -> tuple[float, Seat]:
        """The best seat of a plug in a socket, and the bits it saves."""
        now, options = self._options_of(plug)
        held = self._seat_bits(plug, self.seats[plug])
        choices = [(r, s) for r, s in options if s.socket == socket]
        # As it should sit there, or as it sits now: a plug that is out stays out.
        for seat in (Seat(socket), replace(self.seats[plug], socket=socket)):
            if all(s != seat for _, s in choices):
                choices.append((self._right(plug, seat), seat))
        return max(
            (((right - now) * self.gain + held - self._seat_bits(plug, seat), seat) for right, seat in choices),
            key=lambda choice: choice[0],
        )

    def _exchange_bits(self, changed: dict[int, Seat]) -> float:
        after = list(self.seats)
        for plug, seat in changed.items():
            after[plug] = seat
        return rounds_bits(self.index, after) - rounds_bits(self.index, self.seats)

    def _turn(self, cable: str, ends: dict[int, tuple[int, int]]) -> tuple[float, Change]:
        index, label = self.index, self.seen.label
        seating = self._seating
        gained = 0
        for wire, (n, f) in ends.items():
            if cable in self.turned:
                n, f = index.near[wire], index.far[wire]
            now = seating.near[wire], seating.far[wire]
            then = (
                place(index, self.seats[index.home[n]], n),
                place(index, self.seats[index.home[f]], f),
            )
            gained += self._joined(*then, label) - self._joined(*now, label)
        cost = bits(CableTurned(cable), index)
        if cable in self.turned:
            cost = -cost
        return gained * self.gain - cost, ({}, frozenset([cable]))

    @staticmethod
    def _joined(a: int, b: int, label: Sequence[int]) -> bool:
        return a >= 0 and b >= 0 and label[a] == label[b] >= 0

    # Small changes against the full cost.

    def _polish(self, best: tuple[float, WireCauses, Seating]) -> tuple[float, WireCauses, Seating]:
        budget = max(12, _EVALUATIONS * 64 // max(64, len(self.index.wires)))
        improved = True
        while improved and (best[1].causes or self.seats != self._plain):
            improved = False
            for seats, turned in self._small_changes(best[1]):
                if budget <= 0:
                    return best
                budget -= 1
                trial = self._evaluate(seats, turned)
                if trial[0] < best[0] - 1e-9:
                    best = trial
                    self._put(seats, turned)
                    improved = True
                    break
        return best

    def _put(self, seats: Sequence[Seat], turned: frozenset[str]) -> None:
        changed = {c: seat for c, seat in enumerate(seats) if seat != self.seats[c]}
        self._apply((changed, self.turned ^ turned))

    def _retry(
        self,
        reset: dict[int, Seat],
        fixed: Iterable[int],
        first: int | None = None,
        rank: int = 0,
    ) -> tuple[list[Seat], frozenset[str]]:
        """What the votes make of the map from other seats, with some plugs not to be touched.

        With `first`, that plug makes its best change, or the next best by rank, before any other.
        """
        seats, turned = list(self.seats), self.turned
        self._apply((reset, frozenset()))
        self._fixed = set(fixed)
        if first is not None:
            leads = sorted(self._changes_at(first), key=lambda c: -c[0])
            if rank < len(leads):
                self._apply(leads[rank][1])
        while (change := self._best_change()) is not None:
            self._apply(change)
        self._fixed = set()
        found = list(self.seats), self.turned
        self._put(seats, turned)
        return found

    def _small_changes(self, by_wire: WireCauses) -> Iterator[tuple[list[Seat], frozenset[str]]]:
        trouble = self._trouble(by_wire)
        yield from self._one_thing_in_place_of_two()
        yield from self._simpler(trouble)
        for cable in self.turned:
            yield list(self.seats), self.turned ^ {cable}
        yield from self._rounds_undone(trouble)
        yield from self._across()
        for connector, wires in trouble.most_common():
            if wires < 2:
                break
            for _, option in self._options_of(connector)[1]:
                if option.socket == self.seats[connector].socket:
                    yield self._but({connector: option})
            for _, (changed, _) in self._exchanges(connector):
                yield self._but(changed)

    def _but(self, changed: dict[int, Seat]) -> tuple[list[Seat], frozenset[str]]:
        """The seats as they are, but for some."""
        seats = list(self.seats)
        for connector, seat in changed.items():
            seats[connector] = seat
        return seats, self.turned

    def _one_thing_in_place_of_two(self) -> Iterator[tuple[list[Seat], frozenset[str]]]:
        """Two things done to one plug put its open wires right as well: one and a dead part is likelier."""
        for connector, seat in enumerate(self.seats):
            if len(seat_causes(self.index, connector, seat)) > 1:
                for other in self._voted(connector):
                    if other.socket == seat.socket and len(seat_causes(self.index, connector, other)) == 1:
                        yield self._but({connector: other})

    def _simpler(self, trouble: Counter[int]) -> Iterator[tuple[list[Seat], frozenset[str]]]:
        """Plugs that cause trouble with less done to them, or with nothing."""
        for connector, seat in enumerate(self.seats):
            plain = Seat(seat.socket)
            if seat == plain or connector not in trouble:
                continue
            for simpler in (
                plain,
                replace(seat, mirror=""),
                replace(seat, rows=0, columns=0, count=0),
            ):
                if simpler != seat and self._loses_few({connector: simpler}, trouble[connector]):
                    yield self._but({connector: simpler})
            yield self._retry({connector: plain}, [connector])

    def _rounds_undone(self, trouble: Counter[int]) -> Iterator[tuple[list[Seat], frozenset[str]]]:
        """Exchanged plugs, each in its own socket again."""
        for ring in rounds(self.seats):
            apart = {c: replace(self.seats[c], socket=c) for c in ring}
            if self._loses_few(apart, sum(trouble[c] for c in ring)):
                yield self._but(apart)
            if len(ring) > 2:
                yield self._retry(apart, ring)

    def _loses_few(self, changed: dict[int, Seat], trouble: int) -> bool:
        """Whether a change may pay: few wires fall out of place, or not many more than are at fault there now.

        Two wires that fall out of place may be one exchange, so up to twice the wires that have causes of their own
        are given up for a trial. If more fall, the votes were right about this part.
        """
        lost = sum(self._right(c, self.seats[c]) - self._right(c, seat) for c, seat in changed.items())
        return lost <= max(_SETTLED, 2 * trouble)

    def _trouble(self, by_wire: WireCauses) -> Counter[int]:
        """How many wires with a cause of their own, or joined pins, touch each connector.

        A connector without any counts too, with none, if there are some at the other end of its wires.
        """
        home = self.index.home
        contacts = self._seating.near_contact, self._seating.far_contact
        trouble: Counter[int] = Counter()
        for wire, ends in enumerate(zip(self._seating.near, self._seating.far, strict=True)):
            if ends != (by_wire.near[wire], by_wire.far[wire]) or wire in by_wire.cut:
                for side in contacts:
                    trouble[home[side[wire]]] += 1
        for cause in by_wire.causes:
            if isinstance(cause, Bridged | StrayJoin):
                for pin in cause.pins:
                    trouble[self._sitting[home[self.index.number[pin]]]] += 1
        for connector in list(trouble):
            for wire in self._fed[connector]:
                for side in contacts:
                    trouble[home[side[wire]]] += 0
        return trouble

    def _across(self) -> Iterator[tuple[list[Seat], frozenset[str]]]:
        """One cause at a connector in place of several at those on the other side of its wires."""
        home = self.index.home
        odd = {c for c, seat in enumerate(self.seats) if seat != Seat(c)}
        for connector in range(len(self.seats)):
            near = not self._is_far(connector)
            ends = self._seating.far_contact if near else self._seating.near_contact
            across = {home[ends[w]] for w in self._fed[connector]}
            if len(across & odd) < 2:
                continue
            # Undo whole rounds: half a round would leave two plugs in one socket.
            rings = [ring for ring in rounds(self.seats) if set(ring) & across]
            reset = {c: Seat(c) for c in (across & odd) | {c for ring in rings for c in ring}}
            for rank in range(_LEADS):
                yield self._retry(reset, (), connector, rank)
