"""The fold of a survey, and its record on disk."""

from pathlib import Path

import msgspec
import pytest

from bench.plant.finds import FreePlace, Hall, LooseEnd, Tried
from bench.quantity import Length
from bench.record.read import BrokenRecord
from bench.record.survey import SURVEY, SurveyWriter, decode_survey, read_survey
from bench.record.verify import verify
from bench.walk.surveying import (
    NotNow,
    Remarked,
    Saw,
    Survey,
    SurveyBegan,
    SurveyEntry,
    SurveyEvent,
    TookBack,
    TriedIt,
    Walled,
    Withdrew,
    add,
)

HALL = Hall(bays=["1", "2"])


def survey(*events: SurveyEvent) -> Survey:
    found = Survey()
    for event in (SurveyBegan(software="1", plant="hut", hall=HALL), *events):
        found = add(found, SurveyEntry(n=found.last + 1, at=f"2026-05-01T10:00:{found.last:02}Z", event=event))
    return found


def saw(name: str, **noted: object) -> Saw:
    return Saw(find=LooseEnd(name=name, **noted), by="ann")  # type: ignore[arg-type]


def test_a_find_is_corrected_and_nothing_is_erased() -> None:
    found = survey(saw("L1", label="W1"), saw("L1", label="W7"), saw("L1", label="W17"))
    assert found.finds["L1"].find == LooseEnd(name="L1", label="W17")
    assert [kept.find.label for kept in found.before["L1"]] == ["W1", "W7"]  # type: ignore[union-attr]


def test_what_was_withdrawn_counts_no_more_until_it_is_found_again() -> None:
    gone = survey(saw("L1"), Withdrew(name="L1", why="noted twice"))
    assert "L1" not in gone.finds
    assert gone.withdrawn == {"L1": "noted twice"}
    again = survey(saw("L1"), Withdrew(name="L1", why="noted twice"), saw("L1", bay="2"))
    assert again.finds["L1"].find.bay == "2"
    assert again.withdrawn == {}
    assert len(again.before["L1"]) == 1


def test_a_name_is_given_once() -> None:
    found = survey(saw("L1"), saw("L2"), Withdrew(name="L2", why="none"))
    assert found.free_name(LooseEnd) == "L3"
    assert found.free_name(FreePlace) == "P1"


def test_a_try_can_be_taken_back() -> None:
    tried = TriedIt(tried=Tried(touched="L1", among=["L2"], answer="L2"))
    found = survey(saw("L1"), saw("L2"), tried)
    assert list(found.tries) == [4]
    assert survey(saw("L1"), saw("L2"), tried, TookBack(n=4)).tries == {}


@pytest.mark.parametrize(
    "event",
    [
        SurveyBegan(software="1", plant="hut", hall=HALL),
        saw(" L1"),
        saw(""),
        Saw(find=FreePlace(name="L1")),
        Withdrew(name="L9", why="never seen"),
        TriedIt(tried=Tried(touched="L1", among=["L9"])),
        TriedIt(tried=Tried(touched="L1", among=["L1"])),
        TookBack(n=2),
    ],
)
def test_what_does_not_fit_is_refused(event: SurveyEvent) -> None:
    with pytest.raises(NotNow):
        survey(saw("L1"), event)


def test_a_survey_begins_with_its_first_event() -> None:
    with pytest.raises(NotNow):
        add(Survey(), SurveyEntry(n=1, at="2026-05-01T10:00:00Z", event=saw("L1")))
    with pytest.raises(NotNow):
        add(survey(), SurveyEntry(n=7, at="2026-05-01T10:00:00Z", event=saw("L1")))


def test_every_event_is_read_back_as_it_was(tmp_path: Path) -> None:
    events = (
        saw("L1", label="W1?", length=Length(12.4), length_by="tape", photo=["ab"], branches=2),
        Saw(find=FreePlace(name="P1", shelf="2A"), how="finds.csv"),
        saw("L2"),
        TriedIt(tried=Tried(touched="L1", among=["L2"], way="tags")),
        TookBack(n=5, why="wrong end"),
        Remarked(text="dust [everywhere]"),
        Walled(hall=Hall(bays=["1", "2", "3"], pitch=0.9)),
        Withdrew(name="L2", why="none"),
    )
    with SurveyWriter(tmp_path / SURVEY, "hut", HALL, "ann") as writer:
        writer.write(*events)
        written = writer.survey
    assert read_survey(tmp_path / SURVEY) == written
    assert written.hall.pitch == 0.9
    lines = (tmp_path / SURVEY).read_bytes().splitlines(keepends=True)
    assert [decode_survey(line).event for line in lines[1:]] == list(events)
    with SurveyWriter(tmp_path / SURVEY, "hut", HALL) as writer:
        assert writer.survey == written


def test_a_changed_line_is_found(tmp_path: Path) -> None:
    with SurveyWriter(tmp_path / SURVEY, "hut", HALL, "ann") as writer:
        writer.write(saw("L1", label="W1"), saw("L2"))
    path = tmp_path / SURVEY
    assert not verify(path).wrong
    assert verify(path).kind == "survey"
    path.write_bytes(path.read_bytes().replace(b'"W1"', b'"W2"'))
    assert verify(path).wrong
    with pytest.raises(BrokenRecord):
        read_survey(path)


def test_every_torn_end_is_set_aside(tmp_path: Path) -> None:
    with SurveyWriter(tmp_path / SURVEY, "hut", HALL, "ann") as writer:
        writer.write(saw("L1"), saw("L2"))
    whole = (tmp_path / SURVEY).read_bytes()
    last = whole.rstrip(b"\n").rfind(b"\n") + 1
    for cut in (last + 1, last + 40, len(whole) - 1):
        path = tmp_path / f"{cut}" / SURVEY
        path.parent.mkdir()
        path.write_bytes(whole[:cut])
        assert set(read_survey(path).finds) == {"L1"}
        with SurveyWriter(path, "hut", HALL) as writer:
            writer.write(saw("L3"))
        assert set(read_survey(path).finds) == {"L1", "L3"}
        assert not verify(path).wrong


def test_a_survey_of_another_plant_is_refused(tmp_path: Path) -> None:
    SurveyWriter(tmp_path / SURVEY, "hut", HALL).close()
    with pytest.raises(BrokenRecord, match="survey of 'hut'"):
        SurveyWriter(tmp_path / SURVEY, "barn", HALL)


def test_a_refused_event_leaves_no_line(tmp_path: Path) -> None:
    with SurveyWriter(tmp_path / SURVEY, "hut", HALL) as writer:
        with pytest.raises(NotNow):
            writer.write(saw("L1"), Withdrew(name="L9", why="none"))
        writer.write(saw("L2"))
    assert set(read_survey(tmp_path / SURVEY).finds) == {"L1", "L2"}
    assert msgspec.json.decode((tmp_path / SURVEY).read_bytes().splitlines()[-1])["n"] == 3
