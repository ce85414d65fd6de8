"""A record that was damaged counts nowhere, a copy counts once, and neither keeps the others from being used."""

import csv
import shutil
from collections import Counter

import pytest

from bench.cli import main
from bench.exits import BAD_INPUT, PASS, STOPPED
from bench.job.folder import open_folder
from bench.job.history import History
from bench.record.append import RecordWriter
from bench.record.index import each_once
from bench.walk.events import Noted
from tests.job.season_folder import PLANT, copy, record
from tests.job.test_asfound import at, breakers, closing, conductor, found_in, opening, reading, status, walk


def flipped(path, line, old, new):
    """Change a text in one line of a record."""
    lines = path.read_bytes().splitlines(keepends=True)
    assert old in lines[line]
    lines[line] = lines[line].replace(old, new, 1)
    path.write_bytes(b"".join(lines))


def read_line(path):
    return next(i for i, line in enumerate(path.read_bytes().splitlines()) if b'"is":"read"' in line)


def test_what_a_damaged_record_may_have_said_is_not_known(tmp_path):
    """It failed a conductor that passed before: the older pass does not stand in its place."""
    name = conductor()
    walk(tmp_path / "a.jsonl", reading(name), by="Anna", when=at(12), ohms=0.1)
    walk(tmp_path / "b.jsonl", reading(name), by="Ben", when=at(13), ohms=50.0)
    assert status(found_in(tmp_path), name) == "failing"
    flipped(tmp_path / "b.jsonl", read_line(tmp_path / "b.jsonl"), b"50.0", b"0.50")
    assert status(found_in(tmp_path), name) == "void"
    walk(tmp_path / "c.jsonl", reading(name), by="Cleo", when=at(14), ohms=0.1)
    assert status(found_in(tmp_path), name) == "proven"


def test_a_damaged_record_says_nothing_of_what_it_was_not_about(tmp_path):
    name = conductor()
    walk(tmp_path / "a.jsonl", reading(name), by="Anna", when=at(12), ohms=0.1)
    walk(tmp_path / "b.jsonl", reading("WQS.1"), by="Ben", when=at(13), ohms=50.0)
    flipped(tmp_path / "b.jsonl", read_line(tmp_path / "b.jsonl"), b"50.0", b"0.50")
    assert status(found_in(tmp_path), name) == "proven"


def test_a_damaged_copy_of_a_record_that_is_there_takes_nothing_away(tmp_path):
    name = conductor()
    walk(tmp_path / "a.jsonl", reading(name), by="Anna", when=at(12), ohms=0.1)
    shutil.copy(tmp_path / "a.jsonl", tmp_path / "b.jsonl")
    flipped(tmp_path / "b.jsonl", read_line(tmp_path / "b.jsonl"), b"0.1", b"0.2")
    assert status(found_in(tmp_path), name) == "proven"


@pytest.mark.parametrize("cut", [0, 300])
def test_a_record_that_was_never_begun_takes_nothing_away_and_can_be_begun(tmp_path, capsys, cut):
    """It is empty, or was cut off in its first line."""
    name, path = conductor(), tmp_path / "b.jsonl"
    walk(tmp_path / "a.jsonl", reading(name), by="Anna", when=at(12), ohms=0.1)
    path.write_bytes((tmp_path / "a.jsonl").read_bytes()[:cut])
    assert status(found_in(tmp_path), name) == "proven"
    (error,) = open_folder(tmp_path).broken
    assert "the walk was not begun" in str(error)
    main(["verify", str(tmp_path)])
    assert ("the walk was not begun" if cut == 0 else "the end is torn") in capsys.readouterr().out
    walk(path, reading(name), by="Ben", when=at(13), ohms=50.0)
    assert status(found_in(tmp_path), name) == "failing"
    assert len(list(tmp_path.glob("b.jsonl.torn-*"))) == (cut > 0)
    with pytest.raises(FileExistsError):
        RecordWriter.create(path)


def test_a_trace_counts_a_copy_once_and_what_was_altered_not_at_all(tmp_path):
    """As readiness does."""
    name = conductor()
    for number in range(3):
        walk(tmp_path / f"{number}.jsonl", reading(name), by="Anna", when=at(12 + number), ohms=0.1 * (number + 1))
    raw = (tmp_path / "1.jsonl").read_bytes()
    (tmp_path / "1-copy.jsonl").write_bytes(raw)
    (tmp_path / "1-cut.jsonl").write_bytes(raw[:-200])
    values = sorted(row.value for row in traced(tmp_path).rows([name]))
    assert len(values) == 3 and len(set(values)) == 3, "each walk once"
    for path in ("1-copy.jsonl", "1-cut.jsonl"):
        (tmp_path / path).unlink()
    lines = raw.splitlines(keepends=True)
    (tmp_path / "1.jsonl").write_bytes(b"".join(lines[:-1]))  # the next one saw the line that is gone
    history = traced(tmp_path)
    assert sorted(row.value for row in history.rows([name])) == [values[0], values[2]]
    assert "its end is missing" in history.broken[0]


