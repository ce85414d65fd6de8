"""The fewest human causes that make a measured map out of the designed one.

    explanation = explain(design, measured)
    for finding in explanation.findings:
        print(finding.sentence)

The search is a guess; the check is not. The causes are run forward through the design, and every
tested pair is compared. What no cause can make (a reading that contradicts other readings) is
listed as unexplained, and nothing else ever is: an explanation that does not reproduce the map is
not returned.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import msgspec

from bench.diagnose.explain.causes import (
    Bridged,
    Cause,
    HighResistance,
    JoinCause,
    Open,
    StrayJoin,
    bits,
)
from bench.diagnose.explain.dead_parts import adrift, together
from bench.diagnose.explain.forward import Difference, Landing, labels, land
from bench.diagnose.explain.pin_map import Design, Index, Measured, Pin
from bench.diagnose.explain.plug_causes import Plugs
from bench.diagnose.explain.seen import Seen, gather
from bench.diagnose.explain.sentences import pins_of, sentence

_NEARLY = 8.0
"""Bits more that another explanation may take to be shown: it is then some hundred times less likely."""
_OTHERS = 2
"""How many other explanations are shown at most."""
_RIVALS = 12
"""How many of those that were weighed are run forward to see whether they reproduce the map."""


class Finding(msgspec.Struct, frozen=True):
    """One cause: the pins that it accounts for, what to do at the rack, and its cost in bits."""

    cause: Cause
    pins: tuple[Pin, ...]
    sentence: str
    bits: float


class Other(msgspec.Struct, frozen=True):
    """Another explanation of the same map.

    Attributes:
        findings: its causes.
        more: how many bits more it takes than the first; each halves its chance.
        telling: two pins that would tell it from the first, which nobody read; None where no meter can tell.
        joined: whether those conduct if it is this one.
    """

    findings: tuple[Finding, ...]
    more: float
    telling: tuple[Pin, Pin] | None
    joined: bool

    @property
    def causes(self) -> tuple[Cause, ...]:
        """The causes alone."""
        return tuple(finding.cause for finding in self.findings)


class Explanation(msgspec.Struct, frozen=True):
    """The causes found, in the order in which to look after them: plugs first.

    unexplained: tested pairs that the causes do not reproduce; each contradicts other readings of
    the same map, so it has to be measured again.
    notes: what the map leaves open, as plain sentences.
    others: explanations that do nearly as well, the likeliest first.
    """

    findings: tuple[Finding, ...]
    unexplained: tuple[Difference, ...]
    notes: tuple[str, ...]
    others: tuple[Other, ...] = ()

    @property
    def causes(self) -> tuple[Cause, ...]:
        """The causes alone."""
        return tuple(f.cause for f in self.findings)

    @property
    def bits(self) -> float:
        """The cost of all causes together."""
        return sum(f.bits for f in self.findings)


def explain(design: Design, measured: Measured) -> Explanation:
    """Explain a measured map by the fewest human causes.

    Args:
        design: the designed map.
        measured: what was found.

    Raises:
        DiagnoseError: the map names pins that the design does not have, or gives a reading for a pin that it calls not
            tested.
    """
    index = design.index
    seen = Seen(index, measured)
    search = Plugs(index, seen)
    plugs, by_wire, _ = search.run()
    causes = first = [*plugs, *by_wire.causes]
    landing = land(index, causes)
    wrong = seen.differences(labels(index, causes, landing))
    hopeless = set(seen.contradictions)
    if any((a, b) not in hopeless for a, b, _ in wrong):
        causes = _forced(index, seen, causes)
        landing = land(index, causes)
        wrong = seen.differences(labels(index, causes, landing))
    causes = together(index, causes, adrift(landing.near, landing.far))
    # which wires are said to be open together changes nothing of where they land
    causes += _high(index, measured, landing)
    findings = tuple(_finding(design, cause) for cause in causes)
    unexplained = tuple(Difference((index.pins[a], index.pins[b]), joined) for a, b, joined in wrong)
    rivals = [(cost, other) for cost, other in search.weighed if other != first]
    others = tuple(_others(design, measured, seen, causes, rivals))
    return Explanation(findings, unexplained, _notes(design, measured, unexplained), others)


def _finding(design: Design, cause: Cause) -> Finding:
    return Finding(cause, pins_of(design, cause), sentence(design, cause), bits(cause, design.index))


def _others(
    design: Design, measured: Measured, seen: Seen, causes: Sequence[Cause], rivals: list[tuple[float, list[Cause]]]
) -> Iterator[Other]:
    """Explanations that reproduce the map as well and take few bits more."""
    index = design.index
    told = frozenset(causes)
    known = {told}
    least = sum(bits(cause, index) for cause in causes)
    hopeless = set(seen.contradictions)
    mine: list[int] | None = None
    given = 0
    for cost, rival in sorted(rivals, key=lambda one: one[0])[:_RIVALS]:
        if cost > least + _NEARLY or given == _OTHERS:
            break
        if frozenset(rival) in known:
            continue
        known.add(frozenset(rival))
        theirs = labels(index, rival)
        if any((a, b) not in hopeless for a, b, _ in seen.differences(theirs)):
            continue
        mine = labels(index, causes) if mine is None else mine
        telling, joined = _telling(index, measured, mine, theirs)
        given += 1
        yield Other(tuple(_finding(design, cause) for cause in rival), cost - least, telling, joined)


def _telling(
    index: Index, measured: Measured, mine: Sequence[int], theirs: Sequence[int]
) -> tuple[tuple[Pin, Pin] | None, bool]:
    """Two pins that conduct under one of two explanations and not under the other, and that nobody read."""
    read = {frozenset(pair) for pair in (*measured.joins, *measured.parted)} if measured.crosses == "sampled" else None
    if read is None:
        return None, False
    for labelled, other, joined in ((theirs, mine, True), (mine, theirs, False)):
        far: dict[int, int] = {}
        for pin in range(index.near_pins, len(index.pins)):
            far[labelled[pin]] = pin
        for near in range(index.near_pins):
            there = far.get(labelled[near])
            if there is not None and other[near] != other[there]:
                pair = index.pins[near], index.pins[there]
                if frozenset(pair) not in read:
                    return pair, joined
    return None, False


def _forced(index: Index, seen: Seen, causes: list[Cause]) -> list[Cause]:
    """The same causes, with every wire called open that would join what was found apart.

    Only a wire with an end that was not tested can do that: it was taken as right, and other wires
    on the same pin say that it cannot be.
    """
    landing = land(index, causes)
    label = seen.label
    firm: list[tuple[int, int]] = []
    unsure: list[int] = []
    for wire, (a, b) in enumerate(zip(landing.near, landing.far, strict=True)):
        if a < 0 or b < 0 or wire in landing.cut:
            continue
        if label[a] == label[b] >= 0:
            firm.append((a, b))
        else:
            unsure.append(wire)
    for cause in causes:
        if isinstance(cause, Bridged | StrayJoin):
            pins = [index.number[p] for p in cause.pins]
            firm += [(pins[0], p) for p in pins[1:]]
    root = gather(len(index.pins), firm)
    groups: dict[int, set[int]] = {}
    for pin, top in enumerate(root):
        held = groups.setdefault(top, set())
        if label[pin] >= 0:
            held.add(label[pin])
    opened: list[Cause] = []
    for wire in unsure:
        a, b = root[landing.near[wire]], root[landing.far[wire]]
        if a == b:
            continue
        clash = (
            any((g, h) in seen.apart for g in groups[a] for h in groups[b])
            if seen.sampled
            else len(groups[a] | groups[b]) > 1
        )
        if clash:
            opened.append(Open(index.wires[wire].name))
            continue
        groups[a] |= groups.pop(b)
        root = [a if top == b else top for top in root]
    joins = [c for c in causes if isinstance(c, JoinCause)]
    return [*(c for c in causes if not isinstance(c, JoinCause)), *opened, *joins]


def _high(index: Index, measured: Measured, landing: Landing) -> list[Cause]:
    """Wires that conduct but read above their limit; as one cause when a connector has most of them."""
    if not measured.resistances:
        return []
    high: list[int] = []
    known: dict[int, list[int]] = {}
    for wire, (a, b) in enumerate(zip(landing.near, landing.far, strict=True)):
        conductor = index.wires[wire]
        limit = measured.limits.get(conductor.name, measured.limit)
        if a < 0 or b < 0 or wire in landing.cut or limit is None:
            continue
        ohms = measured.resistance(index.pins[a], index.pins[b])
        if ohms is None:
            continue
        known.setdefault(index.home[landing.far_contact[wire]], []).append(wire)
        if ohms > limit:
            high.append(wire)
    found: list[Cause] = []
    for wires in known.values():
        bad = [w for w in wires if w in set(high)]
        names = tuple(index.wires[w].name for w in bad)
        if len(bad) >= 3 and 2 * len(bad) > len(wires):
            found.append(HighResistance(names))
        else:
            found += [HighResistance((name,)) for name in names]
    return found


def _notes(design: Design, measured: Measured, unexplained: tuple[Difference, ...]) -> tuple[str, ...]:
    index = design.index
    notes = []
    if measured.not_tested:
        count = len(measured.not_tested)
        notes.append(f"{count} pin{'s were' if count > 1 else ' was'} not tested: neither joined nor open.")
    if measured.crosses == "sampled":
        near = index.near_pins
        of = near * (len(index.pins) - near)
        tried = len(measured.joins) + len(measured.parted)
        notes.append(
            f"Crosses were only sampled: {tried} of {of} pairs were tried. A wire called open may "
            "be landed where nobody looked, and joins may be missing."
        )
    if unexplained:
        notes.append(
            f"{len(unexplained)} reading{'s contradict' if len(unexplained) > 1 else ' contradicts'} "
            "other readings of the same pins. Measure them again: a contact may be loose, or a "
            "resistance near the limit between joined and open."
        )
    return tuple(notes)
