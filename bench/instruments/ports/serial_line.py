"""Serial ports through pyserial, also those behind an RFC 2217 server.

Where the port has a descriptor, bytes are taken and given through that: the library's own loops ask the system three
times as often for the same, and ``in_waiting`` does not count what the driver holds beyond 4096 bytes. Elsewhere they
are read with ``read(in_waiting or 1)``; always against our own deadline, which the library's line reader would restart
at each byte. ``flush`` is never called (it may hang), nor is a buffer reset (adapters keep bytes anyway): what must go
is read and dropped. ``cancel_read`` is not used either, since it spoils the next read where none is under way; a read
waits in short slices instead, so an abort is heeded within a hundredth of a second.
"""

from __future__ import annotations

import errno
import os
import sys
from functools import partial
from time import monotonic
from typing import Any, Final

from bench.instruments.ports.owned import SLICE, WRITE_TIME, OwnedPort
from bench.instruments.ports.trouble import InstrumentTrouble, trouble_from
from bench.instruments.profile.line import Line

_PARITY: Final = {"none": "N", "even": "E", "odd": "O", "mark": "M", "space": "S"}


class SerialPort(OwnedPort):
    """A serial port; see :class:`~bench.instruments.ports.transport.Transport`.

    Raises:
        InstrumentTrouble: ``busy``, ``denied``, ``lost``.
    """

    stuck_hint = "Flow control holds it back: check the cable's handshake wires and the flow setting."

    def __init__(self, address: str, line: Line) -> None:
        self._line = line
        super().__init__(address)

    def _open(self) -> None:
        self._port = _opened(self.address.removeprefix("serial:"), self._line)
        self._descriptor = _descriptor(self._port)
        if self._descriptor is not None:
            self._send, self._receive = partial(os.write, self._descriptor), partial(os.read, self._descriptor)

    def _close(self) -> None:
        self._port.close()

    def write(self, data: bytes) -> None:
        """See :meth:`~bench.instruments.ports.transport.Transport.write`."""
        self._check_abort()
        descriptor = self._descriptor
        try:
            if descriptor is None:
                self._port.write(data)
            else:
                # pyserial's own loop counts a chunk only after the port is writable again: what it raises says nothing
                self._write_by(self._send, descriptor, data)
        except InstrumentTrouble:
            raise
        except Exception as error:
            if type(error).__name__ == "SerialTimeoutException":
                raise self._stuck() from error
            raise trouble_from(error, self.address, "writing") from error

    def read(self, deadline: float) -> bytes:
        """See :meth:`~bench.instruments.ports.transport.Transport.read`."""
        descriptor = self._descriptor
        try:
            if descriptor is None:
                return self._read_by_library(deadline)
            data = self._read_by(self._receive, descriptor, deadline)
            if data == b"":
                # ready, and nothing to be had: the adapter was pulled out
                raise OSError(errno.EIO, os.strerror(errno.EIO))
            return data or b""
        except InstrumentTrouble:
            raise
        except Exception as error:
            # SerialException, OSError, termios.error and TypeError all mean the same here
            raise trouble_from(error, self.address, "reading") from error

    def _read_by_library(self, deadline: float) -> bytes:
        while True:
            self._check_abort()
            waiting = self._port.in_waiting
            if waiting:
                return bytes(self._port.read(waiting))
            if monotonic() >= deadline:
                return b""
            # the port's own timeout is one slice; setting it anew would reconfigure the port
            data = bytes(self._port.read(1))
            if data:
                # an answer often comes whole: one more look saves going through it twice
                waiting = self._port.in_waiting
                return data + bytes(self._port.read(waiting)) if waiting else data


def _opened(name: str, line: Line) -> Any:
    import serial

    port = serial.serial_for_url(name, do_not_open=True)
    port.baudrate = line.baud
    port.bytesize = line.bits
    port.parity = _PARITY[line.parity]
    port.stopbits = float(line.stop) if line.stop == "1.5" else int(line.stop)
    port.rtscts = line.flow == "rts-cts"
    port.dsrdtr = line.flow == "dsr-dtr"
    port.xonxoff = line.flow == "xon-xoff"
    port.timeout = SLICE
    # before opening, so that they do not go up first; some adapters pulse them all the same
    port.dtr = line.dtr
    port.rts = line.rts
    if "://" not in name:
        # neither is known to a port behind a network
        port.write_timeout = WRITE_TIME
        port.exclusive = True
    port.open()
    return port


def _descriptor(port: Any) -> int | None:
    if sys.platform == "win32":
        return None
    try:
        return int(port.fileno())
    except (AttributeError, OSError, ValueError):
        return None
