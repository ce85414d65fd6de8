"""Whoever answers the machine of a walk on paper: no port, no clock, no runner.

One walker for all: the season's evenings and the tests each bring hands and a meter of their own. As it stands it is a
willing person who finds everything as it should be; whoever wants it otherwise overrides that.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any, Final

import msgspec

from bench.diagnose.searches import adviser
from bench.roles import UNIT_OF
from bench.sequence.file import Ask, Look
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk import requests as r
from bench.walk.facts import BenchFacts
from bench.walk.state import State, request, start, take

NIGHT: Final = datetime(2026, 5, 12, 18, 0, 0, tzinfo=UTC)
"""When a walk on paper begins."""

AT_REST: Final = {"breaker": "open", "supply": "off", "card": "in", "bond": "in place", "plug": "mated"}
"""How things of each kind stand in a plant that rests."""


def at_rest(step: Step) -> str:
    """What somebody says who looks at a plant that rests; empty where nobody is asked to look."""
    return AT_REST[step.source.kind] if isinstance(step.source, Look) else ""


class Walker:
    """Answers whatever is asked and keeps what was written down.

    Attributes:
        state: where the walk stands.
        entries: everything that happened since this walker came.
        by: who it is.
        reason: why it goes on where a bench cannot prove every limit.
    """

    state: State
    entries: list[e.Entry]
    by: str = "Ana"
    reason: str = "to see what it shows"

    def begin(self, began: e.Began) -> None:
        """The first event of a walk."""
        self.state, self.entries = start(), []
        self.add(began)

    # what happens

    @property
    def asked(self) -> r.Request:
        """The open request."""
        return request(self.state)

    @property
    def step(self) -> Step:
        """The step under way."""
        assert self.state.step is not None
        return self.state.step

    @property
    def bench(self) -> BenchFacts:
        """The bench of the walk."""
        assert self.state.setting is not None
        return self.state.setting.bench

    def at(self) -> str:
        """The time of day of the next event: a second later than the one before."""
        return (NIGHT + timedelta(seconds=self.state.taken)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")

    def entry(self, event: e.Event) -> e.Entry:
        """An event in the envelope that it would have now."""
        return e.Entry(n=self.state.taken + 1, at=self.at(), event=event)

    def add(self, event: e.Event) -> e.Entry:
        """Fold one event and keep it; nothing is kept where the machine does not take it."""
        entry = self.entry(event)
        self.state = take(self.state, entry)
        self.entries.append(entry)
        return entry

    def one(self) -> e.Event:
        """Answer what is asked now; returns the answer."""
        return self.add(self.event()).event

    def run(self) -> State:
        """To the end."""
        while not self.state.finished:
            self.one()
        return self.state

    def event(self) -> e.Event:
        """The event that answers the open request."""
        number = self.state.number
        match self.asked:
            case r.MakeSafe():
                return e.MadeSafe(number=number, confirmed=self.made_safe())
            case r.Meet(roles=roles):
                name = self.bench.role_of[roles[0]]
                mine = [role for role in roles if self.bench.role_of[role] == name]
                return e.Met(
                    number=number, instrument=name, roles=mine, identity=self.identity(name), serial=self.serial(name)
                )
            case r.Consent():
                return self.answered(self.reason)
            case r.Ask(step=step):
                return self.done(step)
            case r.Place(step=step):
                return self.placed(step)
            case r.Measure(step=step):
                return self.measured(step)
            case r.Switch(step=step):
                return self.switched(step)
            case r.Energise(step=step):
                return self.brought_up(step)
            case r.Wait(left=left):
                return self.waited(left)
            case r.Advise():
                return self.advised()
            case r.Resolve():
                return self.answered("retry")
            case r.Rest():
                return e.Continued(by=self.by)
            case other:
                raise AssertionError(f"nothing is asked: {other}")

    # hands

    def answered(self, answer: str = "") -> e.Answered:
        """An answer to what is asked."""
        return e.Answered(number=self.state.number, answer=answer, by=self.by)

    def done(self, step: Step) -> e.Event:
        """A step that a person reads, does or types."""
        return self.answered(self.said(step))

    def said(self, step: Step) -> str:
        """What is typed there: the word of a hold point, how the plant stands, a reason, a temperature."""
        if step.kind == "do":
            return "yes" if step.source.probes is not None else ""
        if isinstance(step.source, Ask) and step.source.name == "capacitors":
            return "no"
        return step.source.word or {"ask": "21.5", "look": at_rest(step), "gate": "to see"}.get(step.kind, "")

    def placed(self, step: Step) -> e.Event:
        """The probes are where the step wants them."""
        return self.answered()

    def waited(self, left: float) -> e.Event:
        """Time has passed."""
        return e.Elapsed(number=self.state.number, seconds=left)

    # instruments

    def made_safe(self) -> dict[str, bool]:
        """Which outputs were read back as safe."""
        return {one.name: True for one in self.bench.instruments if one.outputs}

    def identity(self, name: str) -> str:
        """What an instrument answers to its name."""
        return f"{name} 1.0"

    def serial(self, name: str) -> str:
        """Its own number; empty where it gives none."""
        return ""

    def measured(self, step: Step) -> e.Event:
        """A reading."""
        raise AssertionError(f"nobody reads {step.title}")

    def reading(self, **fields: Any) -> e.Read:
        """A reading of the step under way by the instrument of its role."""
        source = self.step.source
        base = {
            "number": self.state.number,
            "instrument": self.bench.role_of[self.step.role or "ohms"],
            "function": source.function,
            "unit": UNIT_OF[source.read],
        }
        return e.Read(**{**base, **fields})

    def switched(self, step: Step) -> e.Event:
        """An output that was set, and read back."""
        state, switched = "off" if step.source.switches_off else "on", self.bench.role_of[step.role or "supply"]
        return e.Switched(number=self.state.number, instrument=switched, state=state, confirmed=True)

    def brought_up(self, step: Step) -> e.Event:
        """An output that was brought up and watched."""
        raise AssertionError(f"nobody brings up {step.title}")

    # searches

    def advised(self) -> e.Event:
        """What the real adviser wants next."""
        if "_advise" not in vars(self):
            self._advise = adviser()
        return msgspec.structs.replace(self._advise(self.state), number=self.state.number)
