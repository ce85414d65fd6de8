"""How well a second earth path is found: seeded plants of 5 to 50 bays, with and without one.

Run by hand from the top folder; it prints tables and takes half an hour of one core (use ``nice``, and
``OPENBLAS_NUM_THREADS=1``, since the matrices are small):

    python tests/benchmarks/bench_earth.py                  all tables, 500 plants
    python tests/benchmarks/bench_earth.py --plants 50      a quick look
    python tests/benchmarks/bench_earth.py --only main two  some tables

A plant has a main bar (the single-point connection), building earth and a cable tray outside, bars of bays
in rows, and a shelf on some bays. Bonds are 0.3 to 4 milliohm (log uniform) by design, and lognormal about
that with the spread. A second path is 0.5 to 20 milliohm (log uniform) between two points that no bond
joins and where the design wants none. Readings have normal, independent errors of the meter's standard
uncertainty. The test suite imports this file for a smaller run.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from bench.diagnose.earth.choose import Pair, first_readings, next_reading, routine_readings
from bench.diagnose.earth.fit import Case, Meter, Reading
from bench.diagnose.earth.hunt import Ask, Hunt, HuntSettings
from bench.diagnose.earth.lifts import LiftSearch, StrayPath, resistance
from bench.diagnose.earth.linear import all_pairs
from bench.diagnose.earth.model import Bond, BondNetwork, Point
from bench.diagnose.earth.ranking import Posterior, explain
from bench.diagnose.earth.visible import planned, visibility
from bench.network.cases import Floats

METER = Meter(0.005, 10e-6)
SPREAD = 0.15
LEAST, MOST = 5, 50
ALARM = 0.5


def plant(rng: np.random.Generator, bays: int, family: str = "rows", spread: float = SPREAD) -> BondNetwork:
    """A plant of so many bays. Families: ``rows`` of 5 to 9 bays on a bar each, ``star`` on the main bar,
    ``chain`` of 5 to 9 bays one behind the other, ``tree`` of no plan at all, ``mesh`` on a mat of 12
    points that is meshed by design."""
    points = [
        Point("main", "main earth bar"),
        Point("building", "building earth", outside=True),
        Point("tray", "cable tray", outside=True),
    ]
    bonds: list[Bond] = []

    def bond(a: str, b: str) -> None:
        ohms = float(np.exp(rng.uniform(np.log(0.3e-3), np.log(4e-3))))
        bonds.append(Bond(f"E{len(bonds) + 1}", a, b, ohms, spread))

    bond("main", "building")
    bond("building", "tray")
    row = int(rng.integers(5, 10))
    over = "main"
    if family == "mesh":
        mat = [[f"mat {across}{along}" for along in "abcd"] for across in "123"]
        points += [Point(name, mesh=True) for line in mat for name in line]
        for line in mat:
            for a, b in pairwise(line):
                bond(a, b)
        for a, b in [*zip(mat[0], mat[1], strict=True), *zip(mat[1], mat[2], strict=True), ("main", mat[0][0])]:
            bond(a, b)
    for number in range(bays):
        name = f"bay {number + 1}"
        if family == "rows" and number % row == 0:
            over = f"bar {number // row + 1}"
            points.append(Point(over))
            bond("main", over)
        elif family == "chain":
            over = "main" if number % row == 0 else f"bay {number}"
        elif family == "tree":
            inside = [point.name for point in points if not point.outside]
            over = inside[int(rng.integers(len(inside)))]
        elif family == "mesh":
            over = mat[int(rng.integers(3))][int(rng.integers(4))]
        points.append(Point(name))
        bond(over, name)
        if rng.random() < 0.3:
            points.append(Point(f"{name} shelf"))
            bond(name, f"{name} shelf")
    return BondNetwork(points, bonds, "main")


@dataclass(frozen=True)
class World:
    """A plant as it really is: true ohms of the bonds, and extra paths (places of the ends, ohms)."""

    network: BondNetwork
    ohms: Floats
    extras: tuple[tuple[int, int, float], ...] = ()

    def resistance(self, a: str, b: str, lifted: Sequence[str] = ()) -> float:
        """True ohms between two points."""
        points = self.network.points
        strays = [StrayPath(points[u].name, points[v].name, ohms) for u, v, ohms in self.extras]
        return resistance(self.network, a, b, strays, lifted, self.ohms)

    def read(
        self, rng: np.random.Generator, pairs: Iterable[Pair], meter: Meter, lifted: Sequence[str] = ()
    ) -> list[Reading]:
        """Readings with normal errors."""
        found = []
        for a, b in pairs:
            true = self.resistance(a, b, lifted)
            if true > meter.open_above:
                found.append(Reading(a, b, np.inf, 0.0, tuple(lifted)))
                continue
            shown = max(true + rng.normal() * float(meter.u(true)), 1e-7)
            found.append(Reading(a, b, shown, float(meter.u(shown)), tuple(lifted)))
        return found


def world(
    rng: np.random.Generator, bays: int | None = None, extras: int = 1, family: str = "rows", spread: float = SPREAD
) -> World:
    """A plant with its true bond values and so many second paths."""
    network = plant(rng, int(rng.integers(LEAST, MOST + 1)) if bays is None else bays, family, spread)
    true = network.ohms * np.exp(rng.normal(size=len(network.bonds)) * spread)
    pairs = all_pairs(network)
    free = np.flatnonzero(pairs.unwanted & ~pairs.beside)
    chosen = rng.choice(free, extras, replace=False)
    sizes = np.exp(rng.uniform(np.log(0.5e-3), np.log(20e-3), extras))
    return World(
        network,
        true,
        tuple((int(pairs.u[k]), int(pairs.v[k]), float(r)) for k, r in zip(chosen, sizes, strict=True)),
    )


@dataclass(frozen=True)
class Row:
    """One plant tried. ``places`` are the ranks of the true paths at once and after each chosen reading."""

    points: int
    readings: int
    resolvable: tuple[bool, ...]
    alarm: float
    places: tuple[tuple[int, ...], ...]
    seconds: float

    @property
    def detected(self) -> bool:
        """Whether the alarm was raised on the first set."""
        return self.alarm > ALARM


Choice = Callable[[BondNetwork, Meter], list[Pair]]
SETS: dict[str, Choice] = {
    "routine": lambda network, _: routine_readings(network),
    "chosen": first_readings,
    "chosen, no main bar": lambda network, meter: first_readings(network, meter, main=False),
}

SHARES = {"chosen": 1.0, "routine": 0.3, "chosen, no main bar": 0.3}
"""The first sets of the main table, with the share of the plants tried on each."""


def places_of(posterior: Posterior, true: World) -> tuple[int, ...]:
    """Rank of each true path among the suspects; 9999 where it is not among them."""
    found = [posterior.place_of(Case(((u, v),))) for u, v, _ in true.extras]
    return tuple(9999 if place is None else place for place in found)


def trial(
    seed: int,
    extras: int = 1,
    chosen: int = 3,
    choice: str = "chosen",
    family: str = "rows",
    meter: Meter = METER,
    spread: float = SPREAD,
    bays: int | None = None,
) -> Row:
    """Try one seeded plant: the first set, then so many readings chosen one by one."""
    rng = np.random.default_rng(seed)
    true = world(rng, bays, extras, family, spread)
    network = true.network
    began = time.perf_counter()
    pairs = SETS[choice](network, meter)
    seen = visibility(network, planned(network, pairs, meter)) if extras else None
    names = [point.name for point in network.points]
    resolvable = tuple(seen is not None and seen.shows(names[u], names[v], r) for u, v, r in true.extras)
    readings = true.read(rng, pairs, meter)
    posterior = explain(network, readings)
    alarm = posterior.alarm
    places = [places_of(posterior, true)]
    for _ in range(chosen if extras and alarm > ALARM else 0):
        telling = next_reading(posterior, meter)
        if telling is not None:
            readings += true.read(rng, [(telling.a, telling.b)], meter)
            posterior = explain(network, readings)
        places.append(places_of(posterior, true))
    return Row(len(names), len(pairs), resolvable, alarm, tuple(places), time.perf_counter() - began)


def percent(flags: Iterable[bool]) -> str:
    """``97.4 %``, or a dash where there is nothing to count."""
    listed = list(flags)
    return f"{100 * sum(listed) / len(listed):.1f} %" if listed else "-"


def say(*cells: object, widths: Sequence[int] = ()) -> None:
    """One line of a table."""
    print("  ".join(str(c).ljust(w) for c, w in zip(cells, [*widths, *[14] * len(cells)], strict=False)), flush=True)


def table_main(count: int) -> None:
    """The main table: one second path, and clean plants, by the first set of readings."""
    print("\nOne second path: 0.5 % + 10 uohm, spread 15 %, 5 to 50 bays")
    for choice, share in SHARES.items():
        tried = max(2, round(share * count))
        rows = [trial(seed, choice=choice) for seed in range(tried)]
        clean = [trial(100_000 + seed, extras=0, choice=choice) for seed in range(tried)]
        told = [row for row in rows if row.resolvable[0]]
        seen = [row for row in rows if row.detected]
        pairs = sum(row.points * (row.points - 1) // 2 for row in rows)
        used = sum(row.readings for row in rows)
        print(f"  first set: {choice} ({tried} plants with and {tried} without)")
        print(
            f"    readings per point {used / sum(r.points for r in rows):.2f}; all pairs / readings {pairs / used:.1f}"
        )
        print(f"    called resolvable beforehand {percent(r.resolvable[0] for r in rows)}")
        print(f"    detected, of the resolvable {percent(r.detected for r in told)}")
        print(f"    detected, of all {percent(r.detected for r in rows)}")
        print(f"    false alarms {percent(r.detected for r in clean)}")
        for name, group in (("detected", seen), ("resolvable", told)):
            done = [row for row in group if row.detected]
            steps = "  ".join(percent(r.places[n][0] == 0 for r in done) for n in range(4))
            three = "  ".join(percent(r.places[n][0] < 3 for r in done) for n in range(4))
            print(f"    of the {name}: true path first {steps}; in the first three {three} (at once, after 1, 2, 3)")
        print(f"    seconds a plant {sum(r.seconds for r in rows) / len(rows):.2f}", flush=True)


def table_two(count: int) -> None:
    """Two second paths at once."""
    print(f"\nTwo second paths at once: {count} plants")
    rows = [trial(200_000 + seed, extras=2, chosen=6) for seed in range(count)]
    both = [row for row in rows if all(row.resolvable)]
    print(
        f"    detected {percent(r.detected for r in rows)}; both resolvable {percent(all(r.resolvable) for r in rows)}"
    )
    say("", "true first", "both in first two", "both in first four", widths=(44, 14, 20, 20))
    for name, group in (("of the detected", rows), ("of those with both resolvable", both)):
        done = [row for row in group if row.detected]
        for n in (0, 3, 6):
            say(
                f"    {name}, after {n} chosen readings",
                percent(0 in r.places[n] for r in done),
                percent(max(r.places[n]) < 2 for r in done),
                percent(max(r.places[n]) < 4 for r in done),
                widths=(44, 14, 20, 20),
            )


def table_families(count: int) -> None:
    """Other shapes of earthing network, and whole hunts."""
    print(f"\nOther shapes: {count} plants each, whole hunt without lifting (most 30 readings chosen one by one)")
    say(
        "    family",
        "resolvable",
        "detected",
        "stands, right",
        "stands, wrong",
        "undecided",
        "mean chosen",
        widths=(12,),
    )
    for family in ("rows", "star", "chain", "tree", "mesh"):
        ends = [hunt(300_000 + seed, family) for seed in range(count)]
        seen = [end for end in ends if end[0] != "clear"]
        say(
            f"    {family}",
            percent(end[3] for end in ends),
            percent(end[0] != "clear" for end in ends),
            percent(end[0] == "stands" and end[1] for end in seen),
            percent(end[0] == "stands" and not end[1] for end in seen),
            percent(end[0] == "undecided" for end in seen),
            f"{np.mean([end[2] for end in seen]):.1f}" if seen else "-",
            widths=(12,),
        )


def hunt(seed: int, family: str, lifting: bool = False) -> tuple[str, bool, int, bool]:
    """A whole hunt: how it ended, whether what stands is the truth, readings after the first set, and
    whether the path was called resolvable."""
    rng = np.random.default_rng(seed)
    true = world(rng, family=family)
    state = Hunt.begin(true.network, METER, settings=HuntSettings(lifting=lifting))
    names = [point.name for point in true.network.points]
    seen = visibility(true.network, planned(true.network, state.first, METER))
    ((u, v, ohms),) = true.extras
    taken = []
    while isinstance(ask := state.next(taken), Ask):
        (reading,) = true.read(rng, [(ask.a, ask.b)], METER, ask.lifted)
        taken.append(reading)
    right = ask.faults == (Case(((u, v),)),)
    return ask.kind, right, len(taken) - len(state.first), seen.shows(names[u], names[v], ohms)


def table_sight(count: int) -> None:
    """Detection by meter, spread and how poor the path is against the one that it bridges."""
    print(f"\nDetected by ratio of second path to the designed path it bridges: 20 bays, {count} plants a cell")
    say("    meter, spread", *(f"ratio {ratio}" for ratio in (1, 3, 10, 30, 100)), "false alarms", widths=(26,))
    for meter, spread in (
        (Meter(0.002, 5e-6), 0.15),
        (METER, 0.05),
        (METER, 0.15),
        (METER, 0.30),
        (Meter(0.02, 40e-6), 0.15),
    ):
        cells = []
        for ratio in (1.0, 3.0, 10.0, 30.0, 100.0, 0.0):
            found = []
            for seed in range(count):
                rng = np.random.default_rng(400_000 + seed)
                true = world(rng, 20, 1, "rows", spread)
                ((u, v, _),) = true.extras
                names = [point.name for point in true.network.points]
                plain = World(true.network, true.ohms)
                bridged = plain.resistance(names[u], names[v])
                there = World(true.network, true.ohms, ((u, v, ratio * bridged),)) if ratio else plain
                readings = there.read(rng, first_readings(true.network, meter), meter)
                found.append(explain(true.network, readings).alarm > ALARM)
            cells.append(percent(found))
        name = f"    {100 * meter.relative:g} % + {1e6 * meter.floor_ohms:g} uohm, {100 * spread:g} %"
        say(name, *cells, widths=(26,))


def table_strained(count: int) -> None:
    """When the world is not as the model has it."""
    print(f"\nModel strained: {count} plants with, {count} without")
    say("    world", "detected", "of resolvable", "first at once", "false alarms", widths=(46,))
    for name, bend in STRAINS.items():
        with_path, clean = [], []
        for seed in range(count):
            with_path.append(_strained(500_000 + seed, bend, 1))
            clean.append(_strained(600_000 + seed, bend, 0))
        told = [row for row in with_path if row[1]]
        seen = [row for row in with_path if row[0]]
        say(
            f"    {name}",
            percent(r[0] for r in with_path),
            percent(r[0] for r in told),
            percent(r[2] for r in seen),
            percent(r[0] for r in clean),
            widths=(46,),
        )


def _normal(rng: np.random.Generator, count: int) -> Floats:
    return rng.normal(size=count)


def _rectangular(rng: np.random.Generator, count: int) -> Floats:
    return rng.uniform(-(3**0.5), 3**0.5, count)


def _common(rng: np.random.Generator, count: int) -> Floats:
    return np.full(count, rng.normal())


def _heavy(rng: np.random.Generator, count: int) -> Floats:
    return rng.standard_t(4, count) / 2**0.5


@dataclass(frozen=True)
class Strain:
    """How bond values and a meter's errors really scatter, in standard deviations, and whether the readings say that
    one meter took them."""

    bonds: Callable[..., Floats] = _normal
    relative: Callable[..., Floats] = _normal
    floor: Callable[..., Floats] = _normal
    meter: str = ""


STRAINS: dict[str, Strain] = {
    "as modelled": Strain(),
    "bonds rectangular about the design": Strain(bonds=_rectangular),
    "bonds with heavy tails (Student t, 4)": Strain(bonds=_heavy),
    "meter's relative error common to all readings": Strain(relative=_common),
    "that gain, known to be of one meter": Strain(relative=_common, meter="low ohm"),
    "meter's zero common to all readings": Strain(floor=_common),
    "that zero, known to be of one meter": Strain(floor=_common, meter="low ohm"),
    "no error common, known to be of one meter": Strain(meter="low ohm"),
    "meter's errors rectangular": Strain(relative=_rectangular),
}


def _strained(seed: int, bend: Strain, extras: int) -> tuple[bool, bool, bool]:
    rng = np.random.default_rng(seed)
    drawn = world(rng, None, extras)
    network = drawn.network
    ohms = network.ohms * np.exp(SPREAD * bend.bonds(rng, len(network.bonds)))
    true = World(network, ohms, drawn.extras)
    pairs = first_readings(network, METER)
    relative = METER.relative * bend.relative(rng, len(pairs))
    floor = METER.floor_ohms * bend.floor(rng, len(pairs))
    readings = []
    for (a, b), off, zero in zip(pairs, relative, floor, strict=True):
        shown = max(true.resistance(a, b) * (1 + off) + zero, 1e-7)
        readings.append(Reading(a, b, shown, float(METER.u(shown)), meter=bend.meter))
    posterior = explain(network, readings)
    if not extras:
        return posterior.alarm > ALARM, False, False
    ((u, v, r),) = true.extras
    seen = visibility(network, planned(network, pairs, METER))
    shown_before = seen.shows(network.points[u].name, network.points[v].name, r)
    return posterior.alarm > ALARM, shown_before, posterior.place_of(Case(((u, v),))) == 0


def table_lifts(count: int) -> None:
    """Placing a loop by lifting alone, every place thought equally likely."""
    print(f"\nPlacing a loop by lifting bonds alone: {count} plants a line")
    say("    bays", "mean lifts", "bits", widths=(12,))
    for bays in (10, 20, 50):
        lifts, bits = [], []
        for seed in range(count):
            rng = np.random.default_rng(700_000 + seed)
            network = plant(rng, bays)
            pairs = all_pairs(network)
            names = [point.name for point in network.points]
            free = np.flatnonzero(pairs.unwanted & ~pairs.beside)
            search = LiftSearch.among(network, [(names[pairs.u[k]], names[pairs.v[k]], 1.0) for k in free])
            truth = search.left[int(rng.integers(len(free)))]
            bits.append(np.log2(len(free)))
            while (bond := search.next()) is not None:
                search = search.take(bond, bond not in truth.bonds)
            assert search.left == (truth,)
            lifts.append(len(search.taken))
        say(f"    {bays}", f"{np.mean(lifts):.1f}", f"{np.mean(bits):.1f}", widths=(12,))


def table_bonds(count: int) -> None:
    """Poor and open bonds."""
    print(f"\nPoor and open bonds: {count} plants a line")
    say("    fault", "detected", "first at once", widths=(24,))
    for name, times in (("2 times", 2.0), ("3 times", 3.0), ("10 times", 10.0), ("open", np.inf)):
        found = []
        for seed in range(count):
            rng = np.random.default_rng(800_000 + seed)
            drawn = world(rng, None, 0)
            bond = int(rng.integers(len(drawn.ohms)))
            ohms = drawn.ohms.copy()
            ohms[bond] *= times
            true = World(drawn.network, ohms)
            posterior = explain(drawn.network, true.read(rng, routine_readings(drawn.network), METER))
            case = Case(opened=(bond,)) if times == np.inf else Case(poor=(bond,))
            found.append((posterior.alarm > ALARM, posterior.place_of(case) == 0))
        say(f"    {name}", percent(f[0] for f in found), percent(f[1] for f in found), widths=(24,))


TABLES: dict[str, tuple[Callable[[int], None], float]] = {
    "main": (table_main, 1.0),
    "two": (table_two, 0.4),
    "families": (table_families, 0.2),
    "sight": (table_sight, 0.1),
    "strained": (table_strained, 0.4),
    "lifts": (table_lifts, 0.4),
    "bonds": (table_bonds, 0.4),
}
"""Each table with the share of the plants asked for that it tries."""


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the tables asked for."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--plants", type=int, default=500)
    parser.add_argument("--only", nargs="*", choices=sorted(TABLES), default=None)
    asked = parser.parse_args(arguments)
    for name, (table, share) in TABLES.items():
        if asked.only is None or name in asked.only:
            table(max(2, round(share * asked.plants)))


if __name__ == "__main__":
    main()
