"""What trips, blown fuses and resets have in common: each circumstance ranked, with how easily chance brings it.

Of ``n`` events ``k`` share a circumstance that a part ``p`` of all that could trip has too. Chance alone brings ``k``
or more with the upper tail of the binomial distribution. Many circumstances are tried, so the tail is multiplied by
their number (Bonferroni). Nothing is called a cause: what stands out is where to look first.

What was touched and how warm it was are held against all the time that records cover: the part of it that lay within
an hour after the same was touched, or in which the hall was as warm. Events in the hour after another count once there,
and of a day's the first alone for temperature, for a warm day stays warm.
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.plant.model import Plant
from bench.say.lists import count

COLUMNS: Final = ("at", "thing", "what", "temperature", "touched", "remark")
STANDS_OUT: Final = 0.01
"""Below this chance something stands out."""
HINT: Final = 0.1
FEWEST: Final = 3
"""With fewer events nothing is ranked."""
TOUCHED_S: Final = 3600.0
"""What was touched in this time before an event is told with it (our own figure)."""
LEAST_DEGREES: Final = 24
"""Hours with a temperature below which nothing is said of it (our own figure)."""
QUARTER: Final = 0.25
"""The warmest and the coldest part of the hours on record."""
HOURS: Final = ("0 to 6 h", "6 to 12 h", "12 to 18 h", "18 to 24 h")


class Trip(msgspec.Struct, frozen=True):
    """One event.

    Attributes:
        at: when, local.
        thing: the breaker or shelf.
        what: what happened, in words.
        temperature: of the hall, in °C; None where nobody looked.
        touched: what was touched before it.
        how: who or what told it.
    """

    at: datetime
    thing: str
    what: str = ""
    temperature: float | None = None
    touched: str = ""
    how: str = ""


class Backdrop(msgspec.Struct, frozen=True):
    """The time in which events could have come, as records tell it.

    Attributes:
        spans: begin and end of each stretch of it, local.
        touched: seconds within :data:`TOUCHED_S` after something was touched last, by what it was.
        degrees: of the hall, in °C, one for each hour in which somebody looked.
    """

    spans: tuple[tuple[datetime, datetime], ...] = ()
    touched: dict[str, float] = {}
    degrees: tuple[float, ...] = ()

    @property
    def seconds(self) -> float:
        """How long it is."""
        return sum((end - begin).total_seconds() for begin, end in self.spans)

    def covers(self, at: datetime) -> bool:
        """Whether a moment lies in it."""
        return any(begin <= at <= end for begin, end in self.spans)


NOTHING_KNOWN: Final = Backdrop()


class Common(msgspec.Struct, frozen=True):
    """A circumstance that events share.

    Attributes:
        kind: such as ``feed``.
        value: such as ``B``.
        events: how many have it.
        of: of how many.
        part: of all that could trip, or of all time, that has it too.
        chance: that at least this number has it by chance, for all that was tried together.
        among: what the part is of.
    """

    kind: str
    value: str
    events: int
    of: int
    part: float
    chance: float
    among: str = "all that could"


def read_trips(path: Path, plant: Plant) -> list[Trip]:
    """Events out of a table with the columns of :data:`COLUMNS`, of which the first two are needed.

    Raises:
        DiagnoseError: with every line that cannot be read.
        OSError: the file cannot be read.
    """
    found, wrong = [], []
    with path.open(encoding="utf-8-sig", newline="") as stream:
        for number, row in enumerate(csv.DictReader(stream), 2):
            values = {name: (row.get(name) or "").strip() for name in COLUMNS}
            thing = values["thing"]
            if thing not in plant.breakers and thing not in plant.shelves:
                wrong.append(f"{path}:{number}: found '{thing}', expected a breaker or a shelf of the plant")
                continue
            try:
                warm = float(values["temperature"]) if values["temperature"] else None
                at = datetime.fromisoformat(values["at"])
            except ValueError as error:
                wrong.append(f"{path}:{number}: {error}")
                continue
            found.append(Trip(at, thing, values["what"], warm, values["touched"]))
    if wrong:
        raise DiagnoseError("\n".join(wrong))
    return sorted(found, key=lambda one: one.at)


def in_common(plant: Plant, trips: Sequence[Trip], backdrop: Backdrop = NOTHING_KNOWN) -> list[Common]:
    """What events have in common, what chance brings least easily first; empty with too few events.

    Args:
        plant: the plant.
        trips: the events.
        backdrop: the time in which they could have come.
    """
    if len(trips) < FEWEST:
        return []
    things = [*plant.breakers, *plant.shelves]
    kinds = [{name: _circumstances(plant, name) for name in things if (name in plant.breakers) == is_breaker}
             for is_breaker in (True, False)]  # fmt: skip
    tried: list[Common] = []
    for population in kinds:
        mine = [one for one in trips if one.thing in population]
        if not mine:
            continue
        values = {pair for one in mine for pair in population[one.thing]}
        for kind, value in sorted(values):
            having = sum((kind, value) in circumstances for circumstances in population.values())
            events = sum((kind, value) in population[one.thing] for one in mine)
            tried.append(Common(kind, value, events, len(mine), having / len(population), 1.0))
    for number, hours in enumerate(HOURS):
        events = sum(one.at.hour // 6 == number for one in trips)
        tried.append(Common("time of day", hours, events, len(trips), 0.25, 1.0, "the day"))
    tried += [*_touched(trips, backdrop), *_warm(trips, backdrop)]
    found = [
        msgspec.structs.replace(one, chance=min(1.0, _tail(one.events, one.of, one.part) * len(tried)))
        for one in tried
        if one.events and one.part < 1.0
    ]
    return sorted(found, key=lambda one: (one.chance, -one.events))


def _touched(trips: Sequence[Trip], backdrop: Backdrop) -> list[Common]:
    """What was touched in the hour before, against how much of the time on record lies so."""
    first: list[Trip] = []
    for one in sorted(trips, key=lambda trip: trip.at):
        if backdrop.covers(one.at) and (not first or one.at - first[-1].at > timedelta(seconds=TOUCHED_S)):
            first.append(one)
    if len(first) < FEWEST:
        return []
    among = f"{backdrop.seconds / 3600:.0f} h on record"
    return [
        Common("touched before:", text, sum(one.touched == text for one in first), len(first),
               min(1.0, seconds / backdrop.seconds), 1.0, among)
        for text, seconds in backdrop.touched.items() if any(one.touched == text for one in first)
    ]  # fmt: skip


def _warm(trips: Sequence[Trip], backdrop: Backdrop) -> list[Common]:
    """How warm and how cold the hall was, against the hours on record."""
    import numpy as np

    days: dict[object, float] = {}
    for one in sorted(trips, key=lambda trip: trip.at):
        if one.temperature is not None and backdrop.covers(one.at):
            days.setdefault(one.at.date(), one.temperature)
    if len(days) < FEWEST or len(backdrop.degrees) < LEAST_DEGREES:
        return []
    hours, values = np.array(backdrop.degrees), np.array(list(days.values()))
    among = f"{len(hours)} hours on record; of each day its first event"
    cold, warm = (float(one) for one in np.quantile(hours, (QUARTER, 1 - QUARTER)))
    return [
        Common("hall at", f"{warm:.1f} °C or more", int(np.sum(values >= warm)), len(values),
               float(np.mean(hours >= warm)), 1.0, among),
        Common("hall at", f"{cold:.1f} °C or less", int(np.sum(values <= cold)), len(values),
               float(np.mean(hours <= cold)), 1.0, among),
    ]  # fmt: skip


def _circumstances(plant: Plant, name: str) -> frozenset[tuple[str, str]]:
    if name in plant.breakers:
        breaker = plant.breakers[name]
        return frozenset({("breaker", name), ("feed", breaker.feed), ("at", breaker.at)})
    shelf = plant.shelves[name]
    cards = {("card type", card.type.name) for card in shelf.cards}
    return frozenset({("shelf", name), ("bay", shelf.bay), *cards})


def _tail(events: int, of: int, part: float) -> float:
    from scipy.special import bdtrc

    return float(bdtrc(events - 1, of, part))


def told(
    trips: Sequence[Trip], common: Iterable[Common], most: int = 6, backdrop: Backdrop = NOTHING_KNOWN
) -> list[str]:
    """What stands out, what is a hint, and what cannot be said.

    Args:
        trips: the events.
        common: of :func:`in_common`.
        most: how many at most.
        backdrop: the time in which the events could have come.
    """
    if len(trips) < FEWEST:
        return [f"{count(len(trips), 'event')}: too few to say what they have in common; from {FEWEST} on it is tried"]
    lines = []
    ranked = list(common)
    for one in ranked[:most]:
        if one.chance >= HINT:
            break
        word = "stands out" if one.chance < STANDS_OUT else "a hint, no more"
        lines.append(
            f"{one.kind} {one.value}: {one.events} of {one.of} events, and {one.part:.0%} of {one.among}; chance "
            f"brings that {_odds(one.chance)}: {word}"
        )
    if not lines:
        best = f" (the most: {ranked[0].kind} {ranked[0].value}, {_odds(ranked[0].chance)})" if ranked else ""
        lines.append(f"{count(len(trips), 'event')}: nothing they share is more than chance brings{best}")
    shown = {(one.kind, one.value) for one in ranked[:most] if one.chance < HINT}
    by_touch = {one.value: one for one in ranked if one.kind == "touched before:"}
    for text, events in Counter(one.touched for one in trips if one.touched).items():
        if ("touched before:", text) in shown or events == 1:
            continue
        head = f"touched before {events} of {len(trips)}: {text}; "
        if text in by_touch:
            one = by_touch[text]
            lines.append(f"{head}so is {one.part:.0%} of {one.among}, and chance brings that {_odds(one.chance)}: "
                         "too little to say")  # fmt: skip
        elif text in backdrop.touched:
            lines.append(f"{head}too few of them are on record, an hour apart, to say more")
        else:
            lines.append(f"{head}how often that was done without one is not known")
    lines += [] if any(kind == "hall at" for kind, _ in shown) else _warmth(trips, ranked, backdrop)
    return lines


def _warmth(trips: Sequence[Trip], ranked: Sequence[Common], backdrop: Backdrop) -> list[str]:
    """How warm it was where that does not stand out."""
    warm = [one.temperature for one in trips if one.temperature is not None]
    if len(warm) < 2:
        return []
    head = f"hall at {min(warm):g} to {max(warm):g} °C in {len(warm)} of them; "
    best = next((one for one in ranked if one.kind == "hall at"), None)
    if best is not None:
        return [f"{head}at {best.value} on {best.events} of {best.of} days, as in {best.part:.0%} of the hours on "
                f"record, and chance brings that {_odds(best.chance)}: too little to say"]  # fmt: skip
    if not backdrop.degrees:
        return [f"{head}how warm it is else is not known here"]
    if len(backdrop.degrees) < LEAST_DEGREES:
        return [f"{head}that is known of {count(len(backdrop.degrees), 'hour')} alone: too little to say"]
    return [
        f"{head}in the other quarters of the {len(backdrop.degrees)} hours on record, or on too few days, to say more"
    ]


def _odds(chance: float) -> str:
    return "as often as not" if chance >= 0.5 else f"once in {1.0 / max(chance, 1e-6):.0f} times"
