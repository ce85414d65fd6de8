"""What the job screen shows, and where it comes from: values that a source reads out of a job's files and records.

The job screen is the one around the walk. It holds no truth of its own: readiness, traces and changes are worked out by
:mod:`bench.diagnose`, and the source that reads files and folders is given to it by whoever opens it.
"""

from __future__ import annotations

from typing import Final, Literal, Protocol

import msgspec

from bench.job.points import Point
from bench.job.readiness import Readiness, Task
from bench.job.rows import Told
from bench.job.study import Episode, Study
from bench.plant.model import Plant
from bench.screens.program.work import Tell

ENDINGS: Final = {"done": "done", "aborted": "given up"}
"""How a walk's last phase is told; any other one waits to be continued."""


class SequenceLine(msgspec.Struct, frozen=True):
    """A sequence of the job.

    Attributes:
        path: its file.
        name: what it is called.
        about: what it is for.
        steps: how many steps it has, loops unrolled.
        roles: what its bench must have.
        wrong: why it cannot be walked; empty where it can.
    """

    path: str
    name: str
    about: str = ""
    steps: int = 0
    roles: tuple[str, ...] = ()
    wrong: str = ""


class BenchLine(msgspec.Struct, frozen=True):
    """A bench of the job.

    Attributes:
        path: its file.
        name: what it is called.
        roles: what it has.
        simulated: whether no real meter is on it.
        instruments: the names of its instruments.
        wrong: why it cannot be used; empty where it can.
    """

    path: str
    name: str
    roles: tuple[str, ...] = ()
    simulated: bool = False
    instruments: tuple[str, ...] = ()
    wrong: str = ""

    def lacks(self, sequence: SequenceLine) -> tuple[str, ...]:
        """What the sequence needs and this bench has not."""
        return tuple(role for role in sequence.roles if role not in self.roles)


class RecordLine(msgspec.Struct, frozen=True):
    """A record in the folder of records.

    Attributes:
        path: its file.
        name: its name below the folder.
        began: when, UTC.
        sequence: the name of its sequence.
        bench: the name of its bench.
        simulated: whether no real meter was there.
        operator: who began it.
        ending: the phase that it stands in; empty where it was not folded.
        counts: verdict to how many readings of the plant count with it.
        live: whether the walk is under way.
        why: why it does not count; empty where it does.
        broken: whether it cannot be used at all.
        report: the file of its report; empty where none was written.
    """

    path: str
    name: str
    began: str = ""
    sequence: str = ""
    bench: str = ""
    simulated: bool = False
    operator: str = ""
    ending: str = ""
    counts: tuple[tuple[str, int], ...] = ()
    live: bool = False
    why: str = ""
    broken: bool = False
    report: str = ""

    @property
    def told(self) -> str:
        """How it stands, in a word or two."""
        if self.broken:
            return "broken"
        if self.live:
            return "under way"
        return ENDINGS.get(self.ending, "waits") if self.ending else "not counted"

    @property
    def open(self) -> bool:
        """Whether its walk can be continued."""
        return not self.broken and not self.live and bool(self.ending) and self.ending not in ENDINGS


class Survey(msgspec.Struct, frozen=True):
    """The job at one moment.

    Attributes:
        title: of the plant.
        plant: as it is now.
        ready: where it stands.
        simulated: whether the evidence that counts comes from simulated benches.
        sequences: of the job.
        benches: of the job.
        records: of the folder, newest first.
        logs: the folder of records.
        left_on: outputs that the records left on, each a sentence.
    """

    title: str
    plant: Plant
    ready: Readiness
    simulated: bool
    sequences: tuple[SequenceLine, ...]
    benches: tuple[BenchLine, ...]
    records: tuple[RecordLine, ...]
    logs: str
    left_on: tuple[str, ...] = ()


