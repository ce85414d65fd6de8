"""What one reading costs beside the exchange itself: an instrument on a pseudo-terminal against bare pyserial.

Run it with ``python -m tests.benchmarks.bench_reading [--rounds N]``. A meter plays in a process of its own and takes
its own time for a reading, as all do. The script sends the same bytes and reads the same lines; the tool matches each
reply to its question, checks function and range before it believes the figure, and keeps the raw bytes. By turns,
medians over all rounds.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Sequence

import serial

from bench.assemble import load_job
from bench.instruments.instrument import Instrument
from bench.instruments.ports.transport import open_port
from bench.simulate.messages import Configuration, Twin
from bench.simulate.process import SimulatedBench
from tests.benchmarks.bench_step import A_READING
from tests.walks.tool import BENCH, SEQUENCE

READINGS = 40
"""In a row, by each side in each round."""


def timed_by_the_tool(instrument: Instrument) -> list[float]:
    """Seconds of each reading."""
    times = []
    for _ in range(READINGS):
        begun = time.perf_counter()
        sample = instrument.read()
        times.append(time.perf_counter() - begun)
        assert sample.tries == 1 and (sample.value is not None or sample.over)
    return times


def timed_by_a_script(port: serial.Serial) -> list[float]:
    """The same for a script that knows what to send."""
    times = []
    for _ in range(READINGS):
        begun = time.perf_counter()
        for line in A_READING:
            port.write(line + b"\n")
            assert port.read_until(b"\n").endswith(b"\n")
        times.append(time.perf_counter() - begun)
    return times


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--rounds", type=int, default=10)
    asked = parser.parse_args(arguments)
    job = load_job(SEQUENCE, BENCH)
    name = job.bench.role_of["ohms"]
    profile = job.bench.profiles[name]
    twins = [Twin(name=one.name, kind=one.profile) for one in job.bench.file.instruments]
    configuration = Configuration(plant=job.loaded.plant.file, twins=twins, seed=1)
    ours: list[float] = []
    bare: list[float] = []
    with SimulatedBench(configuration) as running:
        address = running.ports[name]
        for _ in range(asked.rounds):
            with Instrument(profile, open_port(address, profile.line)) as instrument:
                instrument.open()
                instrument.configure("ohms 2w", 10.0, {"nplc": "1", "compensation": "OFF"})
                ours += timed_by_the_tool(instrument)
            with serial.Serial(address, timeout=5.0) as port:
                bare += timed_by_a_script(port)
    mine, theirs = statistics.median(ours) * 1e3, statistics.median(bare) * 1e3
    print(
        "one reading over a pseudo-terminal with a meter that takes its own time, against a bare pyserial script "
        f"(target 1.1): {mine:.2f} ms against {theirs:.2f} ms, ratio {mine / theirs:.2f}"
    )


if __name__ == "__main__":
    main()
