"""What a walk's beginning fixes, and how a reading is judged in it.

Over 500 lines, since a step, a zero, a proof and a load that came up are judged by one set of rules side by side.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import cached_property, lru_cache, partial
from typing import Any, Final, Literal

import msgspec
from msgspec.structs import replace

from bench.judge.accuracy import AccuracyTable, MeterInUse, PickedRow
from bench.judge.advice import what_would_decide
from bench.judge.capability import Capability, bench_capability
from bench.judge.decision import Decision, NotANumber, Overload, Rule, decide
from bench.judge.insulation import TimedReading, at_temperature, dielectric_absorption_ratio, polarization_index
from bench.judge.judge_error import JudgeError
from bench.judge.limit import Limit
from bench.judge.ohms import Leads, ThermalEmf
from bench.judge.ramp import RampUp
from bench.judge.reading import Way, overload_reading, with_drift
from bench.judge.uncertainty import Budget
from bench.plant.handled import Handled, Kind, Mark
from bench.plant.model import Plant
from bench.plant.resolve import resolve
from bench.quantity import engineering
from bench.recent import Recent
from bench.roles import OHMMETERS, UNIT_OF, Ohmmeter, function_name
from bench.say.reading import reading as reading_text
from bench.sequence.file import Ask, Decide, Do, Energise, Measure, Prove, Rig, SequenceFile, Single, Zero
from bench.sequence.file import Limit as LimitFile
from bench.sequence.limits import Held, limit_of
from bench.sequence.plan import Plan, Step
from bench.sequence.power_tree import Powered
from bench.sequence.unroll import unroll
from bench.walk import events as e
from bench.walk.by_eye import FLAG
from bench.walk.facts import BenchFacts, InstrumentFacts
from bench.walk.nothing_there import look_first, volts_on
from bench.walk.outcome import (
    Bounds,
    Circumstances,
    Connected,
    Figure,
    Made,
    Outcome,
    Unjudged,
    Verdict,
    capacitors_of,
    dial_of,
)
from bench.walk.power import Prepared, joint_words, judge_energised, loses, prepare, search_offer, wrong_way_round

_STILL: Final = frozenset({"resistance", "insulation"})
"""What is read of a plant at rest: no condition of the walk follows from it."""
_TAME: Final = 1e60
"""The square of what a reading of this size comes to is still a number, whatever it is multiplied by."""
_MOST_WAYS: Final = 1000
"""Ways of taking a reading that are kept of an instrument: each day, zero and temperature has its own."""
ROOM: Final = (-40.0, 70.0)
"""°C that a room can have; what is outside is a slip of the fingers."""
STRAP: Final = (0.75, 35.0)
"""MΩ of a wrist strap with its wearer: at most by IEC 61340-5-1, as quoted in a public table; at least, so that
touching something live stays harmless, by a tester's data."""


class Conditions(msgspec.Struct, frozen=True):
    """What bears on limits and uncertainty while the walk goes on.

    Attributes:
        ambient: of conductors and meter, in °C.
        zeros: instrument to what its shorted leads read, in ohms, oldest first.
        answers: what was asked for and answered, by name.
        handled: the plant as it was left by hands and outputs.
        fed: what a supply of the bench feeds, while its output is on.
        rig: what is clipped to ends by hand, None where nothing ever was.
        volts: inlet to what was read there last, in volts with their sign, since anything was last switched.
    """

    ambient: float = 20.0
    zeros: Mapping[str, tuple[float, ...]] = {}
    answers: Mapping[str, str] = {}
    handled: Handled = Handled()
    fed: Powered | None = None
    rig: Rig | None = None
    volts: Mapping[str, float] = {}

    def after(self, act: Do, nth: int, by: str, at: str) -> Conditions:
        """The conditions after something was done by hand.

        Args:
            act: what was done.
            nth: number of the event that confirmed it.
            by: who did it; empty where not known.
            at: time of day, UTC.
        """
        handled = self.handled.after(act.changes, nth, by, at)
        return replace(
            self,
            handled=handled,
            rig=self.rig if act.rig is None else act.rig,
            fed=None if self.fed is None else replace(self.fed, closed=handled.closed),
            volts={} if act.switch_on or act.switch_off else self.volts,
        )

    def with_answer(self, ask: Ask, answer: str, refuse: Callable[[str], Exception]) -> Conditions:
        """The conditions after a question was answered.

        Raises:
            whatever ``refuse`` makes: the answer is no value that the question accepts.
        """
        answers = {**self.answers, ask.name: answer}
        if ask.name == "remark":
            return replace(self, answers=answers)
        if ask.name == "capacitors":
            if answer.casefold() != "no" and capacitors_of(answer) is None:
                raise refuse("the leakage in mA is wanted, with the series resistance in Ω after it, or the word no")
            return replace(self, answers={**self.answers, f"{ask.name} of {ask.of}": answer})
        if ask.name == "dial":
            if not 0.0 < dial_of(answer) < 1e9:
                raise refuse("a figure above 0 is wanted with its unit, such as 41.2 ohm, or as a number of ohms")
            return replace(self, answers=answers)
        if ask.name == "checksum":
            sums = answer.casefold().split()
            if len(sums) != 2 or any(len(one) < 8 or set(one) - set("0123456789abcdef") for one in sums):
                raise refuse("two checksums are wanted, of the original and of the copy, in hexadecimal digits")
            if sums[0] != sums[1]:
                raise refuse("they differ: the copy is no copy; make it anew, and read both again")
            return replace(self, answers=answers)
        try:
            value = float(answer)
        except ValueError:
            value = math.nan
        if ask.name == "strap":
            if not STRAP[0] <= value <= STRAP[1]:
                raise refuse(f"{STRAP[0]:g} to {STRAP[1]:g} MΩ are wanted: no card is touched with another strap")
            return replace(self, answers=answers)
        low, high = (
            ROOM[0] if ask.least is None else ask.least,
            ROOM[1] if ask.most is None else ask.most,
        )
        if ask.name == "humidity":
            low, high = max(low, 0.0), min(100.0, ask.most or 100.0)
        if not low <= value <= high:
            raise refuse(f"a number from {low:g} to {high:g} is wanted")
        ambient = value if ask.name == "ambient" else self.ambient
        return replace(self, answers=answers, ambient=ambient)

    def with_zero(self, instrument: str, ohms: float) -> Conditions:
        """The conditions after the leads were read shorted."""
        known = self.zeros.get(instrument, ())
        return replace(self, zeros={**self.zeros, instrument: (*known, ohms)})


