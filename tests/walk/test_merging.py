"""Two people survey one hall on two computers, and their records are made one."""

from __future__ import annotations

import random
import shutil
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec
import pytest

from bench.cli import main
from bench.plant.finds import Hall, LooseEnd, Tried
from bench.record.survey import SurveyWriter, read_survey, survey_lines
from bench.walk.merging import Merged, merged
from bench.walk.surveying import Remarked, Saw, SurveyEvent, TookBack, TriedIt, Withdrew

HALL = Hall(bays=["1", "2"])


class Laptop:
    """A computer that somebody surveys on; its clock only ever goes on."""

    def __init__(self, path: Path, by: str, hour: int = 18) -> None:
        self.path, self.by = path, by
        self.now = datetime(2026, 3, 1, hour, tzinfo=UTC)

    def note(self, *events: SurveyEvent) -> None:
        with SurveyWriter(self.path, "hall", HALL, self.by, self.clock) as writer:
            writer.write(*events)

    def clock(self) -> datetime:
        self.now += timedelta(minutes=1)
        return self.now

    def take_in(self, other: Laptop) -> Merged:
        found = merged(list(survey_lines(self.path)), list(survey_lines(other.path)), other.path.name)
        self.note(*found.events)
        return found

    @property
    def survey(self):
        return read_survey(self.path)


def end(name: str, label: str, **fields) -> Saw:
    return Saw(find=LooseEnd(name=name, label=label, bay="1", **fields))


def tried(touched: str, among: str, answer: str = "") -> TriedIt:
    return TriedIt(tried=Tried(touched=touched, among=[among], answer=answer))


@pytest.fixture
def both(tmp_path: Path) -> tuple[Laptop, Laptop]:
    return Laptop(tmp_path / "survey.jsonl", "Ines"), Laptop(tmp_path / "survey-tomas.jsonl", "Tomas", 19)


def test_one_name_for_two_things_gets_a_second_one_and_tries_follow_it(both) -> None:
    ines, tomas = both
    ines.note(end("L1", "W101"), end("L2", "W102"))
    tomas.note(end("L1", "W207"), end("L2", "W102"), tried("L1", "L2"), Remarked(text="bay 2 is done"))
    found = ines.take_in(tomas)
    assert found.renamed == {"L1": "L1b"} and (found.finds, found.tries) == (1, 1)
    survey = ines.survey
    assert {name: kept.find.label for name, kept in survey.finds.items()} == {"L1": "W101", "L2": "W102", "L1b": "W207"}
    assert [one.touched for one in survey.tries.values()] == ["L1b"]
    assert [text for *_, text in survey.remarks] == ["bay 2 is done"]
    assert "survey-tomas.jsonl" in survey.finds["L1b"].how


def test_what_was_taken_in_is_not_taken_in_again_and_what_is_new_comes_after(both) -> None:
    ines, tomas = both
    ines.note(end("L1", "W101"))
    tomas.note(end("L1", "W207"), end("L2", "W208"), tried("L1", "L2"))
    ines.take_in(tomas)
    assert ines.take_in(tomas).events == []
    number = next(iter(tomas.survey.tries))
    tomas.note(TookBack(n=number, why="wrong end"), end("L1", "W20?"), Withdrew(name="L2", why="noted twice"))
    found = ines.take_in(tomas)
    assert ines.survey.tries == {} and found.renamed == {"L1": "L1b"}
    assert ines.survey.finds["L1b"].find.label == "W20?" and ines.survey.finds["L1"].find.label == "W101"
    assert set(ines.survey.withdrawn) == {"L2"}


def test_what_came_from_here_does_not_come_back(both) -> None:
    ines, tomas = both
    ines.note(end("L1", "W101"), end("L2", "W102"), tried("L1", "L2", "L2"))
    tomas.note(end("L1", "W207"))
    tomas.take_in(ines)
    assert tomas.survey.finds["L1b"].find.label == "W101"
    tomas.note(tried("L1", "L1b"))
    found = ines.take_in(tomas)
    assert (found.finds, found.tries) == (1, 1)
    assert Counter(kept.find.label for kept in ines.survey.finds.values()) == Counter(["W101", "W102", "W207"])
    assert sorted((one.touched, *one.among) for one in ines.survey.tries.values()) == [("L1", "L2"), ("L1b", "L1")]


