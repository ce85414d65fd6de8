"""One trip with tags to a known common: every far end is touched once and says who it is.

Tags are fitted at the near end between each conductor and the common. At the far end every end is
read against the common. A reading inside one tag's interval names the end; anything else is
looked into: two ends that read alike are touched against each other, and conductors whose tags were
not seen are tried against each other at the near end with the tags off, so that joined conductors
are told by name. No end is named when joined conductors could read the same.

What one reading cannot tell: a joint of just the right hundreds of ohms in one conductor, together
with an open in the conductor whose tag it then resembles.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import inf

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.halving import counting_width, join_up, narrow, separate
from bench.diagnose.identify.naming import (
    Ambiguous,
    Colours,
    Effort,
    Identification,
    Prober,
    Shorted,
    Strange,
    check_ends,
)
from bench.diagnose.identify.tags import (
    Loop,
    Meter,
    Scale,
    Tag,
    choose,
    parallel_shows,
    short_limit,
)
from bench.diagnose.script import COMMON, Card, Clear, Fit, Script

TO_COMMON = "joined to the common"
"""What is said of an end that reads as if it had no tag."""


class TagPlan(msgspec.Struct, frozen=True):
    """Which conductor gets which tag, in one batch for each trip.

    With more conductors than tags there are several batches; ends that read open in one are read
    again in the next. Where colours are known at both ends a tag may serve once for each colour.
    """

    conductors: tuple[str, ...]
    flags: tuple[str, ...]
    batches: tuple[Mapping[str, Tag], ...]
    loop: Loop
    meter: Meter
    colours: Colours
    trust_colours: bool

    def cards(self) -> tuple[Card, ...]:
        """The far end lies free; what to fit at the near end, a card for each batch."""
        return (Card("far", (Clear(),)), *(tag_card(batch, COMMON) for batch in self.batches))

    @property
    def effort(self) -> Effort:
        """Readings needed when all is well."""
        size, left, touches = len(self.conductors), len(self.flags), 0
        if len(self.batches) > 1:
            touches += counting_width(size)
        if self.trust_colours:
            left -= len(self.colours.single(self.conductors, self.flags))
        for batch in self.batches:
            touches += left
            left -= len(batch)
        return Effort.of(size, touches)

    def script(self) -> Script[Identification]:
        """The plan carried out."""
        return _by_tags(self)


def plan_tags(
    conductors: Sequence[str],
    flags: Sequence[str],
    tags: Sequence[Tag],
    loop: Loop,
    meter: Meter,
    colours: Colours | None = None,
    trust_colours: bool = False,
) -> TagPlan:
    """Plan one trip (or as few as the tags allow) with tags to a known common.

    Args:
        conductors: their names.
        flags: the loose ends.
        tags: what is in the drawers.
        loop: between which ohms one conductor with its return lies.
        meter: how far it may be off.
        colours: as far as they are known.
        trust_colours: name an end with a colour of its own without touching it.

    Raises:
        DiagnoseError: the ends do not match, or no tags can be told apart.
    """
    check_ends(conductors, flags, 1)
    known = colours or Colours()
    left = list(conductors)
    if trust_colours:
        settled = set(known.single(conductors, flags).values())
        left = [c for c in left if c not in settled]
    batches: list[Mapping[str, Tag]] = []
    largest = choose(tags, loop, meter)
    if left and not largest:
        raise DiagnoseError("none of the tags can be told from a joined conductor with this meter")
    everywhere = all(c in known.near for c in conductors) and all(f in known.far for f in flags)
    reuse = everywhere and len(left) > len(largest)
    while left:
        batch = _slots(left, len(largest), known if reuse else None)
        fitted = choose(tags, loop, meter, max(batch.values()) + 1)
        batches.append({c: fitted[slot] for c, slot in batch.items()})
        left = [c for c in left if c not in batch]
    return TagPlan(tuple(conductors), tuple(flags), tuple(batches), loop, meter, known, trust_colours)


def _slots(left: Sequence[str], room: int, colours: Colours | None) -> dict[str, int]:
    """Numbers of tags for as many conductors as fit, one number once, or once for each colour."""
    if colours is None:
        return {c: k for k, c in enumerate(left[:room])}
    used: dict[str, int] = {}
    slots = {}
    for conductor in left:
        colour = colours.near[conductor]
        if used.get(colour, 0) < room:
            slots[conductor] = used.get(colour, 0)
            used[colour] = slots[conductor] + 1
    return slots


def tag_card(fits: Mapping[str, Tag], to: str, straight: Sequence[str] = ()) -> Card:
    """A card that frees the near end and fits tags, and some conductors straight to the point."""
    return Card(
        "near",
        (
            Clear(),
            *(Fit(c, 0.0, to) for c in straight),
            *(Fit(c, tag.ohms, to) for c, tag in fits.items()),
        ),
    )


def _by_tags(plan: TagPlan) -> Script[Identification]:
    prober = Prober()
    sorting = Sorting(plan.conductors, plan.flags, plan.colours)
    if plan.trust_colours:
        sorting.by_colour = plan.colours.single(plan.conductors, plan.flags)
    if len(plan.batches) > 1:
        yield from sorting.prove_near(prober)
    for batch in plan.batches:
        prober.trips += 1
        yield from prober.set_up(tag_card(batch, COMMON))
        readings = {}
        for flag in sorting.left():
            readings[flag] = yield from prober.ohms("far", (flag,), (COMMON,))
        yield from sorting.sort(prober, batch, readings, plan.loop, plan.meter)
    return sorting.result(prober)


class _Batch(msgspec.Struct, frozen=True):
    """What was fitted in one batch, and what was read.

    Attributes:
        tags: conductor to its tag.
        readings: end to its reading in ohms; infinity for open, None where it was not measured.
        loop: of one conductor with its return.
        meter: how far it may be off.
        straight: flag and conductor that serve as the common, where it is one of the cable's own.
        near: conductors that are joined, known by name.
    """

    tags: Mapping[str, Tag]
    readings: Mapping[str, float | None]
    loop: Loop
    meter: Meter
    straight: tuple[str, str] | None
    near: tuple[tuple[str, ...], ...]

    @property
    def short(self) -> float:
        """Ohms up to which an end is as good as on the common."""
        return short_limit(self.loop, self.meter)

    @property
    def home(self) -> dict[str, tuple[str, ...]]:
        """Conductor to the joined ones that it is among."""
        return {conductor: group for group in self.near for conductor in group}

    def ohms(self, flag: str) -> float:
        """What an end read that was measured."""
        ohms = self.readings[flag]
        assert ohms is not None
        return ohms

    def may_read(self, group: tuple[str, ...], ohms: float) -> bool:
        """Whether an end of these joined conductors may read so."""
        if self.straight and self.straight[1] in group:
            return ohms <= self.short
        tags = [self.tags[conductor] for conductor in group if conductor in self.tags]
        if not tags:
            return False
        low, high = parallel_shows(tags, self.loop, self.meter)
        return low <= ohms <= high

    def fitting(self, groups: Sequence[tuple[str, ...]], ohms: float) -> list[tuple[str, ...]]:
        """Those of some groups of joined conductors of which an end may read so."""
        return [group for group in groups if self.may_read(group, ohms)]


class _Sorted(msgspec.Struct, frozen=True):
    """Ends by what they read.

    Attributes:
        claims: conductor to the ends that read like it.
        odd: ends that fit no tag.
        groups: ends that are joined.
    """

    claims: Mapping[str, Sequence[str]]
    odd: Sequence[str]
    groups: Sequence[tuple[str, ...]]

    @property
    def group_of(self) -> dict[str, tuple[str, ...]]:
        """End to the joined ones that it is among."""
        return {flag: group for group in self.groups for flag in group}


class Sorting:
    """Sorts readings of ends against a common into names and findings, batch by batch."""

    def __init__(self, conductors: Sequence[str], flags: Sequence[str], colours: Colours) -> None:
        self.conductors = tuple(conductors)
        self.flags = tuple(flags)
        self.colours = colours
        self.names: dict[str, str] = {}
        self.by_colour: dict[str, str] = {}
        self.shorted: list[Shorted] = []
        self.ambiguous: list[Ambiguous] = []
        self.strange: list[Strange] = []
        self.near_groups: list[tuple[str, ...]] = []
        self._near_proven = False

    def left(self) -> list[str]:
        """Ends that still have to be read."""
        done = {*self.names, *self.by_colour, *(found.flag for found in self.strange)}
        done |= {f for found in self.shorted for f in found.flags}
        done |= {f for doubt in self.ambiguous for f in doubt.flags}
        return [f for f in self.flags if f not in done]

    def sort(
        self,
        prober: Prober,
        batch: Mapping[str, Tag],
        readings: Mapping[str, float | None],
        loop: Loop,
        meter: Meter,
        straight: tuple[str, str] | None = None,
    ) -> Script[None]:
        """Sort the readings of one batch.

        Args:
            prober: asks for more readings.
            batch: conductor to its tag.
            readings: end to what it read, in ohms.
            loop: between which ohms one conductor with its return lies.
            meter: how far it may be off.
            straight: flag and conductor that serve as the common, where it is one of the cable's own.
        """
        scale = Scale(sorted(set(batch.values())), loop, meter)
        claims, odd = self._claims(scale, batch, readings)
        apart = {c for group in self.near_groups for c in group}
        missing = [c for c in batch if len(claims.get(c, ())) != 1 and c not in apart]
        groups = yield from self._joined_ends(prober, scale, claims, odd, readings)
        if missing and not self._near_proven:
            self.near_groups += yield from self._joined_conductors(prober, missing)
        known = _Batch(batch, readings, loop, meter, straight, tuple(self.near_groups))
        self._settle(known, _Sorted(claims, odd, groups))

    def prove_near(self, prober: Prober) -> Script[None]:
        """Find all joined conductors at the near end, before any tag is fitted.

        Needed where some conductors have no tag yet: one of those, joined to a conductor that does not
        arrive, would read like it.
        """
        self.near_groups += yield from self._joined_conductors(prober, self.conductors)
        self._near_proven = True

    def _claims(
        self, scale: Scale, batch: Mapping[str, Tag], readings: Mapping[str, float | None]
    ) -> tuple[dict[str, list[str]], list[str]]:
        """Which ends claim which conductor, and the ends that fit none."""
        bearers: dict[Tag, list[str]] = {}
        for conductor, tag in batch.items():
            bearers.setdefault(tag, []).append(conductor)
        claims: dict[str, list[str]] = {}
        odd = []
        for flag, reading in readings.items():
            if reading is None:
                self.strange.append(Strange(flag, None, "not measured"))
            elif reading == inf:
                continue
            elif (shown := scale.tag(reading)) is None:
                odd.append(flag)
            else:
                fitting = bearers[shown]
                if len(fitting) > 1:
                    fitting = [c for c in fitting if self.colours.agree(c, flag)]
                if len(fitting) == 1:
                    claims.setdefault(fitting[0], []).append(flag)
                else:
                    odd.append(flag)
        return claims, odd

    def _joined_ends(
        self,
        prober: Prober,
        scale: Scale,
        claims: Mapping[str, Sequence[str]],
        odd: Sequence[str],
        readings: Mapping[str, float | None],
    ) -> Script[tuple[tuple[str, ...], ...]]:
        """Touch ends that read alike against each other: groups of joined ends."""
        suspects = [f for flags in claims.values() if len(flags) > 1 for f in flags]
        suspects += [f for f in odd if (readings[f] or 0.0) > scale.short]
        values = [readings[f] or 0.0 for f in suspects]
        for flag, reading in readings.items():
            # An end with a name of its own may belong to a group that reads on the edge of a tag.
            if flag in suspects or reading is None or reading == inf:
                continue
            if any(scale.alike(reading, value) for value in values):
                suspects.append(flag)
        limit = short_limit(scale.loop.doubled(), scale.meter)
        pairs = []
        left = suspects
        while left:
            first, *rest = left
            left = []
            for other in rest:
                a, b = readings[first], readings[other]
                assert a is not None and b is not None
                if not scale.alike(a, b):
                    left.append(other)
                    continue
                between = yield from prober.ohms("far", (first,), (other,))
                if between is not None and between <= limit:
                    pairs.append((first, other))
                else:
                    left.append(other)
        return join_up(suspects, pairs)

    def _joined_conductors(self, prober: Prober, missing: Sequence[str]) -> Script[tuple[tuple[str, ...], ...]]:
        """Try the conductors that were not seen against each other and the rest, at the near end."""
        yield from prober.set_up(Card("near", (Clear(),)))
        rest = [c for c in self.conductors if c not in set(missing)]

        def ask(red: Sequence[str], black: Sequence[str]) -> Script[bool]:
            return prober.joined("near", red, black)

        pairs = yield from separate(missing, ask)
        while rest and (yield from ask(missing, rest)):
            x = yield from narrow(missing, rest, ask)
            y = yield from narrow(rest, [x], ask)
            pairs.append((x, y))
            rest.remove(y)
        return join_up(self.conductors, pairs)

    def _settle(self, batch: _Batch, sorted_ends: _Sorted) -> None:
        """Give names where one explanation alone is left, and list the rest."""
        self._settle_joined(batch, sorted_ends)
        told = {group: sum(len(one.flags) for one in self.shorted if one.conductors == group) for group in batch.near}
        # joined conductors of which not every end was told
        free = [group for group in batch.near if told[group] < len(group)]
        self._settle_claims(batch, sorted_ends, free)
        for flag in sorted_ends.odd:
            if flag not in sorted_ends.group_of:
                self._settle_odd(batch, flag, free)

    def _settle_joined(self, batch: _Batch, sorted_ends: _Sorted) -> None:
        """Say which conductors the joined ends may be."""
        home = batch.home
        for flags in sorted_ends.groups:
            fitting = batch.fitting(batch.near, batch.ohms(flags[0]))
            if len(fitting) == 1:
                self.shorted.append(Shorted(flags, fitting[0]))
            elif fitting:
                several = tuple(sorted({name for group in fitting for name in group}))
                self.ambiguous.append(Ambiguous(flags, several, "several groups of joined conductors would read so"))
            else:
                claims = sorted_ends.claims.items()
                owner = tuple(name for name, ends in claims if flags[0] in ends and name not in home)
                self.shorted.append(Shorted(flags, owner))

    def _settle_claims(self, batch: _Batch, sorted_ends: _Sorted, free: Sequence[tuple[str, ...]]) -> None:
        """Name the ends that read like one conductor, where nothing else would read so."""
        home, group_of = batch.home, sorted_ends.group_of
        for conductor, ends in sorted_ends.claims.items():
            alone = [flag for flag in ends if flag not in group_of]
            if not alone:
                continue
            rivals = [group for group in free if any(batch.may_read(group, batch.ohms(flag)) for flag in alone)]
            if conductor in home:
                self._blame(alone, home[conductor], rivals)
            elif len(alone) == 1 and not rivals and not self._contested(conductor, ends, group_of):
                self.names[alone[0]] = conductor
            else:
                others = sorted({name for group in rivals for name in group})
                why = "joined conductors would read the same" if rivals else "more than one end reads like it"
                self.ambiguous.append(Ambiguous(tuple(alone), (conductor, *others), why))

    def _settle_odd(self, batch: _Batch, flag: str, free: Sequence[tuple[str, ...]]) -> None:
        """An end that fits no tag."""
        ohms = batch.ohms(flag)
        fitting = batch.fitting(free, ohms)
        if len(fitting) == 1:
            self.shorted.append(Shorted((flag,), fitting[0]))
        else:
            self.strange.append(Strange(flag, ohms, TO_COMMON if ohms <= batch.short else "fits no tag"))

    def _blame(
        self,
        alone: Sequence[str],
        group: tuple[str, ...],
        rivals: Sequence[tuple[str, ...]],
    ) -> None:
        """Ends that read like a conductor which is joined to others."""
        if all(g == group for g in rivals):
            self.shorted.append(Shorted(tuple(alone), group))
        else:
            others = tuple(sorted({c for g in (*rivals, group) for c in g}))
            self.ambiguous.append(Ambiguous(tuple(alone), others, "joined conductors would read the same"))

    def _contested(self, conductor: str, ends: Sequence[str], in_group: Mapping[str, tuple[str, ...]]) -> bool:
        """Whether a group of joined ends may hold this conductor too."""
        known = {found.flags: found.conductors for found in self.shorted}
        known |= {doubt.flags: doubt.conductors for doubt in self.ambiguous}
        return any(f in in_group and (not known[in_group[f]] or conductor in known[in_group[f]]) for f in ends)

    def result(self, prober: Prober) -> Identification:
        """All that was found."""
        shorted: dict[tuple[str, ...], list[str]] = {}
        for found in self.shorted:
            key = found.conductors or found.flags
            shorted.setdefault(key, []).extend(found.flags)
        known = {found.conductors for found in self.shorted}
        merged = tuple(Shorted(tuple(flags), key if key in known else ()) for key, flags in shorted.items())
        flags = self.left()
        spoken = {*self.names.values(), *self.by_colour.values()}
        spoken |= {c for found in merged for c in found.conductors}
        spoken |= {c for doubt in self.ambiguous for c in doubt.conductors}
        missing = [c for c in self.conductors if c not in spoken]
        unsaid = [*flags, *(odd.flag for odd in self.strange)]
        # A group of joined ends may hold the far part of a broken conductor: then nothing is left over
        # for certain.
        last = not (self.ambiguous or merged) and len(unsaid) == len(missing) == 1
        return Identification(
            names=dict(self.names),
            by_elimination={unsaid[0]: missing[0]} if last else {},
            by_colour=dict(self.by_colour),
            shorted=merged,
            ambiguous=tuple(self.ambiguous),
            strange=tuple(self.strange),
            open_flags=tuple(flags),
            open_conductors=tuple(missing),
            contradictions=(
                *self.colours.quarrels(self.conductors, self.flags),
                *self.colours.contradictions({**self.names, **self.by_colour}),
            ),
            touches=prober.touches,
            trips=max(1, prober.trips),
        )
