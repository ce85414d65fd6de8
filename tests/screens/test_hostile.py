"""Names and texts that look like markup, like escape sequences, or like nothing at all are shown as what they are."""

from __future__ import annotations

import asyncio

import pytest

from bench.runner import protocol as p
from bench.screens.program.settings import Settings
from bench.walk import events as e
from bench.walk import requests as r
from tests.screens.gannet import Walk
from tests.screens.scenes import Scene
from tests.screens.stage import on_stage

pytestmark = pytest.mark.together("scenes")

MARKUP = " [bold]x[/] [/nope] [red"
ESCAPES = " \x1b[31m\x07 \u202eabc\u2069 \x9b2J"
WIDE = " \u4e2d\u6587 \U0001f600 e\u0301"


def _walks() -> list[tuple[str, type, str]]:
    return [
        ("caution", r.Ask, "caution"),
        ("hold", r.Ask, "hold"),
        ("do", r.Ask, "do"),
        ("zero", r.Place, "zero"),
        ("prove", r.Place, "prove"),
        ("place", r.Place, "measure"),
        ("end", r.Finished, ""),
    ]


@pytest.mark.parametrize("unicode", [True, False], ids=["unicode", "ascii"])
@pytest.mark.parametrize("hostile", [MARKUP, ESCAPES, WIDE], ids=["markup", "escapes", "wide"])
@pytest.mark.quick_cases(1)
def test_all_widgets_show_hostile_texts_as_they_are(hostile: str, unicode: bool) -> None:
    async def look() -> None:
        walk = Walk(hostile=hostile)
        for name, kind, step in _walks():
            walk.until(kind, step)
            told = Walk.__new__(Walk)
            told.entries = list(walk.entries)
            scene = Scene(name, told, said=(p.Refusal(why=f"no{hostile}"),), you=f"Ana{hostile}")
            async with on_stage(scene, settings=Settings(unicode=unicode)) as stage:
                _harmless(stage.text)
                if hostile is MARKUP and name in ("caution", "hold", "do", "place"):
                    assert "[bold]x[/] [/nope] [red" in stage.words
                if name == "hold":
                    await stage.press("enter")
                    _harmless(stage.text)
                    assert (MARKUP.strip() in stage.words) == (hostile is MARKUP)
                    await stage.press("escape", "d", *"[/x]", "enter")
                    assert "nothing called [/x]" in stage.words
                    _harmless(stage.app.export_screenshot(), picture=True)
                assert stage.app.bug is None

    asyncio.run(look())


def _harmless(text: str, *, picture: bool = False) -> None:
    allowed = "\n\t" if picture else "\n"
    bad = [c for c in text if (ord(c) < 32 and c not in allowed) or 0x7F <= ord(c) < 0xA0 or c in "\u202e\u2069"]
    assert not bad


@pytest.mark.parametrize("hostile", [MARKUP, ESCAPES, WIDE], ids=["markup", "escapes", "wide"])
def test_trouble_and_the_end_of_the_line_are_shown_as_they_are(hostile: str) -> None:
    async def look() -> None:
        walk = Walk()
        walk.until(r.Measure, "measure")
        walk.add(
            e.Troubled(
                number=walk.asked.number,
                instrument=f"M1{hostile}",
                kind="garbled",
                what=f"M1 said{hostile}",
                advice=f"look{hostile}",
            )
        )
        async with on_stage(Scene("trouble", walk)) as stage:
            _harmless(stage.text)
            assert (MARKUP.strip() in stage.words) == (hostile is MARKUP)
        for said in (p.RecordFailing(why=f"disk{hostile}"), p.Bye(why=f"told{hostile}")):
            async with on_stage(Scene("said", Walk().until(r.Place, "measure"), said=(said,))) as stage:
                _harmless(stage.text)
                assert (MARKUP.strip() in stage.words) == (hostile is MARKUP)

    asyncio.run(look())
