"""After a power cut: the last line, which alone was not synced, is there in part, in any order of its sectors."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from bench.record.append import RecordBusy, RecordTrouble, RecordWriter, mended
from bench.record.chain import SECTOR
from bench.record.read import BrokenRecord, read_record
from bench.record.verify import verify
from bench.walk import events as e
from tests.walk import paper_walk as paper


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """A record that ends with a line over several sectors."""
    path = tmp_path / "walk.jsonl"
    walker = paper.PaperWalk(paper.made(tmp_path).began)
    with RecordWriter.create(path) as writer:
        writer.append(walker.entries[0])
        writer.append(walker.add(e.Noted(text="the last that was synced")))
        writer.append(walker.add(e.Noted(text="long " * 500)))
    return path


def last_line(data: bytes) -> int:
    return data.rindex(b"\n", 0, -1) + 1


def zeroed(data: bytes, gone: str) -> bytes:
    """The record without some sectors of its last line, the length as it was."""
    begin = last_line(data)
    first = (begin // SECTOR + 1) * SECTOR
    where = {
        "first": (begin, first),
        "second": (first, first + SECTOR),
        "all but the last": (begin, first + 3 * SECTOR),
    }
    a, b = where[gone]
    return data[:a] + bytes(b - a) + data[b:]


@pytest.mark.parametrize("gone", ["first", "second", "all but the last"])
def test_a_last_line_that_lacks_sectors_is_set_aside(record: Path, gone: str) -> None:
    whole = record.read_bytes()
    cut = zeroed(whole, gone)
    assert cut != whole and len(cut) == len(whole) and cut.endswith(b"\n")
    record.write_bytes(cut)
    assert len(list(read_record(record))) == 2, "a reader stops before it"
    assert any("whole sectors of it are zeros" in one.words for one in verify(record).findings)
    writer, entries, torn = RecordWriter.reopen(record)
    with writer:
        assert torn is not None and len(entries) == 2
        assert (record.parent / torn.kept).read_bytes() == cut[last_line(whole) :]
        writer.append(writer.envelope(mended(torn)))
    assert record.read_bytes().startswith(whole[: last_line(whole)])
    assert len(list(read_record(record))) == 3


@pytest.mark.parametrize("gone", ["first", "second"])
def test_zeros_before_the_last_line_are_no_power_cut(record: Path, gone: str) -> None:
    whole = record.read_bytes()
    writer, _, _ = RecordWriter.reopen(record)
    with writer:
        more = writer.append(writer.envelope(e.Noted(text="one more")))
    record.write_bytes(zeroed(whole, gone) + more)
    with pytest.raises(BrokenRecord):
        list(read_record(record))
    before = record.read_bytes()
    with pytest.raises(BrokenRecord):
        RecordWriter.reopen(record)
    assert record.read_bytes() == before, "nothing is changed"


def test_zeros_that_are_no_sectors_are_no_power_cut(record: Path) -> None:
    data = record.read_bytes()
    at = last_line(data) + 40
    record.write_bytes(data[:at] + bytes(5) + data[at + 5 :])
    with pytest.raises(BrokenRecord):
        list(read_record(record))
    with pytest.raises(BrokenRecord):
        RecordWriter.reopen(record)


def test_a_clock_that_is_set_back_is_told_and_changes_nothing(tmp_path: Path) -> None:
    times = iter([0, 60, -86400, -86000, 10])
    noon = datetime(2026, 5, 12, 12, 0, tzinfo=UTC)
    path = tmp_path / "walk.jsonl"
    first = paper.made(tmp_path).began
    with RecordWriter.create(path, now=lambda: noon + timedelta(seconds=next(times))) as writer:
        for event in (first, e.Noted(text="a"), e.Noted(text="b"), e.Noted(text="c"), e.Noted(text="d")):
            writer.append(writer.envelope(event))
    assert [entry.n for entry in read_record(path)] == [1, 2, 3, 4, 5]
    (back,) = [one for one in verify(path).findings if "clock" in one.words]
    assert back.weight == "note" and back.line == 3
    assert "the clock went back from 2026-05-12T12:01" in back.words
    writer, entries, torn = RecordWriter.reopen(path)
    writer.close()
    assert torn is None and len(entries) == 5


def test_a_record_is_read_while_it_is_written(record: Path) -> None:
    writer, _, _ = RecordWriter.reopen(record)
    with writer:
        reader = read_record(record)
        seen = [next(reader)]
        for text in ("d", "e"):
            writer.append(writer.envelope(e.Noted(text=text)))
        with record.open("ab") as stream:
            stream.write(b'{"n":6,"at":"2026')  # half of what is being written just now
        seen += reader
        assert [entry.n for entry in seen] == [1, 2, 3, 4, 5]
        assert not any(one.weight == "judged otherwise" for one in verify(record).findings)
        with pytest.raises(RecordBusy):
            RecordWriter.reopen(record)


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import errno
    import os

    def refuse(path: object, *_: object, **__: object) -> int:
        raise OSError(errno.EROFS, os.strerror(errno.EROFS), str(path))

    # a test may run as root, whom no folder's permissions stop
    monkeypatch.setattr("bench.record.append.os.open", refuse)
    with pytest.raises(RecordTrouble, match=r"walk\.jsonl cannot be written: Read-only file system"):
        RecordWriter.create(tmp_path / "walk.jsonl")
    with pytest.raises(RecordTrouble, match=r"cannot be opened for writing: Read-only file system"):
        RecordWriter.reopen(tmp_path / "walk.jsonl")
