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
    readings = [(step.subject, step.source) for step in plan.steps if isinstance(step.source, Measure)]
    gates = [step.source for step in plan.steps if isinstance(step.source, Gate)]
    found: dict[str, list[str]] = {}
    for shelf in dict.fromkeys(gate.shelf for gate in gates):
        inlets = {inlet.name for inlet in plant.inlets_of(shelf)}
        ohms = {name for name, one in readings if one.read == "resistance"}
        volts = {name for name, one in readings if one.read == "voltage" and one.limit.computed is not None}
        own = {kind for kind, names in (("inlets", ohms), ("polarity", volts)) if inlets <= names}
        with_cards = any(gate.cards for gate in gates if gate.shelf == shelf)
        stages = [gate for gate in ready.gates if gate.shelf == shelf and (with_cards or gate.gate == "first power")]
        names = [name for gate in stages for name in gate.blockers if name[0] not in own]
        tasks = {(task.kind, task.about): task for task in ready.tasks}
        found[shelf] = [_said(plant, kind, about, tasks.get((kind, about))) for kind, about in dict.fromkeys(names)]
    return found


def _said(plant: Plant, kind: str, about: str, task: Task | None) -> str:
    text = task.text if task is not None else f"{kind} {about}".strip()
    claims = frozenset(one.claim.kind for one in task.claims) if task is not None else frozenset[str]()
    drafts = [] if kind in ("inlets", "idle") else kinds_of(kind, about, claims)
    how = " and ".join(
        f"'proveout draft PLANT {draft}{f' --{scope} {of}' if scope else ''}'" for draft, scope, of in drafts
    )
    return f"{text} ({how})" if how else text
