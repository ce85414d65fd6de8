"""What a report says of one record, gathered in one fold: plain values, nothing drawn yet."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from pathlib import Path

import msgspec

from bench.diagnose.supply.patterns import findings
from bench.plant.model import Plant, UnknownName
from bench.quantity import engineering
from bench.record.kept import place_of, wrong_file
from bench.record.read import BrokenRecord
from bench.record.replay import Taken
from bench.record.verify import Verified
from bench.roles import HIGH_OHMS, OHMMETERS
from bench.say.reading import asked, reading
from bench.say.times import second
from bench.say.verdict import SIGNS
from bench.sequence.file import Found, Look
from bench.sequence.plan import Step
from bench.walk import events as e
from bench.walk.by_eye import FLAG
from bench.walk.facts import BenchFacts, InstrumentFacts
from bench.walk.left_on import ends_with
from bench.walk.outcome import Outcome
from bench.walk.results import connections, results, tally, too_coarse
from bench.walk.setting import Setting
from bench.walk.state import Phase, State, said_by, start, unexplained


class Result(msgspec.Struct, frozen=True):
    """One result.

    Attributes:
        title: the step's title, without the places.
        between: where the probes were, red first; empty for the bench's own checks.
        reading: with its uncertainty, in words.
        asked: the limit, in words.
        verdict: the verdict.
        mark: a sign for it.
        remark: the reason where it did not pass, and what is worth a look.
        n: the event's number.
        at: time of day, UTC.
        by_eye: which of two ohmmeters read it; that a person read it from a display, and what was typed before it;
            empty for any other.
        connected: whether it leaves open no more than whether a conductor that is connected is sound.
    """

    title: str
    between: tuple[str, ...]
    reading: str
    asked: str
    verdict: str
    mark: str
    remark: str
    n: int
    at: str
    by_eye: str = ""
    connected: bool = False


class NotPassed(msgspec.Struct, frozen=True):
    """One result that did not pass.

    Attributes:
        line: the result.
        places: where to look, in words.
        advice: what to do.
    """

    line: Result
    places: tuple[str, ...]
    advice: tuple[str, ...]

    @property
    def point(self) -> tuple[str, ...]:
        """What it is said of, whichever record says it."""
        return (self.line.title, *self.line.between)


class Section(msgspec.Struct, frozen=True):
    """The results under one heading, and the sources of their limits."""

    title: str
    lines: tuple[Result, ...]
    sources: tuple[str, ...]
    parts: tuple[tuple[str, float, float, str], ...]
    """Name, reading over upper limit, uncertainty over upper limit, verdict: for a plot."""
    summary: str = ""
    """How many came to which verdict, and between which readings those lie that passed."""

    @property
    def limit(self) -> str:
        """The limit in words, where it is one and the same for all; empty where it is not."""
        found = {line.asked for line in self.lines}
        return found.pop() if len(found) == 1 else ""


class Searched(msgspec.Struct, frozen=True):
    """What a search came to: its step's title, the verdict that counts, the finding."""

    title: str
    verdict: str
    mark: str
    found: Found


class UsedMeter(msgspec.Struct, frozen=True):
    """An instrument as it was used."""

    name: str
    title: str
    profile: str
    identity: str
    serial: str
    calibrated: str
    due: str
    overdue: bool
    roles: str


class Happening(msgspec.Struct, frozen=True):
    """Something that happened, for the lists of deviations, overrides, disturbances and holds."""

    n: int
    at: str
    what: str
    text: str
    by: str


class Attachment(msgspec.Struct, frozen=True):
    """A file that was kept with a step or a note.

    Attributes:
        happened: when, by whom, with what and what it shows.
        name: its own name.
        sha256: of its bytes.
        size: bytes.
        wrong: what is wrong with the copy; empty where nothing is.
        place: where the copy lies; None where the checksum alone is kept.
    """

    happened: Happening
    name: str
    sha256: str
    size: int
    wrong: str
    place: Path | None


