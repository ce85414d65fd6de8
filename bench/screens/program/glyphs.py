"""The signs that screens draw with, and the letters that they write with: all there are, or ASCII.

Marks differ in shape, so that nothing rests on colour. None of them is a sign that terminals show as a coloured
picture of double width.
"""

from __future__ import annotations

from typing import Final

import msgspec

from bench.quantity import ascii_only
from bench.texts import clean


class Glyphs(msgspec.Struct, frozen=True):
    """One set of signs. Every sign is one cell wide; ``frame`` holds the eight parts of a frame, clockwise."""

    unicode: bool
    red: str = "◆"
    black: str = "■"
    free: str = "·"
    passed: str = "✓"
    failed: str = "✗"
    undecided: str = "?"
    connected: str = "◐"
    skipped: str = "»"
    void: str = "~"
    done: str = "•"
    frame: str = "╭─╮│╯─╰│"
    heavy: str = "┏━┓┃┛━┗┃"
    wire: str = "━"
    gap: str = "╌"
    cut: str = "╳"
    rule: str = "─"
    down: str = "▼"
    up: str = "▲"
    more_left: str = "‹"
    more_right: str = "›"
    block: str = "█"
    corners: str = "▟▙▜▛"
    """Outer corners of digits: top left, top right, bottom left, bottom right."""
    band: str = "▒"
    point: str = "┃"
    wall: str = "▐"
    beyond: str = "╱"
    axis: str = "─"
    full: str = "▰"
    empty: str = "▱"
    dot: str = "·"
    levels: str = "▁▂▃▄▅▆▇█"
    """Bars of a column, the lowest first."""
    ellipsis: str = "…"

    def say(self, text: str) -> str:
        """A text from a file, a meter or the machine, as it may stand on the screen; line ends stay."""
        if "\n" in text:
            return "\n".join(self.say(part) for part in text.split("\n"))
        return clean(text) if self.unicode else ascii_only(clean(text))

    def mark(self, verdict: str) -> str:
        """The mark of a verdict."""
        signs = {
            "pass": self.passed,
            "fail": self.failed,
            "undecided": self.undecided,
            "connected": self.connected,
            "skipped": self.skipped,
            "void": self.void,
            "done": self.done,
        }
        return signs.get(verdict, self.free)


UNICODE: Final = Glyphs(unicode=True)
ASCII: Final = Glyphs(
    unicode=False,
    red="R",
    black="B",
    free=".",
    passed="o",
    failed="x",
    undecided="?",
    connected="c",
    skipped=">",
    void="~",
    done="+",
    frame="+-+|+-+|",
    heavy="#=#####=",
    wire="=",
    gap="-",
    cut="X",
    rule="-",
    down="v",
    up="^",
    more_left="<",
    more_right=">",
    block="#",
    corners="####",
    band=":",
    point="|",
    wall="#",
    beyond="/",
    axis="-",
    full="#",
    empty=".",
    dot="-",
    levels=".:-=+*%#",
    ellipsis="...",
)
