"""A search inside a walk: what it asked for so far, and the outcomes.

A search is one step of the plan. The adviser (:class:`bench.walk.adviser.Adviser`) is asked for the next act or
reading, given the state; what it says is an event, so that the fold never needs the adviser. The act or reading then
goes the way of any step: it is asked for, placed, measured, skipped with a reason, in trouble, rested in. Its outcome
is added to the trail, and the adviser is asked again, until it says what was found.

Going to the search's own step while it is under way takes the last answer back. Going there from elsewhere begins it
anew, and so does coming back to it after a step before it was gone to with no return.
"""

from __future__ import annotations

from collections.abc import Generator, Mapping
from typing import Any

import msgspec
from msgspec.structs import replace

from bench.sequence.file import Do, Found, Measure
from bench.sequence.plan import Step, kind_of
from bench.walk import events as e
from bench.walk.outcome import Outcome


class Wanted(msgspec.Struct, frozen=True):
    """What a search wants next.

    Attributes:
        act: something to do or to read; it never makes anything live.
        why: why this one: what it would tell apart, in words.
        left: at most this many readings more, as far as is known; 0 where there is no saying.
        facts: what is suspected so far, as plain data; None where that is as it was.
    """

    act: Do | Measure
    why: str = ""
    left: int = 0
    facts: Mapping[str, Any] | None = None


class Answer(msgspec.Struct, frozen=True):
    """One thing that a search asked for, with its outcome.

    Attributes:
        want: the act or the reading.
        n: number of the event that answered.
        outcome: of a reading, judged against its limit; of an act, done, with its answer if it wants one; or skipped.
    """

    want: Do | Measure
    n: int
    outcome: Outcome

    @property
    def counts(self) -> bool:
        """Whether something was read or heard: not an act, and not skipped."""
        return self.reading is not None or self.beeped is not None

    @property
    def skipped(self) -> bool:
        """Whether it was passed over."""
        return self.outcome.verdict == "skipped"

    @property
    def reading(self) -> e.Read | None:
        """The reading's facts; None for an act and for what was skipped."""
        return self.outcome.reading

    @property
    def ohms(self) -> float | None:
        """What was read after corrections, infinity where the meter showed over range, None where nothing was read."""
        if self.outcome.reading is None:
            return None
        if self.outcome.figure.over == "+":
            return float("inf")
        return self.outcome.figure.value

    @property
    def beeped(self) -> bool | None:
        """Whether a continuity tester beeped; None where nobody was asked, or where it was skipped."""
        return {"yes": True, "no": False}.get(self.outcome.answer)


Trail = tuple[Answer, ...]
"""What was asked for in a search and answered, oldest first."""
Search = Generator[Wanted, Answer, Found]
"""A search under way: yields what it wants, is sent the outcome, and returns what it found."""


class Seeking(msgspec.Struct, frozen=True, dict=True):
    """A search under way.

    Attributes:
        index: of its step in the plan.
        trail: what was asked for and answered, oldest first.
        advised: what is asked for now; None while the adviser thinks.
        taken_back: how often an answer was taken back; keeps the keys of its steps apart.
        facts: what was suspected when it was last advised, as plain data.
    """

    index: int
    trail: Trail = ()
    advised: e.Advised | None = None
    taken_back: int = 0
    facts: Mapping[str, Any] = {}

    def step(self, planned: Step) -> Step | None:
        """What is asked for now as a step: of the search's place in the plan, with a key of its own."""
        known: tuple[Step, Step | None] | None = self.__dict__.get("_step")
        if known is None or known[0] is not planned:  # it is asked for many times while it stands
            known = self.__dict__["_step"] = (planned, self._made(planned))
        return known[1]

    def _made(self, planned: Step) -> Step | None:
        if self.advised is None or isinstance(self.advised.want, Found):
            return None
        want = self.advised.want
        key = f"{planned.key}/{len(self.trail) + 1}"
        if self.taken_back:
            key += f"'{self.taken_back}"
        # many ends at once say nothing of the two that happen to be named first
        alone = "~".join(want.probes) if want.probes is not None and not want.join else planned.subject
        # to touch two places with a tester disturbs nothing: an act handles what it moves
        names, subject = want.handles, want.subject or alone
        return replace(
            planned,
            key=key,
            kind=kind_of(want),
            title=want.title or planned.title,
            text=want.text,
            section=planned.title,
            source=want,
            subject=subject,
            touches=tuple(dict.fromkeys(names)),
            seconds=0.0,
        )

    def answered(self, nth: int, outcome: Outcome) -> Seeking:
        """The search after what it asked for was done, read or skipped."""
        assert self.advised is not None and not isinstance(self.advised.want, Found)
        return replace(self, trail=(*self.trail, Answer(self.advised.want, nth, outcome)), advised=None)

    def back(self) -> Seeking:
        """The search with its last answer taken back."""
        return replace(self, trail=self.trail[:-1], advised=None, taken_back=self.taken_back + 1)
