"""Where a runner answers: a small private file beside the record that says where to knock, and with which token.

The socket is local (a Unix socket in a private folder; loopback TCP where there are none), the file is readable by its
owner only, and the token is compared in constant time. Nothing listens on the network.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
import socket
import tempfile
from pathlib import Path
from typing import Final

import msgspec

from bench.record.append import RecordTrouble

HAS_UNIX: Final = hasattr(socket, "AF_UNIX")


class RunnerAddress(msgspec.Struct, frozen=True, kw_only=True):
    """Where a runner listens.

    Attributes:
        record: the record that it writes.
        process: its id.
        token: what a client must know to be let in.
        unix: path of its socket; empty where it has a port.
        port: on this computer alone; 0 where it has a socket.
    """

    record: str
    process: int
    token: str
    unix: str = ""
    port: int = 0

    def connect(self, timeout: float) -> socket.socket:
        """Open a connection.

        Raises:
            OSError: nobody answers there.
        """
        if self.unix:
            link = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            target: str | tuple[str, int] = self.unix
        else:
            link = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
            target = ("127.0.0.1", self.port)
        link.settimeout(timeout)
        try:
            link.connect(target)
        except OSError:
            link.close()
            raise
        link.settimeout(None)
        return link


PREFIX: Final = "proveout-"
"""How the folder of a runner's socket begins."""


class Listener:
    """Listens, and keeps the address file while it does. Use as a context manager.

    Raises:
        RecordTrouble: the address file cannot be written beside the record.
    """

    def __init__(self, record: Path) -> None:
        self.path = address_file(record)
        _clear_away(self.path)
        self._folder = tempfile.mkdtemp(prefix=PREFIX)
        self.listener, place = self._listen()
        self.address = RunnerAddress(
            record=str(record.resolve()),
            process=os.getpid(),
            token=secrets.token_urlsafe(24),
            unix=place,
            port=0 if place else self.listener.getsockname()[1],
        )
        self._write()

    def _listen(self) -> tuple[socket.socket, str]:
        """A listening socket, and its path where it has one."""
        if HAS_UNIX:
            listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            place = str(Path(self._folder) / "runner")
            try:
                listener.bind(place)
                listener.listen(8)
                return listener, place
            except OSError:
                listener.close()  # the path of the temporary folder is too long for a socket
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listener.bind(("127.0.0.1", 0))
        listener.listen(8)
        return listener, ""

    def _write(self) -> None:
        fresh = self.path.with_name(f"{self.path.name}.{os.getpid()}")
        try:
            fresh.unlink(missing_ok=True)
            descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            try:
                os.write(descriptor, msgspec.json.encode(self.address))
            finally:
                os.close(descriptor)
            fresh.replace(self.path)
        except OSError as error:
            self.close()
            raise RecordTrouble(f"{self.path} cannot be written: {error.strerror}") from error

    def close(self) -> None:
        """Stop listening, and take its file away."""
        with contextlib.suppress(OSError):
            # wakes a thread that waits for somebody to knock; closing alone does not
            self.listener.shutdown(socket.SHUT_RDWR)
        self.listener.close()
        with contextlib.suppress(OSError):
            if read_address(self.path).token == self.address.token:
                self.path.unlink()
        shutil.rmtree(self._folder, ignore_errors=True)

    def __enter__(self) -> Listener:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _clear_away(path: Path) -> None:
    """Take away the folder of a runner of the same record that was killed; of one that answers nothing is touched."""
    try:
        address = read_address(path)
        place = Path(address.unix)
        if not address.unix or not place.parent.name.startswith(PREFIX):
            return
        try:
            address.connect(timeout=1.0).close()
        except ConnectionRefusedError:
            place.unlink()
            place.parent.rmdir()  # nobody put anything else there
    except OSError:
        return


def address_file(record: Path) -> Path:
    """The address file that belongs to a record."""
    return record.with_name(f"{record.name}.runner")


def read_address(path: Path) -> RunnerAddress:
    """Read an address file.

    Raises:
        FileNotFoundError: there is none, or it is no such file.
    """
    try:
        return msgspec.json.decode(path.read_bytes(), type=RunnerAddress)
    except (msgspec.MsgspecError, OSError) as error:
        raise FileNotFoundError(f"{path} leads to no runner") from error


def live_runners(folder: Path) -> list[RunnerAddress]:
    """Where the runners of a folder answer, newest first; files that a dead one left are left alone."""
    found: list[tuple[float, RunnerAddress]] = []
    for path in folder.glob("*.runner"):
        with contextlib.suppress(OSError):  # also where it is taken away while we look
            address = read_address(path)
            address.connect(timeout=1.0).close()
            found.append((path.stat().st_mtime, address))
    return [address for _, address in sorted(found, key=lambda pair: pair[0], reverse=True)]
