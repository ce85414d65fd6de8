"""How soon the program answers: help and what `run` loads against bare Python, first paint against an empty app.

Run it with ``python -m tests.benchmarks.bench_start [--rounds N]``. Both sides of a ratio are taken by turns in the
same run, on a pseudo-terminal where something is painted; medians are compared. What is loaded is measured against a
bare Python that loads the same libraries from outside, and nothing of this package.
"""

from __future__ import annotations

import argparse
import fcntl
import os
import pty
import resource
import select
import signal
import statistics
import struct
import subprocess
import sys
import tempfile
import termios
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from tests.walks.tool import BENCH, COMMAND, SEQUENCE, environment

EMPTY = """
from textual.app import App
from textual.widgets import Static

class Empty(App):
    def compose(self):
        yield Static("painted")

Empty().run(mouse=False)
"""


def to_the_end(words: Sequence[str]) -> float:
    """Seconds that a command takes from its start to its end."""
    began = time.monotonic()
    subprocess.run(words, env=environment(), stdout=subprocess.DEVNULL, stdin=subprocess.DEVNULL, check=True)
    return time.monotonic() - began


def to_the_picture(words: Sequence[str], mark: bytes, folder: Path) -> float:
    """Seconds from a program's start until a text stands on its terminal."""
    master, slave = pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    began = time.monotonic()
    process = subprocess.Popen(
        words,
        cwd=folder,
        env={**environment(), "TERM": "xterm-256color"},
        stdin=slave,
        stdout=slave,
        stderr=slave,
        start_new_session=True,
    )
    os.close(slave)
    seen = b""
    while mark not in seen:
        if not select.select([master], [], [], 30.0)[0]:
            raise RuntimeError(f"{mark!r} was not painted: {seen[-500:]!r}")
        seen += os.read(master, 65536)
    taken = time.monotonic() - began
    process.send_signal(signal.SIGKILL)
    process.wait()
    os.close(master)
    return taken


OUTSIDE = """
import sys
before = set(sys.modules)
import {module}
new = {{name.partition(".")[0] for name in set(sys.modules) - before}} - set(sys.stdlib_module_names) - {{"bench"}}
print(" ".join(sorted(name for name in new if name[:1] != "_")))
"""


def libraries(module: str) -> str:
    """The libraries from outside that a module of this package loads, as an import statement."""
    code = OUTSIDE.format(module=module)
    done = subprocess.run([sys.executable, "-c", code], env=environment(), capture_output=True, text=True, check=True)
    return "import " + ", ".join(done.stdout.split())


def worked(code: str) -> float:
    """Seconds of processor time that a fresh Python takes for a line of code."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-c", code], env=environment(), check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def ratio(what: str, mine: Callable[[], float], baseline: Callable[[], float], rounds: int) -> None:
    """Print both medians and their ratio; the first round of each is not counted."""
    pairs = [(mine(), baseline()) for _ in range(rounds + 1)][1:]
    ours, bare = (statistics.median(column) for column in zip(*pairs, strict=True))
    print(f"{what}: {ours * 1000:.0f} ms against {bare * 1000:.0f} ms, ratio {ours / bare:.2f}")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--rounds", type=int, default=9)
    rounds = parser.parse_args().rounds
    installed = Path(sys.executable).with_name("proveout")
    command = [str(installed)] if installed.exists() else COMMAND
    ratio(
        "proveout --help against bare Python (target 2.5)",
        lambda: to_the_end([*command, "--help"]),
        lambda: to_the_end([sys.executable, "-c", "pass"]),
        rounds,
    )
    for what, module in (("run", "bench.commands.run_here"), ("the simulator", "bench.simulate.serve")):
        outside = libraries(module)
        ratio(
            f"what {what} loads, in work, against bare Python with its libraries ({outside.removeprefix('import ')})",
            partial(worked, f"import {module}"),
            partial(worked, outside),
            rounds,
        )
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        walk = [*COMMAND, "walk", str(SEQUENCE), "--bench", str(BENCH), "--give-up-after", "1"]
        ratio(
            "first paint of the walk's screen against an empty Textual app (target 1.5)",
            lambda: to_the_picture(walk, b"Starting the bench", folder),
            lambda: to_the_picture([sys.executable, "-c", EMPTY], b"painted", folder),
            rounds,
        )


if __name__ == "__main__":
    main()
