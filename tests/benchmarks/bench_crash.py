"""Kills a runner within the program at 300 random moments of walks of each kind, and says what was lost.

Run it with ``python -m tests.benchmarks.bench_crash [--moments N]``. A moment is before, in or after a write, a sync,
an order to an instrument, an act or a telling; half of the deaths are power cuts that take what was not synced; see
``tests/runner/crash_points.py``. A tenth as many walks are killed up to eight times. A broken promise is an error.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence


def main(arguments: Sequence[str] | None = None) -> None:
    """Kill, compare, and print what came of it."""
    from tests.runner import crash_points

    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--moments", type=int, default=300, help="walks of each kind that are killed")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    for kind in crash_points.KINDS:
        once, whole = crash_points.compared(kind, asked.moments, asked.seed)
        often, _ = crash_points.compared(kind, asked.moments // 10, asked.seed, at_once=8)
        deaths = [death for story in (*once, *often) for death in story.deaths]
        readings = sum(story.readings for story in (*once, *often))
        print(
            f"{kind}: killed {len(deaths)} times at {len(set(deaths))} kinds of moment, in {len(once) + len(often)} "
            f"walks of {whole.moments} moments and {whole.readings} readings; of {readings} readings no acknowledged "
            "one is lost, no verdict differs, outputs off first after every start",
            flush=True,
        )


if __name__ == "__main__":
    main()
