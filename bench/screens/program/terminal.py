"""The terminal that our programs run on: it paints at once, and loads the program behind the first picture.

One page fills the screen and takes every key; light and dark, no colour at all where NO_COLOR asks for it, and an end
that comes in order when the terminal goes away. A program may open another one over itself.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import select
import signal
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, ClassVar, Final

from textual.app import App, ComposeResult
from textual.events import Click, Event, Key, Resize
from textual.screen import ModalScreen, Screen
from textual.theme import Theme

from bench.screens.program.cells import EMPTY, Line, Span, centred
from bench.screens.program.prompts import Prompt
from bench.screens.program.settings import Settings
from bench.screens.program.sheet import Sheet

if TYPE_CHECKING:
    from bench.screens.program.program import Program

WHEEL: Final = 3
"""Lines that one notch of a mouse's wheel moves."""
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
        panel="#f2eee2",
        dark=False,
    ),
)
"""The dark and the light look of all screens."""


class Page(Screen[None], inherit_bindings=False):
    """The page. Nothing on it takes the focus; keys go from the terminal to the program."""

    BINDINGS: ClassVar = []
    ESCAPE_TO_MINIMIZE = False

    def __init__(self, sheet: Sheet) -> None:
        super().__init__()
        self._sheet = sheet

    def compose(self) -> ComposeResult:
        """The sheet fills it."""
        yield self._sheet


