"""Heads of records, kept outside of them: whoever rewrites a record from some line on, hashes and all, contradicts
them.

A list of heads is a text: of each file its first line's hash (the same in every copy), its number of lines, its last
line's hash, and its name. Sixteen letters stand for the whole list: written into a log book they show whether a list is
the one that was made then. A list can be signed (Ed25519, RFC 8032), and it is a text that goes well into a commit.

What lies before a head that was kept cannot be changed unseen; what was written after the list was made can, and a list
says nothing of records that are not in it.
"""

from __future__ import annotations

import base64
import hashlib
import os
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

import msgspec

from bench.record.index import chain_of, hash_at
from bench.record.read import BrokenRecord

TITLE: Final = "heads of records, form 1"
LETTERS: Final = "ABCDEFGHJKLMNPQRSTUVWXYZ"
"""Without I and O, which are taken for figures. Sixteen of 24 letters tell 2^73 lists apart."""
_LINE: Final = re.compile(r"([0-9a-f]{64}) (\d{1,18}) ([0-9a-f]{64})  (.+)")
_SIGNED: Final = re.compile(r"signed ([A-Za-z0-9+/=]+) ([A-Za-z0-9+/=]+)")


class NoHeads(ValueError):
    """A file is no list of heads, or not the one that it is said to be."""


class NoSigning(RuntimeError):
    """The library that signs is not installed; the text says how to get it."""

    def __init__(self) -> None:
        super().__init__("signing needs cryptography, which is not installed: pip install 'proveout[sign]'")


class KeptHead(msgspec.Struct, frozen=True, order=True):
    """How far a file went when the list was made.

    Attributes:
        first: its first line's hash.
        lines: how many lines it had.
        last: its last line's hash.
        name: its name then.
    """

    first: str
    lines: int
    last: str
    name: str


class Heads(msgspec.Struct, frozen=True):
    """A list of heads.

    Attributes:
        kept: the files, by their first lines' hashes.
        made: when and of what, in words.
        signer: the public key that signed it, as text; empty where nobody did.
    """

    kept: tuple[KeptHead, ...]
    made: str = ""
    signer: str = ""

    @property
    def letters(self) -> str:
        """Sixteen letters that stand for the list, whatever the files are called: ``ABCD EFGH JKLM NPQR``."""
        return letters_of("\n".join(f"{one.first} {one.lines} {one.last}" for one in self.kept).encode())

    @property
    def text(self) -> str:
        """As a file holds it, without a signature."""
        lines = [f"{one.first} {one.lines} {one.last}  {one.name}" for one in self.kept]
        return "\n".join([TITLE, f"made: {self.made}", *lines, f"letters: {self.letters}", ""])


def letters_of(content: bytes) -> str:
    """Sixteen letters for some bytes, in groups of four."""
    number, found = int.from_bytes(hashlib.sha256(content).digest()), ""
    for _ in range(16):
        number, rest = divmod(number, len(LETTERS))
        found += LETTERS[rest]
    return " ".join(found[i : i + 4] for i in range(0, 16, 4))


def heads_of(paths: Iterable[Path], root: Path, made: str) -> Heads:
    """The heads of some files.

    Args:
        paths: records, files of disturbances, surveys.
        root: the folder that their names are told from.
        made: when and of what, in words.

    Raises:
        BrokenRecord: a chain does not hold: its head stands for nothing.
    """
    found = []
    for path in paths:
        chain = chain_of(path)
        name = str(path.relative_to(root)) if path.is_relative_to(root) else str(path)
        if chain.lines:
            found.append(KeptHead(chain.first, chain.lines, chain.last, name))
    return Heads(tuple(sorted(set(found))), made)


def read_heads(text: str) -> Heads:
    """Read a list; its signature, where it has one, is verified.

    Raises:
        NoHeads: it is no list of heads, or was changed since it was made.
        NoSigning: it is signed and cannot be verified.
    """
    lines = text.splitlines()
    if len(lines) < 3 or lines[0] != TITLE:
        raise NoHeads(f"is no list of heads: it does not begin with '{TITLE}'")
    signed = _SIGNED.fullmatch(lines[-1])
    body = lines[:-1] if signed else lines
    kept = []
    for line in body[2:-1]:
        found = _LINE.fullmatch(line)
        if found is None:
            raise NoHeads(f"has a line that is none of a list of heads: '{line[:80]}'")
        kept.append(KeptHead(found[1], int(found[2]), found[3], found[4]))
    heads = Heads(tuple(sorted(kept)), body[1].removeprefix("made: "), signed[1] if signed else "")
    if body[-1] != f"letters: {heads.letters}":
        raise NoHeads("was changed since it was made: its letters do not fit")
    if signed:
        _verify("\n".join([*body, ""]).encode(), signed[1], signed[2])
    return heads


