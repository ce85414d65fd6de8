"""A sequence unrolled over a plant: single steps in order, each complete in itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from bench.roles import ROLE_OF, Role
from bench.sequence.file import NOWHERE, Do, Energise, Measure, Prove, Seek, SequenceFile, Set, Single, Zero

Kind = Literal[
    "caution", "hold", "do", "ask", "look", "gate", "measure", "zero", "prove", "wait", "set", "energise", "seek"
]


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that the operator does or the bench measures.

    Attributes:
        index: its place in the plan, from 0.
        key: a name that stays the same while the sequence and the plant do: ``7.1:W101.12``.
        kind: the kind of step.
        title: what it is, in a few words.
        text: what to do, in full; may be empty where the probes say it all.
        section: the heading that it stands under.
        source: the step of the file with its names replaced.
        subject: the plant object that its verdict is about; may be empty.
        touches: plant objects that it handles.
        seconds: how long a wait lasts; 0 for other steps.
    """

    index: int
    key: str
    kind: Kind
    title: str
    text: str
    section: str
    source: Single
    subject: str
    touches: tuple[str, ...] = ()
    seconds: float = 0.0

    @property
    def role(self) -> Role | None:
        """The role that the step needs from the bench, if any."""
        if isinstance(self.source, Seek) and self.source.by_tester:
            return None
        if isinstance(self.source, Measure | Prove | Seek):
            return ROLE_OF[self.source.read]
        if isinstance(self.source, Zero):
            return "ohms"
        return "supply" if isinstance(self.source, Set | Energise) else None

    @property
    def roles(self) -> tuple[Role, ...]:
        """All roles that the step needs: its own, and that of an ammeter in the supply's lead."""
        mine = (self.role,) if self.role is not None else ()
        return (*mine, "amps") if isinstance(self.source, Energise) and self.source.ammeter else mine

    @property
    def probes(self) -> tuple[str, str] | None:
        """Where the probes go, red first; None where no probe is placed on the plant."""
        if isinstance(self.source, Do):
            return self.source.beeps
        return (
            self.source.between if isinstance(self.source, Measure | Prove) and self.source.between != NOWHERE else None
        )

    @property
    def pair(self) -> tuple[str, str] | None:
        """The two places that the reading is about; None where it is about none, or about many joined together."""
        return None if isinstance(self.source, Measure | Do) and self.source.join else self.probes

    @property
    def reads(self) -> bool:
        """Whether the step takes a reading."""
        return self.kind in ("measure", "zero", "prove")


@dataclass(frozen=True, slots=True)
class Plan:
    """All steps of a sequence over a plant."""

    sequence: SequenceFile
    steps: tuple[Step, ...]

    @property
    def roles(self) -> tuple[Role, ...]:
        """The roles that the bench must fill, in the order of first use."""
        used = dict.fromkeys(self.sequence.needs)
        used.update(dict.fromkeys(role for step in self.steps for role in step.roles))
        return tuple(used)
