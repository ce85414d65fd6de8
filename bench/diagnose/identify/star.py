"""One trip with tags and no known common: all tags meet in a floating star.

One conductor, the direct one, goes to the star without a tag, so it reads 0 ohm to it. At the far
end nobody knows which end that is. Take any end as hub and read every other end against it: the
lowest reading points to the direct one, which is the next hub. Whether a hub is the direct one is
proven with a triangle: of three ends with resistances r to the star, the readings are sums of two,
so r1 = (R12 + R13 - R23) / 2, whatever the tags. Once proven, the hub is a known common, and the
readings taken from it are sorted as in a search with tags, with twice the loop.

Where the readings from the hub are not just what the plan expects, anything may be odd, a slip of the probe
among it: then each of them is taken again, the hub is proven once more with what is confirmed, and every
reading from there on is taken twice.

When no triangle can prove it, both the hub and the lowest tag may be the direct one: then nothing
is named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import inf

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.halving import counting_width
from bench.diagnose.identify.naming import (
    Ambiguous,
    Colours,
    Effort,
    Identification,
    Prober,
    Shorted,
    check_ends,
)
from bench.diagnose.identify.tag import TO_COMMON, Sorting, tag_card
from bench.diagnose.identify.tags import Loop, Meter, Scale, Tag, apart, short_limit, shows
from bench.diagnose.script import STAR, Card, Clear, Script


class StarPlan(msgspec.Struct, frozen=True):
    """Which conductor gets which tag to the star, and which goes there directly.

    With more conductors than tags the rest lies free; once the direct one is known it serves as the common for further
    batches.

    Attributes:
        conductors: their names.
        flags: the loose ends.
        direct: the conductor without a tag.
        batches: conductor to its tag, a batch for each trip.
        loop: between which ohms one conductor with its lead lies.
        meter: how far it may be off.
        colours: as far as they are known.
    """

    conductors: tuple[str, ...]
    flags: tuple[str, ...]
    direct: str
    batches: tuple[Mapping[str, Tag], ...]
    loop: Loop
    meter: Meter
    colours: Colours

    def cards(self) -> tuple[Card, ...]:
        """The far end lies free; what to fit at the near end, a card for each batch."""
        return (Card("far", (Clear(),)), *(tag_card(batch, STAR, (self.direct,)) for batch in self.batches))

    @property
    def effort(self) -> Effort:
        """Readings needed when all is well: a first hub, the direct one, and two triangles."""
        left = len(self.flags) - 1
        touches = left + 1 + left - 1 + 1
        if len(self.batches) > 1:
            touches += counting_width(len(self.conductors))
        for batch in self.batches[:-1]:
            left -= len(batch)
            touches += left
        return Effort.of(len(self.conductors), touches)

    def script(self) -> Script[Identification]:
        """The plan carried out."""
        return _by_star(self)


def plan_star(
    conductors: Sequence[str],
    flags: Sequence[str],
    tags: Sequence[Tag],
    loop: Loop,
    meter: Meter,
    colours: Colours | None = None,
    direct: str | None = None,
) -> StarPlan:
    """Plan one trip (or as few as the tags allow) with tags to a floating star.

    The lowest tags are used, as close to each other as they may be: a lone low tag far below the next could not be told
    from the direct conductor.

    Args:
        conductors: their names.
        flags: the loose ends.
        tags: what is in the drawers.
        loop: between which ohms one conductor with its lead lies.
        meter: how far it may be off.
        colours: as far as they are known.
        direct: the conductor to leave without a tag, best one that is known to be sound; the first if not given.

    Raises:
        DiagnoseError: the ends do not match, there are fewer than three conductors (with two the ends can be
            exchanged), or fewer than two tags can be told apart.
    """
    check_ends(conductors, flags, 3)
    first = conductors[0] if direct is None else direct
    if first not in conductors:
        raise DiagnoseError(f"direct conductor {first} is not one of the conductors")
    usable = apart(tags, loop.doubled(), meter)
    if len(usable) < 2:
        raise DiagnoseError(f"{len(usable)} tags can be told apart; expected two or more")
    if not _provable(usable, loop, meter):
        raise DiagnoseError(
            f"the two lowest tags, {usable[0].ohms:g} and {usable[1].ohms:g} ohm, cannot prove which "
            "end is the direct one; expected two low tags near each other, or a better meter"
        )
    left = [c for c in conductors if c != first]
    batches = []
    while left:
        batch = left[: len(usable)]
        batches.append(dict(zip(batch, usable, strict=False)))
        left = left[len(usable) :]
    return StarPlan(tuple(conductors), tuple(flags), first, tuple(batches), loop, meter, colours or Colours())


def _provable(usable: Sequence[Tag], loop: Loop, meter: Meter) -> bool:
    """Whether a triangle of the direct conductor and the two lowest tags proves it, at worst."""

    def most(ohms: float) -> float:
        return meter.true_range(ohms * (1 + meter.gain) + meter.offset)[1]

    def least(ohms: float) -> float:
        return meter.true_range(ohms * (1 - meter.gain) - meter.offset)[0]

    one, two = (tag.within()[1] + loop.high for tag in usable[:2])
    worst = (most(loop.high + one) + most(loop.high + two) - least(one + two)) / 2
    return worst < usable[0].within()[0] / 3


def _by_star(plan: StarPlan) -> Script[Identification]:
    prober = Prober()
    sorting = Sorting(plan.conductors, plan.flags, plan.colours)
    direct, batches = plan.direct, list(plan.batches)
    if len(batches) > 1:
        yield from sorting.prove_near(prober)
    prober.trips += 1
    yield from prober.set_up(tag_card(batches[0], STAR, (direct,)))
    search = _HubSearch(plan, min(batches[0].values()))
    hub = yield from search.run(prober, search.likely(direct))
    if hub is None and search.instead is not None:
        # The direct conductor does not arrive: another one, known by its tag, takes its place.
        flag, tag = search.instead
        direct = next(c for c, t in batches[0].items() if t == tag)
        batches = _refitted(plan, direct)
        prober.trips += 1
        yield from prober.set_up(tag_card(batches[0], STAR, (direct,)))
        search.forget()
        hub = yield from search.run(prober, flag)
    if hub is None:
        return _unproven(sorting, search, prober)
    sorting.names[hub] = direct
    for number, batch in enumerate(batches):
        if number:
            prober.trips += 1
            yield from prober.set_up(tag_card(batch, STAR, (direct,)))
        readings: dict[str, float | None] = {}
        for flag in sorting.left():
            known = search.known(hub, flag) if not number else None
            readings[flag] = known if known is not None else (yield from prober.ohms("far", (hub,), (flag,)))
        if prober.agree is None and not _as_planned(plan, batch, readings):
            prober.agree = Scale((), plan.loop.doubled(), plan.meter).alike
            if number:
                yield from _confirm(sorting, prober, hub, readings)
            else:
                del sorting.names[hub]
                search.doubt()
                hub = yield from search.run(prober, hub)
                if hub is None:
                    return _unproven(sorting, search, prober)
                sorting.names[hub] = direct
                readings = {flag: search.settled(hub, flag) for flag in sorting.left()}
            if len(batches) > 1:
                sorting.near_groups = []
                yield from sorting.prove_near(prober)
        loop = plan.loop.doubled()
        yield from sorting.sort(prober, batch, readings, loop, plan.meter, (hub, direct))
    _joined_to_hub(sorting, hub, direct)
    return sorting.result(prober)


def _unproven(sorting: Sorting, search: _HubSearch, prober: Prober) -> Identification:
    """What is said where no end is proven to be the direct conductor's."""
    live = tuple(f for f in sorting.flags if f not in search.dead)
    if live:
        sorting.ambiguous.append(Ambiguous(live, sorting.conductors, search.why))
    return sorting.result(prober)


