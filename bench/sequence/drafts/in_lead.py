"""Puts the bench's ammeter into the lead of its supply, wherever a draft brings something up.

A supply that is read by eye shows whole tens of milliamps, as its leaflet has it: what a shelf draws, and whether
anything leaks, is read with a meter in its lead.
"""

from __future__ import annotations

from msgspec.structs import replace

from bench.sequence.drafts.parts import Beside, CannotDraft, Draft, Part
from bench.sequence.file import Each, Energise, Step


def in_lead(made: Draft) -> Draft:
    """The same draft with the ammeter in the supply's lead.

    Args:
        made: the draft.

    Raises:
        CannotDraft: it brings nothing up.
    """
    parts = [_with(part) for part in made.parts]
    if parts == list(made.parts):
        raise CannotDraft("an ammeter stands in a supply's lead, and this brings nothing up")
    return Draft(made.about, parts)


def _with(part: Part) -> Part:
    match part:
        case Beside(step=step):
            return replace(part, step=_step(step))
        case str():
            return part
    return _step(part)


def _step(step: Step) -> Step:
    if isinstance(step, Energise):
        return replace(step, ammeter=True)
    if isinstance(step, Each):
        return replace(step, steps=[_step(one) for one in step.steps])
    return step
