from __future__ import annotations

from pathlib import Path

import pytest

from bench.record.index import records_in
from bench.record.read import BrokenRecord
from bench.record.verify import verify
from bench.record.watch import WatchWriter, is_watch, read_watch
from bench.walk import watching as w
from tests.walk.test_watching import STEADY, began, block


def written(path: Path) -> Path:
    with WatchWriter(path) as writer:
        writer.write(began(), block(0.0, STEADY), w.Touched(at=3.0, places=["J2"]), block(3.1, [None, 0.5, *STEADY]))
    return path


def test_what_was_written_is_read_back(tmp_path: Path) -> None:
    watch = read_watch(written(tmp_path / "watch-a.jsonl"))
    assert len(watch.jumps) == 1 and watch.jumps[0].moved == ("J2",)
    assert verify(tmp_path / "watch-a.jsonl").kind == "watch"
    assert not verify(tmp_path / "watch-a.jsonl").wrong


def test_a_record_cut_anywhere_is_gone_on_with(tmp_path: Path) -> None:
    whole = written(tmp_path / "watch-a.jsonl").read_bytes()
    first = whole.index(b"\n") + 1
    for number, cut in enumerate(range(first, len(whole), 97)):
        path = tmp_path / f"watch-cut{number}.jsonl"
        path.write_bytes(whole[:cut])
        with WatchWriter(path) as writer:
            writer.write(w.Remarked(at=9.0, text="on again"))
        assert read_watch(path).remarks[-1][2] == "on again"
        assert not verify(path).wrong


def test_a_changed_line_is_found(tmp_path: Path) -> None:
    path = written(tmp_path / "watch-a.jsonl")
    path.write_bytes(path.read_bytes().replace(b"J2", b"J1", 2))
    with pytest.raises(BrokenRecord):
        read_watch(path)
    assert verify(path).wrong


def test_one_that_has_ended_is_not_gone_on_with(tmp_path: Path) -> None:
    path = written(tmp_path / "watch-a.jsonl")
    with WatchWriter(path) as writer:
        writer.write(w.WatchEnded(at=10.0))
    with pytest.raises(BrokenRecord, match="has ended"):
        WatchWriter(path)


def test_it_is_known_by_its_name_and_is_no_walk(tmp_path: Path) -> None:
    assert is_watch(Path("watch.jsonl")) and is_watch(Path("watch-1.jsonl")) and not is_watch(Path("x-watch.jsonl"))
    written(tmp_path / "watch-a.jsonl")
    assert records_in([tmp_path]) == []