def _as_planned(plan: StarPlan, batch: Mapping[str, Tag], readings: Mapping[str, float | None]) -> bool:
    """Whether each tag of a batch is read once, and all other ends are open."""
    scale = Scale(sorted(batch.values()), plan.loop.doubled(), plan.meter)
    shown = [scale.tag(ohms) for ohms in readings.values() if ohms is not None and ohms < inf]
    return None not in readings.values() and None not in shown and len(shown) == len(set(shown)) == len(batch)


def _confirm(sorting: Sorting, prober: Prober, hub: str, readings: dict[str, float | None]) -> Script[None]:
    """Take the readings of a later batch again, and those of the ends that were named before.

    The conductors of the batches before lie free now: an end that was named as one of them must read open.
    """
    for flag, ohms in readings.items():
        readings[flag] = yield from prober.ohms("far", (hub,), (flag,), before=ohms)
    for flag in [f for f in sorting.names if f != hub]:
        ohms = yield from prober.ohms("far", (hub,), (flag,))
        if ohms != inf:
            del sorting.names[flag]
            readings[flag] = ohms


def _joined_to_hub(sorting: Sorting, hub: str, direct: str) -> None:
    """Take the hub's name back where something is joined to it: the hub may be that as well."""
    mates = [odd for odd in sorting.strange if odd.why == TO_COMMON]
    group = next((g for g in sorting.near_groups if direct in g), (direct,))
    if mates or len(group) > 1:
        del sorting.names[hub]
        sorting.strange = [odd for odd in sorting.strange if odd not in mates]
        sorting.shorted.append(Shorted((hub, *(odd.flag for odd in mates)), group))


