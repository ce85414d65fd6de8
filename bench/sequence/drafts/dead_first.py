"""Puts the proof that a plant is dead into a draft for a dead plant, where that plant has had power before.

As long as nothing of a plant was ever fed since it was taken apart, a lock and a word are what there is. From the first
power on (:func:`bench.job.asfound.had_power` tells from when) a typed word proves nothing: the same points are read as
before first power, between two proofs of the meter, and nothing of the draft is asked for where one is not dead.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import msgspec

from bench.plant.model import Plant
from bench.plant.things import Cable, Inlet
from bench.sequence.drafts.parts import Beside, Draft, Part, unique
from bench.sequence.drafts.power_parts import reached
from bench.sequence.drafts.proved_dead import (
    between_proofs,
    fed_readings,
    point_readings,
    stands_on,
    way_readings,
)
from bench.sequence.file import Do, Each, Hold, Measure, Seek, Step, Wait

PROVED: Final = "Every point read above was dead between two proofs of the meter."
"""What the hold point of such a draft says: it tells one from a draft of before."""
_GUARDED = Do | Measure | Seek | Hold | Wait


def dead_first(plant: Plant, of: str, made: Draft, cables: Sequence[Cable] = ()) -> Draft:
    """The same draft, with the plant proved dead before its hold point, and nothing asked for where it is not.

    A draft whose hold point stands on readings already is left as it is; so is one without a point to read.

    Args:
        plant: the plant.
        of: what the draft is about; '' for the whole plant.
        made: the draft.
        cables: that it handles; by default those of what it is about.
    """
    where = next((n for n, part in enumerate(made.parts) if isinstance(part, Hold) and part.word == "DEAD"), None)
    if where is None:
        return made
    hold = made.parts[where]
    assert isinstance(hold, Hold)
    if any(isinstance(part, Measure) for part in made.parts[:where]):
        return made
    proof, names = _proof(plant, of, cables)
    if not names:
        return made
    # a conductor that fails at an inlet says nothing of the others
    apart = [name for name in names if name not in plant.inlets and name not in plant.shelves]
    after = [_standing(part, apart or names) for part in made.parts[where + 1 :]]
    held = msgspec.structs.replace(hold, text=f"{hold.text} {PROVED}", proven=unique([*hold.proven, *names]))
    stop = Do(
        title="Not dead: stop here",
        text="Something above was not dead, or was not read, or the meter did not show its source. Touch nothing more. "
        "Tell the person in charge, find what feeds it, and begin this walk anew: give it up now.",
        unless_proven=held.proven,
    )
    return Draft(made.about, [*made.parts[:where], *proof, held, stop, *after])


def _proof(plant: Plant, of: str, cables: Sequence[Cable]) -> tuple[list[Part], list[str]]:
    """The readings where hands will be, and the names that they are about."""
    why = "This plant has had power."
    if not of and not cables:
        inlets = [inlet for shelf in plant.shelves.values() for inlet in reached(plant, shelf)]
        names = unique(plant.supply_path(inlet.shelf, inlet.feed).supply for inlet in inlets)
        return (between_proofs(plant, point_readings(plant, names, [])), names) if names else ([], [])
    cables = cables or plant.cables_of(of)
    shelves = _shelves(plant, of, cables)
    inlets = [inlet for name in shelves for inlet in reached(plant, plant.shelves[name])]
    # wires that carry the feed itself: all of their ways is handled; at other shelves hands are at signal wires only
    power = [cable for cable in cables if _feeds(plant, cable)]
    handled = (_behind(plant, power) or inlets) if power else []
    beside = [name for name in shelves if not any(inlet.shelf == name for inlet in handled)]
    fed = [inlet.name for inlet in inlets if inlet.shelf in beside]
    readings = [*way_readings(plant, handled), *fed_readings(plant, beside)]
    names = [*stands_on(plant, handled), *fed]
    return (between_proofs(plant, readings, why), names) if names else ([], [])


def _shelves(plant: Plant, of: str, cables: Sequence[Cable]) -> list[str]:
    """The shelves that hands will be at: of the scope itself, and where its cables end."""
    found = [of] if of in plant.shelves else []
    if of in plant.bays:
        found = [shelf.name for shelf in plant.shelves_of(of)]
    for cable in cables:
        for owner in (*cable.near, *cable.far):
            if owner in plant.connectors:
                found.append(plant.connectors[owner].shelf)
            terminal = plant.terminals.get(owner)
            if terminal is not None and terminal.kind == "inlet":
                found.append(plant.inlets[terminal.owner].shelf)
    halves = {half: shelf.name for shelf in plant.shelves.values() for half in shelf.halves}
    whole = [name if reached(plant, plant.shelves[name]) else halves.get(name, name) for name in found if name]
    return unique(name for name in whole if plant.shelves[name].inlets)


def _feeds(plant: Plant, cable: Cable) -> bool:
    ends = [end for one in cable.conductors if one.landed for end in (one.near_end, one.far_end)]
    return any(end.kind != "pin" for end in ends)


def _behind(plant: Plant, cables: Sequence[Cable]) -> list[Inlet]:
    """The inlets that are fed through some cables."""
    names = {cable.name for cable in cables}
    found = []
    for shelf in plant.shelves.values():
        for inlet in reached(plant, shelf):
            path = plant.supply_path(inlet.shelf, inlet.feed)
            ids = [edge.id for edge in (*path.out, *path.back) if edge.kind == "conductor"]
            if names & {plant.conductors[one].cable for one in ids}:
                found.append(inlet)
    return found


def _standing(part: Part, names: list[str]) -> Part:
    """The same part, asked for only while what was read dead counts as passed."""
    if isinstance(part, Beside):
        step = _standing(part.step, names)
        assert not isinstance(step, str | Beside)
        return Beside(step, part.comments)
    if isinstance(part, Each):
        steps: list[Step] = []
        for one in part.steps:
            standing = _standing(one, names)
            assert not isinstance(standing, str | Beside)
            steps.append(standing)
        return msgspec.structs.replace(part, steps=steps)
    if isinstance(part, _GUARDED):
        return msgspec.structs.replace(part, proven=unique([*part.proven, *names]))
    return part
