"""First powers of both jobs with faults, alone and in pairs; and soaks of shelves in which nothing moves.

    python -m tests.benchmarks.bench_first_powers powers JOB RUNS [FIRST SEED]
    python -m tests.benchmarks.bench_first_powers soaks SOAKS [FIRST SEED]
    python -m tests.benchmarks.bench_first_powers all
    python -m tests.benchmarks.bench_first_powers told

Every answer comes in bytes from the twins through the shipped profiles, and every output is brought up by
the runner's own code, in simulated time; only the ports are left out. Of two faults at once, the one that was named
first is mended and it is walked again: both must be named rightly. ``all`` walks what is not walked yet and prints the
figures; where ``FIRST_POWERS`` names a file, what was walked is kept there and a study goes on where it was left, and
``told`` prints the figures of what is there.
Exit code 1 where something is not what it must be. The tests walk a small sample of the same.
"""

from __future__ import annotations

import json
import os
import random
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any, Final

from msgspec.structs import replace

from bench.judge.soak import FALSE_ALARMS
from bench.plant import faults as k
from bench.quantity import Current, Duration, Frequency
from tests.power import pure_walk
from tests.power import season_of_both as season

RUNS: Final = {"gannet-head": 312, "beacon-hut": 312, "small-hall": 96}
SOAKS: Final = 1000
TELL_EVERY: Final = 24
"""Runs between two lines on the standard error stream."""


class Kept:
    """What was walked, one line each; in a file where one is named."""

    def __init__(self) -> None:
        name = os.environ.get("FIRST_POWERS", "")
        self._path = Path(name) if name else None
        self.lines: list[dict[str, Any]] = []
        if self._path is not None and self._path.exists():
            self.lines = [json.loads(line) for line in self._path.read_text("utf-8").splitlines()]
        self._known = {(one["of"], one["seed"]) for one in self.lines}

    def has(self, of: str, seed: int) -> bool:
        """Whether it was walked."""
        return (of, seed) in self._known

    def keep(self, line: dict[str, Any]) -> None:
        """Keep one more."""
        self.lines.append(line)
        self._known.add((line["of"], line["seed"]))
        if self._path is not None:
            with self._path.open("a", encoding="utf-8") as file:
                file.write(json.dumps(line) + "\n")


def powers(kept: Kept, job: str, runs: int, start: int) -> None:
    """First powers of a job: every fault by a right name, nothing fed that should have been stopped."""
    here = season.hall(job, Path(tempfile.mkdtemp()))
    for seed in range(start, start + runs):
        if kept.has(job, seed):
            continue
        wrongs = season.drawn(here, seed)
        came = season.walked(here, wrongs, seed)
        kept.keep(
            {
                "of": job,
                "seed": seed,
                "kinds": [one.kind for one in wrongs],
                "against": list(came.against),
                "trips": len(came.walk.trips),
            }
        )
        if (seed - start) % TELL_EVERY == TELL_EVERY - 1:
            print(f"{job}: {seed - start + 1} of {runs} walked", file=sys.stderr, flush=True)


def soaks(kept: Kept, count: int, start: int) -> None:
    """Sound shelves soaked, with noise, ripple and slow ammeters."""
    here = season.hall("small-hall", Path(tempfile.mkdtemp()))
    for seed in range(start, start + count):
        if kept.has("soak", seed):
            continue
        verdict, sentence = soaked(here, seed)
        kept.keep({"of": "soak", "seed": seed, "verdict": verdict, "sentence": sentence})


def figures(lines: list[dict[str, Any]]) -> bool:
    """Print what came of all; returns whether it is what it must be."""
    good = True
    for job in RUNS:
        mine = sorted((one for one in lines if one["of"] == job), key=lambda one: int(one["seed"]))
        if not mine:
            continue
        right, asked = Counter[str](), Counter[str]()
        trips = 0
        for one in mine:
            kind = one["kinds"][0] if len(one["kinds"]) == 1 else "two at once"
            asked[kind] += 1
            right[kind] += not one["against"]
            trips += one["trips"]
            for text in one["against"]:
                good = False
                print(f"  {job} seed {one['seed']}, {' + '.join(one['kinds'])}: {text}")
        print(f"first power of {job}: {len(mine)} runs, {sum(right.values())} as they must be; {trips} trips")
        for kind in asked:
            print(f"  {kind:14} {right[kind]:3} of {asked[kind]:3} as they must be")
    drawn = [one for one in lines if one["of"] == "soak"]
    if drawn:
        answers = Counter(one["verdict"] for one in drawn)
        for one in drawn:
            if one["verdict"] == "fail":
                print(f"  soak of seed {one['seed']}: {one['sentence']}")
        print(f"{len(drawn)} soaks of a sound shelf: {dict(answers)}")
        print(f"  stated: at most {FALSE_ALARMS:.0%} fail; found {answers['fail'] / len(drawn):.2%}")
        good = good and answers["fail"] <= FALSE_ALARMS * len(drawn)
    return good


def soaked(here: season.Hall, seed: int) -> tuple[str, str]:
    """One sound shelf, brought up and soaked: the verdict with its reason.

    Args:
        here: the small hall.
        seed: of its cards, its noise and its meter.
    """
    drawn = random.Random(f"soak {seed}")
    faults: list[k.Fault] = [
        k.CurrentNoise(
            noise=Current(round(drawn.uniform(0.0, 0.010), 4)),
            ripple=Current(round(drawn.uniform(0.0, 0.005), 4)),
            frequency=Frequency(round(drawn.uniform(90.0, 110.0), 2)),
        )
    ]
    renews = 0.0
    if drawn.random() < 0.3:
        faults.append(k.SlowAmmeter(renews=Duration(round(drawn.uniform(0.2, 0.9), 2))))
    elif drawn.random() < 0.3:
        # as slow as the cheapest ones are; its profile says so
        renews = round(drawn.uniform(1.0, 4.0), 1)
        faults.append(k.SlowAmmeter(renews=Duration(renews)))
    first = pure_walk.renewing(here.first, renews)
    setting = first.setting
    assert setting is not None
    step = next(one for one in setting.plan.steps if one.title == "2A on A alone, all cards in")
    walk = pure_walk.PureWalk(first, here.plant, faults, seed)
    closed = frozenset(here.plant.supply_path("2A", "A").breakers)
    walk.world.breakers(closed, 0.0)
    conditions = first.conditions
    handled = conditions.handled
    for act in (one.source for one in setting.plan.steps[: step.index]):
        changes = getattr(act, "changes", ())
        handled = handled.after(tuple(one for one in changes if one.kind in ("breaker", "card")))
    conditions = replace(conditions, handled=handled)
    walk.world.cards(handled.out, 0.0)
    found = setting.prepared(step, conditions)
    assert found.ramp is not None, found.refusal
    event = walk.bring_up(step, found.ramp)
    outcome = setting.judge_energised(step, event, 2, conditions, first.rules, "2026-06-01T18:00:00Z")
    return outcome.verdict, outcome.sentence


def main() -> int:
    """Run what is asked for; see the module's text."""
    words, kept = sys.argv[1:], Kept()
    if words[:1] == ["powers"]:
        powers(kept, words[1], int(words[2]), int(words[3]) if len(words) > 3 else 0)
    elif words[:1] == ["soaks"]:
        soaks(kept, int(words[1]), int(words[2]) if len(words) > 2 else 0)
    elif words[:1] != ["told"]:
        for job, runs in RUNS.items():
            powers(kept, job, runs, 0)
        soaks(kept, SOAKS, 0)
    return 0 if figures(kept.lines) else 1


if __name__ == "__main__":
    sys.exit(main())
