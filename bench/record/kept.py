"""Files that belong to a record: pictures, sheets, anything. Kept beside it under the hash of their bytes.

A file is written whole or not at all, and what is kept is never written again: the hash in the record says which one
was meant, so nobody can put another one in its place unseen.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from bench.record.append import RecordTrouble
from bench.saved import save
from bench.walk.events import KeptFile

PHOTOS: Final = "photos"
"""The folder beside a survey."""
FILES: Final = "files"
"""The folder beside the record of a walk."""
_SUFFIX: Final = re.compile(r"\.[a-z0-9]{1,8}")
_NAMED: Final = re.compile(r'(?:^|(?<=\s))@(?:"([^"]+)"|(\S+))')


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
    return _keep(folder / PHOTOS, picture, copy=True).sha256


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


def keep_file(record: Path, file: Path, *, copy: bool = True) -> KeptFile:
    """Keep a file beside the record of a walk, or its checksum alone.

    Args:
        record: the record.
        file: what to keep.
        copy: whether its bytes are kept too.

    Raises:
        RecordTrouble: it cannot be read, or not be kept.
    """
    return _keep(record.parent / FILES, file, copy=copy)


def _keep(folder: Path, file: Path, *, copy: bool) -> KeptFile:
    try:
        data = file.read_bytes()
        kept = KeptFile(name=file.name, sha256=hashlib.sha256(data).hexdigest(), size=len(data), copied=copy)
        place = folder / file_name(kept)
        if copy and not (place.is_file() and _sum_of(place) == kept.sha256):
            folder.mkdir(parents=True, exist_ok=True)
            save(place, data)  # whole or not at all: a torn one would be taken for kept
    except OSError as error:
        raise RecordTrouble(f"{file} cannot be kept: {error.strerror or error}") from error
    return kept


def file_name(kept: KeptFile) -> str:
    """How a kept file is called in its folder: its hash, with its own ending where that is a usual one."""
    suffix = Path(kept.name).suffix.lower()
    return f"{kept.sha256}{suffix if _SUFFIX.fullmatch(suffix) else ''}"


def place_of(record: Path, kept: KeptFile) -> Path:
    """Where a file that belongs to a record lies.

    Args:
        record: the record.
        kept: what the record says of the file.
    """
    return record.parent / FILES / file_name(kept)


def wrong_file(record: Path, kept: KeptFile) -> str:
    """What is wrong with a file that was kept with a record; empty where nothing is.

    Args:
        record: the record.
        kept: what the record says of the file.
    """
    if not kept.copied:
        return ""
    place = place_of(record, kept)
    if not place.is_file():
        return f"{kept.name}, which was kept as {FILES}/{place.name}, is no longer there"
    if _sum_of(place) != kept.sha256:
        return f"{kept.name}, kept as {FILES}/{place.name}, was changed or is torn: its bytes are not those of its hash"
    return ""


def wrong_photos(record: Path, hashes: list[str]) -> Iterator[str]:
    """What is wrong with the pictures of a survey's find."""
    for digest in hashes:
        places = sorted((record.parent / PHOTOS).glob(f"{digest}*"))
        if not places:
            yield f"the picture {digest[:12]} is no longer in {PHOTOS}/"
        elif _sum_of(places[0]) != digest:
            yield f"the picture {PHOTOS}/{places[0].name} was changed or is torn: its bytes are not those of its hash"


def _sum_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def named(text: str) -> tuple[str, list[Path]]:
    """The files that a remark names by ``@FILE`` or ``@"FILE WITH BLANKS"``, and the remark without them."""
    files = [Path(one[1] or one[2]).expanduser() for one in _NAMED.finditer(text)]
    return " ".join(_NAMED.sub("", text).split()), files
