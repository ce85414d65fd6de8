"""A hand-held meter in a person's hands, on paper: what its display would show is typed, line by line."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from bench.plant.handled import STATES
from bench.sequence.file import Ask, Look, Prove, Zero
from bench.sequence.plan import Step
from bench.simulate.on_paper import Walker
from bench.walk import events as e
from bench.walk.by_eye import display_of, function_of
from bench.walk.facts import InstrumentFacts
from bench.walk.state import State, typed_reading

LEADS = 0.2
"""Ohms of the pair of test leads."""
Truth = Callable[[State, Step], float]
"""What is between the probes at a measuring step, in the base unit."""


@dataclass(frozen=True)
class Hand:
    """A meter and what it is held to."""

    facts: InstrumentFacts
    truth: Truth

    def display(self, function: str, value: float) -> str:
        """What the meter's display shows for a value, as a person types it."""
        return display_of(value, self.facts.displays[function])

    def reads(self, state: State, step: Step) -> str:
        source, function = step.source, function_of(step)[1]
        leads = LEADS if function == "resistance 2w" else 0.0
        if isinstance(source, Zero):
            return self.display(function, leads)
        if isinstance(source, Prove) and source.against == "open-leads":
            return self.display(function, 1e12)
        if isinstance(source, Prove) and source.against == "reference":
            assert state.setting is not None
            known = state.setting.bench.reference_for(source.read)
            assert known is not None
            return self.display(function, known.ohms.value + leads)
        return self.display(function, self.truth(state, step) + leads)


class Typing(Walker):
    """One who reads every meter and types what it shows."""

    by = "Ada"
    reason = "it is what we have"

    def identity(self, name: str) -> str:
        return "read by eye"

    def measured(self, step: Step) -> e.Event:
        return typed_reading(self.state, self.state.number)


class _Walk(Typing):
    """With nothing but such meters."""

    def __init__(self, began: e.Began, hands: Sequence[Hand]) -> None:
        self._of = {hand.facts.name: hand for hand in hands}
        self.begin(began)

    def placed(self, step: Step) -> e.Event:
        assert step.role is not None
        return self.answered(self._of[self.bench.role_of[step.role]].reads(self.state, step))

    def said(self, step: Step) -> str:
        match step.source:
            case Look() as look:
                return (look.expect or list(STATES[look.kind]))[0]
            case Ask():
                return "20"
        return super().said(step)


def walked(began: e.Began, *hands: Hand, kept: list[e.Entry] | None = None) -> State:
    """A whole walk with nothing but such meters; its entries are put into ``kept``."""
    walk = _Walk(began, hands)
    walk.run()
    if kept is not None:
        kept.extend(walk.entries)
    return walk.state
