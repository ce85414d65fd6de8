"""One owner for each port, in this process and among all processes of this machine that ask here.

A port's own exclusive mode is advisory on POSIX, and a VISA library opens without it, so a lock file of ours stands
beside it. The system lets go of the lock when the process ends, however it ends.
"""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
import threading
from pathlib import Path
from typing import Final

from bench.instruments.ports.trouble import InstrumentTrouble

_TAKEN: Final[set[str]] = set()
_GUARD: Final = threading.Lock()


class PortLock:
    """Holds a port until released.

    Args:
        key: the port's name, the same however its address was spelled.
        address: the address for messages.

    Raises:
        InstrumentTrouble: ``busy``.
    """

    def __init__(self, key: str, address: str) -> None:
        self._key = key
        self._file: int | None = None
        with _GUARD:
            if key in _TAKEN:
                raise InstrumentTrouble(
                    "busy",
                    f"The port {address} is already open in this program.",
                    "Give each instrument a port of its own.",
                )
            _TAKEN.add(key)
        try:
            self._file = _lock_file(key, address)
        except BaseException:
            with _GUARD:
                _TAKEN.discard(key)
            raise

    def release(self) -> None:
        """Let go; may be called again."""
        if self._file is not None:
            os.close(self._file)
            self._file = None
        with _GUARD:
            _TAKEN.discard(self._key)


def _lock_file(key: str, address: str) -> int | None:
    folder = Path(tempfile.gettempdir()) / "proveout-ports"
    name = hashlib.sha256(key.encode()).hexdigest()[:24] + ".lock"
    flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0)
    try:
        folder.mkdir(exist_ok=True)
        # shared by all users of the bench, like the folder above it
        if sys.platform != "win32" and folder.stat().st_uid == os.getuid():
            folder.chmod(0o1777)
        file = os.open(folder / name, flags, 0o666)
    except OSError:
        # no place for a lock file: the port's own exclusive mode must do
        return None
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(file)
        raise InstrumentTrouble(
            "busy",
            f"The port {address} is in use by another run of this program.",
            "End the other run, or give this bench another port.",
        ) from error
    return file
