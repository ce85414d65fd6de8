"""Plants drawn at random, with one to four mistakes of every kind in their circuit, and what a tool should call them.

What was made is told by its kind and by the wires that it touches, in words of this module and not of the explainer.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from bench.diagnose.explain import causes as c
from bench.diagnose.explain.forward import land
from bench.diagnose.explain.pin_map import Design
from bench.plant import faults as k
from bench.plant.faulty import apply_faults
from bench.plant.file import PlantFile
from bench.plant.graph import Nets
from bench.plant.model import Plant
from bench.plant.resolve import resolve
from tests.diagnose.explain import damage_kinds as d
from tests.diagnose.explain.damaged_plant import plant_of

Told = tuple[str, frozenset[str]]
"""The kind of a mistake, and the wires that it touches."""
SHAPES = ((12, 1), (16, 2), (18, 1), (24, 2), (25, 1), (36, 2), (50, 2))


@dataclass(frozen=True)
class Made:
    """One mistake: as faults of the circuit, and as it should be told."""

    faults: tuple[k.Fault, ...]
    told: Told


@dataclass(frozen=True)
class DamagedPlant:
    """A plant and what was done to it."""

    file: PlantFile
    plant: Plant
    made: tuple[Made, ...]

    @property
    def faults(self) -> list[k.Fault]:
        """All faults of its circuit."""
        return [fault for one in self.made for fault in one.faults]

    @property
    def told(self) -> frozenset[Told]:
        """All that should be told."""
        return frozenset(one.told for one in self.made)

    def missed(self, said: frozenset[Told]) -> list[Made]:
        """The mistakes that are not among those said.

        Dead wires are told alike whether or not those among them are named that something else keeps from getting
        through as well.
        """
        return [one for one in self.made if not any(self._is(one, other) for other in said)]

    def is_told(self, said: frozenset[Told]) -> bool:
        """Whether all mistakes are said, and nothing else."""
        return not self.missed(said) and len(said) == len(self.told)

    def _is(self, made: Made, said: Told) -> bool:
        if made.told[0] != "open" or said[0] != "open":
            return made.told == said
        return made.told[1] - self._dead_without(made) <= said[1] <= made.told[1]

    def _dead_without(self, one: Made) -> set[str]:
        """The conductors that lead nowhere whether or not one mistake was made."""
        groups = _nets(self.plant, [other for other in self.made if other is not one])
        alone = {name for group in groups if len({pin[0] for pin in group}) == 1 for name in group}
        return {c.name for c in self.plant.conductors.values() if c.near_end.name in alone}


def damaged_plant(seed: int) -> DamagedPlant:
    """The plant of a number: one to three cables with one to four mistakes, each of which shows in the circuit."""
    draw = random.Random(seed)
    pins, rows = draw.choice(SHAPES)
    cables = draw.choice((1, 1, 2, 3))
    file = plant_of(pins, rows, cables, pairs=pins % 2 == 0 and draw.random() < 0.6)
    plant = resolve(file)
    drawer = _Drawer(draw, pins, rows, cables, plant)
    wanted = draw.choice((1, 1, 2, 2, 3, 4))
    made: list[Made] = []
    for _ in range(200):
        if len(made) == wanted:
            break
        one = drawer.one()
        if one is None:
            continue
        trial = [*made, one]
        if _all_show(plant, trial):
            made = trial
            drawer.keep(one)
    return DamagedPlant(file, plant, tuple(made))


class _Drawer:
    """Draws mistakes; no two share a wire, and a connector's order or plug is wrong in one way only."""

    def __init__(self, draw: random.Random, pins: int, rows: int, cables: int, plant: Plant) -> None:
        self.draw, self.pins, self.rows, self.plant = draw, pins, rows, plant
        self.names = {(int(w.near_end.owner[1:]), int(w.near_end.pin)): w.name for w in plant.conductors.values()}
        self.busy: set[str] = set()
        self.plugs: set[int] = set()
        self.cables = range(1, cables + 1)

    def keep(self, made: Made) -> None:
        kind, wires = made.told
        if kind in ("shifted", "mirrored ends", "mirrored both", "plugs exchanged", "unplugged", "counted across",
                    "neighbours", "no order", "exchanged runs", "moved along", "end for end"):  # fmt: skip
            self.plugs |= {cable for (cable, _), name in self.names.items() if name in wires}
        self.busy |= set(wires)

    def wires(self, cable: int, pins: Iterable[int]) -> frozenset[str]:
        return frozenset(self.names[cable, pin] for pin in pins)

    def free(self, cable: int) -> list[int]:
        return [pin for pin in range(1, self.pins + 1) if self.names[cable, pin] not in self.busy]

    def run(self, cable: int, least: int) -> list[int] | None:
        """A run of pins whose wires are free."""
        length = self.draw.choice([size for size in (4, 5, 6, 8, 10, 12) if least <= size <= self.pins // 2] or [least])
        first = self.draw.randint(1, self.pins - length + 1)
        pins = list(range(first, first + length))
        return pins if not self.wires(cable, pins) & self.busy else None

    def one(self) -> Made | None:
        """One mistake, or none where it has no room."""
        draw = self.draw
        cable = draw.choice(self.cables)
        kinds = [self.single, self.single, self.join]
        if cable not in self.plugs:
            kinds += [self.part, self.plug, self.order, self.order]
        return draw.choice(kinds)(cable)

    def single(self, cable: int) -> Made | None:
        draw, far = self.draw, f"K{cable}"
        free = self.free(cable)
        if len(free) < 4:
            return None
        kind = draw.choice(("open", "exchanged", "exchanged", "pair", "pairs"))
        a, b = draw.sample(free, 2)
        if kind == "open":
            return Made((k.Open(conductor=self.names[cable, a]),), ("open", self.wires(cable, [a])))
        if kind == "exchanged":
            return Made((k.Exchanged(pins=(f"{far}.{a}", f"{far}.{b}")),), ("exchanged", self.wires(cable, [a, b])))
        odd = [pin for pin in free if pin % 2 and pin + 1 in free]
        if kind == "pair":
            if not odd:
                return None
            pin = draw.choice(odd)
            faults = (k.Exchanged(pins=(f"{far}.{pin}", f"{far}.{pin + 1}")),)
            return Made(faults, ("exchanged", self.wires(cable, [pin, pin + 1])))
        others = [other for other in self.cables if other not in self.plugs]
        other = draw.choice(others) if others and cable not in self.plugs else cable
        if self.plant.cables["W1"].type.pairs is None or not odd:
            return None
        there = [pin for pin in self.free(other) if pin % 2 and pin + 1 in self.free(other) and pin != odd[0]]
        if not there:
            return None
        p, q = odd[0], draw.choice(there)
        faults = tuple(k.Exchanged(pins=(f"K{cable}.{p + leg}", f"K{other}.{q + leg}")) for leg in (0, 1))
        return Made(faults, ("pairs exchanged", self.wires(cable, [p, p + 1]) | self.wires(other, [q, q + 1])))

    def join(self, cable: int) -> Made | None:
        draw = self.draw
        free = self.free(cable)
        if len(free) < 4:
            return None
        first = draw.choice(free)
        if draw.random() < 0.6:
            pins = [first, first + 1]
        else:
            pins = draw.sample(free, draw.choice((2, 3)))
        if not set(pins) <= set(free):
            return None
        names = [self.names[cable, pin] for pin in pins]
        shorts = tuple(k.Short(between=(names[0], name)) for name in names[1:])
        return Made(shorts, ("joined", frozenset(names)))

    def part(self, cable: int) -> Made | None:
        """A row, a half, a group or all from one pin on leads nowhere."""
        draw = self.draw
        width = self.pins // self.rows
        spans = [range(1, width + 1), range(self.pins - width + 1, self.pins + 1)] if self.rows > 1 else []
        spans += [range(1, self.pins // 2 + 1), range(draw.randint(2, self.pins - 3), self.pins + 1)]
        if self.pins >= 20:
            spans.append(range(11, 21))
        pins = draw.choice(spans)
        wires = self.wires(cable, pins)
        if wires & self.busy:
            return None
        return Made(tuple(k.Open(conductor=name) for name in sorted(wires)), ("open", wires))

    def plug(self, cable: int) -> Made | None:
        draw, far = self.draw, f"K{cable}"
        every = self.wires(cable, range(1, self.pins + 1))
        kind = draw.choice(("shifted", "shifted", "turned", "exchanged", "out"))
        if kind == "shifted":
            return Made((k.Shifted(connector=far, by=draw.choice((-2, -1, -1, 1, 1, 2))),), ("shifted", every))
        if kind == "out":
            if every & self.busy:
                return None
            return Made(tuple(k.Open(conductor=name) for name in sorted(every)), ("open", every))
        if kind == "turned":
            faults = tuple(d.end_for_end(far, 1, self.pins))
            return Made(faults, ("mirrored both" if self.rows > 1 else "end for end", every))
        others = [other for other in self.cables if other != cable and other not in self.plugs]
        if not others:
            return None
        other = draw.choice(others)
        faults = (k.ConnectorsExchanged(connectors=(far, f"K{other}")),)
        return Made(faults, ("plugs exchanged", every | self.wires(other, range(1, self.pins + 1))))

    def order(self, cable: int) -> Made | None:
        """Wires landed in another order: a part, or all of a connector."""
        draw, far, pins = self.draw, f"K{cable}", self.pins
        every = self.wires(cable, range(1, pins + 1))
        kind = draw.choice(("along", "along", "halves", "groups", "between", "end", "neighbours", "across", "lost"))
        if every & self.busy:
            return None
        if kind == "along":
            by = draw.choice((1, -1))
            first = draw.randint(1, pins - 5)
            last = pins if draw.random() < 0.7 else draw.randint(first + 4, pins)
            faults = tuple(d.moved_along(far, f"W{cable}", first, last, by, self.names))
            # all of a connector moved along is what a plug that sits off makes as well
            return Made(faults, (_along(last - first + 1 == pins), self.wires(cable, range(first, last + 1))))
        if kind == "halves":
            half = pins // 2
            faults = tuple(d.exchanged_runs(far, range(1, half + 1), range(pins - half + 1, pins + 1)))
            wires = self.wires(cable, [*range(1, half + 1), *range(pins - half + 1, pins + 1)])
            return Made(faults, ("exchanged runs", wires))
        if kind == "groups":
            size = 5 if pins < 20 else 10
            if pins < 2 * size:
                return None
            start = draw.randrange((pins - 2 * size) // size + 1) * size + 1
            one, two = range(start, start + size), range(start + size, start + 2 * size)
            return Made(tuple(d.exchanged_runs(far, one, two)), ("exchanged runs", self.wires(cable, [*one, *two])))
        if kind == "between":
            others = [other for other in self.cables if other != cable and other not in self.plugs]
            run = self.run(cable, 4)
            if not others or run is None:
                return None
            other = draw.choice(others)
            if self.wires(other, run) & self.busy:
                return None
            faults = tuple(d.exchanged_runs(far, run, run, f"K{other}"))
            return Made(faults, ("exchanged runs", self.wires(cable, run) | self.wires(other, run)))
        if kind == "end":
            run = self.run(cable, 6)
            if run is None or len(run) < 6:
                return None
            return Made(tuple(d.end_for_end(far, run[0], run[-1])), ("end for end", self.wires(cable, run)))
        if kind == "neighbours":
            return Made(
                tuple(d.neighbours(far, pins)), ("neighbours", self.wires(cable, range(1, pins - pins % 2 + 1)))
            )
        if kind == "across":
            if self.rows == 1:
                return None
            return Made(tuple(d.counted_across(far, pins, self.rows)), ("counted across", every))
        return Made(tuple(d.no_order(far, range(1, pins + 1), draw.randrange(10**6))), ("no order", every))


def _along(whole: bool) -> str:
    return "shifted" if whole else "moved along"


def _all_show(plant: Plant, made: Sequence[Made]) -> bool:
    """Whether each mistake changes what conducts."""
    whole = _nets(plant, made)
    return all(_nets(plant, [*made[:at], *made[at + 1 :]]) != whole for at in range(len(made)))


def _nets(plant: Plant, made: Sequence[Made]) -> frozenset[frozenset[str]]:
    edges = apply_faults(plant, [fault for one in made for fault in one.faults])
    nets = Nets([edge for edge in edges if edge.ohms < 1e3])
    groups: dict[str, set[str]] = {}
    for terminal in plant.terminals.values():
        groups.setdefault(nets.root(terminal.node), set()).add(terminal.name)
    return frozenset(map(frozenset, groups.values()))


def said(design: Design, causes: Sequence[c.Cause]) -> frozenset[Told]:
    """What causes are called in the words of this module."""
    return frozenset(_said(design, causes, cause) for cause in causes)


def _said(design: Design, causes: Sequence[c.Cause], cause: c.Cause) -> Told:
    index = design.index

    def at(connector: str) -> frozenset[str]:
        return frozenset(index.names[wire] for wire in index.fed[index.connector_number[connector]])

    match cause:
        case c.Open(name):
            return "open", frozenset([name])
        case c.PartOpen(_, names):
            return "open", frozenset(names)
        case c.Unplugged(connector):
            return "open", at(connector)
        case c.PinsExchanged(names) | c.PairsSplit(names):
            return "exchanged", frozenset(names)
        case c.PairReversed(pair):
            return "exchanged", frozenset(index.names[wire] for wire in index.pair_wires[pair])
        case c.PairsExchanged(pairs, _):
            return "pairs exchanged", frozenset(index.names[wire] for pair in pairs for wire in index.pair_wires[pair])
        case c.Shifted(connector):
            return "shifted", at(connector)
        case c.Mirrored(connector, how):
            rows = index.shape[index.connector_number[connector]][0]
            if how == "rows" and rows == 2:
                return "exchanged runs", at(connector)
            if how == "ends" and rows == 1:
                return "end for end", at(connector)
            return f"mirrored {how}", at(connector)
        case c.ConnectorsExchanged(names):
            return "plugs exchanged", frozenset().union(*map(at, names))
        case c.Relanded("moved along", names):
            return _along(any(set(names) == at(one.name) for one in index.connectors)), frozenset(names)
        case c.Relanded(order, names):
            return {"exchanged": "exchanged runs"}.get(order, order), frozenset(names)
        case c.Bridged(pins) | c.StrayJoin(pins):
            landing = land(index, causes)
            there: dict[int, str] = {}
            for wire, name in enumerate(index.names):
                there[landing.near[wire]] = there[landing.far[wire]] = name
            return "joined", frozenset(there.get(index.number[pin], str(pin)) for pin in pins)
        case _:
            return type(cause).__name__, frozenset(getattr(cause, "conductors", ()))
