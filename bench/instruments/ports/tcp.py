"""TCP sockets, as instruments on a network offer them for SCPI.

Our own and not pyserial's ``socket://``: on loopback it is several times quicker, and it says at once that the other
side has gone.
"""

from __future__ import annotations

import socket
from typing import ClassVar, Final

from bench.instruments.ports.sockets import SocketPort
from bench.instruments.ports.trouble import InstrumentTrouble

CONNECT_TIME: Final = 3.0
"""Seconds: a host on the same network answers in thousandths; a second try of the first packet comes after one."""


class TcpPort(SocketPort):
    """A TCP connection; see :class:`~bench.instruments.ports.transport.Transport`.

    Raises:
        InstrumentTrouble: ``busy``, ``lost``.
    """

    EXAMPLE: ClassVar[str] = "socket://host:5025"

    def _connected(self, host: str, port: int) -> socket.socket:
        made = socket.create_connection((host, port), timeout=CONNECT_TIME)
        # a command is one small packet: waiting for more to send with it would cost 40 ms each
        made.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        return made

    def _taken(self, data: bytes) -> bytes:
        if not data:
            raise InstrumentTrouble(
                "lost",
                f"{self.address} closed the connection.",
                "Check the instrument's power, and that no other program talks to it; then try again.",
            )
        return data
