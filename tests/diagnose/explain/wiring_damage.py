"""Plants of several makes and seeded damage for them, for the tests and the benchmark of `explain`."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence

from bench.diagnose.explain.causes import (
    Bridged,
    CableTurned,
    Cause,
    ConnectorsExchanged,
    HighResistance,
    Mirrored,
    Moved,
    Open,
    PairReversed,
    PairsExchanged,
    PairsSplit,
    PinsExchanged,
    PlugCause,
    Shifted,
    StrayJoin,
    Unplugged,
    WireCause,
)
from bench.diagnose.explain.forward import land, predict, turned_ends
from bench.diagnose.explain.pin_map import Conductor, Design, Measured, Pin, pins_on
from bench.plant.things import Connector
from tests.diagnose.explain.connectors import numbered, written_out

LIMIT = 2.0
GOOD, BAD = 0.4, 9.0

KINDS = (
    "shifted",
    "mirrored",
    "connectors exchanged",
    "pins exchanged",
    "pair reversed",
    "pairs split",
    "cable turned",
    "bridged",
    "open",
    "high resistance",
    "stray join",
    "unplugged",
    "misplaced",
    "pairs exchanged",
)


def straight(cables: int, pins: int, rows: int, spare: int = 0) -> Design:
    """Cables with like connectors at both ends, pin to pin, pairs side by side."""
    near, far, wires = [], [], []
    for c in range(1, cables + 1):
        a = numbered(f"A{c}", pins, rows)
        b = numbered(f"B{c}", pins, rows)
        near.append(a)
        far.append(b)
        both = list(zip(pins_on(a), pins_on(b), strict=True))
        for k, (p, q) in enumerate(both[: len(both) - spare]):
            pair = f"C{c}.{k // 2 + 1}"
            wires.append((f"C{c}w{k + 1}", p, q, pair, f"C{c}"))
    return _paired(near, far, wires)


def ragged(cables: int) -> Design:
    """Cables of 25 wires on connectors with rows of 13 and 12 pins; the last pin is unpaired."""
    near, far, wires = [], [], []
    for c in range(1, cables + 1):
        rows = (tuple(str(k) for k in range(1, 14)), tuple(str(k) for k in range(14, 26)))
        a, b = written_out(f"A{c}", rows), written_out(f"B{c}", rows)
        near.append(a)
        far.append(b)
        for k in range(25):
            # Pair partners sit above each other, as is common on two-row connectors.
            pair = f"C{c}.{k % 13 + 1}"
            wires.append((f"C{c}w{k + 1}", pins_on(a)[k], pins_on(b)[k], pair, f"C{c}"))
    return _paired(near, far, wires)


def fanned(blocks: int, pins: int, tails: int) -> Design:
    """Near blocks of two rows, each fanning out over several single-row far connectors."""
    near, far, wires = [], [], []
    for n in range(1, blocks + 1):
        block = numbered(f"K{n}", pins, 2)
        near.append(block)
        each = pins // tails
        for t in range(tails):
            tail = numbered(f"S{n}{chr(97 + t)}", each, 1)
            far.append(tail)
            for k in range(each):
                at = t * each + k
                wires.append((f"K{n}w{at + 1}", pins_on(block)[at], pins_on(tail)[k], f"K{n}.{at // 2}", f"T{n}{t}"))
    return _paired(near, far, wires)


def scrambled(seed: int, cables: int, pins: int) -> Design:
    """Cables whose design itself maps pins in no order, one of them with a common return."""
    rng = random.Random(seed)
    near, far, wires = [], [], []
    for c in range(1, cables + 1):
        a = numbered(f"A{c}", pins, 2)
        b = numbered(f"B{c}", pins, 2)
        near.append(a)
        far.append(b)
        order = list(pins_on(b))
        rng.shuffle(order)
        for k, (p, q) in enumerate(zip(pins_on(a), order, strict=True)):
            if c == 1 and k < 4:
                q = order[0]
            wires.append((f"C{c}w{k + 1}", p, q, f"C{c}.{k // 2}", f"C{c}"))
    return _paired(near, far, wires)


def _paired(
    near: Sequence[Connector],
    far: Sequence[Connector],
    wires: Iterable[tuple[str, Pin, Pin, str, str]],
) -> Design:
    wires = list(wires)
    count: dict[str, int] = {}
    for wire in wires:
        count[wire[3]] = count.get(wire[3], 0) + 1
    return Design(
        tuple(near),
        tuple(far),
        tuple(Conductor(name, p, q, pair if count[pair] == 2 else None, cable) for name, p, q, pair, cable in wires),
    )


def some_plant(seed: int) -> Design:
    """One plant of 48 to 640 conductors, of a make that the seed chooses."""
    rng = random.Random(seed)
    make = rng.randrange(5)
    if make == 0:
        return straight(rng.randint(3, 10), rng.choice([16, 24, 64]), rng.choice([1, 2]))
    if make == 1:
        return ragged(rng.randint(2, 16))
    if make == 2:
        return fanned(rng.randint(2, 6), rng.choice([32, 64, 96]), rng.choice([2, 4]))
    if make == 3:
        return scrambled(seed, rng.randint(2, 8), rng.choice([24, 40, 80]))
    return straight(rng.randint(2, 8), rng.choice([32, 50]), 2, spare=rng.choice([2, 6]))


class Damage:
    """Draws causes one by one; with `apart`, no two causes at wires share a wire or a pin."""

    def __init__(self, design: Design, rng: random.Random, apart: bool = True) -> None:
        self.design = design
        self.rng = rng
        self.apart = apart
        self.causes: list[Cause] = []
        self._wires: set[str] = set()
        self._plugs: set[str] = set()

    def draw(self, count: int, kinds: Sequence[str] = KINDS) -> list[Cause]:
        """Draw until there are `count` causes, each of which changes the map."""
        for _ in range(400):
            if len(self.causes) == count:
                break
            cause = self._one(self.rng.choice(kinds))
            if cause is None:
                continue
            trial = in_order([*self.causes, cause])
            if self._all_show(trial):
                self.causes = trial
                if self.apart:
                    self._book(cause)
        return self.causes

    def _all_show(self, causes: list[Cause]) -> bool:
        # A wire that is landed where nothing meets it cannot be told from an open one, and one that
        # belongs where nothing meets it cannot be told from a stray join.
        for cause in causes:
            if isinstance(cause, Moved):
                wire = self.design.index.wire_number[cause.conductors[0]]
                for landing in (
                    land(self.design.index, causes),
                    land(self.design.index, [c for c in causes if c != cause]),
                ):
                    if min(landing.near[wire], landing.far[wire]) < 0:
                        return False
        whole = what_shows(self.design, causes)
        # In a large plant causes seldom hide each other, and trying them all takes long.
        some = range(len(causes)) if len(self.design.conductors) < 2000 else range(1)
        return all(what_shows(self.design, causes[:k] + causes[k + 1 :]) != whole for k in some)

    def _book(self, cause: Cause) -> None:
        match cause:
            case ConnectorsExchanged(names):
                self._plugs |= {f"socket {n}" for n in names}
            case Shifted(name) | Mirrored(name) | Unplugged(name):
                self._plugs.add(name)
            case CableTurned(cable):
                for wire in self.design.conductors:
                    if wire.cable == cable:
                        self._plugs |= {wire.near.connector, wire.far.connector}
            case _:
                self._wires |= wires_at(self.design, cause)

    def _free(self, connector: str | None = None) -> list[Conductor]:
        return [
            w
            for w in self.design.conductors
            if w.name not in self._wires and connector in (None, w.near.connector, w.far.connector)
        ]

    def _one(self, kind: str) -> Cause | None:
        rng, design = self.rng, self.design
        far = [c for c in design.far if c.name not in self._plugs]
        fans = {w.near.connector for w in design.conductors}
        # On plain cables a near shift is the far one the other way round, so damage the far end.
        if len(fans) != len(design.far):
            far += [c for c in design.near if c.name not in self._plugs]
        wires = self._free()
        if not far or len(wires) < 8:
            return None
        connector = rng.choice(far)
        match kind:
            case "shifted":
                along = rng.choice(["row", "row", "rows", "count"])
                if len(connector.layout.grid) == 1:
                    along = "row"
                by = rng.choice([1, 1, 2, 3]) if along != "rows" else 1
                return Shifted(connector.name, rng.choice([-1, 1]) * by, along)
            case "mirrored":
                how = "ends" if len(connector.layout.grid) == 1 else rng.choice(["ends", "rows", "both"])
                return Mirrored(connector.name, how)
            case "connectors exchanged":
                side = design.near if connector in design.near else design.far
                like = [
                    c
                    for c in side
                    if list(map(len, c.layout.grid)) == list(map(len, connector.layout.grid))
                    and c != connector
                    and f"socket {c.name}" not in self._plugs
                ]
                if not like or f"socket {connector.name}" in self._plugs:
                    return None
                return ConnectorsExchanged((connector.name, rng.choice(like).name))
            case "unplugged":
                return Unplugged(connector.name)
            case "cable turned":
                cable = rng.choice(sorted(design.index.cables))
                try:
                    turned_ends(design.index, cable)
                except (ValueError, KeyError):
                    return None
                if any(
                    {w.near.connector, w.far.connector} & self._plugs for w in design.conductors if w.cable == cable
                ):
                    return None
                return CableTurned(cable)
            case "pins exchanged":
                a, b = (
                    rng.sample(self._free(connector.name) or wires, 2)
                    if len(self._free(connector.name)) > 1
                    else rng.sample(wires, 2)
                )
                return PinsExchanged((a.name, b.name))
            case "pair reversed" | "pairs exchanged":
                free = {w.name for w in wires}
                pairs = sorted(
                    pair
                    for pair, (i, j) in design.index.pair_wires.items()
                    if {design.conductors[i].name, design.conductors[j].name} <= free
                )
                if len(pairs) < 2:
                    return None
                if kind == "pair reversed":
                    return PairReversed(rng.choice(pairs))
                p, q = rng.sample(pairs, 2)
                return PairsExchanged((p, q))
            case "pairs split":
                a, b = rng.sample([w for w in wires if w.pair], 2)
                return PairsSplit((a.name, b.name)) if a.pair != b.pair else None
            case "bridged":
                free_pins = self._free(connector.name)
                size = rng.choice([2, 2, 3, 4, 6])
                if len(free_pins) < size:
                    return None
                start = rng.randrange(len(free_pins) - size + 1)
                chosen = free_pins[start : start + size] if rng.random() < 0.7 else rng.sample(free_pins, size)
                pins = [w.far if w.far.connector == connector.name else w.near for w in chosen]
                return Bridged(tuple(sorted(set(pins)))) if len(set(pins)) == size else None
            case "open":
                return Open(rng.choice(wires).name)
            case "high resistance":
                return HighResistance((rng.choice(wires).name,))
            case "stray join":
                a, b = rng.sample(wires, 2)
                return StrayJoin((a.far, b.far)) if a.far.connector != b.far.connector else None
            case "misplaced":
                a, b = rng.sample(wires, 2)
                return Moved((a.name,), b.far) if a.far != b.far else None
        raise AssertionError(kind)


def in_order(causes: Iterable[Cause]) -> list[Cause]:
    """Causes in the order in which they act."""
    rank = (CableTurned, Mirrored, Shifted, Unplugged, ConnectorsExchanged)
    return sorted(
        causes,
        key=lambda c: next(
            (k for k, kind in enumerate(rank) if isinstance(c, kind)),
            len(rank) if isinstance(c, WireCause) else len(rank) + 1,
        ),
    )


def measured(design: Design, causes: Sequence[Cause]) -> Measured:
    """What a perfect meter would find: all crosses, with resistances on every join of a wire."""
    resistances = {}
    index = design.index
    landing = land(index, causes)
    high = {n for c in causes if isinstance(c, HighResistance) for n in c.conductors}
    for wire, (a, b) in enumerate(zip(landing.near, landing.far, strict=True)):
        if a >= 0 and b >= 0 and wire not in landing.cut:
            bad = design.conductors[wire].name in high
            resistances[index.pins[a], index.pins[b]] = BAD if bad else GOOD
    return Measured(predict(design, causes), resistances=resistances, limit=LIMIT)


def what_shows(design: Design, causes: Sequence[Cause]) -> tuple[object, object]:
    """All that a perfect meter can tell about these causes."""
    seen = measured(design, causes)
    return seen.joins, frozenset(j for j, ohms in seen.resistances.items() if ohms > LIMIT)


def wires_at(design: Design, cause: Cause) -> set[str]:
    """Names of the wires that a cause at wires or a join touches, by design."""
    match cause:
        case PinsExchanged(names) | PairsSplit(names) | HighResistance(names):
            return set(names)
        case Moved(names, onto):
            return set(names) | {w.name for w in design.conductors if onto in (w.near, w.far)}
        case Open(name):
            return {name}
        case PairReversed(pair):
            return {w.name for w in design.conductors if w.pair == pair}
        case PairsExchanged(pairs):
            return {w.name for w in design.conductors if w.pair in pairs}
        case Bridged(pins) | StrayJoin(pins):
            return {w.name for w in design.conductors if w.near in pins or w.far in pins}
    assert isinstance(cause, PlugCause)
    return set()


def names(design: Design, causes: Sequence[Cause]) -> frozenset[object]:
    """The causes in a form in which two ways of saying one thing are the same.

    An exchange of two wires is one thing whatever pairs they belong to; pins that are joined are
    told by the wires that land on them, since the map cannot tell at which end they are joined.
    """
    landing = land(design.index, causes)
    at: dict[int, set[str]] = {}
    for wire, ends in enumerate(zip(landing.near, landing.far, strict=True)):
        for pin in ends:
            at.setdefault(pin, set()).add(design.conductors[wire].name)
    said: list[object] = []
    for cause in causes:
        match cause:
            case PinsExchanged(pair) | PairsSplit(pair):
                said.append(("exchanged", frozenset(pair)))
            case PairReversed():
                said.append(("exchanged", frozenset(wires_at(design, cause))))
            case ConnectorsExchanged(plugs) if len(plugs) == 2:
                said.append(("plugs", frozenset(plugs)))
            case PairsExchanged(pairs, crossed):
                said.append(("pairs", frozenset(pairs), crossed))
            case Bridged(pins) | StrayJoin(pins):
                said.append(
                    (
                        "joined",
                        frozenset(frozenset(at.get(design.index.number[p], ())) or frozenset([p]) for p in pins),
                    )
                )
            case _:
                said.append(cause)
    return frozenset(said)
