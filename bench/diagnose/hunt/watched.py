"""What a watch comes to: the places ranked, and what to move next, in words."""

from __future__ import annotations

import bisect
from collections import Counter
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from bench.diagnose.hunt.ranking import NAMED_FROM, Movement, Next, Ranking
from bench.judge.jumps import OVER, Jump
from bench.quantity import engineering
from bench.say.lists import count
from bench.walk.watching import Noticed, Sprang, Watch

SHOWN: Final = 5
"""Places that are told with their chance."""


def ranking_of(watch: Watch) -> Ranking:
    """The places of a watch by what jumped while they were moved."""
    head = watch.head
    index = {place.name: number for number, place in enumerate(head.places)}
    movements = [
        Movement(one.named, min(one.ended if one.ended is not None else watch.now, max(watch.now, one.named)),
                 tuple(index[name] for name in one.places))
        for one in watch.moved
    ]  # fmt: skip
    sprung = _of_places(watch)
    jumps = [sprang.jump.at for sprang in sprung]
    seen_by = [[not place.on or sprang.point in place.on for sprang in sprung] for place in head.places]
    return Ranking(
        [place.weight for place in head.places],
        movements,
        jumps,
        watch.watched,
        [place.row for place in head.places],
        seen_by,
    )


def _of_places(watch: Watch) -> list[Sprang]:
    """The jumps that speak of a place; those of an alarm contact speak of what it belongs to."""
    return [one for one in watch.jumps if not watch.head.points[one.point].thing]


def percent(chance: float) -> str:
    """A chance for people: never 0 % nor 100 %, for neither is known."""
    if chance > 0.995:
        return "over 99 %"
    return f"{chance * 100:.0f} %" if chance >= 0.01 else "under 1 %"


def ranked_lines(watch: Watch, ranking: Ranking, most: int = SHOWN) -> list[str]:
    """The likeliest places with their chances, and that it is none of them."""
    places = watch.head.places
    lines = [f"{percent(ranking.chances[index]):>9}  {places[index].name}" for index in ranking.order[:most]]
    rest = sum(ranking.chances[index] for index in ranking.order[most:])
    if len(places) > most:
        lines.append(f"{percent(rest):>9}  the other {count(len(places) - most, 'place')} together")
    return [*lines, f"{percent(ranking.none):>9}  none of these"]


def verdict_line(watch: Watch, ranking: Ranking) -> str:
    """What can be said so far, in a sentence."""
    jumps = len(_of_places(watch))
    if watch.head.long:
        kinds = Counter(one.kind for one in watch.noticed)
        words = ", ".join(count(number, kind) for kind, number in kinds.items())
        seen = max([watch.now, *(one.end for one in watch.sealed)])
        return f"{words or 'nothing happened'} in {_minutes(seen)}"
    if not watch.head.places:
        return f"{count(jumps, 'jump')} in {_minutes(watch.watched)}"
    if jumps == 0:
        return f"no jump in {_minutes(watch.watched)}; {count(len(watch.moved), 'movement')} so far"
    named = ranking.named
    if named is not None:
        place = watch.head.places[named]
        alone = sum(one.places == (place.name,) for one in watch.moved)
        after = "" if alone > 1 else "; move it alone to confirm it"
        return f"it is likely {place.name} ({percent(ranking.chances[named])}): {place.text or 'as named'}{after}"
    if ranking.none >= NAMED_FROM:
        return f"likely none of these places ({percent(ranking.none)}): what jumps comes without their being moved"
    return f"{count(jumps, 'jump')}: no place stands out yet (a place is named from {percent(NAMED_FROM)} on)"


def next_line(watch: Watch, following: Next | None) -> str:
    """What to move next."""
    if following is None:
        return ""
    names = [watch.head.places[index].name for index in following.places]
    together = " together" if len(names) > 1 else ""
    return f"{_listed(names)}{together}: that tells most now (the chance of a jump is {percent(following.jumps)})"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def jump_line(watch: Watch, sprang: Sprang) -> str:
    """One jump: when, where, how far, how long, and what was moved then."""
    point, jump = watch.head.points[sprang.point], sprang.jump
    step = point.resolution or None
    name = f"{point.name}: " if len(watch.head.points) > 1 else ""
    if point.thing:
        name = f"alarm contact of {point.thing}, {point.name}: "
    moved = f"; moved then: {_listed(sprang.moved)}" if sprang.moved else ""
    return f"{clock(jump.at)}  {name}{figure(jump.level, point.unit, step)} to " \
           f"{figure(jump.value, point.unit, step)}{_lasted(jump)}{moved}"  # fmt: skip


