"""Two trips without tags: pairs clipped at one end, a chain at the other.

First every conductor is proven to be apart from the others at the near end; both ends lie free for
that. Then pairs are clipped there and found at the far end; there the ends are clipped into a chain,
and the chain is walked at the near end. The sizes found are compared with the plan on both trips
before anything is named. Where they differ, a conductor does not get through or is joined: the sound
pairs are chained all the same. The names are then proven: their ends are clipped at the far end alone, once in
pairs and once in a chain, and both must be seen at the near end exactly as the names say. No exchange of
names keeps both groupings, so names that pass are right, whatever else is broken; those that do not pass are
taken back. Every reading is taken twice by then. What is left is hung on proven ends and looked for. If the
chain can be read in two directions nothing is named, and another chain is laid with the pairs shifted by one.

Ends that are joined before anything was clipped are found at both sides first, and kept out of the chain: far
parts that touch could otherwise make up for conductors that are open, and imitate a sound pair.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from math import log2
from operator import eq
from zlib import crc32

import msgspec
from msgspec.structs import replace

from bench.diagnose.halving import counting_width
from bench.diagnose.identify.chain_reading import Reading, agreeing, readings
from bench.diagnose.identify.clip_plans import chain_links, chain_pairs, clip_card, told_sizes
from bench.diagnose.identify.grouping import Grouper, May
from bench.diagnose.identify.naming import (
    Ambiguous,
    Colours,
    Effort,
    Identification,
    Prober,
    Shorted,
    check_ends,
)
from bench.diagnose.identify.rehearsal import MOST, readings_of
from bench.diagnose.script import Card, Clear, Script

_ENOUGH = 3
"""Names that are needed to prove them: two ends can always be exchanged."""
_NO_CHAIN = "no chain fits"
_ROUNDS = 3
"""Most chains that are laid before the rest is called ambiguous."""
MOST_TURNS = 6
"""Most ways to hang the singles on one chain."""


class ChainPlan(msgspec.Struct, frozen=True, dict=True):
    """Pairs at the near end, a chain at the far end.

    Attributes:
        conductors: names that are looked for.
        flags: places at the far end.
        bar: whether a shorting bar is at hand.
        colours: of both, as far as they are known.
        turns: most ways to hang the singles on one chain.
    """

    conductors: tuple[str, ...]
    flags: tuple[str, ...]
    bar: bool
    colours: Colours
    turns: int = MOST_TURNS

    def cards(self) -> tuple[Card, Card]:
        """What to clip at the near end first, and at the far end if all is well.

        At the far end the pairs are numbered as they are found, P1 with ends P1a and P1b; ends
        without a partner are S1 and S2.
        """
        pairs = [g for g in chain_pairs(self.conductors) if len(g) == 2]
        singles = len(self.conductors) - 2 * len(pairs)
        links = chain_links(
            [(f"P{k}a", f"P{k}b") for k in range(1, len(pairs) + 1)],
            [f"S{k}" for k in range(1, singles + 1)],
        )
        return clip_card("near", chain_pairs(self.conductors)), clip_card("far", links)

    @cached_property
    def effort(self) -> Effort:
        """Readings to expect when all is well and colours are not known: those of a rehearsal, or an estimate."""
        size = len(self.conductors)
        if size <= MOST:
            bare = replace(self, colours=Colours())
            return Effort.of(size, readings_of(lambda: _Chain(bare).run(), self.conductors, self.flags))
        pairs = (size - 1) // 2
        mean = [max(1.0, log2(2 * q - 1) + 0.5) if self.bar else float(q) for q in range(1, pairs + 1)]
        proofs = 2 * counting_width(size) + 2 * counting_width(size - pairs)
        return Effort.of(size, 2 * sum(mean) + proofs)

    def script(self) -> Script[Identification]:
        """The plan carried out."""
        return _Chain(self).run()


def plan_chain(
    conductors: Sequence[str],
    flags: Sequence[str],
    bar: bool = True,
    colours: Colours | None = None,
) -> ChainPlan:
    """Plan two trips with clips on pairs.

    Args:
        conductors: their names.
        flags: the loose ends.
        bar: whether a shorting bar is at hand.
        colours: as far as they are known.

    Raises:
        DiagnoseError: the ends do not match, or there are fewer than three conductors: two cannot be told apart by
            clips.
    """
    check_ends(conductors, flags, 3)
    return ChainPlan(tuple(conductors), tuple(flags), bar, colours or Colours())


class _Chain:
    """The script of the chain."""

    def __init__(self, plan: ChainPlan) -> None:
        self._plan = plan
        self._prober = Prober()
        self._names: dict[str, str] = {}
        self._joined: dict[tuple[str, ...], tuple[str, ...]] = {}
        self._notes: list[str] = []
        self._why = _NO_CHAIN
        self._ways: list[Reading] = []
        self._hung: set[str] = set()
        self._faults: tuple[tuple[str, ...], ...] = ()
        self._there: tuple[tuple[str, ...], ...] = ()

    def run(self) -> Script[Identification]:
        """Carry the plan out."""
        plan, prober = self._plan, self._prober
        yield from prober.set_up(Card("far", (Clear(),)))
        yield from prober.set_up(Card("near", (Clear(),)))
        far = Grouper(prober, "far", plan.bar)
        there = yield from far.apart(plan.flags, [(f,) for f in plan.flags])
        # Far parts that touch could make up for conductors that are open, and imitate a sound pair.
        self._there = tuple(g for g in there if len(g) > 1)
        near = Grouper(prober, "near", plan.bar)
        # Nothing is clipped: whatever is joined here is a fault, and known by name.
        apart = yield from near.apart(plan.conductors, [(c,) for c in plan.conductors])
        self._faults = tuple(g for g in apart if len(g) > 1)
        for shift in range(_ROUNDS):
            order = [*plan.conductors[shift:], *plan.conductors[:shift]]
            yield from self._round(order)
            if self._wrong:
                # One slip among the answers that prove a name must not decide it.
                prober.agree = eq
                yield from self._prove()
            if self._names:
                break
        yield from self._rest()
        return self._result()

    @property
    def _wrong(self) -> bool:
        """Whether anything is not as planned, so that names have to be proven."""
        return bool(self._notes or self._faults or self._there)

    def _round(self, order: Sequence[str]) -> Script[None]:
        """Two trips: pairs at the near end, a chain at the far end."""
        plan, prober, faults = self._plan, self._prober, self._faults
        faulty = {c for g in faults for c in g}
        met = {f for g in self._there for f in g}
        first = (*faults, *chain_pairs([c for c in order if c not in faulty]))
        yield from prober.set_up(clip_card("near", [g for g in first if g not in faults]))
        yield from prober.set_up(Card("far", (Clear(),)))
        prober.trips += 1
        found = yield from Grouper(prober, "far", plan.bar, self._may_first(first)).pairs(
            [f for f in plan.flags if f not in met]
        )
        self._compare("far", first, (*self._there, *found))
        pairs = [g for g in found if len(g) == 2]
        singles = [g[0] for g in found if len(g) == 1]
        # a single that does not get through gives the chain no direction: another one may
        apart = not faults and not self._there
        for turn in range(min(plan.turns, len(singles)) if apart and singles else 1):
            hung = [*singles[turn:], *singles[:turn]]
            links = chain_links(pairs, hung)
            yield from prober.set_up(clip_card("far", links))
            yield from prober.set_up(Card("near", (Clear(),)))
            prober.trips += 1
            seen = yield from Grouper(prober, "near", plan.bar, self._may_second(links)).pairs(plan.conductors)
            if not faults:
                self._compare("near", links, seen)
            self._hung |= {single for link in links if len(link) > 1 for single in link if single in singles}
            self._ways = agreeing(self._ways if apart else [], readings(first, faults, seen, pairs, hung))
            if len(self._ways) < 2:
                break
        self._accept(self._ways)

    def _accept(self, readings: Sequence[Reading]) -> None:
        """Keep what all ways to read the chain agree on."""
        if not readings:
            return
        self._why = "the chain can be read in more than one way" if len(readings) > 1 else _NO_CHAIN
        for flag, conductor in readings[0].names.items():
            if all(r.names.get(flag) == conductor for r in readings):
                self._names[flag] = conductor
        for flags, conductors in readings[0].joined:
            if all((flags, conductors) in r.joined for r in readings):
                self._joined[flags] = conductors

    def _prove(self) -> Script[None]:
        """Keep the names that two more groupings at the far end bear out, and take all others back.

        Only ends that are joined to no other are clipped. Where a conductor shows in both groupings with just
        those that it should be with, it gets through, and no other order of the ends would show the same.
        """
        met = {f for g in self._there for f in g}
        faulty = {c for g in self._faults for c in g}
        claimed = bool(self._names)
        self._joined.clear()
        self._names = {f: c for f, c in self._names.items() if f not in met and c not in faulty}
        while self._names:
            mixed = _mixed(self._names)
            # Of four, one would be alone in both groupings.
            mixed = mixed[:3] if len(mixed) == 4 else mixed
            self._names = {f: self._names[f] for f in mixed} if len(mixed) >= _ENOUGH else {}
            pairs = chain_pairs(mixed)
            links = chain_links([g for g in pairs if len(g) == 2], [g[0] for g in pairs if len(g) == 1])
            doubted: set[str] = set()
            for groups in (pairs, links):
                if self._names and not doubted:
                    doubted = yield from self._unlike(groups)
            if not doubted:
                break
            for flag in doubted:
                del self._names[flag]
        if claimed and not self._names:
            self._why = "too few names were borne out when their ends were clipped anew"

    def _unlike(self, groups: Sequence[tuple[str, ...]]) -> Script[set[str]]:
        """Clip named ends in groups: those of groups that the near end does not show as they were clipped."""
        prober, names = self._prober, self._names
        yield from prober.set_up(clip_card("far", groups))
        yield from prober.set_up(Card("near", (Clear(),)))
        prober.trips += 1
        near = Grouper(prober, "near", self._plan.bar)
        doubted: set[str] = set()
        heads: dict[str, tuple[str, ...]] = {}
        for group in groups:
            first, *others = (names[f] for f in group)
            sound = True
            for other in others:
                sound = sound and (yield from near.ask([first], [other]))
            if sound:
                heads[first] = group
            else:
                doubted |= set(group)
        known = set(names.values())
        single = [*heads, *(c for c in self._plan.conductors if c not in known)]
        for merged in (yield from near.apart(single, [(c,) for c in single])):
            if len(merged) > 1:
                doubted |= {f for c in merged for f in heads.get(c, ())}
        return doubted

    def _rest(self) -> Script[None]:
        """Further trips where something was wrong: hang each end that is left on one that is named."""
        if not self._wrong:
            return
        plan, prober = self._plan, self._prober
        tried: set[str] = set()
        hits: dict[str, list[str]] = {}
        while self._names:
            left = [f for f in plan.flags if f not in self._names and f not in tried]
            if not left:
                break
            hung = dict(zip(self._names, left, strict=False))
            yield from prober.set_up(clip_card("far", list(hung.items())))
            yield from prober.set_up(Card("near", (Clear(),)))
            prober.trips += 1
            tried |= set(hung.values())
            yield from self._look(Grouper(prober, "near", plan.bar), hung, hits)
        # Only now, when every end was hung once, is it known who answers to one end alone.
        self._sort_hits(hits)

    def _look(self, near: Grouper, hung: Mapping[str, str], hits: dict[str, list[str]]) -> Script[None]:
        """Find the conductors of the ends that were hung on proven ones, and add them to hits."""
        by_head = {self._names[flag]: other for flag, other in hung.items()}
        known = set(self._names.values())
        for conductor in self._plan.conductors:
            if conductor not in known:
                mates = yield from near.all_mates(conductor, list(by_head))
                if mates:
                    hits.setdefault(conductor, []).extend(by_head[m] for m in mates)

    def _sort_hits(self, hits: Mapping[str, Sequence[str]]) -> None:
        owners: dict[str, list[str]] = {}
        for conductor, flags in hits.items():
            for flag in flags:
                owners.setdefault(flag, []).append(conductor)
        for conductor, flags in hits.items():
            if len(flags) == 1 and owners[flags[0]] == [conductor]:
                self._names[flags[0]] = conductor
            else:
                group = tuple(flags)
                held = tuple(c for c in hits if set(hits[c]) & set(flags))
                self._joined[group] = held

    def _compare(self, end: str, planned: Sequence[Sequence[str]], found: Sequence[Sequence[str]]) -> None:
        expected, seen = (sorted(map(len, groups), reverse=True) for groups in (planned, found))
        if expected != seen:
            note = (
                f"groups at the {end} end: expected {told_sizes(expected)}, found {told_sizes(seen)}; a "
                "conductor does not get through, is joined to another, or a clip is off"
            )
            if note not in self._notes:
                self._notes.append(note)

    def _may_first(self, first: Sequence[Sequence[str]]) -> May:
        """Whether two far ends may be a pair, by the colours of the pairs that were clipped."""
        near, far = self._plan.colours.near, self._plan.colours.far
        if not near or not far:
            return lambda one, other: True
        together = {
            pair
            for group in first
            if len(group) > 1
            for a, b in (group[:2], group[1::-1])
            for pair in ((near.get(a), near.get(b)),)
        }
        return lambda one, other: _fits(far.get(one), far.get(other), together)

    def _may_second(self, links: Sequence[Sequence[str]]) -> May:
        near, far = self._plan.colours.near, self._plan.colours.far
        if not near or not far:
            return lambda one, other: True
        together = {(far.get(a), far.get(b)) for link in links for a in link for b in link if a != b}
        return lambda one, other: _fits(near.get(one), near.get(other), together)

    def _either(self) -> tuple[dict[str, None], dict[str, None]]:
        """Ends and conductors that some way to read the chains names, where all the others are open.

        With nothing joined whatever gets through shows in a pair, or hung on one. Empty where that is not so.
        """
        named = {flag for way in self._ways for flag in way.names}
        if self._faults or self._there or not named or not self._hung >= set(self._plan.flags) - named:
            return {}, {}
        conductors = {name for way in self._ways for name in way.names.values()}
        if len(named) != len(conductors):
            return {}, {}
        return (
            {flag: None for flag in self._plan.flags if flag in named},
            {name: None for name in self._plan.conductors if name in conductors},
        )

    def _part_joined(self) -> None:
        """Take back the names of ends that are joined at the far end: each may be any of them."""
        for group in self._there:
            met = [flags for flags in self._joined if set(flags) & set(group)]
            held = [self._names.pop(flag) for flag in group if flag in self._names]
            flags = dict.fromkeys((*group, *(flag for one in met for flag in one)))
            held += [name for one in met for name in self._joined.pop(one)]
            self._joined[tuple(flags)] = tuple(dict.fromkeys(held))

    def _result(self) -> Identification:
        self._part_joined()
        plan, faults = self._plan, self._faults
        shorted = [Shorted(flags, held) for flags, held in self._joined.items()]
        told = {c for found in shorted for c in found.conductors}
        shorted += [Shorted((), group) for group in faults if not told.issuperset(group)]
        spoken = {*self._names.values(), *(c for s in shorted for c in s.conductors)}
        done = {*self._names, *(f for s in shorted for f in s.flags)}
        flags = [f for f in plan.flags if f not in done]
        missing = [c for c in plan.conductors if c not in spoken]
        last = len(flags) == len(missing) == 1 and not shorted
        eliminated = {flags[0]: missing[0]} if last else {}
        lost = bool(flags) and not self._names
        either = self._either() if lost else ({}, {})
        unsure = Ambiguous(tuple(either[0]) or tuple(flags), tuple(either[1]) or tuple(missing), self._why)
        if (lost and not either[0]) or (last and not self._notes):
            flags = missing = []
        return Identification(
            names=dict(self._names),
            by_elimination=eliminated,
            shorted=tuple(shorted),
            ambiguous=(unsure,) if lost else (),
            open_flags=tuple(flag for flag in flags if flag not in either[0]),
            open_conductors=tuple(name for name in missing if name not in either[1]),
            contradictions=(
                *self._notes,
                *plan.colours.quarrels(plan.conductors, plan.flags),
                *plan.colours.contradictions(self._names),
            ),
            touches=self._prober.touches,
            trips=self._prober.trips,
        )


def _mixed(flags: Iterable[str]) -> list[str]:
    """Ends in an order that has nothing to do with any chain."""
    return sorted(flags, key=lambda flag: (crc32(flag.encode()), flag))


def _fits(one: str | None, other: str | None, together: set[tuple[str | None, str | None]]) -> bool:
    """Whether two colours, None for unknown, may be one of these combinations."""
    return any(_alike(one, first) and _alike(other, second) for first, second in together)


def _alike(one: str | None, other: str | None) -> bool:
    return one is None or other is None or one == other
