"""How well a damaged plant is explained from the walk that people really do: 1,000 plants, damaged in their circuit.

Each has one to four mistakes (tests/diagnose/explain/drawn_damage.py), is walked as the drafted sequence does, every
conductor from pin to pin and the near pins against their neighbours, and then looked at as the tool asks: where wires
are landed that do not get through. Run by hand from the top folder (use ``nice``):

    python -m tests.benchmarks.bench_map              1,000 plants, about three minutes of one core
    python -m tests.benchmarks.bench_map 100          the first hundred
    python -m tests.benchmarks.bench_map 1000 5000    1,000 from number 5000 on
    python -m tests.benchmarks.bench_map 1000 5000 --keep FILE    keeps a line for each plant, goes on after the last
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import msgspec

from bench.diagnose.explain.causes import Bridged, Mirrored, Open, PartOpen, Shifted, StrayJoin, Unplugged
from bench.diagnose.explain.forward import labels, land
from bench.diagnose.explain.landings import with_found
from bench.diagnose.explain.pin_map import Conductor, Design, Measured, Pin, pins_on
from bench.diagnose.explain.reveal import Revealed, place, reveal
from bench.diagnose.explain.search import Explanation, explain
from bench.diagnose.halving import separate
from bench.diagnose.script import Probe, Script, carry_out
from bench.plant.faulty import apply_faults
from bench.plant.graph import Nets
from bench.plant.things import Connector
from tests.diagnose.explain.drawn_damage import DamagedPlant, damaged_plant, said


@dataclass
class Looked:
    """One plant, walked and explained.

    Attributes:
        design: its pin map as it should be.
        plant: what was made.
        explanation: what is told.
        drafted: readings of the drafted walk.
        asked: readings that the tool asked for beside.
        first, within: whether all that was made is told first, or in one of the first three.
        harm: orders to part, turn or move something that is sound.
    """

    design: Design
    plant: DamagedPlant
    explanation: Explanation
    drafted: int
    asked: int
    first: bool
    within: bool
    harm: list[str]

    @property
    def more(self) -> bool:
        """Whether more causes are told than were made."""
        return len(self.explanation.causes) > len(self.plant.made)


def look(seed: int) -> Looked:
    """The plant of a number, from its circuit to what is told of it."""
    return look_at(damaged_plant(seed))


def look_at(plant: DamagedPlant) -> Looked:
    """A plant, from its circuit to what is told of it."""
    nets = Nets([edge for edge in apply_faults(plant.plant, plant.faults) if edge.ohms < 1e3])
    root = {name: nets.root(terminal.node) for name, terminal in plant.plant.terminals.items()}
    design = _design(plant)
    pins = {place(pin): pin for connector in (*design.near, *design.far) for pin in pins_on(connector)}
    pairs = [(c.near_end.name, c.far_end.name) for c in plant.plant.conductors.values()]
    beside = [(a.name, b.name) for connector in design.near for a, b in plant.plant.neighbours_of(connector.name)]
    read = {True: set[tuple[Pin, Pin]](), False: set[tuple[Pin, Pin]]()}
    for a, b in (*pairs, *beside):
        read[root[a] == root[b]].add((pins[a], pins[b]))
    touched = {pin for pair in (*read[True], *read[False]) for pin in pair}
    measured = Measured(
        frozenset(read[True]),
        not_tested=frozenset(set(pins.values()) - touched),
        crosses="sampled",
        parted=frozenset(read[False]),
    )
    asked = 0

    def meter(request: object) -> bool:
        nonlocal asked
        assert isinstance(request, Probe)
        asked += 1
        return bool({root[name] for name in request.red} & {root[name] for name in request.black})

    found = carry_out(reveal(design, measured), meter)  # type: ignore[arg-type]
    explanation = explain(design, with_found(design, measured, found))
    if not explanation.findings:
        # nothing failed: what is left is what the notes name, joins between pins that lie apart
        everything = carry_out(joins_among(design), meter)  # type: ignore[arg-type]
        explanation = explain(design, with_found(design, measured, everything))
    told = [explanation.causes, *(other.causes for other in explanation.others)]
    matches = [plant.is_told(said(design, causes)) for causes in told]
    drafted = len(pairs) + len(beside)
    harm = harmful(design, plant, explanation, root)
    return Looked(design, plant, explanation, drafted, asked, matches[0], any(matches), harm)


def joins_among(design: Design) -> Script[Revealed]:
    """The crosses among the near pins, as the draft of that name walks them."""

    def ask(red: Sequence[str], black: Sequence[str]) -> Script[bool]:
        return bool((yield Probe("near", tuple(red), tuple(black), "joined")))

    nets = [place(pin) for connector in design.near for pin in pins_on(connector)]
    return Revealed(joined=(yield from separate(nets, ask)))


def _design(plant: DamagedPlant) -> Design:
    cables = list(plant.plant.cables.values())

    def panels(names: list[str]) -> tuple[Connector, ...]:
        return tuple(plant.plant.connectors[name] for name in names)

    wires = []
    for cable in cables:
        for one in cable.conductors:
            pair = f"{cable.name}/{one.pair}" if one.pair is not None else None
            near, far = (Pin(end.owner, end.pin) for end in (one.near_end, one.far_end))
            wires.append(Conductor(one.name, near, far, pair, cable.name))
    return Design(
        panels([name for cable in cables for name in cable.near]),
        panels([name for cable in cables for name in cable.far]),
        tuple(wires),
    )


def harmful(design: Design, plant: DamagedPlant, explanation: Explanation, root: dict[str, str]) -> list[str]:
    """Orders to part what the circuit does not join or the design does, or to turn or move what sits right there."""
    index = design.index
    orders: list[str] = []
    actual = apply_faults(plant.plant, plant.faults)
    sits = {edge.id: (edge.a, edge.b) for edge in actual if edge.kind == "conductor"}
    node = {name: terminal.node for name, terminal in plant.plant.terminals.items()}
    sound = {
        name
        for name, conductor in plant.plant.conductors.items()
        if sits[name] == (node[conductor.near_end.name], node[conductor.far_end.name])
        and root[conductor.near_end.name] == root[conductor.far_end.name]
    }
    # two mistakes may bring a wire home by chance: what brings it there is wrong all the same
    sound -= {name for made in plant.made for name in made.told[1]}
    for cause in explanation.causes:
        if isinstance(cause, Bridged | StrayJoin):
            names = [place(pin) for pin in cause.pins]
            wires = [
                wire
                for wire in range(len(index.wires))
                if {index.near[wire], index.far[wire]} <= {index.number[p] for p in cause.pins}
            ]
            if len({root[name] for name in names}) > 1 or wires:
                orders.append(f"part {names}")
            continue
        if isinstance(cause, Open | PartOpen):
            wires = {cause.conductor} if isinstance(cause, Open) else set(cause.conductors)
            if wires & sound:
                orders.append(f"mend {sorted(wires & sound)}")
            continue
        landing = land(index, [cause])
        moved = {
            index.names[wire]
            for wire in range(len(index.wires))
            if (landing.near[wire], landing.far[wire]) != (index.near[wire], index.far[wire]) or wire in landing.cut
        }
        if moved & sound and not (isinstance(cause, Shifted | Mirrored | Unplugged) and len(moved & sound) == 0):
            orders.append(f"{type(cause).__name__} {sorted(moved & sound)}")
    return orders


class Row(msgspec.Struct, frozen=True):
    """How one plant came out, as it is kept.

    Attributes:
        seed: its number.
        made, missed: the kinds of what was made, and of what is not told first.
        causes: how many are told.
        first, within, more: see :class:`Looked`.
        harm: orders to part, turn or move something that is sound.
        drafted, asked: readings.
        wires: of the plant.
        alike: whether what is told makes the very map that the circuit has, pin by pin: no meter tells it from what
            was made.
    """

    seed: int
    made: list[str]
    missed: list[str]
    causes: int
    first: bool
    within: bool
    more: bool
    harm: list[str]
    drafted: int
    asked: int
    wires: int
    alike: bool = True


def row_of(seed: int) -> Row:
    """The plant of a number, looked at and summed up."""
    one = look(seed)
    told = said(one.design, one.explanation.causes)
    return Row(
        seed,
        [made.told[0] for made in one.plant.made],
        [made.told[0] for made in one.plant.missed(told)],
        len(one.explanation.causes),
        one.first,
        one.within,
        one.more,
        one.harm,
        one.drafted,
        one.asked,
        len(one.plant.plant.conductors),
        one.first or makes_the_map(one),
    )


def makes_the_map(one: Looked) -> bool:
    """Whether the causes that are told join exactly the pins that the damaged circuit joins."""
    index, plant = one.design.index, one.plant
    nets = Nets([edge for edge in apply_faults(plant.plant, plant.faults) if edge.ohms < 1e3])
    told = labels(index, one.explanation.causes)
    circuit: dict[str, set[int]] = {}
    explained: dict[int, set[int]] = {}
    for pin, name in enumerate(index.pins):
        circuit.setdefault(nets.root(plant.plant.terminals[place(name)].node), set()).add(pin)
        # a pin that no wire reaches is by itself
        explained.setdefault(told[pin] if told[pin] >= 0 else -2 - pin, set()).add(pin)
    return set(map(frozenset, circuit.values())) == set(map(frozenset, explained.values()))


def main(count: int, first: int = 0, keep: Path | None = None) -> None:
    """All plants, and a table of how they came out; orders that harm are listed as soon as they are found."""
    kept = keep.read_bytes().splitlines() if keep is not None and keep.exists() else []
    known = {row.seed: row for row in msgspec.json.decode(b"[" + b",".join(kept) + b"]", type=list[Row])}
    rows = []
    for seed in range(first, first + count):
        if seed not in known:
            known[seed] = row_of(seed)
            if keep is not None:
                with keep.open("ab") as file:
                    file.write(msgspec.json.encode(known[seed]) + b"\n")
        rows.append(known[seed])
        if rows[-1].harm:
            print(f"harm in plant {seed}: {rows[-1].harm}", flush=True)
    tell(rows, first)


def tell(rows: Sequence[Row], first: int) -> None:
    """Print the tables.

    Args:
        rows: the plants.
        first: number of the first.
    """
    print(f"{len(rows)} plants from number {first}, {sum(len(row.made) for row in rows)} mistakes\n")
    print(
        f"{'mistakes':>10}{'plants':>8}{'first':>8}{'of three':>10}{'more causes':>13}"
        f"{'drafted':>9}{'asked':>7}{'all crosses':>13}{'harm':>6}"
    )
    for mistakes in (1, 2, 3, 4, 0):
        some = [row for row in rows if not mistakes or len(row.made) == mistakes]
        if not some:
            continue
        wires = [row.wires for row in some]
        crosses = sum(n * (n - 1) // 2 for n in wires) / len(some)
        print(
            f"{mistakes or 'all':>10}{len(some):8}{sum(r.first for r in some) / len(some):8.1%}"
            f"{sum(r.within for r in some) / len(some):10.1%}{sum(r.more for r in some):13}"
            f"{sum(r.drafted for r in some) / len(some):9.1f}"
            f"{sum(r.asked for r in some) / len(some):7.1f}{crosses:13.0f}{sum(len(r.harm) for r in some):6}"
        )
    orders = sum(row.causes for row in rows)
    harm = sum(len(row.harm) for row in rows)
    print(f"\norders to part, turn or move something sound: {harm} of {orders}")
    print(f"plants of which more causes are told than were made: {sum(row.more for row in rows)}")
    other = [row for row in rows if not row.first]
    print(
        f"not told first: {len(other)}; what is told makes the circuit's map, pin by pin: {sum(r.alike for r in other)}"
    )
    missed: Counter[str] = Counter()
    every: Counter[str] = Counter()
    for row in rows:
        every.update(row.made)
        missed.update(row.missed)
    print(f"\n{'kind':20}{'made':>6}{'told first':>12}")
    for kind, made in sorted(every.items()):
        print(f"{kind:20}{made:6}{(made - missed[kind]) / made:12.1%}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int, nargs="?", default=1000, help="how many plants")
    parser.add_argument("first", type=int, nargs="?", default=0, help="number of the first")
    parser.add_argument(
        "--keep", type=Path, metavar="FILE", help="keep a line for each plant, and go on after the last"
    )
    options = parser.parse_args()
    main(options.count, options.first, options.keep)
