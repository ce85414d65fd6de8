"""Kills a runner at any of its moments: before and after each write, sync, order to an instrument, act and telling.

A moment is a call of :meth:`Fate.point`. When its turn comes the runner is dead: nothing that it would still do
happens, be it in the way out of the program. What it has told, what is on disk and what instruments were told stays as
it is: an output that was on is on. A power cut also takes what was not synced: it is there in part, as zeros in whole
sectors, or not at all. Readings follow from the step alone, so a walk that was killed can be held against one that was
not. The suite takes some moments of each kind of walk; ``python -m tests.benchmarks crash`` takes 300 of each.
"""

from __future__ import annotations

import itertools
import os
import random
import tempfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from bench.assemble import began, load_job
from bench.judge.ramp import RampUp
from bench.plant.load import load_plant
from bench.record import append
from bench.record.append import RecordWriter, mended
from bench.record.read import read_record
from bench.roles import function_name
from bench.runner import protocol as p
from bench.runner.core import Came, Runner
from bench.runner.open_record import OpenRecord
from bench.runner.ports import Happened, Manner
from bench.sequence.draft import draft
from bench.sequence.file import Measure, Prove, Set, Zero
from bench.sequence.plan import Step
from bench.simulate.on_paper import at_rest
from bench.walk import events as e
from bench.walk.results import outcomes, results
from bench.walk.state import State, fold, request, start, take
from tests.power import small_hall
from tests.walk import paper_walk as paper

BENCH = """
bench: bench of the doomed
instruments:
  - {name: meter, profile: scpi-bench-meter, port: simulated, settings: {nplc: '1', compensation: 'OFF'}}
  - {name: insulation tester, profile: scpi-insulation-tester, port: simulated}
  - {name: supply, profile: scpi-supply, port: simulated}
roles: {ohms: meter, volts: meter, amps: meter, insulation: insulation tester, supply: supply}
references:
  - {name: the 100 ohm resistor, value: 100 ohm, tolerance: 0.1 %}
  - {name: the 1 Mohm resistor, value: 1 Mohm, tolerance: 1 %}
simulate: {seed: 7}
"""
KINDS = {
    "continuity": (paper.PLANT, "W1"),
    "insulation": (paper.PLANT, "W1"),
    "polarity": (small_hall.SMALL, "2"),
    "idle-current": (small_hall.SMALL, "2"),
    "first-power": (small_hall.SMALL, "2C"),
}
"""Kind of walk to the plant and the part of it that is walked."""
SECTOR = 512


class Killed(BaseException):
    """The process is gone."""


@dataclass
class Fate:
    """When the runner dies.

    Attributes:
        at: which of its moments is the last; 0: none.
        draw: for how much of a write gets through.
    """

    at: int
    draw: random.Random
    moments: int = 0
    where: str = ""

    @property
    def dead(self) -> bool:
        return bool(self.where)

    def point(self, where: str) -> None:
        """One moment; never returns where it is the last, or comes after that."""
        self.moments += 1
        if self.moments == self.at and not self.where:
            self.where = where
        if self.where:
            raise Killed(where)


class Disk:
    """The system's calls as the record's writer makes them, each of them a moment."""

    def __init__(self, fate: Fate) -> None:
        self.fate = fate
        self.synced = 0

    def __getattr__(self, name: str) -> Any:
        return getattr(os, name)

    def write(self, descriptor: int, data: Any) -> int:
        self.fate.point("before a write")
        try:
            self.fate.point("in a write")
        except Killed:
            os.write(descriptor, bytes(data)[: self.fate.draw.randrange(len(data))])
            raise
        written = os.write(descriptor, data)
        self.fate.point("after a write")
        return written

    def ftruncate(self, descriptor: int, size: int) -> None:
        self.fate.point("before a cut")
        os.ftruncate(descriptor, size)
        self.synced = min(self.synced, size)
        self.fate.point("after a cut")

    def sync(self, descriptor: int) -> None:
        self.fate.point("before a sync")
        os.fdatasync(descriptor)
        self.synced = os.fstat(descriptor).st_size
        self.fate.point("after a sync")

    @contextmanager
    def installed(self) -> Iterator[None]:
        kept = append.os, append._sync
        append.os, append._sync = self, self.sync  # type: ignore[assignment, misc]
        try:
            yield
        finally:
            append.os, append._sync = kept  # type: ignore[misc]


