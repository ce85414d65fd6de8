"""TCP sockets, as instruments on a network offer them for SCPI.

Our own and not pyserial's ``socket://``: on loopback it is several times quicker, and it says at once that the other
side has gone.
"""

from __future__ import annotations

import select
import socket
from time import monotonic
from typing import Final
from urllib.parse import urlsplit

from bench.instruments.ports.owned import SLICE, OwnedPort
from bench.instruments.ports.trouble import InstrumentTrouble, trouble_from

CONNECT_TIME: Final = 3.0
"""Seconds: a host on the same network answers in thousandths; a second try of the first packet comes after one."""
_CHUNK: Final = 65536


class TcpPort(OwnedPort):
    """A TCP connection; see :class:`~bench.instruments.ports.transport.Transport`.

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
                "lost", f"The address {self.address!r} names no host and port.", "Write it as socket://host:5025."
            )
        self._socket = socket.create_connection((host, port), timeout=CONNECT_TIME)
        # a command is one small packet: waiting for more to send with it would cost 40 ms each
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
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
                        data = self._socket.recv(_CHUNK)
                    except BlockingIOError:
                        continue
                    if not data:
                        raise InstrumentTrouble(
                            "lost",
                            f"{self.address} closed the connection.",
                            "Check the instrument's power, and that no other program talks to it; then try again.",
                        )
                    return data
                if left <= 0:
                    return b""
        except (OSError, ValueError) as error:
            raise trouble_from(error, self.address, "reading") from error
