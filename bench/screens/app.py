"""The operator's screen: paints at once, then calls the runner, then shows what its record says.

The screen holds no truth of its own. It folds the record that the runner sends, and every key becomes a wish that the
runner records or refuses. What it must do quickly it does here; all words and drawing are pure functions elsewhere,
which are loaded behind the first picture.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import select
import signal
import threading
import time
from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, ClassVar, Final

from textual.app import App, ComposeResult
from textual.events import Key, Resize
from textual.screen import Screen
from textual.theme import Theme

from bench.screens.cells import EMPTY, Line, Span, centred
from bench.screens.settings import Ended, Settings, Why
from bench.screens.sheet import Sheet

if TYPE_CHECKING:
    from bench.screens.desk import Desk
    from bench.screens.link import Connect

TICK: Final = 0.05
"""Seconds between two looks at what came: nobody reads faster than twenty pictures a second."""

THEMES: Final = (
    Theme(
        name="night",
        primary="#f0b64c",
        accent="#f0b64c",
        error="#ff7d5c",
        foreground="#d8e0dd",
        background="#0f1518",
        surface="#0f1518",
        panel="#1a2327",
        dark=True,
    ),
    Theme(
        name="day",
        primary="#8a4f00",
        accent="#8a4f00",
        error="#b02a12",
        foreground="#20282b",
        background="#f7f4ea",
        surface="#f7f4ea",
        panel="#e9e4d3",
        dark=False,
    ),
)
"""The dark and the light look of all screens."""


class WalkScreen(Screen[None], inherit_bindings=False):
    """The page. Nothing on it takes the focus, so every key comes here."""

    BINDINGS: ClassVar = []
    ESCAPE_TO_MINIMIZE = False

    def __init__(self, sheet: Sheet, pressed: Callable[[str], None]) -> None:
        super().__init__()
        self._sheet, self._pressed = sheet, pressed

    def compose(self) -> ComposeResult:
        """The sheet fills it."""
        yield self._sheet

    def on_key(self, event: Key) -> None:
        """Every key goes to the desk."""
        event.stop()
        event.prevent_default()
        self._pressed(event.key)


class WalkApp(App[None], inherit_bindings=False):
    """The screen as a program. Use :func:`run`, or :meth:`App.run_test` in tests.

    Args:
        connect: makes the line to the runner; called in a thread of its own after the first picture.
        settings: how the screen behaves.
        clock: monotonic seconds.
        now: time on the wall, with its zone.
    """

    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar = []
    TITLE = "Proveout"

    def __init__(
        self,
        connect: Connect,
        settings: Settings | None = None,
        *,
        clock: Callable[[], float] = time.monotonic,
        now: Callable[[], datetime] = lambda: datetime.now().astimezone(),
    ) -> None:
        bare = "NO_COLOR" in os.environ
        # only so does Textual leave out colours altogether instead of turning them grey
        super().__init__(ansi_color=True if bare else None)
        self.settings = settings or Settings()
        self.sheet = Sheet("bare" if bare else "day" if self.settings.day else "night")
        self.desk: Desk | None = None
        self.ended = Ended("left")
        self.bug: BaseException | None = None
        self._connect, self._clock, self._now = connect, clock, now
        self._bare = bare
        self._over = False
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = "day" if self.settings.day else "night"

    def get_default_screen(self) -> Screen[None]:
        """The page is there from the start."""
        return WalkScreen(self.sheet, self.pressed)

    def on_mount(self) -> None:
        """Paint, and only then begin to work."""
        self.sheet.show(self._first(), self.palette)
        with contextlib.suppress(NotImplementedError, RuntimeError, ValueError, AttributeError):
            # Textual leaves these to the system, which would leave the terminal in a mess
            for number in (signal.SIGTERM, signal.SIGHUP):
                asyncio.get_running_loop().add_signal_handler(number, self.leave, "ended")
        self.call_after_refresh(self._begin)

    @property
    def palette(self) -> str:
        """The palette to paint with."""
        return "bare" if self._bare else "day" if self.theme == "day" else "night"

    def _first(self) -> list[Line]:
        rows: list[Line] = [EMPTY] * max(1, self.size.height // 3)
        name, text = Span("Proveout", "accent"), Span(self.settings.starting, "strong")
        return [*rows, centred((name,), self.size.width), EMPTY, centred((text,), self.size.width)]

    def _begin(self) -> None:
        threading.Thread(target=self._work, name="line to the runner", daemon=True).start()
        self.set_interval(TICK, self.tick, name="tick")

    def _work(self) -> None:
        """Load the rest of the screen and connect. Not a worker of Textual's: those outlive the screen."""
        try:
            from bench.screens.desk import Desk

            desk = Desk(self, self._clock, self._now)
            link = self._connect(desk.follower.hear)
            desk.connected(link)
        except BaseException as error:
            # whatever it is, it belongs to who called run(), and the screen must not stay behind
            self.bug = error
            return
        self.desk = desk
        if self._over:
            desk.close()  # the line came too late

    def tick(self) -> None:
        """Look at what came, and show it."""
        if self._over or not self.screen_stack:
            return  # the timer runs a little longer than the screen
        if terminal_is_gone():
            # no signal comes where this process does not lead its session, and the terminal's reader would spin
            self.leave("ended")
        elif self.bug is not None:
            self.leave("left")
        elif self.desk is not None:
            self.desk.tick()

    def pressed(self, key: str) -> None:
        """A key on the page."""
        if self.desk is not None:
            self.desk.pressed(key.lower() if len(key) == 1 else key, typed=key)
        elif key in ("q", "ctrl+c", "ctrl+q"):
            self.leave("left")

    def on_resize(self, event: Resize) -> None:
        """Everything is drawn for the size that there is."""
        if self.desk is not None:
            self.desk.repaint()
        else:
            self.sheet.show(self._first(), self.palette)

    def leave(self, why: Why) -> None:
        """End the screen; the runner pauses by itself."""
        if self._over:
            return
        self._over = True
        self.ended = self.desk.ended(why) if self.desk is not None else Ended(why)
        if self.desk is not None:
            self.desk.close()
        self.exit()


def terminal_is_gone() -> bool:
    """Whether the terminal that this process reads from was closed."""
    if not hasattr(select, "poll"):
        return False  # no such terminals there
    try:
        watch = select.poll()
        watch.register(0, 0)
        return any(events & (select.POLLHUP | select.POLLNVAL) for _, events in watch.poll(0))
    except (OSError, ValueError):
        return False


def run(connect: Connect, settings: Settings | None = None) -> Ended:
    """Show the screen until it is left.

    Args:
        connect: makes the line to the runner, in a thread of its own; see :data:`bench.screens.link.Connect`.
        settings: how the screen behaves.

    Returns:
        How it ended, with the last state.

    Raises:
        Exception: whatever ``connect`` raised; the terminal is itself again by then.
    """
    app = WalkApp(connect, settings)
    # the mouse is not needed, and terminals break keys over it when a session is taken up again elsewhere
    app.run(mouse=False)
    if app.bug is not None:
        raise app.bug
    return app.ended
