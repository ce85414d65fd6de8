"""Reads the points of a watch: a thread for each instrument, as fast as it gives readings or at a pace.

A thread owns its instrument's port. What it reads, and what it could not, goes into one queue; whoever keeps the record
takes from there. An instrument that is lost is tried again until it is back: a watch runs while nobody is there.
"""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Final

import msgspec

from bench.instruments.instrument import Instrument
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.values import Sample
from bench.roles import Reads
from bench.runner.instrument_port import InstrumentPort

AGAIN_S: Final = 1.0
"""Seconds between two tries to reach an instrument that is lost."""
WAITING: Final = 100_000
"""Readings that wait to be taken at most: three hours at ten a second, when whoever takes them is stuck."""


class Seen(msgspec.Struct, frozen=True):
    """A reading of a point.

    Attributes:
        point: index of the point.
        at: monotonic seconds at which it was whole.
        value: in the base unit; None for over range.
        resolution: one step of the last digit; 0 where not known.
        raw: the reply that it rests on.
    """

    point: int
    at: float
    value: float | None
    resolution: float = 0.0
    raw: tuple[bytes, ...] = ()


class Lost(msgspec.Struct, frozen=True):
    """An instrument gives nothing any more.

    Attributes:
        points: what it read.
        at: monotonic seconds.
        why: in words.
    """

    points: tuple[int, ...]
    at: float
    why: str


class Found(msgspec.Struct, frozen=True):
    """An instrument is there, at first or again.

    Attributes:
        points: what it reads.
        at: monotonic seconds.
        identity: who it said it is.
    """

    points: tuple[int, ...]
    at: float
    identity: str


News = Seen | Lost | Found


class Wanted(msgspec.Struct, frozen=True):
    """What an instrument reads for a watch.

    Attributes:
        point: index of the point.
        reads: what.
        wires: 2 or 4 for resistance.
        range: to hold it on, in the base unit; None: it ranges by itself.
    """

    point: int
    reads: Reads
    wires: int = 2
    range: float | None = None
    channels: tuple[str, ...] | None = None
    """Of a relay matrix: what puts the meter onto the point; None where its leads lie there."""


class Watcher(msgspec.Struct):
    """The threads that read. Use as a context manager.

    Attributes:
        news: what was read, and what was not.
    """

    ports: Sequence[InstrumentPort]
    wanted: Mapping[str, Sequence[Wanted]]
    every: float = 0.0
    """Seconds from reading to reading; 0: as fast as they come."""
    switch: InstrumentPort | None = None
    """The relay matrix, where points are reached through one."""
    clock: Callable[[], float] = time.monotonic
    news: queue.Queue[News] = msgspec.field(default_factory=lambda: queue.Queue(WAITING))
    _threads: list[_Reader] = msgspec.field(default_factory=list)

    _relays: Instrument | None = None

    def put(self, channels: tuple[str, ...]) -> None:
        """Join the meter to a point through the matrix.

        Raises:
            InstrumentTrouble: the matrix cannot be reached, or does not take it.
        """
        assert self.switch is not None, "channels are wanted of a bench with a matrix"
        if self._relays is None:
            relays = self.switch.opener()
            relays.open()
            self._relays = relays
        try:
            self._relays.set_channels(channels)
        except InstrumentTrouble:
            self._relays.close()
            self._relays = None
            raise

    def __enter__(self) -> Watcher:
        for port in self.ports:
            wanted = self.wanted.get(port.name)
            if wanted:
                self._threads.append(_Reader(self, port, tuple(wanted)))
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        for thread in self._threads:
            thread.stop()
        for thread in self._threads:
            thread.join(5.0)
        if self._relays is not None:
            self._relays.make_safe()
            self._relays.close()


LOOKED: Final = 12
"""Readings of each point that tell how fast they come."""


class Pace(msgspec.Struct, frozen=True):
    """How the readings of a point come.

    Attributes:
        rate: how many a second.
        resolution: one step of the last digit; 0 where not known.
    """

    rate: float
    resolution: float


