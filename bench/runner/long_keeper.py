"""Keeps a long watch: every reading in a journal at once, statistics a minute for good, all of it around events."""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from typing import Final

from msgspec.structs import replace

from bench.diagnose.hunt.charts import WINDOW_S, Happening, LongChart
from bench.judge.jumps import OVER, Finder
from bench.record.append import RecordTrouble
from bench.record.long_store import LongStore
from bench.record.watch import WatchWriter
from bench.runner.watch_keeper import Keeper
from bench.runner.watching import Seen, Watcher
from bench.walk import watching as w

FLUSH_S: Final = 5.0
"""Seconds of readings that go to the journal, and to the charts, together."""
AROUND_S: Final = 20.0
"""Seconds before and after an event that are kept in full."""
LONGEST_S: Final = 300.0
"""Seconds of one event that are kept in full at most; the minutes go on."""
OVER_RANGE: Final = 1e12
"""Stands for over range on the charts."""


class LongKeeper(Keeper):
    """A keeper for days and weeks; see :class:`bench.runner.watch_keeper.Keeper`.

    Args:
        writer: the open record; it holds the beginning already.
        watcher: reads the points; it runs already.
        store: where readings go.
    """

    def __init__(
        self,
        writer: WatchWriter,
        watcher: Watcher,
        store: LongStore,
        *,
        move: Callable[[Sequence[str]], None] | None = None,
        by: str = "",
        speed: float = 1.0,
    ) -> None:
        self._store = store
        points = writer.watch.head.points
        self._charts = [LongChart(point.resolution) for point in points]
        self._batches: list[list[tuple[float, float | None]]] = [[] for _ in points]
        self._rings: list[deque[tuple[float, float | None]]] = [deque() for _ in points]
        self._strips: list[deque[tuple[float, float]]] = [deque(maxlen=w.LONGEST) for _ in points]
        self._counts = [0] * len(points)
        self._full_until = [-1.0] * len(points)
        self._untold: list[w.Noticed] = []
        super().__init__(writer, watcher, move=move, by=by, speed=speed)

    def _seen_until(self) -> float:
        return max(self._store.kept_until, self._writer.watch.now)

    @property
    def watch(self) -> w.Watch:
        """The watch as it is written down, with the newest readings of each point for whoever looks."""
        watch = self._writer.watch
        points = tuple(
            w.Followed(
                replace(self._level(point)),
                tuple(self._strips[point]),
                self._counts[point],
                self._last[point] if self._last[point] >= 0 else None,
                self._last[point],
            )
            for point in range(len(watch.points))
        )
        return replace(watch, points=points, now=max(watch.now, *self._last))

    def _level(self, point: int) -> Finder:
        chart = self._charts[point]
        return Finder(1.0, level=chart.level if chart.level == chart.level else None, reach=0.0)

    def _seen(self, seen: Seen, at: float) -> None:
        point = seen.point
        if at < self._last[point]:
            return
        self._last[point] = at
        self._counts[point] += 1
        self._batches[point].append((at, seen.value))
        self._strips[point].append((at, OVER if seen.value is None else seen.value))

    def _flush(self, all_of_them: bool = False) -> None:
        due = [
            bool(batch) and (all_of_them or self.now - batch[0][0] >= FLUSH_S * max(1.0, self._speed))
            for batch in self._batches
        ]
        if not any(due) and not self._untold:
            return
        fresh = [(point, at, value) for point, batch in enumerate(self._batches) for at, value in batch]
        batches, self._batches = self._batches, [[] for _ in self._batches]
        try:
            self._store.take(sorted(fresh, key=lambda one: one[1]))
            for point, batch in enumerate(batches):
                for part in _parts(batch):
                    self._chart(point, part)
            self._tell_untold()
        except RecordTrouble as trouble:
            self._wrong["disk"] = str(trouble)
            return
        self._wrong.pop("disk", None)
        if self._store.dropped is not None:
            begin, end = self._store.dropped
            self._write(w.Unseen(point=-1, begin=begin, end=end, why="the disk took nothing"))
            self._store.dropped = None

    def _chart(self, point: int, batch: list[tuple[float, float | None]]) -> None:
        chart, ring = self._charts[point], self._rings[point]
        was = chart.open
        times = [at for at, _ in batch]
        found = chart.feed(times, [OVER_RANGE if value is None else value for _, value in batch])
        self._untold += [_noticed(point, one) for one in found]
        shown = chart.open or any(one.kind != "drift" for one in found)
        if shown and not was:
            # what came before it belongs to it
            told = [one.at for one in found if one.kind != "drift"]
            began = min(told if chart.began is None else [*told, chart.began])
            self._store.around([(point, at, value) for at, value in ring if at >= began - AROUND_S])
            self._full_until[point] = times[-1] + LONGEST_S
        if shown or times[0] <= self._full_until[point]:
            self._store.around([(point, at, value) for at, value in batch])
        if found and not chart.open:
            self._full_until[point] = times[-1] + AROUND_S
        ring.extend(batch)
        while ring and ring[0][0] < times[-1] - WINDOW_S - AROUND_S - 2.0 * FLUSH_S:
            ring.popleft()

    def _tell_untold(self) -> None:
        while self._untold:
            self._writer.write(self._untold[0])
            self._untold.pop(0)

    def close(self) -> None:
        """Seal the minutes that are whole, and let go of the journals; what runs stays in them."""
        with contextlib.suppress(RecordTrouble):
            if self._writer.watch.ended is None:
                self._store.seal()
        self._store.close()

    def end(self, why: str) -> None:
        """End the watch for good, with all of it sealed."""
        with self._lock:
            self._take_all()
            self._flush(all_of_them=True)
            self._store.finish()
        super().end(why)


def _parts(batch: list[tuple[float, float | None]]) -> Iterator[list[tuple[float, float | None]]]:
    """A batch in pieces of a few seconds: after a slow disk it may be minutes long."""
    first = 0
    for place, (at, _) in enumerate(batch):
        if at - batch[first][0] >= 2.0 * FLUSH_S:
            yield batch[first:place]
            first = place
    if batch:
        yield batch[first:]


def _noticed(point: int, one: Happening) -> w.Noticed:
    return w.Noticed(
        point=point,
        kind=one.kind,
        at=one.at,
        until=one.until,
        level=one.level,
        value=one.value,
        sigmas=min(one.sigmas, 1e9),
    )
