"""Evidence from whole records and from single lines: both say the same."""

from pathlib import Path

import msgspec
import pytest

import bench
from bench.job.folder import DEPENDS_ON
from bench.job.rows import distil, every_reading, from_line
from bench.record.index import has_notes, head_of, last_time, search
from bench.record.read import read_record
from bench.record.replay import follow
from tests.job.season_folder import record, season


@pytest.mark.parametrize("week", [1, 10, 12])
def test_lines_say_what_the_fold_says(week):
    """The quick way over the notes and the slow way over the machine agree in every field."""
    path = record(week)
    quick = [from_line(line, path.name, head_of(path).operator) for line in search(path)]
    slow = every_reading(path.name, follow(path))
    assert len(quick) == len(slow) == 94
    for one, other in zip(quick, slow, strict=True):
        assert one.value == pytest.approx(other.value, rel=1e-12) if other.value is not None else one.value is None
        same = {"value": None, "standard": None, "expanded": None}
        assert msgspec.structs.replace(one, **same) == msgspec.structs.replace(other, **same)
        for name in ("standard", "expanded"):
            assert getattr(one, name) == (pytest.approx(getattr(other, name)) if getattr(other, name) else None)


def test_a_search_gives_just_the_lines_that_have_the_name():
    """As subject or as place, and nothing that merely looks alike."""
    path = record(1)
    rows = [from_line(line, path.name) for line in search(path, ["W101.3"])]
    assert [row.subject for row in rows] == ["W101.3"]
    by_place = [from_line(line, path.name) for line in search(path, ["J101.27"])]
    assert by_place == rows
    assert list(search(path, ["W101"])) == []


def test_a_search_works_across_the_edges_of_its_blocks(monkeypatch):
    """However small the pieces are that the file is read in."""
    path = record(3)
    whole = list(search(path, ["W103.7", "EB"]))
    assert len(whole) > 10
    for size in (1, 17, 997, 4096):
        monkeypatch.setattr("bench.record.index.BLOCK", size)
        if size > 1:
            assert list(search(path, ["W103.7", "EB"])) == whole


def test_records_without_notes_are_known(tmp_path):
    """Early records have none: they must be folded."""
    path = record(1)
    assert has_notes(path)
    bare = tmp_path / "bare.jsonl"
    bare.write_bytes(path.read_bytes().replace(b'"judged":{"step"', b'"judged":{"stage"'))
    assert not has_notes(bare)
    empty = tmp_path / "empty.jsonl"
    empty.write_bytes(path.read_bytes().splitlines(keepends=True)[0])
    assert has_notes(empty), "where there is no reading there is nothing to miss"


def test_a_chapter_keeps_what_counts_and_what_was_told():
    """Evidence of the plant alone, disturbances and acts."""
    path = record(10)
    chapter = distil("round 10", follow(path), "digest")
    assert chapter.sequence == "weekly round 10" and chapter.finished and chapter.simulated
    assert len(chapter.evidence) == 94
    assert {row.meter for row in chapter.evidence} == {"GH-0007"}
    assert [(one.kind, one.names) for one in chapter.told] == [("disturbance", ("J405",))]
    assert msgspec.json.decode(msgspec.json.encode(chapter), type=type(chapter)) == chapter


def test_heads_and_ends_are_read_without_the_rest():
    """The first line's facts and the last line's time."""
    path = record(2)
    head = head_of(path)
    assert (head.sequence, head.plant_name, head.operator) == ("weekly round 2", "gannet-head", "Marek")
    assert head.bench.simulated and head.bench.instruments[0].calibrated == "2026-01-12"
    assert head.plant_file().plant == "gannet-head"
    assert last_time(path) == list(read_record(path))[-1].at
    assert len({head_of(one).plant_digest for one in season().glob("2*.jsonl")}) == 1


def test_what_a_chapter_rests_on_is_there():
    """A part that moved away would have no record read at all, or old chapters kept for good."""
    assert [part for part in DEPENDS_ON if not (Path(bench.__file__).parent / part).exists()] == []
