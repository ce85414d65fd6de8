"""The walking screen and the replay look as they were last looked at, at 80 by 24 and at 120 by 40.

The looks are kept as text in ``snapshots``; ``python -m tests.screens.walk.test_walking_looks`` writes them anew.
Look at the difference before you keep it.
"""

from __future__ import annotations

import asyncio
import tempfile
import time
from pathlib import Path

import pytest

from tests.screens.replay.replay_pictures import REPLAY_SCENES
from tests.screens.replay.replay_stage import clock_of_the_station, eventful, on_replay, written
from tests.screens.scenes import SCENES
from tests.screens.stage import on_stage

pytestmark = pytest.mark.together("scenes")

SNAPSHOTS = Path(__file__).parents[1] / "snapshots"
KEPT = [(80, 24), (120, 40)]
WALKING = (
    "meeting", "consent", "caution", "hold", "hold-typed", "do", "ask", "ask-typed", "zero", "prove", "place-open",
    "place-touching", "place-passed", "place-failed", "place-high", "place-undecided", "mirrored", "insulation",
    "insulating", "voltage-coming", "discharged",
    "feed", "switching", "wait", "trouble", "unsafe", "paused", "watching", "refused", "help", "note",
    "disturb", "skip", "abort", "leave", "failing", "lost", "done", "done-clean", "aborted",
    "earth", "earth-suspected", "earth-lifted", "earth-found", "search-beep",
)  # fmt: skip
"""The pages of the walking screen that are kept."""


async def _walking(name: str, size: tuple[int, int]) -> str:
    async with on_stage(SCENES[name](), size=size) as stage:
        return stage.text


async def _replayed(name: str, size: tuple[int, int]) -> str:
    with tempfile.TemporaryDirectory() as folder:
        record = written(eventful(), Path(folder))
        async with on_replay(record, size=size) as stage:
            await stage.press(*REPLAY_SCENES[name])
            return stage.text


def look(name: str, size: tuple[int, int]) -> str:
    """What a page looks like; blanks at the ends of lines do not matter."""
    with clock_of_the_station():
        text = asyncio.run(_replayed(name, size) if name in REPLAY_SCENES else _walking(name, size))
    return "".join(f"{line.rstrip()}\n" for line in text.split("\n"))


def kept(name: str, size: tuple[int, int]) -> Path:
    """Where a page's look is kept."""
    return SNAPSHOTS / f"{name if name in REPLAY_SCENES else f'walk-{name}'}-{size[0]}x{size[1]}.txt"


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the clock's zone cannot be set here")
@pytest.mark.parametrize("size", KEPT, ids=lambda size: "x".join(map(str, size)))
@pytest.mark.parametrize("name", [*WALKING, *REPLAY_SCENES])
@pytest.mark.quick_cases(12)
def test_a_page_looks_as_it_was_last_looked_at(name: str, size: tuple[int, int]) -> None:
    assert look(name, size) == kept(name, size).read_text("utf-8")


def main() -> None:
    """Write what every page looks like."""
    SNAPSHOTS.mkdir(exist_ok=True)
    for name in (*WALKING, *REPLAY_SCENES):
        for size in KEPT:
            kept(name, size).write_text(look(name, size), "utf-8")


if __name__ == "__main__":
    main()
