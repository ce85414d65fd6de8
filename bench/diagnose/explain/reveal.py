"""Where wires that do not get through are landed, in few readings: one against many on a bar, chosen by information.

A script (:mod:`bench.diagnose.script`) over the pins of a design. What is believed is a weight for each guess
(:mod:`bench.diagnose.explain.guesses`), and for each wire, apart from any guess, that it is open, exchanged with
another that does not get through, or landed somewhere else. A wire's near end is read against the far pins that hold
about half of its chances, until its place is known; what it tells of the guesses goes into the next choice. Where all
may be open, all are read at once: every near end on one bar against every far pin on another. Once a guess is all but
certain, what is left is a check: each wire against the one pin where it should be. A wire that is not there is looked
for on its own.

One reading may be wrong: a probe beside its place, a figure mistyped, a contact that comes and goes. So two places that
were told as joined by readings on bars alone, or that the walk had read apart before, are read against each other once
more in the end. Of three readings the two that agree count.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec

from bench.diagnose.explain.guesses import Guess, guesses
from bench.diagnose.explain.pin_map import Design, Measured, Pin
from bench.diagnose.explain.seen import Seen
from bench.diagnose.halving import separate
from bench.diagnose.script import Probe, Script

OPEN, EXCHANGED, ELSEWHERE = 2.0, 1.25, 4.0
"""Bits for a wire that is open, exchanged with another that does not get through, or landed somewhere else: the order
matters, the exact figures do not (common practice, no source)."""
NO_ORDER = 5.0
"""Bits for a connector whose wires are in no order, before any was found."""
_MATE, _BESIDE = 8.0, 3.0
"""How much likelier a wire is exchanged with the other of its pair, and with one beside it, than with any other."""
_STRAYS = 0.04
"""Share of a guess's wires that are somewhere else than the guess has them."""
SURE = 0.97
"""Weight of one guess at which the rest is a check."""
_TELLS_NOTHING = 0.05
"""Bits below which a reading is not worth its place."""
_LOST = 4
"""Wires found where no guess has them, and not exchanged two by two, at which an early look calls the order lost."""
_LEAST_ALL_OPEN = 0.2
"""Chance that all are open at which they are read all at once."""


class BothWays(msgspec.Struct, frozen=True):
    """Two places that were read joined and apart.

    Attributes:
        between: the two places.
        before: whether the walk itself had read them apart; otherwise readings on bars told that they are joined, and
            a reading of the two alone that they are not.
        joined: what counts: whether the last reading of the two alone found them joined; None where it was skipped.
    """

    between: tuple[str, str]
    before: bool
    joined: bool | None


class Revealed(msgspec.Struct):
    """What a reveal found.

    Attributes:
        joined: pins that conduct, two by two.
        apart: pins, many against many, that do not.
        checked: whether each wire was looked for, and not only enough for one guess.
        guess: the guess that is all but certain, where there is one.
        lost: whether wires were found in no order, so that looking for the rest one by one is not worth it.
        both: places that were read both joined and apart. Those of them that count as joined are in ``joined``, those
            that count as apart in ``apart``.
    """

    joined: list[tuple[str, str]] = msgspec.field(default_factory=list)
    apart: list[tuple[tuple[str, ...], tuple[str, ...]]] = msgspec.field(default_factory=list)
    checked: bool = True
    guess: Guess | None = None
    lost: bool = False
    both: list[BothWays] = msgspec.field(default_factory=list)


def reveal(
    design: Design, measured: Measured, *, check: bool = True, joins: bool = True, beside: Sequence[str] = ()
) -> Script[Revealed]:
    """The script for one map; it asks nothing where no wire failed.

    Args:
        design: how it should be.
        measured: what was measured so far.
        check: whether to look for every wire that does not get through; otherwise only until one guess is sure.
        joins: whether to look for joins among the near ends in the end.
        beside: other places that the near ends must be apart from, such as frames and screens.
    """
    return _Reveal(design, measured).run(check, joins, beside)


