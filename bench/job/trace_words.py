"""What became of a point, in words: for the console, for the screen and for the report. Pure functions."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Final

from bench.job.common_changes import Common
from bench.job.points import ELSEWHERE
from bench.job.rows import Evidence
from bench.job.study import Study, Window
from bench.quantity import engineering
from bench.say.lists import count, some
from bench.say.reading import reading
from bench.say.times import minute

OUT: Final = "beyond the meter's range"
_MOST: Final = 10
CERTAIN: Final = 0.995
"""What a chance is from there on that would be written as 100 %."""
SURE: Final = "certain"

When = Callable[[str], str]
"""Writes a record's time of day for people."""


def story(one: Study, when: When = minute) -> Iterator[str]:
    """Where a series changed, what happened in between, what else changed then; empty for a steady one.

    Args:
        one: the series, studied.
        when: writes a record's time of day.
    """
    if one.window is not None:
        yield from between(one, when)
        yield from touched(one, when)
    if one.common is not None:
        yield from together(one.common)


def became(one: Study) -> str:
    """What became of a series, in words: ``a step from 1.04 Ω at 20 °C to 2.96 Ω``."""
    series = one.series
    if series is None:
        return "nothing to compare"
    change, n = series.change, len(series.runs.values)
    where = " at 20 °C" if one.key.asks == "joined" and one.key.reads == "resistance" else ""
    turn = change.first_bad or 0
    if all(row.over for row in one.runs) and change.kind == "steady":
        return f"steady {OUT} over {count(n, 'run')}"
    before = OUT if beyond(one, max(0, turn - 1)) else series.shown(change.before) + where
    match change.kind:
        case "steady":
            return f"steady at {before} over {count(n, 'run')}"
        case "step":
            assert change.after is not None
            after = OUT if beyond(one, turn) else series.shown(change.after)
            return f"a step from {before} to {after}{_besides(change.excursions)}"
        case "drift":
            assert change.after is not None
            rate = engineering(abs(change.slope), series.runs.unit, digits=2)
            if series.runs.unit == "decades":
                rate = f"{abs(change.slope):.2g} decades"
            way = "rising" if change.slope > 0 else "falling"
            shown = f"a drift, {way} by {rate} a day from {before} to {series.shown(change.after)}"
            return shown + _besides(change.excursions)
        case _:
            return f"intermittent: {len(change.excursions)} of {n} readings off {before}"


def beyond(one: Study, run: int) -> bool:
    """Whether a run showed over range on a scale that has no figure for that.

    Args:
        one: the series, studied.
        run: number of the run, from 0.
    """
    return bool(one.runs[run].over) and one.series is not None and one.series.runs.unit != "decades"


def _besides(excursions: tuple[int, ...]) -> str:
    if not excursions:
        return ""
    return f", and {count(len(excursions), 'reading')} off for a while"


def between(one: Study, when: When = minute) -> Iterator[str]:
    """The readings that the change lies between, and how sure that is.

    Args:
        one: the series, studied; it has a window.
        when: writes a record's time of day.
    """
    window = one.window
    assert window is not None
    for label, row in sides(window):
        told = in_full(row, when) if row is not None else "none: the first reading is bad already"
        yield f"  {label:10} {told}"
    series = one.series
    if series is None or series.change.kind == "steady":
        yield "  found by the verdicts; too few readings, or too uncertain ones, to tell by the values"
        return
    change = series.change
    if change.kind == "intermittent" or change.bracket is None or change.first_bad is None:
        return
    turn = one.runs[change.first_bad]
    low, high = (one.runs[i] for i in change.bracket)
    span = "this record alone" if low is high else f"{when(low.at)} to {when(high.at)}"
    run = "this record" if turn is window.first_bad else f"the record of {when(turn.at)}"
    changed = chance_of(change.lead)
    if low is high and change.probability >= CERTAIN and changed == SURE:
        yield f"  changed in {run}, {SURE}"
    else:
        yield f"  changed in {run} with {change.probability * 100:.0f} %; with 95 % {span}"
        if changed != SURE:
            yield f"  that it changed at all: {changed}"
    if one.second is not None and one.second.began is not None:
        began = one.runs[one.second.began]
        if began is not turn:
            yield f"  a CUSUM about the level before dates it to {when(began.at)}"


def chance_of(lead: float) -> str:
    """How sure it is that a series changed, in words: ``97 %``, or that it is certain.

    Args:
        lead: how far the change is ahead of steady, in nats: the odds are its exponential (both the same before).
    """
    chance = 1.0 / (1.0 + math.exp(-min(lead, 700.0)))
    return SURE if chance >= CERTAIN else f"{chance * 100:.0f} %"


def sides(window: Window) -> list[tuple[str, Evidence | None]]:
    """The readings that a window lies between, each under its name: what is called good has not failed.

    A reading that is missing is None: then the first reading of all is bad already.
    """
    good, bad = window.last_good, window.first_bad
    if bad.verdict == "pass" or (good is not None and good.verdict == "fail"):
        found = [("last before", good), ("first after", bad)]
    else:
        found = [("last good", good), ("first bad", bad)]
    if window.mended is not None:
        found += [("last bad", window.mended[0]), ("good again", window.mended[1])]
    return found


def in_full(row: Evidence, when: When = minute) -> str:
    """A reading with its verdict, its conditions and where it is written down.

    Args:
        row: the reading.
        when: writes a record's time of day.
    """
    hands = ", ".join(part for part in (row.meter, row.operator, celsius(row)) if part)
    return f"{when(row.at)}  {reading_value(row)}  {row.verdict}  ({hands}) {row.record}:{row.n}"


def celsius(row: Evidence) -> str:
    """The temperature that was taken for a reading; empty where none was."""
    return f"{row.ambient:g} °C" if row.ambient is not None else ""


def reading_value(row: Evidence) -> str:
    """A reading with its uncertainty, for people."""
    return reading(row.value, row.unit, expanded=row.expanded, over=row.over)


def touched(one: Study, when: When = minute) -> Iterator[str]:
    """What happened in between, likeliest first.

    Args:
        one: the series, studied; it has a window.
        when: writes a record's time of day.
    """
    near = [suspect for suspect in one.suspects if suspect.nearness > ELSEWHERE]
    if near:
        yield "  happened in between, likeliest first:"
    for number, suspect in enumerate(near[:_MOST], 1):
        told = suspect.told
        by = f" {told.by}:" if told.by else ""
        yield f"   {number:2}. {when(told.happened)} {told.kind}:{by} {told.text} [{suspect.words}]"
    far = len(one.suspects) - len(near)
    if far:
        yield f"  {count(far, 'more event')} in between touched nothing near it"
    elif not near:
        yield "  nothing is on record in between"


def together(common: Common) -> Iterator[str]:
    """What else changed at the same time, and what it has in common."""
    if not common.moved:
        yield f"  changed at the same time: none of {common.read} other points"
        return
    names = some([one.subject for one in common.moved], _MOST)
    yield f"  changed at the same time, of {common.read} points: {names}"
    yield from causes(common)


def causes(common: Common) -> Iterator[str]:
    """What changed points have in common, and whether the meter is the suspect."""
    if common.words:
        yield f"   {common.words}"
    for cause in common.causes[: 1 if common.meter else 3]:
        yield (
            f"   in common: {cause.kind} {cause.name}: {cause.changed} of its {cause.read} points "
            f"({_by_chance(cause.chance)})"
        )


def _by_chance(chance: float) -> str:
    """How likely it is that as many have something in common and nothing is behind it."""
    return "hardly by chance" if chance < 1e-4 else f"by chance in {100 * chance:.1g} % of cases"
