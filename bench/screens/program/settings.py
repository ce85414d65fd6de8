"""How a screen is to behave, and how it ended: for the screen and for the walk line by line."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

import msgspec

if TYPE_CHECKING:
    from bench.walk.state import State

Why = Literal["finished", "left", "lost", "ended"]


def not_kept(light: bool) -> None:
    """The look is chosen anew each time."""


class Settings(msgspec.Struct, frozen=True):
    """How a screen behaves.

    Attributes:
        unicode: draw with signs beyond ASCII.
        day: begin with the light screen.
        turned: told of each change between light and dark: whether it is light now.
        tones: ring the terminal's bell.
        say: a program that speaks the text it is given; empty: none.
        watch: never take the operator's seat unasked.
        starting: what is shown until the record comes.
    """

    unicode: bool = True
    day: bool = False
    turned: Callable[[bool], None] = not_kept
    tones: bool = True
    say: str = ""
    watch: bool = False
    starting: str = "Starting the bench ..."


class Ended(msgspec.Struct, frozen=True):
    """How a screen ended.

    Attributes:
        why: ``finished`` when the walk was over, ``left`` when the operator left before, ``lost`` when the runner was
            gone, ``ended`` when the process was told to end.
        state: the record, as far as it was seen; None where there was none yet.
        record: where the record is; empty where that was never known.
        said: what the runner said when it went; may be empty.
        then: what is to be done now that the walk is over: ``explain``, ``report``, ``again``, ``next``; may be empty.
    """

    why: Why
    state: State | None = None
    record: str = ""
    said: str = ""
    then: str = ""
