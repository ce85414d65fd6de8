"""Keeps the record of a watch while it goes on: readings become blocks, a lost port becomes a gap, people say things.

One thread takes what the instruments gave. A jump is written down at once, everything else once a second. Screens ask
for :attr:`Keeper.watch`, a value that never changes under them.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Sequence
from typing import Final, Literal

from bench import __version__
from bench.judge.jumps import OVER, Finder, look
from bench.record.append import RecordTrouble
from bench.record.watch import WatchWriter
from bench.runner.alarm_contacts import ContactTold
from bench.runner.listening import Spoke
from bench.runner.watching import Found, Lost, News, Seen, Watcher
from bench.walk import watching as w

BLOCK_S: Final = 1.0
"""Readings are written together that came within this time."""
HELD: Final = 50_000
"""Readings that are held while the disk takes none."""
STEP_S: Final = 0.05
"""Seconds between two looks at whether a block is due."""


class Keeper:
    """Takes readings and what people say, and writes both down. Use as a context manager.

    Args:
        writer: the open record; it holds the beginning already.
        watcher: reads the points; it runs already.
        move: has the simulator's hands move things; None on a real bench.
        by: who watches.
        speed: of a simulated bench.

    Attributes:
        trouble: what is wrong now, in words; empty: nothing.
    """

    def __init__(
        self,
        writer: WatchWriter,
        watcher: Watcher,
        *,
        move: Callable[[Sequence[str]], None] | None = None,
        by: str = "",
        speed: float = 1.0,
    ) -> None:
        self._writer, self._watcher, self._move, self.by, self._speed = writer, watcher, move, by, speed
        self._lock = threading.Lock()
        self._over = threading.Event()
        self._wrong: dict[str, str] = {}
        self._lost: dict[int, tuple[float, str]] = {}
        points = writer.watch.points
        self._waiting: list[list[tuple[float, float | None]]] = [[] for _ in points]
        self._live: list[Finder] = [point.finder for point in points]
        self._last = [point.last if point.last is not None else -1.0 for point in points]
        self._still_until: float | None = None
        self._spoken: queue.SimpleQueue[Spoke | ContactTold] = queue.SimpleQueue()
        self._unsaid: list[Spoke | ContactTold] = []
        resumed = writer.watch.last > 1
        before = self._seen_until()
        self._ahead = max(writer.since_begun(), writer.watch.now) if resumed else 0.0
        self._zero = time.monotonic()
        if resumed:
            self._write(w.WatchResumed(at=self._ahead, software=__version__, by=by))
            self._write(w.Unseen(point=-1, begin=before, end=self._ahead, why="nobody watched"))
        self._thread = threading.Thread(target=self._run, name="watch keeper", daemon=True)

    def _seen_until(self) -> float:
        """Seconds up to which an earlier sitting kept what it read."""
        return self._writer.watch.now

    @property
    def watch(self) -> w.Watch:
        """The watch as far as it is written down."""
        return self._writer.watch

    @property
    def now(self) -> float:
        """Seconds since the watch began."""
        return self._time(time.monotonic())

    @property
    def trouble(self) -> str:
        """What is wrong now, in words; empty: nothing."""
        return " ".join(self._wrong.values())

    def _time(self, monotonic: float) -> float:
        # what was read while the record was being opened belongs to its beginning
        return self._ahead + max(0.0, monotonic - self._zero) * self._speed

    def __enter__(self) -> Keeper:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join(5.0)
        with self._lock:
            self._take_all()
            self._flush(all_of_them=True)
            if self.watch.ended is None:
                self._write_spoken()

    # what people say

    def touch(self, places: Sequence[str], how: Literal["typed", "said", "scanned", "proposed"] = "typed") -> None:
        """Say that these are moved from now on; none: hands are off.

        Raises:
            NotNow: a name is no place of this watch.
        """
        with self._lock:
            # what was read before belongs before it
            self._take_all()
            self._flush(all_of_them=True)
            event = w.Touched(at=max(self.now, self.watch.now), places=list(places), how=how, by=self.by)
            self._write(event)
            self._still_until = event.at + self.watch.head.moves_for if places else None
        if self._move is not None:
            self._move(places)

    def take_back(self) -> str:
        """Take back what was said to be moved last; returns what it was, empty where nothing was."""
        with self._lock:
            if not self.watch.moved:
                return ""
            newest = self.watch.moved[-1]
            self._write(w.TookTouchBack(n=newest.n, by=self.by))
            self._still_until = None
        if self._move is not None:
            self._move(())
        return ", ".join(newest.places)

    def trip(self, thing: str, what: str) -> None:
        """Say that a breaker tripped, or a shelf reset or failed.

        Raises:
            NotNow: there is no such thing.
        """
        with self._lock:
            self._write(w.Tripped(at=max(self.now, self.watch.now), thing=thing, what=what, by=self.by))

    def heard(self, spoke: Spoke | ContactTold) -> None:
        """Take what a console or an alarm contact of the plant said; from any thread."""
        self._spoken.put(spoke)

    def _write_spoken(self) -> None:
        """Write down what consoles and contacts said; while the disk takes nothing it is held."""
        while self._unsaid or not self._spoken.empty():
            if not self._unsaid:
                self._unsaid.append(self._spoken.get())
            spoke = self._unsaid[0]
            at = self._time(spoke.at)
            try:
                self._write(self._told(spoke, at))
            except RecordTrouble:
                return  # it is told by _write; the line stays first in the row
            self._unsaid.pop(0)

    def _told(self, spoke: Spoke | ContactTold, at: float) -> w.Said | w.Tripped | w.Remarked:
        if isinstance(spoke, ContactTold):
            by, at = f"contact {spoke.contact}", max(at, self.watch.now)
            if spoke.tripped:
                return w.Tripped(at=at, thing=spoke.thing, what=spoke.text, by=by)
            return w.Remarked(at=at, text=spoke.text, by=by)
        lines = [(round(max(0.0, at - self._time(line.at)), 3), line.text) for line in spoke.lines]
        return w.Said(at=at, console=spoke.console, lines=lines, wrong=spoke.wrong)

    def remark(self, text: str) -> None:
        """Note something."""
        with self._lock:
            self._write(w.Remarked(at=self.now, text=text, by=self.by))

    def end(self, why: str) -> None:
        """End the watch for good."""
        with self._lock:
            self._take_all()
            self._flush(all_of_them=True)
            self._write_spoken()
            self._write(w.WatchEnded(at=max(self.now, self.watch.now), why=why, by=self.by))
            self._over.set()

    # what instruments give

    def _run(self) -> None:
        while not self._over.is_set():
            try:
                news = self._watcher.news.get(timeout=STEP_S)
            except queue.Empty:
                news = None
            with self._lock:
                if self._over.is_set():
                    return
                if news is not None:
                    self._take(news)
                self._take_all()
                self._flush()
                self._write_spoken()
            if self._still_until is not None and self.now >= self._still_until:
                self._still_until = None
                if self._move is not None:
                    self._move(())

    def _take_all(self) -> None:
        while True:
            try:
                self._take(self._watcher.news.get_nowait())
            except queue.Empty:
                return

    def _take(self, news: News) -> None:
        at = self._time(news.at)
        if isinstance(news, Seen):
            self._seen(news, at)
            return
        for point in news.points:
            if isinstance(news, Lost):
                self._lost.setdefault(point, (at, news.why))
                self._wrong["port"] = news.why
            elif isinstance(news, Found):
                self._wrong.pop("port", None)
                begin, why = self._lost.pop(point, (at, ""))
                if why:
                    self._flush(all_of_them=True)
                    self._write(w.Unseen(point=point, begin=min(begin, at), end=at, why=why))

    def _seen(self, seen: Seen, at: float) -> None:
        point, value = seen.point, seen.value
        if at < self._last[point] or len(self._waiting[point]) >= HELD:
            return
        self._last[point] = at
        self._waiting[point].append((at, value))
        self._live[point], begun, over = look(self._live[point], at, OVER if value is None else value)
        if begun is not None or over is not None:
            self._flush_point(point)

    def _flush(self, all_of_them: bool = False) -> None:
        for point, waiting in enumerate(self._waiting):
            if waiting and (all_of_them or waiting[-1][0] - waiting[0][0] >= BLOCK_S or self._due(waiting)):
                self._flush_point(point)

    def _due(self, waiting: list[tuple[float, float | None]]) -> bool:
        return self.now - waiting[0][0] >= BLOCK_S * max(1.0, self._speed)

    def _flush_point(self, point: int) -> None:
        waiting = self._waiting[point]
        first = waiting[0][0]
        block = w.Heard(
            point=point,
            at=round(first, 4),
            after=[round(at - round(first, 4), 4) for at, _ in waiting],
            values=[value for _, value in waiting],
        )
        if self._write(block):
            waiting.clear()

    def _write(self, event: w.WatchEvent) -> bool:
        """Write an event; a disk that takes nothing is told, and readings are held until it does again."""
        try:
            self._writer.write(event)
        except RecordTrouble as trouble:
            self._wrong["disk"] = str(trouble)
            if not isinstance(event, w.Heard):
                raise
            return False
        self._wrong.pop("disk", None)
        return True
