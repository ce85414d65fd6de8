"""Evidence from whole records and from single lines: both say the same."""

from pathlib import Path

import msgspec

import bench
from bench.job.folder import DEPENDS_ON
from bench.job.history import History
from bench.job.rows import distil
from bench.record.chain import FIRST, seal
from bench.record.index import end_of, has_notes, head_of, search
from bench.record.read import read_record
from bench.record.replay import follow
from bench.walk.events import Read
from tests.job.season_folder import record, season


def test_a_search_gives_just_the_lines_that_have_the_name():
    """As subject or as place, and nothing that merely looks alike."""
    path = record(1)
    (line,) = search(path, ["W101.3"])
    assert msgspec.json.decode(line)["event"]["judged"]["subject"] == "W101.3"
    assert list(search(path, ["J101.27"])) == [line]
    assert list(search(path, ["W101"])) == []


def test_a_verdict_that_was_noted_becomes_no_row(tmp_path):
    """The chain is whole, yet somebody's code noted nonsense: readings are judged, and notes are not read."""
    path, previous, lines = record(1), FIRST, []
    for entry in read_record(path):
        event = entry.event
        if isinstance(event, Read) and event.judged:
            event = msgspec.structs.replace(event, judged={**event.judged, "verdict": "fail", "value": 1e9})
        line, previous = seal(msgspec.structs.replace(entry, event=event), previous)
        lines.append(line)
    (tmp_path / path.name).write_bytes(b"".join(lines))
    true = History(path.parent, [path], head_of(path).plant_name)
    noted = History(tmp_path, [tmp_path / path.name], head_of(path).plant_name)
    for names in (None, ["W101.3"]):
        rows = list(noted.rows(names))
        assert rows and rows == list(true.rows(names))
    assert not noted.broken


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
    assert end_of(path).at == list(read_record(path))[-1].at
    assert len({head_of(one).plant_digest for one in season().glob("2*.jsonl")}) == 1


def test_what_a_chapter_rests_on_is_there():
    """A part that moved away would have no record read at all, or old chapters kept for good."""
    assert [part for part in DEPENDS_ON if not (Path(bench.__file__).parent / part).exists()] == []
