"""The one place that knows both the real and the simulated: builds what a runner needs from files or from a record.

Over 500 lines, since it is the one place that may know both sides.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import msgspec

from bench import __version__
from bench.diagnose.searches import adviser
from bench.errors import BadRequest
from bench.files import BadFile, Place, Places, Problem, from_text, near, one_of
from bench.instruments.bench_file import TYPED, Bench, Simulate, load_bench, parse_bench
from bench.instruments.instrument import Instrument
from bench.instruments.profile.library import Library
from bench.instruments.profile.line import ByEye
from bench.instruments.profile.profile import Profile
from bench.instruments.simulated_console import SimulatedConsole
from bench.instruments.wire.conversation import Trace
from bench.instruments.wire_text import show
from bench.job.asfound import Before, before_a_walk
from bench.judge.judge_error import JudgeError
from bench.plant.faults import Fault, check_faults
from bench.plant.file import PlantFile
from bench.plant.handled import Change, Handled
from bench.plant.load import load_plant
from bench.record.append import RecordWriter, mended, stamp, utc_now
from bench.record.index import clock_behind
from bench.record.read import read_lines
from bench.record.replay import follow
from bench.roles import HIGH_OHMS, Reads, function_name
from bench.runner.alarm_contacts import AlarmContacts, ContactPort
from bench.runner.core import Runner
from bench.runner.crew import ByHand, InstrumentCrew
from bench.runner.guard import Begin, Guard
from bench.runner.instrument_port import InstrumentPort, Opener
from bench.runner.listening import ConsolePort, Listening
from bench.runner.open_record import OpenRecord
from bench.runner.ports import Hands, Manner
from bench.runner.routed import RoutedHands
from bench.say.lists import some
from bench.sequence.file import Energise, Listen, Look, Measure, Prove, Seek, Send, Zero
from bench.sequence.load import Loaded, load_sequence
from bench.sequence.plan import Step
from bench.sequence.unroll import unroll
from bench.walk import events as e
from bench.walk.facts import BenchFacts
from bench.walk.state import State, start, zeroed, zeros_before
from bench.walk.two_ohmmeters import bound

if TYPE_CHECKING:
    from bench.simulate.process import SimulatedHands

ZERO_KEEPS: Final = timedelta(hours=12)
"""A walk that is resumed after a longer rest zeroes its leads again: an evening's work. Common practice, no source."""


class Job(msgspec.Struct, frozen=True):
    """What a new walk is made from, read and checked.

    Attributes:
        loaded: sequence, plant and plan.
        bench: the bench.
        bench_text: its file's text, for the record.
        faults: what is wrong with the simulated plant; empty on a real bench.
        seed: of the simulated bench; None on a real one.
        cleared: shelf to why other records do not clear it for power; None where they were not looked at.
    """

    loaded: Loaded
    bench: Bench
    bench_text: str
    faults: tuple[Fault, ...] = ()
    seed: int | None = None
    cleared: Mapping[str, str] | None = None


def load_job(sequence: Path, bench: Path) -> Job:
    """Read a sequence with its plant, and a bench, and see that they fit.

    Raises:
        BadFile: with every problem of all files.
    """
    problems: list[Problem] = []
    loaded: Loaded | None = None
    equipment: Bench | None = None
    try:
        loaded = load_sequence(sequence)
    except BadFile as error:
        problems += error.problems
    try:
        equipment = load_bench(bench, Library.for_job(job_folder(bench)))
    except BadFile as error:
        problems += error.problems
    if loaded is None or equipment is None:
        raise BadFile(problems)
    return fitted(loaded, equipment, bench)


