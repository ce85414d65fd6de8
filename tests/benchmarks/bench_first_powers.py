"""First powers of both jobs with faults, alone and in pairs; and soaks of shelves in which nothing moves.

    python -m tests.benchmarks.bench_first_powers [RUNS OF EACH JOB [FIRST SEED [JOB]]]
    python -m tests.benchmarks.bench_first_powers soaks [SOAKS [FIRST SEED]]
    python -m tests.benchmarks.bench_first_powers all

Prints its figures; exit code 1 where one is not what it must be. The tests walk a small sample of the same.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Final

from msgspec.structs import replace

from bench.judge.soak import FALSE_ALARMS
from bench.plant import faults as k
from bench.quantity import Current, Duration, Frequency
from tests.power import pure_walk
from tests.power import season_of_both as season

TELL_EVERY: Final = 25
"""Runs between two lines on the standard error stream."""


def first_powers(runs: int, start: int, jobs: tuple[str, ...]) -> bool:
    """Every fault by a right name, nothing fed that should have been stopped, no hand in a charged shelf."""
    good = True
    for job in jobs:
        here = season.hall(job, Path(tempfile.mkdtemp()))
        began = time.monotonic()
        right: Counter[str] = Counter()
        asked: Counter[str] = Counter()
        for seed in range(start, start + runs):
            wrongs = season.drawn(here, seed)
            came = season.walked(here, wrongs, seed)
            kind = " + ".join(one.kind for one in wrongs) if len(wrongs) == 1 else "two at once"
            asked[kind] += 1
            right[kind] += not came.against
            for text in came.against:
                good = False
                print(f"  {job} seed {seed}, {' + '.join(one.kind for one in wrongs)}: {text}", flush=True)
            if sys.stderr.isatty() or (seed - start) % TELL_EVERY == TELL_EVERY - 1:
                done = seed - start + 1
                print(
                    f"{job}: {done} of {runs} walked, {sum(right.values())} as they must be",
                    file=sys.stderr,
                    flush=True,
                )
        print(f"first power of {job}: {runs} runs from seed {start}, {time.monotonic() - began:.0f} s")
        for kind in asked:
            print(f"  {kind:14} {right[kind]:3} of {asked[kind]:3} as they must be", flush=True)
    return good


def soaks(count: int, start: int) -> bool:
    """Sound shelves soaked, with noise, ripple and slow ammeters: none is failed beyond the stated rate."""
    here = season.hall("small-hall", Path(tempfile.mkdtemp()))
    answers: Counter[str] = Counter()
    began = time.monotonic()
    for seed in range(start, start + count):
        verdict, sentence = soaked(here, seed)
        answers[verdict] += 1
        if (seed - start) % (8 * TELL_EVERY) == 8 * TELL_EVERY - 1:
            print(f"{seed - start + 1} of {count} soaked: {dict(answers)}", file=sys.stderr, flush=True)
        if verdict == "fail":
            print(f"  seed {seed}: {sentence}", flush=True)
    print(f"{count} soaks of a sound shelf from seed {start}, {time.monotonic() - began:.0f} s: {dict(answers)}")
    print(f"  stated: at most {FALSE_ALARMS:.0%} fail; found {answers['fail'] / count:.2%}")
    return answers["fail"] <= FALSE_ALARMS * count


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
    if drawn.random() < 0.3:
        faults.append(k.SlowAmmeter(renews=Duration(round(drawn.uniform(0.2, 0.9), 2))))
    setting = here.first.setting
    assert setting is not None
    step = next(one for one in setting.plan.steps if one.title == "2A on A alone, all cards in")
    walk = pure_walk.PureWalk(here.first, here.plant, faults, seed)
    closed = frozenset(here.plant.supply_path("2A", "A").breakers)
    walk.world.breakers(closed, 0.0)
    conditions = here.first.conditions
    handled = conditions.handled
    for act in (one.source for one in setting.plan.steps[: step.index]):
        changes = getattr(act, "changes", ())
        handled = handled.after(tuple(one for one in changes if one.kind in ("breaker", "card")))
    conditions = replace(conditions, handled=handled)
    walk.world.cards(handled.out, 0.0)
    found = setting.prepared(step, conditions)
    assert found.ramp is not None, found.refusal
    event = walk.bring_up(step, found.ramp)
    outcome = setting.judge_energised(step, event, 2, conditions, here.first.rules, "2026-06-01T18:00:00Z")
    return outcome.verdict, outcome.sentence


def main() -> int:
    """Run all; see the module's text."""
    words = sys.argv[1:]
    if words == ["all"]:
        powers = first_powers(300, 0, tuple(season.JOBS))
        return 0 if soaks(1000, 0) and powers else 1
    if words[:1] == ["soaks"]:
        return 0 if soaks(int(words[1]) if len(words) > 1 else 1000, int(words[2]) if len(words) > 2 else 0) else 1
    runs = int(words[0]) if words else 300
    start = int(words[1]) if len(words) > 1 else 0
    jobs = tuple(words[2:]) or tuple(season.JOBS)
    return 0 if first_powers(runs, start, jobs) else 1


if __name__ == "__main__":
    sys.exit(main())
