"""A job's records in memory: what is proven, what is next, how things were left; all by the tool's own rooms."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from msgspec.structs import replace

from bench.assemble import fitted
from bench.files import BadFile
from bench.instruments.bench_file import Bench
from bench.job.asfound import had_power, left
from bench.job.folder import Folder
from bench.job.gates import missing
from bench.job.next_walk import NextWalk, next_walk
from bench.job.reach import Reaching
from bench.job.readiness import Readiness, Task, readiness, void
from bench.job.rows import Chapter, Told, distil
from bench.plant.handled import Handled
from bench.plant.model import Plant
from bench.quantity import Ratio
from bench.record.replay import Taken
from bench.sequence.draft import KINDS, Draft
from bench.sequence.drafts.dead_first import dead_first
from bench.sequence.drafts.in_lead import in_lead
from bench.sequence.drafts.together import together
from bench.sequence.file import Decide, Energise, SequenceFile
from bench.sequence.load import Loaded
from bench.sequence.unroll import unroll
from bench.walk import events as e
from bench.walk.setting import Setting
from bench.walk.state import State
from tests.rebuild.bench import Kit

DECIDE = Decide(probability=Ratio.parse("95 %"))
NOTES = "disturbances.jsonl"
FIRST = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)


class Job:
    """What a folder of records is, without a disk."""

    def __init__(self, plant: Plant, kit: Kit, decide: Decide = DECIDE) -> None:
        self.plant, self.kit, self.decide = plant, kit, decide
        self.chapters: list[Chapter] = []
        self.told: list[Told] = []
        self.states: list[State] = []
        self.reaching = Reaching(plant)
        self.now = FIRST

    @property
    def folder(self) -> Folder:
        """The records."""
        notes = {NOTES: e.Seen("notes", len(self.told), f"note {len(self.told)}")} if self.told else {}
        return Folder(Path("logs"), chapters=list(self.chapters), declared=list(self.told), notes=notes)

    def ready(self) -> Readiness:
        """What is proven and what is next."""
        folder = self.folder
        rows = [row for chapter in self.chapters for row in chapter.evidence]
        rows = void(rows, folder.told, self.reaching, {}, folder.order)
        return readiness(self.plant, rows, folder.order)

    def handled(self) -> Handled:
        """How things were left."""
        return left(self.chapters, self.folder.order)

    @property
    def powered(self) -> bool:
        """Whether it has had power."""
        return had_power(self.folder, self.plant)

    def next(self) -> tuple[Task, NextWalk] | None:
        """The task that is due, with its walk."""
        return next_walk(self.plant, self.ready(), powered=self.powered)

    def touched(self, names: tuple[str, ...], text: str) -> None:
        """Somebody tells that something was touched."""
        self.now += timedelta(minutes=10)
        _, saw = self.folder.whole_order.heads()
        at = self.now.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        self.told.append(Told(record=NOTES, n=len(self.told) + 1, at=at, kind="disturbance",
                              names=names, text=text, by="Ana", saw=tuple(saw)))  # fmt: skip

    def drafted(self, kind: str, of: str) -> Draft:
        """A draft as the program makes it."""
        made = KINDS[kind](self.plant, of)
        return dead_first(self.plant, of, made) if self.powered else made

    def joined(self, kind: str, names: Sequence[str]) -> Draft:
        """One draft for several cables, as the program makes it."""
        made = together([(name, KINDS[kind](self.plant, name)) for name in names])
        cables = [self.plant.cables[name] for name in names]
        return dead_first(self.plant, "", made, cables) if self.powered else made

    def begin(self, kind: str, made: Draft, *, gates: bool = True, but: Collection[str] = ()) -> e.Began | None:
        """The first event of a walk of a draft on the bench that proves most of it; None where no bench can walk it.

        Args:
            kind: of the draft.
            made: the draft.
            gates: whether its gates are looked at.
            but: benches that it was walked with already.
        """
        if self.kit.has_ammeter and any(isinstance(step, Energise) for step in made.steps):
            # a supply's own display is coarse
            made = in_lead(made)
        steps = made.steps
        sequence = SequenceFile(sequence=kind, plant="plant.yaml", about=made.about, decide=self.decide, steps=steps)
        plan = unroll(sequence, self.plant)
        loaded = Loaded(Path("walk.yaml"), Path("plant.yaml"), sequence, self.plant, plan, {})
        marks = [mark for things in self.handled().marks.values() for said in things.values() for mark in said]
        shut = missing(plan, self.plant, self.ready()) if gates and any(s.kind == "gate" for s in plan.steps) else {}
        folder = self.folder
        order, saw = folder.whole_order.heads(folder.notes.values())
        best: tuple[int, e.Began] | None = None
        for layout, facts in zip(self.kit.layouts, self.kit.facts, strict=True):
            bound = None if facts.name in but else _fitted(loaded, layout)
            if bound is None:
                continue
            first = e.Began(
                software="0.0 rebuild", edition=e.EDITION, plant=self.plant.file, sequence=bound.sequence, bench=facts,
                operator="Ana", gates=shut, order=order, saw=saw, found=marks,
            )  # fmt: skip
            weak = len(Setting.of(first).weak)
            if best is None or weak < best[0]:
                best = weak, first
            if not weak:
                break
        return best[1] if best is not None else None

    def keep(self, state: State, taken: list[Taken], kind: str) -> Chapter:
        """A walk that ended is a record."""
        number = len(self.chapters) + 1
        chapter = distil(f"{number:03d}-{kind}.jsonl", taken, "the plant")
        chapter = replace(chapter, id=f"first {number}", lines=taken[-1][1].n, last=f"last {number}")
        self.chapters.append(chapter)
        self.states.append(state)
        self.now += timedelta(seconds=30 * taken[-1][1].n + 600)
        return chapter


def _fitted(loaded: Loaded, layout: Bench) -> Loaded | None:
    """The walk as this bench takes it; None where it cannot."""
    try:
        return fitted(loaded, layout, Path("bench.yaml"), "bench").loaded
    except BadFile:
        return None
