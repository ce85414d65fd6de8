"""The earthing network on the screen: by a key, at both widths, in plain letters, line by line."""

from __future__ import annotations

import asyncio
import io
from datetime import UTC, datetime

import pytest

from bench.screens.program.cells import text_of, width
from bench.screens.program.glyphs import ASCII, UNICODE
from bench.screens.walk import earth_page, earth_tree
from bench.screens.walk.plain import Plain
from bench.screens.walk.view import View
from tests.screens.scenes import SCENES, Scene
from tests.screens.stage import on_stage
from tests.screens.walk import earth_scenes as earth

pytestmark = pytest.mark.together("scenes")

NOW = datetime(2026, 5, 12, 18, 42, tzinfo=UTC)


def page(walk: object, cells: int, rows: int, **more: object) -> list[str]:
    view = View(state=walk.state, you="Ana", now=NOW, earth=True, **more)  # type: ignore[attr-defined,arg-type]
    return [text_of(line) for line in earth_page.body(view, cells, rows).lines]


def test_both_ends_of_a_suspected_path_carry_its_number_and_a_poor_bond_its_word() -> None:
    lines = page(earth.suspecting(), 118, 40)
    marked = [line for line in lines if "<1>" in line]
    assert any("frame of bay 3 (E3)" in line for line in marked)
    assert any("signal tray (ET1)" in line for line in marked)
    assert sum("POOR" in line for line in lines) == 1
    assert all(" POOR" not in line or "frame of bay 5 (E5)" in line for line in lines)
    assert any("over 99 % bond LE5" in line for line in lines), "the suspects stand beside the tree"


@pytest.mark.parametrize("cells", [40, 78, 109, 118, 200])
@pytest.mark.parametrize("rows", [6, 18, 36])
@pytest.mark.parametrize("walk", [earth.begun, earth.suspecting, earth.lifted, earth.ended])
@pytest.mark.quick_cases(6)
def test_it_fits_every_size(cells: int, rows: int, walk: object) -> None:
    lines = page(walk(), cells, rows)  # type: ignore[operator]
    assert len(lines) <= rows
    assert max(width(line) for line in lines[:3]) <= cells


def test_a_narrow_page_is_scrolled_to_its_end() -> None:
    top = page(earth.suspecting(), 78, 18)
    assert "more lines" in top[-1] and not any("power tray" in line for line in top)
    end = page(earth.suspecting(), 78, 18, scroll=1000)
    assert any("power tray (ET3)" in line for line in end)


def test_plain_letters_say_the_same() -> None:
    lines = page(earth.suspecting(), 78, 60, glyphs=ASCII)
    assert all(line.isascii() for line in lines), [line for line in lines if not line.isascii()]
    assert any("<1>" in line and "E3" in line for line in lines) and any("POOR" in line for line in lines)
    assert any(mark in line for line in page(earth.suspecting(), 78, 60, glyphs=UNICODE) for mark in UNICODE.failed)


def test_what_is_off_now_is_said() -> None:
    assert "OFF NOW: LE7" in earth_tree.standing(earth.lifted().state)
    assert [text for text in earth_tree.tree(earth.lifted().state) if " OFF" in text] == [
        "├─ frame of the desk (E7)  21 mΩ OFF"
    ]
    assert "OFF NOW" not in earth_tree.standing(earth.suspecting().state)


def test_a_key_opens_it_and_answers_nothing() -> None:
    async def act() -> None:
        async with on_stage(Scene("earth", earth.suspecting())) as stage:  # type: ignore[arg-type]
            before = stage.words
            await stage.press("l")
            assert "The earthing network" in stage.words
            await stage.press("s", "b", "g")
            assert not stage.link.wishes and "The earthing network" in stage.words
            await stage.press("enter")
            assert "The earthing network" not in stage.words and not stage.link.wishes
            assert "ER to E3" in before

    asyncio.run(act())


def test_a_walk_without_a_search_has_no_key_for_it() -> None:
    async def act() -> None:
        async with on_stage(SCENES["hold"]()) as stage:
            await stage.press("l")
            assert "HOLD POINT" in stage.words and "earthing network" not in stage.words

    asyncio.run(act())
    assert earth_tree.in_words(SCENES["hold"]().walk.state) == [
        "this walk has come to no search for a second path to earth"
    ]


def test_line_by_line() -> None:
    out = io.StringIO()

    class Link:
        you, seat, record = "Ana", "Ana", "logs/earth.jsonl"

        def wish(self, event: object) -> None:
            raise AssertionError(event)

        def take_seat(self) -> None:
            """It is hers."""

        def busy(self, covered: bool) -> None:
            """Nothing waits here."""

        def close(self) -> None:
            """Nothing to close."""

    def connect(heard: object) -> Link:
        for entry in earth.suspecting().entries:
            heard(entry)  # type: ignore[operator]
        return Link()

    Plain(connect, out, io.StringIO("earth\n"), interactive=True).run()  # type: ignore[arg-type]
    said = out.getvalue()
    for words in ("The earthing network: 40 readings so far", "over 99 %  bond LE5", "signal tray (ET1)", "POOR"):
        assert words in said
