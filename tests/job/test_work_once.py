"""What a folder of records costs: a line is decoded once, a reading judged once, and what is known is not read."""

from __future__ import annotations

import os
import shutil
from collections import Counter
from pathlib import Path

import pytest

from bench.job import folder as folders
from bench.job.folder import open_folder
from bench.job.rows import every_reading
from bench.record import index, read
from bench.record.chain import BadLine, decode
from bench.record.index import records_in
from bench.record.read import read_lines
from bench.record.replay import follow
from bench.walk import events as e
from bench.walk.outcome import Unjudged
from bench.walk.results import outcomes, results
from bench.walk.setting import Setting
from bench.walk.state import fold
from tests.job.season_folder import plant, season


@pytest.fixture
def some(tmp_path: Path) -> Path:
    """Three records of the season in a folder of their own."""
    for path in records_in([season()])[:3]:
        shutil.copy(path, tmp_path / path.name)
    return tmp_path


def first_lines(folder: Path) -> list[bytes]:
    return [next(line for _, line in read_lines(path)) for path in records_in([folder])]


def test_the_plant_that_records_share_is_decoded_once(some: Path) -> None:
    began = [decode(line).event for line in first_lines(some)]
    assert all(isinstance(event, e.Began) for event in began)
    assert len({id(event.plant) for event in began}) == 1  # type: ignore[union-attr]
    assert len({event.sequence.sequence for event in began}) == len({id(event.sequence) for event in began})  # type: ignore[union-attr]


def test_what_is_wrong_with_a_plant_in_a_first_line_is_told_with_its_place(some: Path) -> None:
    line = first_lines(some)[0].replace(b'"cables":', b'"cables":7,"cables_":', 1)
    with pytest.raises(BadLine, match=r"\$\.event\.plant\.cables"):
        decode(line)


def test_each_line_is_checked_once_and_each_reading_judged_once(some: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = sum(1 for path in records_in([some]) for _ in read_lines(path))
    reads = sum(isinstance(entry.event, e.Read) for path in records_in([some]) for _, entry, _ in follow(path))
    counted: Counter[str] = Counter()
    check, judge = read.check, Setting._held_against

    def checking(line: bytes, previous: bytes) -> bytes:
        counted["checked"] += 1
        return check(line, previous)

    def judging(*args: object) -> object:
        counted["judged"] += 1
        return judge(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(read, "check", checking)
    monkeypatch.setattr(index, "check", checking)
    monkeypatch.setattr(Setting, "_held_against", judging)
    open_folder(some, plant().name)
    assert counted["checked"] == lines
    assert 0 < counted["judged"] <= reads


def test_a_record_that_was_looked_at_is_not_opened_again(some: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(index, "SETTLED_NS", -(10**12))  # as if the records had been lying there for long
    before = open_folder(some, plant().name)

    def opened(path: Path) -> object:
        raise AssertionError(f"{path} was read again")

    for module, name in ((folders, "head_of"), (folders, "chain_of"), (folders, "read_record"), (index, "read_lines")):
        monkeypatch.setattr(module, name, opened)
    assert open_folder(some, plant().name).chapters == before.chapters


def test_a_record_that_changed_after_it_was_looked_at_is_read_anew(some: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(index, "SETTLED_NS", -(10**12))
    open_folder(some, plant().name)
    path = records_in([some])[0]
    facts, data = path.stat(), bytearray(path.read_bytes())
    place = data.rindex(b'"value":') + len(b'"value":')
    data[place] = data[place] ^ 1
    path.write_bytes(bytes(data))
    os.utime(path, ns=(facts.st_atime_ns, facts.st_mtime_ns))
    assert [error.path for error in open_folder(some, plant().name).broken] == [path]


def test_a_reading_judged_late_comes_to_what_it_came_to_at_once() -> None:
    for path in records_in([season()])[:6]:
        late = [step.after for step in follow(path)][-1]
        at_once = None
        for _, _, at_once in follow(path):
            for _ in outcomes(at_once):
                break  # whoever looks at every state has each reading judged as it comes
        assert at_once is not None
        assert late.kept.history is not None
        assert any(isinstance(made, Unjudged) and made.known is None for made in late.kept.history.all_made())
        assert results(late) == results(at_once)
        assert list(outcomes(late)) == list(outcomes(at_once))
        assert fold([entry for _, entry, _ in follow(path)]) == late


def test_a_row_says_in_words_what_the_walk_said() -> None:
    for path in records_in([season()])[:6]:
        state = [step.after for step in follow(path)][-1]
        said = {one.n: one.sentence for one in outcomes(state)}
        for row in every_reading(path.name, follow(path)):
            assert row.sentence == said[row.n]