class _Taken(msgspec.Struct, frozen=True):
    """How a reading was taken.

    Attributes:
        nth: the event's number.
        conditions: as they were.
        at: time of day.
        wires: leads of the meter that were at work.
        zero: what the leads themselves read before, in ohms; None where that is not taken off.
        drift: by how much this moved until the closing zero, in ohms.
        budget: the same reading's without that drift, where it was worked out already.
    """

    nth: int
    conditions: Conditions
    at: str
    wires: int = 2
    zero: float | None = None
    drift: float = 0.0
    budget: Budget | None = None


class Rules(msgspec.Struct, frozen=True):
    """What replaces the sequence's own limits and decision rule when a record is judged again.

    Attributes:
        decide: another decision rule.
        limits: step key, subject, or ``*`` to another limit.
        accuracy: instrument to what is known of its accuracy today, in place of what the record has.
    """

    decide: Decide | None = None
    limits: Mapping[str, LimitFile] = msgspec.field(default_factory=dict)
    accuracy: Mapping[str, InstrumentFacts] = msgspec.field(default_factory=dict)

    def limit_for(self, step: Step) -> LimitFile | None:
        """The limit that replaces a step's own, if any."""
        for name in (step.key, step.subject, "*"):
            if name in self.limits:
                return self.limits[name]
        return None


Limits = dict[str, tuple[Single, tuple[float, LimitFile | None, Powered | None, float | None], Held]]
"""The last limit of every step, by key, with what it follows from: the page asks for it, then the meter's range, then
the judging; and the next walk of the same plan asks again."""
_UNROLLED: Final[Recent[tuple[Plant, SequenceFile], tuple[Plan, Limits]]] = Recent(32)
_CAPABLE: Final[Recent[tuple[Plan, BenchFacts, float], dict[int, Capability | str]]] = Recent(32)
"""What the same sequences on the same plant and bench come to: a job walks them again and again."""


