"""A plan of identification in print: the ways that are open, and the cards for both ends."""

from __future__ import annotations

from collections.abc import Sequence

from bench.diagnose.identify.case import Case, told_loop, wire_of
from bench.diagnose.identify.rig_cards import headings
from bench.diagnose.identify.ways import Way
from bench.diagnose.script import COMMON, STAR, Card, Clear, Clip, Fit
from bench.plant.model import Plant
from bench.quantity import engineering


def ways_text(case: Case, ways: Sequence[Way]) -> str:
    """The ways as a table, the best first: readings beside the naive count and the bound."""
    effort = ways[0].plan.effort
    counted = told_loop(case)
    lines = [f"{case.cable}: {len(case.conductors)} conductors to identify at the {case.side} end"]
    lines += [f"counted on: {counted}"] if counted else []
    if case.tags and case.meter is None:
        lines.append("tags are chosen by what the bench's ohmmeter can tell apart: name the bench to see them planned")
    lines.append("  way     trips  readings")
    lines += [f"  {way.method:7} {way.trips:5}  {way.plan.effort.touches:8.0f}  {way.why}" for way in ways]
    lines.append(
        f"  one by one: up to {effort.walking} readings; every pair: {effort.double_check}; no way with yes or no "
        f"alone is below {effort.bound:.0f} on average (log2 n!)"
    )
    return "\n".join(lines)


def cards_text(case: Case, way: Way, plant: Plant) -> str:
    """The cards for both ends, to be printed: what to do at each, in order, when all goes well."""
    known = "; ".join(headings(plant, case.known.values()))
    other = "; ".join(headings(plant, case.flags))
    parts = [f"{case.cable}, which wire is which, by {way.method}"]
    if case.flagged:
        tie = f"Tie a numbered flag to each wire, 1 to {len(case.flags)}, in any order. Leave it on."
        parts.append(f"BEFORE ALL: {other}\n  {tie}")
    for card in way.plan.cards():
        where = known if card.end == "near" else other
        parts.append("\n".join([f"CARD: {where}", *(f"  {line}" for line in _lines(case, plant, card))]))
    parts.append("Nothing may be live. Take nothing off before the walk says so; it says what comes next at each end.")
    return "\n\n".join(parts) + "\n"


def _lines(case: Case, plant: Plant, card: Card) -> list[str]:
    wire = wire_of(plant)

    def name(one: str) -> str:
        if one == COMMON:
            return case.common_name
        if one == STAR:
            return "the star, a clip that touches nothing else"
        if card.end == "far":
            return case.called(one) if one in case.flags else one
        look = wire(one)
        return f"{case.known[one]} ({one}{f', {look}' if look else ''})"

    lines = []
    for step in card.steps:
        match step:
            case Clear():
                lines.append("Take off every clip, tag and bar; every wire lies free.")
            case Fit(ohms=0):
                lines.append(f"{name(step.conductor)}: straight to {name(step.to)}")
            case Fit():
                shown = engineering(step.ohms, "Ω", digits=4)
                lines.append(f"{name(step.conductor)}: tag of {shown} to {name(step.to)}")
            case Clip():
                lines.append("join " + " + ".join(name(one) for one in step.members))
    return lines
