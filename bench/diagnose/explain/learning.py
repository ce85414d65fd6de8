"""A cable's pin list learned from a map that was read whole: what is there is taken, what looks like damage is asked.

A sound cable of which no list is left tells its own: every wire from the near pin where it begins to the far pin where
it was found. But a cable that was in use for decades is seldom all sound, and a list with its faults in it would make
every later proof pass them. So the map is held against what it may be meant to be: the pins of one name, the other
order of a plug, the twin that runs beside it, the pairs of its type. Where it is like one of these but for a few wires,
those few are not learned: they are asked. An open wire, and wires in one joint, are always asked.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from typing import Final

import msgspec

from bench.diagnose.explain.pin_map import Pin
from bench.diagnose.explain.seen import Seen
from bench.diagnose.explain.walk_map import WalkMap
from bench.plant.model import Plant
from bench.plant.things import Cable

_FEW: Final = 0.15
"""Share of a cable's wires that may differ from a list for the map to be that list with faults (own choice)."""
_FEWEST: Final = 2
_PAIRS_ALIKE: Final = 0.8
"""Share of the pairs whose wires lie the same step apart, from which on another step looks like a split pair."""


class Doubt(msgspec.Struct, frozen=True):
    """Wires that look like damage.

    Attributes:
        conductors: their names.
        why: what they look like, and what to look at.
    """

    conductors: tuple[str, ...]
    why: str


class Learned(msgspec.Struct, frozen=True, dict=True):
    """What a map tells of a cable's pins.

    Attributes:
        cable: its name.
        pins: conductor to the far place that it was found at, those in doubt too.
        doubts: what is asked before it is learned.
        like: the lists that the map is like, in words.
        missing: near places of which nobody knows where they lead: the map was not read whole.
    """

    cable: str
    pins: Mapping[str, str]
    doubts: tuple[Doubt, ...]
    like: tuple[str, ...]
    missing: tuple[str, ...] = ()

    @cached_property
    def asked(self) -> frozenset[str]:
        """The conductors that are in doubt."""
        return frozenset(name for doubt in self.doubts for name in doubt.conductors)

    def sure(self, taken: Sequence[str] = ()) -> dict[str, str]:
        """Conductor to its far place, as far as it is learned.

        Args:
            taken: conductors in doubt that somebody says are meant so.
        """
        return {name: place for name, place in self.pins.items() if name not in self.asked or name in taken}


def learned(plant: Plant, cable: Cable, one: WalkMap, twins: Sequence[Cable] = ()) -> Learned:
    """What a map tells of a cable.

    Args:
        plant: the plant, in which the cable's wires begin at their near pins; where they end may be wrong.
        cable: the cable.
        one: the map, with the cable in it.
        twins: cables that it may be like.
    """
    return _Learner(plant, cable, one, twins).learn()


