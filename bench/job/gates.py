"""What the records have not proven of a shelf that a walk is about to bring up, and which sequence proves it."""

from __future__ import annotations

from bench.job.next_walk import kinds_of
from bench.job.readiness import Readiness, Task
from bench.plant.model import Plant
from bench.sequence.file import Gate, Measure
from bench.sequence.plan import Plan


def missing(plan: Plan, plant: Plant, ready: Readiness) -> dict[str, list[str]]:
    """Shelf behind a gate to what is not proven of it, each with how to prove it; an empty list where all is.

    What the walk itself reads of a shelf's inlets before it brings it up is left to it: it goes no further without.

    Args:
        plan: the walk.
        plant: as it is now.
        ready: what the records say of it.
    """
    read = {step.subject for step in plan.steps if isinstance(step.source, Measure)}
    found: dict[str, list[str]] = {}
    for shelf in dict.fromkeys(step.source.shelf for step in plan.steps if isinstance(step.source, Gate)):
        own = all(inlet.name in read for inlet in plant.inlets_of(shelf))
        names = [name for gate in ready.gates if gate.shelf == shelf for name in gate.blockers]
        tasks = {(task.kind, task.about): task for task in ready.tasks}
        found[shelf] = [
            _said(plant, kind, about, tasks.get((kind, about)))
            for kind, about in dict.fromkeys(names)
            if not (own and kind in ("inlets", "polarity"))
        ]
    return found


def _said(plant: Plant, kind: str, about: str, task: Task | None) -> str:
    text = task.text if task is not None else f"{kind} {about}".strip()
    claims = frozenset(one.claim.kind for one in task.claims) if task is not None else frozenset[str]()
    drafts = [] if kind in ("inlets", "idle") else kinds_of(kind, about, claims)
    how = " and ".join(
        f"'proveout draft PLANT {draft}{f' --{scope} {of}' if scope else ''}'" for draft, scope, of in drafts
    )
    return f"{text} ({how})" if how else text
