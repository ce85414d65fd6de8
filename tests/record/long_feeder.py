"""Feeds a long store with made-up readings until it is killed, and says what is on disk: a process of its own."""

from __future__ import annotations

import sys
from pathlib import Path

from bench.plant.file import PlantFile
from bench.record.long_store import LongStore
from bench.record.watch import WatchWriter
from bench.walk import watching as w

RATE = 10


def value(number: int) -> float:
    """The reading of this number: told by nothing but its number."""
    return -53.5 + 0.001 * ((number * 7919) % 101)


def began(record: Path) -> WatchWriter:
    """The record, begun where it is new."""
    new = not record.exists()
    writer = WatchWriter(record)
    if new or writer.watch.began is None:
        points = [w.Point(name="battery", reads="voltage", unit="V")]
        writer.write(w.WatchBegan(software="test", plant=PlantFile(plant="hall"), points=points, long=True))
    return writer


def feed(record: Path, readings: int, batch: int) -> None:
    """Feed from where the disk has it to the last reading."""
    with began(record) as writer:
        store = LongStore.open(record, writer.watch.sealed, lambda sealed: writer.write(sealed))
        number = round(store.kept_until * RATE) + 1 if store.kept_until >= 0 else 0
        print(f"from {number}", flush=True)
        while number < readings:
            last = min(readings, number + batch)
            store.take([(0, one / RATE, value(one)) for one in range(number, last)])
            if number // 3000 != last // 3000:
                store.around([(0, one / RATE, value(one)) for one in range(number, last)])
            number = last
            print(number, flush=True)
        store.finish()
        store.close()
    print("done", flush=True)


if __name__ == "__main__":
    feed(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
