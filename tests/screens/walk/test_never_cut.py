"""No word of an instruction, no lead's colour and no pin is ever cut away, whatever the size of the glass."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from msgspec.structs import replace

from bench.screens.program.cells import Line
from bench.screens.walk.paint import LEAST_CELLS, LEAST_ROWS, paint
from bench.screens.walk.view import View
from bench.walk.left_on import live_words
from tests.screens.scenes import SCENES
from tests.screens.walk.every_page import DRAFTS, begun, pages
from tests.screens.walk.test_scenes import view_of

pytestmark = pytest.mark.together("scenes")

SIZES = ((80, 24), (60, 20), (120, 40), (48, 44), (LEAST_CELLS, LEAST_ROWS))
"""A usual terminal, a small one, a large one, a phone held upright, and the least that is taken."""
ASKS = ("place", "measure", "beep", "do", "ask", "caution", "hold", "wait", "consent")
EVERY = [(job, kind, of) for job, drafts in DRAFTS.items() for kind, of in drafts]


def text_of(lines: list[Line]) -> str:
    return "\n".join("".join(span.text for span in one) for one in lines)


def seen(view: View, cells: int, rows: int) -> str:
    """Everything that can be seen of a page, scrolled through from its beginning to its end."""
    first = paint(view, cells, rows)
    windows = [text_of(first.lines)]
    for place in range(1, first.furthest + 1):
        windows.append(text_of(paint(replace(view, scroll=place), cells, rows).lines))
    return "\n".join(windows)


def words_of(text: str) -> Counter[str]:
    return Counter(re.findall(r"\S+", text))


def must(view: View) -> Iterator[str]:
    """What a person at that step has to read: what to do, and where each lead goes.

    While a test voltage is on, the page says nothing but that, and hands off: nobody goes anywhere then.
    """
    now = view.page
    if now.title not in ("Caution", "Hold point"):  # the frame says these in capitals
        yield now.title
    if view.kind == "voltage":
        return
    yield now.text
    for lead in now.leads:
        yield from (lead.colour.upper(), lead.label, lead.where)


def cut(view: View, cells: int, rows: int) -> list[str]:
    """Words that the page should show and does not."""
    shown = seen(view, cells, rows)
    there = set(words_of(shown))
    flat = re.sub(r"\s+", "", shown)
    return [
        word
        for text in must(view)
        for word in text.split()
        if word not in there and word.rstrip(".,:;") not in flat and word not in flat
    ]


def lacking(folder: Path, job: str, kind: str, of: str, size: tuple[int, int], *, every: int) -> dict[str, list[str]]:
    found = {}
    for number, (name, state) in enumerate(pages(folder, job, kind, of)):
        if number % every == 0:
            view = View(state=state)
            if words := cut(view, *size):
                found[name] = words
    return found


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("jobs")


@pytest.mark.slow
@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize(("job", "kind", "of"), EVERY, ids=lambda one: str(one).replace(" ", "-"))
def test_no_word_is_cut(folder: Path, job: str, kind: str, of: str, size: tuple[int, int]) -> None:
    whole = begun(folder, job, kind, of).setting
    assert whole is not None
    # a draft of a thousand steps says the same few things about one place after the other
    every = 1 if len(whole.plan.steps) < 400 else 3
    assert lacking(folder, job, kind, of, size, every=every) == {}


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("name", sorted(SCENES))
@pytest.mark.quick_cases(95)
def test_no_word_of_a_scene_is_cut(name: str, size: tuple[int, int]) -> None:
    view = view_of(SCENES[name]())
    if view.kind in ASKS:
        assert cut(view, *size) == []


def test_a_glass_that_is_too_small_says_so_and_what_is_on(folder: Path) -> None:
    for name, state in pages(folder, "beacon-hut", "polarity", "finder"):
        for size in ((LEAST_CELLS - 1, 40), (120, LEAST_ROWS - 1)):
            shown = seen(View(state=state), *size)
            assert "Too small" in shown, name


@pytest.mark.slow
def test_every_lead_of_a_draft_has_its_colour_at_a_usual_size(folder: Path) -> None:
    """A sample of what the slow tests look at whole."""
    for job, kind, of in EVERY[1::9]:
        assert lacking(folder, job, kind, of, (80, 24), every=23) == {}


@pytest.fixture(scope="module")
def on() -> list[View]:
    """Scenes in which something is on."""
    return [view for name in sorted(SCENES) if live_words((view := view_of(SCENES[name]())).state)]


@pytest.mark.parametrize("size", (*SIZES, (30, 10)), ids=lambda size: f"{size[0]}x{size[1]}")
def test_what_is_on_and_its_volts_stand_on_every_page_at_every_size(on: list[View], size: tuple[int, int]) -> None:
    assert len({view.kind for view in on}) >= 5
    for scene in on:
        wanted = re.sub(r"\s+", "", f"ON: {'; '.join(live_words(scene.state))}")
        for view in (scene, replace(scene, stages=True), replace(scene, earth=True)):
            flat = re.sub(r"[\s│┃]+", "", text_of(paint(view, *size).lines))
            assert wanted in flat, (view.kind, size)
