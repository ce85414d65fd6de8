"""Every page of the job screen on the real app: says what it must, fits every size, looks as it was last looked at.

The looks are kept as text in ``snapshots``; ``python -m tests.screens.job.test_job_scenes`` writes them anew.
"""

from __future__ import annotations

import asyncio
import functools
from pathlib import Path

import pytest
from msgspec.structs import replace

from bench.screens.job.paint import paint_job
from bench.screens.job.view import JobView
from bench.screens.program import cells
from bench.screens.program.cells import text_of, width
from bench.screens.program.glyphs import ASCII
from bench.screens.program.settings import Settings
from tests.screens.job.job_scenes import JOB_SCENES
from tests.screens.job.job_stage import on_job

SNAPSHOTS = Path(__file__).parents[1] / "snapshots"
SIZES = [(80, 24), (120, 40), (60, 20), (100, 30), (40, 12), (200, 60), (20, 6), (3, 2)]
KEPT = [(80, 24), (120, 40)]


@functools.cache
def moment(name: str) -> tuple[JobView, tuple[str, ...]]:
    """The moment of a scene, and what it looks like at the sizes that are kept."""

    async def look() -> tuple[JobView, tuple[str, ...]]:
        async with on_job(name) as stage:
            assert stage.app.bug is None and stage.app.screen.focused is None
            view, looks = stage.moment, []
            for columns, rows in KEPT:
                await stage.pilot.resize_terminal(columns, rows)
                await stage.until(lambda rows=rows: len(stage.app.sheet.lines) == rows)
                looks.append(stage.text + "\n")
            return view, tuple(looks)

    return asyncio.run(look())


@pytest.mark.parametrize("name", JOB_SCENES)
@pytest.mark.quick_cases(8)
def test_a_page_says_what_it_must(name: str) -> None:
    _, (text, _) = moment(name)
    words = " ".join(text.split())
    for wanted in JOB_SCENES[name].shows:
        assert wanted in words, f"{wanted!r} is not in\n{text}"


@pytest.mark.parametrize("name", JOB_SCENES)
def test_a_page_looks_as_it_was_last_looked_at(name: str) -> None:
    for (columns, rows), text in zip(KEPT, moment(name)[1], strict=True):
        assert text == (SNAPSHOTS / f"job-{name}-{columns}x{rows}.txt").read_text("utf-8")


@pytest.mark.parametrize("name", JOB_SCENES)
@pytest.mark.quick_cases(8)
def test_a_page_fits_every_size_and_every_alphabet(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    view, _ = moment(name)
    for glyphs in (view.glyphs, ASCII):
        for size in SIZES:
            lines = paint_job(replace(view, glyphs=glyphs), *size).lines
            assert len(lines) == size[1]
            assert all(width(one) <= size[0] for one in lines)
            assert glyphs.unicode or all(text_of(one).isascii() for one in lines)

    def already(text: str) -> str:
        assert text.isascii(), f"{text!r} was laid out before it was put into ASCII"
        return text

    # the last gate must have nothing left to do: a text that grows after it was laid out is cut off
    real = cells.clip
    monkeypatch.setattr(
        cells, "clip", lambda content, *rest: [already(part.text) for part in content] and real(content, *rest)
    )
    paint_job(replace(view, glyphs=ASCII), 80, 24)


def test_a_moment_always_looks_the_same() -> None:
    view, _ = moment("trace")
    assert paint_job(view, 80, 24) == paint_job(view, 80, 24)


def test_the_job_screen_is_light_or_dark_and_colourless_where_colours_are_not_wanted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    async def look(settings: Settings) -> tuple[str, str, str]:
        async with on_job("ready", settings=settings) as stage:
            first = stage.app.export_screenshot()
            await stage.press("t")
            return first.lower(), stage.app.export_screenshot().lower(), stage.app.palette

    night, turned, palette = asyncio.run(look(Settings()))
    assert palette == "day" and "#f7f4ea" in turned and "#f7f4ea" not in night
    day, _, palette = asyncio.run(look(Settings(day=True)))
    assert palette == "night" and "#f7f4ea" in day
    monkeypatch.setenv("NO_COLOR", "1")
    bare, _, palette = asyncio.run(look(Settings()))
    assert palette == "bare" and "#ff7d5c" in night
    assert not any(colour in bare for colour in ("#ff7d5c", "#f0b64c", "#56cfb0"))


def test_the_page_follows_the_terminals_size() -> None:
    async def look() -> None:
        async with on_job("trace") as stage:
            for columns, rows in ((120, 40), (60, 20), (80, 24)):
                await stage.pilot.resize_terminal(columns, rows)
                await stage.until(lambda rows=rows: len(stage.app.sheet.lines) == rows)
                assert max(width(one) for one in stage.app.sheet.lines) <= columns
                assert "last good" in stage.words

    asyncio.run(look())


def main() -> None:
    """Write what every page looks like."""
    SNAPSHOTS.mkdir(exist_ok=True)
    for name in JOB_SCENES:
        for (columns, rows), text in zip(KEPT, moment(name)[1], strict=True):
            (SNAPSHOTS / f"job-{name}-{columns}x{rows}.txt").write_text(text, "utf-8")


if __name__ == "__main__":
    main()
