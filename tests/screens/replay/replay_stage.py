"""The replay on a stage: an eventful walk on disk, the real app, a clock that is moved by hand."""

from __future__ import annotations

import os
import time
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager, contextmanager
from pathlib import Path

from textual.pilot import Pilot

from bench.record.append import RecordWriter
from bench.screens.program.cells import text_of
from bench.screens.program.settings import Settings
from bench.screens.replay.app import replay_terminal
from bench.screens.replay.program import ReplayProgram
from bench.screens.replay.view import ReplayView
from bench.walk import events as e
from bench.walk import requests as r
from tests.screens.gannet import LEADS, Walk, measured


def eventful() -> Walk:
    """A walk with everything that is marked: two failures, one undecided, trouble, a disturbance, a pause."""
    walk = Walk()
    walk.seat()
    walk.until(r.Place, "measure")
    measured(walk, [0.812 + LEADS, "+", 0.897 + LEADS])
    walk.until(r.Measure)
    walk.add(e.Troubled(number=walk.asked.number, instrument="M1", kind="silent", what="M1 did not answer"))
    walk.until(r.Place)
    walk.add(e.Noted(text="the far end is lit", by="Bea"))
    walk.add(e.Disturbed(touches=["J101"], text="a foot"), 3000.0)
    walk.add(e.Paused(why="tea", make_safe=True))
    walk.add(e.Continued(), 7200.0)
    measured(walk, [1.9 + LEADS])
    return walk.until(r.Finished)


def written(walk: Walk, folder: Path) -> Path:
    """The walk's entries as a record on disk."""
    path = folder / "replayed.jsonl"
    with RecordWriter.create(path) as writer:
        for entry in walk.entries:
            writer.append(entry)
    return path


@contextmanager
def clock_of_the_station() -> Iterator[None]:
    """Local time is that of the hall, wherever this runs."""
    before = os.environ.get("TZ")
    os.environ["TZ"] = "UTC-2"
    time.tzset()
    try:
        yield
    finally:
        os.environ.pop("TZ") if before is None else os.environ.update(TZ=before)
        time.tzset()


class Stage:
    """The replay on a stage, with a clock that is moved by hand."""

    def __init__(self, record: Path, settings: Settings | None = None) -> None:
        self.seconds = 0.0
        self.app = replay_terminal(record, settings, clock=lambda: self.seconds)
        self.pilot: Pilot[None]

    @property
    def replay(self) -> ReplayProgram | None:
        found = self.app.first
        assert found is None or isinstance(found, ReplayProgram)
        return found

    @property
    def view(self) -> ReplayView:
        assert self.replay is not None
        return self.replay.view

    @property
    def index(self) -> int:
        return self.view.at.index

    @property
    def text(self) -> str:
        return "\n".join(text_of(one) for one in self.app.sheet.lines)

    async def press(self, *names: str) -> None:
        for name in names:
            await self.pilot.press(name)

    async def until(self, true: Callable[[], object]) -> None:
        for _ in range(1000):
            if true():
                return
            await self.pilot.pause(0.01)
        raise AssertionError(self.text)


@asynccontextmanager
async def on_replay(
    record: Path, *, size: tuple[int, int] = (80, 24), settings: Settings | None = None
) -> AsyncIterator[Stage]:
    stage = Stage(record, settings)
    async with stage.app.run_test(size=size) as pilot:
        stage.pilot = pilot
        await stage.until(lambda: stage.replay is not None and stage.replay.playback is not None)
        yield stage