def fitted(loaded: Loaded, equipment: Bench, bench: Path, text: str = "") -> Job:
    """A sequence and a bench, once it was seen that they fit.

    Args:
        loaded: the sequence with its plant.
        equipment: the bench.
        bench: its file.
        text: what stands in it; empty: it is read.

    Raises:
        BadFile: with every problem.
    """
    problems: list[Problem] = []
    text = text or bench.read_text("utf-8")
    loaded = _with_meters(loaded, equipment)
    for role in loaded.plan.roles:
        if role not in equipment.role_of:
            able = [name for name, profile in equipment.profiles.items()
                    if role in profile.roles and (role == "supply" or "supply" not in profile.roles)]  # fmt: skip
            found = f"no instrument that fills the role '{role}'"
            expected = f"one, since {loaded.path} needs it"
            if able:
                found = f"nothing that says which of {some(able, 4)} fills the role '{role}'"
                expected = f"'{role}: {able[0]}' below 'roles', or another one of them, since {loaded.path} needs it"
            problems.append(Problem(Place(str(bench)), "roles", found, expected))
    problems += _unable(loaded, equipment, bench)
    problems += _unheard(loaded, equipment, bench)
    problems += _contacts_of_nothing(loaded, equipment, bench)
    simulate = equipment.file.simulate
    faults = tuple(simulate.faults) if simulate is not None else ()
    truth = loaded.plant
    if simulate is not None and simulate.truth:
        truth = load_plant(_truth(job_folder(bench), simulate))
        places = dict.fromkeys(place for step in loaded.plan.steps for place in step.probes or ())
        lacking = [name for name in places if name not in truth.terminals and name not in truth.flags]
        if lacking:
            found = f"'{simulate.truth}', which has no {some(lacking, 4)}"
            problems.append(Problem(Place(str(bench)), "simulate.truth", found, "every place that the walk reads"))
    if faults:
        problems += check_faults(faults, truth, _places(bench))
    if equipment.routes is not None:
        problems += equipment.routes.misplaced(loaded.plant.terminals)
    if problems:
        raise BadFile(problems)
    seed = (simulate.seed if simulate is not None else 1) if equipment.simulated else None
    return Job(loaded, equipment, text, faults, seed)


def _with_meters(loaded: Loaded, bench: Bench) -> Loaded:
    """The same with each reading of ohms given to one of the bench's two ohmmeters, where it has two."""
    if "ohms" not in bench.role_of or HIGH_OHMS not in bench.role_of:
        return loaded
    sequence = bound(e.Began(software=__version__, edition=e.EDITION, plant=loaded.plant.file,
                             sequence=loaded.sequence, bench=bench_facts(bench)))  # fmt: skip
    if sequence is loaded.sequence:
        return loaded
    return msgspec.structs.replace(loaded, sequence=sequence, plan=unroll(sequence, loaded.plant))


def _unable(loaded: Loaded, bench: Bench, path: Path) -> list[Problem]:
    """What steps read and the instruments in their roles do not: said before a walk, not in the middle of it."""
    wanted: dict[tuple[str, Reads, Literal[2, 4] | None], str] = {}
    for step in loaded.plan.steps:
        source = step.source
        if isinstance(source, Energise) and source.ammeter and "amps" in bench.role_of:
            wanted.setdefault((bench.role_of["amps"], "current", None), step.title)
        if isinstance(source, Measure | Zero | Prove | Seek) and step.roles and step.roles[0] in bench.role_of:
            wires = source.wires if source.read == "resistance" else None
            wanted.setdefault((bench.role_of[step.roles[0]], source.read, wires), step.title)
        if HIGH_OHMS in step.roles[1:] and HIGH_OHMS in bench.role_of:
            wanted.setdefault((bench.role_of[HIGH_OHMS], "resistance", None), step.title)
    problems = []
    for (name, reads, wires), title in wanted.items():
        profile = bench.profiles[name]
        if "supply" in profile.roles:
            found = f"{name}, a supply, to read {reads} for '{title}': it reads only what it gives itself"
            problems.append(Problem(Place(str(path)), "roles", found, "a meter whose leads go to the places"))
            continue
        functions = profile.functions_for(reads, wires)
        if functions:
            continue
        counts = sorted({one.wires for one in profile.functions if one.reads == reads and one.wires})
        asked = f"{reads}{f' with {wires} wires' if wires else ''}"
        found = f"{name}, which does not read {asked}, as '{title}' wants it"
        other = f"; this one reads it with {counts[0]}: 'wires: {counts[0]}' in the step" if counts else ""
        if counts and any(
            isinstance(step.source, Seek) and step.source.wires == wires == 4 for step in loaded.plan.steps
        ):
            other += ", or draft earth-two-wires"
        problems.append(Problem(Place(str(path)), "roles", found, f"an instrument that reads {asked}{other}"))
    return problems


