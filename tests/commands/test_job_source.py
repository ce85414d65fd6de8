"""What the job screen is given: a job's files and its records, read for real."""

from __future__ import annotations

import argparse
import functools
from pathlib import Path

import pytest

from bench.commands import open as opening
from bench.commands.job_screen import carry_out, words_of
from bench.commands.job_source import JobSource
from bench.commands.open import plant_of
from bench.errors import BadRequest
from bench.exits import BAD_INPUT
from bench.files import BadFile, shipped
from bench.job.folder import NoRecords
from bench.job.readiness import readiness
from bench.screens.job.data import Survey, Wish
from bench.screens.program.work import Cancelled
from tests.job.season_folder import PLANT, copy, season

JOB = shipped("sequences") / "gannet-head"


def quiet(title: str, done: int, of: int) -> None:
    assert title and done >= 0 and (not of or done <= of)


@functools.cache
def read() -> tuple[JobSource, Survey]:
    """The shipped job with the season's records."""
    source = JobSource(PLANT, season())
    return source, source.survey(quiet)


def test_the_job_is_read_whole() -> None:
    _, survey = read()
    assert survey.title.startswith("Gannet Head") and survey.simulated
    on_disk = {path.name for path in JOB.glob("*.yaml")} - {"plant.yaml"}
    assert {Path(one.path).name for one in survey.sequences} == on_disk
    assert not any(one.wrong for one in (*survey.sequences, *survey.benches))
    continuity = next(one for one in survey.sequences if one.path.endswith("continuity-W101.yaml"))
    assert continuity.steps > 100 and continuity.roles == ("ohms",)
    assert {Path(one.path).name for one in survey.benches} == {path.name for path in (JOB / "benches").glob("*.yaml")}
    bench = next(one for one in survey.benches if one.path.endswith("simulated.yaml"))
    assert bench.simulated and not bench.lacks(continuity) and "meter" in bench.instruments


@pytest.mark.slow
def test_readiness_is_what_the_command_says(capsys: pytest.CaptureFixture[str]) -> None:
    import json

    from bench.cli import main

    _, survey = read()
    main(["ready", str(PLANT), "--logs", str(season()), "--json"])
    said = json.loads(capsys.readouterr().out)
    assert [one["status"] for one in said["things"]] == [one.status for one in survey.ready.things]
    assert [one["text"] for one in said["next"]] == [one.text for one in survey.ready.tasks]
    assert survey.ready.plant == readiness(survey.plant, []).plant


def test_records_stand_newest_first_with_what_counts_of_them() -> None:
    _, survey = read()
    assert len(survey.records) == len(list(season().glob("*.jsonl"))) - 1  # one is the disturbances
    assert [one.began for one in survey.records] == sorted((one.began for one in survey.records), reverse=True)
    newest = survey.records[0]
    assert newest.sequence == "weekly round 14" and newest.told == "done" and not newest.open
    assert dict(newest.counts)["fail"] == 7 and newest.simulated and not newest.why


def test_a_broken_record_and_one_of_another_plant_say_why_they_do_not_count(tmp_path: Path) -> None:
    folder = copy(tmp_path / "logs")
    paths = sorted(folder.glob("2026*.jsonl"))
    paths[0].write_bytes(paths[0].read_bytes().replace(b'"pass"', b'"fail"', 1))
    paths[1].write_bytes(b"not a record\n")
    lines = JobSource(PLANT, folder).survey(quiet).records
    broken = {one.name: one.why for one in lines if one.broken}
    assert set(broken) == {paths[0].name, paths[1].name} and all(broken.values())
    assert all(one.told == "broken" and not one.open for one in lines if one.broken)


def test_a_walk_that_was_cut_off_waits(tmp_path: Path) -> None:
    folder = copy(tmp_path / "logs")
    path = sorted(folder.glob("*weekly-round-14.jsonl"))[0]
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:40]))
    line = JobSource(PLANT, folder).survey(quiet).records[0]
    assert line.name == path.name and line.told == "waits" and line.open and not line.live


def test_a_trace_is_that_of_the_command() -> None:
    source, _ = read()
    traced = source.trace("W101.34", quiet)
    first = traced.studies[0]
    assert first.series is not None and first.series.change.kind == "step"
    assert first.window is not None and first.window.first_bad.record.endswith("weekly-round-7.jsonl")
    assert first.suspects[0].told.names == ("T1.2",) and first.common is not None
    assert any(one.names == ("T1.2",) for one in traced.told) and traced.simulated
    with pytest.raises(BadRequest, match="W101"):
        source.trace("W101.x", quiet)


