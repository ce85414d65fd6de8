"""A relay matrix in the place of hands: it joins the meter to the places of a step, where all of them are wired.

The relays themselves are moved by the matrix's own thread in :mod:`bench.runner.crew`, and only while the reading
runs. Here is what it reaches, and hands that leave those steps to it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from bench.instruments.matrix_wiring import REFERENCE, TOGETHER, Routes
from bench.runner.ports import Hands
from bench.sequence.file import NOWHERE, Measure, Prove, Zero
from bench.sequence.plan import Step


def channels_for(routes: Routes, role_of: Mapping[str, str], step: Step) -> tuple[str, ...] | None:
    """The channels that put a step's places on the buses; None where the matrix does not reach them.

    Args:
        routes: what the matrix can join.
        role_of: role to instrument name: the step must be read by the meter on the buses.
        step: the step.
    """
    source = step.source
    match source:
        case Measure() if source.wires == 2:
            reads, channels = source.read, _between(routes, source.between, source.join)
        case Zero():
            reads, channels = "resistance", routes.pairs.get(TOGETHER)
        case Prove(against="reference", wires=2) if source.between == NOWHERE:
            reads, channels = source.read, routes.pairs.get(REFERENCE)
        case Prove(against="open-leads", wires=2):
            reads, channels = source.read, ()
        case _:
            return None
    if reads not in routes.reads or role_of.get(step.role or "") != routes.meter:
        return None
    return channels


def _between(routes: Routes, between: tuple[str, str], join: Sequence[Sequence[str]]) -> tuple[str, ...] | None:
    """Each lead on its place, and on everything that is joined to it; a group that neither is on has no bus."""
    sides = [[place] for place in between]
    for group in join:
        held = [side for side in sides if side[0] in group]
        if len(held) != 1:
            return None
        held[0] += [place for place in group if place not in held[0]]
    return routes.closing(*sides)


class RoutedHands:
    """Hands beside a relay matrix: what it reaches is left to it.

    Args:
        hands: who places the probes elsewhere.
        routes: what the matrix can join.
        role_of: role to instrument name.
    """

    def __init__(self, hands: Hands, routes: Routes, role_of: Mapping[str, str]) -> None:
        self.name = hands.name
        self._hands = hands
        self._routes = routes
        self._role_of = role_of

    def reaches(self, step: Step) -> str:
        """The matrix, where it places by itself."""
        return self._routes.switch if channels_for(self._routes, self._role_of, step) is not None else ""

    def place(self, step: Step) -> None:
        """Put the probes where the step wants them; off everything where the matrix does it."""
        if self.reaches(step):
            self._hands.lift()
        else:
            self._hands.place(step)

    def lift(self) -> None:
        """Take the probes off."""
        self._hands.lift()

    def act(self, step: Step) -> None:
        """Do what the step says."""
        self._hands.act(step)

    def answer(self, step: Step) -> str:
        """What the hands answer."""
        return self._hands.answer(step)

    def jump(self, seconds: float) -> bool:
        """Let time pass at once, where it is simulated."""
        return self._hands.jump(seconds)
