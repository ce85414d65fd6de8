"""The spellings of a port's address: which are VISA resources, and which name the same port."""

from __future__ import annotations

import contextlib
import os
import re
import stat
import sys
from pathlib import Path
from typing import Final

_VISA: Final = re.compile(r"(ASRL|TCPIP|USB|GPIB|PXI|VXI|VICP|PRLGX)[^:]*.*::(INSTR|SOCKET|RAW)", re.IGNORECASE)


def is_visa(address: str) -> bool:
    """Whether an address is a VISA resource name."""
    return _VISA.fullmatch(address.strip()) is not None


def port_key(address: str) -> str:
    """The same text for every spelling of one port: links followed, case and prefixes dropped.

    macOS has two names for one port, ``cu`` and ``tty``; Windows numbers its VISA resources as its ports.
    """
    text = address.strip()
    serial_visa = re.fullmatch(r"ASRL(.+)::INSTR", text, re.IGNORECASE)
    if serial_visa is not None:
        text = serial_visa[1]
        if text.isdigit():
            return f"COM{text}" if sys.platform == "win32" else f"asrl{text}"
    if text.startswith("program:"):
        return text
    text = text.removeprefix("serial:")
    wrapped = re.fullmatch(r"(?:spy|alt)://([^?]+)(?:\?.*)?", text, re.IGNORECASE)
    if wrapped is not None:
        return port_key(wrapped[1])
    if "://" in text or is_visa(text):
        socket_visa = re.fullmatch(r"TCPIP\d*::(.+)::(\d+)::SOCKET", text, re.IGNORECASE)
        if socket_visa is not None:
            text = f"socket://{socket_visa[1]}:{socket_visa[2]}"
        return re.sub(r"//(localhost|\[::1\])(?=[:/]|$)", "//127.0.0.1", text.rstrip("/").lower())
    if re.fullmatch(r"(\\\\\.\\)?COM\d+", text, re.IGNORECASE):
        return text.upper().removeprefix("\\\\.\\")
    path = os.path.realpath(text)
    return re.sub(r"^/dev/tty\.", "/dev/cu.", path) if sys.platform == "darwin" else path


def lock_key(address: str) -> str:
    """The same text for every name of one port that is there, also for a second node of the same device."""
    key = port_key(address)
    if os.sep in key and "://" not in key:
        with contextlib.suppress(OSError, ValueError):
            found = Path(key).stat()
            if stat.S_ISCHR(found.st_mode):
                return f"device {os.major(found.st_rdev)}:{os.minor(found.st_rdev)}"
    return key
