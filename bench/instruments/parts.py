"""What a decoder of binary frames hands back. A decoder module may import this and the standard library only."""

from __future__ import annotations

from collections.abc import Callable

import msgspec


class Parts(msgspec.Struct, frozen=True):
    """The pieces of one reading, as the instrument sent them and before they mean anything.

    Attributes:
        value: the figure as text: ``+0012.34``, or what is shown in its place such as ``OL``.
        unit: the unit as the instrument names it; empty where it names none.
        function: what the instrument says that it measures; empty where it says nothing.
        range: the range as the instrument names it; empty where it names none.
        marks: further signs that were lit or sent, such as ``HOLD`` or ``BAT``.
        used: bytes of the input that the frame took, of the front; only decoders of frames fill it.
    """

    value: str
    unit: str = ""
    function: str = ""
    range: str = ""
    marks: tuple[str, ...] = ()
    used: int = 0


class BadFrame(ValueError):
    """The bytes at the front are no frame. A decoder raises it.

    Attributes:
        skip: how many bytes to drop before trying again, at least 1.
    """

    def __init__(self, why: str, skip: int = 1) -> None:
        super().__init__(why)
        self.skip = max(1, skip)


Decoder = Callable[[bytes], Parts | None]
"""Takes the bytes at hand; gives the pieces of the frame at their front, or None where more are needed."""
