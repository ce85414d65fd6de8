"""A sequence unrolled over a plant: single steps in order, each complete in itself."""

from __future__ import annotations

from typing import Literal, cast

import msgspec

from bench.once import once
from bench.roles import OHMMETERS, Role
from bench.sequence.file import SequenceFile, Single

Kind = Literal[
    "caution",
    "hold",
    "do",
    "ask",
    "look",
    "gate",
    "measure",
    "zero",
    "prove",
    "wait",
    "set",
    "energise",
    "seek",
    "listen",
    "send",
]


def kind_of(source: Single) -> Kind:
    """The kind of a step of the file: its word there."""
    return cast(Kind, source.__struct_config__.tag)


class Step(msgspec.Struct, frozen=True):
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
        return self.source.role

    @property
    def roles(self) -> tuple[Role, ...]:
        """All roles that the step needs: its own, and that of an ammeter in the supply's lead."""
        return self.source.roles

    @property
    def probes(self) -> tuple[str, str] | None:
        """Where the probes go, red first; None where no probe is placed on the plant."""
        return self.source.probes

    @property
    def pair(self) -> tuple[str, str] | None:
        """The two places that the reading is about; None where it is about none, or about many joined together."""
        return None if self.source.join else self.source.probes

    @property
    def reads(self) -> bool:
        """Whether the step takes a reading."""
        return self.kind in ("measure", "zero", "prove")

    @property
    def judged(self) -> bool:
        """Whether a verdict comes of the step: it reads, brings a load up, searches, listens. Only these count."""
        return self.reads or self.kind in ("energise", "seek", "listen")


class Plan(msgspec.Struct, frozen=True, dict=True):
    """All steps of a sequence over a plant.

    Attributes:
        sequence: the file.
        steps: in order.
        entries: of each step the step of the file that it came from, as it stands there.
    """

    sequence: SequenceFile
    steps: tuple[Step, ...]
    entries: tuple[Single, ...] = ()

    @once
    def guards(self) -> tuple[int | None, ...]:
        """Of each step and of the end, the hold point that guards it: the last one before it."""
        found: list[int | None] = [None]
        for step in self.steps:
            found.append(step.index if step.kind == "hold" else found[-1])
        return tuple(found)

    @once
    def plain(self) -> tuple[bool, ...]:
        """Of each step whether it only reads: it stands on nothing but the hold point before it."""
        return tuple(
            step.reads and not (one.live or one.lift or one.proven or one.unless_proven)
            for step in self.steps
            for one in (step.source,)
        )

    @once
    def both_ohmmeters(self) -> bool:
        """Whether it reads with two ohmmeters."""
        return set(OHMMETERS) <= set(self.roles)

    @property
    def roles(self) -> tuple[Role, ...]:
        """The roles that the bench must fill, in the order of first use."""
        used = dict.fromkeys(self.sequence.needs)
        used.update(dict.fromkeys(role for step in self.steps for role in step.roles))
        return tuple(used)
