"""Drawn jobs of two laptops with wrong clocks, copies, merges and damaged records, and an oracle that knows the truth.

A job is drawn event by event in true time: walks that read conductors (some are left and continued later),
disturbances inside walks and outside them, laptops whose clocks are set wrong and right again, folders that are merged,
records that are copied whole or cut, and records that are damaged. Each fact is kept with its true place in time; the
oracle asks these facts alone, never the program.
"""

from __future__ import annotations

import random
import shutil
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

from bench.job.asfound import as_found, before_a_walk
from bench.job.folder import open_folder
from bench.judge.accuracy import AccuracyRow
from bench.plant.load import load_plant
from bench.plant.model import Plant
from bench.quantity import Amount, Temperature
from bench.record.append import RecordWriter, stamp
from bench.record.index import DISTURBANCES, declare
from bench.sequence.file import Limit, Measure, SequenceFile, Step
from bench.simulate.on_paper import Walker
from bench.walk import events as e
from bench.walk.facts import BenchFacts, InstrumentFacts

HUT = Path("tests/jobs/beacon-hut/plant.yaml")
CONDUCTORS = ("C1.1", "C1.6", "C2.5", "WPS.1")
"""Far enough apart that none lies on a pin beside another one."""
SOUND, BROKEN = 0.1, 50.0
"""Ohms; the limit is 20."""
BEGAN = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
METER = InstrumentFacts(
    name="meter",
    profile="a-meter",
    roles=["ohms"],
    rows=(AccuracyRow("ohms", "Ω", 1e5, percent_of_reading=0.02, percent_of_range=0.0001, resolution=1e-3),),
    accuracy_of={"resistance 2w": "ohms"},
)
BENCH = BenchFacts(name="evening bench", simulated=False, instruments=[METER], role_of={"ohms": "meter"})
UNKNOWN = frozenset({"undecided", "void", "never tested"})


@cache
def hut() -> Plant:
    """The plant, loaded once."""
    return load_plant(HUT)


@dataclass(frozen=True)
class Fact:
    """Something that truly happened, and where it was written down.

    Attributes:
        t: its place in true time.
        conductor: which it is about.
        said: ``pass``, ``fail``, or ``moved``.
        record: first line's hash of the record that holds it, or the name of a file of disturbances.
        n: the line.
    """

    t: float
    conductor: str
    said: str
    record: str
    n: int


@dataclass
class Laptop:
    """A folder, and a clock that may be wrong.

    Attributes:
        name: of the laptop.
        folder: of its records.
        off: how wrong its clock is.
        has: how far each record that was brought here went: its facts up to that line may be known here.
        open: walks that were left.
    """

    name: str
    folder: Path
    off: timedelta = timedelta()
    has: dict[str, int] = field(default_factory=dict)
    open: list[Hands] = field(default_factory=list)