def _unheard(loaded: Loaded, bench: Bench, path: Path) -> list[Problem]:
    """Consoles that steps name and the bench lacks."""
    known = [one.name for one in bench.file.consoles]
    named = {one.source.console: one.title for one in loaded.plan.steps if isinstance(one.source, Listen | Send)}
    named |= {one.console: f"stop at the line {one.text}" for one in loaded.sequence.dreads if one.console}
    return [
        Problem(Place(str(path)), "consoles", f"no console '{name}', which '{title}' wants", one_of(known))
        for name, title in named.items()
        if name not in known
    ]


def _contacts_of_nothing(loaded: Loaded, bench: Bench, path: Path) -> list[Problem]:
    """Alarm contacts of what the plant has not, or at places that it has not."""
    plant, problems = loaded.plant, []
    things = [*plant.breakers, *plant.shelves]
    for index, one in enumerate(bench.file.contacts):
        at = f"contacts[{index}]"
        if one.thing not in things:
            found, expected = f"'{one.thing}'", "a breaker or shelf of the plant"
            problems.append(Problem(Place(str(path)), f"{at}.thing", found, expected, near(one.thing, things)))
        for name in one.between or ():
            if name not in plant.terminals:
                hint = near(name, list(plant.terminals))
                problems.append(Problem(Place(str(path)), f"{at}.between", f"'{name}'", "a place of the plant", hint))
    return problems


def _truth(job: Path, simulate: Simulate) -> Path:
    """The plant file of a simulated plant that is not as the job's own file says."""
    return job / simulate.truth


def _places(bench: Path) -> Places:
    """Faults are checked against the plant after they were read: they are placed by their file alone."""
    return Places(str(bench))


def job_folder(path: Path) -> Path:
    """The folder of the job that a file belongs to: the nearest upwards that holds a plant file, else its own."""
    for folder in (path.parent, *path.parent.parents):
        if (folder / "plant.yaml").is_file():
            return folder
    return path.parent


def bench_facts(bench: Bench) -> BenchFacts:
    """What a record keeps of a bench."""
    plain = bench.describe()
    for facts in plain["instruments"]:
        names: dict[str, str] = {}
        dials: dict[str, str] = {}
        renews: dict[str, float] = {}
        for function in bench.profiles[facts["name"]].functions:
            name = function_name(function.reads, function.wires)
            if names.setdefault(name, function.name) == function.name and function.dial:
                dials[name] = function.dial
            if names[name] == function.name and function.renews.value:
                renews[name] = function.renews.value
        facts["accuracy_of"], facts["dials"], facts["renews"] = names, dials, renews
        if facts["by_eye"]:
            facts["displays"] = _displays(bench.profiles[facts["name"]])
    routes = bench.routes
    if routes is not None:
        places = [*routes.red, *routes.pairs]
        relays = {"name": routes.switch, "meter": routes.meter, "reads": sorted(routes.reads), "places": places}
        plain["relays"] = relays
    return msgspec.convert(plain, BenchFacts, dec_hook=from_text)


def _displays(profile: Profile) -> dict[str, list[dict[str, Any]]]:
    """What each range of an instrument shows, by the function as readings name it."""
    found: dict[str, list[dict[str, Any]]] = {}
    known = not isinstance(profile.dialogue, ByEye) or profile.dialogue.display != "not known"
    for function in profile.functions:
        ranges: list[dict[str, Any]] = [
            {
                "range": part.range.value,
                "top": part.top,
                "resolution": part.resolution.value if known and part.resolution is not None else None,
                **({"prefix": part.shown_with.removeprefix("none")} if part.shown_with else {}),
            }
            for part in function.ranges
        ]
        for one in function.says:
            bound = one.at_most or one.at_least
            assert bound is not None
            beyond = one.at_least is not None
            ranges.append({"range": bound.value, "top": bound.value, "word": one.word, "beyond": beyond})
        found.setdefault(function_name(function.reads, function.wires), ranges)
    return found


def began(job: Job, operator: str, folder: Path | None = None) -> e.Began:
    """The first event of a new walk.

    Args:
        job: what is walked.
        operator: who does the work.
        folder: where the other records of the job are; None where none is looked at.
    """
    loaded = job.loaded
    before = Before()
    if folder is not None:
        before = before_a_walk(folder, loaded.plant, loaded.plan, simulated=job.bench.simulated)
    return e.Began(
        software=__version__,
        edition=e.EDITION,
        plant=loaded.plant.file,
        sequence=loaded.sequence,
        bench=bench_facts(job.bench),
        bench_text=job.bench_text,
        job=_shown(job_folder(loaded.path)),
        seed=job.seed,
        operator=operator,
        sources=loaded.sources,
        cleared=_cleared(job),
        gates=dict(before.gates),
        order=before.order,
        saw=list(before.saw),
        found=list(before.found),
    )


