"""Cutting a stream of bytes into frames: lines, IEEE 488.2 blocks, answers of fixed length, binary frames.

A framer is fed with :meth:`~Framer.push` and asked with :meth:`~Framer.pull` until it has nothing. What it cannot make
sense of it hands out as :class:`Noise`, whole, so that it can be kept; it never repairs and never guesses. Feeding
bytes one at a time gives the same frames as feeding them at once.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Final

import msgspec

from bench.instruments.parts import BadFrame, Parts

LONGEST_LINE: Final = 8192
"""Bytes. Identities and error messages stay under 256; a list of a thousand closed relays takes 6000."""
LONGEST_BLOCK: Final = 2**20
"""Bytes. A meter's block of readings or a screen picture is smaller; more is a length field gone wrong."""
_STRANGE: Final = re.compile(rb"[\x00-\x08\x0a-\x1f\x7f]")
"""What no line of text holds: a control character other than the tab."""


class Frame(msgspec.Struct, frozen=True):
    """One whole message.

    Attributes:
        raw: every byte of it, with its end.
        body: what it says: a line without its end, the payload of a block, a binary frame as it is.
        block: the body is the payload of an IEEE 488.2 block and may hold any byte.
        parts: what a decoder made of a binary frame.
    """

    raw: bytes
    body: bytes
    block: bool = False
    parts: Parts | None = None


class Noise(msgspec.Struct, frozen=True):
    """Bytes that are no message, and why not."""

    raw: bytes
    why: str


class Framer(ABC):
    """Cuts a stream of bytes into frames: the buffer that all have, and what they do unless they know better."""

    def __init__(self) -> None:
        self._buffer = bytearray()

    def push(self, data: bytes) -> None:
        """Take bytes that came in."""
        self._buffer += data

    @abstractmethod
    def pull(self) -> Frame | Noise | None:
        """The next frame; None where the bytes so far hold no whole one. Each framer cuts in its own way."""

    @property
    def empty(self) -> bool:
        """Whether it holds no byte."""
        return not self._buffer

    @property
    def pending(self) -> bytes:
        """Bytes of a frame that is not whole yet."""
        return bytes(self._buffer)

    def clear(self) -> bytes:
        """Forget what is pending and return it."""
        return self._take(len(self._buffer))

    def skip_current(self) -> None:
        """Drop the rest of the frame under way, which is too old; where nothing marks its end, drop what is pending."""
        self.clear()

    def skip_first(self) -> None:
        """Drop the first frame where it cannot be told that its beginning is missing."""
        return  # here it can

    def _take(self, count: int) -> bytes:
        data = bytes(self._buffer[:count])
        del self._buffer[:count]
        return data


class LineFramer(Framer):
    """Lines of text with an end of one or more bytes, and IEEE 488.2 definite blocks by their length.

    Args:
        end: the terminator; the whole of it must match.
        longest: bytes of a line at most, with its end.
        blocks: whether a reply may be a block.
        plain: refuse control characters other than the tab; off where a line may hold any byte.
    """

    def __init__(self, end: bytes, *, longest: int = LONGEST_LINE, blocks: bool = True, plain: bool = True) -> None:
        if not end:
            raise ValueError("a line needs an end")
        self._end = end
        self._longest = longest
        self._blocks = blocks
        self._plain = plain
        self._looked = 0
        self._skipping = False
        super().__init__()

    def clear(self) -> bytes:
        """Forget what is pending and return it."""
        self._skipping = False
        return super().clear()

    def skip_current(self) -> None:
        """Drop everything up to the next line end."""
        self._skipping = True

    def skip_first(self) -> None:
        """Drop everything up to the next line end: half a line may look like a whole one."""
        self._skipping = True

    def pull(self) -> Frame | Noise | None:
        """The next line or block."""
        if not self._buffer:
            return None
        if self._skipping and not self._skip():
            return None
        if self._blocks and self._buffer[:1] == b"#" and self._buffer[1:2].isdigit():
            return self._block()
        start = max(0, self._looked - len(self._end) + 1)
        at = self._buffer.find(self._end, start, self._longest)
        if at < 0:
            self._looked = min(len(self._buffer), self._longest)
            if len(self._buffer) >= self._longest:
                size = len(self._buffer)
                return Noise(self._take(size), f"{size} bytes without a line end")
            return None
        raw = self._take(at + len(self._end))
        body = raw[:at]
        if self._plain:
            found = _STRANGE.search(body)
            if found is not None:
                strange = found[0][0]
                hint = ", so the line end is not as the profile says" if strange in (0x0D, 0x0A) else ""
                return Noise(raw, f"the control character {strange:#04x} in a line{hint}")
        return Frame(raw, body)

    def _skip(self) -> bool:
        at = self._buffer.find(self._end)
        if at < 0:
            # keep what may be the front of the end
            keep = len(self._end) - 1
            del self._buffer[: max(0, len(self._buffer) - keep)]
            return False
        self._take(at + len(self._end))
        self._skipping = False
        return True

    def _block(self) -> Frame | Noise | None:
        digits = self._buffer[1] - 0x30
        if digits == 0:
            # an indefinite block ends with the END message, which a stream of bytes does not have
            return Noise(self._take(len(self._buffer)), "a block of indefinite length")
        header = bytes(self._buffer[2 : 2 + digits])
        if not header.isdigit() and header:
            return Noise(self._take(len(self._buffer)), f"a block whose length reads {header!r}")
        if len(header) < digits:
            return None
        size = int(header)
        if size > LONGEST_BLOCK:
            return Noise(self._take(len(self._buffer)), f"a block of {size} bytes, more than {LONGEST_BLOCK}")
        start = 2 + digits
        stop = start + size
        if len(self._buffer) < stop + len(self._end):
            return None
        if self._buffer[stop : stop + len(self._end)] != self._end:
            return Noise(self._take(len(self._buffer)), "a block that does not end where its length says")
        raw = self._take(stop + len(self._end))
        return Frame(raw, raw[start:stop], block=True)

    def _take(self, count: int) -> bytes:
        self._looked = 0
        return super()._take(count)