class Terminal(App[None], inherit_bindings=False):
    """A terminal with one program on it, and whatever that opens, without Textual's keys and menus.

    Args:
        load: makes the program; called in a thread of its own after the first picture, so it may take its time.
        settings: how the screen behaves.
        starting: what is shown until the program is there.

    Attributes:
        first: the program, once it is there, and after it was left.
        programs: the programs that are open, the one that is shown last.
        bug: what ended it, for whoever started it.
        over: whether it has ended.
        told: whether it was told to end by a signal, or lost its terminal.
    """

    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar = []
    TITLE = "Proveout"

    def __init__(self, load: Callable[[Terminal], Program[Any]], settings: Settings | None, starting: str) -> None:
        self.bare = "NO_COLOR" in os.environ
        # only so does Textual leave out colours altogether instead of turning them grey
        super().__init__(ansi_color=True if self.bare else None)
        self.settings = settings or Settings()
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = "day" if self.settings.day else "night"
        self.sheet = Sheet(self.palette)
        self.first: Program[Any] | None = None
        self.programs: list[Program[Any]] = []
        self.bug: BaseException | None = None
        self.over = self.told = False
        self._load, self._starting = load, starting

    def get_default_screen(self) -> Screen[None]:
        """The page is there from the start."""
        return Page(self.sheet)

    async def on_event(self, event: Event) -> None:
        """Take keys one after the other as they were read: each where the one before has left the screen.

        Textual would hand all keys of one read to what was on the screen when they came, and a word that is pasted
        together with the key that opens its box would miss the box.
        """
        if isinstance(event, Key) and not event.is_forwarded:
            top = self.asked()
            if top is None or (isinstance(top, Prompt) and not top.ready):
                self.pressed(event.key, event.character)
                return
        await super().on_event(event)

    def on_mount(self) -> None:
        """Paint, and only then begin to work."""
        self._wait()
        with contextlib.suppress(NotImplementedError, RuntimeError, ValueError, AttributeError):
            # Textual leaves these to the system, which would leave the terminal in a mess
            for number in (signal.SIGTERM, signal.SIGHUP):
                asyncio.get_running_loop().add_signal_handler(number, self.told_to_end)
        self.call_after_refresh(self._begin)

    def _begin(self) -> None:
        threading.Thread(target=self._work, name="loads the program", daemon=True).start()
        self.set_interval(TICK, self.tick, name="tick")

    def _work(self) -> None:
        """Load the program. Not a worker of Textual's: those outlive the screen."""
        try:
            program = self._load(self)
        except BaseException as error:
            # whatever it is, it belongs to who started the terminal, and the screen must not stay behind
            self.bug = error
            return
        self.first = program
        if self.over:
            program.close()  # it came too late

    def _wait(self) -> None:
        rows: list[Line] = [EMPTY] * max(1, self.size.height // 3)
        name, text = Span("Proveout", "accent"), Span(self._starting, "strong")
        self.show([*rows, centred((name,), self.size.width), EMPTY, centred((text,), self.size.width)])

    # what programs do with it

    @property
    def palette(self) -> str:
        """The palette to paint with."""
        return "bare" if self.bare else "day" if self.theme == "day" else "night"

    @property
    def program(self) -> Program[Any] | None:
        """The program that is shown; None before it is there."""
        return self.programs[-1] if self.programs else None

    def show(self, lines: list[Line]) -> None:
        """Paint these lines."""
        self.sheet.show(lines, self.palette)

    def ask(self, box: ModalScreen[str | None], done: Callable[[str | None], None]) -> None:
        """Put a box over the page; what it gives back is handed on."""
        self.push_screen(box, done)

    def asked(self) -> object:
        """The box over the page; None where there is none."""
        return None if isinstance(self.screen, Page) else self.screen

    def open(self, program: Program[Any]) -> None:
        """Show another program over the one that is shown."""
        self.programs.append(program)
        program.begin()
        program.repaint()

    def left(self, program: Program[Any]) -> None:
        """A program has ended: the one below it comes back, or the terminal is given up."""
        if program in self.programs:
            self.programs.remove(program)
        if self.program is not None and self.bug is None:
            self.program.came_back()
        else:
            self.end()

    def sound(self, what: str) -> bool:
        """Have the page in a browser sound a tone; False on a terminal, which has but a bell."""
        tell = getattr(self._driver, "write_meta", None)
        if tell is not None:
            tell({"type": "sound", "what": what})
        return tell is not None

    def turn(self) -> None:
        """From dark to light, or back."""
        self.theme = "night" if self.theme == "day" else "day"
        self.settings.turned(self.theme == "day")

    def end(self) -> None:
        """Give the terminal up."""
        if self.over:
            return
        self.over = True
        for program in {id(one): one for one in (*reversed(self.programs), self.first) if one is not None}.values():
            if not program.over:
                program.over = True
                program.close()
        self.programs.clear()
        self.exit()

    # what happens to it

    def told_to_end(self) -> None:
        """A signal came, or the terminal is gone."""
        self.told = True
        self._take_up()
        for program in [*reversed(self.programs)]:
            program.told_to_end()
        self.end()

    def pressed(self, key: str, character: str | None = None) -> None:
        """A key on the page."""
        if self.over:
            return
        self._take_up()
        if isinstance(box := self.asked(), Prompt):
            box.typed(key, character)  # the key was read before the box was there
        elif self.program is not None:
            self.program.pressed(key, character)
        elif key.lower() in ("q", "ctrl+c", "ctrl+q"):
            self.end()

    def _take_up(self) -> None:
        """The program that was loaded meanwhile is shown."""
        if self.first is not None and not self.programs and not self.over:
            self.open(self.first)

    def tick(self) -> None:
        """Look at what came, and show it."""
        if self.over or not self.screen_stack:
            return  # the timer runs a little longer than the screen
        if terminal_is_gone():
            # no signal comes where this process does not lead its session, and the terminal's reader would spin
            self.told_to_end()
            return
        if self.bug is not None:
            self.end()
            return
        self._take_up()
        if self.program is not None:
            self.program.tick()

    def on_mouse_scroll_down(self) -> None:
        """The wheel moves what arrow keys move."""
        self._wheel("down")

    def on_mouse_scroll_up(self) -> None:
        """The same, the other way."""
        self._wheel("up")

    def _wheel(self, key: str) -> None:
        if self.asked() is None:
            for _ in range(WHEEL):
                self.pressed(key)

    def on_click(self, event: Click) -> None:
        """A click points at something and never does anything."""
        if self.program is not None and self.asked() is None:
            self.program.pointed_at(event.screen_y)

    def on_resize(self, event: Resize) -> None:
        """Everything is drawn for the size that there is."""
        if self.program is not None:
            self.program.repaint()
        else:
            self._wait()


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


def run(terminal: Terminal, *, mouse: bool = False) -> None:
    """Show a program until it is left.

    Args:
        terminal: with the program.
        mouse: take the mouse, to move and to point. Not where somebody walks: it is not needed there, and terminals
            break keys over it when a session is taken up again elsewhere.

    Raises:
        Exception: what loading it raised, or a bug; the terminal is itself again by then.
    """
    terminal.run(mouse=mouse)
    if terminal.bug is not None:
        raise terminal.bug
