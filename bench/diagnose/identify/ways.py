"""Which wire is which: the ways to name the conductors of an unlabelled cable, and which to take.

    choices = ways(conductors, flags, AtHand(drawer("E96", 0.01)), common=True)
    script = choices[0].plan.script()

With tags and a known common every end is touched once. With tags and no common they meet in a star.
Without tags it takes two trips with clips: the chain, best with a shorting bar, or groups by size
where nobody can keep count of who was with whom. Every plan has `cards()` for both ends, `effort`
(readings beside the naive counts and the bound log2 n!), and `script()`, the plan carried out.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.identify.chain import ChainPlan, plan_chain
from bench.diagnose.identify.naming import (
    Ambiguous,
    Colours,
    Effort,
    Identification,
    Shorted,
    Strange,
    check_ends,
)
from bench.diagnose.identify.sizes import SizesPlan, plan_sizes
from bench.diagnose.identify.star import StarPlan, plan_star
from bench.diagnose.identify.tag import TagPlan, plan_tags
from bench.diagnose.identify.tags import Loop, Meter, Tag
from bench.diagnose.script import COMMON

Plan = TagPlan | StarPlan | ChainPlan | SizesPlan


class Way(msgspec.Struct, frozen=True):
    """One way to name the conductors: its plan, how many trips it takes, and when to take it."""

    method: str
    plan: Plan
    trips: int
    why: str


class AtHand(msgspec.Struct, frozen=True):
    """What there is to tell wires apart with, besides clips.

    Attributes:
        tags: what is in the drawers, none for no tags.
        bar: whether there is a shorting bar.
        meter: how far it may be off.
    """

    tags: Sequence[Tag] = ()
    bar: bool = True
    meter: Meter = Meter()


CLIPS: Final = AtHand()
"""Clips and a bar."""


def ways(
    conductors: Sequence[str],
    flags: Sequence[str],
    at_hand: AtHand = CLIPS,
    *,
    common: bool = False,
    colours: Colours | None = None,
    loop: Loop | None = None,
    star_loop: Loop | None = None,
    trust_colours: bool = False,
    direct: str | None = None,
) -> tuple[Way, ...]:
    """All ways that are open with what is at hand, the best first.

    Args:
        conductors: their names.
        flags: the loose ends.
        at_hand: the tags, the bar and the meter.
        common: whether there is a common known at both ends (a shield, the frame).
        colours: as far as they are known.
        loop: between which ohms one conductor with its return lies.
        star_loop: between which ohms one conductor alone lies.
        trust_colours: name an end with a colour of its own without touching it.
        direct: the conductor to leave without a tag in a star.

    Raises:
        DiagnoseError: the ends do not match, or no way is left.
    """
    check_ends(conductors, flags, 1)
    tags, bar, meter = at_hand.tags, at_hand.bar, at_hand.meter
    loop = loop or Loop()
    found: list[Way] = []

    def add(method: str, plan: Plan, trips: int, why: str) -> None:
        found.append(Way(method, plan, trips, why))

    told: list[str] = []
    if tags and common:
        try:
            plan = plan_tags(conductors, flags, tags, loop, meter, colours, trust_colours)
            add("tags", plan, len(plan.batches), "one touch for each end")
        except DiagnoseError as error:
            told.append(str(error))
    if tags:
        try:
            star = plan_star(conductors, flags, tags, star_loop or loop, meter, colours, direct)
            add("star", star, len(star.batches), "needs no common; about two touches for each end")
        except DiagnoseError as error:
            told.append(str(error))
    try:
        chain = plan_chain(conductors, flags, bar, colours)
        why = "clips on pairs, few touches with a bar" if bar else "clips on pairs, many touches"
        add("chain", chain, 2, why)
    except DiagnoseError as error:
        told.append(str(error))
    try:
        sizes = plan_sizes(conductors, flags, COMMON if common else None, bar)
        add("sizes", sizes, 2, "needs no memory of who was with whom; names nothing after a fault")
    except DiagnoseError as error:
        told.append(str(error))
    if not found:
        raise DiagnoseError("; ".join(told))
    # Without a bar, sizes take fewer touches than the chain in all but small cables.
    without_tags = [w for w in found if w.method in ("chain", "sizes")]
    without_tags.sort(key=lambda w: w.plan.effort.touches)
    return (*(w for w in found if w.method in ("tags", "star")), *without_tags)


__all__ = [
    "Ambiguous",
    "ChainPlan",
    "Colours",
    "Effort",
    "Identification",
    "Plan",
    "Shorted",
    "SizesPlan",
    "StarPlan",
    "Strange",
    "TagPlan",
    "Way",
    "plan_chain",
    "plan_sizes",
    "plan_star",
    "plan_tags",
    "ways",
]
