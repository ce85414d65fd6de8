"""What live readings cost: key latency and processor time of the walking screen at 50 readings a second.

Run it with ``python -m tests.benchmarks.bench_live [--keys N] [--rate HZ]``. The screen is the real command in a
process of its own on a pseudo-terminal; the readings come over the real line to a runner. A key is timed from
its write into the terminal until what it changes has come out of it. Baselines, in the same run: the same
screen without readings, and an empty Textual app that changes one line for the key and, to have something to paint
too, a counter ten times a second.
"""

from __future__ import annotations

import argparse
import fcntl
import os
import pty
import random
import select
import signal
import statistics
import struct
import subprocess
import sys
import tempfile
import termios
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from bench.record.append import RecordWriter
from bench.runner import protocol as p
from bench.runner.address import Listener
from bench.runner.server import RemoteScreen, Server
from bench.walk import events as e
from bench.walk import requests as r
from tests.screens.gannet import LEADS, Walk
from tests.walks.tool import COMMAND, environment

EMPTY = """
from textual.app import App
from textual.widgets import Static

class Empty(App):
    side = False
    count = 0
    def compose(self):
        yield Static("(mating side)", id="side")
        yield Static("0", id="count")
    def on_mount(self):
        self.set_interval(0.1, self.tick)
    def tick(self):
        self.count += 1
        self.query_one("#count").update(str(self.count))
    def on_key(self, event):
        self.side = not self.side
        self.query_one("#side").update("(wiring side)" if self.side else "(mating side)")

Empty().run(mouse=False)
"""
SIDES = (b"wiring side", b"mating side")
WITHIN = 30.0
"""Seconds after which a key counts as lost."""


@dataclass(frozen=True)
class Cost:
    """What one run came to.

    Attributes:
        latencies: seconds from each key to its picture.
        share: processor time as a part of one core.
    """

    latencies: list[float]
    share: float

    def at(self, part: float) -> float:
        """The latency that this part of the keys kept within, in milliseconds."""
        ordered = sorted(self.latencies)
        return 1000 * ordered[min(len(ordered) - 1, int(part * len(ordered)))]


def processor(process: int) -> float:
    """Seconds of processor time that a process has had."""
    fields = Path(f"/proc/{process}/stat").read_text("ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def timed(words: Sequence[str], folder: Path, keys: int, seed: int) -> Cost:
    """Run a program on a terminal, press the key again and again, and time each."""
    master, slave = pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    process = subprocess.Popen(
        words,
        cwd=folder,
        env={**environment(), "TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24"},
        stdin=slave,
        stdout=slave,
        stderr=slave,
        start_new_session=True,
    )
    os.close(slave)
    try:
        seen = _read_until(master, b"", SIDES[1])
        chance = random.Random(seed)
        _drain(master, 2.0)
        began, used = time.monotonic(), processor(process.pid)
        latencies = []
        for number in range(keys):
            _drain(master, chance.uniform(0.1, 0.3))
            pressed = time.monotonic()
            os.write(master, b"m")
            seen = _read_until(master, b"", SIDES[number % 2])
            latencies.append(time.monotonic() - pressed)
        share = (processor(process.pid) - used) / (time.monotonic() - began)
        assert seen
        return Cost(latencies, share)
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()
        os.close(master)


def _read_until(master: int, seen: bytes, mark: bytes) -> bytes:
    end = time.monotonic() + WITHIN
    while mark not in seen:
        if not select.select([master], [], [], max(0.0, end - time.monotonic()))[0]:
            raise RuntimeError(f"{mark!r} was not painted: {seen[-500:]!r}")
        seen += os.read(master, 65536)
    return seen


def _drain(master: int, seconds: float) -> None:
    end = time.monotonic() + seconds
    while (left := end - time.monotonic()) > 0:
        if select.select([master], [], [], left)[0]:
            os.read(master, 65536)


@contextmanager
def walk_under_way(folder: Path, rate: float) -> Iterator[Path]:
    """A runner whose walk stands at a reading, with so many live readings a second; gives its record."""
    record = folder / "live.jsonl"
    walk = Walk().until(r.Place, "measure")
    record.unlink(missing_ok=True)
    with RecordWriter.create(record) as writer:
        lines = [writer.append(entry).decode() for entry in walk.entries]

        def came(client: RemoteScreen) -> None:
            client.send(p.Welcome(record=str(record), you=client.name))
            for line in lines:
                client.send(p.Line(raw=line))

        def heard(client: RemoteScreen, message: p.FromClient) -> None:
            if isinstance(message, p.TakeSeat):
                entry = walk.add(e.Seated(by=client.name))
                client.send(p.Line(raw=writer.append(entry).decode()))

        over = threading.Event()
        with Listener(record) as frame:
            server = Server(frame, came=came, heard=heard, left=lambda client: None)
            teller = threading.Thread(target=_tell, args=(server, rate, over))
            teller.start()
            try:
                yield record
            finally:
                over.set()
                teller.join()
                server.close("measured")


def _tell(server: Server, rate: float, over: threading.Event) -> None:
    """Readings of probes that touch and move a little, so that each one looks different."""
    chance, due = random.Random(3), time.monotonic()
    while not over.wait(max(0.0, due - time.monotonic()) if rate else 1.0):
        if rate:
            due += 1.0 / rate
            value = 0.81 + LEADS + chance.uniform(-0.05, 0.05)
            server.broadcast(
                p.Live(role="ohms", unit="Ω", value=value, resolution=0.0001, settled=chance.random(), touch="touching")
            )


def shown(name: str, cost: Cost, empty: Cost) -> None:
    """Print one line."""
    print(
        f"{name:46} key p50 {cost.at(0.5):5.1f} ms  p95 {cost.at(0.95):5.1f} ms  max {cost.at(1.0):5.1f} ms"
        f"  processor {100 * cost.share:4.1f} % of a core"
        f"  | to the empty app: key {statistics.median(cost.latencies) / statistics.median(empty.latencies):.2f},"
        f" processor {cost.share / empty.share if empty.share else float('inf'):.2f}"
    )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--keys", type=int, default=80)
    parser.add_argument("--rate", type=float, default=50.0)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        empty = timed([sys.executable, "-c", EMPTY], folder, options.keys, 1)
        found = []
        for rate in (0.0, options.rate):
            with walk_under_way(folder, rate) as record:
                words = [*COMMAND, "walk", "--attach", str(record), "--operator", "Ana", "--quiet"]
                found.append((f"the walking screen, {rate:g} readings a second", timed(words, folder, options.keys, 1)))
    shown("an empty Textual app with a counter", empty, empty)
    for name, cost in found:
        shown(name, cost, empty)


if __name__ == "__main__":
    main()
