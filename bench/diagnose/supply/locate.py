"""Where on a supply path voltage is lost: the next reading that tells most, until one stretch is named.

A shelf is on, draws current, and its voltage is lower than the tree says. The loss sits somewhere on the way from the
supply to the shelf or back. A reading of the voltage at a place on the way says whether the loss lies before that
place or behind it. The reading with the most mutual information between its answer and the place of the fault comes
next: with equal suspects and a meter that is not in doubt, the one that halves them.

The loss need not sit in one place. A reading that finds a part of it before the place and a part behind splits what is
suspected in two; both are followed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

import msgspec
from msgspec.structs import replace

from bench.plant.graph import Edge
from bench.plant.model import Plant
from bench.quantity import engineering
from bench.sequence.power_tree import Flow

PRIOR: Final[Mapping[str, float]] = {"breaker": 3.0, "conductor": 2.0, "busbar": 0.5}
"""How likely each kind of stretch is to lose voltage, beside each other (common practice, no source): a breaker has
moving contacts and two screws, a conductor two lugs, a stud of a busbar one."""
CERTAIN: Final = 0.95
"""A suspect with this probability is named."""
PLAIN: Final = 4.0
"""A loss of fewer standard uncertainties of a reading is not looked for."""


class Stretch(msgspec.Struct, frozen=True):
    """One piece of the way.

    Attributes:
        edge: the plant's edge.
        near: its node on the supply's side.
        far: its node on the shelf's side.
        back: whether it is on the way back.
        drop: what it should lose, in volts, without sign.
    """

    edge: Edge
    near: str
    far: str
    back: bool
    drop: float


class NextReading(msgspec.Struct, frozen=True):
    """A reading to take.

    Attributes:
        between: the two terminals, the feed's own pole first.
        sound: volts without sign that it shows where the loss lies behind.
        lossy: volts without sign that it shows where the loss lies before.
        bits: what the answer is expected to tell, in bits; 1 halves equal suspects.
        text: what to do, for a person at the rack.
    """

    between: tuple[str, str]
    sound: float
    lossy: float
    bits: float
    text: str


class Loss(msgspec.Struct, frozen=True):
    """Where voltage is lost.

    Attributes:
        edge: the conductor, breaker or busbar stud.
        volts: how much more than it should, without sign.
        ohms: the resistance that makes that, beyond what the stretch should have.
        probability: that it is this stretch and no other.
        sentence: in words.
    """

    edge: str
    volts: float
    ohms: float
    probability: float
    sentence: str


class MissingVolts(msgspec.Struct, frozen=True):
    """Voltage that is missing at a shelf, and where it may be lost; a value that each reading turns into the next one.

    Attributes:
        plant: the plant.
        shelf: the shelf that gets too little.
        feed: the feed.
        way: the stretches from the supply to the shelf, then those on the way back, each from the supply's side.
        volts: at the supply's terminals, without sign.
        amps: through the last stretch, without sign.
        excess: volts that are missing at the shelf and that are looked for here.
        sigma: standard uncertainty of one reading, in volts.
        chances: stretch (its place in ``way``) to its probability.
        known: volts that are known to be lost in ``first`` and are looked for elsewhere.
        first: stretches that every further reading has before its place.
        last: the only stretches that a further reading may have before its place; None: all.
        taken: readings so far.
    """

    plant: Plant
    shelf: str
    feed: str
    way: tuple[Stretch, ...]
    volts: float
    amps: float
    excess: float
    sigma: float
    chances: Mapping[int, float]
    known: float = 0.0
    first: frozenset[int] = frozenset()
    last: frozenset[int] | None = None
    taken: int = 0

    @classmethod
    def begin(
        cls, plant: Plant, shelf: str, feed: str, flow: Flow, measured: float, sigma: float, scale: float = 1.0
    ) -> MissingVolts | None:
        """Begin with what was measured at the shelf; None where no voltage is missing.

        Args:
            plant: the plant.
            shelf: the shelf.
            feed: the feed that it was measured on.
            flow: what should flow, from :meth:`bench.sequence.power_tree.PowerTree.flow`.
            measured: volts at the inlet; the sign does not matter.
            sigma: standard uncertainty of a reading, in volts, above 0.
            scale: current measured over current reckoned, where it was measured.

        Raises:
            UnknownName, NoPath: the feed does not reach the shelf.
            ValueError: sigma is not above 0.
        """
        if not sigma > 0:
            raise ValueError(f"sigma {sigma}; expected a standard uncertainty above 0")
        path = plant.supply_path(shelf, feed)
        inlet = plant.inlet(shelf, feed)
        way = (
            *_stretches(path.out, inlet.live.node, False, flow, scale),
            *_stretches(path.back, inlet.back.node, True, flow, scale),
        )
        supply = plant.supplies[path.supply]
        volts = abs(flow.nodes[supply.live.node] - flow.nodes[supply.back.node])
        excess = volts - sum(stretch.drop for stretch in way) - abs(measured)
        if excess < PLAIN * sigma:
            return None
        weights = {place: PRIOR.get(stretch.edge.kind, 1.0) for place, stretch in enumerate(way)}
        total = sum(weights.values())
        amps = abs(flow.through(way[0].edge.id)) * scale if way else 0.0
        shelf_amps = flow.shelves[shelf].inlets[inlet.name][1] * scale if shelf in flow.shelves else amps
        chances = {place: weight / total for place, weight in weights.items()}
        return cls(plant, shelf, feed, way, volts, shelf_amps, excess, sigma, chances)

    @property
    def suspects(self) -> dict[str, float]:
        """Stretch to its probability, most likely first."""
        order = sorted(self.chances.items(), key=lambda item: -item[1])
        return {self.way[place].edge.id: chance for place, chance in order}

    # the next reading

    def next_reading(self) -> NextReading | None:
        """The reading that tells most; None where the place is known or no reading can tell more."""
        if self.found is not None:
            return None
        out = [place for place, stretch in enumerate(self.way) if not stretch.back]
        back = [place for place, stretch in enumerate(self.way) if stretch.back]
        best: tuple[float, float, int, int] | None = None
        for i in range(len(out) + 1):
            for j in range(len(back) + 1):
                before = frozenset(self._before(i, j))
                if not self.first <= before or (self.last is not None and not before <= self.last):
                    continue
                bits = self._bits(sum(self.chances.get(place, 0.0) for place in before))
                # of equally good readings the one whose two places lie together
                key = (round(bits, 6), -self._apart(i, j), i, j)
                if best is None or key > best:
                    best = key
        if best is None or best[0] < 1e-3:
            return None
        bits, _, i, j = best
        sound = self.volts - self.known - sum(self.way[place].drop for place in self._before(i, j))
        feed_end, back_end = self._spots(i, j)
        shown = (
            f"{engineering(sound, 'V')} there means that the loss lies behind; {engineering(sound - self.excess, 'V')}"
        )
        text = (
            f"Live parts: measure the voltage at {feed_end} ({self.plant.where(feed_end)}) against {back_end} "
            f"({self.plant.where(back_end)}). {shown} that it lies before."
        )
        return NextReading((feed_end, back_end), sound, sound - self.excess, bits, text)

    def _before(self, i: int, j: int) -> tuple[int, ...]:
        """The stretches before place i of the way out and place j of the way back."""
        outs = sum(not stretch.back for stretch in self.way)
        return (*range(i), *range(outs, outs + j))

    def _spots(self, i: int, j: int) -> tuple[str, str]:
        outs = sum(not stretch.back for stretch in self.way)
        return self._spot(0, i), self._spot(outs, j)

    def _spot(self, start: int, count: int) -> str:
        stretch = self.way[start + max(0, count - 1)]
        return stretch.far if count else stretch.near

    def _apart(self, i: int, j: int) -> float:
        """How far two places lie apart: 0 in one bay, 1 in two, 2 where one of them is in none."""
        bays = [self.plant.terminals[name].bay if name in self.plant.terminals else "" for name in self._spots(i, j)]
        return 0.0 if bays[0] == bays[1] and bays[0] else 1.0 if all(bays) else 2.0

    def _bits(self, before: float) -> float:
        """Mutual information of the answer and the place, for a chance that the loss lies before."""
        slip = self._slip
        return max(0.0, _entropy(before * (1 - slip) + (1 - before) * slip) - _entropy(slip))

    @property
    def _slip(self) -> float:
        """The chance that one reading says the wrong side."""
        return 0.5 * math.erfc(self.excess / (2 * math.sqrt(2) * self.sigma))

    # what it showed

    def after(self, reading: NextReading, measured: float) -> tuple[MissingVolts, ...]:
        """What is suspected after a reading: two where a part of the loss lies on either side, the larger first.

        Args:
            reading: what was asked for.
            measured: what it showed; the sign does not matter.

        Raises:
            ValueError: it is none of the readings that tell something here.
        """
        lost = reading.sound - abs(measured)
        before = self._of(reading)
        part = min(max(lost / self.excess, 0.0), 1.0)
        doubt = PLAIN * self.sigma / self.excess
        if doubt < part < 1 - doubt and 0 < sum(place in before for place in self.chances) < len(self.chances):
            return self._split(before, lost)
        chances = {}
        for place, chance in self.chances.items():
            expected = self.excess if place in before else 0.0
            chances[place] = chance * math.exp(-0.5 * min(((lost - expected) / self.sigma) ** 2, 1400.0))
        total = sum(chances.values())
        if total <= 0:
            return (replace(self, taken=self.taken + 1),)
        kept = {place: chance / total for place, chance in chances.items() if chance / total > 1e-9}
        return (replace(self, chances=kept, taken=self.taken + 1),)

    def _of(self, reading: NextReading) -> frozenset[int]:
        outs = sum(not stretch.back for stretch in self.way)
        for i in range(outs + 1):
            for j in range(len(self.way) - outs + 1):
                if self._spots(i, j) == reading.between:
                    return frozenset(self._before(i, j))
        raise ValueError(f"found a reading between {' and '.join(reading.between)}, expected one of this search")

    def _split(self, before: frozenset[int], lost: float) -> tuple[MissingVolts, MissingVolts]:
        """A part of the loss lies before, the rest behind."""

        def shares(inside: bool) -> dict[int, float]:
            chances = {place: chance for place, chance in self.chances.items() if (place in before) is inside}
            total = sum(chances.values())
            return {place: chance / total for place, chance in chances.items()}

        taken, rest = self.taken + 1, self.excess - lost
        first = replace(self, chances=shares(True), excess=lost, last=before, taken=taken)
        second = replace(self, chances=shares(False), excess=rest, known=self.known + lost, first=before, taken=taken)
        return (second, first) if lost < rest else (first, second)

    # what is known

    @property
    def found(self) -> Loss | None:
        """The stretch that loses the voltage, where one is certain enough."""
        if not self.chances:
            return None
        place, chance = max(self.chances.items(), key=lambda item: item[1])
        if chance < CERTAIN:
            return None
        stretch = self.way[place]
        ohms = self.excess / self.amps if self.amps > 0 else math.inf
        total = self.excess + stretch.drop
        sentence = (
            f"Drop of {engineering(total, 'V', digits=2)} across {_called(self.plant, stretch.edge)}, where "
            f"{engineering(stretch.drop, 'V', digits=2)} is expected: {engineering(ohms, 'Ω', digits=2)} too much. "
            "Switch off, prove dead, then look at its lugs, screws and contacts."
        )
        return Loss(stretch.edge.id, self.excess, ohms, chance, sentence)


def _stretches(edges: tuple[Edge, ...], start: str, back: bool, flow: Flow, scale: float) -> list[Stretch]:
    """Edges from the inlet to the supply as stretches from the supply to the inlet."""
    found = []
    node = start
    for edge in edges:
        near = edge.b if edge.a == node else edge.a
        drop = abs(flow.through(edge.id)) * edge.ohms * scale
        found.append(Stretch(edge, near, node, back, drop))
        node = near
    return found[::-1]


def _called(plant: Plant, edge: Edge) -> str:
    """A stretch in words: ``breaker FA2A (bay 2)``."""
    if edge.kind == "breaker":
        breaker = plant.breakers[edge.id]
        bay = breaker.at if breaker.at in plant.bays else plant.shelves[breaker.at].bay if breaker.at else ""
        return f"bay {bay} breaker {edge.id}" if bay else f"breaker {edge.id}"
    if edge.kind == "busbar":
        return f"the stud {edge.id}"
    return f"conductor {edge.id} with its lugs, {edge.a} to {edge.b}"


def _entropy(p: float) -> float:
    """Of a yes or no, in bits."""
    if p <= 0 or p >= 1:
        return 0.0
    return -p * math.log2(p) - (1 - p) * math.log2(1 - p)
