"""What commands share that is light enough to be loaded for their help."""

from __future__ import annotations

import getpass
import os
import sys
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from bench.errors import BadRequest

LOGS = Path("logs")
"""Where records go by default: below the folder that the command is run in."""


def operator_name(given: str) -> str:
    """Who does the work: as given, else the user's name on this computer."""
    if given.strip():
        return given.strip()
    with suppress(KeyError, OSError):
        return getpass.getuser()
    return "operator"


def say_progress(number: int, of: int) -> None:
    """Say which record of how many is read, on one line that is written over, on a terminal only."""
    if sys.stderr.isatty():
        text = f"reading records: {number} of {of}" if number < of else ""
        print(f"\r{text:40}\r" if not text else f"\r{text}", end="", file=sys.stderr, flush=True)


def relative(folder: Path, target: Path) -> str:
    """A path as a file in a folder names it.

    Args:
        folder: where that file stands.
        target: what it names.
    """
    return Path(os.path.relpath(target.resolve(), folder.resolve())).as_posix()


def sequence_schema(folder: Path) -> str:
    """The path of the schema of sequence files, as a file in a folder names it.

    Args:
        folder: where that file stands.
    """
    from bench.files import shipped

    return relative(folder, shipped("sequences") / "schemas" / "sequence.json")


def keep_draft(path: Path, text: str) -> None:
    """Write a drafted sequence to a new file.

    Args:
        path: where to.
        text: of the file.

    Raises:
        BadRequest: the file is there.
    """
    if path.exists():
        raise BadRequest(f"{path} is there already; a draft never takes a file's place")
    path.write_text(text, "utf-8")


def record_name(folder: Path, sequence: str) -> Path:
    """A name for a new record that is not taken yet: day, time and sequence."""
    base = f"{datetime.now(UTC).strftime('%Y%m%d-%H%M%S')}-{sequence}"
    path = folder / f"{base}.jsonl"
    number = 2
    while path.exists():
        path = folder / f"{base}-{number}.jsonl"
        number += 1
    return path