class Job:
    """A drawn job.

    Args:
        seed: of the draw.
        folder: where its two folders are made.
        damage: whether records are damaged, too.
    """

    def __init__(self, seed: int, folder: Path, *, damage: bool = True) -> None:
        self.draw = random.Random(f"job {seed}")
        self.facts: list[Fact] = []
        self.t = 0.0
        self.sound = dict.fromkeys(CONDUCTORS, True)
        self.laptops = [Laptop(name, folder / name) for name in ("left", "right")]
        self.drawn: Counter[str] = Counter()
        self.untold: list[tuple[str, float]] = []
        self._damage = damage
        for laptop in self.laptops:
            laptop.folder.mkdir(parents=True)

    def run(self, events: int = 14) -> None:
        """Draw it."""
        acts = (
            [self.walk] * 6
            + [self.told] * 2
            + [self.later, self.told_later]
            + [self.clock] * 3
            + [self.merge] * 2
            + [self.go_on] * 2
            + [self.copy]
        )
        for number in range(events):
            self.t += self.draw.uniform(1.0, 40.0)
            act = self.walk if number == 0 else self.draw.choice(acts)
            laptop = self.draw.choice(self.laptops)
            act(laptop)
            self.after(laptop)
        if self._damage:
            self.damage(self.draw.choice(self.laptops))
        if self.draw.random() < 0.5:
            self.merge(self.laptops[0])
        if self.draw.random() < 0.5:
            self.walk(self.laptops[0])

    def after(self, laptop: Laptop) -> None:
        """Something was done with a laptop: for whoever wants to look at it then."""

    # what is drawn

    def now(self, laptop: Laptop) -> datetime:
        """What the laptop's clock says; true time goes on a little with each look."""
        self.t += 0.01
        return BEGAN + timedelta(hours=self.t) + laptop.off

    def walk(self, laptop: Laptop) -> None:
        """A walk that reads some conductors; it may be left in the middle."""
        self.drawn["walks"] += 1
        some = self.draw.sample(CONDUCTORS, self.draw.randint(1, 3))
        hands = Hands(self, laptop, some)
        hands.go(stop=self.draw.random() < 0.2)

    def go_on(self, laptop: Laptop) -> None:
        """Go on with a walk that was left."""
        if laptop.open:
            self.drawn["continued"] += 1
            laptop.open.pop().resume()

    def told(self, laptop: Laptop) -> None:
        """A disturbance that is told outside any walk, at once or later."""
        self.drawn["disturbances outside"] += 1
        name = self.draw.choice(CONDUCTORS)
        event = e.Disturbed(touches=[name], text="moved", by=laptop.name, saw=heads(laptop.folder))
        self.move(name)
        path = declare(laptop.folder, event, lambda: self.now(laptop))
        lines = len(path.read_bytes().splitlines())
        self.facts.append(Fact(self.t, name, "moved", f"{laptop.name} told", lines))
        laptop.has[f"{laptop.name} told"] = lines

    def later(self, laptop: Laptop) -> None:
        """Something is moved, and nobody writes it down yet."""
        name = self.draw.choice(CONDUCTORS)
        self.move(name)
        self.untold.append((name, self.t))

    def told_later(self, laptop: Laptop) -> None:
        """What was moved is told, with the time when it truly was."""
        if not self.untold:
            return
        self.drawn["told later"] += 1
        name, t = self.untold.pop()
        when = stamp(BEGAN + timedelta(hours=t))
        there = open_folder(laptop.folder, hut().name)
        later = there.read_after(hut(), [name], when)
        ids = {chapter.record: chapter.id for chapter in there.chapters}
        shown = [(ids[record], row.n) for record, rows in later.items() for row in rows]
        if any(fact.t < t and (fact.record, fact.n) in shown for fact in self.facts):
            # they know better than a clock that nothing else shows to be wrong, and tell it without a time
            when, later = "", {}
            self.drawn["told later, a clock being wrong"] += 1
        saw = there.whole_order.heads()[1]
        event = e.Disturbed(
            touches=[name], text="moved", by=laptop.name, when=when, saw=saw, later=there.later(later)
        )  # fmt: skip
        path = declare(laptop.folder, event, lambda: self.now(laptop))
        lines = len(path.read_bytes().splitlines())
        self.facts.append(Fact(t, name, "moved", f"{laptop.name} told", lines))
        laptop.has[f"{laptop.name} told"] = lines

    def clock(self, laptop: Laptop) -> None:
        """The clock is set wrong, or right again."""
        self.drawn["clocks set"] += 1
        years = timedelta(days=2200)
        laptop.off = self.draw.choice(
            [timedelta(), -years, years, timedelta(days=3), timedelta(days=-3), timedelta(hours=-1)]
        )

    def merge(self, laptop: Laptop) -> None:
        """Copy all records of the other laptop here; a name that is taken gets another one."""
        self.drawn["merges"] += 1
        other = next(one for one in self.laptops if one is not laptop)
        for path in sorted(other.folder.glob("*.jsonl")):
            self.bring(path, laptop)
        for key, n in other.has.items():
            laptop.has[key] = max(n, laptop.has.get(key, 0))

    def bring(self, path: Path, laptop: Laptop) -> None:
        """Copy one file, the longer one where it is here already."""
        target = laptop.folder / path.name
        if path.name == DISTURBANCES:
            target = laptop.folder / f"of-{path.parent.name}" / DISTURBANCES
            target.parent.mkdir(exist_ok=True)
        elif target.exists() and target.read_bytes() != path.read_bytes():
            target = laptop.folder / f"{path.stem}-too.jsonl"
        shutil.copy(path, target)

    def copy(self, laptop: Laptop) -> None:
        """A record is copied, whole or cut, under another name."""
        paths = self.records(laptop)
        if paths:
            self.drawn["copies"] += 1
            path = self.draw.choice(paths)
            raw = path.read_bytes()
            if self.draw.random() < 0.5:
                raw = raw[: self.draw.randrange(raw.index(b"\n") + 1, len(raw))]
            (laptop.folder / f"{path.stem}-copy-{self.drawn['copies']}.jsonl").write_bytes(raw)

    def damage(self, laptop: Laptop) -> None:
        """One record, the only copy here, is damaged: a bit, a line, its end, or its beginning."""
        paths = self.records(laptop)
        if not paths:
            return
        path = self.draw.choice(paths)
        lines = path.read_bytes().splitlines(keepends=True)
        kind = self.draw.choice(["bit", "bit", "bit in what was said", "line", "end", "beginning"])
        if kind == "line" and len(lines) > 3:
            del lines[self.draw.randrange(1, len(lines) - 1)]
        elif kind == "end" and self.seen_by_another(laptop, path) and len(lines) > 3:
            del lines[self.draw.randrange(1, len(lines) - 1) :]
        elif kind == "beginning":
            del lines[0]
        else:
            said = [i for i, line in enumerate(lines) if b'"read"' in line or b'"disturbed"' in line]
            number = self.draw.choice(said) if kind != "bit" and said else self.draw.randrange(len(lines))
            line = bytearray(lines[number])
            line[self.draw.randrange(len(line) - 1)] ^= 1 << self.draw.randrange(7)
            lines[number] = bytes(line)
        self.drawn[f"damaged: {kind}"] += 1
        path.write_bytes(b"".join(lines))

    # what it rests on

    def records(self, laptop: Laptop) -> list[Path]:
        """Its records that nobody is in the middle of, and of which there is one file only."""
        busy = {hands.path for hands in laptop.open}
        first = Counter(path.read_bytes()[:4000] for path in laptop.folder.glob("*.jsonl"))
        return [
            path
            for path in sorted(laptop.folder.glob("*.jsonl"))
            if path.name != DISTURBANCES and path not in busy and first[path.read_bytes()[:4000]] == 1
        ]

    def seen_by_another(self, laptop: Laptop, path: Path) -> bool:
        """Whether another file names the last line of a record."""
        head = path.read_bytes()[-67:-3]
        return any(head in other.read_bytes() for other in laptop.folder.rglob("*.jsonl") if other != path)

    def move(self, name: str) -> None:
        """Touch a conductor: it may be broken then, or mended."""
        self.t += 0.01
        if self.draw.random() < 0.6:
            self.sound[name] = not self.sound[name]

    # who knows the truth

    def truth(self, laptop: Laptop) -> dict[str, str]:
        """What truly stands of each conductor by all that was ever written into the records of a folder."""
        last: dict[str, Fact] = {}
        for fact in sorted(self.facts, key=lambda one: one.t):
            if fact.n <= laptop.has.get(fact.record, 0):
                last[fact.conductor] = fact
        words = {"pass": "proven", "fail": "failing", "moved": "void"}
        return {name: words[last[name].said] if name in last else "never tested" for name in CONDUCTORS}

    def said(self, laptop: Laptop) -> dict[str, str]:
        """What readiness says of each."""
        ready = as_found(open_folder(laptop.folder, hut().name), hut()).ready
        states = {one.claim.about: one.status for thing in ready.things for one in thing.states}
        return {name: str(states[name]) for name in CONDUCTORS}

    def verdicts(self) -> Iterable[tuple[str, str, str, str]]:
        """Laptop, conductor, truth, and what is said."""
        for laptop in self.laptops:
            truth, said = self.truth(laptop), self.said(laptop)
            for name in CONDUCTORS:
                yield laptop.name, name, truth[name], said[name]


