"""What takes long to make and nobody changes is made once for all workers of a run."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from filelock import FileLock


class _Shared:
    """Where it is kept: in the folder of the run; without one, in a folder that goes away with this process."""

    folder: Path | None = None


def keep_in(folder: Path) -> None:
    """Keep what is made in a folder that all workers of the run have in common."""
    _Shared.folder = folder


def folder(name: str, make: Callable[[Path], object]) -> Path:
    """A folder with what ``make`` puts into it, made by whoever asks first. Nobody may change it.

    Args:
        name: of the folder, the same wherever the same is meant.
        make: fills an empty folder.
    """
    if _Shared.folder is None:
        _Shared.folder = Path(tempfile.mkdtemp(prefix="made-once-"))
        atexit.register(shutil.rmtree, _Shared.folder, ignore_errors=True)
    place = _Shared.folder / name
    with FileLock(place.with_suffix(".lock")):
        if not place.exists():
            half = place.with_suffix(".half")
            shutil.rmtree(half, ignore_errors=True)
            half.mkdir()
            make(half)
            half.rename(place)
    return place
