"""First power at full size: faults by name over many seeds, trip latency, drops against a circuit simulator.

    python -m tests.benchmarks.bench_power [RUNS [FIRST SEED]]
    python -m tests.benchmarks.bench_power drops
    python -m tests.benchmarks.bench_power walks [BAY ...]

The second takes the drops alone, of both jobs at full, nominal and lowest voltage. The third drafts first power of
whole bays of the shipped plant, or of all of it (``all``), and walks each by a process of its own over real ports:
sound, and with one fault of each kind that must be found by its name. Prints its figures; exit code 1 where one is not
what it must be.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from collections import Counter
from itertools import product
from pathlib import Path
from typing import Final

from bench.diagnose.supply.patterns import findings
from bench.plant.load import load_plant
from bench.record.replay import replay
from bench.sequence.power_tree import Powered, PowerTree
from bench.walk.state import Phase
from tests.power import pure_walk, small_hall, spice
from tests.power import season_of_faults as season
from tests.power.season_of_both import BEACON
from tests.walks.tool import by_a_process


def faults(runs: int, start: int = 0) -> bool:
    """Every fault by its name, stopped by the stage that must stop it."""
    folder = Path(tempfile.mkdtemp())
    first = pure_walk.begun(folder, small_hall.written(folder), "2")
    assert first.setting is not None
    plant = first.setting.plant
    right: Counter[str] = Counter()
    asked: Counter[str] = Counter()
    wrong: list[str] = []
    fed_wrongly = 0
    placed = 0
    trips: list[pure_walk.Trip] = []
    began = time.monotonic()
    for seed in range(start, start + runs):
        drawn = season.drawn(seed)
        walk = pure_walk.PureWalk(first, plant, [drawn.fault] if drawn.fault else [], seed)
        walk.run()
        named = [(one.kind, one.subject) for one in findings(walk.state)]
        expected = [(drawn.kind, drawn.subject)] if drawn.fault else []
        asked[drawn.kind] += 1
        if named == expected and walk.state.phase is Phase.DONE:
            right[drawn.kind] += 1
        else:
            wrong.append(f"  seed {seed}: {drawn.fault} was named {named}")
        fed_wrongly += any(
            drawn.fault is not None
            and drawn.shelf in step.subject.split("+")
            and max(volts for _, volts, _ in event.sets) > drawn.highest
            for step, event in walk.fed
        )
        trips += walk.trips
        if drawn.kind == "lossy":
            shelf = drawn.subject.partition(".")[0]
            placed += season.segment(walk, plant, drawn.subject) == f"WA{shelf}.1"
    print(f"first power of three shelves, {runs} runs from seed {start}, {time.monotonic() - began:.0f} s")
    for kind in season.KINDS:
        print(f"  {kind:10} {right[kind]:3} of {asked[kind]:3} by the right name")
    print(f"  lossy      {placed:3} of {asked['lossy']:3} traced to the right conductor")
    print("\n".join(wrong))
    print(f"  energised although an earlier stage should have stopped it: {fed_wrongly} runs")
    most = max((trip.beyond for trip in trips), default=0)
    print(f"  {len(trips)} trips: at most {most} reading beyond the window, the first one")
    return sum(right.values()) == runs and not fed_wrongly and most <= 1 and placed == asked["lossy"]


DROPS: Final = {
    "gannet-head": (small_hall.GANNET, (("GA",), ("GB",), ("GA", "GB")), (-57.0, -48.0, -40.5)),
    "beacon-hut": (BEACON, (("BATP",), ("BATQ",), ("BATP", "BATQ")), (28.8, 24.0, 21.0)),
}
"""Each job's plant, what feeds it, and its full, nominal and lowest voltage."""


