"""IEEE 488.2 program messages: where one ends in a byte stream, and what its units say.

Clauses are cited from memory. Choices where practice differs:

- A line feed ends the message wherever it stands, save inside a block of definite length. A string
  left open then is one bad message (-151), not a parser that has swallowed the rest of the day.
- Carriage return is white space, as are all other control characters, so CR LF ends a message too.
- An indefinite block (``#0``) runs to the line feed, since a byte stream has no END message.
"""

from __future__ import annotations

import re
from enum import Enum
from typing import Literal

import msgspec

from bench.simulate.scpi.error_queue import ScpiError

__all__ = ["Datum", "Framer", "Overrun", "Unit", "parse_unit"]

LF = 0x0A
_QUOTES = (0x22, 0x27)
# 488.2 7.1.2: 0 to 9 and 11 to 32 are white space.
_WHITE = bytes(c for c in range(33) if c != LF)
# 488.2: a mnemonic, a character datum and a suffix have at most 12 characters.
LONGEST_WORD = 12
# 488.2 7.7.2.4.1: at most 255 digits in a mantissa without leading zeros, exponents to +-32000.
MOST_DIGITS = 255
LARGEST_EXPONENT = 32_000


class Overrun:
    """Stands in the framer's output for a message that did not fit."""


class _At(Enum):
    TEXT = 0
    STRING = 1
    HASH = 2
    LENGTH = 3
    BLOCK = 4


class Framer:
    """Cuts a byte stream into program messages, holding at most ``limit`` bytes of one.

    A message that is longer is dropped to its end and told as :class:`Overrun`.
    """

    def __init__(self, limit: int) -> None:
        self.limit = limit
        self._buffer = bytearray()
        self.reset()

    def reset(self) -> None:
        """Forget a message that has begun."""
        self._buffer.clear()
        self._at = _At.TEXT
        self._quote = 0
        self._left = 0
        self._digits = b""
        self._too_long = False

    def push(self, byte: int) -> bytes | Overrun | None:
        """Take one byte; the message (without its terminator) when this byte ended one."""
        if byte == LF and self._at is not _At.BLOCK:
            message: bytes | Overrun = Overrun() if self._too_long else bytes(self._buffer)
            self.reset()
            return message
        self._follow(byte)
        if len(self._buffer) >= self.limit:
            self._too_long = True
            self._buffer.clear()
            # The length of a block is not trusted once the buffer is lost.
            self._at = _At.TEXT
        elif not self._too_long:
            self._buffer.append(byte)
        return None

    def _follow(self, byte: int) -> None:
        at = self._at
        if at is _At.STRING:
            if byte == self._quote:
                self._at = _At.TEXT
        elif at is _At.BLOCK:
            self._left -= 1
            if self._left == 0:
                self._at = _At.TEXT
        elif at is _At.HASH:
            if 0x31 <= byte <= 0x39:
                self._at, self._left, self._digits = _At.LENGTH, byte - 0x30, b""
            else:
                self._at = _At.TEXT
        elif at is _At.LENGTH:
            if not 0x30 <= byte <= 0x39:
                self._at = _At.TEXT
                return
            self._digits += bytes([byte])
            self._left -= 1
            if self._left == 0:
                self._left = int(self._digits)
                self._at = _At.BLOCK if self._left else _At.TEXT
                if self._left > self.limit:
                    self._at, self._too_long = _At.TEXT, True
                    self._buffer.clear()
        elif self._too_long:
            return
        elif byte in _QUOTES:
            self._at, self._quote = _At.STRING, byte
        elif byte == 0x23 and self._buffer and self._buffer[-1] in _WHITE + b",":
            self._at = _At.HASH


Kind = Literal["number", "character", "string", "block", "expression"]


class Datum(msgspec.Struct, frozen=True):
    """One element of program data.

    ``value`` is a float for a number, bytes for a block, text for the rest (an expression without
    its brackets). ``suffix`` is the upper-case suffix of a number, or "".
    """

    kind: Kind
    value: float | str | bytes
    suffix: str = ""


class Unit(msgspec.Struct, frozen=True):
    """One program message unit: ``path`` is the header's mnemonics, in upper case."""

    path: tuple[str, ...]
    common: bool
    rooted: bool
    query: bool
    data: tuple[Datum, ...]


_HEADER = re.compile(
    rb"(?P<common>\*[A-Za-z][A-Za-z0-9_]*)|(?P<root>:?)(?P<path>[A-Za-z]\w*(?::[A-Za-z]\w*)*)",
    re.ASCII,
)
_NUMBER = re.compile(
    rb"(?P<mantissa>[+-]?(?:\d+\.?\d*|\.\d+))(?:[\0-\x09\x0b-\x20]*[Ee][\0-\x09\x0b-\x20]*"
    rb"(?P<exponent>[+-]?\d+))?"
)
_SUFFIX = re.compile(rb"[\0-\x09\x0b-\x20]*(?P<suffix>/?[A-Za-z][A-Za-z0-9/.^\-]*)")
_RADIX = re.compile(rb"#(?:[Hh](?P<h>[0-9A-Fa-f]+)|[Qq](?P<q>[0-7]+)|[Bb](?P<b>[01]+))")
_WORD = re.compile(rb"[A-Za-z]\w*", re.ASCII)


def _skip(message: bytes, at: int) -> int:
    while at < len(message) and message[at] in _WHITE:
        at += 1
    return at


def _ends(message: bytes, at: int) -> bool:
    return at >= len(message) or message[at] == 0x3B


