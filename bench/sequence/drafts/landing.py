"""Draft of the proof that a cable ends where somebody believes: a few conductors that tell, then all of them.

Another cable of the same kind would fit the same two places. A few conductors, spread over the cable, show at once
whether it is this one: where they do not read through, nobody goes on to the other forty. A landing counts as proven by
readings alone.
"""

from __future__ import annotations

from bench.plant.model import Plant
from bench.plant.things import Cable, Conductor
from bench.sequence.drafts.again import through_conductor
from bench.sequence.drafts.conductors import continuity
from bench.sequence.drafts.parts import CannotDraft, Draft, Part
from bench.sequence.file import Do, Each


def landing(plant: Plant, of: str) -> Draft:
    """The proof of where one cable ends.

    Args:
        plant: the plant.
        of: the cable.

    Raises:
        CannotDraft: it is no cable, or no conductor of it is landed at both ends.
        UnknownName: nothing is called so.
    """
    cable = plant.find(of) if of else None
    if not isinstance(cable, Cable):
        raise CannotDraft("landing wants a cable: name one with --cable")
    whole = continuity(plant, of)
    few = telling([conductor for conductor in cable.conductors if conductor.landed])
    names = {conductor.name for conductor in few}
    first = Each(
        over="conductors",
        only=[conductor.name for conductor in few],
        title=f"A few conductors of {of} that tell it from another cable",
        steps=[through_conductor()],
    )
    stop = Do(
        title="Do they all read through?",
        text="If none of them does, another cable is plugged in here or there: stop, and say so in the survey. If some "
        f"do, the cable is {of} with a fault or with wires in another order: go on, and explain the record afterwards.",
    )
    steps: list[Part] = []
    for part in whole.steps:
        if isinstance(part, Each) and part.over == "conductors" and len(names) < len(cable.conductors):
            steps += [first, stop, part]
        else:
            steps.append(part)
    return Draft(f"That {of} ends where it is believed to end: a few conductors that tell, then all.", steps)


def telling(landed: list[Conductor]) -> list[Conductor]:
    """Three conductors, from the beginning, the middle and the end: a plug that sits shifted, or turned, shows too."""
    if len(landed) <= 3:
        return landed
    return [landed[0], landed[len(landed) // 2], landed[-1]]
