"""Files that are written whole or not at all: beside their place, to the disk, then renamed."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class CannotWrite(OSError):
    """A file cannot be written; the text says which, and why."""


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """A file beside its place that takes it once all is written; where anything fails, nothing is left.

    What is there already and is no plain file (a terminal, a pipe) is written to directly.

    Args:
        path: where to.

    Yields:
        The path to write to.

    Raises:
        CannotWrite: the disk is full, the folder is not there, or it may not be written to.
    """
    try:
        if path.exists() and not path.is_file():
            yield path
            return
        real = path.resolve()
        handle, name = tempfile.mkstemp(prefix=f".{real.name}.", dir=real.parent)
        os.close(handle)
        beside = Path(name)
        try:
            yield beside
            with beside.open("rb+") as file:
                os.fsync(file.fileno())
            beside.chmod(real.stat().st_mode & 0o7777 if real.exists() else 0o666 & ~_mask())
            beside.replace(real)
        except BaseException:
            beside.unlink(missing_ok=True)
            raise
    except OSError as error:
        raise CannotWrite(f"{path} cannot be written: {error.strerror or error}") from error


def save(path: Path, content: str | bytes) -> None:
    """Write a file so that nobody ever sees half of it, and that a full disk leaves nothing in the way of a retry.

    Args:
        path: where to.
        content: text, written as UTF-8, or bytes.

    Raises:
        CannotWrite: the disk is full, the folder is not there, or it may not be written to.
    """
    with whole(path) as place:
        place.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)


def _mask() -> int:
    """What this process keeps from others in new files."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask
