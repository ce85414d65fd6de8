"""What a survey believes of people and cables: how often a sign is misread, what a run has of slack, what an act takes.

All figures here are assumptions (common practice, no source): nobody has counted them on enough piles. So each feature
keeps a floor: no single find can speak against a pair with more than that.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import msgspec

from bench.files import Inconsistent, load

RATES: Final = "rates.yaml"
"""The file of a job that says how finds come about there; without it the figures below hold."""


class Rates(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """How finds come about.

    Attributes:
        without_mate: share of ends whose mate is not in the pile.
        leaves: of the ends without a mate, the share whose cable leaves the building.
        misread: chance that a sign of a label is read as another one.
        slipped: chance that a sign of a label is left out or added.
        miscounted: chance that a number of conductors or contacts is off.
        misnoted: chance that a kind, a colour or a tray is noted wrongly.
        neighbour: chance that an end hangs in the bay beside its own, on either side together.
        marks: relative standard deviation of a length by metre marks.
        tape: the same by tape.
        eye: the same by eye.
        slack: mean metres of slack in a run, gamma-distributed with shape 2.
        detour: share of cables whose length the bays do not tell: they run another way.
        listed: share of cables that the documents have a line of.
        list_wrong: chance that a line has a wrong bay, or a wrong number of conductors.
        stranger: metres that a cable that leaves the building is longer, evenly up to this.
        twins: chance that an end has a twin beside it whose name is the neighbouring one, for a missing mate.
        junk: share of all observations that mean nothing at all.
        branched: chance that an end belongs with two others though nobody noted it.
        placed: share of the loose ends whose place is among the free ones.
        untrue: chance that an act gives a wrong answer.
        pull_untrue: the same of a gentle pull.
    """

    without_mate: float = 0.12
    leaves: float = 0.4
    misread: float = 0.06
    slipped: float = 0.01
    miscounted: float = 0.1
    misnoted: float = 0.03
    neighbour: float = 0.15
    marks: float = 0.02
    tape: float = 0.04
    eye: float = 0.2
    slack: float = 0.9
    detour: float = 0.05
    listed: float = 0.75
    list_wrong: float = 0.06
    stranger: float = 60.0
    twins: float = 0.1
    junk: float = 0.02
    branched: float = 0.002
    placed: float = 0.9
    untrue: float = 0.002
    pull_untrue: float = 0.1

    def __post_init__(self) -> None:
        for name in self.__struct_fields__:
            value = getattr(self, name)
            if name in ("slack", "stranger"):
                if not 0 < value < 1000:
                    raise Inconsistent(f"{name} {value:g}", "metres above 0")
            elif not 0 < value < 1:
                raise Inconsistent(f"{name.replace('_', '-')} {value:g}", "a share above 0 and below 1")


class Costs(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """Minutes that acts take; assumptions too.

    Attributes:
        walk: to set out for another bay.
        per_bay: for each bay on the way.
        climb: up a ladder and down.
        clip: to clip a lead on one conductor.
        touch: to touch one conductor and read.
        tape: to measure a length along the run.
        reread: to read a label once more, by better light.
        count: to count conductors.
        tag: to put a tag on one conductor.
        pull: to pull gently while somebody feels at the other end.
        pins: to read a few pins of a place.
    """

    walk: float = 0.6
    per_bay: float = 0.15
    climb: float = 1.5
    clip: float = 0.5
    touch: float = 0.7
    tape: float = 4.0
    reread: float = 1.5
    count: float = 2.0
    tag: float = 1.0
    pull: float = 1.0
    pins: float = 3.0

    def __post_init__(self) -> None:
        for name in self.__struct_fields__:
            value = getattr(self, name)
            if not 0 < value < 1000:
                raise Inconsistent(f"{name.replace('_', '-')} {value:g}", "minutes above 0")


class RatesFile(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """How the finds of a job's survey come about, and what acts take there.

    Attributes:
        rates: whose they are, in words: ``Gannet Head, noted by torch light``.
        finds: how finds come about.
        minutes: what acts take.
    """

    rates: str
    finds: Rates = Rates()
    minutes: Costs = Costs()


def rates_of(folder: Path) -> RatesFile:
    """What a job's folder says of its finds; the usual figures where it says nothing.

    Args:
        folder: the job's.

    Raises:
        BadFile: its file is none.
    """
    path = folder / RATES
    return load(path, RatesFile)[0] if path.is_file() else RatesFile(rates="")


SURE: Final = 0.99
"""A chance from which on something is called."""