def _cleared(job: Job) -> dict[str, str]:
    """What other records say of the shelves that are brought up on their evidence."""
    if job.cleared is not None:
        return dict(job.cleared)
    on = [step for step in job.loaded.plan.steps if isinstance(step.source, Energise) and step.source.evidence]
    return {shelf: "they were not looked at" for step in on for shelf in step.subject.split("+")}


def _clock_noted(record: Path, now: str) -> list[e.Noted]:
    """A note where the clock is behind the records beside one."""
    words = clock_behind(record.parent, now)
    return [e.Noted(text=words, by="Proveout")] if words else []


def _shown(folder: Path) -> str:
    """A folder as a record keeps it: relative where that says the same."""
    with contextlib.suppress(ValueError):
        return str(folder.resolve().relative_to(Path.cwd()))
    return str(folder.resolve())


class PersonsHands:
    """A person's hands: they have done what the step says when the person says so."""

    def __init__(self, name: str) -> None:
        self.name = name or "the operator"

    def reaches(self, step: Step) -> str:
        """Nothing but these hands does it."""
        return ""

    def place(self, step: Step) -> None:
        """They have placed the probes already."""

    def lift(self) -> None:
        """They lift the probes as they like."""

    def act(self, step: Step) -> None:
        """They have done it already."""

    def answer(self, step: Step) -> str:
        """A person answers at a screen, never from here."""
        raise AssertionError("a person's hands are never alone")

    def jump(self, seconds: float) -> bool:
        """Real time does not jump."""
        return False


class Walk(msgspec.Struct):
    """A walk that is ready to be run or continued.

    Attributes:
        writer: the open record.
        runner: carries it out.
        crew: makes the instruments' threads, once the runner's inbox is there.
        guard: starts the process that makes outputs safe when this one is gone; None where none are at risk.
        consoles: of the plant, that are listened to.
        contacts: of the plant that tell of alarms, read all the time.
    """

    writer: RecordWriter
    runner: Runner
    crew: Callable[[], InstrumentCrew]
    guard: Callable[[], Guard] | None = None
    consoles: Sequence[ConsolePort] = ()
    contacts: Sequence[ContactPort] = ()

    def run(self) -> State:
        """Run it to its end; see :meth:`bench.runner.core.Runner.run`."""
        tell = self.runner.inbox.put
        with Listening(self.consoles, tell) as ears, AlarmContacts(self.contacts, tell):
            self.runner.ears = ears
            return self._run()

    def _run(self) -> State:
        return self.runner.run(self.crew(), self.guard() if self.guard is not None else None)


class _Equipment(msgspec.Struct, frozen=True):
    """What a walk is done with.

    Attributes:
        bench: the bench.
        text: of its file.
        job: the folder in which profiles of its own are looked for.
        addresses: where those of its instruments answer that are simulated.
        hands: who places the leads.
        hurry: simulated seconds in a real one.
    """

    bench: Bench
    text: str
    job: str
    addresses: dict[str, str]
    hands: Hands
    hurry: float


@contextlib.contextmanager
def new_walk(
    job: Job,
    record: Path,
    *,
    operator: str,
    manner: Callable[[bool], Manner],
    told: Callable[[e.Entry, State], None] = lambda entry, state: None,
    seated: bool = False,
    trace: Path | None = None,
    speed: float = 1.0,
) -> Iterator[Walk]:
    """Begin a record and get everything ready. On a simulated bench the simulator is started and ended with this.

    Args:
        job: what to walk.
        record: the record to write.
        operator: who does the work.
        manner: how the hands work, given whether the bench is simulated.
        told: called with every event and the state after it.
        seated: whether a screen is needed to go on.
        trace: a file that every byte to and from the instruments is written to.
        speed: of a simulated bench, in simulated seconds a second.

    Raises:
        FileExistsError, RecordTrouble: the record cannot be begun.
        SimulationFailed: the simulated bench did not start.
    """
    how = manner(job.bench.simulated)
    first = began(job, operator, record.parent)
    with (
        _bench_at_work(job.bench, first, job.faults, speed) as (addresses, hands),
        RecordWriter.create(record) as writer,
    ):
        opened = OpenRecord(writer, start(), [], told)
        begun = opened.add(first)
        for event in _clock_noted(record, begun.at):
            opened.add(event)
        hurry = speed if job.bench.simulated else 1.0
        used = _Equipment(job.bench, job.bench_text, first.job, addresses, hands or PersonsHands(operator), hurry)
        yield _walk(opened, used, how, seated, trace)


