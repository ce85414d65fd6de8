"""A draft of milliohms for whoever has no meter for them: with two wires a second way is found, and no bond proven.

What conducts where nothing should is seen by any ohmmeter. How well a bond conducts is not: those readings stay
undecided, and what stands on them stays unproven.
"""

from __future__ import annotations

from msgspec.structs import replace

from bench.sequence.drafts.parts import CLOSING, OPENING, CannotDraft, Draft, Part
from bench.sequence.file import Measure, Prove, Seek

_FOUR = "Four-wire clips, two on each place, on bare metal."
_TWO = "One clip on each place, on bare metal."


def two_wires(made: Draft) -> Draft:
    """The same draft for an ohmmeter with two leads.

    Args:
        made: the draft.

    Raises:
        CannotDraft: it reads nothing with four wires.
    """
    parts: list[Part] = []
    proved = False
    for part in made.parts:
        match part:
            case Prove(wires=4):
                parts += CLOSING if proved else OPENING
                proved = True
            case Measure(wires=4):
                parts.append(replace(part, wires=2))
            case Seek(wires=4):
                parts.append(replace(part, wires=2, text=part.text.replace(_FOUR, _TWO)))
            case _:
                parts.append(part)
    if not proved:
        raise CannotDraft("with two wires instead of four: this reads nothing with four")
    about = f"{made.about.replace('four-wire ', '')} With two wires: it shows a second way, and proves no bond."
    return Draft(about, parts)