class Sheet(msgspec.Struct):
    """One record.

    Attributes:
        path: the record.
        setting: plant, plan and bench of its beginning.
        verified: what verifying its chain showed.
        began: when, UTC.
        ended: time of its last event, UTC.
        ending: ``complete``, ``aborted`` or ``not finished``.
        left_on: what it ends with on, in sentences.
        meters: instruments that were used.
        sections: results of the plant.
        checks: results of the bench itself.
        counts: verdict to how many results of the plant.
        asked_for: how many readings and the like the sequence asks for.
        searches: what searches found.
        seen: what is wrong with what was brought up, in words.
        not_passed: results that did not pass, each with where to look and what to do.
        conditions: name and value of what was asked and taken.
        holds: hold points that were passed, and by whom.
        deviations: what was not done as the sequence says.
        overrides: reasons for going on in spite of something.
        disturbances: what was disturbed, and notes.
        attachments: files that were kept with steps and notes.
        pins: terminal to the verdicts of the readings that touched it.
        connected: what is said of conductors where the meter was too coarse for some.
        finer: what would tell whether those that are connected are sound.
    """

    path: Path
    setting: Setting
    verified: Verified
    began: str
    ended: str
    ending: str
    left_on: tuple[str, ...] = ()
    meters: list[UsedMeter] = msgspec.field(default_factory=list)
    sections: list[Section] = msgspec.field(default_factory=list)
    checks: list[Result] = msgspec.field(default_factory=list)
    counts: Counter[str] = msgspec.field(default_factory=Counter)
    asked_for: int = 0
    searches: list[Searched] = msgspec.field(default_factory=list)
    seen: list[str] = msgspec.field(default_factory=list)
    not_passed: list[NotPassed] = msgspec.field(default_factory=list)
    conditions: list[tuple[str, str]] = msgspec.field(default_factory=list)
    holds: list[Happening] = msgspec.field(default_factory=list)
    deviations: list[Happening] = msgspec.field(default_factory=list)
    overrides: list[Happening] = msgspec.field(default_factory=list)
    disturbances: list[Happening] = msgspec.field(default_factory=list)
    attachments: list[Attachment] = msgspec.field(default_factory=list)
    pins: dict[str, list[str]] = msgspec.field(default_factory=dict)
    connected: str = ""
    finer: tuple[str, ...] = ()

    @property
    def bench(self) -> BenchFacts:
        """The bench."""
        return self.setting.bench

    @property
    def operators(self) -> str:
        """Everybody who is named, the one who began first."""
        names = [self.setting.began.operator, *(one.by for one in (*self.holds, *self.disturbances))]
        return ", ".join(dict.fromkeys(name for name in names if name)) or "not named"


def sheet(path: Path, taken: Iterable[Taken], verified: Verified) -> Sheet:
    """Gather one record.

    Args:
        path: the record.
        taken: all of it, as :func:`bench.record.replay.follow` gives it.
        verified: what verifying its chain showed.

    Raises:
        BrokenRecord: the entries are no record that the machine wrote, or none at all.
    """
    state, met = start(), list[tuple[e.Met, str]]()
    happened: list[tuple[str, Happening]] = []
    attached: list[Attachment] = []
    began = ended = ""
    for before, entry, after in taken:
        state = after
        began, ended = began or entry.at, entry.at
        if isinstance(entry.event, e.Met):
            met.append((entry.event, entry.at))
        if isinstance(entry.event, e.Attached):
            attached += _attachments(path, entry, before)
        kind = _kind(entry, before)
        if kind:
            happened.append((kind, _told(entry, before)))
    if state.setting is None:
        raise BrokenRecord(path, 0, "holds no walk")
    ending = {Phase.DONE: "complete", Phase.ABORTED: "aborted"}.get(state.phase, "not finished")
    made = Sheet(path, state.setting, verified, began, ended, ending, ends_with(state))
    made.meters = _meters(state.setting, met)
    made.attachments = attached
    for kind, one in happened:
        getattr(made, kind).append(one)
    _add_results(made, state)
    _add_conditions(made, state)
    return made


def _attachments(path: Path, entry: e.Entry, before: State) -> list[Attachment]:
    """The files that an event kept, each with the step that was under way or what it is about."""
    event = entry.event
    assert isinstance(event, e.Attached)
    planned = before.setting.plan.steps if before.setting is not None else ()
    about = next((step.title for step in planned if step.key == event.about), event.about)
    about = about or (before.step.title if before.step is not None else "the walk")
    happened = Happening(entry.n, second(entry.at), about, event.text, event.by)
    return [
        Attachment(happened, kept.name, kept.sha256, kept.size, wrong_file(path, kept),
                   place_of(path, kept) if kept.copied else None)
        for kept in event.files
    ]  # fmt: skip


def _kind(entry: e.Entry, before: State) -> str:
    """Which list of the sheet an event belongs to; empty for none."""
    step = before.step
    match entry.event:
        case e.Answered() if before.phase is Phase.CONSENTING:
            return "overrides"
        case e.Answered() if before.phase is Phase.ASKING and step is not None and step.kind == "hold":
            return "holds"
        case e.Answered() if before.phase is Phase.ASKING and step is not None and step.kind in ("look", "gate"):
            return "overrides" if step.kind == "gate" else "holds"
        case e.Answered() if before.phase is Phase.TROUBLED:
            return ""
        case e.Disturbed() | e.Noted():
            return "disturbances"
        case e.Guarded() | e.OutputsSeen() | e.Sending() | e.Tripped():
            return "deviations"
        case e.Skipped() | e.Went() | e.Troubled() | e.Paused() | e.Resumed() | e.Mended() | e.Aborted():
            return "deviations"
        case _:
            return ""


