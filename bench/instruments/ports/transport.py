"""Ports: they move bytes and nothing else.

:func:`open_port` decides by the form of the address:

    /dev/ttyUSB0, COM3, serial:/dev/ttyUSB0     a serial port (:mod:`bench.instruments.ports.serial_line`)
    socket://host:5025                          a TCP socket (:mod:`bench.instruments.ports.tcp`)
    rfc2217://host:4000                         a serial port behind a network server, RFC 2217
    ASRL...::INSTR, TCPIP..., USB..., GPIB...   a VISA resource (:mod:`bench.instruments.ports.visa`)

Deadlines are absolute, on the monotonic clock: a wait that is made of many short ones still ends in time. All errors
of all libraries come out as :class:`~bench.instruments.ports.trouble.InstrumentTrouble`, the cause kept.
"""

from __future__ import annotations

import errno
import os
import re
import sys
import threading
import time
from pathlib import Path
from typing import Final, Protocol

from bench.instruments.ports.trouble import InstrumentTrouble
from bench.instruments.profile.line import Line

SLICE: Final = 0.01
"""Seconds that a port is waited for at a time: so soon an abort is heeded. A hundredth costs under 1 % of a core."""
WRITE_TIME: Final = 2.0
"""Seconds that the port may take to accept a command: 100 characters take 0.1 s at 9600 baud."""
_VISA: Final = re.compile(r"(ASRL|TCPIP|USB|GPIB|PXI|VXI|VICP|PRLGX)[^:]*.*::(INSTR|SOCKET|RAW)", re.IGNORECASE)


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


class AbortFlag:
    """The part of a transport that an abort needs."""

    def __init__(self) -> None:
        self._aborted = threading.Event()
        self._heed = True

    def abort(self) -> None:
        """See :meth:`Transport.abort`."""
        self._aborted.set()

    def heed_abort(self, heed: bool) -> None:
        """See :meth:`Transport.heed_abort`."""
        self._heed = heed

    def clear_abort(self) -> None:
        """See :meth:`Transport.clear_abort`."""
        self._aborted.clear()

    def _check_abort(self) -> None:
        if self._heed and self._aborted.is_set():
            raise InstrumentTrouble("aborted", "Stopped.")


def is_visa(address: str) -> bool:
    """Whether an address is a VISA resource name."""
    return _VISA.fullmatch(address.strip()) is not None


def port_key(address: str) -> str:
    """The same text for every spelling of one port: links followed, case and prefixes dropped."""
    text = address.strip()
    serial_visa = re.fullmatch(r"ASRL(.+)::INSTR", text, re.IGNORECASE)
    if serial_visa is not None:
        text = serial_visa[1]
        if text.isdigit():
            return f"asrl{text}"
    text = text.removeprefix("serial:")
    if "://" in text or is_visa(text):
        socket_visa = re.fullmatch(r"TCPIP\d*::(.+)::(\d+)::SOCKET", text, re.IGNORECASE)
        if socket_visa is not None:
            return f"socket://{socket_visa[1]}:{socket_visa[2]}".lower()
        return text.rstrip("/").lower()
    if re.fullmatch(r"(\\\\\.\\)?COM\d+", text, re.IGNORECASE):
        return text.upper().removeprefix("\\\\.\\")
    return os.path.realpath(text)


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
    from bench.instruments.ports.serial_line import SerialPort

    return SerialPort(text, settings)


def trouble_from(error: BaseException, address: str, doing: str) -> InstrumentTrouble:
    """What a library's error means: the one table of translation.

    Args:
        error: what was raised.
        address: of the port.
        doing: ``opening``, ``reading`` or ``writing``.
    """
    text = str(error)
    code = getattr(error, "errno", None)
    if code is None and error.__cause__ is not None:
        code = getattr(error.__cause__, "errno", None)
    if code is None:
        # pyserial puts the number of the system's error into its text only
        match = re.search(r"\[Errno (\d+)\]", text)
        code = int(match[1]) if match else None
    made: InstrumentTrouble
    if isinstance(error, PermissionError) or code in (errno.EACCES, errno.EPERM) or "Access is denied" in text:
        what, advice = denied_advice(address)
        made = InstrumentTrouble("denied", what, advice)
    elif code in (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK) or "exclusively lock" in text or "BUSY" in text:
        made = InstrumentTrouble(
            "busy",
            f"Another program has the port {address} open.",
            "Close that program: a terminal, a vendor's tool, or a modem manager that probes new ports.",
        )
    elif doing == "opening" and (code in (errno.ENOENT, errno.ENXIO, errno.ENODEV) or "FileNotFoundError" in text):
        made = InstrumentTrouble(
            "lost",
            f"There is no port {address}.",
            "Is the adapter plugged in? Its number may have changed: name it by /dev/serial/by-id/ where there is one.",
        )
    elif doing == "opening" and code in (errno.ECONNREFUSED, errno.EHOSTUNREACH, errno.ENETUNREACH, errno.ETIMEDOUT):
        made = InstrumentTrouble(
            "lost",
            f"Nothing answers at {address}.",
            "Is the instrument switched on, and is this its address and port number?",
        )
    elif doing == "opening":
        made = InstrumentTrouble("lost", f"The port {address} cannot be opened: {text}.", "Check the address.")
    else:
        made = InstrumentTrouble(
            "lost",
            f"The connection to {address} was lost while {doing}.",
            "Check the cable and the instrument's power, then try again.",
        )
    made.__cause__ = error
    return made


def denied_advice(address: str) -> tuple[str, str]:
    """What to say where a port may not be opened: the group or the rule that is missing."""
    what = f"You have no permission to use {address}."
    if sys.platform == "win32":
        return what, "Another program may hold it, or a program that was killed has left it taken: unplug it once."
    import grp
    import pwd

    path = port_key(address)
    try:
        status = Path(path).stat()
        group = grp.getgrgid(status.st_gid)
        user = pwd.getpwuid(os.geteuid()).pw_name
    except (OSError, KeyError):
        return what, "Ask who runs this computer for access to the port."
    if group.gr_name == "root" or not status.st_mode & 0o060:
        return what, (
            f"{path} belongs to {group.gr_name} alone. A udev rule that gives it to a group like 'dialout' is missing."
        )
    if user in group.gr_mem and status.st_gid not in os.getgroups():
        return what, f"You are in the group '{group.gr_name}' by now: log out and in again for it to count."
    command = f"sudo usermod -aG {group.gr_name} {user}"
    return what, f"It belongs to the group '{group.gr_name}': {command}, then log out and in again."


def monotonic() -> float:
    """The clock of all deadlines."""
    return time.monotonic()
