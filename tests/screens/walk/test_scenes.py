"""Every page on the real app, made from real entries: the words are there, it fits, and ASCII loses nothing."""

from __future__ import annotations

import asyncio

import pytest
from textual.widget import Widget

from bench.screens.program import cells
from bench.screens.program.cells import text_of, width
from bench.screens.program.glyphs import ASCII
from bench.screens.program.settings import Settings
from bench.screens.walk.paint import paint
from bench.screens.walk.view import View
from tests.screens.scenes import SCENES, Scene
from tests.screens.stage import on_stage

pytestmark = pytest.mark.together("scenes")


@pytest.mark.parametrize("name", SCENES)
@pytest.mark.quick_cases(9)
def test_a_page_says_what_it_must(name: str) -> None:
    async def look() -> None:
        scene = SCENES[name]()
        async with on_stage(scene) as stage:
            for words in scene.shows:
                assert words in stage.words, f"{words!r} is not in\n{stage.text}"
            assert all(width(one) <= 80 for one in stage.app.sheet.lines)
            assert stage.app.screen.focused is None or type(stage.app.screen.focused).__name__ == "Input"
            assert stage.app.bug is None

    asyncio.run(look())


SIZES = [(80, 24), (120, 40), (60, 20), (100, 30), (40, 12), (200, 60), (20, 6), (3, 2)]


@pytest.mark.parametrize("name", [name for name in SCENES if name != "starting"])
@pytest.mark.quick_cases(7)
def test_a_page_fits_every_size_and_every_alphabet(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    scene = SCENES[name]()
    views = [view_of(scene), view_of(scene, glyphs=ASCII), view_of(scene, help=True), view_of(scene, mirrored=True)]
    for number, view in enumerate(views):
        for size in SIZES if number < 2 else SIZES[:3]:
            lines = paint(view, *size).lines
            assert len(lines) == size[1]
            assert all(width(one) <= size[0] for one in lines)
            if not view.glyphs.unicode:
                assert all(text_of(one).isascii() for one in lines)

    def already(self: object, text: str) -> str:
        assert text.isascii(), f"{text!r} was laid out before it was put into ASCII"
        return text

    # the last gate must have nothing left to do: a text that grows after it was laid out is cut off
    real = cells.clip
    monkeypatch.setattr(
        cells, "clip", lambda content, *rest: [already(None, part.text) for part in content] and real(content, *rest)
    )
    paint(views[1], 80, 24)


def view_of(scene: Scene, **more: object) -> View:
    from bench.screens.walk.follow import Follower

    follower = Follower(lambda: 0.0)
    for message in (*scene.walk.entries, *scene.said):
        follower.hear(message)  # type: ignore[arg-type]
    return View(
        state=follower.state,
        live=follower.live,
        failing=follower.failing,
        lost=follower.lost,
        you=scene.you,
        record="logs/2026-05-12-W101.jsonl",
        left=follower.left(),
        **more,  # type: ignore[arg-type]
    )


def test_a_moment_always_looks_the_same() -> None:
    view = view_of(SCENES["place-touching"]())
    assert paint(view, 80, 24) == paint(view, 80, 24)


def test_long_pages_scroll_to_their_end_and_no_further() -> None:
    async def look() -> None:
        async with on_stage(SCENES["done"]()) as stage:
            assert "more lines" in stage.words and "record" not in stage.words
            await stage.press("end")
            assert "record logs/2026-05-12-W101.jsonl" in stage.words and "the end" in stage.words
            bottom = stage.text
            await stage.press("down", "pagedown")
            assert stage.text == bottom
            await stage.press("home")
            assert "The walk is done" in stage.words

    asyncio.run(look())


def test_the_screen_is_light_or_dark_and_colourless_where_colours_are_not_wanted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    async def look(settings: Settings) -> tuple[str, str, str]:
        async with on_stage(SCENES["place-failed"](), settings=settings) as stage:
            first = stage.app.export_screenshot()
            await stage.press("t")
            return first, stage.app.export_screenshot(), stage.app.palette

    night, turned, palette = asyncio.run(look(Settings()))
    assert palette == "day" and night != turned and "#f7f4ea" in turned.lower()
    day, _, palette = asyncio.run(look(Settings(day=True)))
    assert palette == "night" and "#f7f4ea" in day.lower()
    monkeypatch.setenv("NO_COLOR", "1")
    bare, _, palette = asyncio.run(look(Settings()))
    assert palette == "bare"
    assert "#d70000" in night.lower()
    assert not any(colour in bare.lower() for colour in ("#d70000", "#f0b64c", "#ff7d5c"))


def test_the_page_follows_the_terminals_size() -> None:
    async def look() -> None:
        async with on_stage(SCENES["place-touching"]()) as stage:
            for columns, rows in ((120, 40), (60, 20), (80, 24)):
                await stage.pilot.resize_terminal(columns, rows)
                await stage.until(lambda rows=rows: len(stage.app.sheet.lines) == rows)
                assert max(width(one) for one in stage.app.sheet.lines) == columns - 1
                assert "Hold still" in stage.words and "J101 pin 4" in stage.words

    asyncio.run(look())


def test_a_changed_reading_paints_only_the_lines_that_changed() -> None:
    from tests.screens.scenes import ohms

    async def look() -> None:
        async with on_stage(SCENES["place-touching"]()) as stage:
            painted: list[int] = []
            real = Widget.refresh

            def refresh(self: Widget, *regions: object, **options: object) -> Widget:
                if self is stage.app.sheet:
                    assert not options.get("layout")
                    painted.append(len(regions))
                return real(self, *regions, **options)  # type: ignore[arg-type]

            Widget.refresh = refresh  # type: ignore[method-assign,assignment]
            try:
                stage.hear(ohms(0.872, "touching", 0.6))
                await stage.settle()
                stage.hear(ohms(0.872, "touching", 0.6))
                await stage.settle()
            finally:
                Widget.refresh = real  # type: ignore[method-assign]
            # the digits' five rows at most, and the scale; a reading that shows the same paints nothing
            assert len(painted) == 1 and 1 <= painted[0] <= 7

    asyncio.run(look())
