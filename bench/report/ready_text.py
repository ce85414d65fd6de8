"""Readiness as lines of text, and as plain data for other programs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from bench.job.asfound import told_by
from bench.job.next_walk import NOTHING_YET, how_of
from bench.job.readiness import STATUSES, GateState, Readiness, Status, Task, ThingState
from bench.plant.handled import Handled, Kind
from bench.quantity import engineering
from bench.say.lists import some

KINDS: Final = ("shelf", "feed", "cable", "bond")
SHOWN: Final[dict[Kind, tuple[str, ...]]] = {
    "breaker": ("closed", "locked off"),
    "supply": ("on",),
    "output": ("on", "may be on"),
    "connection": ("connected",),
    "card": ("out",),
    "bond": ("lifted",),
    "plug": ("unmated",),
}
"""Kind to the states that are worth a line: what is not as it stands in a plant that rests."""
_ORDER: Final[tuple[Status, ...]] = ("proven", "connected", *STATUSES[:4])
_SAID_HOW: Final = 3
"""How many tasks are told with how they are done; 'proveout draft PLANT next' drafts the first."""
_MOST: Final = 12
"""Lines of one list; the rest is counted."""


def lines(ready: Readiness) -> Iterator[str]:
    """What is proven, what blocks first power, and what to do next."""
    yield from _counts(ready)
    yield from _open(ready)
    yield from _gates(ready)
    yield from _next(ready)
    if ready.voids:
        yield ""
        yield "No longer counted:"
        for why, (count, still) in list(ready.voids.items())[:_MOST]:
            left = f"{still} to be proven again" if still else "all proven again since"
            yield f"  {count:5} {'reading' if count == 1 else 'readings'} ({left}): {why.removeprefix('Void: ')}"


def left(handled: Handled) -> Iterator[str]:
    """How the records left what is closed, on, out, lifted or apart, and of what nobody can say."""
    for kind, states in SHOWN.items():
        for name, said in sorted(handled.marks.get(kind, {}).items()):
            state = handled.state(kind, name)
            if state in states:
                yield f"  {kind} {name}: {state}, {told_by(said[-1])}"


def left_on(handled: Handled) -> Iterator[str]:
    """Outputs of instruments that the records left on, or may have; each a sentence that must not be overlooked."""
    for name, said in sorted(handled.marks.get("output", {}).items()):
        mark = said[-1]
        if handled.state("output", name) in SHOWN["output"]:
            volts = f", {engineering(mark.change.volts, 'V')}" if mark.change.volts is not None else ""
            state = "is on" if mark.change.state == "on" else "may be on"
            yield (
                f"The output of {name} {state}{volts}: {told_by(mark)}. Look at it before anybody touches anything, "
                f"and say what was seen: proveout outputs RECORD --seen-off {name} --note TEXT"
            )


def _counts(ready: Readiness) -> Iterator[str]:
    seen = {thing.status for thing in ready.things}
    order = [status for status in _ORDER if status != "connected" or status in seen]
    yield f"{'':10}" + "".join(f"{status:>14}" for status in order)
    for kind in KINDS:
        things = ready.of_kind(kind)
        if things:
            counts = [sum(1 for thing in things if thing.status == status) for status in order]
            plural = "shelves" if kind == "shelf" else f"{kind}s"
            yield f"{plural:10}" + "".join(f"{count or '-':>14}" for count in counts)


def _open(ready: Readiness) -> Iterator[str]:
    """Everything that is failing, undecided or void, each with its reason, what has one reason in one line."""
    for status in (*STATUSES[:3], STATUSES[4]):
        found = [(thing, one) for thing in ready.things for one in thing.states if one.status == status]
        alike: dict[tuple[str, str], dict[str, None]] = {}
        told: set[str] = set()
        for thing, one in found:
            if thing.kind != "feed" and one.claim.about not in told:
                told.add(one.claim.about)
                alike.setdefault((f"{thing.kind} {thing.name}", _plain(one.why)), {})[one.claim.about] = None
        if not alike:
            continue
        yield ""
        yield f"{status.capitalize()}:"
        for (name, why), about in list(alike.items())[:_MOST]:
            yield f"  {name}: {some(list(about), 2)}: {why}"
        if len(alike) > _MOST:
            yield f"  and {len(alike) - _MOST} more; --json lists them"


def _plain(why: str) -> str:
    for word in ("Void: ", "Fail: ", "Undecided: "):
        why = why.removeprefix(word)
    return why


def _gates(ready: Readiness) -> Iterator[str]:
    by_shelf: dict[str, dict[str, GateState]] = {}
    for gate in ready.gates:
        by_shelf.setdefault(gate.shelf, {})[gate.gate] = gate
    if not by_shelf:
        return
    yield ""
    yield f"{'shelf':8} {'first power, cards out':38} cards in"
    for shelf, gates in by_shelf.items():
        yield f"{shelf:8} {_gate(gates['first power']):38} {_gate(gates['cards in'])}"
    yield "Clear means: the evidence is there. The person in charge decides, under local codes and the site's rules."


def _gate(gate: GateState) -> str:
    if not gate.blockers:
        return "clear"
    names = [about or kind for kind, about in gate.blockers]
    return f"blocked by {some(names, 2)}"


def _next(ready: Readiness) -> Iterator[str]:
    if ready.empty:
        yield ""
        yield f"Next: {NOTHING_YET}"
    if not ready.tasks:
        return
    yield ""
    yield "Next, in the order that clears most:"
    for number, task in enumerate(ready.tasks[:_MOST], 1):
        yield f"  {number:2}. {task.text}{_clears(task)}"
        how = how_of(task)
        if how and number <= _SAID_HOW:
            yield f"      by {how}"
    if len(ready.tasks) > _MOST:
        yield f"      and {len(ready.tasks) - _MOST} more; --json lists them"


def _clears(task: Task) -> str:
    if not task.clears:
        return ""
    goals = [f"{shelf} ({gate})" for shelf, gate in task.clears]
    shown = some(goals, 4)
    return f" -> clears {shown}"


def plain(ready: Readiness) -> dict[str, Any]:
    """The same for other programs."""
    return {
        "plant": ready.plant,
        "readings": ready.readings,
        "things": [_thing(thing) for thing in ready.things],
        "gates": [
            {
                "shelf": gate.shelf,
                "gate": gate.gate,
                "clear": not gate.blockers,
                "blockers": [{"kind": kind, "about": about} for kind, about in gate.blockers],
            }
            for gate in ready.gates
        ],
        "next": [
            {
                "kind": task.kind,
                "about": task.about,
                "text": task.text,
                "effort_readings": task.effort,
                "clears": [{"shelf": shelf, "gate": gate} for shelf, gate in task.clears],
                "holds_up": task.holds_up,
                "claims": [one.claim.text for one in task.claims],
            }
            for task in ready.tasks
        ],
        "voids": [
            {"why": why, "readings": count, "to_prove_again": still} for why, (count, still) in ready.voids.items()
        ],
    }


def _thing(thing: ThingState) -> dict[str, Any]:
    return {
        "kind": thing.kind,
        "name": thing.name,
        "title": thing.title,
        "status": thing.status,
        "counts": dict(thing.counts),
        "loose_conductors": thing.loose,
        "claims": [
            {
                "about": one.claim.about,
                "claim": one.claim.text,
                "status": one.status,
                "why": one.why,
                "record": one.row.record if one.row is not None else None,
                "event": one.row.n if one.row is not None else None,
                "at": one.row.at if one.row is not None else None,
            }
            for one in thing.states
        ],
    }
