"""Evidence as plain rows: what a reading said of the plant, and when something was touched.

Rows come from folding a whole record: :func:`distil` keeps what counts at its end, :func:`every_reading` all that was
read. What the runner noted beside a reading then is for people, and never becomes a row.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import Any, Final

import msgspec

from bench.judge.decision import Decision, value_sentence
from bench.plant.handled import Change, Handled, Mark
from bench.plant.model import Plant
from bench.record.replay import Taken
from bench.sequence.file import Ask, Energise, Found, Look, Measure
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.left_on import outputs_on
from bench.walk.outcome import Outcome, capacitors_of
from bench.walk.power_seen import tells_power
from bench.walk.results import outcomes, results
from bench.walk.setting import Conditions, Setting
from bench.walk.state import Phase, State, said_by, start, unexplained

ENERGISED: Final = "energised"
"""The function of a row that tells how a shelf came up: such rows have no reading of their own in the record."""
PARTLY: Final = "not all cards in"
"""Stands as the second place of such a row where a shelf had not all its cards, or a dummy load."""
APART: Final = "apart"
"""The function of what a search said of many nets at once: ``between`` names one place on each."""
LEAKAGE: Final = "leakage"
"""The function of a row that tells what a shelf's capacitors leak; somebody typed it."""
SERIES_RESISTANCE: Final = "series-resistance"
"""And of what stands in series with them, which grows as they dry out."""
TYPED_PART: Final = 0.03
"""Standard uncertainty of what somebody reads of a capacitor, as a part: its temperature counts for most (common
practice, no source)."""
TYPED_LEAST: Final = {"A": 5e-6, "Ω": 0.002}
INSULATED: Final = "insulated"
"""The function of what a search at a test voltage said of a whole cable: ``between`` names that alone."""


