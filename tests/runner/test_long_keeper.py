"""A long watch from readings to its record: events with all readings around them, gaps, and a lost port."""

from __future__ import annotations

import queue
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pyarrow.parquet as pq

from bench.plant.file import PlantFile
from bench.record.long_store import LongStore, sealed_tables
from bench.record.watch import WatchWriter, read_watch
from bench.runner.long_keeper import LongKeeper
from bench.runner.watching import Found, Lost, Seen
from bench.walk import watching as w

SPEED = 400.0


def kept(record: Path, use: Callable[[LongKeeper, Any, float], None]) -> None:
    """Keep a watch at four hundred times the speed of the clock."""
    watcher: Any = SimpleNamespace(news=queue.Queue())
    with WatchWriter(record) as writer:
        if writer.watch.began is None:
            points = [w.Point(name="battery", reads="voltage", unit="V", rate=10.0)]
            writer.write(w.WatchBegan(software="test", plant=PlantFile(plant="hall"), points=points, long=True))
        store = LongStore.open(record, writer.watch.sealed, lambda sealed: writer.write(sealed))
        keeper = LongKeeper(writer, watcher, store, speed=SPEED)
        with keeper:
            # by the keeper's own clock: a millisecond between the two is half a second of the watch
            use(keeper, watcher, keeper._zero)
        keeper.close()


def until(holds: Callable[[], bool]) -> None:
    """Wait for a condition."""
    deadline = time.monotonic() + 60
    while not holds():
        assert time.monotonic() < deadline
        time.sleep(0.01)


def feed(watcher: Any, began: float, first: float, values: np.ndarray) -> None:
    for number, value in enumerate(values):
        watcher.news.put(Seen(0, began + (first + number / 10) / SPEED, float(value)))


def test_a_dip_is_noticed_and_all_around_it_is_kept(tmp_path: Path) -> None:
    record = tmp_path / "watch-a.jsonl"
    values = -53.5 + 0.02 * np.random.default_rng(1).standard_normal(6_000)
    values[4_000:4_010] += 2.0

    def use(keeper: LongKeeper, watcher: Any, began: float) -> None:
        feed(watcher, began, 0.0, values)
        until(lambda: bool(keeper.watch.noticed))
        assert keeper.watch.points[0].recent
        feed(watcher, began, 600.0, values[:700])
        until(lambda: keeper.watch.now >= 665.0)
        keeper.end("done")

    kept(record, use)
    watch = read_watch(record)
    (one,) = watch.noticed
    assert one.kind == "dip" and abs(one.at - 400.0) < 0.3
    around = pq.read_table(sealed_tables(record, watch.sealed, "readings")[0])
    at = np.array(around["at"].to_pylist())
    assert at.min() <= 381.0 and at.max() >= 419.0 and len(np.unique(np.round(at, 3))) == len(at)
    inside = (at > 385.0) & (at < 415.0)
    assert inside.sum() >= 299
    minutes = pq.read_table(sealed_tables(record, watch.sealed, "minutes")[0])
    assert sum(minutes["n"].to_pylist()) == 6_700


def test_what_was_not_seen_is_a_gap(tmp_path: Path) -> None:
    record = tmp_path / "watch-a.jsonl"

    def first(keeper: LongKeeper, watcher: Any, began: float) -> None:
        feed(watcher, began, 0.0, np.full(100, -53.5))
        until(lambda: keeper.watch.points[0].count == 100)
        watcher.news.put(Lost((0,), began + 12.0 / SPEED, "meter: The port is gone."))
        until(lambda: "port is gone" in keeper.trouble)
        watcher.news.put(Found((0,), began + 30.0 / SPEED, "meter"))
        until(lambda: not keeper.trouble)

    kept(record, first)
    kept(record, lambda keeper, watcher, began: None)
    lost, away = read_watch(record).gaps
    assert lost.point == 0 and abs(lost.begin - 12.0) < 2.0 and abs(lost.end - 30.0) < 2.0
    assert away.point == -1 and away.why == "nobody watched"
