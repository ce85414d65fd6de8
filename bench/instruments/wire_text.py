"""Bytes and patterns as profiles write them."""

from __future__ import annotations

import re
from typing import Any, Final, Self

import re2

_ESCAPE: Final = re.compile(r"\\(?:x([0-9A-Fa-f]{2})|([rnt0\\]))|([^\\])", re.DOTALL)
_NAMED: Final = {"r": b"\r", "n": b"\n", "t": b"\t", "0": b"\0", "\\": b"\\"}
_SHOWN: Final = {0x0D: "\\r", 0x0A: "\\n", 0x09: "\\t", 0x5C: "\\\\"}
_TEXT_OF: Final = tuple(
    _SHOWN.get(byte) or (chr(byte) if 0x20 <= byte < 0x7F else f"\\x{byte:02x}") for byte in range(256)
)
"""Byte to how it is written."""


class Unreadable(ValueError):
    """A text in a profile is not what belongs there.

    Attributes:
        found: the text.
        expected: what should stand there.
    """

    def __init__(self, found: str, expected: str) -> None:
        # not repr: it would double the backslashes that stand in the file
        super().__init__(f"found '{found}', expected {expected}")
        self.found = found
        self.expected = expected


def show(data: bytes) -> str:
    """Bytes as text that :class:`WireText` reads back: printable ASCII as it is, the rest escaped."""
    return "".join(map(_TEXT_OF.__getitem__, data))


def quote(data: bytes) -> str:
    """Bytes in quotes for a message, as :func:`show` writes them; ``repr`` would double every backslash."""
    return f"'{show(data)}'"


class WireText:
    r"""Bytes written as text: ASCII, with ``\r``, ``\n``, ``\t``, ``\0``, ``\\`` and ``\xNN`` for the others."""

    __slots__ = ("data",)
    data: bytes

    def __init__(self, data: bytes) -> None:
        object.__setattr__(self, "data", bytes(data))

    def __setattr__(self, name: str, value: Any) -> None:
        raise AttributeError("WireText does not change")

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read the text.

        Raises:
            Unreadable: an unknown escape, or a character outside ASCII.
        """
        out = bytearray()
        at = 0
        while at < len(text):
            match = _ESCAPE.match(text, at)
            if match is None or (match[3] and ord(match[3]) > 0x7E):
                raise Unreadable(text, cls.wanted())
            if match[1]:
                out.append(int(match[1], 16))
            else:
                out += _NAMED[match[2]] if match[2] else match[3].encode("ascii")
            at = match.end()
        return cls(bytes(out))

    @classmethod
    def wanted(cls) -> str:
        """What a file should hold here, for an error text."""
        return r"bytes as ASCII text with \r, \n, \t, \0, \\ or \xNN for the others, such as '\r\n'"

    def exact(self) -> str:
        """The text that parses back to the same bytes."""
        return show(self.data)

    def __repr__(self) -> str:
        return f"WireText({self.data!r})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, WireText) and other.data == self.data

    def __hash__(self) -> int:
        return hash(self.data)


def compiled(text: str, *, any_case: bool = False) -> Any:
    """A regular expression whose time grows no faster than the text, whatever the line makes of a reply.

    Looking ahead, looking back and repeating a group by its number cannot be had that way.

    Raises:
        Unreadable: not such an expression.
    """
    options = re2.Options()
    options.log_errors = False
    options.case_sensitive = not any_case
    try:
        return re2.compile(text, options)
    except re2.error as error:
        why = error.args[0] if error.args else ""
        said = why.decode(errors="replace") if isinstance(why, bytes) else str(why)
        raise Unreadable(
            text, f"a regular expression that takes time that grows with the reply only ({said})"
        ) from error


class Pattern:
    """A regular expression that a reply must match from its first character to its last.

    ``\\d`` and the like mean ASCII only: a digit of another script is noise on a wire. The engine does not backtrack: a
    reply that noise made long cannot hold up who must switch an output off.
    """

    __slots__ = ("_groups", "_last", "expression", "text")

    def __init__(self, text: str) -> None:
        self.expression = compiled(text)
        self.text = text
        # the engine would work it out for each reply
        self._groups: tuple[tuple[str, int], ...] = tuple(self.expression.groupindex.items())
        # how an instrument is set is asked after each reading, and answered alike
        self._last: tuple[str | None, dict[str, str] | None] = None, None

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read the text.

        Raises:
            Unreadable: not a regular expression.
        """
        return cls(text)

    @classmethod
    def wanted(cls) -> str:
        """What a file should hold here, for an error text."""
        return "a regular expression over the whole reply"

    @property
    def groups(self) -> frozenset[str]:
        """The names of its groups."""
        return frozenset(name for name, _ in self._groups)

    def match(self, text: str) -> dict[str, str] | None:
        """The named groups of a full match (those that took part); None where the text does not match."""
        last, found = self._last
        if text != last:
            found = self._matched(text)
            self._last = text, found
        return None if found is None else found.copy()

    def _matched(self, text: str) -> dict[str, str] | None:
        if text.isascii():  # a byte for each character: the engine need not count them
            plain = self.expression.fullmatch(text.encode())
            if plain is None:
                return None
            return {name: value.decode() for name, index in self._groups if (value := plain[index]) is not None}
        found = self.expression.fullmatch(text)
        if found is None:
            return None
        return {name: value for name, index in self._groups if (value := found[index]) is not None}

    def exact(self) -> str:
        """The text that parses back to the same pattern."""
        return self.text

    def __repr__(self) -> str:
        return f"Pattern({self.text!r})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Pattern) and other.text == self.text

    def __hash__(self) -> int:
        return hash(self.text)
