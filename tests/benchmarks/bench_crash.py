"""Kills walks of each kind at random moments, within the program (300 each) and as a process (300 in all).

Run it with ``python -m tests.benchmarks.bench_crash [--moments N] [--kills N]``. The first part kills a runner in the
same process before, in and after each write, sync, order to an instrument, act and telling, also with a power cut that
takes what was not synced; see ``tests/runner/crash_points.py``. The second kills the real program with SIGKILL, over
real ports, at random times, and resumes it until it is done. A broken promise ends it with an error.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1] / room) for room in ("runner", "walk", "power")]


def at_points(moments: int, seed: int) -> None:
    """Kill within the program."""
    import crash_points

    for kind in crash_points.KINDS:
        once, whole = crash_points.compared(kind, moments, seed)
        often, _ = crash_points.compared(kind, moments // 10, seed, at_once=8)
        deaths = [death for story in (*once, *often) for death in story.deaths]
        readings = sum(story.readings for story in (*once, *often))
        print(
            f"{kind}: killed {len(deaths)} times at {len(set(deaths))} kinds of moment, in {len(once) + len(often)} "
            f"walks of {whole.moments} moments and {whole.readings} readings; of {readings} readings no acknowledged "
            "one is lost, no verdict differs, outputs off first after every start",
            flush=True,
        )


def as_processes(kills: int, seed: int) -> None:
    """Kill the real program."""
    from tests.walks.kills import KINDS, Killing

    for kind in KINDS:
        with tempfile.TemporaryDirectory() as scratch:
            killing = Killing(kind, Path(scratch), random.Random(f"{kind} {seed}"))
            while killing.kills < kills:
                killing.walk()
            print(
                f"{kind}: {killing.kills} processes killed in {killing.walks} walks; of {killing.told} readings that "
                "were printed none is lost, no verdict differs, outputs off first after every start",
                flush=True,
            )


def main(arguments: Sequence[str] | None = None) -> None:
    """Kill, compare, and print what came of it."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--moments", type=int, default=300, help="walks of each kind that are killed at a point")
    parser.add_argument("--kills", type=int, default=60, help="processes of each kind that are killed")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    print("killed at points within the program, power cuts among them")
    at_points(asked.moments, asked.seed)
    print("killed as a process")
    as_processes(asked.kills, asked.seed)


if __name__ == "__main__":
    main()
