"""A hand-held meter in a person's hands, on paper: what its display would show is typed, line by line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from bench.plant.handled import STATES
from bench.sequence.file import Do, Hold, Look, Measure, Prove, Zero
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.by_eye import display_of, function_of
from bench.walk.facts import InstrumentFacts
from bench.walk.state import State, request, start, take, typed_reading

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


def walked(began: e.Began, *hands: Hand, kept: list[e.Entry] | None = None) -> State:
    """A whole walk with nothing but such meters; its entries are put into ``kept``."""
    state = start()
    at = "2026-05-01T18:00:00.000000Z"
    of = {hand.facts.name: hand for hand in hands}

    def add(event: e.Event) -> None:
        nonlocal state
        entry = e.Entry(n=state.taken + 1, at=at, event=event)
        state = take(state, entry)
        if kept is not None:
            kept.append(entry)

    add(began)
    while not state.finished:
        asked = request(state)
        match asked:
            case r.MakeSafe():
                add(e.MadeSafe(number=asked.number))
            case r.Meet(roles=roles):
                name = began.bench.role_of[roles[0]]
                mine = [role for role in roles if began.bench.role_of[role] == name]
                add(e.Met(number=asked.number, instrument=name, roles=mine, identity="read by eye"))
            case r.Measure():
                add(typed_reading(state, asked.number))
            case r.Place(step=step):
                assert step.role is not None
                typed = of[began.bench.role_of[step.role]].reads(state, step)
                add(e.Answered(number=asked.number, answer=typed, by="Ada"))
            case r.Consent():
                add(e.Answered(number=asked.number, answer="it is what we have", by="Ada"))
            case r.Wait(left=left):
                add(e.Elapsed(number=asked.number, seconds=left))
            case r.Ask(step=step):
                add(e.Answered(number=asked.number, answer=_said(step), by="Ada"))
            case other:
                raise AssertionError(f"nothing is asked: {other}")
    return state


def _said(step: Step) -> str:
    source = step.source
    match source:
        case Hold():
            return source.word
        case Look():
            return (source.expect or list(STATES[source.kind]))[0]
        case Do(beeps=pair) if pair is not None:
            return "yes"
        case Measure():
            return ""
    return "20" if step.kind == "ask" else "to see" if step.kind == "gate" else ""
