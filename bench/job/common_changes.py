"""Which other points changed at the same time, and what they have in common: a connector, a tray, the meter, the leads.

Every series is looked at across the bracket of one point's change: its readings up to the last good one against those
from the first bad one on. Then each thing that series can have in common (a connector, a cable, a tray section, a
shelf, the meter or the operator of the later readings) is held against chance: had the changes fallen anywhere among
the points that were read on both sides, how likely is it that as many of them share it? That is the upper tail of the
hypergeometric distribution (Fisher's exact test).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from statistics import median
from typing import Final, Literal

import msgspec
from msgspec.structs import replace

from bench.diagnose.series.change import MARGIN
from bench.job.rows import Evidence
from bench.job.series import SeriesKey, Track, comparable, key_of, seconds
from bench.plant.model import Plant

BEFORE: Final = 3
"""Readings of each series that are kept from before the bracket; from after it the first alone counts, since what
went away again changed too."""
LIKELY: Final = 0.01
"""A common cause is named where chance would do as much less often than this."""
NARROW: Final[tuple[str, ...]] = ("connector", "cable", "tray section", "shelf", "bay", "meter", "operator")
"""Kinds of common cause, from narrow to wide: of two that explain the same, the narrower is named."""


class Moved(msgspec.Struct, frozen=True):
    """A series on both sides of a bracket.

    Attributes:
        key: the series.
        subject: the plant object that it is about.
        z: difference over its standard uncertainty, with its sign.
        before: median before, in the series' unit.
        after: median after.
        meter_before: the meter of the latest reading before.
        meter_after: the meter of the first reading after.
        operator_after: who took it.
        changed: whether the difference stands out.
    """

    key: SeriesKey
    subject: str
    z: float
    before: float
    after: float
    meter_before: str
    meter_after: str
    operator_after: str
    changed: bool


class Cause(msgspec.Struct, frozen=True):
    """Something that changed points have in common.

    Attributes:
        kind: one of :data:`NARROW`.
        name: which; several that explain the same are joined by ``or``.
        changed: how many of its points changed.
        read: how many of its points were read on both sides.
        chance: how likely as many would be by chance.
        members: the subjects that changed.
    """

    kind: str
    name: str
    changed: int
    read: int
    chance: float
    members: tuple[str, ...]


class Common(msgspec.Struct, frozen=True):
    """What changed at the same time.

    Attributes:
        moved: the series that changed, the most striking first.
        read: how many series were read on both sides.
        causes: what they have in common, the likeliest first; empty where nothing stands out.
        meter: whether the meter or its leads are the suspect: ``gain``, ``offset``, ``moved`` or empty.
        words: what follows from it, in a sentence.
    """

    moved: tuple[Moved, ...]
    read: int
    causes: tuple[Cause, ...]
    meter: Literal["", "gain", "offset", "moved"]
    words: str


class Across:
    """Takes readings of all points, one by one, and keeps a few of each on either side of a bracket.

    Args:
        after: time of the last good reading, UTC.
        until: time of the first bad reading.
    """

    def __init__(self, after: str, until: str) -> None:
        self._after, self._until = after, until
        self._sides: dict[SeriesKey, tuple[list[Evidence], list[Evidence]]] = {}

    def take(self, row: Evidence) -> None:
        """Take one reading; those inside the bracket are passed over."""
        if row.value is None and not row.over:
            return
        key = key_of(row)
        if row.at <= self._after:
            side = self._sides.setdefault(key, ([], []))[0]
            side.append(row)
            if len(side) > BEFORE:
                side.remove(min(side, key=lambda one: one.at))
        elif row.at >= self._until:
            side = self._sides.setdefault(key, ([], []))[1]
            if not side or row.at < side[0].at:
                side[:] = [row]

    def common(self, plant: Plant, but: SeriesKey | None = None) -> Common:
        """What changed across the bracket and what it has in common.

        Args:
            plant: for what lies where.
            but: the series of the point itself, which is counted but not listed.
        """
        pairs = {key: sides for key, sides in self._sides.items() if sides[0] and sides[1]}
        threshold = math.sqrt(2.0 * (MARGIN + math.log(max(1, len(pairs)))))
        all_moved = [one for key, sides in pairs.items() if (one := _moved(key, *sides, threshold)) is not None]
        changed = sorted((one for one in all_moved if one.changed), key=lambda one: -abs(one.z))
        causes = _causes(all_moved, plant)
        kind, words = _meter(all_moved, changed, causes)
        listed = tuple(one for one in changed if one.key != but)
        return Common(listed, len(all_moved), tuple(causes), kind, words)


def _moved(key: SeriesKey, before: list[Evidence], after: list[Evidence], threshold: float) -> Moved | None:
    before.sort(key=lambda row: row.at)
    track = Track(key, before[-1].subject, before[-1].unit)
    for row in (*before, *after):
        track.add(row, 0, 0)
    runs = comparable(track)
    if runs is None:
        return None
    split = seconds(after[0].at)
    old = [(v, u) for t, v, u in zip(runs.times, runs.values, runs.uncertainties, strict=True) if t < split]
    new = [(v, u) for t, v, u in zip(runs.times, runs.values, runs.uncertainties, strict=True) if t >= split]
    if not old or not new:
        return None
    low, high = median(v for v, _ in old), median(v for v, _ in new)
    # what a meter is off by is the same in each of its readings: more of them do not make it smaller
    doubt = math.hypot(median(u for _, u in old), median(u for _, u in new))
    z = (high - low) / doubt
    return Moved(
        key=key,
        subject=after[0].subject,
        z=z,
        before=low,
        after=high,
        meter_before=before[-1].meter,
        meter_after=after[0].meter,
        operator_after=after[0].operator,
        changed=abs(z) > threshold,
    )


def _traits(one: Moved, plant: Plant) -> set[tuple[str, str]]:
    """What a series can have in common with others."""
    found = {("meter", one.meter_after), ("operator", one.operator_after)}
    terminals = [plant.terminals[place] for place in one.key.places if place in plant.terminals]
    for terminal in terminals:
        if terminal.owner in plant.connectors:
            found.add(("connector", terminal.owner))
        found |= {("shelf", terminal.shelf), ("bay", terminal.bay)}
    conductors = {one.subject} & plant.conductors.keys()
    conductors |= {c.name for terminal in terminals for c in plant.landings.get(terminal.name, ())}
    for name in conductors:
        cable = plant.cables[plant.conductors[name].cable]
        found.add(("cable", cable.name))
        found |= {("tray section", section) for section in cable.sections}
    return {(kind, name) for kind, name in found if name}


def _causes(moved: Iterable[Moved], plant: Plant) -> list[Cause]:
    everyone = list(moved)
    total, changed = len(everyone), sum(one.changed for one in everyone)
    if changed < 2:
        return []
    groups: dict[tuple[str, str], list[Moved]] = {}
    for one in everyone:
        for trait in _traits(one, plant):
            groups.setdefault(trait, []).append(one)
    found = []
    for (kind, name), group in groups.items():
        hits = [one for one in group if one.changed]
        if len(hits) < 2:
            continue
        chance = upper_tail(total, changed, len(group), len(hits))
        if chance < LIKELY:
            members = tuple(sorted({one.subject for one in hits}))
            found.append(Cause(kind, name, len(hits), len(group), chance, members))
    found.sort(key=lambda cause: (cause.chance, NARROW.index(cause.kind), cause.name))
    # what explains no change that a better one has not explained already is left out; equals are named together
    kept: list[Cause] = []
    explained: set[str] = set()
    for cause in found:
        if set(cause.members) - explained:
            kept.append(cause)
            explained |= set(cause.members)
        elif (kept[-1].kind, kept[-1].members, kept[-1].read) == (cause.kind, cause.members, cause.read):
            kept[-1] = replace(kept[-1], name=f"{kept[-1].name} or {cause.name}")
    return kept


def upper_tail(total: int, marked: int, drawn: int, hits: int) -> float:
    """Chance of at least this number of hits when some of a total are drawn blindly, a number of which are marked.

    The upper tail of the hypergeometric distribution.

    Args:
        total: how many there are.
        marked: how many of them are marked.
        drawn: how many are drawn.
        hits: how many of those drawn are marked, at least.
    """
    return min(
        1.0,
        sum(
            math.exp(_log_choose(marked, k) + _log_choose(total - marked, drawn - k) - _log_choose(total, drawn))
            for k in range(hits, min(marked, drawn) + 1)
            if 0 <= drawn - k <= total - marked
        ),
    )


def _log_choose(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)


def _meter(
    everyone: list[Moved], changed: list[Moved], causes: list[Cause]
) -> tuple[Literal["", "gain", "offset", "moved"], str]:
    """Whether the meter or its leads are the suspect: what it read later moved alike, over several cables."""
    if len(changed) < 3:
        return "", ""
    by_meter: dict[str, list[Moved]] = {}
    for one in everyone:
        by_meter.setdefault(one.meter_after, []).append(one)
    meter, group = max(by_meter.items(), key=lambda item: sum(one.changed for one in item[1]))
    ohms = [one for one in group if one.key.asks == "joined" and one.before > 0]
    hits = [one for one in group if one.changed]
    owners = {one.subject.rpartition(".")[0] for one in hits}
    best = causes[0].kind if causes else "meter"
    # most of what this meter read must have moved one way, whether each by itself stands out or not
    same_way = [one for one in ohms if one.z * _sign(hits) > 0.5]
    if best not in ("meter", "operator", "bay") and len(hits) < 0.6 * len(group):
        return "", ""
    if len(same_way) < 0.6 * len(ohms) or len(owners) < 2 or len(ohms) < 5:
        return "", ""
    ratios = [one.after / one.before for one in ohms]
    offsets = [one.after - one.before for one in ohms]
    ratio, offset = median(ratios), median(offsets)
    wide = median(abs(one - ratio) for one in ratios) / max(abs(ratio - 1.0), 1e-12)
    stray = median(abs(one - offset) for one in offsets) / max(abs(offset), 1e-12)
    name = meter or "the meter"
    start = f"{len(same_way)} of {len(ohms)} points that {name} read afterwards moved the same way"
    if min(wide, stray) > 0.5:
        return "moved", f"{start}, but not alike: look at the meter, its leads and the room before the wiring."
    if wide <= stray:
        text = f"by the same part of the reading, {(ratio - 1.0) * 100:+.1f} %"
        return "gain", f"{start}, {text}: the meter is the suspect, not the wiring."
    text = f"by the same amount, {offset:+.3g} Ω"
    return "offset", f"{start}, {text}: the leads or their zero are the suspect, not the wiring."


def _sign(hits: list[Moved]) -> float:
    return math.copysign(1.0, sum(math.copysign(1.0, one.z) for one in hits))