class FixedFramer(Framer):
    """Answers of a fixed length, as meters send that are polled with single characters.

    Args:
        length: bytes of an answer, with its end.
        end: what an answer ends with; it must stand there.
    """

    def __init__(self, length: int, end: bytes) -> None:
        if length <= len(end):
            raise ValueError("an answer must be longer than its end")
        self._length = length
        self._end = end
        super().__init__()

    def pull(self) -> Frame | Noise | None:
        """The next answer."""
        if len(self._buffer) < self._length:
            return None
        raw = self._take(self._length)
        if not raw.endswith(self._end):
            raw += self.clear()
            return Noise(raw, f"{self._length} bytes that do not end as an answer does")
        body = raw[: len(raw) - len(self._end)]
        strange = next((byte for byte in body if byte < 0x20 or byte == 0x7F), None)
        if strange is not None:
            return Noise(raw, f"the control character {strange:#04x} in an answer")
        return Frame(raw, body)


class DecodedFramer(Framer):
    """Binary frames, cut and taken apart by a decoder.

    Args:
        decode: takes the bytes at hand; returns None for more, or the parts with ``used``; raises
            :class:`~bench.instruments.parts.BadFrame` where no frame begins.
        longest: bytes of a frame at most.
    """

    def __init__(self, decode: Callable[[bytes], Parts | None], *, longest: int) -> None:
        self._decode = decode
        self._longest = longest
        self._bad = bytearray()
        self._why = ""
        super().__init__()

    @property
    def empty(self) -> bool:
        """Whether it holds no byte, of noise neither."""
        return not (self._buffer or self._bad)

    @property
    def pending(self) -> bytes:
        """Bytes of a frame that is not whole yet, or of noise that has not ended."""
        return bytes(self._bad + self._buffer)

    def clear(self) -> bytes:
        """Forget what is pending and return it."""
        bad = bytes(self._bad)
        self._bad.clear()
        return bad + super().clear()

    def pull(self) -> Frame | Noise | None:
        """The next frame. Bytes between frames come out as noise, in one piece where they are together."""
        while self._buffer:
            if len(self._bad) >= self._longest:
                return self._noise()
            try:
                parts = self._decode(bytes(self._buffer))
            except BadFrame as error:
                self._drop(error.skip, str(error))
                continue
            if parts is None:
                if len(self._buffer) <= self._longest:
                    return None
                self._drop(1, f"more than {self._longest} bytes without a whole frame")
                continue
            if not 0 < parts.used <= len(self._buffer):
                raise ValueError(f"the decoder says that a frame took {parts.used} of {len(self._buffer)} bytes")
            if self._bad:
                return self._noise()
            raw = self._take(parts.used)
            return Frame(raw, raw, parts=parts)
        return None

    def _drop(self, count: int, why: str) -> None:
        self._why = self._why or why
        self._bad += self._take(count)

    def _noise(self) -> Noise:
        noise = Noise(bytes(self._bad), self._why)
        self._bad.clear()
        self._why = ""
        return noise
