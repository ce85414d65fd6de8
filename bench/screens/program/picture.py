"""The frame of every page: head, what stands between, and foot, in exactly the lines that there are."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from bench.screens.program.cells import EMPTY, Line, Span, cut, shown
from bench.screens.program.glyphs import Glyphs

MARGIN: Final = 1
"""Empty cells at either edge."""


class Picture(NamedTuple):
    """All lines of the screen from the top, and how far the page can be scrolled."""

    lines: list[Line]
    furthest: int = 0


def inner(cells: int) -> int:
    """Cells between the margins."""
    return max(1, cells - 2 * MARGIN)


def filled(middle: Sequence[Line], room: int) -> list[Line]:
    """The lines, cut or filled up to a number of rows."""
    return [*middle[:room], *[EMPTY] * (room - len(middle))]


def framed(lines: Sequence[Line], cells: int, glyphs: Glyphs) -> list[Line]:
    """Lines with their margin, ready to paint."""
    return shown(((Span(" " * MARGIN), *one) for one in lines), cells, glyphs)


def note_line(text: str, cells: int, glyphs: Glyphs) -> Line:
    """Something that is told once."""
    return (Span(cut(f" ! {glyphs.say(text)} ", cells, glyphs.ellipsis), "note"),)


def scrolled(
    head: Sequence[Line], body: Sequence[Line], foot: Sequence[Line], scroll: int, size: tuple[int, int], glyphs: Glyphs
) -> Picture:
    """A page whose middle scrolls between a head and a foot that stay.

    Args:
        head: above.
        body: the middle; of any length.
        foot: below.
        scroll: how far it was scrolled, in lines; no further than there is anything below.
        size: cells and rows.
        glyphs: the signs that the terminal has.
    """
    cells, rows = size
    space = max(1, rows - len(head) - len(foot))
    furthest = max(0, len(body) - space)
    lines = [*head, *filled(body[min(scroll, furthest) :], space), *foot]
    return Picture(framed(lines[:rows], cells, glyphs), furthest)
