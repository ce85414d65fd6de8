"""The plant as found: how all records of a job left it, who said so and when, and what is proven of it.

One fold over the records in their own order (:mod:`bench.job.order`). Of each breaker, output, card, bond, plug and
supply the last mark counts; where two records that do not know of one another left a thing differently, or nobody
spoke of it, it is ``unknown``. What one record adds is kept by the hash of its last line with the rest of its chapter
(:mod:`bench.job.folder`), so the cost of another evening is that of its own record.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Final

import msgspec

from bench.job.damage import Damaged
from bench.job.folder import Folder, open_folder
from bench.job.order import Order
from bench.job.readiness import Readiness, readiness
from bench.job.rows import Chapter
from bench.job.standing import standing
from bench.plant.handled import UNKNOWN, Handled, Kind, Mark
from bench.plant.model import Plant
from bench.record.index import DISTURBANCES
from bench.say.times import day
from bench.sequence.file import BENCH_SUPPLY
from bench.sequence.plan import Plan
from bench.walk.events import Seen


class AsFound(msgspec.Struct, frozen=True):
    """What the records of a job say of the plant now.

    Attributes:
        handled: breakers, supplies, outputs, cards, bonds and plugs as they were left.
        ready: conductors, inlets and bonds as proven, failing, void or never tested.
        contradictions: what cannot be true at once, or cannot be ordered, in words.
    """

    handled: Handled
    ready: Readiness
    contradictions: tuple[str, ...] = ()


def as_found(folder: Folder, plant: Plant) -> AsFound:
    """Fold a job's records.

    Args:
        folder: the records.
        plant: as it is now.

    Raises:
        BrokenRecord: a record's plant cannot be read.
    """
    handled = left(folder.chapters, folder.order, folder.damaged)
    said = [*folder.order.clocks, *(contradiction(kind, name, handled.said(kind, name))
                                    for kind, name in handled.disputed)]  # fmt: skip
    return AsFound(handled, standing(folder, plant), tuple(said))


def left(chapters: Sequence[Chapter], order: Order, damaged: Sequence[Damaged] = ()) -> Handled:
    """How records left the things that were handled.

    Args:
        chapters: the records.
        order: in which they were written.
        damaged: records that may have said that something was left otherwise: it is unknown, until somebody looks.
    """
    said: dict[Kind, dict[str, list[Mark]]] = {}
    marked = [mark for chapter in chapters for mark in chapter.marks]
    things_said = dict.fromkeys((mark.change.kind, mark.change.name) for mark in marked)
    marked += [mark for one in damaged for mark in one.marks(things_said)]
    for mark in sorted(marked, key=lambda one: (one.record, one.n)):
        things = said.setdefault(mark.change.kind, {})
        things.setdefault(mark.change.name, []).append(mark)
    marks = {kind: {name: _last(some, order) for name, some in things.items()} for kind, things in said.items()}
    return Handled(marks, {chapter.record: chapter.lines for chapter in chapters})


def had_power(folder: Folder, plant: Plant) -> bool:
    """Whether a plant has had power, as far as the records of its job tell.

    What :mod:`bench.walk.power_seen` finds in any of them, somebody who touched a supply outside a walk, and a damaged
    record or note that may have said so.

    Args:
        folder: the records.
        plant: as it is now.
    """
    if any(chapter.power for chapter in folder.chapters):
        return True
    if any(set(one.names) & set(plant.supplies) for one in folder.declared):
        return True
    if any(error.path.name == DISTURBANCES for error in folder.broken):
        return True
    may = {*plant.supplies, BENCH_SUPPLY}
    return any(not one.names or may & set(one.handles) for one in folder.damaged)


def _last(said: Sequence[Mark], order: Order) -> tuple[Mark, ...]:
    """The marks that no other one is known to have come after."""

    def replaced(mark: Mark, by: Mark) -> bool:
        return by.record != mark.record and order.before(mark.record, mark.n, mark.at, by.record, by.n, by.at)

    return tuple(mark for mark in said if not any(replaced(mark, other) for other in said))


def contradiction(kind: str, name: str, said: Iterable[Mark]) -> str:
    """Say that records left a thing differently and that neither is known to be the later one.

    Args:
        kind: what kind of thing it is.
        name: its name.
        said: what each record says of it.
    """
    lost = [mark.record for mark in said if mark.change.state == UNKNOWN]
    if lost:
        names = ", ".join(lost)
        return f"{kind} {name} may have been left otherwise in {names}, which is damaged: it is unknown, look at it"
    parts = [f"{mark.change.state} {told_by(mark)}" for mark in said]
    return f"{kind} {name} was left {' and '.join(parts)}: nobody can say which is later, so it is unknown"


def told_by(mark: Mark) -> str:
    """Who said something, when and where: ``on 12 March 2026 (Anna, record 20260312.jsonl)``."""
    then = f"on {day(mark.at)}" if mark.at else "at a time that is not known"
    by = f"{mark.by}, " if mark.by else ""
    return f"{then} ({by}record {mark.record})" if mark.record else f"{then}{f' ({mark.by})' if mark.by else ''}"


class Before(msgspec.Struct, frozen=True):
    """What a record that begins now keeps of the records beside it.

    Attributes:
        order: its place among them.
        saw: the last ones.
        found: how they left the plant.
        gates: shelf behind a gate to what they have not proven of it.
    """

    order: int = 1
    saw: tuple[Seen, ...] = ()
    found: tuple[Mark, ...] = ()
    gates: Mapping[str, list[str]] = msgspec.field(default_factory=dict)


LOGS: Final = "logs"
"""The folder of a job that its records are in; folders within it are part of it."""


def _of_the_job(folder: Path) -> Path:
    """The folder with all records of the job, for one that a record goes to: itself, or the ``logs`` that it is in."""
    return next((one for one in folder.resolve().parents if one.name == LOGS), folder)


def before_a_walk(folder: Path, plant: Plant, plan: Plan | None = None, *, simulated: bool) -> Before:
    """What a record that begins now keeps of the records beside it.

    Args:
        folder: where the record will lie.
        plant: the plant as it is now.
        plan: what is walked; None where nothing is.
        simulated: whether the bench is simulated: a real walk believes no simulated record, and the other way round.

    Returns:
        What the records say; the order of the first one where there is no such folder.

    """
    folder = _of_the_job(folder)
    found = open_folder(folder, plant.name) if folder.is_dir() else Folder(folder)
    order, saw = found.whole_order.heads(found.notes.values())
    if simulated:
        chapters = found.practice or [chapter for chapter in found.chapters if chapter.simulated]
    else:
        chapters = [chapter for chapter in found.chapters if not chapter.simulated]
    damaged = [one for one in found.damaged if simulated or not one.simulated]
    handled = left(chapters, found.whole_order, damaged)
    marks = tuple(mark for kind in handled.marks for said in handled.marks[kind].values() for mark in said)
    gates: dict[str, list[str]] = {}
    if plan is not None and any(step.kind == "gate" for step in plan.steps):
        from bench.job.gates import missing  # it loads the drafts, which walks without gates do without

        # what a simulator said proves nothing at a real rack
        rows = [] if found.simulated and not simulated else found.counting(plant)
        gates = missing(plan, plant, readiness(plant, rows, found.order))
        lost = [
            f"what {error.path.name} said, which is damaged"
            for error in found.broken
            if error.path.name == DISTURBANCES
        ]
        gates = {shelf: [*lost, *names] for shelf, names in gates.items()}
    return Before(order, tuple(saw), marks, gates)