def test_changes_put_what_the_meter_may_have_done_last() -> None:
    source, _ = read()
    found = source.changes(quiet)
    odd = [one.window is not None and one.window.sides[1].record in found.odd for one in found.studies]
    assert found.odd and odd == sorted(odd) and not odd[0] and odd[-1]
    assert found.series == 304 and found.episodes[0].common.meter == "gain"


def test_the_report_is_written_beside_its_record(tmp_path: Path) -> None:
    folder = copy(tmp_path / "logs")
    path = next(folder.glob("*polarity-of-4b-l.jsonl"))
    written = JobSource(PLANT, folder).report(str(path), quiet)
    assert Path(written) == path.with_suffix(".html") and "<html" in Path(written).read_text("utf-8")[:300]


def test_a_record_is_explained_and_compared_as_the_commands_do_it(capsys: pytest.CaptureFixture[str]) -> None:
    from bench.cli import main

    source, survey = read()
    record = next(one for one in survey.records if one.name.endswith("weekly-round-7.jsonl"))
    main(["explain", record.path])
    out = capsys.readouterr().out.splitlines()
    said = [line for line in out if "--follow-up" not in line and "--reprove" not in line]
    assert said == list(source.explain(record.path, quiet)) and len(said) > 3
    main(["compare", "2026-04-30", "2026-05-12", "--logs", str(season())])
    said = capsys.readouterr().out.splitlines()
    assert said == list(source.compare("2026-04-30", "2026-05-12", quiet)) and len(said) > 1
    with pytest.raises(BadRequest, match="expected a record, or a date"):
        source.compare("yesterday", "2026-05-12", quiet)


def test_what_was_touched_is_written_into_the_folder_and_voids_what_was_proven(tmp_path: Path) -> None:
    source = JobSource(PLANT, copy(tmp_path / "logs"), "Bea")
    before = source.survey(quiet)
    proven = next(one.name for one in before.ready.things if one.kind == "cable" and one.counts.get("proven"))
    assert source.misnamed(f"{proven}: a foot") == ""
    assert "nothing called WX1" in source.misnamed("WX1: a foot")
    assert source.misnamed(proven) == "what was done is wanted, after a colon"
    told = source.disturb(f"{proven}: a foot", quiet)
    assert told[0].startswith("written to ") and "no longer counts" in told[-1]
    after = next(one for one in source.survey(quiet).ready.things if one.name == proven)
    assert after.counts.get("void") and not after.counts.get("proven")


def test_a_report_opens_in_a_browser_where_somebody_sits_before_one(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[str] = []
    monkeypatch.setattr("webbrowser.open", lambda url: bool(opened.append(url)) or True)
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "SSH_CONNECTION"):
        monkeypatch.delenv(name, raising=False)
    source, _ = read()
    assert source.show("logs/a.html", quiet) == "open it in any browser" and not opened
    monkeypatch.setenv("DISPLAY", ":0")
    assert source.show("logs/a.html", quiet) == "it is open in the browser"
    assert opened[0].startswith("file:///") and opened[0].endswith("/logs/a.html")
    monkeypatch.setenv("SSH_CONNECTION", "192.0.2.1 22")
    assert source.show("logs/a.html", quiet) == "open it in any browser"


def test_work_ends_where_it_is_not_wanted_any_more() -> None:
    source, _ = read()
    seen = []

    def tell(title: str, done: int, of: int) -> None:
        seen.append(done)
        if len(seen) > 3:
            raise Cancelled

    for work in (source.survey, source.changes, lambda tell: source.trace("W101.34", tell)):
        seen.clear()
        with pytest.raises(Cancelled):
            work(tell)
        assert len(seen) == 4


def test_the_first_day_has_no_records(tmp_path: Path) -> None:
    source = JobSource(PLANT, tmp_path / "logs")
    survey = source.survey(quiet)
    assert survey.records == () and survey.ready.tasks and survey.sequences
    assert not (tmp_path / "logs").exists()
    assert source.trace("W101.1", quiet).studies == () and source.changes(quiet).studies == ()