@contextlib.contextmanager
def resumed_walk(
    record: Path,
    *,
    bench: Path | None = None,
    operator: str = "",
    manner: Callable[[bool], Manner],
    told: Callable[[e.Entry, State], None] = lambda entry, state: None,
    seated: bool = False,
    trace: Path | None = None,
    speed: float = 1.0,
) -> Iterator[Walk]:
    """Open a record to go on where it stood.

    Args:
        record: the record.
        bench: another bench file, where the old one does not hold any more.
        operator: who goes on.
        manner: how the hands work, given whether the bench is simulated.
        told: called with every event and the state after it, those of the record first.
        seated: whether a screen is needed to go on.
        trace: a file that every byte to and from the instruments is written to.
        speed: of a simulated bench.

    Raises:
        BrokenRecord, RecordBusy, RecordTrouble: the record cannot be continued.
        BadFile: the bench cannot be used.
        BadRequest: the walk is over.
        SimulationFailed: the simulated bench did not start.
    """
    writer, entries, torn = RecordWriter.reopen(record)
    with writer:
        if not entries or not isinstance(entries[0].event, e.Began):
            raise BadRequest(f"{record} holds no walk that could be resumed")
        first = entries[0].event
        state = start()
        for _, entry, state in follow(record, entries):
            told(entry, state)
        if state.finished:
            raise BadRequest(f"the walk in {record} is over; begin a new one")
        equipment, text = _bench_again(first, entries, bench)
        how = manner(equipment.simulated)
        facts = bench_facts(equipment) if bench else None
        opened = OpenRecord(writer, state, [line for _, line in read_lines(record)], told)
        wake = [
            e.Resumed(
                software=__version__,
                bench=facts,
                bench_text=text,
                zero_again=zero_is_old(state, stamp(utc_now())) or zero_is_of_other(state, facts),
                gates=_gates_again(record, state, equipment),
            )
        ]
        simulate = equipment.file.simulate
        faults = tuple(simulate.faults) if simulate is not None else ()
        with _bench_at_work(equipment, first, faults, speed, state) as (addresses, hands):
            clock = _clock_noted(record, stamp(utc_now()))
            for event in ([mended(torn)] if torn is not None else []) + wake + clock:
                opened.add(event)
            used = _Equipment(
                equipment,
                text or _bench_text(first, entries),
                str(job_folder(bench)) if bench is not None else first.job,
                addresses,
                hands or PersonsHands(operator),
                speed if equipment.simulated else 1.0,
            )
            yield _walk(opened, used, how, seated, trace)


class BenchAtWork(msgspec.Struct, frozen=True):
    """A bench whose ports are known.

    Attributes:
        ports: its instruments, not open yet.
        hands: who places the leads; what a matrix reaches is left to it.
        move: has the simulator's hands move things that may be loose; None on a real bench.
        consoles: of the plant, not open yet.
        contacts: of the plant that tell of alarms, their meters not open yet.
    """

    ports: Sequence[InstrumentPort]
    hands: Hands
    move: Callable[[Sequence[str]], None] | None
    consoles: Sequence[ConsolePort] = ()
    contacts: Sequence[ContactPort] = ()


