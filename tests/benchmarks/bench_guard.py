"""How soon a supply's output is off after each way in which its runner can end, with the guard beside it.

Run by hand from the top folder; it takes about a minute:

    python -m tests.benchmarks.bench_guard
    python -m tests.benchmarks.bench_guard --repeats 10

A supply plays on a pseudo-terminal in this process; a runner in a process of its own has it on, and has a guard.
Measured is from the signal to the output's being off, and the guard's memory. A baseline is taken in the same run: the
same runner told to end in order, which makes safe itself.
"""

from __future__ import annotations

import argparse
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from bench.runner.guard import HANGS_AFTER
from bench.simulate.twins.supply import SupplyTwin
from tests.drivers.twins import Hall
from tests.instruments.server import served

WAYS = {
    "told to end": None,
    "Ctrl-C": signal.SIGINT,
    "terminated": signal.SIGTERM,
    "hung up": signal.SIGHUP,
    "killed": signal.SIGKILL,
    "stopped": signal.SIGSTOP,
}
"""What ends it; this runner takes no signal for itself, so that each but the first leaves everything to the guard."""


def off_after(way: signal.Signals | None) -> tuple[float, float]:
    """Seconds until the output was off, and the guard's resident memory in megabytes; not a number where unknown."""
    supply = SupplyTwin(Hall())
    with served(supply) as port, tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "tests.runner.guarded_runner", port.address, str(Path(folder) / "none.jsonl")]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as runner:
            assert runner.stdin is not None and runner.stdout is not None
            said = runner.stdout.readline().split()
            assert said[:1] == ["on"] and supply.on
            memory = _megabytes(int(said[1]))
            begun = time.monotonic()
            if way is None:
                runner.stdin.write("end\n")
                runner.stdin.flush()
            else:
                runner.send_signal(way)
            while supply.on:
                time.sleep(0.001)
            took = time.monotonic() - begun
            runner.kill()
    return took, memory


def _megabytes(pid: int) -> float:
    try:
        text = Path(f"/proc/{pid}/status").read_text("ascii")
    except OSError:
        return float("nan")
    return next(float(line.split()[1]) / 1024 for line in text.splitlines() if line.startswith("VmRSS"))


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=5)
    options = parser.parse_args()
    baseline = 0.0
    for name, way in WAYS.items():
        found = [off_after(way) for _ in range(1 if way == signal.SIGSTOP else options.repeats)]
        took = statistics.median(seconds for seconds, _ in found)
        baseline = baseline or took
        note = f" (of which {HANGS_AFTER:g} s are waited)" if way == signal.SIGSTOP else ""
        worst = max(seconds for seconds, _ in found)
        print(
            f"{name:12} off after {took:.3f} s{note}, at most {worst:.3f} s, {took / baseline:.1f} times an orderly end"
        )
    print(f"guard        {statistics.median(memory for _, memory in found):.0f} MB while it waits")


if __name__ == "__main__":
    main()