SAID_BEFORE_S: Final = 5.0
"""Seconds before a jump or an event whose lines of consoles are told with it."""
SAID_AFTER_S: Final = 5.0
SAID_MOST: Final = 4
"""Lines that are told with each, those nearest to it."""


def said_lines(said: Sequence[tuple[float, str, str]], at: float) -> list[str]:
    """What machines said about a moment of a watch, in their order.

    Args:
        said: seconds, console and text of each line, in order.
        at: the moment.
    """
    first = bisect.bisect_left(said, (at - SAID_BEFORE_S,))
    after = bisect.bisect_right(said, (at + SAID_AFTER_S, "\uffff"))
    nearest = sorted(said[first:after], key=lambda one: abs(one[0] - at))[:SAID_MOST]
    return [f"{clock(moment)}  {console}: {text}" for moment, console, text in sorted(nearest)]


def happened(watch: Watch, said: Sequence[tuple[float, str, str]] = ()) -> list[str]:
    """Jumps, events and what tripped in the order of time, each with what consoles said about it.

    Args:
        watch: what it holds.
        said: seconds, console and text of each of its lines, in order.
    """
    told = [(one.jump.at, jump_line(watch, one)) for one in watch.jumps]
    told += [(one.at, noticed_line(watch, one)) for one in watch.noticed]
    told += [(one.at, f"{clock(one.at)}  {one.thing} tripped {one.what}".rstrip()) for one in watch.tripped]
    return [
        text
        for at, line in sorted(told, key=lambda one: one[0])
        for text in (line, *(f"    said {spoken}" for spoken in said_lines(said, at)))
    ]


NOTICED: Final = {
    "dip": "dipped to",
    "step": "stepped to, and stays at",
    "trip": "went away, to",
    "drift": "drifted to",
}
"""How each kind of event is told."""
GONE: Final = 1e11
"""From here on a figure stands for over range."""


def noticed_line(watch: Watch, one: Noticed) -> str:
    """One event of a long watch: when, where, from where to where, and how long."""
    point = watch.head.points[one.point]
    step = point.resolution or None
    value = figure(one.value if abs(one.value) < GONE else OVER, point.unit, step)
    lasted = f" for {engineering(one.until - one.at, 's', digits=2)}" if one.kind == "dip" else ""
    far = f" ({one.sigmas:.0f} standard deviations)" if one.sigmas < 1e6 else ""
    return (
        f"{moment(watch, one.at)}  {point.name}: {NOTICED[one.kind]} {value}{lasted}, from "
        f"{figure(one.level, point.unit, step)}{far}"
    )


def moment(watch: Watch, seconds: float) -> str:
    """A time of a watch by the calendar, UTC, to the second."""
    began = datetime.fromisoformat(watch.begun)
    return (began + timedelta(seconds=seconds)).strftime("%Y-%m-%d %H:%M:%S")


def _lasted(jump: Jump) -> str:
    if jump.stayed:
        return ", and stayed there"
    if jump.until is None:
        return ", and is still there"
    return f" for {engineering(jump.until - jump.at, 's', digits=2)}"


def figure(value: float, unit: str, resolution: float | None = None) -> str:
    """A reading; over range where it is."""
    return "over range" if value == OVER else engineering(value, unit, resolution=resolution)


def clock(seconds: float) -> str:
    """A time since the watch began: ``3:07.4`` or ``2:03:07``."""
    whole = int(seconds)
    hours, minutes = whole // 3600, whole // 60 % 60
    if hours:
        return f"{hours}:{minutes:02}:{whole % 60:02}"
    return f"{minutes}:{seconds % 60:04.1f}"


def _minutes(seconds: float) -> str:
    if seconds < 120:
        return f"{seconds:.0f} s"
    if seconds >= 172_800:
        return f"{seconds / 86_400:.1f} days"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"