@contextlib.contextmanager
def bench_at_work(job: Job, operator: str, trace: Path | None = None, speed: float = 1.0) -> Iterator[BenchAtWork]:
    """Get a bench ready for something that is no walk. A simulated one is started and ended with this.

    Args:
        job: what is read, and with what.
        operator: who does the work.
        trace: a file that every byte to and from the instruments is written to.
        speed: of a simulated bench.

    Raises:
        SimulationFailed: the simulated bench did not start.
    """
    with _bench_at_work(job.bench, began(job, operator), job.faults, speed) as (addresses, hands):
        used: Hands = hands or PersonsHands(operator)
        if job.bench.routes is not None:
            role_of = {str(role): name for role, name in job.bench.role_of.items()}
            used = RoutedHands(used, job.bench.routes, role_of)
        ports = instrument_ports(job.bench, job.bench.profiles, addresses, trace)
        consoles = console_ports(job.bench, addresses, trace)
        contacts = contact_ports(job.bench, addresses, trace)
        yield BenchAtWork(ports, used, hands.moving if hands is not None else None, consoles, contacts)


def _gates_again(record: Path, state: State, equipment: Bench) -> dict[str, list[str]] | None:
    """What the records beside one that is continued have not proven by now; None where no gate asks."""
    setting = state.setting
    if setting is None or not any(step.kind == "gate" for step in setting.plan.steps):
        return None
    before = before_a_walk(record.parent, setting.plant, setting.plan, simulated=equipment.simulated)
    return dict(before.gates)


def zero_is_old(state: State, now: str) -> bool:
    """Whether a walk has rested too long for later readings to go by the zero of its leads.

    Args:
        state: where the walk stands.
        now: the time of day, as records have it.
    """
    if not any(zero.index in state.kept.latest for zero in zeros_before(state)) or not state.at:
        return False
    rested: timedelta = datetime.fromisoformat(now) - datetime.fromisoformat(state.at)
    return rested > ZERO_KEEPS


def zero_is_of_other(state: State, bench: BenchFacts | None) -> bool:
    """Whether the leads' zero that readings to come would rest on is of another meter, other leads or another
    calibration than the bench that the walk goes on with.

    Args:
        state: where the walk stands.
        bench: the bench to go on with; None: the same as before.
    """
    if bench is None or state.setting is None:
        return False
    before = state.setting.bench
    return any(bench.instrument(name) != before.instrument(name) for _, name in zeroed(state))


def _bench_again(first: e.Began, entries: Sequence[e.Entry], bench: Path | None) -> tuple[Bench, str]:
    """The bench to go on with, and its text where it is another one than the record has."""
    if bench is not None:
        return load_bench(bench, Library.for_job(job_folder(bench))), bench.read_text("utf-8")
    return parse_bench(_bench_text(first, entries), "the record's bench", Library.for_job(Path(first.job))), ""


def _bench_text(first: e.Began, entries: Sequence[e.Entry]) -> str:
    """The text of the bench that a record was walked with last."""
    later = [one.event.bench_text for one in entries if isinstance(one.event, e.Resumed) and one.event.bench_text]
    return later[-1] if later else first.bench_text


@contextlib.contextmanager
def _bench_at_work(
    bench: Bench, first: e.Began, faults: Sequence[Fault], speed: float, state: State | None = None
) -> Iterator[tuple[dict[str, str], SimulatedHands | None]]:
    """The addresses where instruments answer, and the simulator's hands on a simulated bench."""
    if not bench.simulated:
        yield {}, None
        return
    from bench.simulate.messages import Configuration, Twin
    from bench.simulate.process import SimulatedBench, SimulatedHands

    simulate = bench.file.simulate
    twins = [
        Twin(
            name=one.name,
            kind=one.profile,
            serial=one.serial or "0001",
            profile=bench.profiles[one.name],
            wires=_wires(bench, one.name),
            lies=next((has.between for has in bench.file.contacts if has.instrument == one.name), None),
        )
        for one in bench.file.instruments
    ]
    seed = first.seed if first.seed is not None else 1
    ambient = first.plant.ambient
    if simulate is not None and simulate.ambient is not None:
        ambient = simulate.ambient
    # the record says nothing of it: whoever reads it knows no more than who walked it
    real = (
        load_plant(_truth(Path(first.job), simulate)).file if simulate is not None and simulate.truth else first.plant
    )
    configuration = Configuration(
        # conductors and thermometer are as warm as the simulated hall, whatever the plant file takes for granted
        plant=msgspec.structs.replace(real, ambient=ambient),
        twins=twins,
        faults=list(faults),
        seed=seed,
        lead_ohms=simulate.lead_resistance.value if simulate is not None else 0.2,
        reference_ohms=_reference(bench, "resistance", 100.0),
        broken=simulate.broken_leads if simulate is not None else [],
        consoles=_machines(bench),
        speed=speed,
        port=os.environ.get("PROVEOUT_SIMULATED_PORTS", ""),
    )
    with SimulatedBench(configuration) as running:
        hands = SimulatedHands(running, ambient.value, _dials(bench), _reference(bench, "insulation", 1e6))
        left = Handled()
        if _looks(first):
            left = left.after(mark.change for mark in first.found)
        if simulate is not None:
            left = left.after(simulate.changes)
        if simulate is not None and simulate.running:
            left = left.after(_running(first.plant))
        if left.marks:
            hands.restore(left)
        if state is not None:
            hands.restore(state.conditions.handled, state.conditions.rig)
        yield dict(running.ports), hands