class Setting(msgspec.Struct, frozen=True, eq=False, dict=True):
    """What ``Began`` fixed: plant, plan and bench.

    Attributes:
        began: the event.
        plant: the plant, resolved.
        plan: the sequence, unrolled.
        bench: instruments and references.
        ambient: °C at the start.
        limits: what was worked out of its steps' limits; shared by all walks of the plan.
    """

    began: e.Began
    plant: Plant
    plan: Plan
    bench: BenchFacts
    ambient: float
    limits: Limits = msgspec.field(default_factory=dict)

    # the rest follows from these two: settings are the same where they are
    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Setting):
            return NotImplemented
        return self.began == other.began and self.bench == other.bench

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        return f"<what the walk of {self.plan.sequence.sequence!r} began with>"

    @classmethod
    def of(cls, began: e.Began) -> Setting:
        """Build it from the record's first event."""
        plant = resolve(began.plant)
        fixed = began.sequence.ambient
        plan, limits = _UNROLLED.get((plant, began.sequence), lambda: (unroll(began.sequence, plant), {}))
        return cls(
            began=began,
            plant=plant,
            plan=plan,
            limits=limits,
            bench=began.bench,
            ambient=fixed.value if fixed is not None else plant.ambient_c,
        )

    def step_of(self, outcome: Outcome) -> Step:
        """The step that an outcome belongs to; within a search what it asked for then."""
        return outcome.asked or self.plan.steps[outcome.index]

    def with_bench(self, bench: BenchFacts) -> Setting:
        """The same with another bench."""
        return msgspec.structs.replace(self, bench=bench)

    def _with_accuracy(self, known: Mapping[str, InstrumentFacts]) -> Setting:
        """The same with other accuracy tables for some instruments; what they are and who reads them stays."""
        instruments = [
            msgspec.structs.replace(one, rows=known[one.name].rows, accuracy_of=known[one.name].accuracy_of)
            if one.name in known
            else one
            for one in self.bench.instruments
        ]
        return self.with_bench(msgspec.structs.replace(self.bench, instruments=instruments))

    def with_gates(self, gates: dict[str, list[str]]) -> Setting:
        """The same with what the records have not proven of shelves behind gates as it is now."""
        return msgspec.structs.replace(self, began=replace(self.began, gates=gates))

    def rule(self, rules: Rules | None = None) -> Rule:
        """The decision rule in force."""
        chosen = (rules.decide if rules is not None else None) or self.plan.sequence.decide
        return rule_of(chosen)

    def limit(self, step: Step, conditions: Conditions, rules: Rules | None = None) -> Held:
        """The limit that a measuring step's reading is held against.

        Raises:
            JudgeError: the plant does not say enough for the limit to be computed, or the rules' limit for this step
                is in another unit.
        """
        other = rules.limit_for(step) if rules is not None else None
        if other is not None:
            wanted = UNIT_OF[step.source.read]
            for bound in (other.at_least, other.at_most, other.margin):
                if bound is not None and bound.unit != wanted:
                    raise JudgeError("limit", f"a bound of {bound}", f"one in {wanted}")
        key = (conditions.ambient, other, conditions.fed, conditions.volts.get(step.subject))
        known = self.limits.get(step.key)
        # a search that is begun anew gives a key again, for another reading
        if known is None or known[0] is not step.source or known[1] != key:
            known = (
                step.source,
                key,
                limit_of(step, self.plant, conditions.ambient, other, conditions.fed, conditions.volts),
            )
            self.limits[step.key] = known
        return known[2]

    @cached_property
    def capabilities(self) -> dict[int, Capability | str]:
        """For every measuring step: can this bench prove its limit? A text where there is no saying."""
        return _CAPABLE.get((self.plan, self.bench, self.ambient), self._capabilities)

    def _capabilities(self) -> dict[int, Capability | str]:
        conditions = Conditions(ambient=self.ambient)
        known: dict[Any, Capability | str] = {}
        found: dict[int, Capability | str] = {}
        for step in self.plan.steps:
            answer = self._capability_of(step, conditions, known)
            if answer is not None:
                found[step.index] = answer
        return found

    def capability_by(
        self, step: Step, meter: Ohmmeter, wires: Literal[2, 4], known: dict[Any, Capability | str]
    ) -> Capability | str | None:
        """The same for one step, were it read by this one of two ohmmeters with this many wires.

        Args:
            step: a reading of resistance.
            meter: which of the two.
            wires: 2 or 4.
            known: what was worked out for others before; what is new is added.
        """
        assert isinstance(step.source, Measure)
        asked = replace(step, key=f"{step.key}:{meter}", source=replace(step.source, meter=meter, wires=wires))
        return self._capability_of(asked, Conditions(ambient=self.ambient), known)

    def _capability_of(
        self, step: Step, conditions: Conditions, known: dict[Any, Capability | str]
    ) -> Capability | str | None:
        source = step.source
        # what a shelf should have is known only once something feeds it
        if not isinstance(source, Measure) or source.limit.computed in ("shelf-voltage", "stretch-drop"):
            return None
        try:
            held = self.limit(step, conditions)
        except JudgeError as error:
            return str(error)
        mark = (
            held.limit.lower, held.limit.upper, held.expected, source.read, source.wires, str(source.range), step.role
        )  # fmt: skip
        if mark not in known:
            known[mark] = self._capability(source, held, conditions)
            if held.connected is not None:
                known[mark] = self._with_connected(known[mark], source, held, held.connected, conditions)
        return known[mark]

    @cached_property
    def weak(self) -> tuple[str, ...]:
        """What a person must give a reason for before the walk goes on: shelves that are not clear for power, and each
        kind of limit that this bench cannot prove, with how many steps it bears on."""
        counted: dict[str, int] = {}
        for answer in self.capabilities.values():
            if isinstance(answer, str):
                counted[answer] = counted.get(answer, 0) + 1
            elif answer.answer == "cannot":
                counted[answer.sentence] = counted.get(answer.sentence, 0) + 1
        weak = [f"{count} steps: {text}" if count > 1 else text for text, count in counted.items()]
        return (*self.unclear, *weak)

    @cached_property
    def found(self) -> Handled:
        """The plant as the other records left it, where the walk's own acts and looks say nothing."""
        marks: dict[Kind, dict[str, tuple[Mark, ...]]] = {}
        for mark in self.began.found:
            things = marks.setdefault(mark.change.kind, {})
            things[mark.change.name] = (*things.get(mark.change.name, ()), mark)
        return Handled(marks)

    def missing(self, shelf: str) -> tuple[str, ...]:
        """What the records have not proven of a shelf behind a gate, in words; empty where nothing is missing."""
        return tuple(self.began.gates.get(shelf, ["nobody looked at the records"]))

    @cached_property
    def unclear(self) -> tuple[str, ...]:
        """One sentence for each shelf that other records were to clear for power and do not."""
        return tuple(
            f"Shelf {shelf} is not clear for power by its records: {why}."
            for shelf, why in self.began.cleared.items()
            if why
        )

    def _with_connected(
        self, sound: Capability | str, source: Measure, held: Held, connected: Limit, conditions: Conditions
    ) -> Capability | str:
        """What a bench can prove of a conductor where it can hardly prove it sound: that it is connected, or not."""
        if isinstance(sound, str) or sound.answer == "can prove":
            return sound
        reached = self._capability(source, Held(connected, held.expected), conditions)
        able = not isinstance(reached, str) and reached.answer != "cannot"
        first = f"This bench {'can' if able else 'cannot'} prove that it is connected ({connected.asked})."
        return msgspec.structs.replace(sound, sentence=f"{first} Whether it is sound: {sound.sentence}")

    def _capability(self, source: Measure, held: Held, conditions: Conditions) -> Capability | str:
        facts = self.bench.for_role(source.role or "")
        table = facts.table if facts is not None else None
        if facts is None or table is None:
            return f"Nothing is known of the accuracy of {facts.title or facts.name if facts else 'the meter'}."
        function = _accuracy_name(facts, source)
        if function is None:
            return f"The profile of {facts.name} gives no accuracy for {source.read}."
        zeroed = any(step.kind == "zero" and step.role == source.role for step in self.plan.steps)
        leads = _leads(facts, source.wires, 0.0 if zeroed else None) if source.read == "resistance" else None
        try:
            return bench_capability(
                held.limit,
                MeterInUse(table, function, temperature_c=conditions.ambient, four_wires=_has_four_wires(facts)),
                self.rule(),
                expected=held.expected,
                leads=leads,
                margin=_takes_margin(source, held),
            )
        except JudgeError as error:
            return str(error)

    def _circumstances(self, conditions: Conditions, at: str) -> Circumstances:
        return Circumstances(at, conditions.ambient, conditions.handled, self.bench)

    def take(
        self, step: Step, read: e.Read, nth: int, conditions: Conditions, rules: Rules, at: str
    ) -> tuple[Made, Conditions]:
        """The same as :meth:`judge`, but for a reading on which nothing rests yet: that is judged when somebody asks.

        Raises:
            OverflowError: as judging would, or may, later.
        """
        source = step.source
        if not isinstance(source, Measure) or source.read not in _STILL or read.series or not self._is_tame(read):
            return self.judge(step, read, nth, conditions, rules, at)
        zeros = conditions.zeros.get(read.instrument, ())
        zero = zeros[-1] if zeros and source.read == "resistance" and source.wires == 2 else None
        if zero is not None and abs(zero) > _TAME:
            return self.judge(step, read, nth, conditions, rules, at)
        later = partial(self.judge_measure, step, source, read, nth, conditions, rules, at)
        return Unjudged(step.index, nth, read, conditions, at, zero, self.bench, later), conditions

    def _is_tame(self, read: e.Read) -> bool:
        """Whether nothing about a reading is so large that judging could run out of numbers."""
        for figure in (read.value, read.range, read.bound, read.spread, read.resolution):
            if figure is not None and not -_TAME <= figure <= _TAME:
                return False
        known = self._tame.get(read.instrument)
        if known is None:
            facts = self.bench.instrument(read.instrument)
            known = self._tame[read.instrument] = facts is not None and facts.tame
        return known

    @cached_property
    def _tame(self) -> dict[str, bool]:
        """Instrument to whether its own figures are none of these."""
        return {}

    def judge(
        self, step: Step, read: e.Read, nth: int, conditions: Conditions, rules: Rules, at: str
    ) -> tuple[Outcome, Conditions]:
        """Judge a reading; a zero also changes the conditions."""
        match step.source:
            case Zero() as zero:
                outcome = self._judge_zero(step, zero, read, nth)
                if outcome.verdict == "pass" and read.value is not None:
                    conditions = conditions.with_zero(read.instrument, read.value)
                return outcome, conditions
            case Prove() as proof:
                return self._judge_proof(step, proof, read, nth, conditions, rules, at), conditions
            case Measure() as measure:
                outcome = self.judge_measure(step, measure, read, nth, conditions, rules, at)
                if measure.read == "temperature" and read.value is not None and ROOM[0] <= read.value <= ROOM[1]:
                    # the thermometer says how warm conductors and meter are from here on
                    conditions = replace(conditions, ambient=read.value)
                inlet = self.plant.inlets.get(step.subject)
                at_poles = inlet is not None and measure.between == (inlet.live.name, inlet.back.name)
                if at_poles and measure.read == "voltage" and read.value is not None and self.began.edition > 2:
                    # what a shelf draws is held against the voltage that was read with it
                    conditions = replace(conditions, volts={**conditions.volts, step.subject: read.value})
                return outcome, conditions
        raise AssertionError(f"a {step.kind} step takes no reading")

    @cached_property
    def _prepared(self) -> dict[tuple[int, frozenset[str], frozenset[str]], Prepared]:
        """What was worked out already: the same question comes up again and again."""
        return {}

    def prepared(self, step: Step, conditions: Conditions) -> Prepared:
        """An energise step with the breakers that are closed and the cards that are in now."""
        source = step.source
        assert isinstance(source, Energise)
        closed, out = conditions.handled.closed, conditions.handled.out
        key = (step.index, closed, out)
        if key not in self._prepared:
            ammeter = self.bench.for_role("amps" if "amps" in step.roles else "supply")
            renews = ammeter.renews.get("current", 0.0) if ammeter is not None else 0.0
            found = prepare(self.plant, source, closed, out, renews)
            if self.began.edition > 6 and ammeter is not None and found.ramp is not None:
                found = replace(found, ramp=_as_it_shows(found.ramp, ammeter))
            self._prepared[key] = found
        return self._prepared[key]

    def judge_energised(
        self, step: Step, event: e.Energised, nth: int, conditions: Conditions, rules: Rules, at: str
    ) -> Outcome:
        """Judge a load that was brought up; see :mod:`bench.walk.power`."""

        def hold(read: e.Read, held: Held) -> Outcome:
            return self._held_against(step, read, held, self.rule(rules), _Taken(nth, conditions, at))

        base = Outcome(
            step.index,
            step.key,
            nth,
            "fail",
            "",
            step.subject,
            figure=Figure(unit="A"),
            circumstances=self._circumstances(conditions, at),
        )
        outcome = judge_energised(step, event, self.prepared(step, conditions), base, hold)
        volts = step.source.voltage.value if isinstance(step.source, Energise) else 0.0
        return self._looked_at_first(step, outcome, volts)

    def _looked_at_first(self, step: Step, outcome: Outcome, volts: float) -> Outcome:
        """The same, with the breakers named that are looked at first where there is nothing."""
        first = look_first(self.plant, step, outcome, volts) if outcome.verdict == "fail" else ""
        return replace(outcome, said=f"{outcome.sentence} {first}") if first else outcome

    def judge_measure(
        self,
        step: Step,
        source: Measure,
        read: e.Read,
        nth: int,
        conditions: Conditions,
        rules: Rules,
        at: str,
        drift: float = 0.0,
        budget: Budget | None = None,
    ) -> Outcome:
        """Judge a measuring step's reading.

        Args:
            step: the step.
            source: its entry in the sequence.
            read: the reading.
            nth: the event's number.
            conditions: as they were at the reading.
            rules: replacing limits or decision rule.
            at: time of day of the reading.
            drift: by how much the leads' zero moved until the closing zero, in ohms.
            budget: of the same reading under the same conditions without that drift, where it was worked out already.
        """
        if rules.accuracy:
            plain = msgspec.structs.replace(rules, accuracy={})
            better = self._with_accuracy(rules.accuracy)
            return better.judge_measure(step, source, read, nth, conditions, plain, at, drift)
        try:
            held = self.limit(step, conditions, rules)
        except JudgeError as error:
            return Outcome(
                step.index, step.key, nth, "undecided", f"Undecided: no limit: {error}.", step.subject, reading=read
            )
        zeros = conditions.zeros.get(read.instrument, ())
        zero = zeros[-1] if zeros and source.read == "resistance" and source.wires == 2 else None
        taken = _Taken(nth, conditions, at, source.wires, zero, drift, budget)
        outcome = self._held_against(step, read, held, self.rule(rules), taken)
        if source.read == "resistance" and not read.series:
            return outcome  # as most: nothing else is said of it
        if held.amps and outcome.figure.value is not None and outcome.verdict in ("pass", "fail", "undecided"):
            outcome = replace(outcome, said=joint_words(outcome, held.amps))
        inlet = self.plant.inlets.get(step.subject)
        if inlet is not None and source.limit.computed == "shelf-voltage" and loses(outcome):
            outcome = replace(outcome, advice=(search_offer(inlet.shelf), *outcome.advice))
        if source.read == "voltage" and outcome.figure.value is not None:
            turned = wrong_way_round(outcome, reading_text(outcome.figure.value, "V", expanded=outcome.figure.expanded))
            outcome = replace(outcome, said=turned) if turned else outcome
        if source.read in ("voltage", "current"):
            outcome = self._looked_at_first(step, outcome, volts_on(conditions.fed, conditions.handled.live))
        return _absorbed(outcome, source, read) if read.series else outcome

    def _held_against(self, step: Step, read: e.Read, held: Held, rule: Rule, taken: _Taken) -> Outcome:
        limit, conditions = held.limit, taken.conditions
        facts = self.bench.instrument(read.instrument)

        def come_to(
            verdict: Verdict,
            said: str | Decision,
            figure: Figure,
            connected: Connected = "",
            advice: tuple[str, ...] = (),
            remark: str = "",
        ) -> Outcome:
            return Outcome(
                step.index,
                step.key,
                taken.nth,
                verdict,
                said,
                step.subject,
                read,
                figure,
                Bounds(limit.lower, limit.upper, limit.source),
                Circumstances(taken.at, conditions.ambient, conditions.handled, self.bench),
                remark,
                advice,
                connected=connected,
            )

        table = facts.table if facts is not None else None
        function = facts.accuracy_of.get(read.function) if facts is not None else None
        as_read = Figure(read.value, read.unit, over=read.over, zero=taken.zero)
        if facts is None or table is None or function is None or function not in table.functions:
            said = f"Undecided: nothing is known of the accuracy of {read.instrument} for {read.function}."
            return come_to("undecided", said, as_read)
        try:
            age = facts.days_since_calibration(taken.at)
            if read.nan:
                decision = decide(NotANumber(read.unit), limit, rule)
                return come_to(decision.verdict, decision, replace(as_read, value=None))
            if read.over or read.value is None:
                beyond = _overload(table, function, read, conditions.ambient)
                decision = decide(beyond, limit, rule)
                said = _open_or_over(decision, beyond)
                return come_to(decision.verdict, said, replace(as_read, value=None), _connected(beyond, held, rule))
            is_low_ohm = read.unit == "Ω" and step.role in OHMMETERS
            drift = taken.drift if is_low_ohm and taken.wires == 2 else 0.0
            if taken.budget is not None:
                budget = with_drift(taken.budget, drift)
            else:
                budget = _budget(read, table, function, facts, age, taken, drift, is_low_ohm)
            decision = decide(budget, limit, rule)
            if decision.verdict == "pass" and held.as_good_as_nothing(budget):
                decision = replace(decision, verdict="undecided", told=_nothing_between(budget, held))
        except JudgeError as error:
            return come_to("undecided", f"Undecided: {error}.", as_read)
        advice: tuple[str, ...] = ()
        # a reading that cannot be is to be taken again, and no better meter would make it right
        if decision.verdict == "undecided" and not decision.told:
            meter = MeterInUse(
                table,
                function,
                calibrated_days_ago=age,
                temperature_c=conditions.ambient,
                four_wires=_has_four_wires(facts),
            )
            advice = _advice(budget, decision, meter, _takes_margin(step.source, held))
        reached = _connected(budget, held, rule, decision)
        if decision.told and reached:
            reached = "undecided"
        remarks = (
            _reached(reached, decision.verdict, held),
            held.remark(budget),
            _elsewhere(step.source, budget, conditions.ambient),
        )
        figure = Figure(budget.value, read.unit, budget.expanded_uncertainty, read.over, taken.zero, budget)
        return come_to(decision.verdict, decision, figure, reached, advice, " ".join(filter(None, remarks)))

    def _judge_zero(self, step: Step, source: Zero, read: e.Read, nth: int) -> Outcome:
        most = source.at_most.value
        base = Outcome(
            step.index,
            step.key,
            nth,
            "fail",
            "",
            step.subject,
            reading=read,
            figure=Figure(read.value, read.unit, over=read.over),
            bounds=Bounds(high=most, source="the most that a pair of leads may have, set in the sequence"),
        )
        if read.value is None:
            return replace(base, said="Fail: the probes do not touch, or a lead is broken.")
        shown = engineering(read.value, read.unit, resolution=read.resolution)
        if read.value > most:
            return replace(
                base, said=f"Fail: the leads read {shown}, more than {source.at_most}. Look at plugs and tips."
            )
        if read.value < -max(0.05, self._off_at(0.0, read)):
            return replace(base, said=f"Fail: the leads read {shown}. Clear the meter's own null.")
        return replace(base, verdict="pass", said=f"The leads read {shown}; this is taken off later readings.")

    def _judge_proof(
        self,
        step: Step,
        source: Prove,
        read: e.Read,
        nth: int,
        conditions: Conditions,
        rules: Rules,
        at: str,
    ) -> Outcome:
        held = self.proof_limit(source, read)
        if isinstance(held, str):
            return Outcome(step.index, step.key, nth, "undecided", held, step.subject, reading=read)
        zeros = conditions.zeros.get(read.instrument, ())
        zero = zeros[-1] if zeros and read.unit == "Ω" and source.wires == 2 else None
        shown = read
        if source.against == "live-source":
            # either way round proves a meter: a feed of -48 V with the red lead on it is as live as any
            size = abs(read.value) if read.value is not None else None
            shown = msgspec.structs.replace(read, value=size, over="+" if read.over else "")
        # a bench proof asks whether the reading agrees with what is known: the doubt of both is the tolerance already
        taken = _Taken(nth, conditions, at, source.wires, zero)
        outcome = self._held_against(step, shown, held, Rule.simple(), taken)
        return replace(outcome, reading=read, figure=replace(outcome.figure, over=read.over))

    def proof_limit(self, source: Prove, read: e.Read) -> Held | str:
        """What a bench proof's reading is held against; a sentence where the bench file lacks what it takes."""
        if source.against == "open-leads":
            table, function = self._accuracy(read)
            if table is None:
                return "Undecided: the meter's ranges are not known, so open leads prove nothing."
            floor = 0.1 * max(row.range_top for row in table.rows if row.function == function)
            why = "a tenth of the highest range, with nothing between the probes"
            if read.bound is not None and math.isclose(read.bound, floor):
                # all that its over range can tell is this far, and by the meter's own accuracy less
                floor -= min(2.0 * self._off_at(floor, read), 0.5 * floor)
                why = "a tenth of the highest range, less the meter's own accuracy, with nothing between the probes"
            return Held(Limit.at_least(floor, "Ω", why))
        if source.against == "live-source":
            return Held(
                Limit.at_least(10.0, "V", "a live source must show, either way round, before and after proving dead")
            )
        reference = self.bench.reference_for(source.read)
        if reference is None:
            wanted = " of 100 kΩ or more" if source.read == "insulation" else ""
            return f"Undecided: the bench file names no reference{wanted} to prove the bench against."
        off = self._off_at(reference.ohms.value, read)
        # four wires leave the contacts out
        contacts = 0.05 if source.wires == 2 else 0.0
        slack = reference.tolerance * reference.ohms.value + off + contacts
        return Held(
            Limit.between(
                max(0.0, reference.ohms.value - slack),
                reference.ohms.value + slack,
                "Ω",
                f"{reference.name}, {reference.ohms} ± {reference.tolerance:.3%}, with "
                f"{engineering(off, 'Ω', digits=2)} for the meter's own accuracy"
                f"{' and 50 mΩ for the contacts' if contacts else ''}",
            ),
            expected=reference.ohms.value,
        )

    def _off_at(self, ohms: float, read: e.Read) -> float:
        """By how much the meter of a reading may be off at a value by its data sheet; 0 where that is not known."""
        table, function = self._accuracy(read)
        if table is None:
            return 0.0
        try:
            return table.pick(function, ohms, allow_overdue=True).row.error_at(ohms).half_width
        except JudgeError:
            return 0.0

    def _accuracy(self, read: e.Read) -> tuple[AccuracyTable | None, str]:
        """The accuracy table of a reading's meter, and the function's name in it; None where it has none for that."""
        facts = self.bench.instrument(read.instrument)
        table = facts.table if facts is not None else None
        function = facts.accuracy_of.get(read.function, "") if facts is not None else ""
        return (table, function) if table is not None and function in table.functions else (None, function)