def parse_unit(message: bytes, at: int) -> tuple[Unit | None, int]:
    """The unit that starts at offset ``at``, and the offset after its separator.

    After the last unit that offset lies beyond the message. None there, and for an empty message;
    a separator with nothing after it is a syntax error. Raises :class:`ScpiError` (a command
    error, -1xx) for a unit that breaks the grammar.
    """
    if at > len(message):
        return None, at
    started = at > 0
    at = _skip(message, at)
    if at >= len(message):
        if started:
            raise ScpiError(-102)
        return None, at + 1
    found = _HEADER.match(message, at)
    if found is None:
        if message[at] >= 0x80 or message[at] not in b":;*,\"'#()@+-.0123456789?":
            raise ScpiError(-101)
        raise ScpiError(-102)
    common = found["common"] is not None
    words = [found["common"]] if common else found["path"].split(b":")
    path = tuple(word.decode("ascii").upper() for word in words)
    if any(len(word) - common > LONGEST_WORD for word in path):
        raise ScpiError(-112)
    rooted = bool(found["root"])
    at = found.end()
    query = at < len(message) and message[at] == 0x3F
    at += query
    if not _ends(message, at) and message[at] not in _WHITE:
        if message[at] in b":*?":
            raise ScpiError(-102)
        raise ScpiError(-111 if message[at] in b"\"'#(@+-.,0123456789" else -101)
    data, at = _parse_data(message, at)
    return Unit(path, common, rooted, query, data), at + 1


def _parse_data(message: bytes, at: int) -> tuple[tuple[Datum, ...], int]:
    at = _skip(message, at)
    data: list[Datum] = []
    if _ends(message, at):
        return (), at
    while True:
        datum, at = _parse_datum(message, _skip(message, at))
        data.append(datum)
        at = _skip(message, at)
        if _ends(message, at):
            return tuple(data), at
        if message[at] != 0x2C:
            raise ScpiError(-103)
        at += 1


def _parse_datum(message: bytes, at: int) -> tuple[Datum, int]:
    if _ends(message, at) or message[at] == 0x2C:
        raise ScpiError(-102)
    first = message[at]
    if first in b"+-.0123456789":
        return _parse_number(message, at)
    if first in _QUOTES:
        return _parse_string(message, at)
    if first == 0x23:
        return _parse_hash(message, at)
    if first == 0x28:
        return _parse_expression(message, at)
    word = _WORD.match(message, at)
    if word is None:
        raise ScpiError(-101)
    if len(word[0]) > LONGEST_WORD:
        raise ScpiError(-144)
    return Datum("character", word[0].decode("ascii").upper()), word.end()


def _parse_number(message: bytes, at: int) -> tuple[Datum, int]:
    found = _NUMBER.match(message, at)
    if found is None:
        raise ScpiError(-121)
    if len(found["mantissa"].lstrip(b"+-0").replace(b".", b"")) > MOST_DIGITS:
        raise ScpiError(-124)
    exponent = found["exponent"] or b"0"
    # Length first: turning a megabyte of digits into an int takes for ever.
    if len(exponent.lstrip(b"+-0")) > 5 or abs(int(exponent)) > LARGEST_EXPONENT:
        raise ScpiError(-123)
    value = float(found["mantissa"] + b"e" + exponent)
    at = found.end()
    suffix = ""
    unit = _SUFFIX.match(message, at)
    if unit is not None:
        if len(unit["suffix"]) > LONGEST_WORD:
            raise ScpiError(-134)
        suffix = unit["suffix"].decode("ascii").upper()
        at = unit.end()
    if not _ends(message, at) and message[at] != 0x2C and message[at] not in _WHITE:
        raise ScpiError(-131 if suffix else -121)
    return Datum("number", value, suffix), at


def _parse_string(message: bytes, at: int) -> tuple[Datum, int]:
    quote = message[at : at + 1]
    out = bytearray()
    at += 1
    while True:
        end = message.find(quote, at)
        if end < 0:
            raise ScpiError(-151)
        out += message[at:end]
        if message[end + 1 : end + 2] != quote:
            return Datum("string", out.decode("latin-1")), end + 1
        out += quote
        at = end + 2


def _parse_hash(message: bytes, at: int) -> tuple[Datum, int]:
    radix = _RADIX.match(message, at)
    if radix is not None:
        name = radix.lastgroup or "h"
        digits = radix[name]
        if len(digits) > MOST_DIGITS:
            raise ScpiError(-124)
        value = int(digits, {"h": 16, "q": 8, "b": 2}[name])
        return Datum("number", float(value)), radix.end()
    count = message[at + 1 : at + 2]
    if not count.isdigit():
        raise ScpiError(-121 if count[:1].upper() in (b"H", b"Q", b"B") else -161)
    if count == b"0":
        return Datum("block", message[at + 2 :]), len(message)
    digits = message[at + 2 : at + 2 + int(count)]
    if len(digits) < int(count) or not digits.isdigit():
        raise ScpiError(-161)
    start = at + 2 + int(count)
    stop = start + int(digits)
    if stop > len(message):
        raise ScpiError(-161)
    return Datum("block", message[start:stop]), stop


def _parse_expression(message: bytes, at: int) -> tuple[Datum, int]:
    depth = 0
    for end in range(at, len(message)):
        if message[end] == 0x28:
            depth += 1
        elif message[end] == 0x29:
            depth -= 1
            if depth == 0:
                text = message[at + 1 : end].decode("latin-1")
                return Datum("expression", text), end + 1
    raise ScpiError(-171)
