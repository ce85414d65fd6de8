"""A small process beside a runner that makes outputs safe when the runner is gone, or hangs with something on.

It does nothing else. It holds no port while the runner lives. Over its standard input it is told which instruments were
met and whether something is on; that line ends when the runner does, however it ends, and the system lets go of the
ports then. A runner that has something on and says nothing for :data:`HANGS_AFTER` seconds is killed first, since it
holds the ports. What it did goes into the record as :class:`~bench.walk.events.Guarded`.

Orders to switch off go out first, to whatever answers on the port where the runner had met the instrument a moment ago.
"""

from __future__ import annotations

import contextlib
import os
import select
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Final

import msgspec

from bench.instruments.bench_file import Bench, parse_bench
from bench.instruments.instrument import Instrument
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.library import Library
from bench.instruments.profile.line import Modbus

HANGS_AFTER: Final = 10.0
"""Seconds without a word from a runner that has something on: its loop goes round twice a second, and a slow disk or a
loaded machine holds it up for a second or two (common practice, no source)."""
TOLD_EVERY: Final = 1.0
"""Seconds after which the guard is told again though nothing is new."""
PORT_WITHIN: Final = 10.0
"""Seconds that the system may take to let go of the port of a process that was killed."""
ACCOUNT_WITHIN: Final = 60.0
"""Seconds for all instruments together; one that hangs longer does not keep the account of the others."""
READY_WITHIN: Final = 10.0
"""Seconds that a guard may take to start and to read the bench file."""
STARTS: Final = 3
"""How often a guard that is gone is replaced by another one."""


class Begin(msgspec.Struct, frozen=True, tag="begin"):
    """The first line: whom to guard, and what to do then.

    Attributes:
        pid: the runner's process id.
        bench: the bench file's text.
        job: the folder that its profiles are looked for in.
        record: the record that the runner writes.
    """

    pid: int
    bench: str
    job: str
    record: str


class Stands(msgspec.Struct, frozen=True, tag="stands"):
    """How the runner stands now: sent when that changes, and every now and then."""

    met: dict[str, str]
    """Instruments with outputs that answered to their names since the runner began, and where."""
    on: bool
    """Whether something is on, or may be."""


class Done(msgspec.Struct, frozen=True, tag="done"):
    """The runner made everything safe itself: the guard ends."""


_encode: Final = msgspec.json.Encoder().encode
_decode: Final = msgspec.json.Decoder(Begin | Stands | Done).decode


class Guard:
    """The runner's end of the line to its guard.

    Args:
        begin: what the guard is told first.
    """

    def __init__(self, begin: Begin) -> None:
        self._begin = begin
        self._told = Stands({}, False)
        self._told_at = float("-inf")
        self._starts = 0
        self._process: subprocess.Popen[bytes] | None = None
        self._ready = threading.Event()
        self._start()

    @property
    def pid(self) -> int:
        """The guard's process."""
        return self._process.pid if self._process is not None else 0

    def _start(self) -> None:
        self._starts += 1
        try:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "bench.runner.guard"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                start_new_session=sys.platform != "win32",
                creationflags=_apart(),
            )
            self._ready = threading.Event()
            threading.Thread(target=self._listen, args=(self._process, self._ready), daemon=True).start()
            self._send(self._begin)
        except OSError:
            self._process = None  # a walk is better without a guard than not at all

    def _listen(self, process: subprocess.Popen[bytes], ready: threading.Event) -> None:
        assert process.stdout is not None
        with process.stdout as said:
            said.readline()
        ready.set()

    def _send(self, message: Begin | Stands | Done) -> None:
        process = self._process
        assert process is not None and process.stdin is not None
        process.stdin.write(_encode(message) + b"\n")
        process.stdin.flush()

    def stands(self, met: Mapping[str, str], on: bool) -> None:
        """Tell how it stands; at once where that is new, else now and then. A guard that is gone is replaced.

        Before anything goes on it is waited for until the guard is ready.

        Args:
            met: instruments that have an output and were met, and where they answer.
            on: whether something is on or may be.
        """
        now, told = time.monotonic(), Stands(dict(met), on)
        if told == self._told and now - self._told_at < TOLD_EVERY:
            return
        self._told, self._told_at = told, now
        try:
            if self._process is None:
                return
            self._send(told)
            if on:
                self._ready.wait(READY_WITHIN)
        except OSError:
            self._process = None
            if self._starts < STARTS:
                self._start()
                with contextlib.suppress(OSError, AssertionError):
                    self._send(told)

    def close(self, safe: bool) -> None:
        """End it where everything is safe; else it has work to do as soon as this process is gone.

        Args:
            safe: everything that it would make safe is safe.
        """
        process, self._process = self._process, None
        if process is None or process.stdin is None:
            return
        with contextlib.suppress(OSError):
            if safe:
                process.stdin.write(_encode(Done()) + b"\n")
            process.stdin.close()
        if safe:
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(timeout=5.0)


def _apart() -> int:
    """On Windows: what keeps a key pressed in the runner's window from ending the guard too."""
    if sys.platform == "win32":
        return subprocess.CREATE_NEW_PROCESS_GROUP | subprocess.CREATE_NO_WINDOW
    return 0


# the guard's own side


