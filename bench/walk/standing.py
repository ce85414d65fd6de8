"""Where a walk stands, as plain data: what the machine of :mod:`bench.walk.state` makes of its events.

Nothing is decided here. Each part says what follows from one thing that happened to it, so that the machine reads well.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from typing import Final

import msgspec
from msgspec.structs import replace

from bench.judge.ramp import RampUp
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.outcome import History, Latest, Made
from bench.walk.seeking import Seeking
from bench.walk.setting import Conditions, Rules, Setting


class Phase(enum.Enum):
    """Where a walk stands."""

    __hash__ = object.__hash__  # there is one of each; the library's own is a call for every event

    EMPTY = "empty"
    SAFING = "safing"
    MEETING = "meeting"
    CONSENTING = "consenting"
    ASKING = "asking"
    PLACING = "placing"
    MEASURING = "measuring"
    SWITCHING = "switching"
    ENERGISING = "energising"
    WAITING = "waiting"
    ADVISING = "advising"
    TROUBLED = "troubled"
    PAUSED = "paused"
    DONE = "done"
    ABORTED = "aborted"


HEARD: Final = 400
"""Lines of consoles that the state keeps; the record has all."""


class Position(msgspec.Struct, frozen=True):
    """Where in its plan a walk stands.

    Attributes:
        cursor: index of the step that is under way; the plan's length at the end.
        back_to: where to go on after a step is measured again; None where the walk goes straight on.
        again: steps that are taken again first, one after the other: checks of the bench that another instrument has
            not gone through yet.
        then: where ``SAFING`` and ``PAUSED`` lead.
    """

    cursor: int = 0
    back_to: int | None = None
    again: tuple[int, ...] = ()
    then: Phase = Phase.MEETING

    @property
    def reached(self) -> int:
        """Index of the step that the walk has come to, whatever step it went back to."""
        return self.cursor if self.back_to is None else self.back_to


class Instruments(msgspec.Struct, frozen=True):
    """What answered, and what has still to.

    Attributes:
        met: role to the ``Met`` event of its instrument.
        known: instrument to the last ``Met`` event of it, also from before the walk was resumed.
        to_meet: roles that are still to be met, at the start or after trouble.
    """

    met: Mapping[str, e.Met] = {}
    known: Mapping[str, e.Met] = {}
    to_meet: tuple[str, ...] = ()

    def after(self, event: e.Met) -> Instruments:
        """The same once an instrument has answered."""
        return Instruments(
            {**self.met, **dict.fromkeys(event.roles, event)},
            {**self.known, event.instrument: event},
            tuple(role for role in self.to_meet if role not in event.roles),
        )


class Outputs(msgspec.Struct, frozen=True):
    """What is on, and what stands between it and people; see rule 6.

    Attributes:
        on: instruments whose output is on or may be on, each with the index of the step that switched it on.
        held: indexes of the hold points that were passed and still hold.
        unconfirmed: instruments whose safe state could not be read back at the last try.
    """

    on: Mapping[str, int] = {}
    held: frozenset[int] = frozenset()
    unconfirmed: tuple[str, ...] = ()

    def set_on(self, instrument: str, index: int) -> Outputs:
        """The same with one more that is on; the step that switched it on first stays noted."""
        return replace(self, on={**self.on, instrument: min(index, self.on.get(instrument, index))})

    def set_off(self, instrument: str) -> Outputs:
        """The same with one that is off for certain."""
        return replace(self, on={name: index for name, index in self.on.items() if name != instrument})

    def let_go(self) -> Outputs:
        """The same with every hold point to be passed again."""
        return replace(self, held=frozenset())


Holder = tuple[str, int]
"""One instrument that answers, or answered, to a name of the bench: the name, and how many had come in for it."""


class KeptSoFar(msgspec.Struct, frozen=True):
    """All that a walk has to show; nothing of it is ever taken away.

    Attributes:
        made: step index to what its latest outcome is, or will be once somebody asks.
        history: all outcomes, newest first; None before the first.
        disturbances: number of the event and what it touched, oldest first.
        notes: number of the event and the text, oldest first.
        exchanged: number of the event and the name of an instrument that another one answers to from then on, or that
            has other leads or another calibration; oldest first.
    """

    made: Mapping[int, Made] = {}
    history: History | None = None
    disturbances: tuple[tuple[int, e.Disturbed], ...] = ()
    notes: tuple[tuple[int, e.Noted], ...] = ()
    exchanged: tuple[tuple[int, str], ...] = ()

    def holder(self, instrument: str, number: int) -> Holder:
        """Which instrument answered to a name when an event happened, by the name and how many had come in for it."""
        if not self.exchanged:
            return instrument, 0
        return instrument, sum(name == instrument and at <= number for at, name in self.exchanged)

    @property
    def latest(self) -> Latest:
        """Step index to its latest outcome."""
        return Latest(self.made)

    def with_outcome(self, outcome: Made) -> KeptSoFar:
        """The same with the outcome of a step."""
        history = History(outcome, self.history)
        return replace(self, history=history, made={**self.made, outcome.index: outcome})

    def in_history(self, outcome: Made) -> KeptSoFar:
        """The same with the outcome of one act or reading within a search, which is not the search's own outcome."""
        return replace(self, history=History(outcome, self.history))