def against(heads: Heads, paths: Iterable[Path]) -> list[str]:
    """What is not as it was when a list was made, in words.

    Args:
        heads: the list.
        paths: the files that are there now.
    """
    there: dict[str, list[Path]] = {}
    lines: dict[Path, int] = {}
    for path in paths:
        try:
            chain = chain_of(path)
        except BrokenRecord:
            continue  # verifying says so already; and it is missed below unless there is a sound copy
        there.setdefault(chain.first, []).append(path)
        lines[path] = chain.lines
    found = []
    for one in heads.kept:
        copies = there.get(one.first, [])
        if any(lines[path] >= one.lines and hash_at(path, one.lines) == one.last for path in copies):
            continue
        if not copies:
            found.append(
                f"{one.name} is not there as the list has it: removed, damaged, or written anew from its first line"
            )
            continue
        longest = max(copies, key=lambda path: lines[path])
        if lines[longest] < one.lines:
            found.append(f"{longest}: its end is missing: {lines[longest]} lines, where the list has {one.lines}")
        else:
            found.append(f"{longest} was written anew from some line on, line {one.lines} at the latest")
    return found


# Signing


def new_key(path: Path) -> str:
    """Make a key to sign with; its public half goes beside it.

    Returns:
        The public key as a list names it.

    Raises:
        FileExistsError: there is one already.
        NoSigning: the library is not installed.
    """
    ed25519, form = _library()
    private = ed25519.Ed25519PrivateKey.generate()
    secret = private.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption())
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as stream:
        stream.write(secret)
    public = private.public_key()
    path.with_name(f"{path.name}.pub").write_bytes(
        public.public_bytes(form.Encoding.PEM, form.PublicFormat.SubjectPublicKeyInfo)
    )
    return _named(public)


def signed(text: str, key: Path) -> str:
    """A list with its signature in a last line.

    Args:
        text: of the list, see :attr:`Heads.text`.
        key: the private key's file, as :func:`new_key` made it.

    Raises:
        NoHeads: the file holds no such key.
        NoSigning: the library is not installed.
    """
    ed25519, form = _library()
    try:
        private = form.load_pem_private_key(key.read_bytes(), None)
    except (ValueError, TypeError, OSError) as error:
        raise NoHeads(f"{key} holds no private key that can sign: {error}") from error
    if not isinstance(private, ed25519.Ed25519PrivateKey):
        raise NoHeads(f"{key} holds a key of another kind, expected Ed25519 as 'proveout heads --new-key' makes")
    signature = base64.b64encode(private.sign(text.encode())).decode()
    return f"{text}signed {_named(private.public_key())} {signature}\n"


def public_key(path: Path) -> str:
    """The public key of a file, as a list names it.

    Raises:
        NoHeads: the file holds no such key.
        NoSigning: the library is not installed.
    """
    _, form = _library()
    try:
        return _named(form.load_pem_public_key(path.read_bytes()))
    except (ValueError, TypeError, AttributeError, OSError) as error:
        raise NoHeads(f"{path} holds no public key: {error}") from error


def _library() -> tuple[Any, Any]:
    try:
        from cryptography.hazmat.primitives import serialization
        from cryptography.hazmat.primitives.asymmetric import ed25519
    except ImportError as error:
        raise NoSigning from error
    return ed25519, serialization


def _named(key: Any) -> str:
    return base64.b64encode(key.public_bytes_raw()).decode()


def _verify(content: bytes, key: str, signature: str) -> None:
    ed25519, _ = _library()
    from cryptography.exceptions import InvalidSignature

    try:
        public = ed25519.Ed25519PublicKey.from_public_bytes(base64.b64decode(key))
        public.verify(base64.b64decode(signature), content)
    except (ValueError, InvalidSignature) as error:
        raise NoHeads("was changed since it was signed: its signature does not fit") from error
