"""The report: complete, printable, escaped, and read by no network."""

import html.parser
import re
import shutil
import subprocess
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.cli import main
from bench.exits import BAD_INPUT, PASS
from bench.record.append import RecordWriter
from bench.record.read import read_record
from bench.record.replay import follow
from bench.record.verify import verify
from bench.report.faces import face, worst
from bench.report.page import MOST_FINDINGS, number, page
from bench.report.sheet import sheet
from bench.report.svg import Dot, history, parts_of_limit
from bench.walk import events as e
from tests.drawn import draws
from tests.job.season_folder import plant, record, season

ISSUED = datetime(2026, 6, 3, 9, 0, tzinfo=UTC)
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
SIGNED = r"(✓ pass|✗ fail|\? undecided|~ void)"
VOID = {"meta", "br", "link", "img", "input", "hr"}


class Reader(html.parser.HTMLParser):
    """Walks through a page: its elements, attributes and text; fails where an element is not closed."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.open, self.seen, self.attributes, self.texts = [], Counter(), [], []
        self.feed(text)
        self.close()
        assert not self.open

    def handle_starttag(self, tag, attributes):
        self.seen[tag] += 1
        self.attributes += [(tag, name, value or "") for name, value in attributes]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.seen[tag] += 1
        self.attributes += [(tag, name, value or "") for name, value in attributes]

    def handle_endtag(self, tag):
        assert self.open and self.open[-1] == tag, f"</{tag}> closes {self.open[-3:]}"
        self.open.pop()

    def handle_data(self, data):
        self.texts.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.texts).split())


def made(*paths):
    return page([sheet(path, follow(path), verify(path)) for path in paths], [], ISSUED)


@pytest.fixture(scope="module")
def read():
    return Reader(made(record(10)))


def test_it_says_what_a_test_report_says(read):
    """Item, method, rule, instruments with dates, conditions, results, deviations, statements, signatures, number."""
    text = read.text
    for words in (
        "Gannet Head Radio, receiver hall", "weekly round 10", "Guarded: a reading must clear the limit",
        "coverage probability of 95 %", "GH-0007", "2026-01-12", "2027-01-12", "16.2 °C", "issued 2026-06-03 09:00 UTC",
        "1.975 Ω ± 23 mΩ", "at most", "Where the limits come from", "ASTM B258", "Hold points passed", "DEAD",
        "Deviations", "Overrides", "Disturbances and notes", "disturbed: J405", "unplugged to clean it", "Tove",
        "The chain holds", verify(record(10)).last, "The results relate only to the items named here",
        "Tested by", "Checked by", "Released by", "licensed people", "Simulated.",
    ):  # fmt: skip
        assert words in text, words


def test_every_reading_of_the_plant_is_in_it_once(read):
    """With its verdict as a word, beside the sign."""
    front, _, body = read.text.partition("Item and method")
    rows = re.findall(SIGNED, body)
    checks, not_passed = 4, 8
    assert len(rows) == 94 + checks
    assert body.count("✗ fail") == not_passed
    assert "✓ passed" in front and "✗ failed" in front


def test_what_was_found_stands_first(read):
    """Before the records and the readings: what, why, where, with the faces that it points at."""
    front = read.text.partition("Summary")[0]
    assert len(re.findall(SIGNED, front)) == 8
    assert "is too high; limit: at most" in front
    assert "seen from the wiring side" in front and "J405" in front
    # then what to do, for each of them, before any reading
    found, _, to_do = front.partition("What to do")
    names = re.findall(r"✗ fail (\S+)", found)
    assert len(names) == 8 and all(name in to_do for name in names)
    clean = Reader(made(record(1)))
    assert "Nothing failed and nothing is left undecided" in clean.text.partition("Summary")[0]


def test_the_appendix_has_the_places_the_limit_and_the_time_of_every_reading():
    """On request: the same readings, in full."""
    one = sheet(record(10), follow(record(10)), verify(record(10)))
    found = Reader(page([one], [], ISSUED, full=True))
    for section in one.sections:
        for line in section.lines:
            for words in (line.title, ", ".join(line.between), line.reading, line.asked, line.at[11:]):
                assert " ".join(words.split()) in found.text, words
    assert "readings as parts of their upper limit" in found.text
    assert "report --appendix" not in found.text and "report --appendix" in made(record(10))


def test_of_many_records_what_passed_later_is_no_finding_any_more():
    """And of each record only what did not pass is listed, with how many passed between which readings."""
    sheets = [sheet(path, follow(path), verify(path)) for path in map(record, (8, 9, 10, 11, 12))]
    found = Reader(page(sheets, [], ISSUED))
    front, _, body = found.text.partition("Summary")
    last = {}
    for one in sheets:
        for section in one.sections:
            last |= {(line.title, *line.between): line.verdict for line in section.lines}
    open_now = {point[0] for point, verdict in last.items() if verdict != "pass"}
    fails_now = {point[0] for point, verdict in last.items() if verdict == "fail"}
    failed_once = {it.line.title for one in sheets for it in one.not_passed}
    assert fails_now and failed_once - open_now, "the season has both"
    assert all(f" {name} :" in front for name in fails_now), "what fails comes before what is undecided"
    assert f"And {len(open_now) - MOST_FINDINGS} more" in front
    assert not [name for name in failed_once - open_now if f" {name} :" in front]
    assert "those that passed read" in body and "✓ pass W101.1 " not in body


def test_it_needs_no_network_and_no_script(read):
    """No request leaves the page: no script, no link but to places in it, no address in any attribute or style."""
    assert not {"script", "link", "img", "iframe", "object", "embed", "form"} & set(read.seen)
    for _, name, value in read.attributes:
        assert not name.startswith("on")
        assert name not in ("src", "srcset", "data", "action", "background")
        if name in ("href", "xlink:href"):
            assert value.startswith("#")
        if name != "xmlns":
            assert "//" not in value and "url(" not in value
    style = " ".join(read.texts[i] for i in range(len(read.texts)) if "{" in read.texts[i])
    assert "@import" not in style and "url(" not in style
    assert ("meta", "content", "default-src 'none'; style-src 'unsafe-inline'") in read.attributes


def test_it_can_be_read_by_ear_and_printed(read):
    """Language, headings in order, captions, row and column heads, titles on drawings, print rules."""
    assert ("html", "lang", "en") in read.attributes
    assert read.seen["h1"] == 1 and read.seen["main"] == 1
    assert read.seen["svg"] == sum(
        1 for tag, name, value in read.attributes if (tag, name, value) == ("svg", "role", "img")
    )
    assert read.seen["title"] >= read.seen["svg"] and read.seen["desc"] == read.seen["svg"]
    scopes = [value for tag, name, value in read.attributes if (tag, name) == ("th", "scope")]
    assert len(scopes) == read.seen["th"] and set(scopes) == {"row", "col"}
    style = next(text for text in read.texts if "@page" in text)
    assert "@media print" in style and "table-header-group" in style and "break-inside: avoid" in style


HOSTILE = "<script>alert(1)</script>\"'&</td><img src=x onerror=alert(2)>{{ 7*7 }}{% raw %}\u202e]]>-->"


def hostile_record(path):
    """A walk in which everything that a person or a meter can write is hostile."""
    began = None
    with RecordWriter.create(path) as writer:
        for entry in read_record(record(11)):
            event = entry.event
            if isinstance(event, e.Began):
                file = msgspec.structs.replace(event.plant, title=HOSTILE, about=HOSTILE)
                meter = msgspec.structs.replace(event.bench.instruments[0], title=HOSTILE, profile=HOSTILE, due=HOSTILE)
                bench = msgspec.structs.replace(event.bench, name=HOSTILE, instruments=[meter])
                sequence = msgspec.structs.replace(event.sequence, sequence=HOSTILE, about=HOSTILE)
                event = began = msgspec.structs.replace(
                    event, plant=file, bench=bench, sequence=sequence, operator=HOSTILE, software=HOSTILE
                )
            elif isinstance(event, e.Met):
                event = msgspec.structs.replace(event, identity=HOSTILE, serial=HOSTILE)
            elif isinstance(event, e.Answered):
                event = msgspec.structs.replace(event, by=HOSTILE)
            writer.append(writer.envelope(event))
            if isinstance(event, e.Began):
                writer.append(writer.envelope(e.Noted(text=HOSTILE, by=HOSTILE)))
                writer.append(writer.envelope(e.Disturbed(touches=[HOSTILE], text=HOSTILE, by=HOSTILE)))
    assert began is not None
    return path


def test_hostile_texts_are_escaped(tmp_path):
    """Whatever stands in titles, names, notes and replies of meters is text in the page and nothing else."""
    text = made(hostile_record(tmp_path / "hostile.jsonl"))
    found = Reader(text)
    assert not {"script", "img"} & set(found.seen)
    assert not [one for one in found.attributes if one[1].startswith("on")]
    assert "<script>alert(1)</script>" in found.text and "{{ 7*7 }}" in found.text
    assert found.text.count("alert(1)") >= 12
    assert "<script" not in text and "onerror=alert(2)&gt;" in text


@draws(80)
@given(st.text(max_size=60), st.text(max_size=60))
def test_drawings_are_well_formed_whatever_they_are_called(title, label):
    """Any text at all, control characters too."""
    dots = [Dot(1.0, 2.0, 0.1, "pass", label), Dot(2.0, 0.0, 0.0, "fail", label, 1), Dot(3.0, 2.5, 0.1, "void", label)]
    drawn = history(dots, title=title, unit="Ω", low=1.0, high=3.0, bracket=(1.0, 2.0), shown=(label, title))
    import xml.etree.ElementTree as tree

    tree.fromstring(drawn)
    tree.fromstring(parts_of_limit([(title, 0.5, 0.1, "pass"), (label, 5.0, 0.1, "fail")], title))


def test_a_point_on_its_limit_is_drawn_on_its_limit():
    """The scale of a history is the same for readings, limits and levels."""
    drawn = history([Dot(0.0, 1.0, 0.0, "pass", "a"), Dot(1.0, 3.0, 0.0, "fail", "b")], title="t", unit="Ω", high=3.0)
    line = float(re.search(r'class="limit" d="M[\d.]+ ([\d.]+)H', drawn)[1])
    cross = re.search(r'class="fail" d="M([\d.]+) ([\d.]+)l8 8', drawn)
    assert float(cross[2]) + 4 == pytest.approx(line, abs=0.11)
    circle = float(re.search(r'cy="([\d.]+)"', drawn)[1])
    assert circle > line, "more is higher"


def test_a_face_shows_each_pin_at_its_place_with_its_worst_verdict():
    """Colour apart, the shapes differ."""
    connector = plant().connectors["J101"]
    drawn = face(
        connector, {"J101.1": ["pass"], "J101.2": ["pass", "fail"], "J101.3": ["undecided"], "J101.4": ["void"]}
    )
    assert drawn.count("<g>") == 50
    assert "J101.2: failed" in drawn and "J101.5: not measured" in drawn
    assert (drawn.count('class="pass"'), drawn.count('class="fail"'), drawn.count('class="none"')) == (1, 1, 46)
    assert "seen from the wiring side" in drawn and "1 failed, 1 undecided, 1 void, 1 passed, 46 not measured" in drawn
    places = [(float(x), float(y)) for x, y in re.findall(r'class="pin" x="([\d.]+)" y="([\d.]+)"', drawn)]
    assert len(set(places)) == 50 and len({y for _, y in places}) == 2
    assert worst([]) == "" and worst(["pass", "void", "undecided"]) == "undecided"


def test_the_number_names_just_these_records():
    """Another record, another number; the same again, the same."""
    one, other = (sheet(path, follow(path), verify(path)) for path in (record(1), record(2)))
    assert number([one]) == number([one]) != number([other])
    assert number([one, other]) not in (number([one]), number([other, one]))
    assert re.fullmatch(r"[0-9A-F]{4}-[0-9A-F]{4}-[0-9A-F]{4}", number([one]))


def test_the_command_writes_one_file_for_many_records(tmp_path, capsys):
    """With the histories of what changed over them."""
    target = tmp_path / "season.html"
    paths = [str(record(week)) for week in (5, 6, 7, 8)]
    assert main(["report", *paths, "-o", str(target)]) == PASS
    found = Reader(target.read_text("utf-8"))
    assert "What changed over these records" in found.text and "a step from" in found.text
    assert "report of 4 records" in capsys.readouterr().out
    assert main(["report", str(tmp_path / "none.jsonl")]) == BAD_INPUT


def test_a_record_that_was_changed_gets_no_report(tmp_path, capsys):
    """It is told where it is broken."""
    lines = record(1).read_bytes().splitlines(keepends=True)
    broken = tmp_path / "broken.jsonl"
    broken.write_bytes(b"".join([*lines[:5], *lines[6:]]))
    assert main(["report", str(broken)]) == BAD_INPUT
    assert f"{broken}:6" in capsys.readouterr().err


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed: the page is not rendered by a browser here")
@pytest.mark.parametrize("paper, width", [("A4", 595), ("letter", 612)])
def test_a_browser_prints_it(tmp_path, paper, width):
    """On both papers, few pages, with no complaint and nothing fetched."""
    source = tmp_path / "page.html"
    source.write_text(made(record(10)).replace("size: auto", f"size: {paper}"), "utf-8")
    target = tmp_path / "page.pdf"
    done = subprocess.run(
        [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path / 'profile'}",
         f"--print-to-pdf={target}", source.as_uri()],
        capture_output=True, text=True, timeout=100, check=True,
    )  # fmt: skip
    assert "Refused to" not in done.stderr
    content = target.read_bytes()
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", content)
    assert 2 <= len(boxes) <= 5 and all(abs(float(wide) - width) < 2 for wide, _ in boxes)


def test_the_season_s_folder_is_untouched():
    """Making reports writes nothing beside the records unless told to."""
    assert not list(Path(season()).glob("*.html"))
