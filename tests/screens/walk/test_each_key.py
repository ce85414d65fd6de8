"""Each key that the walking screen has is pressed once on the real app, on a page that offers it, and does its act."""

from __future__ import annotations

import asyncio
import functools
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

from bench.screens.program.prompts import Prompt, Sure
from bench.screens.walk import keys
from bench.screens.walk.findings import to_copy
from bench.screens.walk.sayings import last_reading
from bench.screens.walk.view import View
from bench.walk import events as e
from bench.walk.state import State
from tests import made_once
from tests.screens.scenes import SCENES, Scene
from tests.screens.stage import Stage, on_stage

pytestmark = pytest.mark.together("scenes")


def _wished(stage: Stage, event: e.Event) -> bool:
    return stage.link.wishes == [event]


def _asked(stage: Stage, kind: type = Prompt) -> bool:
    return isinstance(stage.app.screen, kind) and stage.link.wishes == []


def _view(stage: Stage) -> View:
    assert stage.app.program is not None
    return stage.app.program.moment


def _again(state: State) -> int:
    found = last_reading(state)
    assert found is not None
    return found.index


def _before(state: State) -> int:
    """The step before; in a search that was answered its own, which takes the last answer back."""
    seeking = state.seeking
    return (
        state.place.cursor
        if seeking is not None and seeking.index == state.place.cursor and seeking.trail
        else state.place.cursor - 1
    )


DOES: dict[str, Callable[[Stage, State], object]] = {
    "take": lambda stage, s: _wished(stage, e.Answered(number=s.number)),
    "yes": lambda stage, s: _wished(stage, e.Answered(number=s.number, answer="yes")),
    "no": lambda stage, s: _wished(stage, e.Answered(number=s.number, answer="no")),
    "retry": lambda stage, s: _wished(stage, e.Answered(number=s.number, answer="retry")),
    "word": lambda stage, s: _asked(stage),
    "value": lambda stage, s: _asked(stage),
    "reason": lambda stage, s: _asked(stage),
    "skip": lambda stage, s: _asked(stage),
    "skip-search": lambda stage, s: _asked(stage),
    "note": lambda stage, s: _asked(stage),
    "disturb": lambda stage, s: _asked(stage),
    "abort": lambda stage, s: _asked(stage),
    "back": lambda stage, s: _wished(stage, e.Went(number=s.number, to=_before(s), then="go-on")),
    "again": lambda stage, s: _wished(stage, e.Went(number=s.number, to=_again(s), then="return")),
    "stop": lambda stage, s: _wished(stage, e.Paused(why="the test voltage was stopped by a key", make_safe=True)),
    "pause": lambda stage, s: _wished(stage, e.Paused(why="the operator paused", make_safe=True)),
    "all-off": lambda stage, s: _wished(stage, e.Paused(why="everything was switched off by a key", make_safe=True)),
    "go-on": lambda stage, s: _wished(stage, e.Continued()),
    "seat": lambda stage, s: (stage.link.taken == 1 or _asked(stage, Sure)) and stage.link.wishes == [],
    "mirror": lambda stage, s: _view(stage).mirrored,
    "stages": lambda stage, s: _view(stage).stages,
    "earth": lambda stage, s: _view(stage).earth,
    "help": lambda stage, s: _view(stage).help,
    "close": lambda stage, s: not _view(stage).help and _view(stage).typed is None,
    "actions": lambda stage, s: _view(stage).typed == "" and stage.link.wishes == [],
    "copy": lambda stage, s: to_copy(s).partition("\n")[0] in _view(stage).note and stage.link.wishes == [],
    "theme": lambda stage, s: stage.app.theme == "day",
    "sound": lambda stage, s: _view(stage).note == "tones are off",
    "leave": lambda stage, s: stage.app.over or _asked(stage, Sure),
    # what is done then is in tests/walk/test_afterwards.py
    "explain": lambda stage, s: stage.app.over,
    "report": lambda stage, s: stage.app.over,
    "next": lambda stage, s: stage.app.over,
}
"""What each act comes to, given the stage after the key and the state before it."""


def _pages() -> dict[tuple[str, str], tuple[str, tuple[str, ...]]]:
    """Act and key to a scene that offers it and the keys that lead to the page."""
    found: dict[tuple[str, str], tuple[str, tuple[str, ...]]] = {}
    made = {name: make() for name, make in SCENES.items()}
    # pages that nothing was said to beside the record come first
    for name in sorted((name for name in made if made[name].linked), key=lambda one: bool(made[one].said)):
        scene = made[name]
        state = scene.walk.state
        for way, view in (
            ((), View(state=state, you=scene.you)),
            (("question_mark",), View(state=state, you=scene.you, help=True)),
        ):
            for one in keys.keys(view):
                for key in one.keys:
                    found.setdefault((one.does, key), (name, way))
    return found


def _write(folder: Path) -> None:
    told = [[*act, *page] for act, page in _pages().items()]
    (folder / "pages.json").write_bytes(msgspec.json.encode(told))


@functools.cache
def pages() -> dict[tuple[str, str], tuple[str, tuple[str, ...]]]:
    """The same, worked out once for all workers."""
    told = msgspec.json.decode((made_once.folder("pages-of-keys", _write) / "pages.json").read_bytes())
    return {(does, key): (name, tuple(way)) for does, key, name, way in told}


def test_every_act_of_every_page_has_its_expectation() -> None:
    assert {does for does, _ in pages()} == set(DOES)


@pytest.mark.parametrize("does", DOES)
@pytest.mark.quick_cases(5)
def test_a_key_does_what_it_says(does: str) -> None:
    """Each key of an act; no act is without one."""
    mine = {key: page for (act, key), page in pages().items() if act == does}
    assert mine

    async def act() -> None:
        for key, (name, way) in mine.items():
            scene: Scene = SCENES[name]()
            scene.keys = ()
            async with on_stage(scene) as stage:
                await stage.press(*way)
                await stage.press(key)
                assert DOES[does](stage, scene.walk.state), (name, key, stage.link.wishes, stage.text)

    asyncio.run(act())
