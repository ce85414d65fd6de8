"""One program on a terminal: a moment, the keys that do something at it, its picture, and what each act does.

A moment is a value. A key is looked up in the moment's own table of keys and names an act; the act replaces the moment,
asks for a text, starts work in a thread, opens another program or leaves; whatever replaced the moment, it is painted
then. The walk, the job and a replay differ in these four things and share the rest.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, ClassVar, Generic, Protocol, TypeVar

from msgspec.structs import replace

from bench.screens.program.glyphs import ASCII, UNICODE, Glyphs
from bench.screens.program.keys import MOVES, OUT, Action, Key, act_of, listed, matching, typed_on
from bench.screens.program.moment import Moment, Working
from bench.screens.program.picture import Picture
from bench.screens.program.work import Cancelled, Tell, Work

if TYPE_CHECKING:
    from textual.geometry import Size
    from textual.screen import ModalScreen
    from textual.timer import Timer

    from bench.screens.program.cells import Line
    from bench.screens.program.settings import Settings


class Host(Protocol):
    """A terminal, as a program needs it."""

    settings: Settings
    bug: BaseException | None

    @property
    def size(self) -> Size:
        """Its cells and rows."""

    @property
    def palette(self) -> str:
        """The palette to paint with."""

    @property
    def program(self) -> Program[Any] | None:
        """The program that is shown."""

    def show(self, lines: list[Line]) -> None:
        """Paint these lines."""

    def ask(self, box: ModalScreen[str | None], done: Callable[[str | None], None]) -> None:
        """Put a box over the page; what it gives back is handed on."""

    def asked(self) -> object:
        """The box over the page; None where there is none."""

    def open(self, program: Program[Any]) -> None:
        """Show another program over this one."""

    def left(self, program: Program[Any]) -> None:
        """A program has ended: the one below it comes back, or the terminal is given up."""

    def turn(self) -> None:
        """From dark to light, or back."""

    def bell(self) -> None:
        """Ring once."""

    def sound(self, what: str) -> bool:
        """Sound a tone that has a name; returns whether there is something that has tones."""

    def copy_to_clipboard(self, text: str) -> None:
        """Ask the terminal to put a text on the clipboard."""

    def set_timer(self, delay: float, callback: Callable[[], None]) -> Timer:
        """Call something later."""


M = TypeVar("M", bound=Moment)


class Program(ABC, Generic[M]):
    """Moment, keys, picture and acts.

    An act ``go`` is the method ``do_go``, ``skip-search`` is ``do_skip_search``; what follows the act's first blank is
    handed to it.

    Args:
        host: the terminal.
        moment: to begin with.

    Attributes:
        moment: what there is to show.
        work: what is done in a thread; None while nothing is.
        picture: what was painted last.
        over: whether it was left.
    """

    moves: ClassVar[Mapping[str, int]] = MOVES
    """Keys that move the page, or the cursor on it."""

    def __init__(self, host: Host, moment: M) -> None:
        self.host = host
        self.moment = moment
        self.work: Work | None = None
        self.picture = Picture([])
        self.over = False
        self._known: tuple[object, tuple[Key, ...]] = (None, ())
        self._shown: tuple[object, ...] = (None,)
        # the key that closed the list of all actions, until the next tick
        self._took = ""

    # what a program says of itself

    @abstractmethod
    def keys_of(self, moment: M) -> tuple[Key, ...]:
        """All keys that do something at a moment, the most wanted first."""

    @abstractmethod
    def paint(self, cells: int, rows: int) -> Picture:
        """The moment, as a picture of just this number of rows."""

    def actions(self) -> list[Action]:
        """The lines of the list of all actions that have what was typed."""
        below = replace(self.moment, typed=None)
        return matching(self.moment.typed or "", listed(self.keys_of(below)))

    def begin(self) -> None:
        """The terminal shows this program from now on."""

    def came(self, work: Work) -> None:
        """Work has ended and was not called off."""
        if work.error is not None:
            self.fail(work.error)
        else:
            work.finish()

    def close(self) -> None:
        """It was left, or the terminal is gone: work under way is not wanted any more."""
        if self.work is not None:
            self.work.cancelled = True

    # the moment

    @property
    def known(self) -> tuple[Key, ...]:
        """The keys of this moment: worked out once for it."""
        if self._known[0] is not self.moment:
            self._known = (self.moment, self.keys_of(self.moment))
        return self._known[1]

    def change(self, **changes: Any) -> None:
        """Go on to another moment."""
        self.moment = replace(self.moment, **changes)

    def tick(self) -> None:
        """Take in how far the work is, and its result, and paint if anything looks different now."""
        self._took = ""
        work = self.work
        if work is not None and work.over:
            self.work = None
            self.change(working=None)
            if not work.cancelled and not isinstance(work.error, Cancelled):
                self.came(work)
        elif work is not None:
            working = Working(work.title, work.done, work.of)
            if working != self.moment.working:
                self.change(working=working)
        self.repaint()

    def came_back(self) -> None:
        """What was opened over it has ended."""
        self._shown = (None,)
        self.repaint()

    def repaint(self) -> None:
        """Paint the moment, if it, the screen's size or its colours are others now."""
        if self.over or self.host.program is not self:
            return
        size, palette = self.host.size, self.host.palette
        # a moment is never changed, only replaced: to look whether it is the same one costs nothing
        if self._shown[0] is self.moment and self._shown[1:] == (size, palette):
            return
        self.picture = self.paint(max(1, size.width), max(1, size.height))
        self._shown = (self.moment, size, palette)
        self.host.show(self.picture.lines)

    def start(self, title: str, call: Callable[[Tell], Any], then: Callable[[Any], None]) -> None:
        """Start work; what was under way is given up."""
        if self.work is not None:
            self.work.cancelled = True
        self.work = Work(title, call, then)
        self.change(working=Working(title))

    def fail(self, error: BaseException) -> None:
        """A bug, or nothing to go on with: it is told in full when the terminal is itself again."""
        self.host.bug = error
        self.leave()

    def leave(self) -> None:
        """End the program."""
        if not self.over:
            self.over = True
            self.close()
            self.host.left(self)

    def told_to_end(self) -> None:
        """A signal came, or the terminal is gone."""
        self.leave()

    # keys

    def pressed(self, key: str, character: str | None = None) -> None:
        """A key on the page, with the character that it writes."""
        key = key.lower() if len(key) == 1 else key
        if key == self._took:
            return  # pressed twice at once: both were for the list
        if key in OUT:
            self.do("leave")
        elif self.moment.typed is not None:
            self._pressed_in_list(key, character)
        else:
            self.press(key, character)
        self.repaint()

    def press(self, key: str, character: str | None) -> None:
        """A key while the list of all actions is closed."""
        if self.moment.note:
            self.change(note="")
        if key in self.moves:
            self.move(self.moves[key])
        elif act := act_of(self.known, key):
            self.do(act)

    def move(self, by: int) -> None:
        """Move the page by some lines."""
        scroll = max(0, min(self.picture.furthest, self.moment.scroll + by))
        if scroll != self.moment.scroll:
            self.change(scroll=scroll)

    def pointed_at(self, row: int) -> None:
        """The mouse was clicked on a row of the screen; most pages have nothing to point at."""

    def _pressed_in_list(self, key: str, character: str | None) -> None:
        act = act_of(self.known, key)
        if key in MOVES and key not in ("home", "end"):
            last = len(self.actions()) - 1
            self.change(chosen=max(0, min(last, self.moment.chosen + MOVES[key])))
        elif act:
            self.do(act)
            self._took = key if self.moment.typed is None else ""
        else:
            self.change(typed=typed_on(self.moment.typed or "", key, character), chosen=0)

    # acts

    def do(self, act: str) -> None:
        """Carry an act out.

        Raises:
            AttributeError: there is no such act: a bug.
        """
        verb, blank, about = act.partition(" ")
        do = getattr(self, f"do_{verb.replace('-', '_')}")
        do(*[about] if blank else [])

    def do_help(self) -> None:
        """Open the help page."""
        self.change(help=True, scroll=0)

    def do_close(self) -> None:
        """Close what is open over the page."""
        self.change(help=False, typed=None, scroll=0)

    def do_actions(self) -> None:
        """Open the list of all actions."""
        self.change(typed="", chosen=0, scroll=0)

    def do_choose_action(self) -> None:
        """Do what is chosen in it."""
        found = self.actions()
        if found:
            self.do_close()
            self.do(found[min(self.moment.chosen, len(found) - 1)].does)

    def do_theme(self) -> None:
        """Change between dark and light."""
        self.host.turn()

    def do_leave(self) -> None:
        """Leave."""
        self.leave()


def signs_of(settings: Settings) -> Glyphs:
    """The signs that a terminal is to be drawn with."""
    return UNICODE if settings.unicode else ASCII