def cut(path: Path, synced: int, draw: random.Random) -> None:
    """A power cut: what was written and not synced is there in part, as zeros, or not at all."""
    data = path.read_bytes()
    tail = bytearray(data[synced:])
    if not tail:
        return
    how = draw.choice(("lost", "torn", "zeros at the end", "zeros before the end"))
    if how == "lost":
        tail.clear()
    elif how == "torn":
        del tail[draw.randrange(len(tail)) :]
    else:
        # sectors reach the disk in any order
        borders = [at for at in range(synced, len(data)) if at == synced or at % SECTOR == 0] + [len(data)]
        sectors = list(itertools.pairwise(borders))
        gone = sectors[-1:] if how == "zeros at the end" else draw.sample(sectors, max(1, len(sectors) // 2))
        for begin, end in gone:
            tail[begin - synced : end - synced] = bytes(end - begin)
    path.write_bytes(data[:synced] + bytes(tail))


def chosen(step: Step) -> bool:
    """Whether a step's reading is a bad one: the same for the same step, in every walk."""
    return zlib.crc32(f"{step.key} {step.title}".encode()) % 3 == 0


def reading(state: State, step: Step) -> e.Read:
    """What the meter shows for a step."""
    setting, source = state.setting, step.source
    assert setting is not None
    reads = source.read if isinstance(source, Measure | Prove) else "resistance"
    wires = source.wires if isinstance(source, Measure) else 2
    unit = {"voltage": "V", "current": "A"}.get(reads, "Ω")
    shown: dict[str, Any] = {}
    match source:
        case Zero():
            shown = {"value": paper.LEADS}
        case Prove(against="open-leads"):
            shown = {"over": "+", "range": 1e8}
        case Prove(against="live-source"):
            shown = {"value": 48.0}
        case Prove():
            shown = {"value": 1e6 if reads == "insulation" else 100.0 + paper.LEADS}
        case Measure():
            limit = setting.limit(step, state.conditions, state.rules).limit
            low, high = limit.lower, limit.upper
            if low is not None and high is not None:
                value = (low + high) / 2 if not chosen(step) else high + 3 * (high - low)
            elif high is not None:
                value = 0.4 * high if not chosen(step) else 5 * high
            else:
                assert low is not None
                value = 50 * low if not chosen(step) else low / 10
            shown = {"value": value + (paper.LEADS if reads == "resistance" and high is not None else 0.0)}
            if source.times:
                shown["series"] = [(time.value, value) for time in source.times]
    instrument = setting.bench.role_of[step.role or ""]
    name = function_name(reads, wires)
    return e.Read(number=state.number, instrument=instrument, function=name, unit=unit, raw=["as it came"], **shown)


@dataclass
class Twins:
    """The instruments, which outlive the runner.

    Attributes:
        on: whether the supply's output is on.
        log: what was asked of the world since the last start.
    """

    on: bool = False
    log: list[str] = field(default_factory=list)


class DoomedCrew:
    """Instruments that do what they are told at once, each order a moment before it and one after."""

    safe_within = 12.0

    def __init__(self, twins: Twins, fate: Fate, runner: Runner) -> None:
        self._twins, self._fate, self._runner = twins, fate, runner

    def _post(self, event: e.Event) -> None:
        self._fate.point("after an order")
        self._runner.inbox.put(Happened(event))

    def _order(self, what: str) -> State:
        self._fate.point(f"before {what}")
        self._twins.log.append(what)
        return self._runner.state

    def meet(self, roles: tuple[str, ...], number: int) -> None:
        self._post(paper.willing(self._order("meet")))

    def measure(self, step: Step, number: int) -> None:
        self._post(reading(self._order("measure"), step))

    def switch(self, step: Step, number: int) -> None:
        assert isinstance(step.source, Set)
        self._order("switch")
        self._twins.on = step.source.output == "on"
        name = self._role("supply")
        self._post(e.Switched(number=number, instrument=name, state=step.source.output, confirmed=True))

    def energise(self, step: Step, ramp: RampUp, number: int) -> None:
        state = self._order("energise")
        self._twins.on = True
        self._fate.point("while an output comes up")
        if chosen(step):
            self._twins.on = False
            event = paper.brought_up(state, step, instrument=self._role("supply"), state="off", why="over")
        else:
            event = paper.brought_up(state, step, instrument=self._role("supply"))
        self._post(event)

    def _role(self, role: str) -> str:
        setting = self._runner.state.setting
        assert setting is not None
        return setting.bench.role_of[role]

    def live(self, step: Step | None, number: int = -1) -> None:
        pass

    def make_safe(self, number: int) -> None:
        if self._fate.dead:  # the way out of a program that is gone: nothing of it happens
            self._runner.inbox.put(Happened(e.MadeSafe(number=number)))
            return
        state = self._order("make safe")
        self._twins.on = False
        assert state.setting is not None
        outputs = {one.name: True for one in state.setting.bench.instruments if one.outputs}
        self._post(e.MadeSafe(number=number, confirmed=outputs))

    def agreed(self, instrument: str) -> None:
        """Nobody else ever answers here."""

    def drop_work(self) -> None:
        pass

    def close(self) -> None:
        pass


class DoomedHands:
    """Hands that act at once."""

    name = "the hands"

    def __init__(self, twins: Twins, fate: Fate) -> None:
        self._twins, self._fate = twins, fate

    def place(self, step: Step) -> None:
        self._fate.point("before hands place")
        self._twins.log.append("place")

    def reaches(self, step: Step) -> str:
        return ""

    def lift(self) -> None:
        pass

    def act(self, step: Step) -> None:
        self._fate.point("before hands act")
        self._twins.log.append("act")

    def answer(self, step: Step) -> str:
        return {"hold": getattr(step.source, "word", ""), "ask": "21.5", "look": at_rest(step), "gate": "to see"}.get(
            step.kind, ""
        )

    def jump(self, seconds: float) -> bool:
        return True


class Watcher:
    """A screen; what it was sent is acknowledged."""

    name, where = "a watcher", "here"

    def __init__(self) -> None:
        self.lines: list[bytes] = []

    def send(self, message: p.ToClient) -> None:
        if isinstance(message, p.Line):
            self.lines.append(message.raw.encode())


def beginning(kind: str, folder: Path) -> e.Began:
    """The first event of a drafted walk, through the real loaders."""
    text, of = KINDS[kind]
    (folder / "plant.yaml").write_text(text, "utf-8")
    plant = load_plant(folder / "plant.yaml")
    sequence = folder / f"{kind}.yaml"
    sequence.write_text(draft(plant, kind, of, "plant.yaml", "sequence.json"), "utf-8")
    bench = folder / "bench.yaml"
    bench.write_text(BENCH, "utf-8")
    return began(load_job(sequence, bench), "Ana")


def verdicts(state: State) -> dict[str, str]:
    """Step to its verdict and value."""
    return {one.key: f"{one.verdict} {one.figure.value}" for one in results(state).values()}


@dataclass
class Story:
    """A walk and how often it was killed.

    Attributes:
        state: at the end.
        deaths: where it was killed.
        moments: of the part that went to the end.
        readings: that were acknowledged to a screen.
    """

    state: State
    deaths: list[str]
    moments: int
    readings: int


def walked(
    first: e.Began, folder: Path, fates: Callable[[int], int], draw: random.Random, powers: bool = True
) -> Story:
    """Walk to the end through any number of deaths, and hold every promise after each.

    Args:
        first: the beginning.
        folder: an empty one.
        fates: gives the number of the last moment for each start, counted from 0; 0 for none.
        draw: for what gets through.
        powers: whether some deaths are power cuts.
    """
    path, twins, deaths, told = folder / "walk.jsonl", Twins(), [], b""
    for life in itertools.count():
        fate = Fate(fates(life), draw)
        disk, watcher = Disk(fate), Watcher()
        disk.synced = path.stat().st_size if path.exists() else 0
        twins.log.clear()
        try:
            with disk.installed():
                state = _live(first, path, twins, fate, watcher)
        except Killed:
            deaths.append(fate.where)
        seen = b"".join(watcher.lines)
        told = seen if len(seen) > len(told) else told
        restarted = [what for what in twins.log if what != "make safe"]
        if restarted:
            # outputs go off before anything else is done
            assert twins.log[0] == "make safe", twins.log[:3]
        assert not (twins.on and restarted == [] and "make safe" in twins.log)
        if not fate.dead:
            break
        if powers and draw.random() < 0.5:
            cut(path, disk.synced, draw) if path.exists() else None
        if path.exists():
            # what was told is on disk, byte for byte, whatever else is there
            assert path.read_bytes().startswith(told)
    assert not twins.on
    entries = list(read_record(path))
    assert fold(entries) == state
    assert path.read_bytes().startswith(told)
    numbers = [outcome.n for outcome in outcomes(state) if not outcome.barred]
    assert numbers == sorted(set(numbers), reverse=True)
    asked = [entry.event.number for entry in entries if isinstance(entry.event, e.Read)]
    assert len(asked) == len(set(asked)), "a number was used twice"
    return Story(state, deaths, fate.moments, sum(isinstance(entry.event, e.Read) for entry in entries))


def _live(first: e.Began, path: Path, twins: Twins, fate: Fate, watcher: Watcher) -> State:
    """One life of the runner: begin or resume, as the program does, then work to the end."""
    torn = None
    with ExitStack() as open_ones:
        if path.exists() and path.stat().st_size:
            writer, entries, torn = RecordWriter.reopen(path)
            open_ones.enter_context(writer)
        else:
            entries = []
        if not entries:
            # it died in the first line: the program says that there is nothing to go on with, and a person begins anew
            open_ones.pop_all().close()
            path.unlink(missing_ok=True)
            writer = open_ones.enter_context(RecordWriter.create(path))
        state, lines = start(), path.read_bytes().splitlines(keepends=True)
        if entries:
            state = fold(entries)
            new: list[e.Event] = [mended(torn)] if torn is not None else []
            new.append(e.Resumed(software="0.0 test"))
        else:
            new = [first]
        if state.finished:
            return state
        for event in new:
            entry = writer.envelope(event)
            state = take(state, entry)
            lines.append(writer.append(entry))
        hands = DoomedHands(twins, fate)
        record = OpenRecord(writer, state, lines, told=lambda entry, state: fate.point("while telling"))
        runner = Runner(record, hands, Manner(alone=True))
        runner.inbox.put(Came(watcher))
        end = runner.run(DoomedCrew(twins, fate, runner))
        assert request(end).number == end.number
        return end


def compared(kind: str, moments: int, seed: int, *, at_once: int = 1) -> tuple[list[Story], Story]:
    """Walks of a kind that were killed, each held against the one that was not.

    Args:
        kind: of the walk.
        moments: how many walks.
        seed: of the moments.
        at_once: how often each is killed at most.
    """
    stories = []
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        first = beginning(kind, folder)
        (folder / "whole").mkdir()
        whole = walked(first, folder / "whole", lambda life: 0, random.Random(seed))
        assert {"pass", "fail"} <= {one.verdict for one in results(whole.state).values()}
        for number in range(moments):
            draw = random.Random(f"{kind} {seed} {number}")
            (folder / str(number)).mkdir()
            fates = [draw.randint(1, whole.moments // at_once) for _ in range(at_once)]
            story = walked(
                first, folder / str(number), lambda life, fates=fates: fates[life] if life < len(fates) else 0, draw
            )
            assert verdicts(story.state) == verdicts(whole.state), story.deaths
            stories.append(story)
    return stories, whole