def watch(lines: Iterator[bytes | None], begin: Begin) -> tuple[str, dict[str, str]]:
    """Wait until there is something to do.

    Args:
        lines: what the runner says; None each time that a second passed without a word.
        begin: whom to guard.

    Returns:
        Why, and the instruments to make safe with their ports; no reason where the runner ended in order.
    """
    met: dict[str, str] = {}
    on, heard = False, time.monotonic()
    for line in lines:
        if line is None:
            if on and time.monotonic() - heard > HANGS_AFTER:
                _kill(begin.pid)
                return f"the runner said nothing for {HANGS_AFTER:g} s with something on, and was ended", met
            continue
        heard = time.monotonic()
        match _decode(line):
            case Done():
                return "", {}
            case Stands(met=met, on=on):
                pass
            case _:
                pass
    return "the runner was gone", met


def _kill(pid: int) -> None:
    with contextlib.suppress(OSError):
        os.kill(pid, getattr(signal, "SIGKILL", signal.SIGTERM))


def make_safe(bench: Bench, met: Mapping[str, str]) -> tuple[dict[str, bool], list[str]]:
    """Make instruments safe, all at once, over ports that somebody may hold for a moment still.

    Args:
        bench: the bench.
        met: which of its instruments, and where they answer.

    Returns:
        Whether each was read back as safe, and what those say that were not.
    """
    came: dict[str, tuple[bool, str]] = {name: (False, f"{name}: it did not answer in time") for name in met}

    def one(name: str) -> None:
        try:
            instrument = _opened(bench, name, met[name])
        except InstrumentTrouble as trouble:
            came[name] = (False, f"{name}: {trouble.what}")
            return
        try:
            state = instrument.make_safe()
            came[name] = (state.confirmed, f"{name}: {state.what}")
        finally:
            instrument.close()

    threads = [threading.Thread(target=one, args=(name,), daemon=True) for name in met]
    for thread in threads:
        thread.start()
    until = time.monotonic() + ACCOUNT_WITHIN
    for thread in threads:
        thread.join(max(0.0, until - time.monotonic()))
    kept = dict(came)
    return {name: safe for name, (safe, _) in kept.items()}, [what for safe, what in kept.values() if not safe]


def _opened(bench: Bench, name: str, address: str) -> Instrument:
    until = time.monotonic() + PORT_WITHIN
    while True:
        try:
            return bench.connect(name, address)
        except InstrumentTrouble as trouble:
            if trouble.kind not in ("busy", "denied") or time.monotonic() > until:
                raise
        time.sleep(0.02)


def _write_down(record: Path, why: str, confirmed: dict[str, bool], left: list[str]) -> None:
    """Say in the record what was done; a record that another runner has opened by now is left to that one."""
    from bench.record.append import RecordBusy, RecordTrouble, RecordWriter, mended
    from bench.walk import events as e

    with contextlib.suppress(RecordTrouble, RecordBusy, ValueError, OSError):
        writer, _, torn = RecordWriter.reopen(record)
        with writer:
            if torn is not None:
                writer.append(writer.envelope(mended(torn)))
            writer.append(writer.envelope(e.Guarded(why=why, confirmed=confirmed, left=left)))


def _lines() -> Iterator[bytes | None]:
    """Lines of standard input, and None for each second without any; ends where it ends."""
    kept = b""
    if sys.platform == "win32":
        yield from _lines_by_thread()
        return
    while True:
        ready, _, _ = select.select([0], [], [], 1.0)
        if not ready:
            yield None
            continue
        data = os.read(0, 65536)
        if not data:
            return
        *whole, kept = (kept + data).split(b"\n")
        yield from whole


def _lines_by_thread() -> Iterator[bytes | None]:
    """The same where a pipe cannot be waited for with a time."""
    import queue

    inbox: queue.SimpleQueue[bytes] = queue.SimpleQueue()

    def read() -> None:
        for line in sys.stdin.buffer:
            inbox.put(line)
        inbox.put(b"")

    threading.Thread(target=read, daemon=True).start()
    while True:
        try:
            line = inbox.get(timeout=1.0)
        except queue.Empty:
            yield None
            continue
        if not line:
            return
        yield line.rstrip(b"\r\n")


def _load_ahead(bench: Bench) -> None:
    """Load now what opening ports and switching off will need: later every tenth of a second counts."""
    import filelock  # noqa: F401

    from bench.instruments.ports import serial_line  # noqa: F401

    if any(isinstance(profile.dialogue, Modbus) for profile in bench.profiles.values()):
        from pymodbus.framer import FramerRTU  # noqa: F401


def main() -> None:
    """Guard one runner."""
    # whoever ends the runner this way ends the guard too early: it goes when the runner has gone
    for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    lines = _lines()
    first = next(lines, None)
    while first is None:
        first = next(lines, b"")
    begin = _decode(first) if first else None
    if not isinstance(begin, Begin):
        return
    bench = parse_bench(begin.bench, "the guard's bench", Library.for_job(Path(begin.job)))
    _load_ahead(bench)
    print("ready", flush=True)
    why, met = watch(lines, begin)
    if why and met:
        confirmed, left = make_safe(bench, met)
        _write_down(Path(begin.record), why, confirmed, left)


if __name__ == "__main__":
    main()
