"""Lines of styled text, measured in terminal cells.

Everything here measures cells and not characters, since some signs take two.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import Final, NamedTuple

from rich.cells import cell_len, chop_cells, set_cell_size

from bench.screens.program.glyphs import Glyphs
from bench.texts import KEPT, clean, with_units


class Span(NamedTuple):
    """A text in one style; styles are named in :mod:`bench.screens.program.palette`."""

    text: str
    style: str = ""


Line = tuple[Span, ...]
EMPTY: Final[Line] = ()


def span(text: str, style: str = "") -> Span:
    """A cleaned text in a style."""
    return Span(clean(text), style)


def line(*parts: Span | str) -> Line:
    """A line of spans and plain texts."""
    return tuple(span(part) if isinstance(part, str) else Span(clean(part.text), part.style) for part in parts)


def joined(spans: Iterable[Span]) -> Line:
    """The spans with neighbours of one style put together."""
    return tuple(
        Span("".join(part.text for part in same), style) for style, same in groupby(spans, key=lambda part: part.style)
    )


def text_of(content: Line) -> str:
    """The line without its styles."""
    return "".join(part.text for part in content)


def width(content: Line | str) -> int:
    """Cells that a line or text takes."""
    return cell_len(content if isinstance(content, str) else "".join(part.text for part in content))


def cut(text: str, cells: int, ellipsis: str = "…") -> str:
    """The text in a number of cells at most; what is cut ends in an ellipsis."""
    if cell_len(text) <= cells:
        return text
    if cells <= len(ellipsis):
        return set_cell_size(text, max(0, cells))
    return set_cell_size(text, cells - len(ellipsis)).rstrip() + ellipsis


def cut_front(text: str, cells: int, ellipsis: str = "…") -> str:
    """The end of the text in a number of cells at most: for file names."""
    if cell_len(text) <= cells:
        return text
    kept = text
    while kept and cell_len(kept) > cells - len(ellipsis):
        kept = kept[1:]
    return ellipsis + kept


def clip(content: Line, cells: int, ellipsis: str = "…") -> Line:
    """The line in a number of cells at most."""
    if width(content) <= cells:
        return content
    kept: list[Span] = []
    left = cells
    for part in content:
        size = cell_len(part.text)
        if size > left:
            kept.append(Span(cut(part.text, left, ellipsis), part.style))
            break
        kept.append(part)
        left -= size
    return tuple(kept)


def sides(left: Line, right: Line, cells: int, ellipsis: str = "…", fill: str = " ") -> Line:
    """One line with a text at each edge; the left one yields where both do not fit."""
    right = clip(right, cells, ellipsis)
    room = cells - width(right)
    left = clip(left, max(0, room - 1) if right else room, ellipsis)
    return (*left, Span(fill * max(0, room - width(left))), *right)


def parted(left: Line, right: Line, cells: int) -> list[Line]:
    """A text at each edge of one line; one below the other where both do not fit."""
    if width(left) + width(right) < cells:
        return [sides(left, right, cells)]
    return [one for text in (left, right) for one in _rewrapped(text, cells)]


def _rewrapped(content: Line, cells: int) -> list[Line]:
    """A text of one style as lines."""
    return wrapped(text_of(content), cells, content[0].style if content else "")


def centred(content: Line, cells: int) -> Line:
    """The line in the middle."""
    room = max(0, cells - width(content))
    return (Span(" " * (room // 2)), *content)


def indent(content: Line, cells: int) -> Line:
    """The line, moved right."""
    return (Span(" " * cells), *content)


def wrap(text: str, cells: int) -> list[str]:
    """The text in lines of a number of cells at most, parted at blanks; a word that is too long is chopped, and a
    number stays with its unit."""
    if cells < 1:
        return []
    lines: list[str] = []
    for paragraph in text.split("\n"):
        now = ""
        for kept in with_units(clean(paragraph)).split():
            word = kept.replace(KEPT, " ")
            trial = f"{now} {word}" if now else word
            if cell_len(trial) <= cells:
                now = trial
                continue
            if now:
                lines.append(now)
            *whole, now = chop_cells(word, cells) if cell_len(word) > cells else [word]
            lines.extend(whole)
        lines.append(now)
    while lines and not lines[-1]:
        lines.pop()
    return lines


def wrapped(text: str, cells: int, style: str = "", most: int | None = None, ellipsis: str = "…") -> list[Line]:
    """The text as lines in one style; the last of ``most`` lines ends in an ellipsis where there is more."""
    found = wrap(text, cells)
    if most is not None and len(found) > most:
        found = found[:most]
        if found:
            found[-1] = cut(f"{found[-1]} {ellipsis}", cells, ellipsis)
            if not found[-1].endswith(ellipsis):
                found[-1] = cut(found[-1], cells - len(ellipsis), "") + ellipsis
    return [(Span(part, style),) for part in found]


def beside(left: Sequence[Line], right: Sequence[Line], cells: int, *, ragged: bool = False) -> list[Line]:
    """Two columns: the left one at the left edge, the right one's lines at the right edge.

    Args:
        left: lines of the left column.
        right: lines of the right column.
        cells: width of both together.
        ragged: set the right column flush left in its half, so that drawings keep their shape.
    """
    rows = []
    block = max((width(one) for one in right), default=0)
    for number in range(max(len(left), len(right))):
        a = left[number] if number < len(left) else EMPTY
        b = right[number] if number < len(right) else EMPTY
        if ragged and b:
            b = (*b, Span(" " * (block - width(b))))
        rows.append(sides(a, b, cells))
    return rows


def shown(lines: Iterable[Line], cells: int, glyphs: Glyphs) -> list[Line]:
    """Lines ready to paint: clean, in ASCII where that is wanted, and clipped.

    Texts have been through :meth:`Glyphs.say` before they were laid out; this is the last gate, for what was forgotten.
    """
    return [
        clip(tuple(Span(clean(glyphs.say(part.text)), part.style) for part in one), cells, glyphs.ellipsis)
        for one in lines
    ]
