"""Datagrams, as instruments on a network take them for SNMP: ``udp://host:161``."""

from __future__ import annotations

import socket
from typing import ClassVar

from bench.instruments.ports.sockets import SocketPort


class UdpPort(SocketPort):
    """One instrument's address for datagrams; see :class:`~bench.instruments.ports.transport.Transport`.

    Raises:
        InstrumentTrouble: ``busy``, ``lost``.
    """

    EXAMPLE: ClassVar[str] = "udp://host:161"

    def _connected(self, host: str, port: int) -> socket.socket:
        family, kind, _, _, where = socket.getaddrinfo(host, port, type=socket.SOCK_DGRAM)[0]
        made = socket.socket(family, kind)
        # what others send is not taken
        made.connect(where)
        return made
