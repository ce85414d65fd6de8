"""What every program has at one moment, whatever else it shows."""

from __future__ import annotations

from datetime import datetime

import msgspec

from bench.screens.program.glyphs import UNICODE, Glyphs


class Working(msgspec.Struct, frozen=True):
    """Work under way in its thread.

    Attributes:
        title: what is being done.
        done: how much of it.
        of: of how much; 0 where that is not known.
    """

    title: str
    done: int = 0
    of: int = 0


class Moment(msgspec.Struct, frozen=True, kw_only=True, eq=False):
    """One moment of a program. It is replaced, never changed: whether it is another one is told by its identity.

    Attributes:
        note: something to tell once.
        help: the help page is open.
        typed: what was typed into the list of all actions; None while it is closed.
        chosen: which line of that list is chosen.
        scroll: lines by which a long page is moved up.
        working: work under way; None while there is none.
        now: the time on the wall.
        glyphs: the signs to draw with.
    """

    note: str = ""
    help: bool = False
    typed: str | None = None
    chosen: int = 0
    scroll: int = 0
    working: Working | None = None
    now: datetime = msgspec.field(default_factory=lambda: datetime.now().astimezone())
    glyphs: Glyphs = UNICODE

    def say(self, text: str) -> str:
        """A text as this screen may write it; see :meth:`bench.screens.program.glyphs.Glyphs.say`."""
        return self.glyphs.say(text)
