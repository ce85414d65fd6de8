"""Kills the real program with SIGKILL at 300 random times in all, resumes it until it is done, and says what was lost.

Run it with ``python -m tests.benchmarks.bench_kills [--kills N] [--only KIND...]``. Meters answer over real ports.
What a killed program had printed must be what the record says, what was on disk must be there, the verdicts must be
those of a walk that was not killed, and after each start outputs are told to go off before any other instrument is
asked anything. Commands that write plant files, caches, pages and disturbances are killed at each moment at which they
write. A broken promise is an error.
"""

from __future__ import annotations

import argparse
import random
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tests.commands.dying import Dying
from tests.commands.test_killed_commands import COMMANDS, Killed
from tests.walks.kills import KINDS, Killing


def main(arguments: Sequence[str] | None = None) -> None:
    """Kill, compare, and print what came of it."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--kills", type=int, default=60, help="processes of each kind that are killed")
    parser.add_argument("--only", nargs="*", choices=(*KINDS, "commands"), default=(*KINDS, "commands"))
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    for kind in asked.only:
        if kind == "commands":
            every_moment()
            continue
        with tempfile.TemporaryDirectory() as scratch:
            killing = Killing(kind, Path(scratch), random.Random(f"{kind} {asked.seed}"))
            while killing.kills < asked.kills:
                killing.walk()
            print(
                f"{kind}: {killing.kills} processes killed in {killing.walks} walks; of {killing.told} readings that "
                "were printed none is lost, no verdict differs, outputs off first after every start",
                flush=True,
            )


def every_moment() -> None:
    """Kill each command at every moment at which it writes."""
    with tempfile.TemporaryDirectory() as scratch, Dying(Path(scratch)) as dying:
        for kind in COMMANDS:
            killed = Killed(kind, Path(scratch) / kind, dying)
            for moment in range(1, killed.moments + 1):
                killed.at(moment)
            print(
                f"{kind}: killed at each of {killed.moments} moments; nothing torn, and run again it does its work",
                flush=True,
            )


if __name__ == "__main__":
    main()
