"""The job screen on a stage: the real app, a source that answers at once, a clock that stands."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from textual.events import Key
from textual.keys import _character_to_key
from textual.pilot import Pilot

from bench.screens.job.app import job_terminal
from bench.screens.job.data import Source
from bench.screens.job.view import JobView
from bench.screens.program.cells import text_of
from bench.screens.program.settings import Settings
from tests.screens.job.job_scenes import JOB_SCENES, StationSource
from tests.screens.stage import EVENING


class JobStage:
    """One job screen with its source."""

    def __init__(self, source: Source, settings: Settings | None, view: JobView | None) -> None:
        self.source = source
        self.app = job_terminal(lambda: source, settings, view=view, now=lambda: EVENING)
        self.pilot: Pilot[None]

    async def until(self, true: Callable[[], object]) -> None:
        """Wait for something to become true."""
        for _ in range(2000):
            if true():
                return
            await self.pilot.pause(0.005)
        raise AssertionError(f"never came true; the screen says\n{self.text}")

    async def press(self, *keys: str) -> None:
        """Press keys, and wait until what they began is done."""
        for key in keys:
            name = key if key.isalnum() or len(key) > 1 else _character_to_key(key)
            self.app.post_message(Key(name, key if len(key) == 1 else None))
            await self.pilot.pause(0)
            await self.settle()

    async def settle(self) -> None:
        """Have all work done and painted."""
        program = self.app.program
        await self.until(lambda: program is None or program.work is None or self.app.over)
        await self.pilot.pause(0)
        if program is not None and not self.app.over:
            program.tick()
        await self.pilot.pause(0)

    @property
    def moment(self) -> JobView:
        """The moment."""
        assert self.app.first is not None
        return self.app.first.moment

    @property
    def text(self) -> str:
        """All lines of the screen."""
        return "\n".join(text_of(line).rstrip() for line in self.app.sheet.lines)

    @property
    def words(self) -> str:
        """The words with single blanks between."""
        return " ".join(self.text.split())


@asynccontextmanager
async def on_job(
    name: str = "start",
    *,
    size: tuple[int, int] = (80, 24),
    settings: Settings | None = None,
    source: Source | None = None,
    view: JobView | None = None,
) -> AsyncIterator[JobStage]:
    """Run the job screen up to a scene."""
    scene = JOB_SCENES[name]
    stage = JobStage(source or StationSource(), settings, view)
    async with stage.app.run_test(size=size) as pilot:
        stage.pilot = pilot
        await stage.until(lambda: stage.app.programs or stage.app.over)
        await stage.settle()
        await stage.press(*scene.keys)
        yield stage
