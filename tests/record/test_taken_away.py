"""A record that is removed, moved or replaced while it is being written: noticed, and kept whole elsewhere."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest

from bench.record.append import RecordTrouble, RecordWriter
from bench.record.read import read_record
from tests.record.test_record import tiny_walk

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="there a file that is open cannot be removed")


def taken(path: Path, how: str) -> None:
    """Take the record away from under its writer."""
    match how:
        case "removed":
            path.unlink()
        case "moved":
            path.rename(path.with_name("elsewhere.jsonl"))
        case "replaced":
            path.with_name("other").write_bytes(b"another file\n")
            path.with_name("other").replace(path)
        case "folder removed":
            shutil.rmtree(path.parent)
        case "folder moved":
            path.parent.rename(path.parent.with_name("put-away"))


@pytest.mark.parametrize("how", ["removed", "moved", "replaced", "folder removed", "folder moved"])
def test_a_record_that_is_taken_away_goes_on_whole_elsewhere(tmp_path: Path, how: str) -> None:
    path = tmp_path / "logs" / "r.jsonl"
    walk = tiny_walk()
    with RecordWriter.create(path) as writer:
        for entry in walk[:4]:
            writer.append(entry)
        assert writer.path == path
        taken(path, how)
        writer.append(walk[4])
        kept = writer.path
        assert kept != path
        for entry in walk[5:]:
            writer.append(entry)
        assert writer.path == kept
    assert list(read_record(kept)) == list(walk)
    if how == "replaced":
        assert path.read_bytes() == b"another file\n"


def test_where_there_is_no_place_left_nothing_is_acknowledged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "logs" / "r.jsonl"
    walk = tiny_walk()
    with RecordWriter.create(path) as writer:
        for entry in walk[:4]:
            writer.append(entry)
        shutil.rmtree(path.parent)
        path.parent.write_text("a file where the folder was", "utf-8")
        with pytest.raises(RecordTrouble, match="was moved or removed"):
            writer.append(walk[4])
        path.parent.unlink()
        for entry in walk[4:]:
            writer.append(entry)
    assert list(read_record(writer.path)) == list(walk)


def test_a_second_writer_is_kept_off_the_new_place_too(tmp_path: Path) -> None:
    from bench.record.append import RecordBusy

    path = tmp_path / "r.jsonl"
    walk = tiny_walk()
    with RecordWriter.create(path) as writer:
        writer.append(walk[0])
        path.unlink()
        writer.append(walk[1])
        with pytest.raises(RecordBusy):
            RecordWriter.reopen(writer.path)
