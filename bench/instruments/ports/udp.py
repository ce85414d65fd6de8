"""Datagrams, as instruments on a network take them for SNMP: ``udp://host:161``."""

from __future__ import annotations

import select
import socket
from time import monotonic
from typing import Final
from urllib.parse import urlsplit

from bench.instruments.ports.owned import SLICE, OwnedPort
from bench.instruments.ports.trouble import InstrumentTrouble, trouble_from

_LONGEST: Final = 65535


class UdpPort(OwnedPort):
    """One instrument's address for datagrams; see :class:`~bench.instruments.ports.transport.Transport`.

    Raises:
        InstrumentTrouble: ``busy``, ``lost``.
    """

    def _open(self) -> None:
        parts = urlsplit(self.address)
        try:
            host, port = parts.hostname, parts.port
        except ValueError:
            host = port = None
        if not host or not port:
            raise InstrumentTrouble(
                "lost", f"The address {self.address!r} names no host and port.", "Write it as udp://host:161."
            )
        family, kind, _, _, where = socket.getaddrinfo(host, port, type=socket.SOCK_DGRAM)[0]
        self._socket = socket.socket(family, kind)
        # what others send is not taken
        self._socket.connect(where)
        self._socket.setblocking(False)

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
            while True:
                self._check_abort()
                left = deadline - monotonic()
                ready, _, _ = select.select([self._socket], [], [], min(max(left, 0.0), SLICE))
                if ready:
                    try:
                        return self._socket.recv(_LONGEST)
                    except BlockingIOError:
                        continue
                if left <= 0:
                    return b""
        except (OSError, ValueError) as error:
            raise trouble_from(error, self.address, "reading") from error
