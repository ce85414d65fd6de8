"""The one widget of the walking screen: lines in, only the lines that changed painted."""

from __future__ import annotations

from rich.segment import Segment
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from bench.screens.program.cells import EMPTY, Line
from bench.screens.program.palette import style_of


class Sheet(Widget):
    """Shows lines of spans; never takes the focus and never lays anything out again.

    Attributes:
        lines: what is shown, from the top.
        palette: ``night``, ``day`` or ``bare``.
    """

    DEFAULT_CSS = "Sheet { width: 1fr; height: 1fr; }"
    can_focus = False

    def __init__(self, palette: str) -> None:
        super().__init__()
        self.lines: list[Line] = []
        self.palette = palette

    def show(self, lines: list[Line], palette: str) -> None:
        """Show these lines; what looks the same as before is not painted again."""
        before, self.lines = self.lines, lines
        if palette != self.palette or len(before) != len(lines):
            self.palette = palette
            self.refresh()
            return
        changed = [Region(0, y, self.size.width, 1) for y, one in enumerate(lines) if one != before[y]]
        if changed:
            self.refresh(*changed, layout=False)

    def render_line(self, y: int) -> Strip:
        """One line as Textual wants it."""
        content = self.lines[y] if y < len(self.lines) else EMPTY
        segments = [Segment(part.text, style_of(part.style, self.palette)) for part in content]
        return Strip(segments).adjust_cell_length(self.size.width, style_of("", self.palette))
