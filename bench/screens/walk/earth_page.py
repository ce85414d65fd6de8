"""The earthing network during a search for a second path: a tree, with what is suspected marked by number and word."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from bench.screens.program.cells import EMPTY, Line, Span, line, parted, width, wrapped
from bench.screens.walk.earth_tree import facts_of, has_earth, standing, suspicion, tree
from bench.screens.walk.scrolled import Body, scrolled

if TYPE_CHECKING:
    from bench.screens.walk.view import View

WIDE: Final = 110
"""Cells from which the suspects stand beside the tree."""
_LEAST: Final = 30


def body(view: View, cells: int, rows: int) -> Body:
    """The page: the tree, and what is suspected beside it or above."""
    state = view.state
    if not has_earth(state):
        return Body([(Span("This walk searches for no second path to earth.", "dim"),)])
    alarmed = bool(facts_of(state).get("posterior"))
    head = parted(
        line(Span("The earthing network", "title")),
        line(Span(view.say(f"asked now: {view.page.title}"), "dim")),
        cells,
    )
    words = wrapped(view.say(standing(state)), cells, "alarm" if state.conditions.handled.lifted else "dim")
    drawn = [_styled(view, text) for text in tree(state)]
    style = "fail" if alarmed else "dim"
    broad = max((width(one) for one in drawn), default=0)
    if cells >= WIDE and cells - broad - 3 >= _LEAST:
        side: list[Line] = []
        for text in suspicion(state):
            side += [*wrapped(view.say(_marked(view, text, alarmed)), cells - broad - 3, style), EMPTY]
        lines = [*head, *words, EMPTY]
        for number in range(max(len(drawn), len(side))):
            left = drawn[number] if number < len(drawn) else EMPTY
            right = side[number] if number < len(side) else EMPTY
            lines.append((*left, Span(" " * (broad - width(left) + 3)), *right))
        return scrolled(view, lines, rows)
    told = [one for text in suspicion(state) for one in wrapped(view.say(_marked(view, text, alarmed)), cells, style)]
    return scrolled(view, [*head, *words, *told, *drawn], rows)


def _marked(view: View, told: str, alarmed: bool) -> str:
    return f"{view.glyphs.failed} {told}" if alarmed else told


def _styled(view: View, text: str) -> Line:
    """A line of the tree: what is suspected carries its number and its word; the style only goes with them."""
    said = view.say(text)
    if " OFF" in text:
        return line(Span(said, "alarm"))
    if text.endswith(">") or " POOR" in text:
        return line(Span(said, "fail"))
    return line(Span(said, "strong" if "(single-point connection)" in text else ""))
