"""Ports: they move bytes and nothing else.

:func:`open_port` decides by the form of the address:

    /dev/ttyUSB0, COM3, serial:/dev/ttyUSB0     a serial port (:mod:`bench.instruments.ports.serial_line`)
    socket://host:5025                          a TCP socket (:mod:`bench.instruments.ports.tcp`)
    udp://host:161                              datagrams, for SNMP (:mod:`bench.instruments.ports.udp`)
    program:python3 meter.py                    a program of one's own (:mod:`bench.instruments.ports.program`)
    rfc2217://host:4000                         a serial port behind a network server, RFC 2217
    ASRL...::INSTR, TCPIP..., USB..., GPIB...   a VISA resource (:mod:`bench.instruments.ports.visa`)

Deadlines are absolute, on the monotonic clock: a wait that is made of many short ones still ends in time. All errors
of all libraries come out as :class:`~bench.instruments.ports.trouble.InstrumentTrouble`, the cause kept.
"""

from __future__ import annotations

from typing import Protocol

from bench.instruments.ports.address import is_visa
from bench.instruments.profile.line import Line


class Transport(Protocol):
    """A port. One thread uses it; :meth:`abort` may be called from any."""

    address: str
    """As it was asked for."""

    def write(self, data: bytes) -> None:
        """Send all of it.

        Raises:
            InstrumentTrouble: ``lost``; ``aborted``; ``silent`` where the port took too long (effect then unknown).
        """

    def read(self, deadline: float) -> bytes:
        """What has come in: at once where something has, else when it does; empty when the deadline passes.

        Args:
            deadline: on the monotonic clock; one that has passed asks for what is there already.

        Raises:
            InstrumentTrouble: ``lost``, ``aborted``.
        """

    def abort(self) -> None:
        """Make a read or write that blocks, and each later one, raise ``aborted``; until :meth:`heed_abort`."""

    def heed_abort(self, heed: bool) -> None:
        """Whether an abort is heeded: not while outputs are made safe. Setting it forgets no abort."""

    def clear_abort(self) -> None:
        """Forget an abort."""

    def close(self) -> None:
        """Let the port go; may be called again. Only the owner's thread may call it."""


def open_port(address: str, line: Line | None = None, *, visa_backend: str = "@py") -> Transport:
    """Open a port.

    Args:
        address: see the module's text.
        line: serial settings; the defaults of :class:`~bench.instruments.profile.line.Line` where none are given.
        visa_backend: the VISA library, as PyVISA names it.

    Raises:
        InstrumentTrouble: ``busy``, ``denied``, ``lost`` (no such port, no connection).
    """
    settings = line if line is not None else Line()
    text = address.strip()
    if is_visa(text):
        from bench.instruments.ports.visa import VisaPort

        return VisaPort(text, settings, backend=visa_backend)
    if text.startswith("socket://"):
        from bench.instruments.ports.tcp import TcpPort

        return TcpPort(text)
    if text.startswith("udp://"):
        from bench.instruments.ports.udp import UdpPort

        return UdpPort(text)
    if text.startswith("program:"):
        from bench.instruments.ports.program import ProgramPort

        return ProgramPort(text)
    from bench.instruments.ports.serial_line import SerialPort

    return SerialPort(text, settings)