def _as_it_shows(ramp: RampUp, ammeter: InstrumentFacts) -> RampUp:
    """A ramp whose leakages hold for an ammeter that is read by eye: it may show some with nothing flowing."""
    name = ammeter.accuracy_of.get("current")
    if not ammeter.by_eye or ammeter.table is None or name is None:
        return ramp
    levels = []
    for level in ramp.levels:
        if level.leakage_a is not None:
            try:
                off = ammeter.table.pick(name, level.leakage_a, allow_overdue=True).row.error_at(0.0).half_width
            except JudgeError:
                return ramp
            level = replace(level, leakage_a=level.leakage_a + off)
        levels.append(level)
    return replace(ramp, levels=tuple(levels))


def rule_of(chosen: Decide) -> Rule:
    """The decision rule that a sequence or the command line asks for."""
    return _rule(chosen.rule, chosen.probability.value)


@lru_cache(maxsize=64)
def _rule(kind: str, probability: float) -> Rule:
    return Rule.simple() if kind == "simple" else Rule(kind, probability)


@lru_cache(maxsize=64)
def _emf_at(volts: float, amps: float) -> ThermalEmf:
    return ThermalEmf(volts, amps, "none")


def _accuracy_name(facts: InstrumentFacts, source: Measure) -> str | None:
    """The accuracy table's name for what a step reads; the instrument's function names are its profile's own."""
    return facts.accuracy_of.get(source.function)


