"""The keys of a number pad that stand for what it lacks: units and over range."""

from __future__ import annotations

import asyncio

import pytest
from textual.app import App
from textual.widgets import Input

from bench.screens.program.prompts import Figure, next_unit


@pytest.mark.parametrize(
    ("text", "after"),
    [
        ("4.7", "4.7 k"),
        ("4.7 k", "4.7 M"),
        ("4.7M", "4.7 m"),
        ("4.7 m", "4.7 u"),
        ("4.7 u", "4.7"),
        ("", ""),
        ("OL", "OL k"),
    ],
)
def test_one_key_goes_through_the_units(text: str, after: str) -> None:
    assert next_unit(text) == after


def test_a_reading_is_typed_with_a_number_pad_alone() -> None:
    given: list[str | None] = []

    async def typed() -> None:
        app: App[None] = App()
        async with app.run_test() as pilot:
            app.push_screen(Figure("Wire 1", ["What does it show?"], lambda text: ""), given.append)
            await pilot.pause()
            await pilot.press("4", "comma", "7", "asterisk", "asterisk", "enter")
            await pilot.pause()
            app.push_screen(Figure("Wire 2", [], lambda text: ""), given.append)
            await pilot.pause()
            await pilot.press("plus")
            assert app.screen.query_one(Input).value == "OL"
            await pilot.press("enter")
            await pilot.pause()

    asyncio.run(typed())
    assert given == ["4,7 M", "OL"]


def test_the_box_to_type_in_stays_on_a_small_screen() -> None:
    async def looked() -> None:
        app: App[None] = App()
        async with app.run_test(size=(80, 24)) as pilot:
            app.push_screen(Figure("Insulation", ["Clip it on, and hold still. " * 8] * 6, lambda text: ""))
            await pilot.pause()
            box = app.screen.query_one(Input).region
            assert box.y > 0 and box.bottom < 24
            assert app.screen.query_one(".keys").region.bottom <= 24

    asyncio.run(looked())