def _machines(bench: Bench) -> dict[str, SimulatedConsole]:
    """What simulated machines say on the consoles of the bench file; one that nothing is said of is silent."""
    simulate = bench.file.simulate
    known = simulate.consoles if simulate is not None else {}
    return {console_key(one.name): known.get(one.name, SimulatedConsole()) for one in bench.file.consoles}


def _looks(first: e.Began) -> bool:
    """Whether somebody looks how the plant stands: then it stands as the records left it; else as in its file."""
    return any(isinstance(step, Look) for step in first.sequence.steps)


def _running(plant: PlantFile) -> list[Change]:
    """A plant in service: every supply on, every breaker closed."""
    changes = [Change("supply", one.name, "on") for one in plant.supplies]
    return [*changes, *(Change("breaker", one.name, "closed") for one in plant.breakers)]


def _reference(bench: Bench, reads: str, otherwise: float) -> float:
    """Ohms of what the bench is proven against for a reading."""
    known = bench_facts(bench).reference_for(reads)
    return otherwise if known is None else known.ohms.value


def _wires(bench: Bench, name: str) -> dict[int, tuple[Literal["red", "black"], str]]:
    """A simulated matrix's wiring, as its twin takes it."""
    routes = bench.routes
    if routes is None or routes.switch != name:
        return {}
    found: dict[int, tuple[Literal["red", "black"], str]] = {}
    for place, channel in routes.red.items():
        found[int(channel)] = ("red", place)
    for place, channel in routes.black.items():
        found[int(channel)] = ("black", place)
    for place, (red, black) in routes.pairs.items():
        found[int(red)], found[int(black)] = ("red", place), ("black", place)
    return found


def _dials(bench: Bench) -> dict[tuple[str, Reads], str]:
    """Role and what is read to the instrument that reads it, where a dial must be turned for that by hand."""
    return {
        (role, function.reads): name
        for role, name in bench.role_of.items()
        for function in bench.profiles[name].functions
        if function.dial
    }


def _walk(opened: OpenRecord, used: _Equipment, manner: Manner, seated: bool, trace: Path | None) -> Walk:
    writer, bench, hands = opened.writer, used.bench, used.hands
    role_of = {str(role): name for role, name in bench.role_of.items()}
    routes = bench.routes
    if routes is not None:
        hands = RoutedHands(hands, routes, role_of)
    runner = Runner(opened, hands, manner, seated=seated, adviser=adviser())
    # an instrument that the walk does not need is left alone: it may be on another bench today
    setting = opened.state.setting
    roles = setting.plan.roles if setting is not None else ()
    needed = {bench.role_of[role] for role in roles if role in bench.role_of}
    if routes is not None and routes.meter in needed:
        needed.add(routes.switch)
    ports = instrument_ports(bench, needed, used.addresses, trace)

    def crew() -> InstrumentCrew:
        return InstrumentCrew(
            ports,
            role_of,
            runner.inbox.put,
            hurry=used.hurry,
            upto=lambda step: _upto(runner.state, step),
            routes=routes if routes is not None and routes.meter in needed else None,
            by_hand=ByHand({one.name: one.serial for one in bench.file.instruments if one.typed}, lambda: runner.state),
        )

    guarded = not bench.simulated and any(port.outputs for port in ports)
    begin = Begin(os.getpid(), used.text, used.job, str(writer.path.resolve()))
    consoles = console_ports(bench, used.addresses, trace)
    contacts = contact_ports(bench, used.addresses, trace)
    return Walk(writer, runner, crew, (lambda: Guard(begin)) if guarded else None, consoles, contacts)