def _has_four_wires(facts: InstrumentFacts) -> bool:
    """Whether a meter has terminals for four wires: it is no use to propose them where it has two."""
    return function_name("resistance", 4) in facts.accuracy_of


def _leads(facts: InstrumentFacts, wires: int, zero: float | None) -> Leads:
    if wires == 4:
        return Leads.four_wires()
    if zero is not None:
        return Leads.nulled(max(0.0, zero))
    if facts.nulls_itself:
        return Leads.nulled(0.0)
    return Leads.not_nulled(*facts.leads_ohm) if facts.leads_ohm is not None else Leads.not_nulled()


def _leads_at(shown: float, picked: PickedRow, leads: Leads) -> Leads:
    """The leads' correction on this range: what the range does not show of the leads is doubt and not taken off.

    It grows from nothing at the zero itself, so that one step of the last digit there decides nothing.
    """
    missing = leads.correction_ohm - max(0.0, shown)
    if missing <= 0 or picked.row.error_at(shown).half_width < missing:
        return leads
    return Leads(leads.method, leads.correction_ohm - missing, leads.half_width_ohm + missing)


MARGIN_FROM_OHM: Final = 0.2
"""A margin is proposed for a wire that has this much, as signals have it: none on a bond or a way of power."""


def _takes_margin(source: object, held: Held) -> bool:
    """Whether a margin may be proposed on a step's limit."""
    if isinstance(source, Measure) and source.limit.computed == "shelf-voltage":
        return True
    conductor = isinstance(source, Measure) and source.limit.computed == "conductor" and held.connected is not None
    return conductor and held.expected is not None and held.expected >= MARGIN_FROM_OHM