def heads(folder: Path) -> list[e.Seen]:
    """The last records of a folder."""
    return open_folder(folder, hut().name).whole_order.heads()[1]


def against(truth: str, said: str) -> bool:
    """Whether what is said is neither the truth nor unknown."""
    return said not in UNKNOWN and said != truth


class Hands(Walker):
    """Walks for a job and keeps what truly happened; every event is written down before it is taken as happened."""

    def __init__(self, job: Job, laptop: Laptop, conductors: Iterable[str]) -> None:
        self.job, self.laptop, self.by = job, laptop, laptop.name
        plant = hut()
        before = before_a_walk(laptop.folder, plant, simulated=False)
        limit = Limit(at_most=Amount.parse("20 ohm"), source="invented")
        steps: list[Step] = []
        for name in conductors:
            ends = (plant.conductors[name].near_end.name, plant.conductors[name].far_end.name)
            steps.append(Measure(read="resistance", between=ends, subject=name, limit=limit))
        sequence = SequenceFile(
            sequence="an evening", plant="plant.yaml", ambient=Temperature.parse("20 degC"), steps=steps
        )
        began = e.Began(
            software="0.0 test", edition=e.EDITION, plant=plant.file, sequence=sequence, bench=BENCH,
            operator=self.by, order=before.order, saw=list(before.saw), found=list(before.found),
        )  # fmt: skip
        self.path = laptop.folder / f"{laptop.name}-{job.drawn['walks']:02d}.jsonl"
        self._writer = RecordWriter.create(self.path, lambda: job.now(laptop))
        self.id = ""
        self.begin(began)

    def entry(self, event: e.Event) -> e.Entry:
        return self._writer.envelope(event)

    def add(self, event: e.Event) -> e.Entry:
        step = self.state.step if self.id else None
        entry = super().add(event)
        line = self._writer.append(entry)
        self.id = self.id or line[-67:-3].decode()
        self.laptop.has[self.id] = entry.n
        if isinstance(event, e.Read) and step is not None:
            said = "pass" if self.job.sound[step.subject] else "fail"
            self.keep(step.subject, said, entry.n)
        return entry

    def keep(self, conductor: str, said: str, n: int) -> None:
        self.job.facts.append(Fact(self.job.t, conductor, said, self.id, n))

    def measured(self, step: object) -> e.Event:
        return self.reading(value=SOUND if self.job.sound[self.step.subject] else BROKEN)

    def go(self, *, stop: bool) -> None:
        """To the end, or to somewhere in the middle; somebody may touch something meanwhile."""
        draw = self.job.draw
        left = draw.randint(3, 12) if stop else 1000
        while not self.state.finished and left:
            self.one()
            left -= 1
            if draw.random() < 0.04 and not self.state.finished:
                name = draw.choice(CONDUCTORS)
                self.job.move(name)
                self.job.drawn["disturbances inside"] += 1
                self.keep(name, "moved", self.add(e.Disturbed(touches=[name], text="moved", by=self.by)).n)
        self._writer.close()
        if not self.state.finished:
            self.laptop.open.append(self)

    def resume(self) -> None:
        """Go on with it, as the runner would: with a new opening of the same file."""
        self._writer, _, _ = RecordWriter.reopen(self.path, lambda: self.job.now(self.laptop))
        self.add(e.Resumed(software="0.0 test"))
        self.go(stop=False)


def by_clock(job: Job) -> Iterable[tuple[str, str, str, str]]:
    """The same answers as :meth:`Job.verdicts` by the wall clock alone: what it would be to trust it."""
    for laptop in job.laptops:
        truth, folder = job.truth(laptop), open_folder(laptop.folder, hut().name)
        said = dict.fromkeys(CONDUCTORS, ("", "never tested"))
        for row in folder.rows:
            word = {"pass": "proven", "fail": "failing"}.get(row.verdict, "void")
            said[row.subject] = max(said[row.subject], (row.at, word))
        for told in folder.told:
            if told.kind == "disturbance":
                for name in told.names:
                    said[name] = max(said[name], (told.happened, "void"))
        for name in CONDUCTORS:
            yield laptop.name, name, truth[name], said[name][1]