class _Reveal:
    """What is known while it goes on. Pins and wires are numbers of the design's index."""

    def __init__(self, design: Design, measured: Measured) -> None:
        self.index = index = design.index
        self.seen = seen = Seen(index, measured)
        self.found = Revealed()
        number = index.number
        self.parted = {frozenset(self.named([number[a], number[b]])) for a, b in measured.parted}
        self.read_alone: set[frozenset[str]] = set()
        lands: dict[int, int] = {}
        for near, far in zip(index.near, index.far, strict=True):
            lands[near] = lands.get(near, 0) + 1
            lands[far] = lands.get(far, 0) + 1
        # a designed common holds several wires: which of them fails is not for this to find
        self.own = {
            near: far for near, far in zip(index.near, index.far, strict=True) if lands[near] == lands[far] == 1
        }
        self.wire = {near: wire for wire, near in enumerate(index.near)}
        self.apart: dict[int, set[int]] = {}
        for pair in measured.parted:
            a, b = sorted((number[pair[0]], number[pair[1]]))
            self.apart.setdefault(a, set()).add(b)
        joined: dict[int, int] = {}
        for pair in measured.joins:
            a, b = sorted((number[pair[0]], number[pair[1]]))
            if a < index.near_pins <= b:
                joined[a] = b
        # two nets of the design in one group: what else is joined is worth its readings
        net: dict[int, int] = {}
        for near, far in zip(index.near, index.far, strict=True):
            net[near] = net[far] = min(net.get(near, near), net.get(far, near))
        self.joined_amiss = any(net.get(number[a], -1) != net.get(number[b], -2) for a, b in measured.joins)
        self.sound = {near for near, far in self.own.items() if joined.get(near) == far}
        self.landed: dict[int, int | None] = {}
        self.left: list[int] = []
        for near, far in self.own.items():
            if near in self.sound or far not in self.apart.get(near, set()):
                continue
            if near in joined:
                self.landed[near] = joined[near]
            else:
                self.left.append(near)
        # wires that nobody read yet tell guesses apart that agree on those that failed
        self.unread = [
            near
            for near, far in self.own.items()
            if near not in self.sound and near not in joined and far not in self.apart.get(near, set())
        ]
        self.troubled = [self.wire[near] for near in (*self.landed, *self.left)]
        self.some_land = False
        self.guesses: list[Guess] = guesses(index, seen, self.troubled) if len(self.troubled) > 1 else []
        self.far = list(range(index.near_pins, len(index.pins)))
        self.cost = 1.5 + math.log2(max(2, len(index.wires)))

    # The script.

    def run(self, check: bool, joins: bool, beside: Sequence[str]) -> Script[Revealed]:
        """Readings until every wire is found, or one guess is sure; then those that need a second look."""
        yield from self.look(check, joins, beside)
        if not self.found.lost:
            yield from self.once_more()
        return self.found

    def look(self, check: bool, joins: bool, beside: Sequence[str]) -> Script[None]:
        """Readings until every wire is found, or one guess is sure."""
        troubled = bool(self.left) or self.joined_amiss
        read = 0
        while self.left or (not check and self.unread and len(self.guesses) > 1):
            weights = self.weights()
            best = max(range(len(weights)), key=weights.__getitem__)
            sure = best < len(self.guesses) and weights[best] >= SURE and read >= 2
            self.found.guess = self.guesses[best] if sure else None
            if sure and not check:
                self.found.checked = False
                return
            if not check and weights[-1] >= SURE and self.out_of_order() >= _LOST:
                self.found.checked, self.found.lost = False, True
                return
            if len(self.left) > 1 and not self.some_land and self.all_open(weights) >= _LEAST_ALL_OPEN:
                self.some_land = yield from self.ask(self.left, self.far)
                if not self.some_land:
                    self.landed |= dict.fromkeys(self.left)
                    self.left = []
                continue
            near = self.left[0] if sure else self.most_telling(weights, not check)
            if near is None:
                break
            yield from self.locate(near)
            read += 1
        if joins and troubled:
            yield from self.joins(beside)

    def once_more(self) -> Script[None]:
        """A reading of two places alone, where only bars told that they are joined, or where they were read apart."""
        for pair in list(self.found.joined):
            before = frozenset(pair) in self.parted
            if not before and frozenset(pair) in self.read_alone:
                continue
            a, b = pair
            joined = yield Probe("near", (a,), (b,), "joined", again=True)
            if joined is None and not before:
                continue
            if before or not joined:
                known = None if joined is None else bool(joined)
                self.found.both.append(BothWays(pair, before, known))
            if not joined:
                self.found.joined.remove(pair)
                # a frame or a screen is on no map
                if joined is not None and {a, b} <= {place(pin) for pin in self.index.pins}:
                    self.found.apart.append(((a,), (b,)))

    def ask(self, near: Sequence[int], far: Sequence[int]) -> Script[bool]:
        """One reading of near pins against far pins, with what it tells kept."""
        red, black = self.named(near), self.named(far)
        joined = yield from self._against(red, black)
        if not joined:
            self.found.apart.append((red, black))
            for one in near:
                self.apart.setdefault(one, set()).update(far)
        elif len(near) == len(far) == 1:
            self.found.joined.append((red[0], black[0]))
        return joined

    def named(self, pins: Sequence[int]) -> tuple[str, ...]:
        """Pins as places that a probe can touch."""
        return tuple(place(self.index.pins[pin]) for pin in pins)

    def locate(self, near: int) -> Script[None]:
        """Find the far pin of one near pin, or that it has none."""
        among: set[int] | None = None
        while True:
            chances, nowhere = self.chances(near, among)
            if among is not None and len(among) == 1:
                (far,) = among
                self.landed[near] = far
                self.found.joined.append((self.named([near])[0], self.named([far])[0]))
                break
            if not chances:
                self.landed[near] = None
                break
            side = half(chances, nowhere)
            if (yield from self._against(self.named([near]), self.named(side))):
                among = set(side)
            else:
                self.found.apart.append((self.named([near]), self.named(side)))
                self.apart.setdefault(near, set()).update(side)
                if among is not None:
                    among -= set(side)
        (self.unread if near in self.unread else self.left).remove(near)
        self.some_land = self.some_land or self.landed[near] is not None

    def joins(self, beside: Sequence[str]) -> Script[None]:
        """Joins among the near ends and the places beside them, all against all."""
        index, label = self.index, self.seen.label
        first: dict[int, int] = {}
        together: dict[int, int] = {}
        for near in sorted(set(index.near)):
            group = label[near] if label[near] >= 0 else -1 - near
            held = together.get(group)
            if held is None:
                together[group] = near
                first[near] = near
        nets = (*self.named(list(first)), *beside)
        pairs = yield from separate(nets, self._against)
        self.found.joined += pairs

    def _against(self, red: Sequence[str], black: Sequence[str]) -> Script[bool]:
        joined = bool((yield Probe("near", tuple(red), tuple(black), "joined")))
        if joined and len(red) == len(black) == 1:
            self.read_alone.add(frozenset((red[0], black[0])))
        return joined

    def out_of_order(self) -> int:
        """How many wires were found elsewhere, those left out that sit in each other's place."""
        near_of = {far: near for near, far in self.own.items()}
        elsewhere = {near: far for near, far in self.landed.items() if far is not None and far != self.own[near]}
        return sum(elsewhere.get(near_of.get(far, -1)) != self.own[near] for near, far in elsewhere.items())

    # What is believed.

    def weights(self) -> list[float]:
        """The weight of each guess, and of none of them in the end, an order that is lost among these; together 1."""
        costs = [guess.bits + self.cost * self.amiss(guess) for guess in self.guesses]
        costs.append(min(self.cost * len(self.troubled), self.no_order()))
        least = min(costs)
        weights = [2.0 ** (least - cost) for cost in costs]
        total = math.fsum(weights)
        return [weight / total for weight in weights]

    def no_order(self) -> float:
        """Bits for wires in no order: where each that was found sits is then chance, and nothing else is said."""
        pins = max(2, len(self.far) // max(1, len(self.index.connectors) - self.index.near_connectors))
        found = sum(far is not None for far in self.landed.values()) + len(self.sound)
        dead = len(self.landed) - found + len(self.sound)
        return NO_ORDER + math.log2(max(2, len(self.index.connectors))) + math.log2(pins) * found + self.cost * dead

    def amiss(self, guess: Guess) -> int:
        """How many wires are not where a guess has them."""
        wrong = sum(guess.partner.get(near) != self.own[near] for near in self.sound)
        wrong += sum(guess.partner.get(near) != far for near, far in self.landed.items())
        for near in self.left:
            there = guess.partner.get(near)
            wrong += there is not None and (there == self.own[near] or there in self.apart.get(near, ()))
        return wrong

    def alone(self, near: int, among: set[int] | None) -> tuple[dict[int, float], float]:
        """The chances of a wire's far pins apart from any guess, and that it leads nowhere."""
        index = self.index
        apart = self.apart.get(near, set())
        taken = {far for far in self.landed.values() if far is not None} | {self.own[one] for one in self.sound}
        wires = {self.own[self.index.near[wire]] for wire in self.troubled}
        own = self.own[near]
        mate = index.mate[self.wire[near]]
        beside: dict[int, float] = {}
        elsewhere: list[int] = []
        for far in self.far if among is None else sorted(among):
            if far in apart or far == own:
                continue
            if far in taken or far not in wires:
                elsewhere.append(far)
                continue
            share = 1.0
            if mate >= 0 and index.far[mate] == far:
                share = _MATE
            elif index.home[far] == index.home[own] and abs(index.place[far] - index.place[own]) == 1:
                share = _BESIDE
            beside[far] = share
        chances: dict[int, float] = {}
        total = math.fsum(beside.values())
        for far, share in beside.items():
            chances[far] = 2.0**-EXCHANGED * share / total
        if near in self.unread and own not in apart and (among is None or own in among):
            chances[own] = 1.0
        for far in elsewhere:
            chances[far] = 2.0**-ELSEWHERE / len(elsewhere)
        return chances, 0.0 if among is not None else 2.0**-OPEN

    def chances(self, near: int, among: set[int] | None) -> tuple[dict[int, float], float]:
        """The chances of a wire's far pins, and that it leads nowhere; together 1 where anything is left."""
        alone, nowhere = self.alone(near, among)
        total = math.fsum(alone.values()) + nowhere
        if not alone:
            return {}, 1.0
        weights = self.weights()
        chances = dict.fromkeys(alone, 0.0)
        none = 0.0
        for guess, weight in zip([*self.guesses, None], weights, strict=True):
            there = guess.partner.get(near) if guess is not None else self.own[near]
            share = 1.0
            if there is None and among is None:
                none += weight * (1.0 - _STRAYS)
                share = _STRAYS
            elif there in chances:
                chances[there] += weight * (1.0 - _STRAYS)
                share = _STRAYS
            for far, chance in alone.items():
                chances[far] += weight * share * chance / total
            none += weight * share * nowhere / total
        return chances, none

    def all_open(self, weights: Sequence[float]) -> float:
        """The chance that every wire that is left leads nowhere."""
        alone = [nowhere / (math.fsum(chances.values()) + nowhere) for chances, nowhere in self._each_alone()]
        chance = weights[-1] * math.prod(alone)
        for guess, weight in zip(self.guesses, weights, strict=False):
            shares = [
                1.0 - _STRAYS if near not in guess.partner else share * (_STRAYS if self.moves(guess, near) else 1.0)
                for near, share in zip(self.left, alone, strict=True)
            ]
            chance += weight * math.prod(shares)
        return chance

    def moves(self, guess: Guess, near: int) -> bool:
        """Whether a guess says of a wire anything else than that it is where it should be."""
        return guess.partner.get(near) != self.own[near]

    def _each_alone(self) -> list[tuple[dict[int, float], float]]:
        return [self.alone(near, None) for near in self.left]

    def most_telling(self, weights: Sequence[float], unread: bool) -> int | None:
        """The wire on whose place the guesses differ most; the first of those that are as good.

        Of wires that nobody read only one that tells more is taken, and none where nothing else is left to tell.
        """
        best, chosen = (-1.0, self.left[0]) if self.left else (_TELLS_NOTHING, None)
        for near in (*self.left, *(self.unread if unread else ())):
            places: dict[int | None, float] = {}
            for guess, weight in zip(self.guesses, weights, strict=False):
                there = guess.partner.get(near)
                if there != self.own[near] or near in self.unread:
                    places[there] = places.get(there, 0.0) + weight
            tells = -math.fsum(share * math.log2(share) for share in places.values() if share > 0)
            if tells > best + (_TELLS_NOTHING if near in self.unread else 1e-9):
                best, chosen = tells, near
        return chosen


def half(chances: dict[int, float], nowhere: float) -> list[int]:
    """The far pins to read against: the likeliest that together hold about half of all chances."""
    total = math.fsum(chances.values()) + nowhere
    ordered = sorted(chances, key=lambda far: (-chances[far], far))
    side: list[int] = []
    held = 0.0
    for far in ordered:
        if side and abs(held - total / 2) <= abs(held + chances[far] - total / 2):
            break
        side.append(far)
        held += chances[far]
    # all of them would tell nothing where one of them must be it
    if not nowhere and len(side) == len(ordered) > 1:
        side.pop()
    return side


def place(pin: Pin) -> str:
    """A pin as the plant calls it."""
    return f"{pin.connector}.{pin.name}"
