"""How well wiring is explained and conductors are named, at full size: seeded runs that print tables.

Run by hand from the top folder; all tables take about ten minutes of one core (use ``nice``):

    python tests/benchmarks/bench_conductors.py                    all tables
    python tests/benchmarks/bench_conductors.py --only explain     some: explain, large, name, counts, shorts

The plants, the damage and the cable with its hands are those of the tests in ``tests/diagnose``.
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter
from math import inf

import networkx

from bench.diagnose.apart.isolation import find_shorts, hand_plan
from bench.diagnose.explain.forward import differences, predict
from bench.diagnose.explain.pin_map import Design
from bench.diagnose.explain.search import explain
from bench.diagnose.halving import counting_width
from bench.diagnose.identify.chain import plan_chain
from bench.diagnose.identify.sizes import plan_sizes
from bench.diagnose.identify.star import plan_star
from bench.diagnose.identify.tag import plan_tags
from bench.diagnose.identify.tags import Loop, Meter, drawer
from bench.diagnose.script import carry_out
from tests.diagnose.apart.bounds import shorts_bound
from tests.diagnose.explain.wiring_damage import Damage, fanned, measured, names, some_plant, straight
from tests.diagnose.identify.cable_bench import Cable

LOOP, METER, TAGS = Loop(0, 5), Meter(0.01, 1.0), drawer("E96", 0.01)


def explained(design: Design, causes: list, runs: int = 1) -> tuple[bool, bool, bool, float, float]:
    """Whether the map is reproduced, the causes are those put in, no more than those; CPU seconds, alone and in runs
    of the causes forward through the same design, beside which they are taken.

    Both are the least of some runs: what else the machine does takes cache and memory from it, and only adds.
    """
    seen = measured(design, causes)
    forward = took = inf
    for _ in range(runs):
        start = time.process_time()
        predict(design, causes)
        forward = min(forward, time.process_time() - start)
        design.__dict__.pop("index", None)
        start = time.process_time()
        explanation = explain(design, seen)
        took = min(took, time.process_time() - start)
    return (
        not differences(design, seen, explanation.causes) and not explanation.unexplained,
        names(design, explanation.causes) == names(design, causes),
        len(explanation.causes) <= len(causes),
        took,
        took / max(forward, 1e-9),
    )


def table_explain() -> None:
    """Explaining maps: named causes, and dense damage."""
    print("Explaining a map: seeded damage, causes run forward and compared\n")
    print(f"{'':44}{'cases':>7}{'reproduced':>12}{'same causes':>13}{'no more':>9}{'slowest':>10}{'of a run':>10}")
    print("(of a run: the slowest, in times that the causes take to be run forward)")

    def row(title: str, runs: list[tuple[bool, bool, bool, float, float]]) -> None:
        sums = [sum(r[k] for r in runs) for k in range(3)]
        slowest = max(runs, key=lambda run: run[3])
        print(f"{title:44}{len(runs):7}{sums[0]:12}{sums[1]:13}{sums[2]:9}{slowest[3]:9.3f}s{slowest[4]:10.1f}")

    runs = []
    for seed in range(1000):
        rng = random.Random(10_000 + seed)
        design = some_plant(seed)
        runs.append(explained(design, Damage(design, rng).draw(rng.randint(1, 4))))
    row("48..640 conductors, 1..4 causes apart", runs)
    runs = []
    for seed in range(1000):
        rng = random.Random(30_000 + seed)
        design = some_plant(seed)
        runs.append(explained(design, Damage(design, rng, apart=False).draw(rng.randint(1, 4))))
    row("48..640 conductors, 1..4 causes that overlap", runs)
    plants = (straight(4, 16, 2), straight(2, 32, 2), straight(4, 16, 1), straight(1, 64, 2))
    runs = []
    for seed in range(1000):
        damage = Damage(plants[seed % 4], random.Random(50_000 + seed), apart=False)
        runs.append(explained(damage.design, damage.draw(8)))
    row("64 conductors, 8 causes that overlap", runs)


def table_large() -> None:
    """Explaining maps of 10,000 conductors with 12 causes: a line for each plant, as soon as it is done."""
    print("10,000 conductors, 12 causes: whether the same are told and no more; CPU seconds, least of five runs\n")
    print(f"{'plant':>5}{'made':>6}{'reproduced':>12}{'same causes':>13}{'no more':>9}{'seconds':>10}{'of a run':>10}")
    large = (straight(100, 100, 2), straight(200, 50, 2), straight(40, 250, 5), fanned(100, 100, 4))
    runs = []
    for seed in range(24):
        damage = Damage(large[seed % 4], random.Random(70_000 + seed))
        made = damage.draw(12)
        same, causes, no_more, took, times = explained(damage.design, made, 5)
        runs.append((same, causes, no_more, took))
        yes = [("yes" if one else "no") for one in (same, causes, no_more)]
        print(f"{seed:5}{len(made):6}{yes[0]:>12}{yes[1]:>13}{yes[2]:>9}{took:10.3f}{times:10.1f}", flush=True)
    sums = [sum(run[k] for run in runs) for k in range(3)]
    print(f"{'all':>5}{'':6}{sums[0]:12}{sums[1]:13}{sums[2]:9}{max(run[3] for run in runs):10.3f}")


def plan_for(way: str, cable: Cable):
    """A plan of one way; None where there is none."""
    cable.electric(TAGS, LOOP, METER)
    ends = cable.conductors, cable.flags
    if way == "tags":
        return plan_tags(*ends, TAGS, LOOP, METER)
    if way == "star":
        return plan_star(*ends, TAGS, LOOP, METER)
    if way.startswith("chain"):
        return plan_chain(*ends, bar="bar" in way)
    if len(cable.conductors) in (2, 5, 9):
        return None
    return plan_sizes(*ends, bar="bar" in way)


WAYS = ("tags", "star", "chain, bar", "chain", "sizes, bar", "sizes")
FAULTS = ((0, 0), (1, 0), (0, 1), (1, 1), (2, 1), (3, 3))


def table_name() -> None:
    """Naming conductors: every count from 3 to 300, each way, with faults; and the touches."""
    print("\nNaming conductors: every count from 3 to 300 for each way and set of faults")
    print("(ends named rightly of all; wrong names; ends called ambiguous, joined, open or strange)\n")
    print(f"{'way':12}{'opens, shorts':>15}{'ends':>8}{'named':>8}{'wrong':>7}{'told':>7}{'no name at all':>16}")
    for way in WAYS:
        for opens, shorts in FAULTS:
            if not way.endswith("bar") and way in ("chain", "sizes") and (opens, shorts) not in FAULTS[:2]:
                continue
            count: Counter[str] = Counter()
            for size in range(3, 301):
                cable = Cable(size, 1000 * size + 10 * opens + shorts, opens, shorts)
                plan = plan_for(way, cable)
                if plan is None:
                    continue
                result = carry_out(plan.script(), cable.look)
                said = {**result.names, **result.by_elimination}
                count["ends"] += size
                count["wrong"] += sum(cable.truth[f] != c for f, c in said.items())
                count["named"] += sum(cable.truth[f] == c for f, c in said.items())
                count["none"] += not said
            told = count["ends"] - count["named"] - count["wrong"]
            print(
                f"{way:12}{opens:8},{shorts:6}{count['ends']:8}{count['named']:8}{count['wrong']:7}"
                f"{told:7}{count['none']:16}"
            )
    print("\nTouches when all is well (mean of 5 cables), beside log2(n!), walking and the double check\n")
    print(f"{'n':>4}{'log2 n!':>10}" + "".join(f"{w:>12}" for w in WAYS) + f"{'walking':>10}{'double':>9}")
    for size in (10, 25, 50, 100, 200, 300):
        means = []
        for way in WAYS:
            touches = 0
            for seed in range(5):
                cable = Cable(size, seed)
                plan = plan_for(way, cable)
                touches += carry_out(plan.script(), cable.look).touches
            means.append(touches / 5)
        effort = plan.effort
        cells = "".join(f"{m:12.0f}" for m in means)
        print(f"{size:4}{effort.bound:10.0f}{cells}{effort.walking:10}{effort.double_check:9}")


def table_counts() -> None:
    """Touches of every count from 3 to 300 by each way, beside the published bound and the naive counts."""
    ways = ("tags", "star", "chain, bar", "sizes, bar")
    print("\nTouches when all is well, one seeded cable of every count; '-' where no such grouping exists")
    print(
        "bound: log2 n!, which no way with yes-or-no readings beats on average; tags answer with more than yes or no\n"
    )
    print(f"{'n':>4}{'bound':>8}" + "".join(f"{way:>12}" for way in ways) + f"{'one by one':>12}{'every pair':>12}")
    right = 0
    for size in range(3, 301):
        cells, effort = [], None
        for way in ways:
            cable = Cable(size, size)
            plan = plan_for(way, cable)
            if plan is None:
                cells.append("-")
                continue
            effort = plan.effort
            result = carry_out(plan.script(), cable.look)
            said = {**result.names, **result.by_elimination}
            assert all(cable.truth[flag] == name for flag, name in said.items()), (way, size)
            right += len(said) == size
            cells.append(str(result.touches))
        shown = "".join(f"{cell:>12}" for cell in cells)
        print(f"{size:4}{effort.bound:8.0f}{shown}{effort.walking:12}{effort.double_check:12}")
    print(f"\n{right} of {298 * len(ways) - 2} cables named whole and rightly")


def table_shorts() -> None:
    """Shorts among many nets, and plans by hand."""
    print("\nAll shorts among n nets: mean and most readings of 50, the bound, and walking (n - 1)\n")
    print(f"{'nets':>6}{'surplus':>9}{'mean':>8}{'most':>6}{'bound':>7}{'walking':>9}")
    for nets in (64, 256, 1024):
        labels = [str(k) for k in range(nets)]
        for surplus in (0, 1, 3, 10):
            readings = []
            for seed in range(50):
                rng = random.Random(seed)
                graph = networkx.Graph()
                graph.add_nodes_from(labels)
                while nets - networkx.number_connected_components(graph) < surplus:
                    graph.add_edge(*rng.sample(labels, 2))
                part = {n: k for k, c in enumerate(networkx.connected_components(graph)) for n in c}

                def look(request, part=part):
                    red = {part[n] for n in request.red}
                    return any(part[n] in red for n in request.black)

                found = carry_out(find_shorts(labels), look)
                assert nets - surplus == nets - sum(len(g) - 1 for g in found.groups)
                readings.append(found.readings)
            mean = sum(readings) / len(readings)
            bound = shorts_bound(nets, surplus)
            print(f"{nets:6}{surplus:9}{mean:8.1f}{max(readings):6}{bound:7}{nets - 1:9}")
    print("\nBy hand: dwell 60 s, 5 s for a clip (minutes): bits of the numbers, one at a time, cheapest\n")
    print(f"{'nets':>6}{'bits':>8}{'one by one':>12}{'cheapest':>10}{'splits':>8}{'moves':>7}")
    for nets in (8, 16, 32, 64, 128, 256):
        bits = hand_plan(nets, splits=counting_width(nets))
        one = hand_plan(nets, splits=max(counting_width(nets), nets // 2))
        best = hand_plan(nets)
        print(f"{nets:6}{bits.minutes:8.1f}{one.minutes:12.1f}{best.minutes:10.1f}{best.splits:8}{best.clip_moves:7}")


TABLES = {
    "explain": table_explain,
    "large": table_large,
    "name": table_name,
    "counts": table_counts,
    "shorts": table_shorts,
}


def main() -> None:
    """Print the tables that were asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", nargs="*", choices=sorted(TABLES), default=list(TABLES))
    for name in parser.parse_args().only:
        TABLES[name]()


if __name__ == "__main__":
    main()
