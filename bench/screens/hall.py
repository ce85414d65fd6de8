"""The hall as a program: the screens around the walk, one page at a time.

It paints at once, reads the job in a thread, and gives the terminal up where a walk or a replay wants it: it ends with
a wish, and whoever opened it carries that out and opens it again where it was.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, ClassVar, Final

from textual.app import App, ComposeResult
from textual.events import Key, Resize
from textual.screen import Screen

from bench.screens.app import THEMES, terminal_is_gone
from bench.screens.cells import EMPTY, Line, Span, centred
from bench.screens.settings import Settings
from bench.screens.sheet import Sheet

if TYPE_CHECKING:
    from bench.screens.hall_data import Source, Wish
    from bench.screens.hall_desk import HallDesk
    from bench.screens.hall_view import Hall

TICK: Final = 0.1
"""Seconds between two looks at how far the work is."""


@dataclass(frozen=True, slots=True)
class Left:
    """How the hall was left.

    Attributes:
        wish: what is to be done with the terminal; None where it was left for good.
        hall: the moment, to open it again there; None where it never came to one.
        day: whether the screen was light.
    """

    wish: Wish | None
    hall: Hall | None
    day: bool


class HallScreen(Screen[None], inherit_bindings=False):
    """The page. Nothing on it takes the focus, so every key comes here."""

    BINDINGS: ClassVar = []
    ESCAPE_TO_MINIMIZE = False

    def __init__(self, sheet: Sheet, pressed: Callable[[str, str | None], None]) -> None:
        super().__init__()
        self._sheet, self._pressed = sheet, pressed

    def compose(self) -> ComposeResult:
        """The sheet fills it."""
        yield self._sheet

    def on_key(self, event: Key) -> None:
        """Every key goes to the desk."""
        event.stop()
        event.prevent_default()
        self._pressed(event.key, event.character)


class HallApp(App[None], inherit_bindings=False):
    """The screen as a program. Use :func:`open_hall`, or :meth:`App.run_test` in tests.

    Args:
        source: reads the job.
        settings: how the screen behaves.
        hall: the moment to begin with.
        now: time on the wall, with its zone.
    """

    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar = []
    TITLE = "Proveout"

    def __init__(
        self,
        source: Source,
        settings: Settings | None = None,
        *,
        hall: Hall | None = None,
        now: Callable[[], datetime] = lambda: datetime.now().astimezone(),
    ) -> None:
        bare = "NO_COLOR" in os.environ
        # only so does Textual leave out colours altogether instead of turning them grey
        super().__init__(ansi_color=True if bare else None)
        self.settings = settings or Settings()
        self.sheet = Sheet("bare" if bare else "day" if self.settings.day else "night")
        self.desk: HallDesk | None = None
        self.bug: BaseException | None = None
        self.wish: Wish | None = None
        self._source, self._hall, self._now = source, hall, now
        self._bare = bare
        self._over = False
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = "day" if self.settings.day else "night"

    def get_default_screen(self) -> Screen[None]:
        """The page is there from the start."""
        return HallScreen(self.sheet, self.pressed)

    def on_mount(self) -> None:
        """Paint, and only then begin to work."""
        self.sheet.show(self._first(), self.palette)
        with contextlib.suppress(NotImplementedError, RuntimeError, ValueError, AttributeError):
            for number in (signal.SIGTERM, signal.SIGHUP):
                asyncio.get_running_loop().add_signal_handler(number, self.leave)
        self.call_after_refresh(self._begin)

    @property
    def palette(self) -> str:
        """The palette to paint with."""
        return "bare" if self._bare else "day" if self.theme == "day" else "night"

    def _first(self) -> list[Line]:
        rows: list[Line] = [EMPTY] * max(1, self.size.height // 3)
        name, text = Span("Proveout", "accent"), Span("Opening the job ...", "strong")
        return [*rows, centred((name,), self.size.width), EMPTY, centred((text,), self.size.width)]

    def _begin(self) -> None:
        # loaded behind the first picture, since it brings the whole house with it
        from bench.screens.hall_desk import HallDesk

        self.desk = HallDesk(self, self._source, self._now, self._hall)
        self.desk.repaint()
        self.set_interval(TICK, self.tick, name="tick")

    def tick(self) -> None:
        """Look how far the work is."""
        if self._over:
            return  # the timer runs a little longer than the screen
        if terminal_is_gone():
            # no signal comes where this process does not lead its session, and the terminal's reader would spin
            self.leave()
        elif self.desk is not None:
            self.desk.tick()

    def pressed(self, key: str, character: str | None) -> None:
        """A key on the page."""
        if self._over:
            return
        if self.desk is not None:
            self.desk.pressed(key, character)
        elif key in ("q", "ctrl+c", "ctrl+q"):
            self.leave()

    def on_resize(self, event: Resize) -> None:
        """Everything is drawn for the size that there is."""
        if self.desk is not None:
            self.desk.repaint()
        else:
            self.sheet.show(self._first(), self.palette)

    def turn(self) -> None:
        """From dark to light, or back."""
        self.theme = "night" if self.theme == "day" else "day"

    def leave(self, wish: Wish | None = None) -> None:
        """End the screen, with what is to be done outside it."""
        if self._over:
            return
        self._over = True
        self.wish = wish
        if self.desk is not None:
            self.desk.close()
        self.exit()


def open_hall(source: Source, settings: Settings | None = None, hall: Hall | None = None) -> Left:
    """Show the hall until it is left.

    Args:
        source: reads the job.
        settings: how the screen behaves.
        hall: the moment to begin with.

    Returns:
        What is to be done next, and where it was left.

    Raises:
        Exception: what the source raised before there was anything to show, or a bug.
    """
    app = HallApp(source, settings, hall=hall)
    # the mouse is not needed, and terminals break keys over it when a session is taken up again elsewhere
    app.run(mouse=False)
    if app.bug is not None:
        raise app.bug
    return Left(app.wish, app.desk.hall if app.desk is not None else None, app.theme == "day")