def _connected(read: Budget | Overload, held: Held, rule: Rule, sound: Decision | None = None) -> Connected:
    """Whether a reading shows a conductor connected, sound or not; empty for what is no conductor.

    Args:
        read: the reading.
        held: what it is held against.
        rule: the decision rule.
        sound: what was decided of its soundness.
    """
    if held.connected is None:
        return ""
    if sound is not None and sound.verdict == "pass" and _asks_less(held.connected, held.limit):
        return "yes"
    verdict = decide(read, held.connected, rule).verdict
    return {"pass": "yes", "fail": "no"}.get(verdict, "undecided")  # type: ignore[return-value]


def _asks_less(one: Limit, other: Limit) -> bool:
    """Whether whatever keeps one upper limit keeps another one, too."""
    if one.lower is not None or other.lower is not None or one.upper is None or other.upper is None:
        return False
    return one.upper >= other.upper


def _budget(
    read: e.Read,
    table: AccuracyTable,
    function: str,
    facts: InstrumentFacts,
    age: float | None,
    taken: _Taken,
    drift: float,
    is_low_ohm: bool,
) -> Budget:
    """The uncertainty budget of a reading that has a value.

    Raises:
        JudgeError: the table does not cover it.
    """
    assert read.value is not None
    ambient, wires = taken.conditions.ambient, taken.wires
    key = (function, read.range, age, ambient, wires, taken.zero, drift, is_low_ohm, read.unit)
    way = facts.ways.get(key) if not read.flags else None
    if way is None or not way.holds_for(read.value):
        picked = _pick(table, function, read, age)
        if FLAG in read.flags:
            picked = _as_typed(picked, facts, read)
        emf = None
        if facts.emf_volt > 0 and picked.row.test_current_a is not None and read.unit == "Ω":
            emf = _emf_at(facts.emf_volt, picked.row.test_current_a)
        leads = _leads(facts, wires, taken.zero) if is_low_ohm else None
        here = _leads_at(read.value, picked, leads) if leads is not None else None
        way = Way(picked, ambient, here, emf, drift)
        # another reading is taken in this way where nothing of it goes by the value
        if here is leads and not read.flags and table.holds_alone(picked, function, read.range, age):
            if len(facts.ways) >= _MOST_WAYS:
                facts.ways.clear()
            facts.ways[key] = way
    return _with_scatter(way.budget(read.value), read)


