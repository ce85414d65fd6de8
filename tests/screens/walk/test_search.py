"""A search on the screen: cards, flags, what was found; and the keys that only a search has."""

from __future__ import annotations

import asyncio

import pytest

from bench.screens.walk import keys
from bench.screens.walk import sayings as words
from bench.screens.walk.view import View
from bench.walk import events as e
from tests.screens.scenes import SCENES
from tests.screens.stage import Stage, on_stage
from tests.screens.walk import search_scenes as search

NAMES = ("search-card", "search-flag", "search-bar", "search-found")


def shown(name: str, size: tuple[int, int], *pressed: str) -> tuple[str, Stage]:
    kept: list[tuple[str, Stage]] = []

    async def act() -> None:
        async with on_stage(SCENES[name](), size=size) as stage:
            await stage.press(*pressed)
            kept.append((stage.text, stage))

    asyncio.run(act())
    return kept[0]


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_a_card_shows_every_tag_with_its_pin(size: tuple[int, int]) -> None:
    walk = search.card()
    rig = walk.state.step.source.rig  # type: ignore[union-attr]
    seen = {
        word for text in (shown("search-card", size)[0], shown("search-card", size, "end")[0]) for word in text.split()
    }
    assert {tag.place for tag in rig.tags} <= seen
    assert len(rig.tags) > 40


def test_the_last_answer_of_a_search_is_taken_back_by_b() -> None:
    walk = search.flag()
    _, stage = shown("search-flag", (80, 24), "b")
    assert stage.link.wishes == [e.Went(number=walk.asked.number, to=walk.state.place.cursor, then="go-on")]
    before = walk.state.seeking
    walk.add(stage.link.wishes[0])  # type: ignore[arg-type]
    assert before is not None and walk.state.seeking is not None
    assert walk.state.seeking.trail == before.trail[:-1]


def test_before_its_first_answer_b_goes_to_the_step_before() -> None:
    walk = search.SearchWalk(search.TAGS)
    while walk.state.seeking is None or walk.state.seeking.advised is None:
        walk.one()
    assert words.back_to(walk.state) == walk.state.place.cursor - 1


def test_the_whole_search_is_skipped_with_a_reason() -> None:
    walk = search.flag()
    text, stage = shown("search-flag", (80, 24), "j", *"no time", "enter")
    assert "Skip the whole search" not in text
    assert stage.link.wishes == [e.Skipped(number=walk.asked.number, reason="no time", whole=True)]
    _, without = shown("search-flag", (80, 24), "j", "enter")
    assert without.link.wishes == []


def test_one_reading_is_skipped_as_ever() -> None:
    walk = search.flag()
    _, stage = shown("search-flag", (80, 24), "s", *"lost", "enter")
    assert stage.link.wishes == [e.Skipped(number=walk.asked.number, reason="lost")]


def test_no_other_step_offers_to_skip_a_search() -> None:
    for name in ("place-open", "do", "zero"):
        assert not any(one.does == "skip-search" for one in keys.keys(View(state=SCENES[name]().walk.state, you="Ana")))


def test_a_low_reading_of_a_search_is_no_failure() -> None:
    for name in ("search-flag", "search-bar"):
        text, _ = shown(name, (120, 40))
        assert "READ" in text and "FAIL" not in text and "UNDECIDED" not in text


def test_the_end_lists_troubles_first_and_then_every_name() -> None:
    text, _ = shown("search-found", (120, 40))
    assert text.index("joined: flag") < text.index("arrives nowhere: W101.12") < text.index("flag 1 is W101.")
