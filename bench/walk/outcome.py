"""The outcome of a step: the verdict with its reason, the figures that it rests on, and all such of a walk."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from itertools import zip_longest
from typing import Any, Literal

import msgspec
from msgspec.structs import replace

from bench.judge.decision import Decision
from bench.judge.uncertainty import Budget
from bench.plant.handled import Handled
from bench.quantity import QuantityError, Resistance
from bench.sequence.file import Found, Listen
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.facts import BenchFacts

Verdict = Literal["pass", "fail", "undecided", "skipped", "void", "done"]
Connected = Literal["", "yes", "no", "undecided"]
"""Whether a conductor leads from the right pin to the right pin; empty where that is not asked."""


def dial_of(answer: str) -> float:
    """What somebody typed off a dial, in Ω; not a number where it is none."""
    try:
        return float(answer)
    except ValueError:
        pass
    try:
        return Resistance.parse(answer).value
    except QuantityError:
        return math.nan


def capacitors_of(answer: str) -> tuple[float, float | None] | None:
    """What somebody typed of capacitors: leakage in mA, and series resistance in Ω where it was read.

    Args:
        answer: as it was typed.

    Returns:
        None where it is no such answer.
    """
    words = answer.split()
    if not 1 <= len(words) <= 2:
        return None
    try:
        numbers = [float(word) for word in words]
    except ValueError:
        return None
    if not all(math.isfinite(number) and number >= 0 for number in numbers):
        return None
    return numbers[0], numbers[1] if len(numbers) > 1 else None


class Figure(msgspec.Struct, frozen=True, repr_omit_defaults=True):
    """What a reading comes to, in numbers.

    Attributes:
        value: the reading after corrections, in ``unit``; None where the meter gave none.
        unit: base unit.
        expanded: expanded uncertainty at the budget's coverage; None where no value was read.
        over: '+' or '-' where the meter showed over range.
        zero: what was taken off for the leads, in ohms; None where nothing was.
        budget: the uncertainty budget; None where there is none.
    """

    value: float | None = None
    unit: str = ""
    expanded: float | None = None
    over: str = ""
    zero: float | None = None
    budget: Budget | None = None


class Bounds(msgspec.Struct, frozen=True, repr_omit_defaults=True):
    """The limit that a reading was held against; without a bound where it was held against none.

    Attributes:
        low: lower bound, in the reading's unit.
        high: upper bound, in the reading's unit.
        source: where the limit came from.
    """

    low: float | None = None
    high: float | None = None
    source: str = ""


class Circumstances(msgspec.Struct, frozen=True, repr_omit_defaults=True):
    """What was so when a reading was taken.

    Attributes:
        at: time of day, UTC; empty for other steps than readings.
        ambient: °C that was taken for it.
        handled: the plant as it was left then: before a reading, and after an act. None for other steps.
        bench: the bench that took the reading; None for other steps.
    """

    at: str = ""
    ambient: float = 20.0
    handled: Handled | None = None
    bench: BenchFacts | None = None


UNPROVEN = "Not proven: "
"""How a gate begins that somebody passed on a reason."""


class Outcome(msgspec.Struct, frozen=True, repr_omit_defaults=True):
    """The outcome of a step.

    Attributes:
        index: the step's place in the plan.
        key: the step's lasting name.
        n: the event that it rests on.
        verdict: for a reading pass, fail, undecided or void; skipped; or done for a step without a reading.
        said: the verdict with its reason, or the decision that says it when somebody asks.
        subject: the plant object that it is about.
        reading: the event's facts; None for a step without a reading.
        figure: what they come to in numbers.
        bounds: the limit that they were held against.
        circumstances: what was so when it was read or done.
        remark: something worth a look although the verdict stands.
        advice: what would decide it, best first.
        finding: of a load that was brought up, what is wrong with it in one word: ``short``, ``heavy``, ``light``,
            ``creeps``, ``leaks``, ``restless``, ``reforms`` or ``stopped``; empty where nothing is.
        barred: whether the walk itself passed it over, and no person with a reason.
        answer: ``yes`` or ``no`` where a person said whether a continuity tester beeps; else empty.
        asked: of an act or a reading within a search, what was asked for; ``index`` is then the search's own.
        found: what a search came to.
        connected: of a conductor's reading, whether it is connected at all; ``verdict`` says whether it is sound.
        odd: whether it stands out from its siblings; the remark says how.
    """

    index: int
    key: str
    n: int
    verdict: Verdict
    said: str | Decision
    subject: str = ""
    reading: e.Read | None = None
    figure: Figure = Figure()
    bounds: Bounds = Bounds()
    circumstances: Circumstances = Circumstances()
    remark: str = ""
    advice: tuple[str, ...] = ()
    finding: str = ""
    barred: bool = False
    answer: str = ""
    asked: Step | None = None
    found: Found | None = None
    connected: Connected = ""
    odd: bool = False

    @property
    def outcome(self) -> Outcome:
        """Itself: a reading that is not judged yet has the same."""
        return self

    @property
    def sentence(self) -> str:
        """The verdict with its reason, for a person at the rack."""
        return self.said if isinstance(self.said, str) else self.said.sentence

    @property
    def connected_at_least(self) -> bool:
        """Whether this reading shows the conductor connected, and leaves open whether it is sound."""
        return self.verdict == "undecided" and self.connected == "yes"

    @property
    def news(self) -> str:
        """What a step without a reading has to tell: what was found otherwise than it was left, or what was passed
        without proof; empty where it has nothing."""
        if self.verdict != "done" or not (self.remark or self.sentence.startswith(UNPROVEN)):
            return ""
        return self.remark or self.sentence

    @classmethod
    def done(cls, step: Step, nth: int, handled: Handled | None = None) -> Outcome:
        """A step without a reading was done, and left the plant as said here."""
        return cls(
            step.index, step.key, nth, "done", "Done.", step.subject, circumstances=Circumstances(handled=handled)
        )

    @classmethod
    def of_capacitors(cls, step: Step, nth: int, answer: str, most: float | None, at: str) -> Outcome:
        """A person typed what a shelf's capacitors leak, in mA, and their series resistance, in Ω.

        Args:
            step: the step.
            nth: the event's number.
            answer: as it was typed.
            most: what they may leak, in mA; None: nobody says.
            at: time of day, UTC.
        """
        read = capacitors_of(answer)
        if read is None:
            return cls(step.index, step.key, nth, "done", "Not read: nobody gets at them.", step.subject)
        leakage, series = read
        told = f"leakage {leakage:g} mA"
        if series is not None:
            told += f", series resistance {series:g} Ω"
        verdict: Verdict = "pass"
        if most is not None and leakage > most:
            verdict = "fail"
            told += f", where {most:g} mA is the most: reform them slowly below turn-on, or put new ones in"
        return cls(
            step.index,
            step.key,
            nth,
            verdict,
            f"{verdict.capitalize()}: {told}.",
            step.subject,
            figure=Figure(leakage / 1000.0, "A"),
            bounds=Bounds(None, None if most is None else most / 1000.0, "leakage of electrolytic capacitors"),
            circumstances=Circumstances(at=at),
            answer=answer,
        )

    @classmethod
    def listened(cls, step: Step, nth: int, at: str, heard: str, dreaded: str = "") -> Outcome:
        """A text was expected on a console.

        Args:
            step: the step; its source is a :class:`~bench.sequence.file.Listen`.
            nth: the event's number.
            at: time of day, UTC.
            heard: the line that had it; empty where none had.
            dreaded: the line that was dreaded; empty where none was.
        """
        source = step.source
        assert isinstance(source, Listen)
        verdict: Verdict = "pass" if heard and not dreaded else "fail"
        if dreaded:
            told = f"Fail: {source.console} said '{dreaded}'."
        elif heard:
            told = f"Pass: {source.console} said '{heard}'."
        else:
            told = f"Fail: {source.console} did not say '{source.expect}' within {source.within}."
        then = Circumstances(at=at)
        return cls(step.index, step.key, nth, verdict, told, step.subject, circumstances=then, answer=heard or dreaded)

    @classmethod
    def beeped(cls, step: Step, nth: int, beeps: bool) -> Outcome:
        """A person said whether a continuity tester beeps; nothing is judged by that."""
        said, answer = ("It beeps.", "yes") if beeps else ("It is silent.", "no")
        return cls(step.index, step.key, nth, "done", said, step.subject, answer=answer)

    @classmethod
    def concluded(cls, step: Step, nth: int, found: Found, at: str) -> Outcome:
        """A search came to its end."""
        then = Circumstances(at=at)
        return cls(
            step.index, step.key, nth, found.verdict, found.sentence, step.subject, circumstances=then, found=found
        )

    @classmethod
    def passed_over(cls, step: Step, nth: int, why: str) -> Outcome:
        """A step that the walk itself passed over, since what it stands on is not so."""
        return cls(step.index, step.key, nth, "skipped", f"Passed over: {why}", step.subject, barred=True)

    @classmethod
    def skipped(cls, step: Step, nth: int, event: e.Skipped) -> Outcome:
        """A step was passed over."""
        return cls(step.index, step.key, nth, "skipped", f"Skipped: {event.reason.strip()}", step.subject)

    def voided(self, why: str) -> Outcome:
        """The same reading, which no longer counts."""
        return replace(self, verdict="void", connected="", said=f"Void: {why}. It read: {self.sentence}")

    def facts(self) -> dict[str, Any]:
        """What a record keeps beside the reading, for people and other tools."""
        kept: dict[str, Any] = {"verdict": self.verdict, "sentence": self.sentence}
        figure, bounds = self.figure, self.bounds
        numbers = {
            "value": figure.value,
            "expanded": figure.expanded,
            "low": bounds.low,
            "high": bounds.high,
            "zero": figure.zero,
        }
        kept.update((name, number) for name, number in numbers.items() if number is not None)
        if self.connected:
            kept["connected"] = self.connected
        if bounds.source:
            kept["limit"] = bounds.source
        if self.circumstances.at:
            kept["ambient"] = self.circumstances.ambient
        if figure.budget is not None:
            kept["standard"] = figure.budget.standard_uncertainty
            kept["budget"] = figure.budget.to_dict()
        return kept


class Unjudged:
    """A reading that is judged when somebody asks for its outcome: most of a record's are judged once, at its end.

    Attributes:
        index: the step's place in the plan.
        n: the event that it rests on.
        reading: the event's facts.
        conditions: as they were at the reading.
        at: time of day of the reading.
        zero: what is taken off for the leads, in ohms; None where nothing is.
        bench: that took it.
    """

    __slots__ = ("_judge", "_outcome", "at", "bench", "conditions", "index", "n", "reading", "zero")

    def __init__(
        self,
        index: int,
        n: int,
        reading: e.Read,
        conditions: Any,
        at: str,
        zero: float | None,
        bench: BenchFacts,
        judge: Callable[[], Outcome],
    ) -> None:
        self.index = index
        self.n = n
        self.reading = reading
        self.conditions = conditions
        self.at = at
        self.zero = zero
        self.bench = bench
        self._judge = judge
        self._outcome: Outcome | None = None

    @property
    def outcome(self) -> Outcome:
        """The outcome; the same object whenever it is asked for."""
        if self._outcome is None:
            self._outcome = self._judge()
        return self._outcome

    @property
    def known(self) -> Outcome | None:
        """The outcome, where somebody asked for it already."""
        return self._outcome

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Unjudged | Outcome) and self.outcome == other.outcome

    __hash__ = None  # type: ignore[assignment]


Made = Outcome | Unjudged


class Latest(Mapping[int, Outcome]):
    """Step index to its latest outcome, judged as it is asked for.

    Args:
        made: the same, with readings that nobody asked for yet.
    """

    __slots__ = ("made",)

    def __init__(self, made: Mapping[int, Made]) -> None:
        self.made = made

    def __getitem__(self, index: int) -> Outcome:
        return self.made[index].outcome

    def __iter__(self) -> Iterator[int]:
        return iter(self.made)

    def __len__(self) -> int:
        return len(self.made)

    def __contains__(self, index: object) -> bool:
        return index in self.made


class History(msgspec.Struct, frozen=True, eq=False):
    """Outcomes, newest first, as a linked list: what came before is shared with earlier states.

    Attributes:
        made: the newest, judged or not.
        before: all before it; None where it is the first.
    """

    made: Made
    before: History | None

    @property
    def outcome(self) -> Outcome:
        """The newest."""
        return self.made.outcome

    def __iter__(self) -> Iterator[Outcome]:
        return (made.outcome for made in self.all_made())

    def all_made(self) -> Iterator[Made]:
        """The same without judging any."""
        newest: History | None = self
        while newest is not None:
            yield newest.made
            newest = newest.before

    # written out: the generated ones would go as deep as the walk is long
    def __eq__(self, other: object) -> bool:
        if not isinstance(other, History):
            return NotImplemented
        return all(mine == theirs for mine, theirs in zip_longest(self, other))

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        return f"<{self.made.index} and what was before it>"