def traced(folder):
    return History(folder, sorted(folder.glob("*.jsonl")), "beacon-hut")


@pytest.fixture
def spoilt(tmp_path):
    """Three records: a sound one, a copy of it, and one with a damaged line."""
    sound, again, wrong = tmp_path / "sound.jsonl", tmp_path / "again.jsonl", tmp_path / "wrong.jsonl"
    shutil.copy(record(1), sound)
    shutil.copy(record(1), again)
    lines = record(2).read_bytes().splitlines(keepends=True)
    wrong.write_bytes(b"".join([*lines[:5], *lines[6:]]))
    return sound, again, wrong


def test_a_report_says_what_is_not_in_it_and_has_the_rest(tmp_path, spoilt, capsys):
    target = tmp_path / "report.html"
    assert main(["report", *map(str, spoilt), "-o", str(target)]) == STOPPED
    told = capsys.readouterr()
    assert "report of 1 record" in told.out and f"NOT IN IT: {spoilt[2]}:6" in told.err and "is a copy of" in told.err
    text = target.read_text("utf-8")
    assert "Not in this report." in text and "wrong.jsonl:6" in text and "again.jsonl is a copy of" in text
    assert main(["report", str(spoilt[2]), "-o", str(target)]) == BAD_INPUT
    assert main(["report", str(spoilt[0]), "-o", str(target)]) == PASS


def test_an_export_says_what_is_not_in_it_and_has_the_rest(tmp_path, spoilt, capsys):
    target = tmp_path / "readings.csv"
    assert main(["export", *map(str, spoilt), "-o", str(target)]) == STOPPED
    told = capsys.readouterr()
    assert "of 1 record in" in told.out and f"NOT IN IT: {spoilt[2]}:6" in told.err
    with target.open(newline="", encoding="utf-8") as stream:
        counted = Counter(row["record"] for row in csv.DictReader(stream))
    assert set(counted) <= {"sound.jsonl", "again.jsonl"} and len(counted) == 1
    target.unlink()
    assert main(["export", str(spoilt[2]), "-o", str(target)]) == BAD_INPUT
    assert not target.exists()


def test_copies_that_go_on_differently_are_all_left_out(tmp_path, spoilt):
    lines = spoilt[0].read_bytes().splitlines(keepends=True)
    spoilt[1].write_bytes(b"".join(lines[:-2]))
    with RecordWriter.reopen(spoilt[1])[0] as writer:
        writer.append(writer.envelope(Noted(text="otherwise")))
    once = each_once(spoilt)
    assert not once.records and not once.copies and len(once.wrong) == 3


def test_a_folder_of_practice_takes_nothing_from_a_real_one(tmp_path):
    """A damaged record of a simulated bench says nothing of the plant, since it said nothing before."""
    folder = copy(tmp_path / "logs")
    path = max(folder.glob("2*.jsonl"))
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([*lines[:9], *lines[10:]]))
    assert open_folder(folder).damaged[0].simulated
    assert main(["ready", str(PLANT), "--logs", str(folder)]) != PASS


def test_how_a_breaker_was_left_by_a_damaged_record_is_unknown_until_somebody_looks(tmp_path):
    """It was closed in it: the older word that it is open does not stand in its place; another's does."""
    one, other = breakers()[:2]
    walk(tmp_path / "a.jsonl", opening(one, other), by="Anna", when=at(12))
    walk(tmp_path / "b.jsonl", closing(one), by="Ben", when=at(13))
    assert found_in(tmp_path).handled.state("breaker", one) == "closed"
    lines = (tmp_path / "b.jsonl").read_bytes().splitlines()
    flipped(tmp_path / "b.jsonl", len(lines) - 2, b'"at":"2026-03-13', b'"at":"2026-03-14')
    found = found_in(tmp_path)
    assert found.handled.state("breaker", one) == "unknown"
    assert found.handled.state("breaker", other) == "open"
    walk(tmp_path / "c.jsonl", opening(one), by="Cleo", when=at(15))
    assert found_in(tmp_path).handled.state("breaker", one) == "open"