class Pending(msgspec.Struct, frozen=True):
    """What the open request is about, beside its step.

    Attributes:
        trouble: the trouble that waits for a decision.
        why_paused: why the walk is paused, in words.
        left: seconds left of a wait.
        ramp: what is followed while an output is brought up.
        typed: what a person typed for the reading that is wanted now, oldest first.
        typed_at: time of day of each of these, and at which it was asked for, UTC.
        doubt: why it is asked again; empty where it is not.
        seen_off: instruments whose output was found off, or went off beside the walk, while the request was open.
        asked_at: time of day at which it was asked for, UTC.
    """

    trouble: e.Troubled | None = None
    why_paused: str = ""
    left: float = 0.0
    ramp: RampUp | None = None
    typed: tuple[str, ...] = ()
    typed_at: tuple[tuple[str, str], ...] = ()
    doubt: str = ""
    seen_off: frozenset[str] = frozenset()
    asked_at: str = ""

    def asked(self, at: str) -> Pending:
        """The same when the next request is open, with nothing typed for it yet.

        Args:
            at: time of day, UTC.
        """
        # by place: each event of a record comes through here
        return Pending(self.trouble, self.why_paused, self.left, self.ramp, (), (), "", _NOTHING, at)


_NOTHING: Final[frozenset[str]] = frozenset()


class Heard(msgspec.Struct, frozen=True):
    """What consoles of the plant said.

    Attributes:
        lines: the newest, oldest first: time of day at which each was written down, seconds before that at which it
            came, console, text.
        count: how many there were in all.
        step: how many there were when the step under way began.
        before: how many when the step before it began.
        wrong: console to what is wrong with what comes from it.
        dreaded: what stopped the walk last, in words; empty where nothing did.
    """

    lines: tuple[tuple[str, float, str, str], ...] = ()
    count: int = 0
    step: int = 0
    before: int = 0
    wrong: Mapping[str, str] = {}
    dreaded: str = ""

    def after(self, event: e.Said, at: str) -> Heard:
        """The same with what a console said."""
        fresh = [(at, ago, event.console, text) for ago, text in event.lines]
        lines = (*self.lines, *fresh)[-HEARD:]
        wrong = self.wrong
        if event.wrong:
            wrong = {**wrong, event.console: event.wrong}
        elif event.lines and event.console in wrong:
            wrong = {name: text for name, text in wrong.items() if name != event.console}
        return replace(self, lines=lines, count=self.count + len(fresh), wrong=wrong)

    def since(self, count: int) -> tuple[tuple[str, float, str, str], ...]:
        """What was said after a number of lines, as far as it is kept."""
        return self.lines[max(0, len(self.lines) - (self.count - count)) :] if count < self.count else ()

    def entered(self) -> Heard:
        """The same when another step begins."""
        return replace(self, step=self.count, before=self.step)


class State(msgspec.Struct, frozen=True, repr_omit_defaults=True):
    """Where a walk stands; changes only through :func:`take`.

    Attributes:
        phase: see the theory above.
        number: of the request that is open.
        taken: how many events were folded.
        at: time of day of the last event, UTC.
        setting: what ``Began`` fixed: plant, plan, bench; None before.
        rules: limits or a decision rule that replace the sequence's, for judging again.
        seat: who holds the operator's seat; empty where nobody does.
        consented: why it goes on with limits that the bench cannot prove; None before anybody said.
        place: where in the plan it stands.
        instruments: which of them answered.
        outputs: which of them are on, and the hold points that hold.
        conditions: ambient, zeros and what else bears on limits and uncertainty.
        seeking: the search that is under way, or that waits to go on.
        pending: what the open request is about.
        kept: outcomes, disturbances and notes so far.
        heard: what consoles of the plant said.
    """

    phase: Phase = Phase.EMPTY
    number: int = 0
    taken: int = 0
    at: str = ""
    setting: Setting | None = None
    rules: Rules = Rules()
    seat: str = ""
    consented: str | None = None
    place: Position = Position()
    instruments: Instruments = Instruments()
    outputs: Outputs = Outputs()
    conditions: Conditions = Conditions()
    seeking: Seeking | None = None
    pending: Pending = Pending()
    kept: KeptSoFar = KeptSoFar()
    heard: Heard = Heard()

    @property
    def step(self) -> Step | None:
        """The step under way; None before the first and after the last. Within a search: what it asks for."""
        planned = self.planned
        if planned is None or self.seeking is None or self.seeking.index != planned.index:
            return planned
        return self.seeking.step(planned) or planned

    @property
    def planned(self) -> Step | None:
        """The step of the plan that is under way; None before the first and after the last."""
        if self.setting is None or self.place.cursor >= len(self.setting.plan.steps):
            return None
        return self.setting.plan.steps[self.place.cursor]

    @property
    def finished(self) -> bool:
        """Whether the walk is over, one way or the other."""
        return self.phase in (Phase.DONE, Phase.ABORTED)
