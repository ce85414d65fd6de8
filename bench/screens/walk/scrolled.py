"""A page that is longer than its room: a window of it that the operator moves."""

from __future__ import annotations

from typing import NamedTuple

from bench.say.lists import count
from bench.screens.program.cells import Line, Span
from bench.screens.walk.view import View


class Body(NamedTuple):
    """A page's lines, and how far it can be scrolled."""

    lines: list[Line]
    furthest: int = 0


def scrolled(view: View, lines: list[Line], rows: int) -> Body:
    """A window of a long page; its last line says that there is more."""
    if len(lines) <= rows or rows < 2:
        return Body(lines)
    furthest = len(lines) - rows + 1
    top = max(0, min(view.scroll, furthest))
    below = furthest - top
    window = lines[top : top + rows - 1]
    if below > 0:
        more = Span(f"{view.glyphs.down} {count(below, 'more line')}: {view.scrolled_by}", "hint")
    else:
        more = Span(f"{view.glyphs.up} the end; {view.scrolled_by} go back", "dim")
    return Body([*window, (more,)], furthest)