class Traced(msgspec.Struct, frozen=True):
    """A point over all records.

    Attributes:
        point: which.
        studies: its series, that which changed most first.
        told: what happened near it, in the order of time.
        simulated: whether the readings come from simulated benches.
        broken: records that could not be read, in words.
        said: of each series what consoles of the plant said when its reading was first bad.
    """

    point: Point
    studies: tuple[Study, ...]
    told: tuple[Told, ...] = ()
    simulated: bool = False
    broken: tuple[str, ...] = ()
    said: tuple[tuple[str, ...], ...] = ()


class Changes(msgspec.Struct, frozen=True):
    """What changed most among all points.

    Attributes:
        studies: those that changed or failed; those that a meter may account for come last.
        series: how many there are in all.
        episodes: what changed together.
        odd: the walks in which the meter is the suspect.
    """

    studies: tuple[Study, ...]
    series: int
    episodes: tuple[Episode, ...]
    odd: frozenset[str]


class EndLine(msgspec.Struct, frozen=True):
    """A loose end of the pile of cables.

    Attributes:
        name: what its flag says.
        where: it hangs.
        fits: what it may belong to, with chances.
        sure: whether the first of them is called.
        why: what speaks for and against the first.
    """

    name: str
    where: str
    fits: str
    sure: bool
    why: tuple[str, ...] = ()


class Cables(msgspec.Struct, frozen=True):
    """What the pile of cables comes to.

    Attributes:
        told: how much of it is clear, and what contradicts itself.
        ends: the loose ends; those that are open first.
        card: the next trip, as a card to take along; empty where none tells anything.
    """

    told: tuple[str, ...] = ()
    ends: tuple[EndLine, ...] = ()
    card: tuple[str, ...] = ()


class Source(Protocol):
    """Reads a job. Every call may take long: it runs in a thread of its own, tells how far it is, and can be ended.

    Raises, each of them:
        Cancelled: it was ended.
        Exception: what a person can mend, with a clear text.
    """

    def survey(self, tell: Tell) -> Survey:
        """The job as it is now."""
        ...

    def trace(self, name: str, tell: Tell) -> Traced:
        """A point over all records."""
        ...

    def changes(self, tell: Tell) -> Changes:
        """What changed most."""
        ...

    def cables(self, tell: Tell) -> Cables:
        """What the pile of cables comes to."""
        ...

    def draft(self, task: Task, tell: Tell) -> tuple[SequenceLine, str]:
        """Draft the sequence that does a task; returns it, and what became of its file in words."""
        ...

    def report(self, record: str, tell: Tell) -> str:
        """Write the report of a record; returns where it is."""
        ...

    def show(self, report: str, tell: Tell) -> str:
        """Open a report in the browser of this computer; returns what came of it in words."""
        ...

    def explain(self, record: str, tell: Tell) -> tuple[str, ...]:
        """What people did wrong, by the readings of a record, and what to do about it, line by line."""
        ...

    def compare(self, before: str, after: str, tell: Tell) -> tuple[str, ...]:
        """What changed between two records, or between the evidence of two days, line by line."""
        ...

    def misnamed(self, text: str) -> str:
        """What is wrong with a text that says what was touched; empty where nothing is."""
        ...

    def disturb(self, text: str, tell: Tell) -> tuple[str, ...]:
        """Write down that something was touched: names, then after a colon what happened. Returns what came of it."""
        ...

    def all_off(self, tell: Tell) -> str:
        """Switch everything off that walks of the job have on; returns how it went, in words."""
        ...

    def mend(self, error: Exception) -> str:
        """The text of an error that a person can mend; empty for a bug."""
        ...


class Wish(msgspec.Struct, frozen=True):
    """What is to be done outside the job screen, with the terminal to itself.

    Attributes:
        act: ``walk`` (a sequence with a bench), ``resume`` or ``attach`` (a record).
        path: the sequence or record.
        bench: the bench, for a walk.
    """

    act: Literal["walk", "resume", "attach"]
    path: str
    bench: str = ""