class _Learner:
    def __init__(self, plant: Plant, cable: Cable, one: WalkMap, twins: Sequence[Cable]) -> None:
        self.plant, self.cable, self.twins = plant, cable, twins
        self.index = index = one.design.index
        self.seen = Seen(index, one.measured)
        self.wires = [wire for wire in range(len(index.wires)) if index.wires[wire].cable == cable.name]
        self.names = {wire: index.names[wire] for wire in self.wires}
        self.far = {
            pin for connector in cable.far if connector in index.connector_number
            for pin in index.order[index.connector_number[connector]]
        }  # fmt: skip
        self.parted = {frozenset((index.number[a], index.number[b])) for a, b in one.measured.parted}
        self.at: dict[int, int] = {}
        """Wire to the far pin where it was found."""
        self.alone: list[int] = []
        self.doubts: list[Doubt] = []
        self.missing: list[str] = []

    def learn(self) -> Learned:
        """Sort the wires, and hold the map against what it may be meant to be."""
        self._sort()
        self._ask_opens()
        like = [*self._like_lists(), *self._like_type()]
        pins = {self.names[wire]: _place(self.index.pins[pin]) for wire, pin in self.at.items()}
        order = [one.name for one in self.cable.conductors]
        return Learned(
            self.cable.name,
            {name: pins[name] for name in order if name in pins},
            tuple(self.doubts),
            tuple(like),
            tuple(self.missing),
        )

    def _sort(self) -> None:
        index, seen = self.index, self.seen
        joints: dict[int, list[int]] = {}
        for wire in self.wires:
            group = seen.label[index.near[wire]]
            if group < 0:
                self.missing.append(_place(index.pins[index.near[wire]]))
                continue
            found = [pin for pin in seen.far[group] if pin in self.far]
            if len(seen.near[group]) > 1 or len(seen.far[group]) > 1:
                joints.setdefault(group, []).append(wire)
            elif found:
                self.at[wire] = found[0]
            else:
                self.alone.append(wire)
        for group, wires in joints.items():
            places = [_place(index.pins[pin]) for pin in (*seen.near[group], *seen.far[group])]
            self.doubts.append(
                Doubt(
                    tuple(self.names[wire] for wire in wires),
                    f"{', '.join(places)} are one joint: a strap that is meant, or a short? Look for it",
                )
            )

    def _ask_opens(self) -> None:
        """Wires that reach nothing: open, if every far pin that is left over was tried."""
        index = self.index
        used = set(self.at.values())
        left = [pin for pin in sorted(self.far) if pin not in used and self._lonely(pin)]
        for wire in self.alone:
            near = index.near[wire]
            untried = [pin for pin in left if frozenset((near, pin)) not in self.parted]
            if untried:
                self.missing.append(_place(index.pins[near]))
                continue
            places = [_place(index.pins[pin]) for pin in left]
            over = (
                f", and {', '.join(places)} {'is' if len(left) == 1 else 'are'} left over" if 0 < len(left) <= 4 else ""
            )
            self.doubts.append(
                Doubt(
                    (self.names[wire],),
                    f"{_place(index.pins[near])} reaches no pin at the other end{over}: one that was never used, or an "
                    "open wire? Look at both ends",
                )
            )

    def _lonely(self, pin: int) -> bool:
        group = self.seen.label[pin]
        return group < 0 or self.seen.size[group] == 1

    # What it may be meant to be.

    def _like_lists(self) -> Iterator[str]:
        """The list that the map is like; where a few wires differ from it, these are asked."""
        found: list[tuple[int, int, str, list[int]]] = []
        for number, (what, far) in enumerate(self._lists()):
            compared = [wire for wire in self.at if wire in far]
            differ = [wire for wire in compared if self.at[wire] != far[wire]]
            if len(compared) >= max(_FEWEST + 1, len(self.at) // 2):
                found.append((len(differ), number, what, differ))
        if not found:
            return
        count, _, what, differ = min(found)
        if not count:
            yield f"as {what}"
        elif count <= max(_FEWEST, _FEW * len(self.at)):
            yield f"as {what}, but for {count}"
            places = ", ".join(f"{self._near(wire)} on {_place(self.index.pins[self.at[wire]])}" for wire in differ)
            self.doubts.append(
                Doubt(
                    tuple(self.names[wire] for wire in differ),
                    f"all but these are as {what}: {places}. Meant so, or wires that were exchanged? Look at a "
                    "drawing, or at the colours at both ends",
                )
            )
        else:
            yield "like no list that is known: an order of its own"

    def _lists(self) -> Iterator[tuple[str, dict[int, int]]]:
        """What the map may be meant to be: words, and wire to its far pin."""
        index = self.index
        by_name = {index.pins[pin].name: pin for pin in sorted(self.far, reverse=True)}
        yield "the plant file has it", {wire: index.far[wire] for wire in self.wires}
        straight = {wire: by_name.get(index.pins[index.near[wire]].name) for wire in self.wires}
        yield "pins of one name at both ends", {wire: pin for wire, pin in straight.items() if pin is not None}
        for twin in self.twins:
            theirs = {
                one.near.pin: one.far.pin for one in twin.conductors if one.near is not None and one.far is not None
            }
            far = {wire: by_name.get(theirs.get(index.pins[index.near[wire]].name, "")) for wire in self.wires}
            yield f"its twin {twin.name}", {wire: pin for wire, pin in far.items() if pin is not None}

    def _like_type(self) -> Iterator[str]:
        """What the cable's type says: how many wires, and that the wires of a pair stay together."""
        count = self.cable.type.count
        through = len(self.at)
        if through < count:
            yield f"{through} of {count} wires of its type get through alone"
        steps: dict[int, list[int]] = {}
        index = self.index
        for one in self.wires:
            mate = index.mate[one]
            if mate > one and one in self.at and mate in self.at:
                a, b = self.at[one], self.at[mate]
                step = index.place[b] - index.place[a] if index.home[a] == index.home[b] else 0
                steps.setdefault(step, []).append(one)
        pairs = Counter({step: len(wires) for step, wires in steps.items()})
        if not pairs:
            return
        usual, number = pairs.most_common(1)[0]
        if number == pairs.total():
            yield "the wires of each pair lie alike"
        elif number >= _PAIRS_ALIKE * pairs.total():
            known = {name for doubt in self.doubts for name in doubt.conductors}
            for step, wires in steps.items():
                for wire in wires if step != usual else ():
                    pair = (self.names[wire], self.names[index.mate[wire]])
                    if not known & set(pair):
                        self.doubts.append(
                            Doubt(pair, f"pair {' and '.join(pair)} lies otherwise than the others: reversed or split?")
                        )

    def _near(self, wire: int) -> str:
        return _place(self.index.pins[self.index.near[wire]])


def _place(pin: Pin) -> str:
    return f"{pin.connector}.{pin.name}"
