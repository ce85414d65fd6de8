"""Wrong clocks are said, order does not rest on them, and times are those of one zone that is said."""

import shutil
import time
from datetime import UTC, datetime

import pytest

from bench.cli import main
from bench.exits import NOT_PASSED
from bench.job.folder import open_folder
from bench.record.append import stamp
from bench.record.index import clock_behind, declared
from bench.say.times import day, minute, second, zone
from tests.job.test_asfound import HUT, at, conductor, found_in, reading, status, two_laptops, walk


@pytest.fixture
def oslo(monkeypatch):
    """A computer in another zone than Greenwich's."""
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def test_times_are_shown_in_the_zone_of_the_computer_which_is_said(oslo):
    assert zone() == "CET/CEST"
    assert second("2026-05-12T22:03:11.250412Z") == "2026-05-13 00:03:11"
    assert (minute("2026-01-12T22:03:11Z"), day("2026-05-12T22:03:11Z")) == ("2026-01-12 23:03", "2026-05-13")
    assert minute("no time at all, this") == "no time at all, "


def test_a_time_that_somebody_types_is_of_the_same_zone(tmp_path, capsys, oslo):
    """18:30 on the wall is 17:30 in Greenwich: what was read at 18:00 there came after it."""
    name = conductor()
    walk(tmp_path / "a.jsonl", reading(name), by="Anna", when=at(12), ohms=0.1)
    main(
        ["disturb", name, "--logs", str(tmp_path), "--plant", str(HUT), "--note", "moved", "--when", "2026-03-12T18:30"]
    )
    told = capsys.readouterr().out
    assert "2026-03-12 18:30:00 CET/CEST" in told and "no evidence is void by it" in told
    assert "a.jsonl: 1 reading of it still count, taken after that by the clock, from 2026-03-12 19:00:00" in told
    assert declared(tmp_path)[0].event.when == "2026-03-12T17:30:00.000000Z"
    assert status(found_in(tmp_path), name) == "proven"
    main(["ready", str(HUT), "--logs", str(tmp_path)])
    assert "days and times are CET/CEST" in capsys.readouterr().out


def test_what_is_told_with_a_time_spares_nothing_whose_clock_was_wrong(tmp_path, capsys):
    """The reading is stamped two years ahead; the record after it shows that this cannot be."""
    name = conductor()
    walk(tmp_path / "a.jsonl", reading(name), by="Anna", when=lambda: datetime(2028, 1, 1, tzinfo=UTC), ohms=0.1)
    walk(tmp_path / "b.jsonl", reading("WQS.1"), by="Ben", when=at(12), ohms=0.1)
    main(["disturb", name, "--logs", str(tmp_path), "--plant", str(HUT), "--note", "moved", "--when", "2026-03-11"])
    assert "still count" not in capsys.readouterr().out
    assert status(found_in(tmp_path), name) == "void"


def test_what_is_told_with_a_time_spares_nothing_that_nobody_was_shown(tmp_path):
    """The other laptop's reading came into the folder after it was told."""
    name = conductor()
    merged = two_laptops(
        tmp_path,
        lambda path: walk(path, reading("WQS.1"), by="Anna", when=at(12), ohms=0.1),
        lambda path: walk(path, reading(name), by="Ben", when=at(13), ohms=0.1),
    )
    shutil.move(merged / "right.jsonl", tmp_path / "right.jsonl")
    main(["disturb", name, "--logs", str(merged), "--plant", str(HUT), "--note", "moved", "--when", "2026-03-11"])
    shutil.move(tmp_path / "right.jsonl", merged / "right.jsonl")
    assert status(found_in(merged), name) == "void"


def test_a_clock_that_went_back_inside_a_record_is_said(tmp_path, capsys):
    name, hours = conductor(), iter([20, 20, 20, 20, *[9] * 40])
    walk(tmp_path / "a.jsonl", reading(name), by="Anna", when=lambda: at(12, next(hours))(), ohms=0.1)
    assert any(
        "in line 5 the clock went back from 2026-03-12 20:00" in text for text in found_in(tmp_path).contradictions
    )
    main(["verify", str(tmp_path)])
    assert "the clock went back from" in capsys.readouterr().out


def test_wrong_clocks_are_said_by_trace_and_verify_and_when_a_walk_begins(tmp_path, capsys):
    name = conductor()
    walk(tmp_path / "a.jsonl", reading(name), by="Anna", when=at(12), ohms=0.1)
    walk(tmp_path / "b.jsonl", reading(name), by="Ben", when=lambda: datetime(2020, 1, 1, tzinfo=UTC), ohms=0.1)
    for words in (["trace", name, "--plant", str(HUT)], ["ready", str(HUT)]):
        main([*words, "--logs", str(tmp_path)])
        assert "b.jsonl was begun after a.jsonl, and its clock said 2020-01-01" in capsys.readouterr().out, words
    main(["verify", str(tmp_path)])
    assert "a clock was wrong" in capsys.readouterr().out
    assert "a.jsonl was written until 2026-03-12 18:00" in clock_behind(
        tmp_path, stamp(datetime(2020, 1, 2, tzinfo=UTC))
    )
    assert not clock_behind(tmp_path, stamp(at(13)()))
    assert not clock_behind(tmp_path, stamp(at(12)())), "the last record was written at this very moment"


def test_verify_says_that_an_end_is_missing_which_another_record_saw(tmp_path, capsys):
    name = conductor()
    walk(tmp_path / "a.jsonl", reading(name), by="Anna", when=at(12), ohms=50.0)
    walk(tmp_path / "b.jsonl", reading("WQS.1"), by="Ben", when=at(13), ohms=0.1)
    path = tmp_path / "a.jsonl"
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))
    assert main(["verify", str(tmp_path)]) == NOT_PASSED
    assert "its end is missing" in capsys.readouterr().out
    path.unlink()
    main(["verify", str(tmp_path)])
    assert "lines that b.jsonl saw is not there" in capsys.readouterr().out


@pytest.mark.slow
def test_a_run_that_begins_with_a_clock_behind_notes_it(tmp_path, capsys):
    folder = tmp_path / "logs"
    folder.mkdir()
    walk(folder / "a.jsonl", reading(conductor()), by="Anna", when=lambda: datetime(2099, 1, 1, tzinfo=UTC), ohms=0.1)
    job = "sequences/gannet-head"
    words = [f"{job}/continuity-W101.yaml", "--bench", f"{job}/benches/simulated.yaml", "--speed", "1000"]
    main(["run", *words, "--record", str(folder / "b.jsonl")])
    assert "note      the clock of this computer says 20" in capsys.readouterr().out
    assert any(
        "the clock of this computer" in one.text for one in open_folder(folder).whole_order._chapters["b.jsonl"].told
    )
