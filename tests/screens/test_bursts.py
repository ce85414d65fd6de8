"""Keys that come several in one read: hammered, from a foot switch that bounces, pasted into the wrong place."""

from __future__ import annotations

import asyncio
import random

import pytest
from textual.events import Key
from textual.keys import _character_to_key
from textual.pilot import Pilot

from bench.screens.program.prompts import Prompt
from bench.screens.program.terminal import Page, Terminal
from bench.screens.walk.program import WalkProgram
from bench.walk import events as e
from tests.screens.job.job_scenes import JOB_SCENES
from tests.screens.job.job_stage import on_job
from tests.screens.scenes import SCENES
from tests.screens.stage import on_stage

pytestmark = pytest.mark.together("scenes")

HAMMERED = (
    ("enter", "enter"),
    ("y", "y"),
    ("o", "o"),
    ("escape", "escape"),
    ("ctrl+c", "ctrl+c"),
    ("escape", "enter"),
    ("enter", "escape", "enter"),
)
KEYS = (*"abcdefghijklmnopqrstuvwxyz0123456789?/:,.+- ", "enter", "escape", "ctrl+c", "tab", "up", "down", "left")
KEYS += ("right", "home", "end", "pageup", "pagedown", "backspace", "f1", "space")


async def burst(app: Terminal, pilot: Pilot[None], keys: tuple[str, ...]) -> None:
    """All these keys are there before the first of them is looked at."""
    for key in keys:
        name = key if key.isalnum() or len(key) > 1 else _character_to_key(key)
        app.post_message(Key(name, key if len(key) == 1 else None))
    for _ in range(4):
        await pilot.pause(0)
    if app.program is not None and not app.over:
        app.program.tick()
    await pilot.pause(0)


@pytest.mark.parametrize(
    ("scene", "first"),
    [
        ("place-touching", "o"),
        ("place-touching", "s"),
        ("place-touching", "a"),
        ("place-touching", "d"),
        ("place-touching", "q"),
        ("hold", "enter"),
        ("ask", "enter"),
    ],
)
@pytest.mark.quick_cases(1)
def test_the_same_key_twice_in_one_read_answers_a_box_once(scene: str, first: str) -> None:
    async def look(keys: tuple[str, ...]) -> None:
        async with on_stage(SCENES[scene]()) as stage:
            await stage.press(first)
            before = len(stage.link.wishes)
            typed = ("x",) if first in "nsd" else ()
            await burst(stage.app, stage.pilot, (*typed, *keys))
            assert len(stage.link.wishes) <= before + 1

    for keys in HAMMERED:
        asyncio.run(look(keys))


@pytest.mark.parametrize("name", SCENES)
@pytest.mark.quick_cases(3)
def test_a_burst_of_any_keys_crashes_no_page_of_a_walk(name: str) -> None:
    async def look() -> None:
        draw = random.Random(name)
        async with on_stage(SCENES[name]()) as stage:
            for _ in range(5):
                await burst(stage.app, stage.pilot, tuple(draw.choices(KEYS, k=draw.randint(2, 9))))

    asyncio.run(look())


@pytest.mark.parametrize("name", JOB_SCENES)
@pytest.mark.quick_cases(3)
def test_a_burst_of_any_keys_crashes_no_page_of_a_job(name: str) -> None:
    async def look() -> None:
        draw = random.Random(name)
        async with on_job(name) as stage:
            for _ in range(5):
                await burst(stage.app, stage.pilot, tuple(draw.choices(KEYS, k=draw.randint(2, 9))))

    asyncio.run(look())


@pytest.mark.parametrize("apart", [False, True])
def test_a_hold_word_that_comes_with_what_opens_its_box_is_taken(apart: bool) -> None:
    """Pasted, or typed by somebody quick: no letter of it is lost, and none is taken for a key of the page."""

    async def look() -> None:
        async with on_stage(SCENES["hold"]()) as stage:
            stage.seconds += 2.0  # the page has been read
            keys = ("enter", *"DEAD", "enter")
            if apart:
                for key in keys:
                    stage.app.post_message(Key(key, key if len(key) == 1 else None))
                    await asyncio.sleep(0)
                await stage.settle()
            else:
                await burst(stage.app, stage.pilot, keys)
            await stage.until(lambda: isinstance(stage.app.screen, Page) and stage.link.wishes)
            assert [getattr(wish, "answer", None) for wish in stage.link.wishes] == ["DEAD"]

    asyncio.run(look())


def test_a_box_whose_own_answer_ends_the_step_says_nothing_of_a_step_that_changed() -> None:
    """The runner may be quicker than the box goes away."""

    async def look() -> None:
        async with on_stage(SCENES["hold"]()) as stage:
            await stage.press("enter")
            box, program = stage.app.screen, stage.app.program
            assert isinstance(box, Prompt) and isinstance(program, WalkProgram)
            box.number = 0  # as for a step that is over
            box._answered = True  # its answer is on its way
            program._drop_stale_prompt()
            assert "nothing was sent" not in program.moment.note
            box._answered = False
            program._drop_stale_prompt()
            assert "nothing was sent" in program.moment.note

    asyncio.run(look())


def test_a_note_box_does_not_freeze_the_walk_behind_it() -> None:
    """What happens meanwhile is painted behind the box, in the very bytes that go to the terminal; the note is kept."""

    async def show() -> None:
        scene = SCENES["place-touching"]()
        async with on_stage(scene) as stage:
            await stage.press("o")
            assert isinstance(stage.app.screen, Prompt)
            await stage.press(*"loose")
            sent: list[str] = []
            display = stage.app._display

            def spy(screen: object, renderable: object) -> None:
                if renderable is not None:
                    sent.append(renderable.render_segments(stage.app.console))  # type: ignore[attr-defined]
                display(screen, renderable)  # type: ignore[arg-type]

            stage.app._display = spy  # type: ignore[method-assign,assignment]
            before = scene.walk.step.subject
            for _ in range(2):  # the contact has settled: it is taken, and read
                stage.hear(scene.walk.add(scene.walk.event()))
            await stage.settle()
            await stage.until(lambda: before in "".join(sent))
            assert isinstance(stage.app.screen, Prompt), "the box stays"
            await stage.press("enter")
            await stage.until(lambda: stage.link.wishes)
            # the walk went on meanwhile: the note names the step at which it was begun
            kept = [one.text for one in stage.link.wishes if isinstance(one, e.Noted)]
            assert kept == [f"at {before}, end to end: loose"]

    asyncio.run(show())
