"""Pictures that belong to a survey, kept beside its record under the hash of their bytes."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Final

from bench.record.append import RecordTrouble
from bench.saved import save

PHOTOS: Final = "photos"
"""The folder beside the record."""


def keep_photo(folder: Path, picture: Path) -> str:
    """Copy a picture beside the records under its SHA-256; the same picture is kept once.

    Args:
        folder: of the records.
        picture: the file.

    Returns:
        The hash.

    Raises:
        RecordTrouble: it cannot be read, or not be kept.
    """
    try:
        data = picture.read_bytes()
        digest = hashlib.sha256(data).hexdigest()
        kept = folder / PHOTOS / f"{digest}{picture.suffix.lower()}"
        if not kept.exists():
            kept.parent.mkdir(parents=True, exist_ok=True)
            save(kept, data)  # whole or not at all: a torn one would be taken for kept
    except OSError as error:
        raise RecordTrouble(f"{picture} cannot be kept: {error.strerror or error}") from error
    return digest


def take_photos(folder: Path, other: Path) -> int:
    """Copy the pictures of another folder of records that are not here yet.

    Args:
        folder: of the records here.
        other: of the other's.

    Returns:
        How many came in.

    Raises:
        RecordTrouble: one cannot be read, or not be kept.
    """
    taken = 0
    for picture in sorted((other / PHOTOS).glob("*")) if (other / PHOTOS).is_dir() else ():
        if not (folder / PHOTOS / picture.name).exists():
            keep_photo(folder, picture)
            taken += 1
    return taken
