"""A screen on a stage: the real app, a fake line, a clock that is moved by hand."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta, timezone

from textual.events import Key
from textual.keys import _character_to_key
from textual.pilot import Pilot

from bench.screens.program.cells import text_of
from bench.screens.program.prompts import Prompt, Sure
from bench.screens.program.settings import Settings
from bench.screens.walk.app import walk_terminal
from tests.screens.scenes import Scene

ZONE = timezone(timedelta(hours=2), "summer")
EVENING = datetime(2026, 5, 12, 18, 42, tzinfo=UTC).astimezone(ZONE)


class FakeLink:
    """Keeps what a screen asks for."""

    record = "logs/2026-05-12-W101.jsonl"

    def __init__(self, you: str = "Ana", seat: str = "") -> None:
        self.you, self.seat = you, seat
        self.wishes: list[object] = []
        self.taken = 0
        self.covered: list[bool] = []
        self.closed = False
        self.cut = False

    def wish(self, event: object) -> None:
        if self.cut:
            raise ConnectionError("the runner is gone")
        self.wishes.append(event)

    def take_seat(self) -> None:
        self.taken += 1

    def busy(self, covered: bool) -> None:
        self.covered.append(covered)

    def close(self) -> None:
        self.closed = True


class Stage:
    """One screen with its line and its clock."""

    def __init__(self, you: str = "Ana", *, seat: str = "Bea", settings: Settings | None = None) -> None:
        self.link = FakeLink(you, seat)
        self.seconds = 1000.0
        self.now = EVENING
        self.heard: Callable[[object], None] | None = None
        self.app = walk_terminal(self._connect, settings, clock=lambda: self.seconds, now=lambda: self.now)
        self.pilot: Pilot[None]

    def _connect(self, heard: Callable[[object], None]) -> FakeLink:
        self.heard = heard
        return self.link

    def hear(self, *messages: object) -> None:
        """The runner says this; a second passes."""
        assert self.heard is not None
        for message in messages:
            self.heard(message)
        self.seconds += 1.0

    async def until(self, true: Callable[[], object]) -> None:
        """Wait for something to become true, as long as a busy machine may take."""
        for _ in range(6000):
            if true():
                return
            await self.pilot.pause(0.005)
        raise AssertionError(f"never came true; the screen says\n{self.text}")

    async def press(self, *keys: str, apart: float = 2.0) -> None:
        """Press keys, with so much time between them on the screen's clock."""
        for key in keys:
            self.seconds += apart
            await self.key(key)
        await self.settle()

    async def key(self, key: str) -> None:
        """One key, without the pilot's waiting: that takes a tenth of a second for each."""
        name = key if key.isalnum() or len(key) > 1 else _character_to_key(key)
        self.app.post_message(Key(name, key if len(key) == 1 else None))
        await self.pilot.pause(0)
        await self.pilot.pause(0)

    async def settle(self) -> None:
        """Have everything that was said painted."""
        await self.pilot.pause(0)
        if self.app.program is not None and not self.app.over:
            self.app.program.tick()
        await self.pilot.pause(0)

    @property
    def text(self) -> str:
        """All words on the screen, those of a prompt too."""
        lines = [text_of(line) for line in self.app.sheet.lines]
        top = self.app.screen
        if isinstance(top, Prompt | Sure):
            lines += [str(widget.render()) for widget in top.query("Static")]
        return "\n".join(lines)

    @property
    def words(self) -> str:
        """The words with single blanks between, as a reader takes them in across line ends."""
        marks = str.maketrans(dict.fromkeys("┃│╭╮╰╯━─╱┏┓┗┛", " "))
        return " ".join(self.text.translate(marks).split())


@asynccontextmanager
async def on_stage(
    scene: Scene | None = None,
    *,
    size: tuple[int, int] = (80, 24),
    settings: Settings | None = None,
    you: str = "Ana",
    seat: str = "Bea",
) -> AsyncIterator[Stage]:
    """Run the app with a scene played to it."""
    stage = Stage(scene.you if scene is not None else you, seat=seat, settings=settings)
    if scene is not None and not scene.linked:
        stage.app._connect = lambda heard: never()  # type: ignore[assignment,return-value]
    async with stage.app.run_test(size=size) as pilot:
        stage.pilot = pilot
        if scene is None or scene.linked:
            await stage.until(lambda: stage.app.program is not None)
        if scene is not None and scene.linked:
            stage.hear(*scene.walk.entries)
            stage.hear(*scene.said)
            await stage.settle()
            await stage.press(*scene.keys)
            stage.seconds += 2.0
        await stage.settle()
        yield stage


def never() -> None:
    """A runner that takes long to start."""
    import threading

    threading.Event().wait(0.5)
    raise ConnectionError("the test is over")