def _told(entry: e.Entry, before: State) -> Happening:
    event, step = entry.event, before.step
    title = step.title if step is not None else ""
    what, text = type(event).__name__.lower(), ""
    match event:
        case e.Answered(answer=answer) if before.phase is Phase.CONSENTING:
            weak = before.setting.weak if before.setting is not None else ()
            what, text = "limits that this bench cannot prove", f"{answer} ({'; '.join(weak)})"
        case e.Answered(answer=answer) if step is not None and step.kind == "gate" and before.setting is not None:
            missing = "; ".join(before.setting.missing(step.subject))
            what, text = f"{title}: not proven", f"{answer} ({missing})"
        case e.Answered(answer=answer) if step is not None and isinstance(step.source, Look):
            changed = unexplained(before, step.source, step.source.answered(answer))
            told = "; ".join(f"{one.name} was {mark.change.state} {said_by(mark)}" for one, mark in changed)
            what, text = title, f"{answer} (unexplained change: {told})" if told else answer
        case e.Answered(answer=answer):
            what, text = title, answer
        case e.Disturbed(touches=touches, text=words):
            what, text = f"disturbed: {', '.join(touches)}", words
        case e.Noted(text=words):
            what, text = "note", words
        case e.Skipped(reason=reason):
            what, text = f"skipped: {title}", reason
        case e.Went(to=to):
            steps = before.setting.plan.steps if before.setting is not None else ()
            what, text = "went to another step", steps[to].title if to < len(steps) else ""
        case e.Troubled(what=words, advice=advice, instrument=instrument):
            what, text = f"trouble with {instrument}", f"{words} {advice}".strip()
        case e.Paused(why=why):
            what, text = "paused", why
        case e.Aborted(why=why):
            what, text = "given up", why
        case e.Resumed():
            what, text = "resumed", "the program was started again; outputs were made safe first"
        case e.Guarded(why=why, confirmed=confirmed, left=left):
            off = ", ".join(f"{name} {'off' if safe else 'NOT CONFIRMED OFF'}" for name, safe in confirmed.items())
            what, text = f"outputs made safe beside the walk: {off}", "; ".join([why, *left])
        case e.Tripped(thing=thing, what=words):
            what, text = f"tripped: {thing}", words
        case e.Sending(console=console, line=line):
            what, text = f"sent to {console}", line
        case e.OutputsSeen(states=states, text=words):
            what, text = f"seen: {', '.join(f'{name} {found}' for name, found in states.items())}", words
        case e.Mended(bytes=count, kept=kept):
            what, text = "mended", f"{count} torn bytes were set aside in {kept}"
        case _:
            pass
    return Happening(entry.n, second(entry.at), what, text, getattr(event, "by", ""))


def _meters(setting: Setting, met: list[tuple[e.Met, str]]) -> list[UsedMeter]:
    """Every instrument that answered, once for each serial number."""
    found: dict[tuple[str, str], UsedMeter] = {}
    for one, at in met:
        facts = setting.bench.instrument(one.instrument) or InstrumentFacts(name=one.instrument, profile="")
        overdue = bool(facts.due) and facts.due < at[:10]
        found[one.instrument, one.serial or one.identity] = UsedMeter(
            name=one.instrument,
            title=facts.title,
            profile=facts.profile,
            identity=one.identity,
            serial=one.serial,
            calibrated=facts.calibrated,
            due=facts.due,
            overdue=overdue,
            roles=", ".join(one.roles),
        )
    return list(found.values())


