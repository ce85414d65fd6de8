"""What a survey comes to, in words: who belongs to whom and how surely, what is open, what to do next."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

import msgspec

from bench.diagnose.survey.belief import Answer, Fit, Standing
from bench.diagnose.survey.carried import Carried, Part
from bench.diagnose.survey.fingerprint import likenesses, next_pins
from bench.diagnose.survey.pile import natural
from bench.diagnose.survey.trips import Trip
from bench.plant.finds import LooseEnd
from bench.say.lists import count

SENSE = {"label": "read the label again", "count": "count the conductors", "tape": "tape the length"}


def percent(chance: float) -> str:
    """A chance, never rounded up to certainty."""
    if chance >= 0.999:
        return "over 99.9 %"
    return f"{100 * chance:.1f} %" if chance >= 0.99 else f"{100 * chance:.0f} %"


def where(end: LooseEnd) -> str:
    """Where an end hangs."""
    return ", ".join(part for part in (f"bay {end.bay}" if end.bay else "", end.position) if part) or "place not noted"


def summary(answer: Answer) -> list[str]:
    """How much of the pile is clear."""
    ends = len(answer.pile.ends)
    sure = [standing for standing in answer.standings if standing.sure]
    alone = sum(1 for standing in sure if not standing.fits[0].name)
    lines = [
        f"{count(ends, 'loose end')}, {count(len(answer.pile.places), 'free place')}, "
        f"{count(len(answer.pile.lines), 'line of a list', 'lines of lists')}",
        f"sure: {count(len(answer.pairs), 'pair')}, {count(alone, 'end')} without a mate here; "
        f"open: {count(ends - len(sure), 'end')}",
    ]
    if answer.doubt > 0.05:
        lines.append(f"chances may be off by {percent(answer.doubt)}: the pile is large and much of it alike")
    return lines


def pair_lines(answer: Answer) -> Iterator[str]:
    """The pairs that are called, a line each."""
    at = {end.name: end for end in answer.pile.ends}
    for one, other, chance in answer.pairs:
        yield f"{one} ({where(at[one])}) and {other} ({where(at[other])}) are one cable: {percent(chance)}"


def open_lines(answer: Answer) -> Iterator[str]:
    """What fits several ways, by groups."""
    by_name = {standing.name: standing for standing in answer.standings}
    for group in answer.groups:
        if len(group) > 1:
            yield f"ambiguous among {', '.join(sorted(group, key=natural))}:"
        for name in group:
            yield f"{'  ' if len(group) > 1 else ''}{name}: {fits_words(by_name[name])}"


def fits_words(standing: Standing) -> str:
    """What an end may belong to, with chances."""
    if not standing.fits:
        return "fits many a little and none well"
    return ", ".join(_fit(fit) for fit in standing.fits[:5])


def _fit(fit: Fit) -> str:
    return f"{fit.name or 'no mate here'} {percent(fit.chance)}"


def place_lines(answer: Answer) -> Iterator[str]:
    """Which end goes to which free place, as far as one is called or likely."""
    for standing in answer.place_standings:
        if standing.fits and standing.fits[0].name:
            sure = "" if standing.sure else "perhaps "
            yield f"{standing.name} goes {sure}to {', '.join(_fit(fit) for fit in standing.fits[:3])}"


def likeness_lines(answer: Answer, name: str) -> Iterator[str]:
    """Which places a place is like by the readings between its pins, and what to read next."""
    places = answer.pile.places
    place = next(one for one in places if one.name == name)
    found = likenesses(place, places)
    if len(found) == 1:
        yield f"{name} has no reading in common with another place of its kind yet"
    for one in found if len(found) > 1 else ():
        if one.other:
            differ = f"; unlike at {', '.join('-'.join(pins) for pins in one.differ)}" if one.differ else ""
            same = f"{count(len(one.agree), 'reading')} alike{differ}"
            yield f"{name} is of one family with {one.other}: {percent(one.chance)}, {same}"
        elif one.chance >= 0.05:
            yield f"{name} is like none of them: {percent(one.chance)}"
    for pins, bits in next_pins(place, places):
        yield f"read pins {'-'.join(pins)} next, on a dead shelf: worth {bits:.1f} yes-or-no answers"


def contradictions(answer: Answer) -> Iterator[str]:
    """What was noted that cannot all be so."""
    read = Counter(end.label for end in answer.pile.ends if end.label and "?" not in end.label)
    for label, number in sorted(read.items()):
        if number > 2:
            names = [end.name for end in answer.pile.ends if end.label == label]
            yield f"{count(number, 'end')} read {label}: {', '.join(names)}; a cable has two"
    answers: dict[str, set[str]] = {}
    for tried in answer.pile.tried:
        if tried.answer and tried.way != "pull":
            answers.setdefault(tried.touched, set()).add(tried.answer)
            answers.setdefault(tried.answer, set()).add(tried.touched)
    at = {end.name: end for end in answer.pile.ends}
    for name, mates in sorted(answers.items()):
        if name in at and len(mates & at.keys()) > at[name].branches:
            yield f"{name} answered to {', '.join(sorted(mates))}: joined inside, or a wrong end was touched"
    told = Counter(line.label for line in answer.pile.lines if line.label)
    for label, number in sorted(told.items()):
        if number > 1:
            yield f"{label} stands on {count(number, 'line')} of the lists"


class EndTold(msgspec.Struct, frozen=True):
    """What is believed of one end, in words.

    Attributes:
        name: the end.
        where: it hangs.
        fits: what it may belong to, with chances.
        sure: whether the first is called.
        why: what speaks for and against the first, the strongest first.
    """

    name: str
    where: str
    fits: str
    sure: bool
    why: tuple[str, ...]


def ends_told(answer: Answer) -> list[EndTold]:
    """All ends, those that are open first, each with what speaks for its likeliest mate."""
    carried = Carried(answer)
    found = []
    for end, standing in zip(answer.pile.ends, answer.standings, strict=True):
        first = standing.fits[0].name if standing.fits else ""
        why = tuple(_part(part) for part in carried.parts(end.name, first)) if first else ()
        found.append(EndTold(end.name, where(end), fits_words(standing), standing.sure, why))
    return sorted(found, key=_open_first)


def _open_first(one: EndTold) -> tuple[bool, tuple[int, int, str]]:
    return one.sure, natural(one.name)


def why_lines(answer: Answer, one: str, other: str) -> Iterator[str]:
    """What speaks for and against two ends being one cable, the strongest first."""
    at = {end.name: number for number, end in enumerate(answer.pile.ends)}
    yield f"{one} and {other} are one cable: {percent(float(answer.mates[at[one], at[other]]))}"
    for part in Carried(answer).parts(one, other):
        yield f"  {_part(part)}"


def _part(part: Part) -> str:
    says = f"{_times(part.times)} likelier" if part.times > 1 else f"{_times(1 / part.times)} less likely"
    return f"{part.feature}: {part.words}: {says}"


def _times(value: float) -> str:
    return f"{value:.1f} times" if value < 10 else f"{value:,.0f} times".replace(",", " ") if value < 1e5 else "far"


def trip_card(trip: Trip, ends: Sequence[LooseEnd], tags: Sequence[tuple[str, str]] = ()) -> list[str]:
    """One trip as a card to take along.

    Args:
        trip: the trip.
        ends: all loose ends.
        tags: the value of each tag in turn, and what a reading of it may show.
    """
    at = {end.name: end for end in ends}
    climbs = count(trip.climbs, "climb")
    settles = f"settles about {count(round(trip.settles), 'end')}, " if trip.tagged else ""
    takes = f"From bay {trip.stops[0].bay}: {trip.minutes:.0f} min, {climbs}"
    lines = [f"{takes}; {settles}worth {trip.bits:.1f} yes-or-no answers"]
    number = {name: place for place, name in enumerate(trip.tagged, 1)}
    for stop in trip.stops:
        lines.append(f"  bay {stop.bay}:")
        for name in stop.tagged:
            how = f"put tag {number[name]} on" if len(number) > 1 else "clip the tester to"
            value = f", {tags[number[name] - 1][0]} to the frame" if len(number) > 1 and tags else ""
            lines.append(f"    {how} one conductor of {name} ({where(at[name])}){value}")
        lines += [f"    touch every conductor of {name} ({where(at[name])})" for name in stop.touched]
        lines += [f"    {look.end}: {SENSE[look.look]}" for look in stop.looks]
        for felt, pulled in stop.felt:
            lines.append(
                f"    feel at {felt} ({where(at[felt])}) while somebody pulls at {pulled} ({where(at[pulled])}); pull "
                "gently, only at what was proved dead and never by its contacts: does it move?"
            )
        for read in stop.reads:
            pins = ", ".join("-".join(pair) for pair in read.pins)
            what = (
                f"its pins {pins}" if pins else "a few of its pins that lie apart, the same at each place of its kind"
            )
            lines.append(f"    {read.place}: prove it dead, then read {what}; by a walk: --read-pins {read.place}")
    if tags and len(number) > 1:
        lines.append("  each conductor that is touched, against the frame, reads:")
        lines += [f"    {tags[place - 1][1]}: {name}, by tag {place}" for name, place in number.items()]
        lines.append("    anything else: none of these")
    return lines
