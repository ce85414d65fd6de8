"""Figures so large that they are read from two metres: digits of seven strokes, and the letters of units.

Textual's own digits are three rows of thin lines, have no letters for units, and no ASCII form; these are five,
seven or ten rows of solid blocks.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from msgspec.structs import replace

from bench.screens.program.glyphs import Glyphs

_STROKES: Final = {
    "0": "abcdef",
    "1": "bc",
    "2": "abged",
    "3": "abgcd",
    "4": "fgbc",
    "5": "afgcd",
    "6": "afgedc",
    "7": "abc",
    "8": "abcdefg",
    "9": "abcdfg",
    "-": "g",
    " ": "",
}
"""The strokes of a digit: a top, b upper right, c lower right, d bottom, e lower left, f upper left, g middle."""

_LETTERS: Final = {
    "k": ("#..#", "#.#.", "##..", "#.#.", "#..#"),
    "M": ("#...#", "##.##", "#.#.#", "#...#", "#...#"),
    "G": (".###.", "#....", "#.###", "#...#", ".###."),
    "T": ("#####", "..#..", "..#..", "..#..", "..#.."),
    "m": (".....", "##.#.", "#.#.#", "#.#.#", "#.#.#"),
    "µ": ("....", "#..#", "#..#", "##.#", "#.##"),
    "n": ("....", "###.", "#..#", "#..#", "#..#"),
    "p": ("....", "###.", "#..#", "###.", "#..."),
    "Ω": (".###.", "#...#", "#...#", ".#.#.", "##.##"),
    "V": ("#...#", "#...#", "#...#", ".#.#.", "..#.."),
    "A": (".###.", "#...#", "#####", "#...#", "#...#"),
    "W": ("#...#", "#...#", "#.#.#", "##.##", "#...#"),
    "F": ("#####", "#....", "####.", "#....", "#...."),
    "H": ("#...#", "#...#", "#####", "#...#", "#...#"),
    "z": ("....", "####", "..#.", ".#..", "####"),
    "s": ("....", ".###", "##..", "..##", "###."),
    "h": ("#...", "#...", "###.", "#..#", "#..#"),
    "C": (".####", "#....", "#....", "#....", ".####"),
    "°": (".#.", "#.#", ".#.", "...", "..."),
    "%": ("##..#", "##.#.", "..#..", ".#.##", "#..##"),
    "O": (".###.", "#...#", "#...#", "#...#", ".###."),
    "P": ("####.", "#...#", "####.", "#....", "#...."),
    "E": ("#####", "#....", "####.", "#....", "#####"),
    "N": ("#...#", "##..#", "#.#.#", "#..##", "#...#"),
    "B": ("####.", "#...#", "####.", "#...#", "####."),
    "D": ("####.", "#...#", "#...#", "#...#", "####."),
    "I": ("###", ".#.", ".#.", ".#.", "###"),
    "J": ("..###", "....#", "....#", "#...#", ".###."),
    "K": ("#...#", "#..#.", "###..", "#..#.", "#...#"),
    "L": ("#....", "#....", "#....", "#....", "#####"),
    "Q": (".###.", "#...#", "#.#.#", "#..#.", ".##.#"),
    "S": (".####", "#....", ".###.", "....#", "####."),
    "U": ("#...#", "#...#", "#...#", "#...#", ".###."),
    "X": ("#...#", ".#.#.", "..#..", ".#.#.", "#...#"),
    "Y": ("#...#", ".#.#.", "..#..", "..#..", "..#.."),
    "Z": ("#####", "...#.", "..#..", ".#...", "#####"),
    "R": ("####.", "#...#", "####.", "#..#.", "#...#"),
    ":": (".", "#", ".", "#", "."),
    ".": (".", ".", ".", ".", "#"),
    "+": ("...", ".#.", "###", ".#.", "..."),
    ">": ("#..", ".#.", "..#", ".#.", "#.."),
    "<": ("..#", ".#.", "#..", ".#.", "..#"),
}
"""Letters as rows of points, each one cell; points stand alone on the baseline."""

HEIGHTS: Final = (10, 7, 5)
"""Rows that digits can have; the tallest are those of five rows, twice as large."""


def can_draw(text: str) -> bool:
    """Whether every character has a large form."""
    return all(character in _STROKES or character in _LETTERS for character in text)


def draw(text: str, height: int, glyphs: Glyphs, *, narrow: bool = False) -> list[str]:
    """The text as ``height`` rows of equal length.

    Args:
        text: what to draw.
        height: of the characters, in rows.
        glyphs: what they are drawn with.
        narrow: whether letters are narrow where a word would have them as broad as digits.

    Raises:
        KeyError: a character has no large form; see :func:`can_draw`.
    """
    if height == HEIGHTS[0]:
        half = draw(text, height // 2, _square(glyphs), narrow=narrow)
        return [twice for row in half for twice in ["".join(sign * 2 for sign in row)] * 2]
    rows = [""] * height
    # a word, and a unit beside tall digits, needs letters as broad as the digits are
    broad = not narrow and (height > 5 or not any(character.isdigit() for character in text))
    for number, character in enumerate(text):
        shape = _shape(character, height, broad, glyphs)
        space = _space(text[number - 1], character) if number else 0
        rows = [f"{row}{' ' * space}{part}" for row, part in zip(rows, shape, strict=True)]
    return rows


def drawn_width(text: str, height: int, *, narrow: bool = False) -> int:
    """Cells that the drawn text is wide; see :func:`draw`."""
    from bench.screens.program.glyphs import ASCII

    return len(draw(text, height, ASCII, narrow=narrow)[0])


@lru_cache(maxsize=4)
def _square(glyphs: Glyphs) -> Glyphs:
    """The same signs with corners that are blocks: a rounded one is none when it is drawn four times."""
    return replace(glyphs, corners=glyphs.block * 4)


def _space(before: str, character: str) -> int:
    return 1 if {before, character} & set(".: ") else 2


@lru_cache(maxsize=256)
def _shape(character: str, height: int, broad: bool, glyphs: Glyphs) -> tuple[str, ...]:
    if character in _STROKES:
        return _digit(_STROKES[character], height, glyphs)
    return _letter(character, height, broad, glyphs)


def _digit(strokes: str, height: int, glyphs: Glyphs) -> tuple[str, ...]:
    size, middle = height + 1, height // 2
    if not strokes:
        return ("  ",) * height
    cells = [[False] * size for _ in range(height)]
    for row, stroke in ((0, "a"), (middle, "g"), (height - 1, "d")):
        if stroke in strokes:
            cells[row] = [True] * size
    for stroke, rows, left in (
        ("f", range(middle + 1), True),
        ("b", range(middle + 1), False),
        ("e", range(middle, height), True),
        ("c", range(middle, height), False),
    ):
        if stroke in strokes:
            for row in rows:
                for column in (0, 1) if left else (size - 2, size - 1):
                    cells[row][column] = True
    drawn = [[glyphs.block if cell else " " for cell in row] for row in cells]
    for row, column, first, second, sign in (
        (0, 0, "a", "f", 0),
        (0, size - 1, "a", "b", 1),
        (height - 1, 0, "d", "e", 2),
        (height - 1, size - 1, "d", "c", 3),
    ):
        if first in strokes and second in strokes:
            drawn[row][column] = glyphs.corners[sign]
    if strokes == "bc":  # a one in the middle of its place reads better than one at its edge
        drawn = [[*row[2:], " ", " "] for row in drawn]
    return tuple("".join(row) for row in drawn)


def _letter(character: str, height: int, broad: bool, glyphs: Glyphs) -> tuple[str, ...]:
    points = _LETTERS[character]
    across = 2 if broad or character in ".:" else 1
    rows = ["".join((glyphs.block if point == "#" else " ") * across for point in row) for row in points]
    if height > len(rows):
        spare = [" " * len(rows[0])] * (height - len(rows))
        rows = [*spare, *rows]
    return tuple(rows)
