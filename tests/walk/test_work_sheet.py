"""A work sheet that was filled in at the rack goes through the same fold; blanks and doubtful cells are said."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from bench.cli import main
from bench.report.work_sheet import page
from bench.screens.walk.from_sheet import answer, cells_of
from bench.screens.walk.scanned import led_to
from bench.walk import events as e
from bench.walk.state import State, request
from bench.walk.work_sheet import COLUMNS, SCANNED, BadSheet, as_csv, code_of, filled, scan_text
from tests.walk.by_hand_hall import BENCH, began
from tests.walk.mistyped import TypedWalk

SEQUENCE = """
sequence: five wires by hand
plant: plant.yaml
steps:
""" + "".join(
    f"""  - step: measure
    title: Wire {number}
    read: resistance
    between: [J101.{number}, J205.{number}]
    limit: {{at-most: 10 ohm, source: by hand}}
"""
    for number in range(1, 6)
)
WRITTEN = ("1,7", "", "47.1", "1.72x", "4000 M")
LOOKED = ("", "", "1.9", "", "")


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> e.Began:
    bench = BENCH.replace("hand-held-meter", "polled-text-meter")
    return began(tmp_path_factory.mktemp("job"), SEQUENCE, bench)


def sheet_of(state: State, delimiter: str = ",", looked: tuple[str, ...] = LOOKED) -> str:
    """The sheet of a walk, filled in."""
    assert state.setting is not None
    rows = list(csv.DictReader(io.StringIO(as_csv(state.setting.plan))))
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, delimiter=delimiter)
    writer.writeheader()
    for row, shown, again in zip(rows, WRITTEN, looked, strict=True):
        row.update(reading=shown, again=again, who="Bo", when="2026-05-01 17:30")
        writer.writerow(row)
    return out.getvalue()


def taken(walk: TypedWalk, sheet: str) -> list[str]:
    """Let the sheet answer everything; what kind each answer was."""
    cells, kinds = cells_of(sheet, walk.state), []
    while (said := answer(cells, walk.state)) is not None:
        kinds.append(said.kind)
        walk.add(said.wish)
        walk.settle()
    return kinds


@pytest.mark.parametrize("delimiter", [",", ";"])
def test_it_goes_through_the_same_fold(first: e.Began, delimiter: str) -> None:
    walk = TypedWalk(first)
    kinds = taken(walk, sheet_of(walk.state, delimiter))
    assert walk.state.finished
    latest = walk.state.kept.latest
    verdicts = [outcome.verdict for _, outcome in sorted(latest.items())]
    assert verdicts == ["pass", "skipped", "pass", "skipped", "skipped"]
    assert kinds == ["taken", "blank", "taken", "looked at again", "doubtful", "taken", "doubtful"]
    reading = latest[2].reading
    assert reading is not None and reading.raw == ["47.1", "1.9"], "both looks are kept"
    assert "blank on the sheet, line 3" in latest[1].sentence
    assert "more than this meter" in latest[4].sentence


def test_what_fails_without_a_second_look_counts_as_it_stands(first: e.Began) -> None:
    walk = TypedWalk(first)
    taken(walk, sheet_of(walk.state, looked=("",) * 5))
    assert walk.state.kept.latest[2].verdict == "fail"


def test_a_sheet_of_another_walk_is_refused(first: e.Began) -> None:
    walk = TypedWalk(first)
    assert walk.state.setting is not None
    plan = walk.state.setting.plan
    text = sheet_of(walk.state)
    with pytest.raises(BadSheet, match="line 2: the code is"):
        filled(text.replace(code_of(plan), "0000-0000"), plan)
    with pytest.raises(BadSheet, match="stands in line 2 already"):
        filled(text + text.splitlines(keepends=True)[1], plan)
    with pytest.raises(BadSheet, match="no column"):
        filled("a,b\n1,2\n", plan)
    key = plan.steps[0].key
    with pytest.raises(BadSheet, match="no reading of this walk"):
        filled(text.replace(f",{key},", ",nowhere,"), plan)


def test_the_paper_has_a_box_for_each_reading_and_needs_nothing_else(first: e.Began) -> None:
    setting = TypedWalk(first).state.setting
    assert setting is not None
    made = page(setting.plan, setting.plant)
    assert made.count("class='box'") == 15 and code_of(setting.plan) in made
    assert "J101.1" in made and "<script" not in made and "http" not in made


def test_the_command_writes_both(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "job"
    folder.mkdir()
    began(folder, SEQUENCE, BENCH)
    for name in ("s.csv", "s.html"):
        assert main(["sheet", str(folder / "sequence.yaml"), "-o", str(tmp_path / name)]) == 0
        assert (tmp_path / name).stat().st_size > 200
    assert "5 readings, code" in capsys.readouterr().out
    assert main(["sheet", str(folder / "sequence.yaml"), "--bench", str(folder / "bench.yaml")]) == 0
    assert capsys.readouterr().out.count("\n") == 6


def test_the_walk_says_who_read_it(first: e.Began) -> None:
    walk = TypedWalk(first)
    said = answer(cells_of(sheet_of(walk.state), walk.state), walk.state)
    assert said is not None and isinstance(said.wish, e.Answered)
    assert (said.wish.read_by, said.wish.read_at) == ("Bo", "2026-05-01 17:30")
    assert request(walk.state).number == said.wish.number


def test_each_line_has_a_code_that_leads_back_to_it(first: e.Began) -> None:
    walk = TypedWalk(first)
    setting = walk.state.setting
    assert setting is not None
    plan = setting.plan
    html = page(plan, setting.plant)
    assert html.count("<svg") == 5 and "http" not in html.replace("http://www.w3.org/2000/svg", "")
    texts = [scan_text(plan, step) for step in plan.steps]
    assert SCANNED.fullmatch(texts[0]) is not None and len(set(texts)) == 5
    assert led_to(walk.state, "1.7") is None
    here = led_to(walk.state, texts[0])
    assert isinstance(here, str) and "asked now" in here
    ahead = led_to(walk.state, texts[3])
    assert isinstance(ahead, str) and "not reached yet" in ahead
    other = led_to(walk.state, "#0000-0000/1")
    assert isinstance(other, str) and "another sequence" in other
    walk.type("1.7")
    back = led_to(walk.state, texts[0])
    assert isinstance(back, e.Went) and (back.to, back.then) == (0, "return")
    walk.add(back)
    assert walk.state.step is not None and walk.state.step.title == "Wire 1"
