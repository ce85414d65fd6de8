"""What to look at next: the trip that settles most a minute, so that nobody climbs twice for what one climb gives.

A trip goes along the bays, one stop at each. At a stop one conductor of some ends gets a tag, and other ends are
touched: each touch tells which of the ends tagged so far it is, or none. So one walk through the hall settles pairs
between many bays, where ringing pair after pair would climb twice for each. While somebody is up the ladder anyway,
labels are read again, conductors counted and lengths taped where that tells more a minute than the trip as a whole.

Stops and ends are added one by one, the one that settles most for its minutes first, as long as that is not much less
than what the trip gives on average. What counts is the number of ends that will be sure afterwards, and a part of the
bits: a pair that is nearly sure has hardly a bit left, and still somebody has to look. How many bits a whole trip
tells is the entropy of what it may find, over the answers drawn from the belief, so two twins that can only be told
apart as a whole count one bit and not two. (Bits of an experiment whose outcome follows from the truth: Lindley 1956;
from memory.)

A gentle pull at one end while somebody feels at another tells less than a touch in about the same minutes, so it is
asked for only where the conductors of an end cannot be touched. Its bits are those of an answer that is wrong with a
known chance e: h(p(1 - e) + (1 - p)e) - h(e).

A few pins of a free place are read where what they tell of the end that belongs there is worth its minutes beside the
rest; see :mod:`bench.diagnose.survey.places_to_read`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import Final, Literal

import msgspec
import numpy as np

from bench.diagnose.survey.belief import Answer
from bench.diagnose.survey.matching import ALONE, Floats, Ints
from bench.diagnose.survey.places_to_read import PlaceRead, places_to_read
from bench.diagnose.survey.rates import SURE, Costs
from bench.plant.finds import UNREAD, LooseEnd

Look = Literal["label", "count", "tape"]
MOST_TAGS: Final = 24
"""Tags of one trip: half of the values of E24 that a cheap meter tells apart by one reading each, frame and all."""
_UNLIKELY: Final = (0.02, 0.004, 0.0005)
"""A pair with a smaller chance is not tried; where nothing is left above, the next figure holds."""
_UNSURE: Final = 0.004
"""A chance nearer than this to 0 or 1 has nothing left to tell."""
_GO_ON: Final = 0.5
"""A trip grows while what is added settles at least this part of its average: who is there need not come back."""
_BITS: Final = 0.5
"""What a bit counts, where an end that becomes sure counts one."""
_DRAWN: Final = 1024
_TELLS_NOTHING: Final = 0.01
"""Bits below which a pull is not worth its minutes."""
_READ_NEXT_TIME: Final = 0.5
"""Chance that a sign that could not be read is read by better light; an assumption."""


class Looking(msgspec.Struct, frozen=True):
    """Something to look at once more."""

    end: str
    look: Look
    bits: float
    minutes: float


class Stop(msgspec.Struct, frozen=True):
    """One bay of a trip.

    Attributes:
        bay: the bay.
        tagged: the ends that get a tag here; where a trip has a single one it is clipped.
        touched: the ends that are touched here, after that.
        looks: what is looked at here.
        felt: ends to feel at here, each with the end that somebody pulls at gently meanwhile.
        reads: places of which a few pins are read here, once each was proved dead.
    """

    bay: str
    tagged: tuple[str, ...] = ()
    touched: tuple[str, ...] = ()
    looks: tuple[Looking, ...] = ()
    felt: tuple[tuple[str, str], ...] = ()
    reads: tuple[PlaceRead, ...] = ()


class Trip(msgspec.Struct, frozen=True):
    """One trip.

    Attributes:
        stops: in the order of the walk.
        minutes: what it takes.
        bits: what it tells.
        settles: ends that will probably be sure afterwards.
    """

    stops: tuple[Stop, ...]
    minutes: float
    bits: float
    settles: float

    @property
    def rate(self) -> float:
        """What it is worth a minute."""
        return (self.settles + _BITS * self.bits) / self.minutes

    @property
    def tagged(self) -> tuple[str, ...]:
        """All ends that get a tag, in the order of the walk."""
        return tuple(name for stop in self.stops for name in stop.tagged)

    @property
    def touches(self) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
        """Every touch in order: the bay, the end, and the ends that are tagged by then."""
        found: list[tuple[str, str, tuple[str, ...]]] = []
        tagged: tuple[str, ...] = ()
        for stop in self.stops:
            tagged = (*tagged, *stop.tagged)
            found += [(stop.bay, name, tagged) for name in stop.touched]
        return tuple(found)

    @property
    def pulls(self) -> tuple[tuple[str, str, str], ...]:
        """Every pull in order: the bay where somebody feels, the end there, and the end that is pulled at."""
        return tuple((stop.bay, felt, pulled) for stop in self.stops for felt, pulled in stop.felt)

    @property
    def reads(self) -> tuple[tuple[str, PlaceRead], ...]:
        """Every place of which pins are read, in order, with its bay."""
        return tuple((stop.bay, read) for stop in self.stops for read in stop.reads)

    @property
    def looks(self) -> tuple[Looking, ...]:
        """All that is looked at."""
        return tuple(look for stop in self.stops for look in stop.looks)

    @property
    def climbs(self) -> int:
        """Ladders climbed."""
        return len(self.stops)

    @property
    def last_bay(self) -> str:
        """Where the trip ends."""
        return self.stops[-1].bay


class _Draws:
    """Answers drawn from the belief, and how finely what was asked so far tells them apart."""

    def __init__(self, mates: Ints) -> None:
        self.mates = mates
        self.cells = np.zeros(len(mates), dtype=np.int64)

    def refined(self, by: Ints) -> tuple[float, Ints]:
        """Bits, and cells, if something more were told of each drawn answer."""
        _, cells, counts = np.unique(
            self.cells * (int(by.max(initial=0)) + 2) + by + 1, return_inverse=True, return_counts=True
        )
        share = counts / counts.sum()
        return float(-(share * np.log2(share)).sum()), cells


def next_trips(
    answer: Answer, costs: Costs | None = None, here: str = "", most: int = 3, tags: int = MOST_TAGS
) -> tuple[Trip, ...]:
    """The trips that settle most a minute; the best first.

    Args:
        answer: what is believed.
        costs: what acts take.
        here: the bay where one stands; empty where it does not matter.
        most: trips at most.
        tags: ends that can be tagged at once: as many values as the meter tells apart.
    """
    for least in _UNLIKELY:
        found = sorted(_Planner(answer, costs or Costs(), here, least, tags).trips(), key=_by_rate)
        if any(trip.touches or trip.pulls for trip in found):
            break
    return tuple(found[:most])


def _by_rate(trip: Trip) -> tuple[float, str]:
    return -trip.rate, trip.stops[0].bay


class _Sweep(msgspec.Struct):
    """A trip that grows: bays in one direction."""

    order: dict[str, int]
    """Bay to its place in the direction of the walk."""
    tagged: list[int]
    touched: list[int]
    bays: set[str]
    minutes: float = 0.0
    worth: float = 0.0


class _Planner:
    def __init__(self, answer: Answer, costs: Costs, here: str, least: float, tags: int) -> None:
        self._answer, self._costs, self._here, self._tags = answer, costs, here, tags
        self._ends = answer.pile.ends
        bays = [*answer.pile.hall.bays, *sorted({end.bay for end in self._ends} - set(answer.pile.hall.bays))]
        self._bay_at = {bay: number for number, bay in enumerate(bays)}
        samples = answer.samples
        self._mates = samples[:: max(1, len(samples) // _DRAWN)]
        sure = np.maximum(answer.mates.max(axis=1, initial=0.0), answer.alone) >= SURE
        unsure = (answer.mates > least) & (answer.mates < 1.0 - _UNSURE)
        # an end that is sure has nothing left to tell
        self._unsure = unsure & ~sure[:, None] & ~sure[None, :]
        told = 2.0 * answer.mates + _BITS * _bits_of(answer.mates)
        sealed = np.array([end.sealed for end in self._ends], dtype=bool)
        self._by_pull = self._unsure & (sealed[:, None] | sealed[None, :])
        self._unsure = self._unsure & ~self._by_pull
        self._worth = np.where(self._unsure, told, 0.0)
        self._looks = {bay: list(self._looks_at(bay)) for bay in {end.bay for end in self._ends}}
        self._reads = places_to_read(answer, costs)

    def trips(self) -> Iterable[Trip]:
        """Walks in both directions, and climbs to a single bay for what is worth looking at there."""
        for ahead in (1, -1):
            sweep = self._swept({bay: ahead * number for bay, number in self._bay_at.items()})
            if sweep is not None:
                yield self._made(sweep)
        for bay in sorted({end.bay for end in self._ends}):
            looking = self._only_looking(bay)
            if looking is not None:
                yield looking
        yield from self._pulling()
        yield from self._reading()

    def _swept(self, order: dict[str, int]) -> _Sweep | None:
        """The best trip in one direction."""
        sweep = _Sweep(order, [], [], set())
        while True:
            best: tuple[float, float, float, int, int] | None = None
            for one, other in zip(*np.nonzero(self._unsure), strict=True):
                tag, touch = int(one), int(other)
                gain, cost = self._addition(sweep, tag, touch)
                if gain > 0 and (best is None or gain / cost > best[0]):
                    best = gain / cost, gain, cost, tag, touch
            if best is None or (sweep.tagged and best[0] < _GO_ON * sweep.worth / sweep.minutes):
                break
            _, gain, cost, tag, touch = best
            sweep.minutes, sweep.worth = sweep.minutes + cost, sweep.worth + gain
            if tag not in sweep.tagged:
                sweep.tagged.append(tag)
            if touch not in sweep.touched:
                sweep.touched.append(touch)
            sweep.bays |= {self._ends[tag].bay, self._ends[touch].bay}
        return sweep if sweep.tagged else None

    def _addition(self, sweep: _Sweep, tag: int, touch: int) -> tuple[float, float]:
        """What it is worth to have one end tagged and another touched besides, and what it takes."""
        new_tag, new_touch = tag not in sweep.tagged, touch not in sweep.touched
        if not (new_tag or new_touch) or tag in sweep.touched or touch in sweep.tagged:
            return 0.0, 1.0
        if new_tag and len(sweep.tagged) >= self._tags:
            return 0.0, 1.0
        order = sweep.order
        if order[self._ends[tag].bay] > order[self._ends[touch].bay]:
            return 0.0, 1.0
        gain = float(self._worth[tag, touch])
        if new_tag:
            gain += sum(self._worth[tag, end] for end in sweep.touched if self._after(order, tag, end))
        if new_touch:
            gain += sum(self._worth[end, touch] for end in sweep.tagged if self._after(order, end, touch))
        cost = self._costs.tag * new_tag + self._costs.touch * new_touch
        bays = sweep.bays | {self._ends[tag].bay, self._ends[touch].bay}
        cost += self._costs.climb * (len(bays) - len(sweep.bays))
        cost += self._way(order, bays) - self._way(order, sweep.bays)
        return gain, cost

    def _after(self, order: dict[str, int], tag: int, touch: int) -> bool:
        return order[self._ends[tag].bay] <= order[self._ends[touch].bay]

    def _way(self, order: dict[str, int], bays: Collection[str]) -> float:
        """Minutes of the walk from where one stands through some bays."""
        here, minutes = self._here, 0.0
        for bay in sorted(bays, key=order.__getitem__):
            minutes += self._walk(here, bay)
            here = bay
        return minutes

    def _walk(self, start: str, to: str) -> float:
        """Minutes from one bay to another; nothing within one."""
        if start == to:
            return 0.0
        apart = abs(self._bay_at.get(start, 0) - self._bay_at.get(to, 0)) if start else 0
        return self._costs.walk + self._costs.per_bay * apart

    def _made(self, sweep: _Sweep) -> Trip:
        minutes = sweep.minutes
        if len(sweep.tagged) == 1:
            minutes += self._costs.clip - self._costs.tag
        draws = _Draws(self._mates)
        bits, settles = 0.0, 0.0
        for touch in sweep.touched:
            tagged = [tag for tag in sweep.tagged if self._after(sweep.order, tag, touch)]
            bits, draws.cells = draws.refined(_among(self._mates[:, touch], tagged))
            settles += 2.0 * float(self._answer.mates[touch, tagged].sum())
        stops = []
        rate = (settles + _BITS * bits) / minutes
        for bay in sorted(sweep.bays, key=sweep.order.__getitem__):
            looks = [look for look in self._looks.get(bay, ()) if look.bits / look.minutes >= rate]
            reads = [read for read in self._reads_in(bay) if read.bits / read.minutes >= rate]
            minutes += sum(look.minutes for look in looks) + sum(read.minutes for read in reads)
            bits += sum(look.bits for look in looks) + sum(read.bits for read in reads)
            stops.append(
                Stop(
                    bay,
                    tuple(self._ends[tag].name for tag in sweep.tagged if self._ends[tag].bay == bay),
                    tuple(self._ends[touch].name for touch in sweep.touched if self._ends[touch].bay == bay),
                    tuple(looks),
                    reads=tuple(reads),
                )
            )
        return Trip(tuple(stops), minutes, bits, settles)

    def _only_looking(self, bay: str) -> Trip | None:
        """A climb to one bay to look at things there."""
        minutes, bits = self._walk(self._here, bay) + self._costs.climb, 0.0
        worth: list[Looking] = []
        for look in sorted(self._looks.get(bay, ()), key=_look_rate):
            if worth and look.bits / look.minutes < bits / minutes:
                break
            worth.append(look)
            minutes, bits = minutes + look.minutes, bits + look.bits
        if bits <= 0.05:
            return None
        return Trip((Stop(bay, looks=tuple(worth)),), minutes, bits, 0.0)

    def _reads_in(self, bay: str) -> list[PlaceRead]:
        """The places of a bay that can be read by themselves, the most telling a minute first."""
        return [read for read in self._reads if read.bay == bay and not read.beside]

    def _reading(self) -> Iterable[Trip]:
        """A climb to read pins of places in one bay; and two places, where none of their kind was read."""
        for bay in sorted({read.bay for read in self._reads}):
            minutes, bits = self._walk(self._here, bay) + self._costs.climb, 0.0
            worth: list[PlaceRead] = []
            for read in self._reads_in(bay):
                if worth and read.bits / read.minutes < bits / minutes:
                    break
                worth.append(read)
                minutes, bits = minutes + read.minutes, bits + read.bits
            if worth:
                yield Trip((Stop(bay, reads=tuple(worth)),), minutes, bits, 0.0)
        for beside, there, bay in sorted({(one.beside, one.beside_bay, one.bay) for one in self._reads if one.beside}):
            bays = list(dict.fromkeys((there, bay)))
            minutes = self._costs.pins + self._costs.climb * len(bays)
            minutes += self._walk(self._here, bays[0]) + self._walk(bays[0], bays[-1])
            bits = 0.0
            reads = [PlaceRead(beside, there, (), 0.0, self._costs.pins)]
            for read in self._reads:
                if (read.beside, read.bay) == (beside, bay):
                    # the place beside is read once for all of them
                    if bits and read.bits / self._costs.pins < bits / minutes:
                        break
                    reads.append(read)
                    minutes, bits = minutes + self._costs.pins, bits + read.bits
            stops = tuple(Stop(bay, reads=tuple(one for one in reads if one.bay == bay)) for bay in bays)
            yield Trip(stops, minutes, bits, 0.0)

    def _pulling(self) -> Iterable[Trip]:
        """Two people at two ends of which one cannot be touched."""
        wrong = self._answer.rates.pull_untrue
        done = {frozenset((tried.touched, *tried.among)) for tried in self._answer.pile.tried if tried.way == "pull"}
        for one, other in zip(*np.nonzero(np.triu(self._by_pull | self._by_pull.T)), strict=True):
            chance = float(self._answer.mates[one, other])
            moves = chance * (1.0 - wrong) + (1.0 - chance) * wrong
            bits = float((_bits_of(np.array([moves])) - _bits_of(np.array([wrong])))[0])
            pulled, felt = (self._ends[int(number)] for number in (one, other))
            minutes = self._walk(self._here, pulled.bay) + self._walk(pulled.bay, felt.bay) + self._costs.pull
            minutes += self._costs.climb * len({pulled.bay, felt.bay})
            here = Stop(felt.bay, felt=((felt.name, pulled.name),))
            stops = (here,) if pulled.bay == felt.bay else (Stop(pulled.bay), here)
            # pulled again it would only say the same again
            if bits > _TELLS_NOTHING and frozenset((pulled.name, felt.name)) not in done:
                yield Trip(stops, minutes, bits, 0.0)

    def _looks_at(self, bay: str) -> Iterable[Looking]:
        """What could be looked at again in a bay, and what it would tell of whose mate it is."""
        for at, end in enumerate(self._ends):
            if end.bay != bay or not self._unsure[at].any():
                continue
            others = np.flatnonzero(self._answer.mates[at] > _UNSURE)
            chance = self._answer.mates[at, others]
            mates = [self._ends[other] for other in others.tolist()]
            looks = (
                Looking(end.name, "label", _label_bits(end, mates, chance), self._costs.reread),
                Looking(end.name, "count", _count_bits(end, mates, chance), self._costs.count),
                Looking(end.name, "tape", _tape_bits(end, mates, chance), self._costs.tape),
            )
            yield from (one for one in looks if one.bits > 0.02)


def _look_rate(look: Looking) -> float:
    return -look.bits / look.minutes


def _bits_of(chances: Floats) -> Floats:
    """Bits of a yes or no with each of these chances."""
    inside = np.clip(chances, 1e-12, 1.0 - 1e-12)
    return np.asarray(-inside * np.log2(inside) - (1.0 - inside) * np.log2(1.0 - inside))


def _among(mates: Ints, ends: Sequence[int]) -> Ints:
    """Which of some ends each drawn mate is, by number; -1 for none of them."""
    found = np.full(len(mates), ALONE, dtype=np.int64)
    for number, end in enumerate(ends):
        found[mates == end] = number
    return found


def _label_bits(end: LooseEnd, mates: Sequence[LooseEnd], chance: np.ndarray) -> float:
    """Bits of reading the signs of a label that could not be read, if they are read this time."""
    lost = [place for place, sign in enumerate(end.label) if sign == UNREAD]
    if not lost:
        return 0.0
    told: dict[str, float] = {}
    for mate, share in zip(mates, chance.tolist(), strict=True):
        if len(mate.label) == len(end.label):
            signs = "".join(mate.label[place] for place in lost)
            if UNREAD not in signs:
                told[signs] = told.get(signs, 0.0) + share
    return _READ_NEXT_TIME ** len(lost) * _entropy(told.values())


def _count_bits(end: LooseEnd, mates: Sequence[LooseEnd], chance: np.ndarray) -> float:
    """Bits of counting the conductors where nobody did."""
    if end.conductors is not None:
        return 0.0
    told: dict[int, float] = {}
    for mate, share in zip(mates, chance.tolist(), strict=True):
        if mate.conductors is not None:
            told[mate.conductors] = told.get(mate.conductors, 0.0) + share
    return 0.7 * _entropy(told.values())


def _tape_bits(end: LooseEnd, mates: Sequence[LooseEnd], chance: np.ndarray) -> float:
    """Bits of taping the length where it is known by eye only, or not at all."""
    if end.length_by in ("tape", "marks"):
        return 0.0
    known = [(mate.length.value, share) for mate, share in zip(mates, chance.tolist(), strict=True) if mate.length]
    if len(known) < 2:
        return 0.0
    lengths, shares = np.array([length for length, _ in known]), np.array([share for _, share in known])
    # lengths that the tape does not tell apart are one
    cells = np.round(np.log(lengths) / 0.12).astype(int)
    return _entropy(float(shares[cells == cell].sum()) for cell in np.unique(cells))


def _entropy(shares: Iterable[float]) -> float:
    """Bits of a few chances that need not sum to one; what is left out tells nothing."""
    values = np.array([share for share in shares if share > 0])
    total = values.sum()
    if len(values) < 2 or total <= 0:
        return 0.0
    return float(-(values * np.log2(values / total)).sum())