def contact_ports(bench: Bench, addresses: Mapping[str, str], trace: Path | None = None) -> list[ContactPort]:
    """The alarm contacts that a bench file names, as whoever reads them takes them.

    Args:
        bench: the bench.
        addresses: where those instruments answer that are simulated.
        trace: a file that every byte is written to.
    """
    meters = {one.instrument for one in bench.file.contacts}
    ports = {one.name: one for one in instrument_ports(bench, meters, addresses, trace)}
    return [ContactPort(one.thing, one.name, one.reads, ports[one.instrument]) for one in bench.file.contacts]


def console_ports(bench: Bench, addresses: Mapping[str, str], trace: Path | None = None) -> list[ConsolePort]:
    """The consoles of the plant that a bench file names, as whoever listens takes them.

    Args:
        bench: the bench.
        addresses: where those answer that are simulated.
        trace: a file that every byte is written to.
    """
    return [
        ConsolePort(
            one.name,
            bench.console_opener(one.name, addresses.get(console_key(one.name), "")),
            one.settings.baud,
            tracer(trace, one.name) if trace is not None else None,
        )
        for one in bench.file.consoles
    ]


def console_key(name: str) -> str:
    """A console among the addresses of instruments: it may have the name of one."""
    return f"console {name}"


def _upto(state: State, step: Step) -> float | None:
    """The highest reading that a step's limit allows; None where it has no such bound or lets a high one pass."""
    if isinstance(step.source, Zero):
        return step.source.at_most.value
    if not isinstance(step.source, Measure) or state.setting is None:
        return None
    try:
        limit = state.setting.limit(step, state.conditions, state.rules).limit
    except JudgeError:
        return None
    bounds = [abs(bound) for bound in (limit.lower, limit.upper) if bound is not None]
    return max(bounds) if limit.upper is not None else None


def instrument_ports(
    bench: Bench, names: Collection[str], addresses: Mapping[str, str], trace: Path | None = None
) -> list[InstrumentPort]:
    """The instruments of a bench as a crew takes them.

    Args:
        bench: the bench.
        names: which of its instruments.
        addresses: where those answer that are simulated.
        trace: a file that every byte is written to.
    """
    return [
        InstrumentPort(
            one.name,
            _opener(bench, one.name, addresses.get(one.name, ""), trace),
            bench.profiles[one.name].safe is not None,
            dict(one.settings),
            *_searching(bench, one.name, trace),
            safe_within=_safe_within(bench.profiles[one.name]),
            confirm=bench.profiles[one.name].safe is not None and not (bench.simulated or bench.tells_apart(one)),
        )
        for one in bench.file.instruments
        if one.name in names and one.port != TYPED
    ]


def _safe_within(profile: Profile) -> float:
    return profile.safe.within.value if profile.safe is not None else 0.0


def _opener(bench: Bench, name: str, address: str, trace: Path | None) -> Callable[[], Instrument]:
    def opener() -> Instrument:
        return bench.connect(name, address, trace=tracer(trace, name) if trace is not None else None)

    return opener


def _searching(bench: Bench, name: str, trace: Path | None) -> tuple[Callable[[], Opener] | None, str]:
    """What looks for an instrument that is plugged in elsewhere, and what to tell a person before that."""
    from bench.instruments.discovery import identifies_by_serial, on_other_port

    one, profile = bench.instrument(name), bench.profiles[name]
    if bench.simulated or not identifies_by_serial(profile, one.serial, one.port):
        return None, ""
    others = [other.port for other in bench.file.instruments if other.name != name]

    def search() -> Opener:
        found = on_other_port(name, profile, bench.line(name), one.serial, others, bench.library)
        return _opener(bench, name, found, trace)

    return search, (
        f"Or plug it in anywhere else and try again: then every serial port that is free is asked "
        f"who is there, until one answers with the serial number {one.serial}."
    )


def tracer(path: Path, name: str) -> Trace:
    """Write every byte to a file, one line for each piece; ``name`` is the instrument's."""

    def write(direction: str, data: bytes, at: float) -> None:
        with path.open("a", encoding="utf-8") as stream:
            stream.write(f"{utc_now().isoformat()} {name} {direction} {show(data)}\n")

    return write
