"""How a task is done: the sequence that is drafted for it, how long it takes, and what it needs."""

from __future__ import annotations

from typing import Final

import msgspec

from bench.job.readiness import Readiness, Task
from bench.plant.model import Plant, UnknownName
from bench.plant.things import Cable
from bench.say.lists import some
from bench.sequence.draft import KINDS, CannotDraft
from bench.sequence.drafts.conductors import is_power
from bench.sequence.drafts.dead_first import dead_first
from bench.sequence.file import SequenceFile
from bench.sequence.pace import READING, seconds_of
from bench.sequence.unroll import unroll

NEEDS: Final = {
    "ohms": "an ohmmeter", "high-ohms": "a second ohmmeter", "insulation": "an insulation tester",
    "volts": "a voltmeter", "amps": "an ammeter",
    "clamp": "a clamp meter", "supply": "a bench supply", "load": "an electronic load", "switch": "a relay matrix",
    "thermometer": "a thermometer",
}  # fmt: skip
"""What a role is called where no bench is chosen yet."""


NOTHING_YET: Final = (
    "The plant file has nothing yet that a reading could prove: no cable that lands at both ends, no bond, no shelf "
    "with an inlet. Note what hangs and what is free with 'proveout survey JOB'; 'proveout survey JOB --claim' puts "
    "what is sure into the plant file. Or write it there yourself; 'proveout identify CABLE' names the wires of a "
    "cable that was cut."
)
"""What to do where a job has just begun."""


class NextWalk(msgspec.Struct, frozen=True):
    """A walk that does a task, or a part of it.

    Attributes:
        kind: what to draft.
        of: about what; empty for the whole plant.
        scope: the option that names it: ``cable``, ``shelf``; empty for the whole plant.
        minutes: about how long it takes.
        roles: what the bench must be able to do.
    """

    kind: str
    of: str
    scope: str
    minutes: int
    roles: tuple[str, ...]

    @property
    def command(self) -> str:
        """How it is drafted in the shell."""
        scope = f" --{self.scope} {self.of}" if self.scope else ""
        return f"proveout draft PLANT {self.kind}{scope}"

    @property
    def file(self) -> str:
        """The name of its file."""
        return f"{'-'.join(part for part in (self.kind, self.of) if part)}.yaml"

    @property
    def text(self) -> str:
        """In words: ``draft the continuity of WGA and walk it, about 12 minutes, needs an ohmmeter``."""
        what = _called(self.kind, self.scope, self.of)
        needs = some([NEEDS.get(role, role) for role in self.roles], 4)
        return f"draft {what} and walk it, about {self.minutes} min{f', needs {needs}' if needs else ''}"


def _called(kind: str, scope: str, of: str) -> str:
    name = _NAMES.get(kind, kind.replace("-", " "))
    # a cable's name is one by itself; a shelf's or a bay's may be a figure
    return f"the {name} of {of if scope == 'cable' else f'{scope} {of}'}" if of else f"the {name}"


_NAMES: Final = {"earth": "proof of one path to earth", "idle-current": "idle current", "isolation": "isolation proof"}


def how_of(task: Task) -> str:
    """Which walk a task begins with, in words, and where readings are most of it how long it takes; empty for none."""
    walks = kinds_of(task.kind, task.about, frozenset(one.claim.kind for one in task.claims))
    if not walks:
        return ""
    kind, scope, of = walks[0]
    minutes = f", about {max(1, round(task.effort * READING / 60.0))} min" if task.kind in ("cable", "earth") else ""
    return f"{_called(kind, scope, of)}{minutes}"


def kinds_of(kind: str, about: str, claims: frozenset[str]) -> list[tuple[str, str, str]]:
    """The drafts that do a task: what to draft, the option that names what it is about, and that.

    Args:
        kind: of the task.
        about: what it is about.
        claims: the kinds of claim that it is to prove.
    """
    if kind == "cable":
        found = [("continuity", "cable", about)] if "joined" in claims else []
        return [*found, ("isolation", "cable", about)] if claims & {"apart", "insulated"} else found
    if kind == "earth":
        return [("earth", "", "")]
    return {
        "inlets": [("first-power", "shelf", about)],
        "polarity": [("polarity", "shelf", about)],
        "idle": [("idle-current", "shelf", about)],
    }.get(kind, [])


