"""A plan carried out on paper: how many readings it takes on a sound cable whose order nobody knows."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence

from bench.diagnose.script import Card, Clear, Clip, Probe, Request, Script, SetUp, Value, carry_out

_ORDERS = 5
"""Orders of the far ends over which readings are averaged."""
_FEWER = 60
"""With more conductors than this two orders do: the counts hardly differ."""
MOST = 300
"""With more conductors than this a plan is not rehearsed: it would take longer than anybody waits."""


def readings_of(script: Callable[[], Script[object]], conductors: Sequence[str], flags: Sequence[str]) -> float:
    """Readings that a plan takes on average where all is well.

    Args:
        script: the plan, at its beginning each time it is called.
        conductors: names at the near end.
        flags: as many at the far end.
    """
    orders = _ORDERS if len(flags) <= _FEWER else 2
    total = 0
    for number in range(orders):
        cable = _SoundCable(conductors, flags, number)
        carry_out(script(), cable.look)
        total += cable.read
    return total / orders


class _SoundCable:
    """Every conductor gets through, none is joined; clips do what cards say."""

    def __init__(self, conductors: Sequence[str], flags: Sequence[str], number: int) -> None:
        there = list(conductors)
        random.Random(f"rehearsal {number}").shuffle(there)
        self._on = dict(zip(flags, there, strict=True))
        self._clips: dict[str, list[tuple[str, ...]]] = {"near": [], "far": []}
        self._root: dict[str, str] = {}
        self.read = 0

    def look(self, request: Request) -> Value:
        """Do what is asked, and say whether two sides are joined."""
        if isinstance(request, SetUp):
            self._take(request.card)
            return None
        return self._joined(request)

    def _take(self, card: Card) -> None:
        clips = self._clips[card.end]
        for step in card.steps:
            if isinstance(step, Clear):
                clips.clear()
            elif isinstance(step, Clip):
                clips.append(step.members)
        self._root = {}
        for end, groups in self._clips.items():
            for group in groups:
                first = self._top(self._wire(end, group[0]))
                for other in group[1:]:
                    self._root[self._top(self._wire(end, other))] = first

    def _joined(self, probe: Probe) -> bool:
        self.read += 1
        red, black = ({self._top(self._wire(probe.end, name)) for name in side} for side in (probe.red, probe.black))
        return bool(red & black)

    def _wire(self, end: str, name: str) -> str:
        # what is known at both ends has one name at both
        return self._on.get(name, name) if end == "far" else name

    def _top(self, wire: str) -> str:
        while (above := self._root.get(wire, wire)) != wire:
            wire = above
        return wire
