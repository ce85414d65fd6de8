"""What a step costs beside the exchange itself: a walk on a pseudo-terminal against a bare pyserial script.

Run it with ``python -m tests.benchmarks.bench_step [--rounds N]``. Both walk the same continuity sequence on the same
simulated bench: a meter in a process of its own behind a pseudo-terminal, and hands that move the probes. The script
sends the same bytes for each reading, reads the same lines, and writes one line that it syncs. The tool judges, with
an uncertainty budget, chains, and writes and syncs two events a step: that the probes lie there, and the reading. One
after the other, by turns; the times between two readings, medians over all rounds. Twice: with a meter that takes its
own time for a reading, as all do, and with one that answers at once, where all that is left is work. Beside the time
on the clock stands the processor's, of all threads of whoever reads; the meter's own process is not in it.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import tempfile
import time
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import serial

from bench.assemble import Job, load_job, new_walk
from bench.runner.ports import Manner
from bench.sequence.plan import Step
from bench.simulate.messages import Configuration, Twin
from bench.simulate.process import SimulatedBench, SimulatedHands
from bench.walk import events as e
from bench.walk.state import State
from tests.walks.tool import BENCH, SEQUENCE

FAST = 1e4
"""Simulated seconds in a real one with which a meter answers at once."""


SET_UP = (b"*CLS", b"CONF:RES", b"RES:NPLC 1", b"RES:OCOM OFF", b"RES:RANG 10")
A_READING = (b"READ?", b"FUNC?", b"RES:RANG?")
"""What the tool sends for each reading: the trigger, then whether the meter still stands as it was set."""


def conductors(job: Job) -> list[Step]:
    """The steps that are timed: readings of the bundle's conductors, all on one range."""
    return [step for step in job.loaded.plan.steps if step.kind == "measure" and step.subject.startswith("W101.")]


Moment = tuple[float, float]
"""Seconds on the clock, and of the processor."""


def now() -> Moment:
    """This moment."""
    return time.perf_counter(), time.process_time()


def between(moments: Sequence[Moment]) -> list[Moment]:
    """Seconds from each moment to the next."""
    return [(after[0] - before[0], after[1] - before[1]) for before, after in pairwise(moments)]


def by_the_tool(job: Job, folder: Path, speed: float) -> list[Moment]:
    """Seconds from one conductor's reading to the next, when its outcome is told."""
    moments: list[Moment] = []

    def told(entry: e.Entry, state: State) -> None:
        if isinstance(entry.event, e.Read) and entry.event.judged["subject"].startswith("W101."):
            moments.append(now())

    record = folder / "walk.jsonl"
    record.unlink(missing_ok=True)
    with new_walk(
        job, record, operator="", manner=lambda simulated: Manner(alone=True), told=told, speed=speed
    ) as walk:
        walk.run()
    return between(moments)


def by_a_script(job: Job, folder: Path, speed: float) -> list[Moment]:
    """The same for a script that knows what to send and writes down what comes."""
    simulate = job.bench.file.simulate
    assert simulate is not None
    configuration = Configuration(
        plant=job.loaded.plant.file,
        twins=[Twin(name=one.name, kind=one.profile) for one in job.bench.file.instruments],
        faults=list(job.faults),
        seed=job.seed or 1,
        lead_ohms=simulate.lead_resistance.value,
        speed=speed,
    )
    moments: list[Moment] = []
    with SimulatedBench(configuration) as running, (folder / "script.jsonl").open("wb", buffering=0) as out:
        hands = SimulatedHands(running, 20.0, {})
        with serial.Serial(running.ports[job.bench.role_of["ohms"]], timeout=5.0) as port:
            for line in SET_UP:
                port.write(line + b"\n")
            for step in conductors(job):
                hands.place(step)
                replies = []
                for line in A_READING:
                    port.write(line + b"\n")
                    replies.append(port.read_until(b"\n").decode().strip())
                written = {"step": step.key, "at": time.time(), "ohms": float(replies[0]), "raw": replies}
                out.write(json.dumps(written).encode() + b"\n")
                os.fsync(out.fileno())
                moments.append(now())
    return between(moments)


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--rounds", type=int, default=5)
    asked = parser.parse_args(arguments)
    job = load_job(SEQUENCE, BENCH)
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        for meter, target, speed in (
            ("takes its own time", "target 1.5", 1.0),
            ("answers at once, as none does", "no target", FAST),
        ):
            ours, bare = [], []
            for _ in range(asked.rounds):
                ours += by_the_tool(job, folder, speed)
                bare += by_a_script(job, folder, speed)
            (mine, my_work), (theirs, their_work) = (
                [statistics.median(column) * 1e3 for column in zip(*steps, strict=True)] for steps in (ours, bare)
            )
            print(
                f"a step over a pseudo-terminal with a meter that {meter}, against a bare pyserial script "
                f"({target}): {mine:.2f} ms against {theirs:.2f} ms, ratio {mine / theirs:.2f}; of the processor "
                f"{my_work:.2f} ms against {their_work:.2f} ms, ratio {my_work / their_work:.2f}"
            )


if __name__ == "__main__":
    main()