def drops() -> bool:
    """Every inlet's voltage, and the current of all, against ngspice."""
    if spice.NGSPICE is None:
        print("drops: skipped, ngspice is not installed")
        return True
    good = True
    for job, (path, feeds, heights) in DROPS.items():
        plant = load_plant(path)
        tree = PowerTree(plant)
        for at, height in product(feeds, heights):
            powered = Powered(at, height, closed=frozenset(plant.breakers))
            deck, number = spice.netlist(plant, tree, powered)
            inlets = list(tree.inlets_on(at, powered.closed))
            ends = {end.node for inlet in inlets for end in (inlet.live, inlet.back)}
            theirs = spice.solved(deck, [number[node] for node in sorted(ends)], Path(tempfile.mkdtemp()))
            began = time.monotonic()
            flow = tree.flow(powered)
            took = time.monotonic() - began
            worst = max(abs(flow.nodes[node] - theirs[number[node]]) for node in ends)
            amps = spice.drawn(plant, inlets, {node: theirs[number[node]] for node in ends})
            apart = abs(flow.amps - amps) / amps
            print(
                f"{job} on {'+'.join(at)} at {height:g} V: {len(ends)} places, worst difference {worst:.1e} V; "
                f"{flow.amps:.3f} A, {apart:.1e} of it apart; {took * 1000:.0f} ms"
            )
            good = good and worst <= 1e-6 * abs(height) and apart <= 1e-6
    return good


WALKS = {
    "sound": ("", ""),
    "short": ("{fault: shelf-short, shelf: 2B, feed: A, ohms: 0.3 ohm}", "2B.A is free of shorts"),
    "reversed": ("{fault: polarity-reversed, shelf: 2C, feed: B}", "FB2C, load side"),
    "crossed": ("{fault: feeds-crossed, shelf: 2D}", "FA2D, load side"),
    "heavy": ("{fault: shelf-heavy, shelf: 2A, by: 0.9 A}", "2A on A alone, all cards in"),
    "light": ("{fault: shelf-light, shelf: 2B, by: 0.6 A}", "2B on A alone, all cards in"),
    "lossy": ("{fault: high-resistance-lug, terminal: 2D.A, ohms: 1.2 ohm}", "2D.A under load"),
}
"""Fault of bay 2 to the title of the step that must fail first."""


def walks(bays: list[str]) -> bool:
    """Whole bays, drafted and walked by a process of its own."""
    good = True
    for bay in bays:
        for name, (fault, first) in WALKS.items():
            if not fault or bay == "2":
                good = _walked(bay, name, fault, first) and good
    return good


def _walked(bay: str, name: str, fault: str, first: str) -> bool:
    folder = Path(tempfile.mkdtemp())
    (folder / "bench.yaml").write_text(small_hall.BENCH.format(faults=fault), "utf-8")
    scope = () if bay == "all" else ("--bay", bay)
    words = ("draft", small_hall.GANNET, "first-power", *scope, "-o", "first.yaml")
    drafted = by_a_process(*words, cwd=folder, timeout=600.0)
    began = time.monotonic()
    words = ("run", "first.yaml", "--bench", "bench.yaml", "--record", "r.jsonl", "--speed", "60", "--json")
    done = by_a_process(*words, cwd=folder, timeout=3600.0)
    took = time.monotonic() - began
    if drafted.returncode or not done.stdout:
        print(f"first power of {bay}, {name}: {drafted.stderr or done.stderr}")
        return False
    told = json.loads(done.stdout)
    failed = [one["title"] for one in told["verdicts"] if one["verdict"] == "fail"]
    state = replay(folder / "r.jsonl")
    named = sorted({(one.kind, one.subject) for one in findings(state)})
    counts = ", ".join(f"{count} {verdict}" for verdict, count in told["counts"].items() if count)
    print(
        f"first power of {bay}, {name}: {counts}; first failed {failed[:1]}; named {named}; {took:.0f} s",
        flush=True,
    )
    return failed[:1] == ([first] if first else []) and (done.returncode == 0) is (not fault)


def main() -> int:
    """Run all; see the module's text."""
    if sys.argv[1:2] == ["walks"]:
        return 0 if walks(sys.argv[2:] or ["2"]) else 1
    if sys.argv[1:2] == ["drops"]:
        return 0 if drops() else 1
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    start = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    return 0 if all([drops(), faults(runs, start)]) else 1


if __name__ == "__main__":
    sys.exit(main())
