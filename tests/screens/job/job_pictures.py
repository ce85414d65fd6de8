"""The job screen drawn over the season of Gannet Head; :mod:`tests.screens.pictures` draws them with the others."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path

from bench.commands.job_source import JobSource
from bench.files import shipped
from bench.screens.program.settings import Settings
from bench.simulate.season import make_season
from tests.screens.job.job_stage import on_job

JOB_SCENES: dict[str, tuple[str, ...]] = {
    "job-start": (),
    "job-ready": ("2", "f", "f"),
    "job-trace": ("a", *"W101.34", "enter"),
    "job-changes": ("6",),
}
"""Page to the keys that lead there."""
JOB_FEW = (
    ("job-start", "120x40"),
    ("job-start", "80x24-day"),
    ("job-ready", "80x24"),
    ("job-trace", "120x40"),
    ("job-changes", "120x40"),
)
"""The pictures that are kept."""


async def draw_job(
    wanted: Callable[[str, str], bool], ways: Mapping[str, tuple[tuple[int, int], Settings]]
) -> dict[str, str]:
    """Draw those that are wanted.

    Args:
        wanted: whether a page is wanted in a way.
        ways: sizes and settings by name.

    Returns:
        Name of page and way to the picture.
    """
    chosen = [(name, way) for way in ways for name in JOB_SCENES if wanted(name, way)]
    if not chosen:
        return {}
    drawn = {}
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        make_season(Path("season"), 1)
        source = JobSource(shipped("sequences") / "gannet-head" / "plant.yaml", Path("season"))
        for name, way in chosen:
            size, settings = ways[way]
            async with on_job("start", size=size, settings=settings, source=source) as stage:
                await stage.press(*JOB_SCENES[name])
                drawn[f"{name}-{way}"] = stage.app.export_screenshot(title="Proveout")
    return drawn
