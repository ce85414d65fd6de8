"""The line format of a record, and the hash chain through its lines."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from hashlib import sha256
from typing import Any, Final, Protocol

import msgspec

from bench.files import exact, from_text
from bench.recent import Recent
from bench.walk.events import FORMAT, Began, Entry

FIRST: Final = b"0" * 64
"""What stands for the previous line's hash in the first line."""
LONGEST: Final = 64 * 2**20
"""Bytes of one line at most: the first line holds a whole plant, and no honest plant comes near this."""
SECTOR: Final = 512
"""Bytes that a disk writes whole or not at all; larger ones are multiples of it."""

_SEAL: Final = b',"hash":"'
_END: Final = b'"}\n'
_HASH: Final = -len(_END) - 64
"""Where a line's hash begins, from its end."""
_BODY: Final = _HASH - len(_SEAL)
"""Where the bytes that are hashed end, from the line's end."""
_NO_LINE: Final = "no whole line of a record"
_CHANGED_ENDS: Final = (
    "its line ends were turned into CR LF, by an editor or by git on its way: take the file as it was written (a line "
    "'*.jsonl -text' in .gitattributes keeps git from it)"
)

_OPENS: Final = b'{"n":1,'
_PARTS: Final[dict[str, Recent[bytes, Any]]] = {"plant": Recent(8), "sequence": Recent(32), "bench": Recent(8)}
"""The long parts of a first line, by how they are written."""
_UNREADABLE: Final = (msgspec.MsgspecError, ValueError, NotImplementedError, RecursionError)

_encoder: Final = msgspec.json.Encoder(enc_hook=exact)


@cache
def _decoder() -> msgspec.json.Decoder[Entry]:
    """Made when a line is read first: a new walk reads none, and every kind of event and of plant thing is in it."""
    return msgspec.json.Decoder(Entry, dec_hook=from_text)


class _Versioned(msgspec.Struct, frozen=True):
    format: int = 0
    software: str = ""


class _Peek(msgspec.Struct, frozen=True):
    event: _Versioned


class Numbered(Protocol):
    """What a line holds, as far as its place is concerned."""

    @property
    def n(self) -> int:
        """Its number."""

    @property
    def event(self) -> object:
        """The event."""


class BadLine(ValueError):
    """A line is no line of a record, or not the one that belongs here."""


def seal(entry: Numbered, previous: bytes) -> tuple[bytes, bytes]:
    """Encode an entry as a line.

    Args:
        entry: the event in its envelope.
        previous: the previous line's hash, 64 hex digits.

    Returns:
        The line with its newline, and its hash.
    """
    body = _encoder.encode(entry)[:-1]
    digest = hash_of(body, previous)
    return b"".join((body, _SEAL, digest, _END)), digest


def hash_of(body: bytes, previous: bytes) -> bytes:
    """SHA-256 over the previous hash and a line's bytes up to its own hash, as 64 hex digits.

    Args:
        body: the line's bytes, up to its own hash.
        previous: the previous line's hash, 64 hex digits.
    """
    return sha256(previous + body).hexdigest().encode()


def check(line: bytes, previous: bytes) -> bytes:
    """Verify one line against its predecessor and return its hash.

    Args:
        line: the raw line with its newline.
        previous: the previous line's hash.

    Raises:
        BadLine: it is torn, altered, or follows another line.
    """
    # written out, with no call but the hash: a record of a million lines is read through here
    if not line.endswith(_END) or line[_BODY:_HASH] != _SEAL:
        raise BadLine(_CHANGED_ENDS if line.endswith(b"\r\n") else _NO_LINE)
    digest = line[_HASH:-3]
    if sha256(previous + line[:_BODY]).hexdigest().encode() != digest:
        raise BadLine("the line or one before it was changed, removed, added or moved: its hash does not fit")
    return digest


def in_place(entry: Numbered, number: int, begins: type | tuple[type, ...] = Began) -> None:
    """Verify that an entry is the one that a line should have.

    Args:
        entry: the entry.
        number: of its line, from 1.
        begins: what the first event may be: only a file of disturbances begins otherwise than a walk.

    Raises:
        BadLine: it has another number, or the first one does not begin a walk.
    """
    if entry.n != number:
        raise BadLine(f"event {entry.n} stands where event {number} belongs")
    if number == 1 and not isinstance(entry.event, begins):
        begun = "a walk" if begins is Began else "a file of its kind"
        raise BadLine(f"the first event does not begin {begun}")


