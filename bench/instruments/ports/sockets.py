"""What ports over a network share: the address, writing, and waiting for what comes."""

from __future__ import annotations

import socket
from abc import abstractmethod
from typing import ClassVar
from urllib.parse import urlsplit

from bench.instruments.ports.owned import OwnedPort
from bench.instruments.ports.trouble import InstrumentTrouble, trouble_from


class SocketPort(OwnedPort):
    """A socket; a kind of it makes one, and says how its address is written.

    Raises:
        InstrumentTrouble: ``busy``, ``lost``.
    """

    EXAMPLE: ClassVar[str]
    _socket: socket.socket

    def _open(self) -> None:
        parts = urlsplit(self.address)
        try:
            host, port = parts.hostname, parts.port
        except ValueError:
            host = port = None
        if not host or not port:
            raise InstrumentTrouble(
                "lost", f"The address {self.address!r} names no host and port.", f"Write it as {self.EXAMPLE}."
            )
        self._socket = self._connected(host, port)
        self._socket.setblocking(False)

    @abstractmethod
    def _connected(self, host: str, port: int) -> socket.socket:
        """A socket to a host's port; each kind of port makes its own."""

    def _close(self) -> None:
        self._socket.close()

    def write(self, data: bytes) -> None:
        """See :meth:`~bench.instruments.ports.transport.Transport.write`."""
        try:
            self._write_by(self._socket.send, self._socket, data)
        except (OSError, ValueError) as error:
            raise trouble_from(error, self.address, "writing") from error

    def read(self, deadline: float) -> bytes:
        """See :meth:`~bench.instruments.ports.transport.Transport.read`."""
        try:
            data = self._read_by(self._socket.recv, self._socket, deadline)
            return b"" if data is None else self._taken(data)
        except (OSError, ValueError) as error:
            raise trouble_from(error, self.address, "reading") from error

    def _taken(self, data: bytes) -> bytes:
        """What came, as it is passed on."""
        return data
