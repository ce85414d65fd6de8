"""Which wire is which: the search that names the conductors of an unlabelled end.

The case follows from the plant, the bench and the settings (:mod:`bench.diagnose.identify.case`); its plan is spoken as
acts with a card for each end, and readings between a flag and something known, or between flags.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import msgspec

from bench.diagnose.identify.case import Case, case_of
from bench.diagnose.identify.chain import ChainPlan
from bench.diagnose.identify.finding import Findings, found_of, stopped_of
from bench.diagnose.identify.rig_cards import cards_of, headings
from bench.diagnose.identify.tag import TagPlan
from bench.diagnose.identify.tags import Scale
from bench.diagnose.identify.ways import Way
from bench.diagnose.script import STAR, Card, Clear
from bench.diagnose.script_search import Speech, spoken
from bench.plant.model import Plant
from bench.quantity import Amount
from bench.sequence.file import Do, Limit, Measure, Seek, Zero
from bench.sequence.plan import Step
from bench.walk.adviser import followed
from bench.walk.seeking import Answer, Search, Trail, Wanted
from bench.walk.state import State

TURNED: Final = 5
"""The edition of the machine from which on another single is hung where a chain can be read two ways."""


def search(state: State, step: Step, trail: Trail) -> Search:
    """The search for conductors.

    Settings: see :data:`bench.diagnose.identify.case.SETTINGS`.

    Raises:
        DiagnoseError: a setting is of no use, or no way is open with what is at hand.
    """
    return followed(_search(state, step), trail)


def _search(state: State, step: Step) -> Search:
    source, setting = step.source, state.setting
    assert isinstance(source, Seek) and setting is not None
    plant = setting.plant
    zeroed = any(isinstance(one.source, Zero) for one in setting.plan.steps[: step.index])
    case = case_of(plant, source, setting.bench, zeroed)
    way = case.ways()[0]
    if isinstance(way.plan, ChainPlan) and setting.began.edition < TURNED:
        # what was asked for so far follows from the chain as it was laid then
        way = msgspec.structs.replace(way, plan=msgspec.structs.replace(way.plan, turns=1))

    def say(act: Do | Measure, answers: Sequence[Answer]) -> Wanted:
        return _told(case, way, plant, act, answers)

    ended = yield from spoken(way.plan.script(), speech_of(case, plant, source), say)
    known = Findings(case, way, plant, ended.readings, ended.trail)
    return stopped_of(known, ended.stopped) if ended.result is None else found_of(known, ended.result)


def speech_of(case: Case, plant: Plant, source: Seek) -> Speech:
    """How a plan for a case is spoken."""

    def side(places: Sequence[str]) -> str:
        if len(places) == 1:
            return case.common_name if case.common and places[0] in case.common else case.called(places[0])
        return f"{len(places)} ends on a bar"

    def title(red: Sequence[str], black: Sequence[str]) -> str:
        said = f"{side(red)} against {side(black)}"
        return said[:1].upper() + said[1:]

    def text(red: Sequence[str], black: Sequence[str]) -> str:
        if len(red) == len(black) == 1:
            return ""
        lines = []
        for colour, places in (("Red", red), ("Black", black)):
            on = "on " if len(places) == 1 else "on a bar: "
            lines.append(f"{colour} {on}{told(case, places)}")
        return "\n".join(lines)

    def ohms(answer: Answer) -> float | None:
        """What was read; nothing where it is more than a low range shows: that is not open."""
        top = answer.reading.range if answer.reading is not None else None
        return None if answer.ohms == math.inf and top is not None and top < case.apart else answer.ohms

    return Speech(
        place=case.place,
        read=source.read,
        wires=source.wires,
        joined=Limit(at_least=Amount(case.apart, "Ω"), source="below this two ends count as joined"),
        tester=source.by_tester,
        ohms=ohms,
        title=title,
        text=text,
        card_text=lambda card: card_text(case, card),
        card_title=lambda card: card_title(case, plant, card),
    )


def told(case: Case, places: Sequence[str]) -> str:
    """Places in a few words: ``flags 1-4, 7``."""
    flags = [place for place in places if place.startswith(f"{case.cable}.{case.side}/")]
    others = [place for place in places if place not in flags]
    parts = []
    if flags:
        numbers = sorted(int(place.rpartition("/")[2]) for place in flags)
        parts.append(f"{'flags' if len(flags) > 1 else 'flag'} {_runs(numbers)}")
    by_owner: dict[str, list[str]] = {}
    for place in others:
        owner, _, pin = place.rpartition(".")
        by_owner.setdefault(owner, []).append(pin)
    for owner, pins in by_owner.items():
        parts.append(f"{owner}.{_runs(sorted(map(int, pins)))}" if all(map(str.isdigit, pins)) else ", ".join(others))
    return "; ".join(dict.fromkeys(parts))


def _runs(numbers: Sequence[int]) -> str:
    told: list[str] = []
    start = before = numbers[0]
    for number in [*numbers[1:], None]:
        if number is not None and number == before + 1:
            before = number
            continue
        told.append(str(start) if start == before else f"{start}{'-' if before > start + 1 else ', '}{before}")
        if number is not None:
            start = before = number
    return ", ".join(told)


def card_title(case: Case, plant: Plant, card: Card) -> str:
    """Which end a card is for, and what is done there."""
    end = end_heading(case, plant, card.end == "near")
    if all(isinstance(one, Clear) for one in card.steps):
        return f"Free every end: {end}"
    return f"Clip on: {end}"


def end_heading(case: Case, plant: Plant, known: bool) -> str:
    """What an end is called: where it is, or which end of the cable."""
    places = list(case.known.values()) if known else list(case.flags)
    return "; ".join(headings(plant, places)) or case.cable


def card_text(case: Case, card: Card) -> str:
    """A card as text: what to take off, and what to put on."""
    lines = []
    if any(isinstance(one, Clear) for one in card.steps):
        lines.append("Take off every clip, tag and bar at this end.")
    on = [one for one in card.steps if not isinstance(one, Clear)]
    if not on:
        lines.append("Leave every wire free, touching nothing.")
    elif any(getattr(one, "to", "") == STAR for one in on):
        lines.append("All tags meet in one clip that touches nothing else: the star.")
    return "\n".join(lines)


def _told(case: Case, way: Way, plant: Plant, act: Do | Measure, answers: Sequence[Answer]) -> Wanted:
    """An act or a reading, with the cards that it wants and how far the search is."""
    effort = way.plan.effort
    if isinstance(act, Do) and act.rig is not None:
        always = (end_heading(case, plant, True), end_heading(case, plant, False))
        lines = [line for card in cards_of(plant, act.rig, always) for line in card.lines()]
        first = []
        if not answers and case.flagged:
            count, where = len(case.flags), end_heading(case, plant, False)
            first = [f"First tie a numbered flag to each wire of {where}, 1 to {count}, in any order; leave them on."]
        act = msgspec.structs.replace(act, text="\n".join([*first, act.text, *lines]))
    why = f"about {effort.touches:,.0f} readings instead of {effort.walking:,}"
    so_far = progress(case, way, answers)
    left = max(1, round(effort.touches) - sum(answer.counts for answer in answers))
    return Wanted(act, f"{why}. {so_far}" if so_far else why, left)


def progress(case: Case, way: Way, answers: Sequence[Answer]) -> str:
    """What the readings say so far, before anything is proven; empty where they say nothing yet."""
    if not isinstance(way.plan, TagPlan) or case.common is None:
        return ""
    bearer: dict[float, str] = {}
    scale: Scale | None = None
    seen: dict[str, str] = {}
    for answer in answers:
        if isinstance(answer.want, Do):
            bearer = {tag.ohms.value: tag.place for tag in answer.want.rig.tags} if answer.want.rig is not None else {}
            fitted = [tag for batch in way.plan.batches for tag in batch.values() if tag.ohms in bearer]
            scale = Scale(sorted(set(fitted)), case.loop, case.meter) if fitted and case.meter is not None else None
        elif scale is not None and answer.ohms is not None and case.common[1] in answer.want.between:
            tag = scale.tag(answer.ohms)
            if tag is not None:
                seen[answer.want.between[0]] = bearer[tag.ohms]
    if not seen:
        return ""
    last = list(seen.items())[-3:]
    shown = ", ".join(f"{case.called(flag)} reads as {place}" for flag, place in reversed(last))
    return f"{len(seen)} of {len(case.flags)} ends read as one tag: {shown}"
