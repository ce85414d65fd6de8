"""What the styles of spans look like: at night, by day, and without any colour.

Colour never speaks alone: whatever has a style here also has a word or a shape of its own. Verdicts are told apart by
colours that do not rely on red against green.
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
    "scale": "#5f6f73",
    "wall": "bold #f0b64c",
    "beyond": "#6d4a2c",
    "frame": "#5f6f73",
    "ruler": "#8b999c",
    "rule": "#3a484c",
    "rule-done": "#f0b64c",
    "pin": "#5f6f73",
    "pin-pass": "#56cfb0",
    "pin-fail": "bold #ff7d5c",
    "pin-undecided": "bold #f4d548",
    "pin-skipped": "#8b999c",
    "pin-void": "#8b999c",
    "pin-done": "#8b999c",
    "red": "bold #ffffff on #c4302b",
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
    "scale": "#8d948f",
    "wall": "bold #8a4f00",
    "beyond": "#c9a56f",
    "frame": "#8d948f",
    "ruler": "#5f686b",
    "rule": "#cfcabb",
    "rule-done": "#8a4f00",
    "pin": "#8d948f",
    "pin-pass": "#00695a",
    "pin-fail": "bold #b02a12",
    "pin-undecided": "bold #6f5800",
    "pin-skipped": "#5f686b",
    "pin-void": "#5f686b",
    "pin-done": "#5f686b",
    "red": "bold #ffffff on #c4302b",
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
    "hatch": "#b87513",
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

WIRES: Final[dict[str, tuple[str, str]]] = {
    "white": ("#ffffff", "#a9aaa4"),
    "red": ("#e5484d", "#c4302b"),
    "black": ("#6d7679", "#101010"),
    "yellow": ("#f4d548", "#b39200"),
    "violet": ("#a06ee0", "#7a3fc0"),
    "blue": ("#4f9cf0", "#1d63b8"),
    "orange": ("#f28c38", "#d06a10"),
    "green": ("#4fbf67", "#1f8a3b"),
    "brown": ("#a9714b", "#7a4521"),
    "slate": ("#93a1ab", "#69767f"),
    "grey": ("#93a1ab", "#69767f"),
    "pink": ("#f09ac0", "#d0609a"),
    "gold": ("#d9b23f", "#a5801a"),
    "turquoise": ("#3fc7c7", "#108a8a"),
    "silver": ("#c3cace", "#8b9499"),
}
"""Colours of conductors at night and by day; the words stand beside them."""


@lru_cache(maxsize=512)
def style_of(name: str, palette: str) -> Style:
    """The look of a style. ``wire:red`` is a conductor's colour; an unknown name looks like plain text."""
    table = PALETTES[palette]
    base = Style.parse(table[""]) if table[""] else Style.null()
    if name.startswith("wire:"):
        pair = WIRES.get(name[5:])
        if pair is None or palette == "bare":
            return base + Style(bold=True)
        return base + Style(color=pair[palette == "day"], bold=True)
    return base + Style.parse(table.get(name, "") or "none")
