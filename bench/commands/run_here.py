"""Carries a walk out in this process: alone on a simulated bench, else with a person at the terminal."""

from __future__ import annotations

import argparse
import atexit
import json
import os
import signal
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from typing import Any, Final

import msgspec

from bench import exits
from bench.assemble import Job, Walk, load_job, new_walk, resumed_walk
from bench.commands.common import LOGS, operator_name, record_name
from bench.commands.demo_faults import demo_faults
from bench.commands.power_evidence import cleared
from bench.errors import BadRequest
from bench.report.console import Console, exit_code, summary
from bench.runner.core import Runner, Signalled
from bench.runner.ports import Manner
from bench.walk import events as e
from bench.walk.state import State

PATIENCE: Final = 20.0
"""Seconds after the first signal until one more ends the process at once: outputs have had their time by then."""


@contextmanager
def signals_to(runner: Runner, clock: Callable[[], float] = time.monotonic) -> Iterator[None]:
    """While this holds, ctrl-c, TERM and HUP end the walk safely in place of killing the process.

    A second one changes nothing, for outputs are being made safe, and says so. Where that takes longer than it may,
    say with a disk that hangs, one more ends the process, and says that nobody knows what is on.

    A walk that was ended so is the end of its process, too: signals are held until that is gone, for one that came
    while it closes its ports, or just before its exit, would take its exit code. After any other walk they are as
    they were.
    """
    first: list[float] = []

    def tell(number: int, frame: object) -> None:
        if not first:
            first.append(clock())
            runner.inbox.put(Signalled(signal.Signals(number).name))
            return
        left = PATIENCE - (clock() - first[0])
        if left > 0:
            _say_now(f"ending already: outputs are made safe first; once more after {left:.0f} s ends it at once")
            return
        _say_now("ended at once: nobody knows what is on; look at every supply and tester yourself")
        os._exit(exits.STOPPED)

    # the window that is closed: SIGHUP, and on Windows SIGBREAK, which comes for Ctrl-Break too
    names = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
    wanted = [getattr(signal, name) for name in names if hasattr(signal, name)]
    before = {number: signal.signal(number, tell) for number in wanted}
    try:
        yield
    finally:
        if first:
            # past this the interpreter takes handlers of its own down, and what it ignores stays ignored
            atexit.register(ignore, wanted)
        else:
            for number, handler in before.items():
                signal.signal(number, handler)


def ignore(numbers: Iterable[signal.Signals]) -> None:
    """Ignore these signals from here on."""
    for number in numbers:
        signal.signal(number, signal.SIG_IGN)


def _say_now(text: str) -> None:
    """Write to standard error past all buffers: a signal may come while one of them is being written."""
    with suppress(OSError):
        os.write(2, f"{text}\n".encode())


def load(options: argparse.Namespace) -> Job:
    """The job that the options name, with faults and seed as they say."""
    job = load_job(options.sequence, options.bench)
    job = msgspec.structs.replace(
        job, cleared=cleared(job.loaded.plan, job.loaded.plant, job.loaded.path.parent, job.bench.simulated)
    )
    seed = getattr(options, "seed", None)
    if seed is None or job.seed is None:
        return job
    job = msgspec.structs.replace(job, seed=seed)
    if getattr(options, "demo_faults", False):
        job = msgspec.structs.replace(job, faults=tuple(demo_faults(job.loaded.plant, seed)))
    return job


def new_record(options: argparse.Namespace, job: Job) -> Path:
    """The record to write."""
    if options.record is not None:
        return Path(options.record)
    return record_name(LOGS, job.loaded.path.stem)


def run_here(options: argparse.Namespace, job: Job | None = None) -> int:
    """Run or resume a walk in this process: alone on a simulated bench, else with a person at the terminal."""
    console = Console(quiet=options.json)

    def told(entry: e.Entry, state: State) -> None:
        # a person at the terminal is told line by line already
        if state.setting is not None and state.setting.bench.simulated:
            console.told(entry, state)

    with _opened(options, job, told) as walk:
        record = walk.writer.path
        with signals_to(walk.runner):
            if not walk.runner.alone:
                from bench.commands.console_screen import run_with_person  # alone nobody needs the screen's words

                return exit_code(run_with_person(walk, operator_name(options.operator)))
            state = walk.run()
    if options.json:
        json.dump(summary(state, record), sys.stdout, ensure_ascii=False, indent=1)
        print()
    else:
        console.summary(state, record)
    return exit_code(state)


def _opened(
    options: argparse.Namespace, job: Job | None, told: Callable[[e.Entry, State], None]
) -> AbstractContextManager[Walk]:
    shared: dict[str, Any] = {
        "operator": operator_name(options.operator),
        "told": told,
        "trace": options.trace_bytes,
        "speed": options.speed,
    }
    if options.resume is not None:
        return resumed_walk(options.resume, bench=options.bench, manner=_manner, **shared)
    job = job or load(options)
    return new_walk(job, new_record(options, job), manner=_manner, **shared)


def _manner(simulated: bool) -> Manner:
    """Without a screen: the simulator's hands work alone, a person's are asked at the terminal."""
    if not simulated and not sys.stdin.isatty():
        raise BadRequest("a real bench needs somebody at the terminal: hold points are passed by people only")
    return Manner(alone=simulated, by_contact=not simulated)
