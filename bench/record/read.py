"""Reading a record: line by line, with its chain checked, in constant memory."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final, TypeVar

import msgspec

from bench.record.chain import FIRST, LONGEST, BadLine, check, decode, in_place, is_torn, lacks_sectors
from bench.walk.events import Entry

E = TypeVar("E")
_NEWLINE: Final = ord("\n")


class BrokenRecord(ValueError):
    """A record is not what a runner wrote.

    Attributes:
        path: the record.
        line: the first line that is wrong, from 1.
        why: what is wrong with it.
    """

    def __init__(self, path: Path, line: int, why: str) -> None:
        super().__init__(f"{path}:{line}: {why}" if line else f"{path} {why}")
        self.path = path
        self.line = line
        self.why = why


def read_lines(path: Path) -> Iterator[tuple[int, bytes]]:
    """The raw lines of a record with their numbers, from 1; the last may lack its newline.

    Raises:
        BrokenRecord: the file cannot be read, or a line is longer than any honest one.
    """
    try:
        with path.open("rb") as stream:
            number = 0
            while line := stream.readline(LONGEST + 1):
                number += 1
                if len(line) > LONGEST:
                    raise BrokenRecord(path, number, f"a line of more than {LONGEST} bytes")
                yield number, line
    except OSError as error:
        raise BrokenRecord(path, 0, f"cannot be read: {error.strerror}") from error


def _anywhere(entry: object, number: int) -> None:
    """Any entry may stand at any line."""


def read_chained(
    path: Path, decode_line: Callable[[bytes], E], placed: Callable[[E, int], None] = _anywhere
) -> Iterator[tuple[int, str, E]]:
    """Number, hash and entry of each line of a file of chained lines that is no walk's; a torn last line is left out.

    Args:
        path: the file.
        decode_line: reads a line's entry.
        placed: raises BadLine for an entry that must not stand at a line of this number.

    Raises:
        BrokenRecord: a line is wrong, or does not follow from the one before it.
    """
    chain = FIRST
    for number, line in read_lines(path):
        try:
            if is_torn(line, chain):
                return
            chain = check(line, chain)
            entry = decode_line(line)
            placed(entry, number)
        except BadLine as error:
            raise BrokenRecord(path, number, str(error)) from error
        yield number, chain.decode(), entry


class Followed(msgspec.Struct):
    """How far a record's chain was followed by whoever read its entries.

    Attributes:
        lines: whole lines so far.
        first: the first line's hash, as hex digits; empty before it.
        last: the last whole line's hash.
        torn: bytes after the last whole line.
        lacking: why the last line is none, where whole sectors of it never reached the disk; None elsewhere.
    """

    lines: int = 0
    first: bytes = b""
    last: bytes = FIRST
    torn: int = 0
    lacking: BrokenRecord | None = None


def read_record(path: Path, followed: Followed | None = None) -> Iterator[Entry]:
    """The entries of a record, each verified against the chain before it is given out.

    A torn last line (a crash, a power cut, or a record that is being written) ends the reading without an error.

    Args:
        path: the record.
        followed: is told of the chain once all of it was read.

    Raises:
        BrokenRecord: a line is wrong, or the first one does not begin a walk.
    """
    chain, lines, number, first, torn = FIRST, read_lines(path), 0, b"", 0
    lacking: BrokenRecord | None = None
    for number, line in lines:
        try:
            # the newline is looked for here too: a call for every line of a million costs
            if line[-1] != _NEWLINE and is_torn(line, chain):
                number, torn = number - 1, len(line)
                break
            chain = check(line, chain)
            entry = decode(line)
            if number == 1:
                in_place(entry, number)
                first = chain
            elif entry.n != number:
                in_place(entry, number)
        except BadLine as error:
            broken = BrokenRecord(path, number, str(error))
            if b"\0" in line and next(lines, None) is None and lacks_sectors(line, path.stat().st_size - len(line)):
                number, lacking = number - 1, broken
                break
            raise broken from error
        yield entry
    if followed is not None:
        followed.lines, followed.first, followed.last = number, first, chain
        followed.torn, followed.lacking = torn, lacking
