"""What commands share that is light enough to be loaded for their help."""

from __future__ import annotations

import getpass
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from bench.errors import BadRequest

if TYPE_CHECKING:
    from bench.plant.model import Plant

LOGS = Path("logs")
"""Where records go by default: below the folder that the command is run in."""


def operator_name(given: str) -> str:
    """Who does the work: as given, else the user's name on this computer."""
    if given.strip():
        return given.strip()
    with suppress(KeyError, OSError):
        return getpass.getuser()
    return "operator"


def say_progress(number: int, of: int, then: str = "") -> None:
    """Say which record of how many is read, on one line that is written over, on a terminal only.

    Args:
        number: which one it is, from 1.
        of: how many there are.
        then: what is done after the last one, inside :func:`busy`, which takes it away; by default the line is taken
            away here.
    """
    if sys.stderr.isatty():
        text = f"reading records: {number} of {of}" if number < of else then
        print(f"\r{text:40}" if text else f"\r{'':40}\r", end="", file=sys.stderr, flush=True)


@contextmanager
def busy(what: str) -> Iterator[None]:
    """Say what is being done while it takes its time, on one line that goes away again, on a terminal only.

    Args:
        what: in words, such as ``looking for changes``.
    """
    shown = sys.stderr.isatty()
    if shown:
        print(f"\r{what} ...", end="", file=sys.stderr, flush=True)
    try:
        yield
    finally:
        if shown:
            print(f"\r{'':{max(40, len(what) + 4)}}\r", end="", file=sys.stderr, flush=True)


def moment_of(text: str, expected: str) -> datetime:
    """A time that a person wrote, in UTC; local where it names no zone, and a day alone is meant to its end.

    Args:
        text: such as 2026-05-09 or 2026-05-09T14:30.
        expected: what should have been there, for the error.

    Raises:
        BadRequest: it is no time, or none that a calendar reaches.
    """
    try:
        moment = datetime.fromisoformat(text)
        if len(text) <= len("2026-05-09"):
            moment = moment.replace(hour=23, minute=59, second=59, microsecond=999999)
        return moment.astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise BadRequest(f"found '{text}', expected {expected}") from error


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
        CannotWrite: the disk is full, or the folder is not there.
    """
    from bench.saved import save

    if path.exists():
        raise BadRequest(f"{path} is there already; a draft never takes a file's place")
    save(path, text)


def record_name(folder: Path, sequence: str) -> Path:
    """A name for a new record that is not taken yet: day, time and sequence.

    Args:
        folder: where it will lie.
        sequence: the sequence's name.
    """
    base = f"{datetime.now(UTC).strftime('%Y%m%d-%H%M%S')}-{sequence}"
    path = folder / f"{base}.jsonl"
    number = 2
    while path.exists():
        path = folder / f"{base}-{number}.jsonl"
        number += 1
    return path


def has_had_power(logs: Path, plant: Plant) -> bool:
    """Whether the records of a job tell that its plant has had power.

    Args:
        logs: the folder of records; it may be missing.
        plant: as it is now.
    """
    from bench.job.asfound import had_power
    from bench.job.folder import NoRecords, open_folder

    if not logs.is_dir():
        return False
    try:
        folder = open_folder(logs, plant.name, say_progress)
    except NoRecords:
        return False
    return had_power(folder, plant)