class Evidence(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One reading of the plant, with what was made of it.

    Attributes:
        record: the record's name.
        n: the event's number in it.
        at: time of day, UTC.
        step: the step's lasting name in its sequence.
        subject: the plant object that it is about.
        between: where the probes were, red first.
        function: as readings carry it, such as ``resistance 2w``; or :data:`ENERGISED`.
        verdict: ``pass``, ``fail``, ``undecided``, ``void`` or ``skipped``.
        said: the verdict in words, where it is more than the figures below say.
        value: corrected, in ``unit``; None where the meter gave none.
        standard: standard uncertainty.
        expanded: expanded uncertainty.
        unit: base unit.
        over: '+' or '-' where the meter showed over range.
        range: the range's top.
        low: lower bound of the limit.
        high: upper bound of the limit.
        limit: where the limit came from.
        instrument: its name on the bench.
        meter: its serial number, or how it answered to its name.
        operator: who did it.
        ambient: °C that was taken for it.
        zero: what was taken off for the leads.
        under: what makes it another quantity than the same reading at another time: bonds that were lifted, what fed
            a voltage.
        connected: of a conductor, whether it is connected at all: ``yes``, ``no`` or ``undecided``.
        was: of one that is void only because nobody can say whether it came before what would void it, the verdict
            that it had.
    """

    record: str
    n: int
    at: str
    step: str
    subject: str
    between: tuple[str, ...]
    function: str = ""
    verdict: str = ""
    said: str = ""
    value: float | None = None
    standard: float | None = None
    expanded: float | None = None
    unit: str = ""
    over: str = ""
    range: float | None = None
    low: float | None = None
    high: float | None = None
    limit: str = ""
    instrument: str = ""
    meter: str = ""
    operator: str = ""
    ambient: float | None = None
    zero: float | None = None
    under: tuple[str, ...] = ()
    connected: str = ""
    was: str = ""

    @property
    def sentence(self) -> str:
        """The verdict in words."""
        if self.said or self.value is None or self.expanded is None or (self.low is None and self.high is None):
            return self.said
        return value_sentence(self.verdict, self.value, self.expanded, self.low, self.high, self.unit)

    @property
    def reads(self) -> str:
        """What was read, whatever the number of wires: ``resistance``, ``insulation``, ``voltage``, ``current``."""
        return self.function.split(" ")[0]


class Told(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Something that was said to have happened to the plant, or that a person remarked.

    Attributes:
        record: where it is written down.
        n: the event's number there.
        at: when it was written, UTC.
        kind: ``disturbance``, ``act`` (a step's own handling), ``note``, ``bench`` (another meter), ``plant``, or
            ``unexplained`` (found otherwise than it was left).
        names: what was touched.
        text: in words.
        by: who said so.
        when: when it happened, where that was before it was written.
        saw: of what was told outside any walk, the last records that were there.
        later: of what was told later, first line's hash of each record that was read after it happened, with the last
            line before those readings.
    """

    record: str
    n: int
    at: str
    kind: str
    names: tuple[str, ...] = ()
    text: str = ""
    by: str = ""
    when: str = ""
    saw: tuple[e.Seen, ...] = ()
    later: dict[str, int] = {}

    @property
    def happened(self) -> str:
        """When it happened, as far as is known, UTC."""
        return self.when or self.at


def in_time(told: Told) -> tuple[str, str, int]:
    """Sorts what was told by when it happened."""
    return told.happened, told.record, told.n


class Chapter(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One record, distilled.

    Attributes:
        record: its name.
        began: when the walk began, UTC.
        ended: when its last event was, UTC.
        sequence: the sequence's name.
        bench: the bench's name.
        simulated: whether no real meter was there.
        operator: who began it.
        plant_digest: tells which plant it ran with.
        ending: ``done``, ``aborted``, or the phase it stands in.
        evidence: what counts of its readings of the plant.
        told: disturbances, acts, remarks and changes of the bench.
        order: of the record among those of its job; 0 in records of older versions.
        saw: the last records that were there when it began.
        marks: how breakers, cards, bonds and the like were left, as far as this record says.
        id: the hash of its first line.
        lines: how many lines it has.
        last: the hash of its last line.
        jumps: where its clock went back: the line, and what the clock said before and then.
        power: whether it tells that the plant had power, in this walk or before.
    """

    record: str
    began: str
    ended: str
    sequence: str
    bench: str
    simulated: bool
    operator: str
    plant_digest: str
    ending: str
    evidence: tuple[Evidence, ...] = ()
    told: tuple[Told, ...] = ()
    order: int = 0
    saw: tuple[e.Seen, ...] = ()
    marks: tuple[Mark, ...] = ()
    id: str = ""
    lines: int = 0
    last: str = ""
    jumps: tuple[tuple[int, str, str], ...] = ()
    power: bool = False

    @property
    def finished(self) -> bool:
        """Whether every step was reached."""
        return self.ending == Phase.DONE.value


# A whole record, folded


def distil(record: str, taken: Iterable[Taken], plant_digest: str = "") -> Chapter:
    """Fold a record and keep what it says of the plant.

    Args:
        record: its name.
        taken: all of it, as :func:`bench.record.replay.follow` gives it.
        plant_digest: tells which plant it ran with.
    """
    return _Fold(record, plant_digest).chapter(taken)


def every_reading(record: str, taken: Iterable[Taken]) -> list[Evidence]:
    """Fold a record and give all its readings of the plant, those that were taken again among them.

    Args:
        record: its name.
        taken: all of it, as :func:`bench.record.replay.follow` gives it.
    """
    fold = _Fold(record, "")
    return fold.rows(fold.run(taken))


class _Fold:
    def __init__(self, record: str, plant_digest: str) -> None:
        self._record = record
        self._digest = plant_digest
        self._meters: dict[str, str] = {}
        self._read_with: dict[int, str] = {}
        self._fed: dict[int, tuple[str, ...]] = {}
        self._under: dict[int, tuple[str, ...]] = {}
        self._told: list[Told] = []
        self._operator = ""
        self._began = self._ended = ""
        self._jumps: list[tuple[int, str, str]] = []
        self._power = False

    def run(self, taken: Iterable[Taken]) -> State:
        state = start()
        for before, entry, after in taken:
            state = after
            if entry.at < self._ended:
                self._jumps.append((entry.n, self._ended, entry.at))
            self._ended = entry.at
            self._power = self._power or tells_power(before, entry, after)
            if before.phase is Phase.PLACING and type(entry.event) is e.Answered:
                continue  # the half of a record's lines: probes were placed
            step = before.step
            match entry.event:
                case e.Read() as read:
                    self._read_with[entry.n] = self._meters.get(read.instrument, "")
                    if step is not None and before.setting is not None:
                        self._under[entry.n] = _under(before.setting.plant, step, before.conditions.handled)
                case e.Began() as began:
                    self._began, self._operator = entry.at, began.operator
                case e.Met() as met:
                    self._meet(entry, met)
                case e.Energised() if step is not None and before.setting is not None:
                    self._fed[entry.n] = _on(before.setting, step, before.conditions)
                    self._read_with[entry.n] = self._meters.get(entry.event.instrument, "")
                case e.Disturbed() as one:
                    self._tell(entry, "disturbance", tuple(one.touches), one.text, one.by, one.when)
                case e.Noted() as note:
                    self._tell(entry, "note", (), note.text, note.by)
                case e.Answered() as answer if step is not None and isinstance(step.source, Look):
                    self._looked(entry, answer, step.source, before)
                case e.Answered() as answer if step is not None and step.kind == "do" and step.touches:
                    self._tell(entry, "act", step.touches, step.title, answer.by)
                case _:
                    pass
        return state

    def _looked(self, entry: e.Entry, answer: e.Answered, look: Look, before: State) -> None:
        """What was found otherwise than it was left. Evidence on a bond, a card or a plug that somebody moved no longer
        counts; a breaker proves nothing that its handling could void."""
        for change, mark in unexplained(before, look, look.answered(answer.answer)):
            kind = "disturbance" if change.kind in ("bond", "card", "plug") else "unexplained"
            text = f"found {change.state}, was left {mark.change.state} {said_by(mark)}: an unexplained change"
            self._tell(entry, kind, (change.name,), text, answer.by)

    def _meet(self, entry: e.Entry, met: e.Met) -> None:
        meter = met.serial or met.identity
        before = self._meters.get(met.instrument)
        self._meters[met.instrument] = meter
        if before is not None and before != meter:
            self._tell(entry, "bench", (), f"{met.instrument} is now {meter}, was {before}", "")

    def _tell(self, entry: e.Entry, kind: str, names: tuple[str, ...], text: str, by: str, when: str = "") -> None:
        self._told.append(
            Told(record=self._record, n=entry.n, at=entry.at, kind=kind, names=names, text=text, by=by, when=when)
        )

    def chapter(self, taken: Iterable[Taken]) -> Chapter:
        state = self.run(taken)
        setting = state.setting
        counting = list(results(state).values())
        rows = [row for one in counting if (row := self.row(one, state)) is not None]
        rows += [row for one in counting if one.found is not None for row in self._searched(one, one.found)]
        rows += [row for one in counting for row in self._capacitors(one, setting)]
        return Chapter(
            record=self._record,
            began=self._began,
            ended=self._ended,
            sequence=setting.plan.sequence.sequence if setting is not None else "",
            bench=setting.bench.name if setting is not None else "",
            simulated=setting.bench.simulated if setting is not None else False,
            operator=self._operator,
            plant_digest=self._digest,
            ending=state.phase.value,
            evidence=tuple(rows),
            told=tuple(self._told),
            order=setting.began.order if setting is not None else 0,
            saw=tuple(setting.began.saw) if setting is not None else (),
            marks=tuple(self._marks(state)),
            jumps=tuple(self._jumps),
            power=self._power,
        )

    def _marks(self, state: State) -> Iterator[Mark]:
        """How things were left, as far as this record itself says."""
        for things in state.conditions.handled.marks.values():
            for said in things.values():
                for mark in said:
                    yield msgspec.structs.replace(mark, record=self._record, by=mark.by or self._operator)
        for output in outputs_on(state):
            if not output.sure:
                # it ends while this was being switched, or read with
                change = Change("output", output.name, "may be on", volts=output.volts)
                yield Mark(change, self._operator, self._ended, self._record, state.taken)

    def _searched(self, outcome: Outcome, found: Found) -> Iterator[Evidence]:
        """What a search for joins or poor insulation says: these are apart from one another, and these are not."""
        if found.facts.get("search") == "second-path":
            yield from self._bonds(outcome, found)
            return
        facts, low = found.facts, found.facts.get("minimum")
        wrong = [tuple(one[:2]) for one in facts.get("poor", ())]
        wrong += [pair for group in facts.get("joined", ()) for pair in pairwise(group)]
        named = {name for pair in wrong for name in pair}
        # what is joined or leaks may hide more behind it: of the others alone it is said that they are apart
        whole = tuple(name for name in facts.get("nets", ()) if name not in named)
        ends = [(whole, "pass")] if len(whole) > 1 else []
        ends += [(pair, "fail") for pair in wrong]
        said = [(between, verdict, APART) for between, verdict in ends]
        if low is not None:
            said.append(((outcome.subject,), found.verdict, INSULATED))
        for between, verdict, function in said:
            verdict = "void" if outcome.verdict == "void" else verdict
            subject = outcome.subject
            yield self._told_by(outcome, subject, between, function=function, verdict=verdict, unit="Ω", low=low)

    def _bonds(self, outcome: Outcome, found: Found) -> Iterator[Evidence]:
        """What a search for a second path to earth says of bonds: all are sound, or these are poor or bridged.

        A bond of which its readings could not have shown that it is poor is left undecided.
        """
        facts = found.facts
        shown = facts.get("sight", {}).get("poor")
        wrong = {str(name) for name in facts.get("poor-bonds", ())} | {str(name) for name in facts.get("worse", {})}
        wrong |= {str(one["bond"]) for one in facts.get("plan", ()) if one["act"] == "lift"}
        for one in facts.get("readings", ()):
            bond = str(one.get("bond", ""))
            if not bond or one["lifted"] or (bond not in wrong and facts.get("kind") != "clear"):
                continue  # beside what is wrong nothing is said of the others
            value = one["read"] if isinstance(one["read"], float) else None
            sound = "pass" if shown is None or bond in shown else "undecided"
            yield self._told_by(
                outcome,
                bond,
                tuple(one["between"]),
                function="resistance 4w",
                verdict="void" if outcome.verdict == "void" else "fail" if bond in wrong else sound,
                unit="Ω",
                value=value,
                standard=one["u"] or None,
                high=one["most"],
            )

    def _told_by(self, outcome: Outcome, subject: str, between: tuple[str, ...], **more: Any) -> Evidence:
        """A row of what an outcome tells besides a reading of its own; ``more`` are other fields of it."""
        return Evidence(
            record=self._record,
            n=outcome.n,
            at=outcome.circumstances.at or self._ended,
            step=outcome.key,
            subject=subject,
            between=between,
            said=outcome.sentence,
            operator=self._operator,
            **more,
        )

    def rows(self, state: State) -> list[Evidence]:
        """All readings of the plant, and how shelves came up, in the order of the record."""
        made: list[Evidence] = []
        for one in list(outcomes(state))[::-1]:
            made += self._capacitors(one, state.setting)
            if (one.reading is not None or one.n in self._fed) and (row := self.row(one, state)) is not None:
                made.append(row)
        return made

    def _capacitors(self, outcome: Outcome, setting: Setting | None) -> Iterator[Evidence]:
        """What somebody read of a shelf's capacitors: leakage and series resistance, a row for each."""
        assert setting is not None
        source = setting.plan.steps[outcome.index].source
        read = capacitors_of(outcome.answer) if isinstance(source, Ask) and source.name == "capacitors" else None
        if read is None:
            return
        for function, value, unit, high in (
            (LEAKAGE, read[0] / 1000.0, "A", outcome.bounds.high),
            (SERIES_RESISTANCE, read[1], "Ω", None),
        ):
            if value is None:
                continue
            yield self._told_by(
                outcome,
                outcome.subject,
                (outcome.subject,),
                function=function,
                verdict=outcome.verdict,
                unit=unit,
                value=value,
                standard=max(TYPED_PART * value, TYPED_LEAST[unit]),
                high=high,
            )

    def row(self, outcome: Outcome, state: State) -> Evidence | None:
        """One outcome as a row; None for a step that reads nothing of the plant."""
        assert state.setting is not None
        step = state.setting.step_of(outcome)
        read = outcome.reading
        places = step.pair if step.kind == "measure" else self._fed.get(outcome.n)
        if not places:
            return None
        return Evidence(
            record=self._record,
            n=outcome.n,
            at=outcome.circumstances.at or self._ended,
            step=outcome.key,
            subject=outcome.subject if step.kind == "measure" else places[0],
            between=places,
            function=read.function if read is not None else "" if step.kind == "measure" else ENERGISED,
            verdict=outcome.verdict,
            said="" if isinstance(outcome.said, Decision) and not outcome.said.told else outcome.sentence,
            value=outcome.figure.value,
            standard=outcome.figure.budget.standard_uncertainty if outcome.figure.budget is not None else None,
            expanded=outcome.figure.expanded,
            unit=outcome.figure.unit,
            over=outcome.figure.over,
            range=read.range if read is not None else None,
            low=outcome.bounds.low,
            high=outcome.bounds.high,
            limit=outcome.bounds.source,
            instrument=read.instrument if read is not None else "",
            meter=self._read_with.get(outcome.n, ""),
            operator=self._operator,
            ambient=outcome.circumstances.ambient,
            zero=outcome.figure.zero,
            under=self._under.get(outcome.n, ()),
            connected=outcome.connected,
        )


def _under(plant: Plant, step: Step, handled: Handled) -> tuple[str, ...]:
    """What makes a reading another quantity: of the earthing network the bonds lifted, of a voltage what feeds it."""
    source = step.source
    if not isinstance(source, Measure) or (not handled.lifted and source.read != "voltage"):
        return ()
    if step.subject in plant.bonds or _between_earth_points(plant, step.pair or ()):
        return tuple(f"{name} lifted" for name in sorted(handled.lifted))
    if source.read == "voltage":
        return ("from a bench supply",) if handled.on else ("from its own supply",) if handled.live else ()
    return ()


def _between_earth_points(plant: Plant, places: tuple[str, ...]) -> bool:
    known = [plant.terminals[place].owner for place in places if place in plant.terminals]
    return bool(known) and all(owner in plant.earth_points for owner in known)


def _on(setting: Setting, step: Step, conditions: Conditions) -> tuple[str, ...]:
    """What an energise step says something of: a shelf, and :data:`PARTLY` where not all its cards were in.

    Nothing where several shelves were on, or none: the current cannot be told apart then.
    """
    if not isinstance(step.source, Energise):
        return ()
    found = setting.prepared(step, conditions)
    shelves = tuple(found.forecast.typical.shelves) if found.forecast is not None else ()
    if len(shelves) != 1:
        return ()
    cards = {card.name for name in (shelves[0], *setting.plant.shelves[shelves[0]].halves)
             for card in setting.plant.shelves[name].cards}  # fmt: skip
    whole = not cards & conditions.handled.out and step.source.dummy is None
    return shelves if whole else (shelves[0], PARTLY)
