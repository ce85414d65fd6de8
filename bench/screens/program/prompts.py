"""Asking for a word, a reason or a yes, on top of the page."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import ClassVar, Final

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.events import Key
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from bench.screens.program.glyphs import ASCII, UNICODE

OUT: Final = ("escape", "ctrl+c", "ctrl+q")
"""Keys that leave a box."""
Check = Callable[[str], str]
"""Says what is wrong with an answer; empty where nothing is."""


def _nothing() -> None:
    """Nothing else is done by leaving."""


class _Asking(ModalScreen[str | None], inherit_bindings=False):
    """A box over the page.

    Args:
        title: what is asked.
        lines: what to know about it.
        number: the request that it belongs to; None where it belongs to none.
        unicode: whether the terminal has signs beyond ASCII.
    """

    DEFAULT_CSS = """
    _Asking { align: center middle; background: $background 60%; }
    _Asking Vertical {
        width: 72; max-width: 96%; height: auto; padding: 1 2; background: $panel; border: heavy $accent;
    }
    _Asking.plain Vertical { border: ascii $accent; }
    _Asking Static { height: auto; }
    _Asking .about { height: auto; max-height: 50vh; }
    _Asking .title { text-style: bold; margin-bottom: 1; }
    _Asking .wrong { text-style: bold; color: $error; height: auto; min-height: 1; }
    _Asking .keys { color: $accent; }
    _Asking .sure { margin-top: 1; }
    _Asking Input { margin-top: 1; border: tall $accent; background: $background; }
    _Asking:nocolor Input > .input--cursor { text-style: reverse; }
    _Asking.plain Input { border: ascii $accent; }
    """
    BINDINGS: ClassVar = []
    ESCAPE_TO_MINIMIZE = False

    def __init__(self, title: str, lines: Sequence[str], number: int | None, *, unicode: bool) -> None:
        super().__init__(classes="" if unicode else "plain")
        self.number = number
        self._answered = False
        self.out: Callable[[], None] = _nothing
        """Called when a key to leave everything is pressed, before the box goes."""
        self._unicode = unicode
        self._title, self._lines = title, lines

    def answer(self, text: str | None) -> bool:
        """Give an answer back, and only once: two keys that come in one read are both for this box.

        Args:
            text: the answer; None where nothing is to happen.

        Returns:
            Whether it is the answer: the first one is.
        """
        if self._answered:
            return False
        self._answered = True
        self.dismiss(text)
        return True

    def _static(self, text: str, classes: str = "") -> Static:
        """A text that is shown as it is, whatever it holds."""
        return Static(self._shown(text), markup=False, classes=classes)

    def _shown(self, text: str) -> str:
        return (UNICODE if self._unicode else ASCII).say(text)

    def _head(self) -> ComposeResult:
        yield self._static(self._title, "title")
        for text in self._lines:
            yield self._static(text)


class Prompt(_Asking):
    """Asks for a text; gives it back, or None where nothing is to happen."""

    AUTO_FOCUS = "Input"
    BOX: ClassVar[type[Input]] = Input
    KEYS: ClassVar[str] = "Enter sends it, Escape goes back"

    def __init__(
        self,
        title: str,
        lines: Sequence[str],
        check: Check,
        *,
        number: int | None = None,
        keys: str = "",
        unicode: bool = True,
        begun: str = "",
    ) -> None:
        super().__init__(title, lines, number, unicode=unicode)
        self._begun = begun
        self._check = check
        self._keys = keys or self.KEYS
        self._early: list[tuple[str, str | None]] = []
        self._there = False

    def compose(self) -> ComposeResult:
        """The box."""
        with Vertical():
            # what is long scrolls: the box to type in stays on a small screen
            with VerticalScroll(classes="about", can_focus=False):
                yield from self._head()
            yield self.BOX(self._begun, max_length=500, select_on_focus=False)
            yield self._static("", "wrong")
            yield self._static(self._keys, "keys")

    def on_mount(self) -> None:
        """What was typed before the box was there goes into it."""
        self._there = True
        early, self._early = self._early, []
        for key, character in early:
            self.typed(key, character)

    @property
    def ready(self) -> bool:
        """Whether keys go into the box by themselves."""
        return self._there and self.query_one(self.BOX).has_focus

    def typed(self, key: str, character: str | None) -> None:
        """Take a key that came before the box had the cursor, as in a word that is pasted with what opens the box."""
        if not self._there:
            self._early.append((key, character))
            return
        box = self.query_one(self.BOX)
        if key == "enter":
            self._send(box.value)
        elif key == "backspace":
            box.action_delete_left()
        elif key in OUT:
            self._leave(key)
        elif character is not None and character.isprintable():
            box.insert_text_at_cursor(character)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Give the text back if it will do; else say what is wrong and stay."""
        event.stop()
        self._send(event.value)

    def _send(self, text: str) -> None:
        wrong = self._check(text)
        if wrong:
            self.query_one(".wrong", Static).update(self._shown(wrong))
        else:
            self.answer(text.strip())

    def on_key(self, event: Key) -> None:
        """Escape goes back; Ctrl+C too, since people press it."""
        if event.key in OUT:
            event.stop()
            event.prevent_default()
            self._leave(event.key)

    def _leave(self, key: str) -> None:
        if key != "escape":
            self.out()
        self.answer(None)


UNITS: Final = ("", "k", "M", "m", "u")
"""Prefixes of a unit, in the order in which one key goes through them."""
OVER: Final = "OL"


def next_unit(text: str) -> str:
    """A figure with the next prefix: ``4.7``, ``4.7 k``, ``4.7 M``, ``4.7 m``, ``4.7 u``, ``4.7`` again."""
    bare = text.rstrip()
    last = bare[-1:] if bare[-1:] in UNITS[1:] else ""
    figure = bare[: len(bare) - len(last)].rstrip()
    return f"{figure} {UNITS[(UNITS.index(last) + 1) % len(UNITS)]}".strip() if figure else text


class _FigureBox(Input):
    """A box for a figure."""

    async def _on_key(self, event: Key) -> None:
        """The two keys of a number pad that stand for what it lacks; all others as usual."""
        if event.character not in ("*", "+"):
            await super()._on_key(event)
            return
        event.stop()
        event.prevent_default()
        self.value = OVER if event.character == "+" else next_unit(self.value)
        self.cursor_position = len(self.value)


class Figure(Prompt):
    """Asks for what a display shows. With a number pad alone, ``*`` goes through the units and ``+`` is over range."""

    BOX = _FigureBox
    KEYS = "k M m u are units, * goes through them, + is OL. Enter sends it, Escape goes back"


class Sure(_Asking):
    """Asks yes or no, by a letter."""

    def __init__(self, title: str, lines: Sequence[str], *, unicode: bool = True) -> None:
        super().__init__(title, lines, None, unicode=unicode)

    def compose(self) -> ComposeResult:
        """The box."""
        with Vertical():
            yield from self._head()
            yield self._static("y yes     n or Escape no", "keys sure")

    def on_key(self, event: Key) -> None:
        """Only a y is a yes."""
        event.stop()
        if event.key.casefold() == "y":
            self.answer("yes")
        elif event.key.casefold() in ("n", "escape", "ctrl+c", "ctrl+q"):
            if event.key.casefold().startswith("ctrl"):
                self.out()
            self.answer(None)