def test_without_a_plant_file_the_newest_record_tells_the_plant(tmp_path: Path) -> None:
    survey = JobSource(None, season()).survey(quiet)
    assert survey.plant.name == "gannet-head" and survey.sequences == () and survey.records
    with pytest.raises(NoRecords, match="found no record"):
        JobSource(None, tmp_path / "nowhere").survey(quiet)


def test_files_that_are_wrong_are_listed_with_their_reason(tmp_path: Path) -> None:
    job = tmp_path / "job"
    job.mkdir()
    (job / "plant.yaml").write_text(
        "plant: p\nbays:\n  - {name: 1, title: one, shelves: [{name: 1A, title: x, slots: 2}]}\n", "utf-8"
    )
    (job / "wrong.yaml").write_text("sequence: wrong\nplant: plant.yaml\nsteps:\n  - step: dance\n", "utf-8")
    (job / "bench.yaml").write_text("bench: b\ninstruments: 7\n", "utf-8")
    (job / "notes.yaml").write_text("anything: else\n", "utf-8")
    source = JobSource(job / "plant.yaml", tmp_path / "logs")
    survey = source.survey(quiet)
    assert [one.name for one in survey.sequences] == ["wrong"] and "wrong.yaml:4" in survey.sequences[0].wrong
    assert [one.name for one in survey.benches] == ["bench"] and "bench.yaml:2" in survey.benches[0].wrong
    (job / "plant.yaml").write_text("plant: [\n", "utf-8")
    with pytest.raises(BadFile) as caught:
        source.survey(quiet)
    assert "plant.yaml" in source.mend(caught.value) and source.mend(RuntimeError("a bug")) == ""


def test_a_wish_is_the_command_that_a_person_would_type(tmp_path: Path) -> None:
    words = words_of(Wish("walk", "job/continuity.yaml", "job/bench.yaml"), tmp_path, ["--operator", "Bea"])
    assert words[:4] == ["walk", "job/continuity.yaml", "--bench", "job/bench.yaml"] and words[-2:] == [
        "--operator",
        "Bea",
    ]
    assert Path(words[5]).parent == tmp_path and words[5].endswith("-continuity.jsonl")
    assert words_of(Wish("resume", "logs/r.jsonl"), tmp_path) == ["walk", "--resume", "logs/r.jsonl"]
    assert words_of(Wish("attach", "logs/r.jsonl"), tmp_path, ["--ascii"]) == [
        "walk",
        "--attach",
        "logs/r.jsonl",
        "--ascii",
    ]


def test_a_walk_that_cannot_start_is_told(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """For real: the command is run, and there is no such sequence."""
    said = carry_out(Wish("walk", str(tmp_path / "none.yaml"), str(tmp_path / "none.yaml")), tmp_path)
    assert said == "the walk could not start"


def test_the_job_is_found_where_one_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(BadRequest, match=r"no plant.yaml here"):
        plant_of(None)
    for name in ("a", "b"):
        (tmp_path / "sequences" / name).mkdir(parents=True)
        (tmp_path / "sequences" / name / "plant.yaml").write_text("plant: p\n", "utf-8")
        found = plant_of(None) if name == "a" else None
    assert found is None
    with pytest.raises(BadRequest, match="2 jobs in sequences/"):
        plant_of(None)
    assert plant_of(Path("sequences/b")) == plant_of(Path("sequences/b/plant.yaml"))
    with pytest.raises(BadRequest, match=r"no plant file"):
        plant_of(Path("sequences"))
    (tmp_path / "plant.yaml").write_text("plant: p\n", "utf-8")
    assert plant_of(None) == Path("plant.yaml")


@pytest.mark.parametrize(
    "words",
    [["ready", str(PLANT), "--screen"], ["trace", "W101.1", "--screen"]],
    ids=lambda w: w[0],
)
def test_without_a_terminal_there_is_no_screen(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    from bench.cli import main

    assert main([*words, "--logs", str(season())]) == BAD_INPUT
    assert "no terminal to paint on" in capsys.readouterr().err


def test_every_option_of_a_walk_is_passed_on() -> None:
    parser = argparse.ArgumentParser()
    opening.arguments(parser)
    options = parser.parse_args(["job", "--ascii", "--quiet", "--operator", "Bea", "--say", "say"])
    assert options.ascii and options.quiet and options.operator == "Bea" and options.say == "say"
