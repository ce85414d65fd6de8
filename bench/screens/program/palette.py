"""What the styles of spans look like: at night, by day, and without any colour.

Colour never speaks alone: whatever has a style here also has a word or a shape of its own. Verdicts are told apart by
colours that do not rely on red against green. Every pair of colours has a contrast of 4.5 or more, in a terminal with
256 colours too.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from rich.style import Style

NIGHT: Final = {
    "": "#d8e0dd on #0f1518",
    "dim": "#8b999c",
    "strong": "bold #ffffff",
    "title": "bold #ffffff",
    "accent": "bold #f0b64c",
    "key": "bold #f0b64c",
    "hint": "bold #9fd3ff",
    "band": "#9fd3ff",
    "point": "bold #ffffff",
    "scale": "#7f9095",
    "wall": "bold #f0b64c",
    "beyond": "#af875f",
    "frame": "#7f9095",
    "ruler": "#8b999c",
    "rule": "#7f9095",
    "rule-done": "#f0b64c",
    "pin": "#7f9095",
    "pin-pass": "#56cfb0",
    "pin-fail": "bold #ff7d5c",
    "pin-undecided": "bold #f4d548",
    "pin-skipped": "#8b999c",
    "pin-void": "#8b999c",
    "pin-done": "#8b999c",
    "red": "bold #ffffff on #d70000",
    "black": "bold #000000 on #eef1f0",
    "pass": "bold #56cfb0",
    "fail": "bold #ff7d5c",
    "undecided": "bold #f4d548",
    "skipped": "#8b999c",
    "void": "#b48ce0",
    "done": "#8b999c",
    "pass-block": "bold #04211a on #56cfb0",
    "fail-block": "bold #2b0900 on #ff7d5c",
    "undecided-block": "bold #241d00 on #f4d548",
    "void-block": "bold #14001f on #b48ce0",
    "digits": "#ffffff",
    "digits-last": "#8b999c",
    "warn": "bold #f0b64c",
    "hatch": "#f0b64c",
    "word": "bold #241600 on #f0b64c",
    "alarm": "bold #ff7d5c",
    "note": "bold #241600 on #f0b64c",
    "watch": "bold #00131f on #9fd3ff",
    "tag": "bold #00131f on #9fd3ff",
    "cursor": "bold #ffffff on #2c3d44",
}
DAY: Final = {
    "": "#20282b on #f7f4ea",
    "dim": "#5f686b",
    "strong": "bold #000000",
    "title": "bold #000000",
    "accent": "bold #8a4f00",
    "key": "bold #8a4f00",
    "hint": "bold #0b4f8a",
    "band": "#0b4f8a",
    "point": "bold #000000",
    "scale": "#666d70",
    "wall": "bold #8a4f00",
    "beyond": "#875f00",
    "frame": "#666d70",
    "ruler": "#5f686b",
    "rule": "#666d70",
    "rule-done": "#8a4f00",
    "pin": "#666d70",
    "pin-pass": "#00695a",
    "pin-fail": "bold #b02a12",
    "pin-undecided": "bold #6f5800",
    "pin-skipped": "#5f686b",
    "pin-void": "#5f686b",
    "pin-done": "#5f686b",
    "red": "bold #ffffff on #d70000",
    "black": "bold #ffffff on #101010",
    "pass": "bold #00695a",
    "fail": "bold #b02a12",
    "undecided": "bold #6f5800",
    "skipped": "#5f686b",
    "void": "#5b2f92",
    "done": "#5f686b",
    "pass-block": "bold #ffffff on #00695a",
    "fail-block": "bold #ffffff on #b02a12",
    "undecided-block": "bold #ffffff on #6f5800",
    "void-block": "bold #ffffff on #5b2f92",
    "digits": "#000000",
    "digits-last": "#5f686b",
    "warn": "bold #8a4f00",
    "hatch": "#875f00",
    "word": "bold #ffffff on #8a4f00",
    "alarm": "bold #b02a12",
    "note": "bold #ffffff on #8a4f00",
    "watch": "bold #ffffff on #0b4f8a",
    "tag": "bold #ffffff on #0b4f8a",
    "cursor": "bold #000000 on #e0d6b4",
}
_BOLD: Final = (
    "strong", "title", "accent", "key", "hint", "point", "wall", "pin-fail", "pin-undecided", "pass", "fail",
    "undecided", "warn", "alarm", "digits", "rule-done",
)  # fmt: skip
_REVERSED: Final = (
    "red", "black", "pass-block", "fail-block", "undecided-block", "void-block", "word", "note", "watch", "tag",
    "cursor",
)  # fmt: skip
BARE: Final = {
    **dict.fromkeys(NIGHT, ""),
    **dict.fromkeys(_BOLD, "bold"),
    **dict.fromkeys(_REVERSED, "bold reverse"),
}
"""No colour at all, for NO_COLOR and for terminals that have none."""

PALETTES: Final = {"night": NIGHT, "day": DAY, "bare": BARE}

WIRE_GROUND: Final = "#0f1518"
"""What a wire is drawn on, at night and by day: yellow and white cannot be seen on paper."""
WIRES: Final = {
    "white": "#ffffff",
    "red": "#ff0000",
    "black": "#7f898d",
    "yellow": "#ffd700",
    "violet": "#af5fff",
    "blue": "#5fafff",
    "orange": "#ff8700",
    "green": "#5faf5f",
    "brown": "#af875f",
    "slate": "#93a1ab",
    "grey": "#93a1ab",
    "pink": "#ff87af",
    "gold": "#d7af5f",
    "turquoise": "#5fd7d7",
    "silver": "#c3cace",
}
"""Colours of conductors; the words stand beside them. Those that have a hue are colours that a terminal with 256 has
just so. Black is drawn as the darkest grey that can be seen on its ground."""


@lru_cache(maxsize=512)
def style_of(name: str, palette: str) -> Style:
    """The look of a style. ``wire:red`` is a conductor's colour; an unknown name looks like plain text."""
    table = PALETTES[palette]
    base = Style.parse(table[""]) if table[""] else Style.null()
    if name.startswith("wire:"):
        colour = WIRES.get(name[5:])
        if colour is None or palette == "bare":
            return base + Style(bold=True)
        return base + Style(color=colour, bgcolor=WIRE_GROUND, bold=True)
    return base + Style.parse(table.get(name, "") or "none")