def _nothing_between(budget: Budget, held: Held) -> str:
    least = engineering(held.least or 0.0, held.limit.unit)
    return (
        f"Undecided: {budget.text} is as good as nothing, where this path cannot have less than {least}. The probes "
        "may have touched each other, or the same pin: look, and read it again. If it stays, look for a second path."
    )


def _reached(connected: Connected, verdict: str, held: Held) -> str:
    """What a reading says of the conductor where it does not show it sound."""
    if held.connected is None or verdict == "pass":
        return ""
    most = held.connected.asked
    if connected == "yes" and verdict == "undecided":
        return f"It is connected, pin to pin ({most}); whether it is sound is more than this reading tells."
    if connected == "yes":
        return f"It is connected all the same ({most}): the pins are right, a joint or the wire is not."
    if connected == "undecided":
        return f"Not even whether it is connected ({most}) can be told."
    return ""


def _elsewhere(source: object, budget: Budget, ambient: float) -> str:
    """What an insulation reading comes to at the temperature that its step names: to compare by, never to judge by.

    A minimum is asked of the insulation as it is: a warm reading that is too low stays too low.
    """
    if not isinstance(source, Measure) or source.bring_to is None:
        return ""
    corrected = at_temperature(max(0.0, budget.value), ambient, source.bring_to.value)
    return f"For comparison: {corrected.sentence}"


