"""The conversation of a survey, line by line and on the screen at 80 by 24, by keys alone."""

import asyncio
import io
from collections.abc import Iterator
from pathlib import Path

import pytest

from bench.commands.survey import _Keeper
from bench.diagnose.survey.fingerprint import readings_of
from bench.diagnose.survey.rates import RatesFile
from bench.plant.finds import FreePlace, Hall, ListLine, LooseEnd, Tried
from bench.record.survey import SURVEY, SurveyWriter, read_survey
from bench.screens.program.cells import width
from bench.screens.program.settings import Settings
from bench.screens.survey import plain
from bench.screens.survey.app import survey_terminal
from bench.screens.survey.fields import pin_reads
from bench.screens.survey.program import SurveyProgram
from bench.screens.survey.talk import Talk
from bench.walk.surveying import Saw, TriedIt


@pytest.fixture
def talk(tmp_path: Path) -> Iterator[Talk]:
    with SurveyWriter(tmp_path / SURVEY, "hut", Hall(bays=["1", "2", "3"])) as writer:
        yield Talk(_Keeper(writer, tmp_path, RatesFile(rates="ours"), ()), "ann")


def say(talk: Talk, *lines: str) -> None:
    for line in lines:
        talk.take(line)


def test_an_end_is_described_by_numbers_and_enter(talk: Talk) -> None:
    say(talk, "1", "2", "behind shelf 2A", "w1?1", "R50", "1", "grey", "25p", "", "~12", "T1", "2", ".")
    end = talk.keeper.survey.finds["L1"].find
    assert isinstance(end, LooseEnd)
    assert (end.bay, end.label, end.connector, end.gender, end.conductors) == ("2", "W1?1", "R50", "plug", 50)
    assert (end.length.value if end.length else 0, end.length_by, end.tray, end.state) == (12.0, "eye", "T1", "pulled")
    # what was noted once is offered by number for the next one, whose bay is the last one's
    say(talk, "1", "", "", "W102", "1")
    end = talk.keeper.survey.finds["L2"].find
    assert isinstance(end, LooseEnd)
    assert (end.bay, end.connector) == ("2", "R50")


def test_every_answer_is_on_disk_at_once(talk: Talk, tmp_path: Path) -> None:
    say(talk, "1", "3", "", "W7")
    kept = read_survey(tmp_path / SURVEY).finds["L1"].find
    assert kept == LooseEnd(name="L1", bay="3", label="W7")


def test_a_label_of_which_nothing_can_be_read(talk: Talk) -> None:
    say(talk, "1", "1", "", "?")
    assert talk.keeper.survey.finds["L1"].find.label == "?"  # type: ignore[union-attr]


def test_a_wrong_answer_is_said_and_asked_again(talk: Talk) -> None:
    say(talk, "1", "1", "", "", "", "7")
    assert "expected plug, socket" in talk.note
    assert talk.asked().question == "Plug or socket?"
    say(talk, "", "", "many")
    assert "number of conductors" in talk.note


def test_back_and_taking_out(talk: Talk) -> None:
    say(talk, "1", "1", "left", "W1", "<", "-")
    assert talk.keeper.survey.finds["L1"].find.label == ""  # type: ignore[union-attr]
    assert talk.keeper.survey.before["L1"][-1].find.label == "W1"  # type: ignore[union-attr]


def test_a_scanned_flag_leads_to_its_thing(talk: Talk) -> None:
    say(talk, "1", "1", ".", "2", "2", ".", "L1")
    assert talk.asked().title.startswith("L1, loose end")
    say(talk, "P1")
    assert talk.asked().title.startswith("P1, free place")


def test_places_and_lines_have_their_own_questions(talk: Talk) -> None:
    say(
        talk,
        "2",
        "2",
        "2A",
        "left",
        "R50",
        "2",
        ".",
        "3",
        "list of 1971, sheet 4",
        "W12",
        "1",
        "2",
        "J1",
        "J2",
        "50",
        ".",
    )
    place, line = talk.keeper.survey.finds["P1"].find, talk.keeper.survey.finds["D1"].find
    assert place == FreePlace(name="P1", bay="2", shelf="2A", position="left", connector="R50", gender="socket")
    assert isinstance(line, ListLine)
    assert (line.label, line.from_bay, line.to_place, line.conductors) == ("W12", "1", "J2", 50)