def is_torn(line: bytes, previous: bytes) -> bool:
    """Whether a last line was cut off while it was being written.

    Args:
        line: the raw line.
        previous: the previous line's hash.

    Raises:
        BadLine: it is whole, but something else stands in the place of its newline.
    """
    if line.endswith(b"\n"):
        return False
    try:
        check(line[:-1] + b"\n", previous)
    except BadLine:
        return True
    raise BadLine("the end of the line was changed")


def lacks_sectors(line: bytes, offset: int) -> bool:
    """Whether whole sectors of a line never reached the disk, as after a power cut: they are zeros, which none writes.

    Sectors reach a disk in any order, so a last line may have its end and lack what is before it. Only a last line is
    ever written without being synced.

    Args:
        line: the raw line, with its newline.
        offset: of its first byte in the file.
    """
    begin = line.find(b"\0")
    if begin < 0:
        return False
    end = len(line) - len(line[begin:].lstrip(b"\0"))
    return (begin == 0 or (offset + begin) % SECTOR == 0) and (offset + end) % SECTOR == 0


def split(line: bytes) -> tuple[bytes, bytes]:
    """Part a line into the bytes that are hashed and its hash.

    Raises:
        BadLine: it does not have the form of a record's line.
    """
    if not line.endswith(_END) or line[_BODY:_HASH] != _SEAL:
        raise BadLine(_CHANGED_ENDS if line.endswith(b"\r\n") else _NO_LINE)
    return line[:_BODY], line[_HASH:-3]


def decode(line: bytes) -> Entry:
    """Read one line's entry.

    Raises:
        BadLine: it is not valid, or of a newer format than this program knows.
    """
    try:
        entry = _first(line) if line.startswith(_OPENS) else _decoder().decode(line)
    except _UNREADABLE as error:
        _refuse_newer(line)
        raise BadLine(f"no event that this version knows: {error}") from error
    if type(entry.event) is Began and entry.event.format > FORMAT:
        _refuse_newer(line)
    return entry


# The first line


def _first(line: bytes) -> Entry:
    """A first line's entry. All records of a job hold its plant, and most the same one: that is read once."""
    try:
        read: Any = _opening().decode(line)
        told = read.event
        parts = {
            name: _PARTS[name].get(bytes(getattr(told, name)), _reader(name, getattr(told, name))) for name in _PARTS
        }
    except _UNREADABLE:
        return _decoder().decode(line)  # which says where it is wrong
    rest = {name: getattr(told, name) for name in told.__struct_fields__ if name not in parts}
    return Entry(n=read.n, at=read.at, event=Began(**rest, **parts))


def _reader(name: str, text: msgspec.Raw) -> Callable[[], Any]:
    return lambda: _part_decoders()[name].decode(text)


@cache
def _part_decoders() -> dict[str, msgspec.json.Decoder[Any]]:
    kinds = {one.name: one.type for one in msgspec.structs.fields(Began)}
    return {name: msgspec.json.Decoder(kinds[name], dec_hook=from_text) for name in _PARTS}


@cache
def _opening() -> msgspec.json.Decoder[Any]:
    """Reads a first line with its long parts left as they are written."""
    fields: list[Any] = []
    for one in msgspec.structs.fields(Began):
        if one.name in _PARTS:
            fields.append((one.name, msgspec.Raw))
        elif one.default is not msgspec.NODEFAULT:
            fields.append((one.name, one.type, one.default))
        elif one.default_factory is not msgspec.NODEFAULT:
            fields.append((one.name, one.type, msgspec.field(default_factory=one.default_factory)))
        else:
            fields.append((one.name, one.type))
    event = msgspec.defstruct("Opening", fields, kw_only=True, frozen=True, tag_field="is", tag="began")
    return msgspec.json.Decoder(
        msgspec.defstruct("OpeningLine", [("n", int), ("at", str), ("event", event)]), dec_hook=from_text
    )


def _refuse_newer(line: bytes) -> None:
    """Say so where a line tells of a newer format, also where the rest of it cannot be read for that reason."""
    try:
        told = msgspec.json.decode(line, type=_Peek).event
    except (msgspec.MsgspecError, ValueError, RecursionError):
        return
    if told.format > FORMAT:
        raise BadLine(
            f"written in format {told.format} by version {told.software or 'unknown'}; this version reads formats up "
            f"to {FORMAT}: use the newer one"
        )
