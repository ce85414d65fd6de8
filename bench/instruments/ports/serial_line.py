"""Serial ports through pyserial, also those behind an RFC 2217 server.

Bytes are read with ``read(in_waiting or 1)`` against our own deadline: the library's line reader restarts its timeout
at each byte and is three times slower. ``flush`` is never called (it may hang), nor is a buffer reset (adapters keep
bytes anyway): what must go is read and dropped. ``cancel_read`` is not used either, since it spoils the next read where
none is under way; a read waits in short slices instead, so an abort is heeded within a hundredth of a second.
"""

from __future__ import annotations

import os
import select
import sys
from typing import Any, Final

from bench.instruments.ports.lock import PortLock
from bench.instruments.ports.transport import SLICE, WRITE_TIME, AbortFlag, monotonic, port_key, trouble_from
from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.line import Line

_PARITY: Final = {"none": "N", "even": "E", "odd": "O", "mark": "M", "space": "S"}


class SerialPort(AbortFlag):
    """A serial port; see :class:`~bench.instruments.ports.transport.Transport`.

    Raises:
        InstrumentTrouble: ``busy``, ``denied``, ``lost``.
    """

    def __init__(self, address: str, line: Line) -> None:
        super().__init__()
        self.address = address
        self._lock = PortLock(port_key(address), address)
        try:
            self._port = _open(address.removeprefix("serial:"), line)
        except Exception as error:
            self._lock.release()
            raise trouble_from(error, address, "opening") from error
        self._descriptor = _descriptor(self._port)
        self._closed = False

    def write(self, data: bytes) -> None:
        """See :meth:`~bench.instruments.ports.transport.Transport.write`."""
        self._check_abort()
        try:
            if self._descriptor is None:
                self._port.write(data)
            else:
                self._write_by_descriptor(self._descriptor, data)
        except InstrumentTrouble:
            raise
        except Exception as error:
            if type(error).__name__ == "SerialTimeoutException":
                raise self._stuck() from error
            raise trouble_from(error, self.address, "writing") from error

    def _write_by_descriptor(self, descriptor: int, data: bytes) -> None:
        # pyserial's own loop counts a chunk only after the port is writable again, so what it raises says nothing
        deadline = monotonic() + WRITE_TIME
        sent = 0
        while sent < len(data):
            self._check_abort()
            if monotonic() >= deadline:
                raise self._stuck()
            _, ready, _ = select.select([], [descriptor], [], SLICE)
            if ready:
                try:
                    sent += os.write(descriptor, data[sent:])
                except BlockingIOError:
                    continue

    def _stuck(self) -> InstrumentTrouble:
        return InstrumentTrouble(
            "silent",
            f"The port {self.address} did not take a command in {WRITE_TIME:g} s: flow control holds it back.",
            "Check the cable's handshake wires and the flow setting. The command may or may not have been carried out.",
            effect_unknown=True,
        )

    def read(self, deadline: float) -> bytes:
        """See :meth:`~bench.instruments.ports.transport.Transport.read`."""
        try:
            while True:
                self._check_abort()
                waiting = self._port.in_waiting
                if waiting:
                    return bytes(self._port.read(waiting))
                if monotonic() >= deadline and not self._more():
                    return b""
                # the port's own timeout is one slice; setting it anew would reconfigure the port
                data = bytes(self._port.read(1))
                if data:
                    return data
        except InstrumentTrouble:
            raise
        except Exception as error:
            # SerialException, OSError, termios.error and TypeError all mean the same here
            raise trouble_from(error, self.address, "reading") from error

    def _more(self) -> bool:
        """Whether the system holds bytes that ``in_waiting`` does not count.

        It counts what a reader may have at once, 4096 bytes; a meter that was left talking has more in the driver, and
        what is taken for drained would then go on with readings that are minutes old. Waiting moves it up.
        """
        return self._descriptor is not None and bool(select.select([self._descriptor], [], [], 0.0)[0])

    def close(self) -> None:
        """See :meth:`~bench.instruments.ports.transport.Transport.close`."""
        if self._closed:
            return
        self._closed = True
        try:
            self._port.close()
        except Exception:  # a port that is gone may fail to close in as many ways as it fails to read
            pass
        finally:
            self._lock.release()


def _open(name: str, line: Line) -> Any:
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
