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

from dataclasses import dataclass

from bench.diagnose.explain.causes import (
    Bridged,
    Cause,
    HighResistance,
    JoinCause,
    Open,
    StrayJoin,
    bits,
)
from bench.diagnose.explain.dead_parts import together
from bench.diagnose.explain.forward import Difference, labels, land
from bench.diagnose.explain.pin_map import Design, Index, Measured, Pin
from bench.diagnose.explain.plug_causes import Plugs
from bench.diagnose.explain.seen import Seen, gather
from bench.diagnose.explain.sentences import pins_of, sentence


@dataclass(frozen=True)
class Finding:
    """One cause: the pins that it accounts for, what to do at the rack, and its cost in bits."""

    cause: Cause
    pins: tuple[Pin, ...]
    sentence: str
    bits: float


@dataclass(frozen=True)
class Explanation:
    """The causes found, in the order in which to look after them: plugs first.

    unexplained: tested pairs that the causes do not reproduce; each contradicts other readings of
    the same map, so it has to be measured again.
    notes: what the map leaves open, as plain sentences.
    """

    findings: tuple[Finding, ...]
    unexplained: tuple[Difference, ...]
    notes: tuple[str, ...]

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

    Raises DiagnoseError when the map names pins that the design does not have, or gives a reading
    for a pin that it calls not tested.
    """
    index = design.index
    seen = Seen(index, measured)
    plugs, wirewise, _ = Plugs(index, seen).run()
    causes = [*plugs, *wirewise.causes]
    wrong = seen.differences(labels(index, causes))
    hopeless = set(seen.contradictions)
    if any((a, b) not in hopeless for a, b, _ in wrong):
        causes = _forced(index, seen, causes)
        wrong = seen.differences(labels(index, causes))
    causes = together(index, causes)
    causes += _high(index, measured, causes)
    findings = tuple(Finding(c, pins_of(design, c), sentence(design, c), bits(c, index)) for c in causes)
    unexplained = tuple(Difference((index.pins[a], index.pins[b]), joined) for a, b, joined in wrong)
    return Explanation(findings, unexplained, _notes(design, measured, unexplained))


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


def _high(index: Index, measured: Measured, causes: list[Cause]) -> list[Cause]:
    """Wires that conduct but read above their limit; as one cause when a connector has most of them."""
    if not measured.resistances:
        return []
    landing = land(index, causes)
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
