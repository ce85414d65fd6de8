"""What is drawn without any screen: faces, scales, digits, and lines that fit."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.quantity import ascii_only
from bench.say.verdict import SIGNS
from bench.screens.program.cells import (
    Span,
    centred,
    clip,
    cut,
    cut_front,
    line,
    shown,
    sides,
    text_of,
    width,
    wrap,
    wrapped,
)
from bench.screens.program.glyphs import ASCII, UNICODE
from bench.screens.widgets import digits, face, scale
from bench.texts import clean

RIBBON = (tuple(str(n) for n in range(1, 26)), tuple(str(n) for n in range(26, 51)))
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=60)


# Lines


@given(texts, st.integers(1, 40))
def test_cut_texts_fit_and_keep_their_beginning(text: str, cells: int) -> None:
    found = cut(clean(text), cells)
    assert width(found) <= cells
    if width(clean(text)) <= cells:
        assert found == clean(text)


@given(texts, st.integers(4, 40))
def test_wrapped_lines_fit_and_lose_no_letter(text: str, cells: int) -> None:
    lines = wrap(text, cells)
    assert all(width(one) <= cells for one in lines)
    assert "".join("".join(lines).split()) == "".join(clean(text).split())


@given(texts, texts, st.integers(1, 60))
def test_two_sides_always_make_one_line_of_the_width(left: str, right: str, cells: int) -> None:
    found = sides(line(left), line(right), cells)
    assert width(found) <= cells
    assert width(clip(found, cells)) <= cells
    assert width(centred(clip(line(left), cells), cells)) <= cells


@given(texts)
def test_nothing_that_a_terminal_acts_upon_gets_through(text: str) -> None:
    for glyphs in (UNICODE, ASCII):
        (found,) = shown([(Span(text),)], 200, glyphs)
        assert not any(ord(c) < 32 or 0x7F <= ord(c) < 0xA0 or c in "\u202e\u2066\u200f" for c in text_of(found))
    assert text_of(shown([(Span(text),)], 200, ASCII)[0]).isascii()


def test_an_escape_sequence_loses_its_escape_and_keeps_its_letters() -> None:
    assert clean("J1\x1b[31m\x07\u202eX") == "J1\ufffd[31m\ufffd\ufffdX"
    assert ascii_only("4.7 kΩ ± 2 µV, 18 °C, Café") == "4.7 kohm +/- 2 uV, 18 degC, Cafe"


def test_a_cut_off_text_says_so() -> None:
    assert cut("third from the left", 10) == "third fro…"
    assert cut_front("/home/ana/logs/w101.jsonl", 14) == "…s/w101.jsonl" or len(cut_front("/a/b/c.jsonl", 8)) == 8
    (only,) = wrapped("one two three four five", 9, "", 1)
    assert only[0].text.endswith("…") and width(only) <= 9


# Digits


@pytest.mark.parametrize("height", digits.HEIGHTS)
@pytest.mark.parametrize("text", ["0.874 Ω", "-53.9 V", "12.345 kΩ", "OPEN", "- OVER", "05:17", "213 mA", "18.5 °C"])
def test_digits_are_blocks_of_equal_rows_in_both_alphabets(text: str, height: int) -> None:
    for glyphs in (UNICODE, ASCII):
        rows = digits.draw(text, height, glyphs)
        assert len(rows) == height
        assert len({width(row) for row in rows}) == 1
        assert digits.drawn_width(text, height) == width(rows[0])
        assert digits.can_draw(text)
    assert all(row.isascii() for row in digits.draw(text, height, ASCII))


def test_all_digits_look_different() -> None:
    drawn = {tuple(digits.draw(d, 5, ASCII)) for d in "0123456789-"}
    assert len(drawn) == 11


def test_every_prefix_and_unit_of_a_meter_has_a_large_form() -> None:
    for unit in ("Ω", "V", "A", "°C", "F", "s", "Hz", "W"):
        for prefix in ("p", "n", "µ", "m", "", "k", "M", "G", "T"):
            assert digits.can_draw(f"{prefix}{unit}")
    assert not digits.can_draw("@")
    assert digits.can_draw("ABCDEFGHIJKLMNOPQRSTUVWXYZ 0123456789"), "pins have letters"


# Scales


def _sign_at(gauge: scale.Gauge, sign: str, cells: int = 81) -> list[int]:
    bar, _ = scale.draw(gauge, cells, UNICODE)
    return [place for place, found in enumerate(text_of(bar)) if found == sign]


def test_a_reading_below_an_upper_limit_stands_left_of_the_wall() -> None:
    gauge = scale.Gauge("Ω", high=1.2, value=0.9, expanded=0.05)
    (wall,), (point,) = _sign_at(gauge, UNICODE.wall), _sign_at(gauge, UNICODE.point)
    assert point < wall
    # 0 to 1.8 Ω over 81 cells: 0.9 Ω is the middle, 1.2 Ω two thirds
    assert (point, wall) == (40, 53)
    assert all(place > wall for place in _sign_at(gauge, UNICODE.beyond))
    band = _sign_at(gauge, UNICODE.band)
    assert min(band) == 38 and max(band) == 42


def test_a_lower_limit_hatches_what_is_below() -> None:
    gauge = scale.Gauge("Ω", low=1e6, value=0.5e6)
    (wall,), (point,) = _sign_at(gauge, UNICODE.wall), _sign_at(gauge, UNICODE.point)
    assert point < wall and all(place < wall for place in _sign_at(gauge, UNICODE.beyond))


def test_far_readings_are_shown_in_decades() -> None:
    axis = scale.axis_of(scale.Gauge("Ω", low=1e6, value=3e9))
    assert axis is not None and axis.decades
    assert axis.place(1e6) < axis.place(3e9) <= 1
    assert math.isclose(axis.place(axis.start), 0) and math.isclose(axis.place(axis.end), 1)
    steady = scale.axis_of(scale.Gauge("Ω", low=1e6, value=4e9))
    assert steady == axis, "the scale stands still while the reading wanders"


def test_over_range_points_over_the_edge() -> None:
    assert text_of(scale.draw(scale.Gauge("Ω", high=1.0, over="+"), 40, UNICODE)[0]).endswith("▶")
    assert text_of(scale.draw(scale.Gauge("V", low=-57.0, high=-40.0, over="-"), 40, ASCII)[0]).startswith("<")


@given(
    st.floats(-1e9, 1e9),
    st.one_of(st.none(), st.floats(0, 1e9)),
    st.one_of(st.none(), st.floats(-1e9, 1e9)),
    st.one_of(st.none(), st.floats(-1e9, 1e9)),
    st.integers(0, 150),
)
def test_any_scale_fits_and_any_order_of_limits_is_borne(
    value: float, expanded: float | None, one: float | None, other: float | None, cells: int
) -> None:
    low, high = (one, other) if one is None or other is None else sorted((one, other))
    for part in scale.draw(scale.Gauge("Ω", low, high, value, expanded), cells, ASCII):
        assert width(part) <= cells


def test_the_bounds_are_written_as_engineers_do() -> None:
    assert scale.Gauge("Ω", high=1.2).bounds == "at most 1.2 Ω"
    assert scale.Gauge("Ω", low=1e7).bounds == "at least 10 MΩ"
    assert scale.Gauge("V", low=-57, high=-40.5).bounds == "-57 V to -40.5 V"
    assert scale.Gauge("Ω").bounds == ""


# Faces


def _face(**marks: str) -> face.Face:
    return face.Face(RIBBON, {pin.removeprefix("p"): colour for pin, colour in marks.items()}, {})


def test_marks_differ_by_shape_and_stand_at_their_pins() -> None:
    lines = [text_of(one) for one in face.draw(_face(p7="red", p31="black"), 78, UNICODE)]
    assert lines[1].index("◆") == lines[2].index("■") + 2, "pin 7 is one pin to the right of pin 31, below pin 6"
    assert lines[0][lines[1].index("◆")] == "▼" and lines[3][lines[2].index("■")] == "▲"


@pytest.mark.parametrize("cells", [118, 78, 58, 38, 24, 12])
def test_a_face_fits_whatever_room_there_is_and_always_shows_the_pins_to_touch(cells: int) -> None:
    for pin in ("1", "13", "25", "26", "50"):
        lines = face.draw(_face(**{f"p{pin}": "red"}), cells, UNICODE)
        assert {width(one) for one in lines} == {width(lines[0])}
        assert width(lines[0]) <= cells
        assert sum(text_of(one).count("◆") for one in lines) == 1


def test_wide_faces_name_every_pin_and_narrow_ones_every_fifth() -> None:
    wide = "".join(text_of(one) for one in face.draw(_face(p1="red"), 118, UNICODE))
    assert all(f"{n}" in wide for n in range(1, 51))
    head = text_of(face.draw(_face(p3="red"), 38, UNICODE)[0])
    assert [int(part) for part in head.replace("─", " ").replace("▼", " ").strip("╭╮ ").split()] == [1, 6, 11, 16, 21]


def test_mirroring_changes_left_and_right_and_nothing_else() -> None:
    plain = _face(p7="red", p31="black")
    turned = plain.mirrored()
    assert turned.rows[0] == RIBBON[0][::-1]
    assert turned.mirrored().rows == plain.rows
    here = text_of(face.draw(plain, 58, UNICODE)[1])
    there = text_of(face.draw(turned, 58, UNICODE)[1])
    inner = here.strip("│").strip().strip("125 ")
    assert there.count("◆") == here.count("◆") == 1
    assert inner[::-1].replace(" ", "") == there.strip("│").strip().strip("125 ").replace(" ", "")


def test_staggered_and_uneven_rows_keep_their_shape_from_both_sides() -> None:
    nine = face.Face((tuple("12345"), tuple("6789")), {"6": "red"}, {}, (0.0, 0.5))
    lines = [text_of(one) for one in face.draw(nine, 60, UNICODE)]
    assert lines[1].index("1") < lines[2].index("6") < lines[1].index("2")
    lines = [text_of(one) for one in face.draw(nine.mirrored(), 60, UNICODE)]
    assert lines[1].index("2") < lines[2].index("6") < lines[1].index("1")


def test_verdicts_fill_the_face_with_marks_of_different_shape() -> None:
    verdicts = {"1": "pass", "2": "fail", "3": "undecided", "4": "skipped"}
    row = text_of(face.draw(face.Face(RIBBON, {}, verdicts), 78, UNICODE)[1])
    assert "✓ ✗ ? » ·" in row
    row = text_of(face.draw(face.Face(RIBBON, {}, verdicts), 78, ASCII)[1])
    assert "o x ? > ." in row


def test_many_rows_are_drawn_as_a_window_around_the_marked_ones() -> None:
    rows = tuple(tuple(f"{letter}{n}" for n in range(1, 9)) for letter in "ABCDEFGHIJKL")
    lines = face.draw(face.Face(rows, {"K2": "red"}, {}), 78, UNICODE, rows=4)
    assert len(lines) == 6 and sum("◆" in text_of(one) for one in lines) == 1


def test_no_room_is_no_face() -> None:
    assert face.draw(_face(p1="red"), 6, UNICODE) == []
    assert face.draw(_face(p1="red"), 60, UNICODE, rows=0) == []
    assert face.draw(face.Face((), {}, {}), 60, UNICODE) == []


@pytest.mark.parametrize(
    ("low", "high", "value", "written"),
    [
        (99.83, 100.2, 100.0, ["99.7 Ω", "99.83 Ω", "100.2 Ω", "100.3 Ω"]),
        (0.9, 1.1, 5.0, ["0.84 Ω", "0.9 Ω", "1.1 Ω", "1.16 Ω"]),
        (None, 0.8958, 0.857, ["0 Ω", "0.8958 Ω", "1.34 Ω"]),
    ],
)
def test_the_figures_below_a_scale_stand_in_their_order(low, high, value, written):
    _, figures = scale.draw(scale.Gauge("Ω", low, high, value, 0.01), 80, UNICODE)
    assert [one.text for one in figures if one.text.strip()] == written
    numbers = [float(one.split()[0]) for one in written]
    assert numbers == sorted(set(numbers))


def test_a_verdict_has_the_same_sign_on_paper_and_on_screens() -> None:
    assert {verdict: UNICODE.mark(verdict) for verdict in SIGNS} == SIGNS
