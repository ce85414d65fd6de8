"""Pictures of the hall over the season of Gannet Head; :mod:`tests.screens.pictures` draws them with the others."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path

from bench.commands.job_screen import JobSource
from bench.files import shipped
from bench.screens.program.settings import Settings
from bench.simulate.season import make_season
from tests.screens.job.hall_stage import in_hall

HALL_SCENES: dict[str, tuple[str, ...]] = {
    "hall-start": (),
    "hall-ready": ("2", "f", "f"),
    "hall-trace": ("p", *"W101.34", "enter"),
    "hall-changes": ("6",),
}
"""Page to the keys that lead there."""
HALL_FEW = (
    ("hall-start", "120x40"),
    ("hall-start", "80x24-day"),
    ("hall-ready", "80x24"),
    ("hall-trace", "120x40"),
    ("hall-changes", "120x40"),
)
"""The pictures that are kept."""


async def draw_hall(
    wanted: Callable[[str, str], bool], ways: Mapping[str, tuple[tuple[int, int], Settings]]
) -> dict[str, str]:
    """Draw those that are wanted.

    Args:
        wanted: whether a page is wanted in a way.
        ways: sizes and settings by name.

    Returns:
        Name of page and way to the picture.
    """
    chosen = [(name, way) for way in ways for name in HALL_SCENES if wanted(name, way)]
    if not chosen:
        return {}
    drawn = {}
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        make_season(Path("season"), 1)
        source = JobSource(shipped("sequences") / "gannet-head" / "plant.yaml", Path("season"))
        for name, way in chosen:
            size, settings = ways[way]
            async with in_hall("start", size=size, settings=settings, source=source) as stage:
                await stage.press(*HALL_SCENES[name])
                drawn[f"{name}-{way}"] = stage.app.export_screenshot(title="Proveout")
    return drawn
