"""Readings side by side: one lead stays where it was, and the other one moves.

It saves a movement, and it shows a lead that stood beside its place: where the other one is to go to that very place,
both meet there.
"""

from __future__ import annotations

import msgspec

from bench.sequence.file import Measure
from bench.sequence.plan import Step
from bench.walk.standing import State


class Stays(msgspec.Struct, frozen=True):
    """A lead that stays where it was for the reading before.

    Attributes:
        colour: of the lead.
        place: where it stays.
        before: the reading before.
    """

    colour: str
    place: str
    before: Step

    @property
    def words(self) -> str:
        """What is told with the reading."""
        return f"The {self.colour} lead stays on {self.place}."

    @property
    def if_beside(self) -> str:
        """What somebody looks at where two places conduct that should be apart."""
        return (
            f"Is the {self.colour} lead really on {self.place}? If it stood beside it, put it right and go back with b:"
            f" '{self.before.title}' was read with it too."
        )


def stays(state: State, step: Step) -> Stays | None:
    """The lead that stays for a reading of resistance; None where both move.

    Args:
        state: where the walk stands.
        step: the reading that is asked for.
    """
    last = next((one for one in state.kept.history or () if one.reading is not None), None)
    if last is None or state.setting is None or not _two_leads(step):
        return None
    before = state.setting.step_of(last)
    if not _two_leads(before) or before.role != step.role or before.source.wires != step.source.wires:
        return None
    assert before.probes is not None and step.probes is not None
    same = [was == now for was, now in zip(before.probes, step.probes, strict=True)]
    if sum(same) != 1:
        return None
    place = same.index(True)
    return Stays(("red", "black")[place], step.probes[place], before)


def _two_leads(step: Step) -> bool:
    source = step.source
    return isinstance(source, Measure) and source.read == "resistance" and not source.join and step.probes is not None
