"""What a machine says on its own console: bytes as they come, made into lines with their times. Pure.

A console is text in lines, whatever ends them; a prompt has no end and is taken for a line when nothing follows. What
is no text is told apart: most of it garbled means another rate than is set, or another parity; a character now and
then means noise.
"""

from __future__ import annotations

import re
from collections import deque
from typing import Final

import msgspec

IDLE_S: Final = 0.5
"""Seconds of silence after which a line without an end counts as whole."""
LONGEST: Final = 4096
"""The longest line, in characters; a longer one is cut into pieces."""
WINDOW: Final = 240
"""The newest characters that are looked at for garbled ones."""
FEWEST: Final = 16
"""With fewer characters than this nothing is said of the rate."""
NO_TEXT: Final = 0.25
"""The garbled share that no real text reaches and text at a wrong rate always does (measured over all pairs of usual
rates in its tests)."""
NOISY: Final = 3
"""Garbled characters within a window from which on it is called noise."""
USUAL: Final = (1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200)
"""Rates that consoles have, most often (common practice, no source)."""
_ENDS: Final = re.compile(rb"\r\n|\n|\r")
_CODES: Final = re.compile("\x1b\\[[0-9;?]*[ -/]*[@-~]")
"""Colours and moves of the cursor (ECMA-48): no part of what is said."""


class Spoken(msgspec.Struct, frozen=True):
    """A line.

    Attributes:
        at: seconds at which its first character came.
        text: without its end; bytes that are no character are written as ``\\xNN``.
    """

    at: float
    text: str


class ConsoleText:
    """Follows one console.

    Args:
        baud: as the port is set; for what is said of it.

    Attributes:
        wrong: what is wrong with what comes, in a sentence; empty where nothing is.
    """

    def __init__(self, baud: int = 9600) -> None:
        self.wrong = ""
        self._baud = baud
        self._rest = b""
        self._began = self._newest = 0.0
        self._window: deque[int] = deque(maxlen=WINDOW)

    def feed(self, data: bytes, now: float) -> list[Spoken]:
        """Take bytes.

        Args:
            data: as they came.
            now: seconds.

        Returns:
            The lines that are whole by them.
        """
        found = self.idle(now)
        if not data:
            return found
        if not self._rest:
            self._began = now
        self._newest = now
        self._window.extend(data)
        self._look()
        # the line feed of a carriage return at the end may still be to come: together they end one line
        *whole, self._rest = _ENDS.split(self._rest + data)
        for piece in whole:
            found += self._line(piece)
            self._began = now
        while len(self._rest) > LONGEST:
            found += self._line(self._rest[:LONGEST])
            self._rest = self._rest[LONGEST:]
        return found

    def idle(self, now: float) -> list[Spoken]:
        """The line without an end, where nothing followed for long enough."""
        if not self._rest or now - self._newest < IDLE_S:
            return []
        rest, self._rest = self._rest, b""
        return self._line(rest)

    def _line(self, data: bytes) -> list[Spoken]:
        text = _CODES.sub("", data.decode("utf-8", "backslashreplace"))
        text = "".join(one if one.isprintable() or one == "\t" else f"\\x{ord(one):02x}" for one in text)
        return [Spoken(self._began, text.rstrip())] if text.strip() else []

    def _look(self) -> None:
        data = bytes(self._window)
        strange = _strange(data)
        part = strange / len(data)
        if len(data) >= FEWEST and part >= NO_TEXT:
            self.wrong = f"{strange} of {len(data)} characters are no text: {_why(data, self._baud)}"
            # whoever sets it right is not told of the old ones again
        elif len(data) >= FEWEST and strange >= NOISY:
            self.wrong = (
                f"{strange} of the last {len(data)} characters are no text: noise on the line; look at its ground, "
                "its length and what lies beside it"
            )
        elif strange == 0 and len(data) >= FEWEST:
            self.wrong = ""


def _strange(data: bytes) -> int:
    """How many bytes are nothing that a console says: odd control characters, and what is not UTF-8."""
    text = data.decode("utf-8", "replace")
    # the window may begin and end in the middle of a character
    cut = sum(one == "\ufffd" for one in (text[:1], text[-1:]) if len(text) > 1)
    odd = sum(one == "\ufffd" or (ord(one) < 0x20 and one not in "\t\r\n\b\a\x1b\f") or one == "\x7f" for one in text)
    return max(0, odd - cut) if odd <= 2 else odd


def _why(data: bytes, baud: int) -> str:
    seven = bytes(one & 0x7F for one in data)
    for name, odd in (("even", 0), ("odd", 1)):
        if _strange(seven) == 0 and all(one.bit_count() % 2 == odd for one in data):
            return f"it is 7 bits with {name} parity, and the port is set to 8 bits with none"
    others = ", ".join(str(one) for one in USUAL if one != baud)
    return f"the rate is most likely another one than {baud} baud; try {others}"
