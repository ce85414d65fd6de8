"""What runner and screens say to each other: JSON lines over a local socket.

A screen says ``hello`` with the token first. It then gets the record so far, line by line, and every line that is
added; it folds them itself, so it can show nothing that the record does not hold. Live readings travel alongside and
are never recorded. A screen asks for something by sending the event that it wants recorded; the runner checks it
against the machine, puts the sender's name in, and records it or refuses.
"""

from __future__ import annotations

from functools import cache
from typing import Final, Literal

import msgspec

from bench.files import exact, from_text
from bench.walk import events as e

VERSION: Final = 5
LONGEST: Final = 64 * 2**20
"""Bytes in one message: the record's first line holds a whole plant."""

Wish = (
    e.Answered
    | e.Skipped
    | e.Went
    | e.Noted
    | e.Tripped
    | e.Attached
    | e.Disturbed
    | e.Paused
    | e.Continued
    | e.Aborted
)
"""Events that a screen may ask for. All others come from the runner's own work."""


class _Message(msgspec.Struct, frozen=True, kw_only=True, tag_field="say"):
    pass


class Hello(_Message, frozen=True, kw_only=True, tag="hello"):
    """First message of a client.

    Attributes:
        token: that the address names.
        name: who is there.
        where: at which screen.
        version: of this protocol.
    """

    token: str
    name: str = ""
    where: str = ""
    version: int = VERSION


class Do(_Message, frozen=True, kw_only=True, tag="do"):
    """Record this event, please.

    Attributes:
        wish: the event, without its number in the record.
    """

    wish: Wish


class TakeSeat(_Message, frozen=True, kw_only=True, tag="take-seat"):
    """Take the operator's seat, also from somebody else."""


class Busy(_Message, frozen=True, kw_only=True, tag="busy"):
    """Something covers the page at this screen: whoever sits there does not see what happens.

    Attributes:
        covered: whether it does, or the page is back.
    """

    covered: bool


class Welcome(_Message, frozen=True, kw_only=True, tag="welcome"):
    """The client is let in.

    Attributes:
        record: path of the record.
        you: the name that the runner has for this client.
        seat: who holds the operator's seat; empty: nobody.
        version: of this protocol.
    """

    record: str
    you: str
    seat: str = ""
    version: int = VERSION


class Line(_Message, frozen=True, kw_only=True, tag="line"):
    """One raw line of the record.

    Attributes:
        raw: as it stands in the file.
    """

    raw: str


class Live(_Message, frozen=True, kw_only=True, tag="live"):
    """A reading as it is now; not recorded.

    Attributes:
        role: what it is read for.
        unit: base unit.
        value: None over range, or where there is no reading.
        over: '+' or '-' where the meter shows over range.
        resolution: one step of the last digit; None where not known.
        settled: 0 to 1: how far the contact has settled.
        touch: 'open', 'touching', 'settled', or 'lift' where the last touch must be lifted first.
        wrong: what the instrument is set to in place of what is read, and what to turn; there is no reading then.
    """

    role: str
    unit: str
    value: float | None = None
    over: str = ""
    resolution: float | None = None
    settled: float = 0.0
    touch: str = ""
    wrong: str = ""


class Rise(_Message, frozen=True, kw_only=True, tag="rise"):
    """A load on its way up, as it is now; not recorded.

    Attributes:
        at: seconds since the output went on.
        level: of the ramp, from 0.
        since: seconds since this level was set.
        amps: None where the meter gave no number.
        volts: at the supply's terminals, where they were looked at since the level was set.
        settled: seconds since the last level has settled; None before.
    """

    at: float
    level: int
    since: float
    amps: float | None = None
    volts: float | None = None
    settled: float | None = None


class Voltage(_Message, frozen=True, kw_only=True, tag="voltage"):
    """An insulation test voltage, as it is now; not recorded.

    Attributes:
        stage: it is coming, on, leaving as the wires discharge, gone and read back, or not known to be off.
        volts: the test voltage; of one that is leaving what is left.
        seconds: until it comes on.
        said: what was read back when it was gone, in words.
    """

    stage: Literal["coming", "on", "leaving", "gone", "unknown"]
    volts: float
    seconds: int = 0
    said: str = ""


class Refusal(_Message, frozen=True, kw_only=True, tag="refusal"):
    """The last wish was not recorded.

    Attributes:
        why: in a sentence.
    """

    why: str


class RecordFailing(_Message, frozen=True, kw_only=True, tag="record-failing"):
    """The record cannot be written; nothing goes on until it can. Outputs are made safe meanwhile."""

    why: str


class Bye(_Message, frozen=True, kw_only=True, tag="bye"):
    """The runner ends."""

    why: str


FromClient = Hello | Do | TakeSeat | Busy
ToClient = Welcome | Line | Live | Rise | Voltage | Refusal | RecordFailing | Bye

_encoder: Final = msgspec.json.Encoder(enc_hook=exact)


# made when a line comes first: a walk without a screen reads none, and every kind of event is in them
@cache
def _from_client() -> msgspec.json.Decoder[FromClient]:
    return msgspec.json.Decoder(FromClient, dec_hook=from_text)


@cache
def _to_client() -> msgspec.json.Decoder[ToClient]:
    return msgspec.json.Decoder(ToClient, dec_hook=from_text)


class BadMessage(ValueError):
    """The other side does not speak this protocol."""


def encode(message: FromClient | ToClient) -> bytes:
    """One message as a line."""
    return _encoder.encode(message) + b"\n"


def from_client(line: bytes) -> FromClient:
    """Read a client's line.

    Raises:
        BadMessage: it is none.
    """
    try:
        return _from_client().decode(line)
    except (msgspec.MsgspecError, ValueError, RecursionError) as error:
        raise BadMessage(str(error)) from error


def to_client(line: bytes) -> ToClient:
    """Read a runner's line.

    Raises:
        BadMessage: it is none.
    """
    try:
        return _to_client().decode(line)
    except (msgspec.MsgspecError, ValueError, RecursionError) as error:
        raise BadMessage(str(error)) from error
