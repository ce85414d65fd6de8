"""The leader's page of a survey: found, matched and how surely, contradictory, left, the next trip, the drawing."""

import re
from xml.etree import ElementTree

import pytest

from bench.cli import main
from bench.diagnose.survey.belief import Answer
from bench.diagnose.survey.pile import Pile
from bench.diagnose.survey.sentences import trip_card
from bench.diagnose.survey.trips import Trip, next_trips
from bench.plant.finds import FreePlace, Hall, LooseEnd, Tried
from bench.report.survey_page import drawing, survey_page

SVG = "{http://www.w3.org/2000/svg}"


def end(name: str, bay: str, label: str = "", **noted: object) -> LooseEnd:
    return LooseEnd(name=name, bay=bay, label=label, **{"jacket": "grey", "conductors": 50, "tray": "T1", **noted})  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def answer() -> Answer:
    """A sure pair, four twins that nobody tells apart, three ends with one label, and an end without a mate."""
    ends = [
        end("L1", "1", "W101", jacket="blue", conductors=37),
        end("L2", "3", "W101", jacket="blue", conductors=37),
        *(end(f"L{number}", str(1 + number % 2)) for number in range(3, 7)),
        *(end(f"L{number}", str(number - 6), "W900", jacket="black", conductors=7, tray="T2") for number in (7, 8, 9)),
        end("L10", "2", "<b>X&Y", jacket="red", conductors=2, tray=""),
    ]
    tried = [
        Tried(touched="L2", among=["L1"], answer="L1"),
        *(Tried(touched="L10", among=[f"L{other}"]) for other in range(1, 10)),
        Tried(touched="L8", among=["L7"], answer="L7"),
        Tried(touched="L9", among=["L7"], answer="L7"),
    ]
    places = [FreePlace(name="P1", bay="3", shelf="3A", connector="D37", gender="socket", label="W101")]
    return Answer(Pile.of([*ends, *places], Hall(bays=["1", "2", "3"]), tried))


@pytest.fixture(scope="module")
def trips(answer: Answer) -> tuple[Trip, ...]:
    return next_trips(answer)


@pytest.fixture(scope="module")
def page(answer: Answer, trips: tuple[Trip, ...]) -> str:
    return survey_page("Hut", answer, trips)


def test_it_says_how_much_is_found_and_clear_and_left(page: str, answer: Answer) -> None:
    sure = [standing for standing in answer.standings if standing.sure]
    alone = [standing.name for standing in sure if not standing.fits[0].name]
    assert ("L1", "L2") in {(one, other) for one, other, _ in answer.pairs} and "L10" in alone
    assert "10 loose ends, 1 free place" in page
    left = 10 - len(sure)
    assert left >= 4 and re.search(rf"open: {left} ends", page)
    shares = [float(width) for width in re.findall(r'<span class="\w+" style="width:([\d.]+)%">', page)]
    assert shares == pytest.approx([10.0 * (len(sure) - len(alone)), 10.0 * len(alone), 10.0 * left])


def test_every_end_stands_in_the_table_with_its_mate_and_how_surely(page: str, answer: Answer) -> None:
    rows = dict(re.findall(r'<tr><th scope="row">(\w+)</th>(.*?)</tr>', page))
    assert list(rows) == [one.name for one in answer.pile.ends]
    assert "<td>bay 1</td><td>W101</td><td>sure</td><td>L2 " in rows["L1"]
    for standing in answer.standings:
        assert ("<td>sure</td>" in rows[standing.name]) == standing.sure
    assert "<td>open</td>" in rows["L3"] and "%" in rows["L3"]


def test_what_cannot_all_be_so_is_told(page: str) -> None:
    told = re.findall(r'<p class="bad">(.*?)</p>', page)
    assert any("3 ends read W900: L7, L8, L9; a cable has two" in text for text in told)
    assert any(text.startswith("L7 answered to L8, L9: ") for text in told)


def test_the_next_trip_is_a_card_line_by_line(page: str, answer: Answer, trips: tuple[Trip, ...]) -> None:
    cards = re.findall(r'<div class="card">(.*?)</div>', page, re.DOTALL)
    assert len(cards) == len(trips) >= 1
    assert cards[0].split("\n") == trip_card(trips[0], answer.pile.ends)
    assert any("touch every conductor of L" in line for line in cards[0].split("\n"))
    tagged = next(number for number, trip in enumerate(trips) if len(trip.tagged) > 1)
    values = [(f"{number} kΩ", f"about {number} kΩ") for number in range(1, len(trips[tagged].tagged) + 1)]
    told = [values if number == tagged else () for number in range(len(trips))]
    assert "1 kΩ to the frame" not in page and "1 kΩ to the frame" in survey_page("Hut", answer, trips, told)
    assert "Nothing is left to try" in survey_page("Hut", answer, ())


def test_the_drawing_has_each_bay_tray_and_end_and_a_line_for_each_pair(answer: Answer) -> None:
    tree = ElementTree.fromstring(drawing(answer))
    texts = [text.text for text in tree.iter(f"{SVG}text")]
    for word in ("bay 1", "bay 2", "bay 3", "T1", "T2", *(one.name for one in answer.pile.ends)):
        assert word in texts, word
    assert len(list(tree.iter(f"{SVG}rect"))) == 3 and len(list(tree.iter(f"{SVG}circle"))) == 10
    lines = {title.text: path for path in tree.iter(f"{SVG}path") if (title := path.find(f"{SVG}title")) is not None}
    likely = [(one, other) for one in range(10) for other in range(one) if answer.mates[one, other] >= 0.5]
    assert len(lines) == len(likely)
    (sure,) = [path for told, path in lines.items() if told and told.startswith("L2 and L1:")]
    assert sure.get("stroke-dasharray") is None
    for told, path in lines.items():
        one, other = (int(name.removeprefix("L")) - 1 for name in str(told).split(":")[0].split(" and "))
        assert (path.get("stroke-dasharray") is None) == (answer.mates[one, other] >= 0.99)


def test_it_is_one_page_without_script_and_what_was_typed_stays_text(page: str) -> None:
    assert "<script" not in page and "http:" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "<b>X" not in page and "&lt;b&gt;X&amp;Y" in page
    assert re.search(r"<p>L[12] goes (perhaps )?to P1 \d+", page)


def test_an_empty_survey_has_a_page_too() -> None:
    page = survey_page("Hut", Answer(Pile.of([])), ())
    assert "0 loose ends" in page and page.rstrip().endswith("</html>")


def test_the_command_writes_it(tmp_path, monkeypatch, capsys) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["new", "hut", "--name", "hut", "--title", "Hut", "--feed", "24", "--feeds", "A", "--bays", "2"]) == 0
    (tmp_path / "finds.csv").write_text(
        "find,name,bay,label\nloose-end,L1,1,W1\nloose-end,L2,2,W1\nloose-end,L3,2,\n", "utf-8"
    )
    assert main(["survey", "hut", "--import", "finds.csv", "--page", "page.html"]) == 0
    page = (tmp_path / "page.html").read_text("utf-8")
    assert "Survey of Hut" in page and "The next trips" in page and page.count("<circle") == 3
    assert "page: page.html" in capsys.readouterr().out