def test_a_try_is_noted_and_taken_back(talk: Talk) -> None:
    say(talk, "1", "1", ".", "1", "2", ".", "1", "2", ".", "4", "L1", "L2 L3", "L2")
    assert list(talk.keeper.survey.tries.values()) == [Tried(touched="L1", among=["L2", "L3"], answer="L2", way="tags")]
    say(talk, "undo")
    assert not talk.keeper.survey.tries
    say(talk, "4", "L1", "L9")
    assert "L9" in talk.note


def test_a_trip_is_walked_touch_by_touch(talk: Talk) -> None:
    for number in range(4):
        end = LooseEnd(name=f"L{number}", bay=str(1 + number // 2), jacket="grey", conductors=50)
        talk.keeper.write(Saw(find=end))
    say(talk, "6")
    asked = talk.asked()
    assert asked.page[0].startswith("From bay ")
    assert asked.choices[-1] == "could not be touched"
    while not talk.resting:
        say(talk, talk.asked().choices[-2])
    assert talk.keeper.survey.tries
    assert all(not tried.answer for tried in talk.keeper.survey.tries.values())


def test_an_end_that_could_not_be_touched_is_pulled_at_on_the_next_trip(talk: Talk) -> None:
    for number in range(3):
        talk.keeper.write(Saw(find=LooseEnd(name=f"L{number}", bay="12"[number > 0], jacket="grey", conductors=50)))
    say(talk, "6")
    while not talk.resting:
        say(talk, "could not be touched")
    assert not talk.keeper.survey.tries
    for _ in range(4):
        say(talk, "6")
        if not talk.resting and "pulled" in talk.asked().question:
            break
        while not talk.resting:
            say(talk, "could not be touched")
    assert talk.asked().choices == ("yes", "no", "could not be told")
    say(talk, "1")
    (tried,) = talk.keeper.survey.tries.values()
    assert tried.way == "pull" and tried.answer == tried.among[0]


def places_with_twins(talk: Talk) -> None:
    """Four places of one kind in two bays: those of bay 1 read, with their ends; those of bay 2 not."""
    here = ("P1", "black", 7, "1-3 0.2, 2-4 4.7 kohm"), ("P4", "grey", 50, "1-3 open, 2-4 150")
    for number, (name, jacket, wires, reads) in enumerate(here):
        ends = [
            LooseEnd(name=f"L{number + at}", bay=bay, jacket=jacket, conductors=wires, label=label)
            for at, bay, label in ((1, "1", name), (3, "2", ""))
        ]
        place = FreePlace(name=name, bay="1", shelf="1A", connector="B24", reads=pin_reads(reads))
        tried = Tried(touched=f"L{number + 1}", among=[name], answer=name, way="fingerprint")
        mates = Tried(touched=f"L{number + 1}", among=[f"L{number + 3}"], answer=f"L{number + 3}")
        talk.keeper.write(*(Saw(find=find) for find in (*ends, place)), TriedIt(tried=tried), TriedIt(tried=mates))
    for name in ("P2", "P3"):
        talk.keeper.write(Saw(find=FreePlace(name=name, bay="2", shelf="2A", connector="B24")))


def test_pins_of_a_place_are_read_on_a_trip_once_it_was_proved_dead(talk: Talk) -> None:
    places_with_twins(talk)
    say(talk, "6")
    first = talk.asked()
    assert first.title == "in bay 2" and first.question in ("Is P2 proved dead?", "Is P3 proved dead?")
    name = first.question.split()[1]
    say(talk, "1")
    assert talk.asked().question == f"What does the meter show at {name} between pins 1 and 3?"
    say(talk, "much")
    assert "found '1-3 much'" in talk.note
    say(talk, "0.25", "<", "0.3", "4.65 kohm")
    place = talk.keeper.survey.finds[name].find
    assert isinstance(place, FreePlace)
    assert readings_of(place.reads) == {("1", "3"): 0.3, ("2", "4"): 4650.0}
    answer = talk.keeper.answer()
    at = [one.name for one in answer.pile.places].index(name)
    ends = [one.name for one in answer.pile.ends]
    assert answer.places[ends.index("L3"), at] > 3 * answer.places[ends.index("L4"), at]


def test_nothing_is_read_at_a_place_that_was_not_proved_dead(talk: Talk) -> None:
    places_with_twins(talk)
    say(talk, "6")
    while not talk.resting:
        assert "proved dead" in talk.asked().question
        say(talk, "2")
    finds = talk.keeper.survey.finds
    assert all(not find.reads for find in (finds["P2"].find, finds["P3"].find) if isinstance(find, FreePlace))


def test_what_belongs_together_and_why(talk: Talk) -> None:
    for name, bay, label, jacket in (
        ("L1", "1", "W101", "grey"),
        ("L2", "2", "W101", "grey"),
        ("L3", "2", "W305", "blue"),
    ):
        talk.keeper.write(Saw(find=LooseEnd(name=name, bay=bay, label=label, jacket=jacket, conductors=50)))
    say(talk, "5")
    assert any("3 loose ends" in line for line in talk.asked().page)
    say(talk, "why L1 L2")
    assert any("'W101' and 'W101'" in line for line in talk.asked().page)
    say(talk, "drop L3 seen twice")
    assert "L3" not in talk.keeper.survey.finds


def test_readings_between_pins_tell_which_places_are_alike(talk: Talk) -> None:
    for bay in ("1", "2", "3"):
        reads = "1-2 0.3, 3-4 open, 5-6 4.7 kohm" if bay != "3" else "1-2 open, 3-4 0.2, 5-6 open"
        say(talk, "2", bay, f"{bay}A", "", "R50", "2", "", reads, ".")
    place = talk.keeper.survey.finds["P1"].find
    assert isinstance(place, FreePlace)
    assert [read.ohms for read in place.reads] == [0.3, None, 4700.0]
    say(talk, "like P1")
    assert talk.asked().page[0].startswith("P1 is of one family with P2")
    say(talk, "like L1")
    assert "free place" in talk.note
    say(talk, "P1", "", "", "", "", "", "", "1-2 much")
    assert "found '1-2 much'" in talk.note


def test_a_photo_is_kept_by_its_hash(talk: Talk, tmp_path: Path) -> None:
    picture = tmp_path / "end.JPG"
    picture.write_bytes(b"not really a picture")
    say(talk, "1", "1", *[""] * 14, "1", str(picture))
    (digest,) = talk.keeper.survey.finds["L1"].find.photo
    assert (tmp_path / "photos" / f"{digest}.jpg").read_bytes() == b"not really a picture"


def test_line_by_line(talk: Talk) -> None:
    out = io.StringIO()
    plain.run(talk, ["1", "2", "", "W1", ".", "8"], out)
    assert talk.over
    assert "L1 is noted. Tie flag L1 to it." in out.getvalue()


def test_a_survey_is_walked_by_keys_alone(talk: Talk) -> None:
    async def walk() -> None:
        terminal = survey_terminal(talk, Settings())
        async with terminal.run_test(size=(80, 24)) as pilot:
            for _ in range(200):
                if terminal.first is not None and terminal.program is not None:
                    break
                await pilot.pause(0.02)
            program = terminal.program
            assert isinstance(program, SurveyProgram)
            typed = ["1", "enter", "2", "enter", "enter", *"w?2", "enter", *"R50", "enter", "1", "enter", "tab"]
            await pilot.press(*typed)
            await pilot.pause()
            assert talk.keeper.survey.finds["L1"].find == LooseEnd(
                name="L1", bay="2", label="W?2", connector="R50", gender="plug"
            )
            assert "L1 is noted" in program.moment.note
            await pilot.press("f1")
            assert program.moment.help
            await pilot.press("escape")
            # a scanner types the flag and Enter
            await pilot.press(*"L1", "enter")
            assert program.moment.asked.title.startswith("L1")
            await pilot.press("x", "escape", "escape")
            assert talk.resting
            for cells, rows in ((80, 24), (40, 30), (120, 40)):
                picture = program.paint(cells, rows)
                assert len(picture.lines) == rows
                assert all(width(line) <= cells for line in picture.lines)
            await pilot.press("ctrl+q")

    asyncio.run(walk())
    assert not talk.note or "noted" in talk.note
