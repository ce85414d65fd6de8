"""What all our programs on a terminal have in common: they paint at once and work behind the first picture.

One page fills the screen and takes every key; light and dark, no colour at all where NO_COLOR asks for it, and an end
that comes in order when the terminal goes away.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import select
import signal
from abc import abstractmethod
from collections.abc import Callable
from typing import ClassVar, Final, Protocol

from textual.app import App, ComposeResult
from textual.events import Key, Resize
from textual.screen import Screen
from textual.theme import Theme

from bench.screens.program.cells import EMPTY, Line, Span, centred
from bench.screens.program.settings import Settings
from bench.screens.program.sheet import Sheet

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


class Desk(Protocol):
    """What works behind the first picture."""

    def tick(self) -> None:
        """Look at what came, and show it."""

    def repaint(self) -> None:
        """Draw everything for the size that there is."""


class PaintedScreen(Screen[None], inherit_bindings=False):
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


class ThemedApp(App[None], inherit_bindings=False):
    """A program in our own light and dark, without Textual's keys and menus.

    Args:
        settings: how the screen behaves.
    """

    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar = []
    TITLE = "Proveout"

    def __init__(self, settings: Settings | None) -> None:
        self.bare = "NO_COLOR" in os.environ
        # only so does Textual leave out colours altogether instead of turning them grey
        super().__init__(ansi_color=True if self.bare else None)
        self.settings = settings or Settings()
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = "day" if self.settings.day else "night"


class PaintedApp(ThemedApp, inherit_bindings=False):
    """A screen as a program.

    Args:
        settings: how the screen behaves.
        tick: seconds between two looks at what came.
        starting: what is shown until there is more.
    """

    def __init__(self, settings: Settings | None, tick: float, starting: str) -> None:
        super().__init__(settings)
        self.sheet = Sheet(self.palette)
        self.bug: BaseException | None = None
        self._every, self._starting, self._over = tick, starting, False

    def get_default_screen(self) -> Screen[None]:
        """The page is there from the start."""
        return PaintedScreen(self.sheet, self.pressed)

    def on_mount(self) -> None:
        """Paint, and only then begin to work."""
        self.sheet.show(self._first(), self.palette)
        with contextlib.suppress(NotImplementedError, RuntimeError, ValueError, AttributeError):
            # Textual leaves these to the system, which would leave the terminal in a mess
            for number in (signal.SIGTERM, signal.SIGHUP):
                asyncio.get_running_loop().add_signal_handler(number, self.told_to_end)
        self.call_after_refresh(self._start_work)

    @property
    def palette(self) -> str:
        """The palette to paint with."""
        return "bare" if self.bare else "day" if self.theme == "day" else "night"

    @property
    @abstractmethod
    def at_work(self) -> Desk | None:
        """What works behind the picture; None before it does."""

    @abstractmethod
    def begin(self) -> None:
        """Begin to work: the first picture is painted."""

    @abstractmethod
    def told_to_end(self) -> None:
        """A signal came, or the terminal is gone."""

    @abstractmethod
    def pressed(self, key: str, character: str | None = None) -> None:
        """A key on the page."""

    def tick(self) -> None:
        """Look at what came, and show it."""
        if self._over or not self.screen_stack:
            return  # the timer runs a little longer than the screen
        if terminal_is_gone():
            # no signal comes where this process does not lead its session, and the terminal's reader would spin
            self.told_to_end()
        elif self.at_work is not None:
            self.at_work.tick()

    def on_resize(self, event: Resize) -> None:
        """Everything is drawn for the size that there is."""
        if self.at_work is not None:
            self.at_work.repaint()
        else:
            self.sheet.show(self._first(), self.palette)

    def _first(self) -> list[Line]:
        rows: list[Line] = [EMPTY] * max(1, self.size.height // 3)
        name, text = Span("Proveout", "accent"), Span(self._starting, "strong")
        return [*rows, centred((name,), self.size.width), EMPTY, centred((text,), self.size.width)]

    def _start_work(self) -> None:
        self.begin()
        self.set_interval(self._every, self.tick, name="tick")


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