def paces(watcher: Watcher, points: int, patience: float = 30.0) -> list[Pace]:
    """How fast the first readings of each point come.

    Args:
        watcher: it runs.
        points: how many there are.
        patience: seconds after which fewer readings do.

    Raises:
        InstrumentTrouble: an instrument cannot be had, or gives nothing.
    """
    seen: list[list[Seen]] = [[] for _ in range(points)]
    until = watcher.clock() + patience
    while any(len(one) < LOOKED for one in seen) and watcher.clock() < until:
        try:
            news = watcher.news.get(timeout=0.2)
        except queue.Empty:
            continue
        if isinstance(news, Lost):
            raise InstrumentTrouble("lost", news.why)
        if isinstance(news, Seen):
            seen[news.point].append(news)
    if not all(seen):
        raise InstrumentTrouble("silent", "An instrument gave no reading.", "Look at it and its cable.")
    return [_pace(one, watcher.every) for one in seen]


def _pace(seen: Sequence[Seen], every: float) -> Pace:
    took = seen[-1].at - seen[0].at
    rate = (len(seen) - 1) / took if took > 0 else 1.0 / every if every > 0 else 10.0
    return Pace(rate, max(one.resolution for one in seen))


class _Reader(threading.Thread):
    """Reads what one instrument is wanted for."""

    def __init__(self, watcher: Watcher, port: InstrumentPort, wanted: tuple[Wanted, ...]) -> None:
        super().__init__(name=f"watch {port.name}", daemon=True)
        self._watcher, self._port, self._wanted = watcher, port, wanted
        self._over = threading.Event()
        self._instrument: Instrument | None = None
        self._points = tuple(one.point for one in wanted)

    def stop(self) -> None:
        """End it soon: what blocks is broken off."""
        self._over.set()
        instrument = self._instrument
        if instrument is not None:
            instrument.abort()

    def run(self) -> None:
        """Read until it is over; reach the instrument again where it is lost."""
        lost = False
        while not self._over.is_set():
            try:
                with self._port.opener() as instrument:
                    self._instrument = instrument
                    identity = instrument.open()
                    self._tell(Found(self._points, self._watcher.clock(), identity.text))
                    lost = False
                    self._read(instrument)
            except InstrumentTrouble as trouble:
                if not lost and not self._over.is_set():
                    why = f"{self._port.name}: {trouble.what} {trouble.advice}".strip()
                    self._tell(Lost(self._points, self._watcher.clock(), why))
                lost = True
            finally:
                self._instrument = None
            self._over.wait(AGAIN_S)

    def _tell(self, news: News) -> None:
        while not self._over.is_set():
            with contextlib.suppress(queue.Full):
                self._watcher.news.put(news, timeout=0.2)
                return

    def _read(self, instrument: Instrument) -> None:
        due = self._watcher.clock()
        single = len(self._wanted) == 1
        if single:
            self._reach(self._wanted[0])
            self._configure(instrument, self._wanted[0])
        while not self._over.is_set():
            if single and self._watcher.every <= 0:
                for sample in instrument.live():
                    self._seen(self._wanted[0], sample)
                    if self._over.is_set():
                        return
            for one in self._wanted:
                if not single:
                    self._reach(one)
                    self._configure(instrument, one)
                self._seen(one, instrument.read())
            if self._watcher.every > 0:
                # paced by the clock and not by pauses, so that a slow reading does not shift those after it
                due = max(due + self._watcher.every, self._watcher.clock())
                self._over.wait(max(0.0, due - self._watcher.clock()))

    def _reach(self, one: Wanted) -> None:
        if one.channels is not None:
            self._watcher.put(one.channels)

    def _configure(self, instrument: Instrument, one: Wanted) -> None:
        functions = instrument.profile.functions_for(one.reads, 4 if one.wires == 4 else 2)
        if one.reads != "resistance":
            functions = instrument.profile.functions_for(one.reads, None)
        if not functions or functions[0].energises:
            raise InstrumentTrouble(
                "unable",
                f"{self._port.name} does not read {one.reads} for a watch.",
                "Give the role to another instrument in the bench file.",
            )
        known = {setting.name for setting in functions[0].settings}
        settings: dict[str, str | float] = {n: v for n, v in self._port.settings.items() if n in known}
        instrument.configure(functions[0].name, one.range, settings)

    def _seen(self, one: Wanted, sample: Sample) -> None:
        if sample.nan:
            return  # no number tells nothing of the point
        value = None if sample.over else sample.value
        self._tell(Seen(one.point, sample.finished, value, sample.resolution or 0.0, sample.raw))
