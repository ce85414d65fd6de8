"""The line format of a record, and the hash chain through its lines."""

from __future__ import annotations

import hashlib
from typing import Final

import msgspec

from bench.files import exact, from_text
from bench.walk.events import Entry

FIRST: Final = b"0" * 64
"""What stands for the previous line's hash in the first line."""
LONGEST: Final = 64 * 2**20
"""Bytes of one line at most: the first line holds a whole plant, and no honest plant comes near this."""

_SEAL: Final = b',"hash":"'
_TAIL: Final = len(_SEAL) + 64 + 2

_encoder: Final = msgspec.json.Encoder(enc_hook=exact)
_decoder: Final = msgspec.json.Decoder(Entry, dec_hook=from_text)


class BadLine(ValueError):
    """A line is no line of a record, or not the one that belongs here."""


def seal(entry: Entry, previous: bytes) -> tuple[bytes, bytes]:
    """Encode an entry as a line.

    Args:
        entry: the event in its envelope.
        previous: the previous line's hash, 64 hex digits.

    Returns:
        The line with its newline, and its hash.
    """
    body = _encoder.encode(entry)[:-1]
    digest = hash_of(body, previous)
    return b"".join((body, _SEAL, digest, b'"}\n')), digest


def hash_of(body: bytes, previous: bytes) -> bytes:
    """SHA-256 over the previous hash and a line's bytes up to its own hash, as 64 hex digits."""
    return hashlib.sha256(previous + body).hexdigest().encode()


def check(line: bytes, previous: bytes) -> bytes:
    """Verify one line against its predecessor and return its hash.

    Args:
        line: the raw line with its newline.
        previous: the previous line's hash.

    Raises:
        BadLine: it is torn, altered, or follows another line.
    """
    body, digest = split(line)
    if hash_of(body, previous) != digest:
        raise BadLine("the line or one before it was changed, removed, added or moved: its hash does not fit")
    return digest


def split(line: bytes) -> tuple[bytes, bytes]:
    """Part a line into the bytes that are hashed and its hash.

    Raises:
        BadLine: it does not have the form of a record's line.
    """
    if not line.endswith(b'"}\n') or line[-_TAIL - 1 : -67] != _SEAL:
        raise BadLine("no whole line of a record")
    return line[: -_TAIL - 1], line[-67:-3]


def decode(line: bytes) -> Entry:
    """Read one line's entry.

    Raises:
        BadLine: it is not valid, or of a newer format than this program knows.
    """
    try:
        return _decoder.decode(line)
    except (msgspec.MsgspecError, ValueError, UnicodeDecodeError) as error:
        raise BadLine(f"no event that this version knows: {error}") from error