def _add_results(made: Sheet, state: State) -> None:
    setting = made.setting
    sections: dict[str, list[tuple[Step, Outcome]]] = {}
    found_of = results(state)
    coarse = next((outcome for outcome in found_of.values() if too_coarse(setting, outcome)), None)
    made.connected = connections(state, found_of).sentence if coarse is not None else ""
    made.finer = coarse.advice[:1] if coarse is not None else ()
    for index, outcome in found_of.items():
        step = setting.plan.steps[index]
        if outcome.verdict == "done":
            continue
        line = _line(step, outcome)
        if step.kind in ("zero", "prove"):
            made.checks.append(line)
            continue
        sections.setdefault(step.section, []).append((step, outcome))
        if outcome.found is not None:
            made.searches.append(Searched(step.title, outcome.verdict, SIGNS.get(outcome.verdict, ""), outcome.found))
        for place in step.probes or ():
            made.pins.setdefault(place, []).append(outcome.verdict)
        if outcome.verdict != "pass" and not too_coarse(setting, outcome):
            made.not_passed.append(NotPassed(line, tuple(_where(setting.plant, step)), outcome.advice))
    made.seen = [one.sentence for one in findings(state)]
    tallied = tally(state)
    made.counts.update(tallied.counts)
    made.asked_for = tallied.asked
    for title, found in sections.items():
        lines = tuple(_line(step, outcome) for step, outcome in found)
        sources = tuple(dict.fromkeys(outcome.bounds.source for _, outcome in found if outcome.bounds.source))
        parts = tuple(
            (outcome.subject or step.title, outcome.figure.value / high, expanded / high, outcome.verdict)
            for step, outcome in found
            if outcome.figure.value is not None and (high := outcome.bounds.high) and outcome.bounds.low is None
            for expanded in (outcome.figure.expanded or 0.0,)
        )
        made.sections.append(Section(title, lines, sources, parts, _summary([outcome for _, outcome in found])))


def _summary(outcomes: list[Outcome]) -> str:
    counts = Counter(one.verdict for one in outcomes)
    words = [f"{number} {verdict}" for verdict, number in counts.most_common()]
    passed = [one.figure for one in outcomes if one.verdict == "pass"]
    values = sorted(one.value for one in passed if one.value is not None)
    if values and len({one.unit for one in passed}) == 1:
        low, high = (engineering(value, passed[0].unit) for value in (values[0], values[-1]))
        words.append(f"those that passed read {low if low == high else f'{low} to {high}'}")
    over = sum(1 for one in passed if one.over)
    if over:
        words.append(f"{over} over range")
    return ", ".join(words)


def _line(step: Step, outcome: Outcome) -> Result:
    remarks = [outcome.sentence] if outcome.verdict not in ("pass", "done") else []
    remarks += [outcome.remark] if outcome.remark else []
    return Result(
        title=_point(step),
        between=step.probes or (),
        reading=_reading(outcome),
        asked=asked(outcome.bounds.low, outcome.bounds.high, outcome.figure.unit or "Ω"),
        verdict=outcome.verdict,
        mark=SIGNS.get(outcome.verdict, ""),
        remark=" ".join(remarks),
        n=outcome.n,
        at=second(outcome.circumstances.at),
        by_eye=", ".join(filter(None, (_with_which(step, outcome), _by_eye(outcome.reading)))),
        connected=outcome.connected_at_least,
    )


def _with_which(step: Step, outcome: Outcome) -> str:
    """Which of a bench's two ohmmeters read it; empty where one reads all."""
    bench, read = outcome.circumstances.bench, outcome.reading
    both = bench is not None and HIGH_OHMS in bench.role_of and step.role in OHMMETERS
    return f"with {read.instrument}" if both and read is not None else ""


def _by_eye(read: e.Read | None) -> str:
    if read is None or FLAG not in read.flags:
        return ""
    before = f"; typed before it: {', '.join(read.raw[:-1])}" if len(read.raw) > 1 else ""
    return f"read by eye{before}"


def _point(step: Step) -> str:
    """The step's title without what stands beside it anyway: the places, and that ohms are a resistance."""
    if not step.probes:
        return step.title
    short = step.title.removesuffix(f" between {' and '.join(step.probes)}")
    return short.removesuffix(": resistance") if short != step.title else short


def _reading(outcome: Outcome) -> str:
    if outcome.reading is None and outcome.figure.value is None and not outcome.figure.over:
        return "no reading"
    return reading(
        outcome.figure.value, outcome.figure.unit, expanded=outcome.figure.expanded, over=outcome.figure.over
    )


def _where(plant: Plant, step: Step) -> list[str]:
    found = []
    for place in step.probes or ():
        try:
            found.append(f"{place}: {plant.where(place)}")
        except UnknownName:
            continue
    return found


def _add_conditions(made: Sheet, state: State) -> None:
    units = {"ambient": "°C", "humidity": "%", "strap": "MΩ"}
    names = {"ambient": "temperature of conductors and meters", "humidity": "relative humidity", "remark": "remark",
             "strap": "wrist strap with its wearer", "checksum": "checksum of original and copy"}  # fmt: skip
    answers = state.conditions.answers
    for name, value in answers.items():
        made.conditions.append((names.get(name, name), f"{value} {units.get(name, '')}".strip()))
    if "ambient" not in answers:
        made.conditions.append((names["ambient"], f"{state.conditions.ambient:g} °C, as the plant file gives it"))
