"""What every port has: one owner, an abort that is heeded while it blocks, and an end.

A port's own exclusive mode is advisory on POSIX, and a VISA library opens without it, so a lock file stands beside it,
one for each port however its address was spelled. The system lets go of it when the process ends, however that ends.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import select
import sys
import tempfile
from abc import ABC, abstractmethod
from collections.abc import Callable
from pathlib import Path
from time import monotonic
from typing import Any, Final

from bench.instruments.ports.address import lock_key
from bench.instruments.ports.trouble import InstrumentTrouble, trouble_from

SLICE: Final = 0.01
"""Seconds of one wait for a port, and so the longest until an abort is heeded. A hundredth costs under 1 % of a
core."""
_CHUNK: Final = 65536
"""Bytes that are taken at once: no datagram is longer."""
WRITE_TIME: Final = 2.0
"""Seconds that the port may take to accept a command: 100 characters take 0.1 s at 9600 baud."""
LETTING_GO: Final = 0.5
"""Seconds that are waited for another owner: a run that is just ending has closed the port before it lets go of it."""


class OwnedPort(ABC):
    """A port that is this object's alone until it is closed; see :class:`bench.instruments.ports.transport.Transport`.

    A subclass opens it in ``_open`` and closes it in ``_close``.

    Args:
        address: as it was asked for.

    Raises:
        InstrumentTrouble: ``busy``; what opening it came to.
    """

    stuck_hint: str = ""
    """What to look at where the port takes no bytes."""

    def __init__(self, address: str) -> None:
        self.address = address
        self._aborted = False
        self._heed = True
        self._closed = False
        self._lock = _locked(address)
        try:
            self._open()
        except InstrumentTrouble:
            self._release()
            raise
        except Exception as error:
            self._release()
            raise trouble_from(error, address, "opening") from error

    @abstractmethod
    def _open(self) -> None:
        """Open the port itself; each kind of port does it in its own way."""

    @abstractmethod
    def _close(self) -> None:
        """Close the port itself; each kind of port does it in its own way."""

    def abort(self) -> None:
        """See :meth:`~bench.instruments.ports.transport.Transport.abort`."""
        self._aborted = True

    def heed_abort(self, heed: bool) -> None:
        """See :meth:`~bench.instruments.ports.transport.Transport.heed_abort`."""
        self._heed = heed

    def clear_abort(self) -> None:
        """See :meth:`~bench.instruments.ports.transport.Transport.clear_abort`."""
        self._aborted = False

    def close(self) -> None:
        """See :meth:`~bench.instruments.ports.transport.Transport.close`."""
        if self._closed:
            return
        self._closed = True
        try:
            # a port that is gone may fail to close in as many ways as it fails to read
            with contextlib.suppress(Exception):
                self._close()
        finally:
            self._release()

    def _release(self) -> None:
        if self._lock is not None:
            self._lock.release()

    def _check_abort(self) -> None:
        if self._aborted and self._heed:
            raise InstrumentTrouble("aborted", "Stopped.")

    def _write_by(self, send: Callable[[bytes], int], waited_for: Any, data: bytes) -> None:
        """Write as the system takes the bytes, against a deadline, heeding an abort; ``send`` does not block."""
        deadline = None
        while data:
            self._check_abort()
            try:
                taken = send(data)
            except BlockingIOError:
                taken = 0
            if taken == len(data):
                return  # as nearly every time
            data = data[taken:]
            if deadline is None:
                deadline = monotonic() + WRITE_TIME
            elif monotonic() >= deadline:
                raise self._stuck()
            if not taken:
                select.select([], [waited_for], [], SLICE)

    def _read_by(self, receive: Callable[[int], bytes], waited_for: Any, deadline: float) -> bytes | None:
        """Take what has come as soon as there is something, heeding an abort; ``receive`` does not block.

        Returns:
            Nothing (no bytes) where the other end is gone; None where nothing came until the deadline.
        """
        left = 0.0
        while True:
            self._check_abort()
            if deadline > 0.0:  # else only what is there already is wanted
                left = deadline - monotonic()
            if select.select([waited_for], [], [], min(left, SLICE) if left > 0.0 else 0.0)[0]:
                with contextlib.suppress(BlockingIOError):
                    return receive(_CHUNK)
            elif left <= 0.0:
                return None

    def _stuck(self) -> InstrumentTrouble:
        return InstrumentTrouble(
            "silent",
            f"The port {self.address} did not take a command in {WRITE_TIME:g} s.",
            f"{self.stuck_hint} The command may or may not have been carried out.".lstrip(),
            effect_unknown=True,
        )


def _locked(address: str) -> Any:
    """The lock of a port; None where there is no place for a lock file: the port's own exclusive mode must do.

    Raises:
        InstrumentTrouble: ``busy``.
    """
    # loaded here: most runs of the program open no port
    from filelock import FileLock, Timeout

    folder = Path(tempfile.gettempdir()) / "proveout-ports"
    name = hashlib.sha256(lock_key(address).encode()).hexdigest()[:24] + ".lock"
    try:
        folder.mkdir(exist_ok=True)
        # shared by all users of the bench, like the folder above it
        if sys.platform != "win32" and folder.stat().st_uid == os.getuid():
            folder.chmod(0o1777)
        # whichever thread ends the work lets go
        lock = FileLock(folder / name, mode=0o666, thread_local=False, fallback_to_soft=False)
        lock.acquire(timeout=LETTING_GO, poll_interval=SLICE)
    except Timeout as error:
        raise InstrumentTrouble(
            "busy",
            f"The port {address} is open already, in this program or in another run of it.",
            "Give each instrument a port of its own, and end the other run or give this bench another port.",
        ) from error
    except (OSError, NotImplementedError):
        return None  # a file system without locks: filelock says it by either
    return lock