def _absorbed(outcome: Outcome, source: Measure, read: e.Read) -> Outcome:
    """Add what timed readings say of absorption; a winding's polarization index is judged too."""
    readings = [TimedReading(seconds, ohms) for seconds, ohms in read.series if ohms is not None]
    said: list[str] = []
    verdict, sentence = outcome.verdict, outcome.sentence
    moments = {seconds for seconds, _ in read.series}
    for wanted in ({30.0, 60.0}, {60.0, 600.0}):
        if not wanted <= moments:
            continue
        try:
            if 30.0 in wanted:
                ratio = dielectric_absorption_ratio(readings)
            else:
                ratio = polarization_index(readings, source.insulation_class)
        except JudgeError:
            said.append("No ratio can be told: a reading was over range.")
            continue
        said.append(ratio.sentence)
        if ratio.answer == "low" and verdict == "pass":
            verdict, sentence = "fail", f"Fail: {ratio.sentence}"
    return replace(outcome, verdict=verdict, said=sentence, remark=" ".join([outcome.remark, *said]).strip())


def _open_or_over(decision: Decision, beyond: Overload) -> str:
    """An overload in ohms is an open circuit to the person at the rack."""
    if beyond.unit != "Ω" or beyond.negative or decision.verdict == "undecided":
        return decision.sentence
    shown = f"Open: nothing conducts, as far as the meter sees ({engineering(beyond.top, beyond.unit)})"
    return f"{shown}; limit: {decision.limit.asked}."


def _pick(table: AccuracyTable, function: str, read: e.Read, age: float | None) -> PickedRow:
    assert read.value is not None
    return table.pick(function, read.value, range_top=read.range, calibrated_days_ago=age, allow_overdue=True)


def _as_typed(picked: PickedRow, facts: InstrumentFacts, read: e.Read) -> PickedRow:
    """The row of a display whose steps nobody knows: it is as coarse as what was typed, and no finer than it says."""
    displays = facts.displays.get(read.function, [])
    known = any(one.resolution is not None or one.word for one in displays)
    if known or not displays or read.resolution is None or read.resolution <= picked.row.resolution:
        return picked
    return replace(picked, row=replace(picked.row, resolution=read.resolution))


def _overload(table: AccuracyTable, function: str, read: e.Read, ambient: float) -> Overload:
    """What an over-range proves: that the value is beyond the range that the meter stood on, or what it said itself.

    Where the reading does not tell the range, it may have stood on the lowest: a key may have held it there.
    """
    rows = table.by_top[function]
    known = [row for row in rows if read.range is not None and math.isclose(row.range_top, read.range)]
    beyond = overload_reading(known[0] if known else rows[0], temperature_c=ambient, negative=read.over == "-")
    if read.bound and FLAG in read.flags and read.range is None:
        # a lamp or a tone: its threshold is the surest that its profile has, and no range
        return replace(beyond, top=read.bound, standard_uncertainty=0.0)
    return replace(beyond, top=read.bound) if read.bound else beyond


def _with_scatter(budget: Budget, read: e.Read) -> Budget:
    """Add the scatter of averaged readings, which the record keeps as their standard deviation."""
    if read.spread is None or read.count < 2:
        return budget
    from bench.judge.uncertainty import Component

    scatter = Component(
        "scatter of the readings",
        read.spread / math.sqrt(read.count),
        dof=read.count - 1,
        role="scatter",
        kind="A",
        basis=f"{read.count} readings",
    )
    return budget.with_components((*budget.components, scatter))


def _advice(budget: Budget, decision: Decision, meter: MeterInUse, margin: bool) -> tuple[str, ...]:
    try:
        found = what_would_decide(budget, decision.limit, decision.rule, meter=meter, margin=margin)
    except JudgeError:
        return ()
    return tuple(advice.sentence for advice in found[:3])