def _refitted(plan: StarPlan, direct: str) -> list[Mapping[str, Tag]]:
    """Batches with another direct conductor; the first one lies free, since it does not arrive."""
    usable = sorted(plan.batches[0].values())
    left = [c for c in plan.conductors if c not in (direct, plan.direct)]
    batches: list[Mapping[str, Tag]] = []
    while left:
        batches.append(dict(zip(left, usable, strict=False)))
        left = left[len(usable) :]
    return batches


class _HubSearch:
    """Looks for the end of the direct conductor.

    `dead` are ends that read open. `instead` is an end that surely bears a certain tag, found when
    the direct conductor is surely none of the live ends.
    """

    def __init__(self, plan: StarPlan, lowest: Tag) -> None:
        self._plan = plan
        self._loop, self._meter = plan.loop, plan.meter
        self._tags = tuple(plan.batches[0].values())
        # Even three of the lowest tags in parallel read more than this.
        self._least = lowest.within()[0] / 3
        self._lowest = shows(*lowest.within(), plan.loop.doubled(), plan.meter)[0]
        self._short = short_limit(plan.loop.doubled(), plan.meter)
        self._read: dict[frozenset[str], float] = {}
        self._doubted: dict[frozenset[str], float] = {}
        self._unsettled: set[frozenset[str]] = set()
        self.dead: set[str] = set()
        self.instead: tuple[str, Tag] | None = None
        self.why = "the direct conductor cannot be told from the lowest tag"

    def known(self, hub: str, flag: str) -> float | None:
        """A reading that was taken already, or must be open."""
        if flag in self.dead:
            return inf
        return self._read.get(frozenset((hub, flag)))

    def forget(self) -> None:
        """Drop all readings, because the tags were fitted anew."""
        self._read.clear()
        self.dead.clear()
        self.instead = None

    def doubt(self) -> None:
        """Have every reading confirmed before it is used again."""
        self._doubted = dict(self._read)
        self.forget()

    def settled(self, hub: str, flag: str) -> float | None:
        """A reading that was taken already, None where it could not be settled."""
        return None if frozenset((hub, flag)) in self._unsettled else self.known(hub, flag)

    def _between(self, prober: Prober, hub: str, flag: str) -> Script[float]:
        known = self.known(hub, flag)
        if known is not None:
            return known
        ends = frozenset((hub, flag))
        value = yield from prober.ohms("far", (hub,), (flag,), before=self._doubted.get(ends))
        if value is None:
            self._unsettled.add(ends)
        self._read[ends] = inf if value is None else value
        return self._read[ends]

    def likely(self, direct: str) -> str:
        """The end to begin with: one of the direct conductor's colour, if there is any."""
        colours = self._plan.colours
        agreeing = [f for f in self._plan.flags if colours.agree(direct, f)]
        sure = [f for f in agreeing if f in colours.far]
        return (sure or agreeing or list(self._plan.flags))[0]

    def run(self, prober: Prober, start: str) -> Script[str | None]:
        """The end that is proven to be the direct conductor's, or None."""
        tried: dict[str, tuple[float, float] | None] = {}
        hub: str | None = start
        while hub is not None:
            readings = {}
            for flag in self._plan.flags:
                if flag != hub and flag not in self.dead:
                    readings[flag] = yield from self._between(prober, hub, flag)
            live = sorted((ohms, flag) for flag, ohms in readings.items() if ohms < inf)
            if not live:
                self.dead.add(hub)
                tried[hub] = None
                hub = next((f for f in self._plan.flags if f not in tried), None)
                continue
            self.dead |= {flag for flag, ohms in readings.items() if ohms == inf}
            others = [flag for ohms, flag in live if ohms > self._short]
            own = yield from self._own(prober, hub, others)
            tried[hub] = own
            # An end that reads less than any tag may be the direct one just as well: try it too.
            low = bool(others) and readings[others[0]] < self._lowest
            if own is not None and self._is_direct(own) and not low:
                return hub
            hub = next((f for f in others[:2] if f not in tried), None)
        owns = {f: own for f, own in tried.items() if own is not None}
        direct = [f for f, own in owns.items() if self._is_direct(own)]
        # Several may be the direct one only if they are joined to each other.
        between = [self.known(direct[0], other) for other in direct[1:]]
        if direct and all(ohms is not None and ohms <= self._short for ohms in between):
            return direct[0]
        if not direct:
            self._fall_back(owns)
        return None

    def _is_direct(self, own: tuple[float, float]) -> bool:
        """Whether a way to the star is surely that of no tag, nor of a few in parallel."""
        return own[0] <= self._loop.high and own[1] < self._least

    def _own(self, prober: Prober, hub: str, others: Sequence[str]) -> Script[tuple[float, float] | None]:
        """Between which resistances the hub's own way to the star lies, from one triangle."""
        if not others:
            return None
        first = others[0]
        for second in others[1:]:
            across = yield from self._between(prober, first, second)
            if across <= self._short or across == inf:
                continue
            low1, high1 = self._meter.true_range(self._read[frozenset((hub, first))])
            low2, high2 = self._meter.true_range(self._read[frozenset((hub, second))])
            low3, high3 = self._meter.true_range(across)
            return (low1 + low2 - high3) / 2, (high1 + high2 - low3) / 2
        return None

    def _fall_back(self, owns: Mapping[str, tuple[float, float]]) -> None:
        """See whether the direct conductor is surely missing, and which end has a sure tag."""
        if not owns or any(low <= self._loop.high for low, _ in owns.values()):
            return
        for flag, (low, high) in owns.items():
            fitting = [
                tag
                for tag in self._tags
                if tag.within()[0] + self._loop.low <= high and low <= tag.within()[1] + self._loop.high
            ]
            joined = any(flag in pair and ohms <= self._short for pair, ohms in self._read.items())
            if len(fitting) == 1 and not joined:
                self.instead = flag, fitting[0]
                return
        self.why = "the direct conductor does not arrive, and no end has a sure tag to take its place"
