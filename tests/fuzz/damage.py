"""Damages sound input: words, lines and bytes dropped, doubled, exchanged, or replaced by what is likely to hurt."""

from __future__ import annotations

import random
import re
from typing import Final

HURTS: Final = (
    *("", "0", "-1", "-0", "1e400", "-1e400", "1e-400", "nan", "NaN ohm", "inf", "-inf V", "1e308 ohm", "1e-300 m"),
    *("9" * 30, "9" * 4000, "999999999", "1-999999999", "1-99", "99999999999999999999 ohm", "0x10", "1_000", "\u0661"),
    *("[" * 300, "{a: " * 300, "- " * 300, "[]", "{}", "null", "~", "''", "true", "&a [*a]", "*a", "&a", "<<: *a"),
    *("!!python/object/apply:os.system ['id']", "!!binary aGk=", "--- x", "...", "%YAML 9.9", "? x"),
    *(
        "../secret.csv",
        "../../../../etc/passwd",
        "/etc/passwd",
        "pins/../../secret.csv",
        "file:///etc/passwd",
        "~/x",
        "n" * 5000,
        "n" * 300 + "/x.yaml",
    ),
    *("C:\\secret.csv", "\\\\host\\share", "con", "."),
    *("{conductor.__class__}", "{0}", "{", "}", "{conductor.near.x}", "{{x}}", "%s%n", "$(id)", "`id`"),
    *("\x1b[2J", "\x07", "\x00", "\x9b31m", "\u202e", "\u2028", "\ud7ff", "\ufeff", "\r", "\t", "\\e[2J", "\\x9b"),
    *("(a+)+$", "(?P<value>.*)*x", ".*.*.*.*=", "9.9E37", "+9.90000000E+37", "OL", "> 1e999", "1e99999"),
)
"""Texts that have hurt programs of this kind."""


def damaged(draw: random.Random, data: bytes) -> bytes:
    """The same with one to six things wrong."""
    for _ in range(draw.choice((1, 1, 1, 2, 3, 6))):
        data = draw.choice((_word, _word, _word, _line, _bytes))(draw, data)
    return data


def _hurt(draw: random.Random) -> bytes:
    return draw.choice(HURTS).encode("utf-8", "surrogatepass")


def _word(draw: random.Random, data: bytes) -> bytes:
    words = list(re.finditer(rb"[^\s,:\[\]{}|\"]+", data))
    if not words:
        return _hurt(draw)
    word, other = draw.choice(words), draw.choice(words)
    new = draw.choice((_hurt(draw), other.group(), b"", word.group() * 2, _number(draw, word.group())))
    return data[: word.start()] + new + data[word.end() :]


def _number(draw: random.Random, word: bytes) -> bytes:
    figures = draw.choice((b"0", b"-1", b"1e9", b"1e308", b"1e-308", b"123456789", b"0.5"))
    return re.sub(rb"\d+(\.\d+)?", lambda _: figures, word, count=1)


def _line(draw: random.Random, data: bytes) -> bytes:
    lines = data.splitlines(keepends=True)
    if not lines:
        return _hurt(draw)
    at = draw.randrange(len(lines))
    match draw.randrange(5):
        case 0:
            del lines[at]
        case 1:
            lines.insert(at, lines[draw.randrange(len(lines))])
        case 2:
            other = draw.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        case 3:
            lines[at] = b"  " * draw.randrange(3) + lines[at].lstrip()
        case _:
            del lines[at:]
    return b"".join(lines)


def _bytes(draw: random.Random, data: bytes) -> bytes:
    if not data:
        return _hurt(draw)
    at = draw.randrange(len(data))
    match draw.randrange(4):
        case 0:
            return data[:at] + bytes([data[at] ^ 1 << draw.randrange(8)]) + data[at + 1 :]
        case 1:
            return data[:at] + draw.randbytes(draw.randrange(1, 9)) + data[at:]
        case 2:
            return data[:at] + data[at + draw.randrange(1, 20) :]
        case _:
            return data[:at]
