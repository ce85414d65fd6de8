"""What a long watch keeps: nothing that was acknowledged is lost or counted twice, whatever ends the program."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from bench.record.append import RecordTrouble
from bench.record.long_store import MINUTE_S, LongStore, minute_of, sealed_tables
from bench.record.read import BrokenRecord
from bench.record.verify import verify
from bench.record.watch import read_watch
from bench.walk.watching import Noticed, Sealed
from tests.one_process import command
from tests.record.long_feeder import RATE, began, feed, value

A_MINUTE = int(MINUTE_S * RATE)


def counted(record: Path) -> dict[int, int]:
    """Minute to its readings, over all sealed files; a minute that is there twice is an error."""
    found: dict[int, int] = {}
    for path in sealed_tables(record, read_watch(record).sealed, "minutes"):
        table = pq.read_table(path)
        for minute, n in zip(table["minute"].to_pylist(), table["n"].to_pylist(), strict=True):
            assert minute not in found
            found[minute] = n
    return found


def whole(readings: int) -> dict[int, int]:
    minutes = dict.fromkeys(range(readings // A_MINUTE), A_MINUTE)
    return minutes | ({readings // A_MINUTE: readings % A_MINUTE} if readings % A_MINUTE else {})


def test_a_minute_is_what_its_readings_are() -> None:
    minute = minute_of(0, 3, [1.0, 2.0, 3.0, None])
    assert (minute.n, minute.mean, minute.low, minute.high, minute.bad, minute.sd) == (3, 2.0, 1.0, 3.0, 1, 1.0)
    assert minute_of(0, 3, [None]).n == 0


def test_all_readings_are_in_the_sealed_minutes_once(tmp_path: Path) -> None:
    record = tmp_path / "watch-a.jsonl"
    feed(record, 24_000, 100)
    assert counted(record) == whole(24_000)
    assert not verify(record).wrong
    around = pq.read_table(sealed_tables(record, read_watch(record).sealed, "readings")[0])
    for at, given in zip(around["at"].to_pylist(), around["value"].to_pylist(), strict=True):
        assert given == value(round(at * RATE))


def test_a_store_that_is_dropped_at_any_batch_goes_on_as_if_nothing_was(tmp_path: Path) -> None:
    record, rng, number = tmp_path / "watch-a.jsonl", random.Random(1), 0
    while number < 9_000:
        with began(record) as writer:
            store = LongStore.open(record, writer.watch.sealed, lambda sealed, writer=writer: writer.write(sealed))
            number = round(store.kept_until * RATE) + 1 if store.kept_until >= 0 else 0
            for _ in range(rng.randint(1, 9)):
                batch = rng.randint(1, 400)
                store.take([(0, one / RATE, value(one)) for one in range(number, number + batch)])
                number += batch
            if rng.random() < 0.3:
                store.seal()
            # dropped: nothing is finished
    feed(record, number, 100)
    assert counted(record) == whole(number)


@pytest.mark.parametrize("told", [0, 1, 2])
def test_a_crash_between_a_file_and_its_telling_counts_nothing_twice(tmp_path: Path, told: int) -> None:
    record = tmp_path / "watch-a.jsonl"
    with began(record) as writer:
        left = [told]

        def tell(sealed: Sealed) -> None:
            if not left[0]:
                raise RecordTrouble("the power went")
            left[0] -= 1
            writer.write(sealed)

        store = LongStore.open(record, (), tell)
        store.take([(0, one / RATE, value(one)) for one in range(2_000)])
        store.around([(0, one / RATE, value(one)) for one in range(100)])
        if told < 2:
            with pytest.raises(RecordTrouble):
                store.seal()
        else:
            store.seal()
    feed(record, 2_900, 100)
    assert counted(record) == whole(2_900)
    rows = sum(pq.read_table(path).num_rows for path in sealed_tables(record, read_watch(record).sealed, "readings"))
    assert rows == 100
    assert not verify(record).wrong


def test_a_torn_or_damaged_journal_loses_its_end_alone(tmp_path: Path) -> None:
    record = tmp_path / "watch-a.jsonl"
    with began(record) as writer:
        store = LongStore.open(record, (), lambda sealed: writer.write(sealed))
        for first in range(0, 400, 100):
            store.take([(0, one / RATE, value(one)) for one in range(first, first + 100)])
        store.close()
    journal = record.with_suffix("") / "raw.journal"
    data = journal.read_bytes()
    for cut in (len(data) - 1, len(data) - 500):
        journal.write_bytes(data[:cut])
        with began(record) as writer:
            again = LongStore.open(record, (), lambda sealed: writer.write(sealed))
            assert again.kept_until == pytest.approx(29.9)
            again.close()


def test_a_full_disk_is_told_and_what_waits_is_written_later(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import os

    record = tmp_path / "watch-a.jsonl"
    with began(record) as writer:
        store = LongStore.open(record, (), lambda sealed: writer.write(sealed))
        store.take([(0, one / RATE, value(one)) for one in range(100)])

        def full(*_: object) -> int:
            raise OSError(28, "No space left on device")

        with monkeypatch.context() as patched:
            patched.setattr(os, "pwrite", full)
            with pytest.raises(RecordTrouble, match="No space left"):
                store.take([(0, one / RATE, value(one)) for one in range(100, 200)])
        assert store.kept_until == pytest.approx(9.9)
        store.take([(0, one / RATE, value(one)) for one in range(200, 300)])
        assert store.kept_until == pytest.approx(29.9)
        store.close()
    feed(record, 1_300, 100)
    assert counted(record) == whole(1_300)


def test_trace_replay_and_report_know_a_watch(tmp_path: Path) -> None:
    record = tmp_path / "watch-a.jsonl"
    feed(record, 2_000, 100)
    with began(record) as writer:
        writer.write(Noticed(point=0, kind="dip", at=61.0, until=63.0, level=-53.5, value=-40.0, sigmas=40.0))
    told = command(["replay", record], tmp_path)
    assert told.returncode == 1 and "dipped to -40 V" in told.stdout and "as they were written" in told.stdout
    written = command(["report", record], tmp_path)
    assert written.returncode == 0, written.stderr
    page = record.with_suffix(".html").read_text()
    assert "dipped to -40 V" in page and "<svg" in page and "<script" not in page


def test_a_sealed_file_that_was_changed_or_is_gone_is_found(tmp_path: Path) -> None:
    record = tmp_path / "watch-a.jsonl"
    feed(record, 2_000, 100)
    path = sealed_tables(record, read_watch(record).sealed, "minutes")[0]
    path.write_bytes(path.read_bytes() + b"x")
    assert verify(record).wrong
    with pytest.raises(BrokenRecord, match="was changed after it was sealed"):
        sealed_tables(record, read_watch(record).sealed, "minutes")
    path.unlink()
    assert "not there any more" in verify(record).findings[0].words


@pytest.mark.slow
def test_five_kills_lose_nothing_that_was_said_to_be_on_disk(tmp_path: Path) -> None:
    record, readings, rng, kills = tmp_path / "watch-a.jsonl", 60_000, random.Random(3), 0
    on_disk = 0
    while True:
        line = [sys.executable, "-m", "tests.record.long_feeder", str(record), str(readings), "50"]
        with subprocess.Popen(line, stdout=subprocess.PIPE, text=True) as child:
            assert child.stdout is not None
            first = child.stdout.readline()
            assert int(first.split()[1]) >= on_disk, "what was on disk is not there any more"
            wanted = on_disk + rng.randint(5_000, 12_000)
            for said in child.stdout:
                if said.strip() == "done":
                    break
                on_disk = int(said)
                if kills < 5 and on_disk >= wanted:
                    child.send_signal(signal.SIGKILL)
                    kills += 1
                    break
            child.wait()
        if kills >= 5 and on_disk >= readings:
            break
    assert counted(record) == whole(readings)
    assert not verify(record).wrong