def walks_of(plant: Plant, task: Task, *, powered: bool = False) -> list[NextWalk]:
    """The walks that do a task, as far as they can be drafted.

    Args:
        plant: as it is now.
        task: what to do.
        powered: whether the plant has had power: then they prove it dead first, which wants a voltmeter too.
    """
    found = []
    for kind, scope, of in kinds_of(task.kind, task.about, frozenset(one.claim.kind for one in task.claims)):
        try:
            made = KINDS[kind](plant, of)
            made = dead_first(plant, of, made) if powered else made
            plan = unroll(SequenceFile(sequence=kind, plant="plant.yaml", steps=made.steps), plant)
        except (CannotDraft, UnknownName, ValueError):
            continue
        found.append(NextWalk(kind, of, scope, max(1, round(seconds_of(plan.steps) / 60.0)), plan.roles))
    return found


MOST_MINUTES: Final = 75.0
"""Minutes of readings that are drafted into one walk: with what stands around them it fits into an evening."""
_READINGS: Final = 2.5
"""About how many readings a wire takes: itself, and its pin against those beside it."""


def in_one_walk(plant: Plant, ready: Readiness, task: Task) -> tuple[str, ...]:
    """The cables that are due and that one walk proves together, the one of a task first named among them.

    What a walk begins and ends with (looking at breakers, proving the bench, proving a plant dead that has had power)
    takes as long as a cable or two. Cables that are read with other wires to the meter are left for a walk of theirs.

    Args:
        plant: as it is now.
        ready: what is proven and what is not.
        task: the one that is due.

    Returns:
        Their names, from bay to bay; nothing where the task is not a cable's continuity.
    """
    if not _is_continuity(task):
        return ()
    mine = plant.cables[task.about]
    found, minutes = [mine], _minutes(mine)
    for other in ready.tasks:
        if other.about == task.about or not _is_continuity(other):
            continue
        cable = plant.cables[other.about]
        minutes += _minutes(cable)
        if is_power(plant, cable) == is_power(plant, mine) and minutes <= MOST_MINUTES:
            found.append(cable)
    return tuple(cable.name for cable in sorted(found, key=_bays))


def _is_continuity(task: Task) -> bool:
    kinds = kinds_of(task.kind, task.about, frozenset(one.claim.kind for one in task.claims))
    return bool(kinds) and kinds[0][0] == "continuity"


def _minutes(cable: Cable) -> float:
    return READING * _READINGS * len(cable.conductors) / 60.0


def _bays(cable: Cable) -> tuple[str, ...]:
    return tuple(end.bay for wire in cable.conductors[:1] for end in (wire.near_end, wire.far_end))


def next_walk(plant: Plant, ready: Readiness, *, powered: bool = False) -> tuple[Task, NextWalk] | None:
    """The first task that a walk can be drafted for, with it; None where none is left.

    Args:
        plant: as it is now.
        ready: what is proven and what is not.
        powered: whether the plant has had power.
    """
    for task in ready.tasks:
        walks = walks_of(plant, task, powered=powered)
        if not walks:
            continue
        if walks[0].kind == "first-power":
            before = _asked_by_its_gates(plant, ready, task.about, powered)
            if before is not None:
                return before
        return task, walks[0]
    return None


def _asked_by_its_gates(plant: Plant, ready: Readiness, shelf: str, powered: bool) -> tuple[Task, NextWalk] | None:
    """What the gates of a first power would shut for, and a walk of its own proves: it comes first, since who stands
    before a gate with a supply bolted on has come for nothing."""
    wanted = {name for gate in ready.gates if gate.shelf == shelf for name in gate.blockers}
    for task in ready.tasks:
        if (task.kind, task.about) in wanted and task.kind in ("earth", "cable"):
            walks = walks_of(plant, task, powered=powered)
            if walks:
                return task, walks[0]
    return None
