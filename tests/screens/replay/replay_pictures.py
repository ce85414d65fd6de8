"""Pictures of the replay; :mod:`tests.screens.pictures` draws them with the others."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path

from bench.screens.program.settings import Settings
from tests.screens.replay.replay_stage import clock_of_the_station, eventful, on_replay, written

REPLAY_SCENES: dict[str, tuple[str, ...]] = {
    "replay-seen": ("f", "f", "right"),
    "replay-meter": ("f", "f", "tab"),
    "replay-events": ("f", "f", "tab", "tab"),
    "replay-help": ("question_mark",),
}
"""Page to the keys that lead there."""
REPLAY_FEW = (("replay-seen", "120x40"), ("replay-meter", "80x24"))
"""The pictures that are kept."""


async def draw_replay(
    wanted: Callable[[str, str], bool], ways: Mapping[str, tuple[tuple[int, int], Settings]]
) -> dict[str, str]:
    """Draw those that are wanted.

    Args:
        wanted: whether a page is wanted in a way.
        ways: sizes and settings by name.

    Returns:
        Name of page and way to the picture.
    """
    drawn = {}
    with tempfile.TemporaryDirectory() as folder, clock_of_the_station():
        record = written(eventful(), Path(folder))
        for way, (size, settings) in ways.items():
            for name in (one for one in REPLAY_SCENES if wanted(one, way)):
                async with on_replay(record, size=size, settings=settings) as stage:
                    await stage.press(*REPLAY_SCENES[name])
                    drawn[f"{name}-{way}"] = stage.app.export_screenshot(title="Proveout")
    return drawn
