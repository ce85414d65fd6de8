"""Colours of conductors: the telephone pair code, and the letters of IEC 60757.

The pair code: a pair's number follows from two colours. The first, on the tip conductor, is white, red, black, yellow
or violet; the second, on the ring conductor, is blue, orange, green, brown or slate; five by five make 25 pairs. Each
conductor carries the colour of its mate as a tracer: pair 1 is white/blue and blue/white. Above 25 pairs the code
repeats in groups, each bound with a binder in the colours of the same order: the first group white/blue, the second
white/orange; violet/slate is not used as a binder, which leaves 24 groups, 600 pairs (public tables of the code).
"""

from __future__ import annotations

from typing import Final

import msgspec

from bench.files import near, one_of

TIP_COLOURS: Final = ("white", "red", "black", "yellow", "violet")
RING_COLOURS: Final = ("blue", "orange", "green", "brown", "slate")
PAIRS_IN_GROUP: Final = 25
MOST_PAIRS: Final = 600

IEC_60757: Final[dict[str, str]] = {
    "BK": "black",
    "BN": "brown",
    "RD": "red",
    "OG": "orange",
    "YE": "yellow",
    "GN": "green",
    "BU": "blue",
    "VT": "violet",
    "GY": "grey",
    "WH": "white",
    "PK": "pink",
    "GD": "gold",
    "TQ": "turquoise",
    "SR": "silver",
    "GNYE": "green-yellow",
}
"""Letters to words, in the standard's order, which is also the order in which letters of one conductor are combined."""

_WORDS: Final[dict[str, str]] = {word: letters for letters, word in IEC_60757.items()} | {
    "slate": "GY",
    "gray": "GY",
    "green-and-yellow": "GNYE",
}


class ColourError(ValueError):
    """A text is no colour of a conductor.

    Attributes:
        found: the text as it stood.
        expected: what should have stood there.
        hint: a near miss; may be empty.
    """

    def __init__(self, found: str, expected: str, hint: str = "") -> None:
        super().__init__(f"found {found!r}, expected {expected}")
        self.found = found
        self.expected = expected
        self.hint = hint


class PairColours(msgspec.Struct, frozen=True):
    """The colours of one pair.

    Attributes:
        tip: the tip conductor's own colour, the tracer of its mate.
        ring: the ring conductor's own colour.
        binder: the colours of the group's binder such as ``white/blue``; empty where the cable has one group only.
    """

    tip: str
    ring: str
    binder: str = ""

    def words(self, leg: str) -> str:
        """A conductor's colours as spoken: its own first, then the tracer."""
        return f"{self.tip}/{self.ring}" if leg == "tip" else f"{self.ring}/{self.tip}"


def pair_colours(pair: int, pairs: int = PAIRS_IN_GROUP) -> PairColours:
    """The colours of a pair, counted from 1, in a cable of a number of pairs.

    Raises:
        ColourError: no such pair in the code.
    """
    if not 1 <= pair <= min(pairs, MOST_PAIRS):
        raise ColourError(f"pair {pair}", f"a pair from 1 to {min(pairs, MOST_PAIRS)}")
    group, place = divmod(pair - 1, PAIRS_IN_GROUP)
    major, minor = divmod(place, len(RING_COLOURS))
    binder = ""
    if pairs > PAIRS_IN_GROUP:
        first, second = divmod(group, len(RING_COLOURS))
        binder = f"{TIP_COLOURS[first]}/{RING_COLOURS[second]}"
    return PairColours(TIP_COLOURS[major], RING_COLOURS[minor], binder)


def iec_letters(*colours: str) -> str:
    """The letters of one conductor's colours, run together in the standard's order.

    Args:
        colours: words (``slate`` is grey) or letters.

    Raises:
        ColourError: no such colour, or green with yellow, which only the protective conductor has, as ``GNYE``.
    """
    codes = {_code(colour) for colour in colours}
    if {"GN", "YE"} <= codes or ("GNYE" in codes and len(codes) > 1):
        raise ColourError("/".join(colours), "no green with yellow: the pair of colours is kept for GNYE")
    return "".join(code for code in IEC_60757 if code in codes)


def _code(colour: str) -> str:
    if colour.upper() in IEC_60757:
        return colour.upper()
    code = _WORDS.get(colour.casefold())
    if code is None:
        known = [*IEC_60757, *_WORDS]
        raise ColourError(colour, f"a colour, {one_of(IEC_60757, most=15)} or its word", near(colour, known))
    return code


def split_letters(letters: str) -> tuple[str, ...]:
    """Take combined letters apart: ``BUWH`` into ``BU``, ``WH``.

    Raises:
        ColourError: a part is no colour, the order is not the standard's, or green stands with yellow.
    """
    text = letters.upper()
    if text == "GNYE":
        return ("GNYE",)
    parts = tuple(text[i : i + 2] for i in range(0, len(text), 2))
    for part in parts:
        if part not in IEC_60757:
            raise ColourError(letters, f"letters of IEC 60757: {one_of(IEC_60757, most=15)}", near(part, IEC_60757))
    combined = iec_letters(*parts)
    if combined != text:
        raise ColourError(letters, f"the letters in the order of IEC 60757: '{combined}'")
    return parts


def colour_words(text: str) -> tuple[str, str]:
    """Read a conductor's colour as a file writes it: words with ``/`` (``white/blue``) or letters (``BUWH``).

    Returns:
        The words, and the letters; the letters are empty where the standard has none: green with a yellow tracer, as
        the pair code has it, is not the protective conductor's ``green-yellow``.

    Raises:
        ColourError: no colour.
    """
    stripped = text.strip()
    if stripped.isupper():
        parts = split_letters(stripped)
        return "/".join(IEC_60757[part] for part in parts), "".join(parts)
    if stripped.casefold() in ("green-and-yellow", "green-yellow"):
        return "green-yellow", "GNYE"
    words = stripped.casefold().split("/")
    codes = {_code(word) for word in words}
    letters = "" if codes == {"GN", "YE"} else iec_letters(*words)
    return "/".join(words), letters
