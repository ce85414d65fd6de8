"""What a survey believes of people and cables: how often a sign is misread, what a run has of slack, what an act takes.

All figures here are assumptions (common practice, no source): nobody has counted them on enough piles. So each feature
keeps a floor: no single find can speak against a pair with more than that.
"""

from __future__ import annotations

from typing import Final

import msgspec


class Rates(msgspec.Struct, frozen=True, kw_only=True):
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


class Costs(msgspec.Struct, frozen=True, kw_only=True):
    """Minutes that acts take; assumptions too."""

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


SURE: Final = 0.99
"""A chance from which on something is called."""