def test_of_what_both_described_anew_the_later_counts_and_both_are_kept(both) -> None:
    ines, tomas = both
    ines.note(end("L1", "W1??"))
    shutil.copy(ines.path, tomas.path)
    tomas.note(end("L1", "W1?7"))  # an hour after
    ines.note(end("L1", "W10?"))
    found = ines.take_in(tomas)
    assert found.twice == ["L1"] and ines.survey.finds["L1"].find.label == "W1?7"
    assert [kept.find.label for kept in ines.survey.before["L1"]] == ["W1??", "W10?"]


def test_an_older_description_does_not_win_by_being_merged_later(both) -> None:
    ines, tomas = both
    tomas.note(end("L1", "W1??"))
    shutil.copy(tomas.path, ines.path)
    ines.note(end("L1", "W10?"))
    tomas.note(end("L1", "W1?7"))
    tomas.take_in(ines)
    assert tomas.survey.finds["L1"].find.label == "W1?7"


@pytest.mark.parametrize("seed", range(12))
def test_whoever_takes_in_whom_and_however_often_each_thing_counts_once(seed: int, tmp_path: Path) -> None:
    """Two laptops note, try and take each other in by turns; in the end both have all, each once."""
    draw = random.Random(seed)
    pair = [Laptop(tmp_path / "survey-a.jsonl", "Ines"), Laptop(tmp_path / "survey-b.jsonl", "Tomas", 20)]
    labels, tries = 0, 0
    for laptop in pair:
        laptop.note(end("L1", f"X{laptop.by}"))
        labels += 1
    for _ in range(14):
        one, other = draw.sample(pair, 2)
        if draw.random() < 0.25:
            one.take_in(other)
        elif draw.random() < 0.6:
            labels += 1
            one.note(end(one.survey.free_name(LooseEnd), f"W{labels}"))
        elif len(one.survey.finds) > 1:
            tries += 1
            touched, among = draw.sample(sorted(one.survey.finds), 2)
            one.note(tried(touched, among))
    for one, other in (pair, pair[::-1], pair):
        one.take_in(other)
    told = []
    for laptop in pair:
        survey = laptop.survey
        label = {name: kept.find.label for name, kept in survey.finds.items()}
        assert len(label) == len(set(label.values())) == labels
        assert len(survey.tries) == tries
        told.append(
            (set(label.values()), Counter((label[t.touched], label[t.among[0]]) for t in survey.tries.values()))
        )
    assert told[0] == told[1]


def test_the_command_takes_in_another_record_with_its_photos(both, tmp_path: Path, capsys) -> None:
    job, away = tmp_path / "job", tmp_path / "away"
    assert (
        main(["new", str(job), "--name", "hall", "--title", "hall", "--feed", "-48 V", "--feeds", "A", "--bays", "2"])
        == 0
    )
    ines, tomas = Laptop(job / "logs" / "survey.jsonl", "Ines"), Laptop(away / "survey.jsonl", "Tomas")
    away.mkdir()
    (job / "logs").mkdir(exist_ok=True)
    ines.note(end("L1", "W101"))
    tomas.note(end("L1", "W207"))
    (away / "photos").mkdir()
    (away / "photos" / "one.jpg").write_bytes(b"a picture")
    assert main(["survey", str(job), "--merge", str(tomas.path)]) == 0
    told = capsys.readouterr().out
    assert "1 find, 0 tries and 1 photo taken in" in told and "write L1b on its flag" in told
    assert len(list((job / "logs" / "photos").iterdir())) == 1
    other = Laptop(away / "survey-else.jsonl", "Eve")
    with SurveyWriter(other.path, "elsewhere", HALL) as writer:
        writer.write(end("L1", "W1"))
    assert main(["survey", str(job), "--merge", str(other.path)]) == 2
    assert "a survey of 'elsewhere'" in capsys.readouterr().err
    assert msgspec.structs.asdict(ines.survey.finds["L1"].find)["label"] == "W101"
