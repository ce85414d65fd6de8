"""One replay for all who read a record: what does not follow is told by file and line, whoever reads it."""

from pathlib import Path

import pytest

from bench.commands.report import write_report
from bench.job.rows import distil
from bench.record.append import RecordWriter
from bench.record.export import rows
from bench.record.read import BrokenRecord
from bench.record.replay import follow, replay
from bench.record.verify import verify
from bench.report.sheet import sheet
from bench.screens.replay.playback import open_playback
from bench.walk import events as e
from tests.walk.paper_walk import PaperWalk, made


@pytest.fixture
def walker(tmp_path: Path) -> PaperWalk:
    """A whole small walk on paper."""
    walk = PaperWalk(made(tmp_path).began)
    walk.finish()
    return walk


@pytest.fixture
def wrong(walker: PaperWalk, tmp_path: Path) -> tuple[Path, int]:
    """A record whose chain holds, with an event in it that the machine would not have taken there, and its line."""
    path = tmp_path / "wrong.jsonl"
    with RecordWriter.create(path) as writer:
        for entry in walker.entries[:6]:
            writer.append(writer.envelope(entry.event))
        writer.append(writer.envelope(e.Continued()))
        return path, writer.last


def test_a_replay_ends_where_the_walk_ended(walker: PaperWalk, tmp_path: Path) -> None:
    path = tmp_path / "sound.jsonl"
    told = []
    with RecordWriter.create(path) as writer:
        for entry in walker.entries:
            writer.append(entry)
    state = replay(path, told=lambda entry, state: told.append((entry.n, state.phase)))
    assert state == walker.state
    assert [n for n, _ in told] == [entry.n for entry in walker.entries]
    assert told[-1][1] is walker.state.phase


def test_every_reader_says_the_line_that_does_not_follow(wrong: tuple[Path, int]) -> None:
    path, line = wrong
    readers = {
        "replay": lambda: replay(path),
        "follow": lambda: list(follow(path)),
        "export": lambda: list(rows(path)),
        "report": lambda: write_report([path], path.with_suffix(".html")),
        "sheet": lambda: sheet(path, follow(path), verify(path)),
        "distil": lambda: distil("wrong", follow(path)),
        "replay screen": lambda: open_playback(path),
    }
    for name, reader in readers.items():
        with pytest.raises(BrokenRecord) as caught:
            reader()
        assert (caught.value.path, caught.value.line) == (path, line), name
        assert caught.value.why.startswith("does not follow from the lines before it: "), name
    found = [one for one in verify(path).findings if one.weight == "wrong"]
    assert [one.line for one in found] == [line]
    assert found[0].words.startswith("does not follow from the lines before it: ")


def test_what_holds_no_walk_is_no_record_to_replay(tmp_path: Path) -> None:
    path = tmp_path / "empty.jsonl"
    path.write_bytes(b"")
    with pytest.raises(BrokenRecord, match="holds no walk"):
        replay(path)
