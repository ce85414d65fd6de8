"""What instruments hand back: identities, readings, states of outputs. Plain frozen values."""

from __future__ import annotations

from typing import Final, Literal

import msgspec

from bench.instruments.wire_text import show


class Expected(msgspec.Struct, frozen=True):
    """Which instrument must answer.

    Attributes:
        serial: its serial number; empty: any.
        identity: what it says when asked who it is, but for the version; empty: anything of its kind.
    """

    serial: str = ""
    identity: str = ""


ANYONE: Final = Expected()
"""Any instrument that its profile describes."""


class Identity(msgspec.Struct, frozen=True):
    """Who an instrument says it is; a field is empty where it does not say.

    Attributes:
        text: the whole answer.
    """

    text: str = ""
    maker: str = ""
    model: str = ""
    serial: str = ""
    version: str = ""

    def same_instrument(self, other: Identity) -> bool:
        """Whether two identities are of one instrument; the version may have changed."""
        return (self.maker, self.model, self.serial) == (other.maker, other.model, other.serial)


class Setup(msgspec.Struct, frozen=True):
    """What an instrument was set to.

    Attributes:
        function: the function's name in the profile.
        unit: base unit of its readings.
        range: the range it is locked to, in the base unit; None where it ranges by itself.
        settings: the other settings, as sent.
        instruction: what the operator must do at the instrument, where it cannot be set over the wire.
    """

    function: str
    unit: str
    range: float | None = None
    settings: dict[str, str] = msgspec.field(default_factory=dict)
    instruction: str = ""


class Sample(msgspec.Struct, frozen=True):
    """One reading.

    Attributes:
        value: in the base unit; None where the instrument showed over range or no number.
        unit: the base unit.
        function: the function's name in the profile.
        range: full scale of the range it was taken on, in the base unit; None where not known.
        resolution: one step of the last digit; None where not known.
        over: ``+`` or ``-`` where it showed over range.
        nan: the instrument showed that it has no number.
        bound: where it showed over range: what the true value is beyond, in the base unit; None where not known.
        flags: what its marks mean, such as ``low-battery``.
        trace: the curve behind it: metres, and the part of the pulse that came back from there.
        sent: the bytes that asked for it.
        raw: the replies that it rests on, in order.
        started: when it was triggered, on the clock of the deadlines.
        finished: when its reply was whole.
        tries: how many it took.
    """

    value: float | None
    unit: str
    function: str
    range: float | None = None
    resolution: float | None = None
    over: Literal["", "+", "-"] = ""
    nan: bool = False
    bound: float | None = None
    flags: tuple[str, ...] = ()
    trace: tuple[tuple[float, float], ...] = ()
    sent: bytes = b""
    raw: tuple[bytes, ...] = ()
    started: float = 0.0
    finished: float = 0.0
    tries: int = 1

    @property
    def overload(self) -> bool:
        """Whether it showed over range, on either side."""
        return bool(self.over)

    @property
    def took(self) -> float:
        """Seconds from trigger to reply."""
        return self.finished - self.started

    @property
    def raw_text(self) -> tuple[str, ...]:
        """The replies as printable text, for a record."""
        return tuple(show(data) for data in self.raw)


class OutputState(msgspec.Struct, frozen=True):
    """An output after it was switched, as read back.

    Attributes:
        name: the output's name in the profile.
        on: as asked for and confirmed.
        settings: what it was set to, as sent.
        raw: the replies that confirm it.
    """

    name: str
    on: bool
    settings: dict[str, str] = msgspec.field(default_factory=dict)
    raw: tuple[bytes, ...] = ()

    @property
    def raw_text(self) -> tuple[str, ...]:
        """The replies as printable text, for a record."""
        return tuple(show(data) for data in self.raw)


class SafeState(msgspec.Struct, frozen=True):
    """What came of making an instrument safe.

    Attributes:
        confirmed: it is safe, and was read back; True as well where it has no output at all.
        needed: it has an output.
        what: in words.
        raw: the replies.
        lost: its port is gone; over a new one it may answer.
    """

    confirmed: bool
    needed: bool
    what: str
    raw: tuple[bytes, ...] = ()
    lost: bool = False

    @property
    def raw_text(self) -> tuple[str, ...]:
        """The replies as printable text, for a record."""
        return tuple(show(data) for data in self.raw)


class Notice(msgspec.Struct, frozen=True):
    """Something that was dealt with, and that a record may want to keep.

    Attributes:
        kind: ``retry``, ``resynchronised``, ``set-anew`` or ``reconnected``.
        text: in words.
        raw: the bytes in the matter.
    """

    kind: Literal["retry", "resynchronised", "set-anew", "reconnected"]
    text: str
    raw: tuple[bytes, ...] = ()
