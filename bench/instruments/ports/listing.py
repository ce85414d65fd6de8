"""Which ports this computer has, what the system knows of each, and who has one open. Nothing is opened or sent here.

Network instruments and those on a GPIB are not listed: looking for them is sending. They are named by their address.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, Final

import msgspec
from msgspec.structs import replace

from bench.instruments.ports.address import port_key

BY_ID: Final = Path("/dev/serial/by-id")
"""Where the system keeps names that stay the same wherever an adapter is plugged in."""
_LOCKS: Final = (Path("/run/lock"), Path("/var/lock"))
"""Where terminal programs leave a file ``LCK..ttyUSB0`` with their process number (Filesystem Hierarchy Standard 3.0,
5.9)."""
_SILENT: Final = ("ASRL", "USB")
"""Kinds of VISA resource that are listed from what the system knows."""


class Port(msgspec.Struct, frozen=True):
    """A port, and what the system knows of it; empty fields are not known.

    Attributes:
        device: as the system names it, or as it was given.
        description: what the adapter says it is.
        serial: serial number of the adapter, which is not that of the instrument.
        by_id: the name that stays the same.
        visa: the VISA resource name of the same port.
        given: it is in no list; somebody named it.
    """

    device: str
    description: str = ""
    serial: str = ""
    by_id: str = ""
    visa: str = ""
    given: bool = False

    @property
    def address(self) -> str:
        """What a bench file should hold: the name that stays the same where there is one."""
        return self.by_id or self.device

    @property
    def key(self) -> str:
        """The same for every spelling of this port."""
        return port_key(self.device)


def serial_ports() -> list[Port]:
    """The serial ports that the system lists, in its order of names."""
    from serial.tools import list_ports

    links = _links(BY_ID)
    found = [_port(info, links) for info in list_ports.comports()]
    return sorted(found, key=lambda port: [(len(part), part) for part in re.split(r"(\d+)", port.device)])


def _port(info: Any, links: dict[str, str]) -> Port:
    device = str(info.device)
    description = str(info.description or "")
    if description in ("n/a", device, Path(device).name):
        description = ""
    maker = str(info.manufacturer or "")
    if maker and maker not in description:
        description = f"{description} ({maker})" if description else maker
    return Port(device, description, str(info.serial_number or ""), links.get(port_key(device), ""))


def _links(folder: Path) -> dict[str, str]:
    try:
        links = sorted(folder.iterdir())
    except OSError:
        return {}
    return {port_key(str(link)): str(link) for link in links}


def visa_ports() -> tuple[list[Port], list[str]]:
    """VISA resources that pyvisa-py knows without sending anything, and why others are not among them."""
    try:
        from pyvisa_py.sessions import Session
    except ImportError:
        return [], ["VISA resources cannot be listed: PyVISA is not installed (pip install pyvisa pyvisa-py)"]
    remarks = ["instruments on a network or a GPIB are not listed, since looking for them is sending: use --port"]
    names: list[str] = []
    kinds = {kind.name: session for (kind, _), session in Session.iter_valid_session_classes()}
    for kind, session in kinds.items():
        if kind.upper() in _SILENT:
            try:
                names += session.list_resources()
            except Exception as error:  # a back end of its own for each kind, and errors of its own
                remarks.append(f"{kind.upper()} resources cannot be listed: {error}")
    if "usb" not in kinds:
        remarks.append("USB resources are not listed: PyUSB is not installed (pip install pyusb)")
    return [Port(name, visa=name) for name in names], remarks


def joined(ports: Iterable[Port], given: Iterable[str] = ()) -> list[Port]:
    """One entry for each port, however many lists and spellings name it; those that were given come last."""
    found: dict[str, Port] = {}
    for port in ports:
        before = found.get(port.key)
        found[port.key] = port if before is None else replace(before, visa=before.visa or port.visa)
    for address in given:
        port = Port(address.strip(), given=True)
        found.setdefault(port.key, port)
    return list(found.values())


# ---- who has a port open ---------------------------------------------------------------------


def holder(address: str) -> str:
    """Which other program has a port open, as far as this system tells; empty where none is seen.

    Programs of other users are seen only where they left a lock file; opening the port then says ``busy`` if they have
    it to themselves. The program at the far end of a pseudo-terminal does not hold it.
    """
    path = port_key(address)
    if sys.platform != "linux" or not path.startswith("/"):
        return ""
    return _lock_holder(path) or _open_holder(path)


def _lock_holder(path: str) -> str:
    name = f"LCK..{Path(path).name}"
    for folder in _LOCKS:
        try:
            number = int((folder / name).read_text("ascii").split()[0])
        except (OSError, ValueError, IndexError):
            continue
        if number != os.getpid() and Path(f"/proc/{number}").exists():
            return _program(number)
    return ""


def _open_holder(path: str) -> str:
    if not Path(path).is_char_device():
        return ""
    terminal = re.fullmatch(r"/dev/pts/(\d+)", path)
    for number in _processes():
        if number == os.getpid():
            continue
        masters: set[str] = set()
        holds = False
        for descriptor, target in _descriptors(number):
            holds = holds or target == path
            if terminal is not None and target.endswith("/ptmx"):
                masters.add(_terminal_of(number, descriptor))
        if holds and not (terminal is not None and terminal[1] in masters):
            return _program(number)
    return ""


def _processes() -> Iterator[int]:
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            yield int(entry.name)


def _descriptors(number: int) -> Iterator[tuple[str, str]]:
    try:
        links = list(Path(f"/proc/{number}/fd").iterdir())
    except OSError:
        return
    for link in links:
        try:
            yield link.name, str(link.readlink())
        except OSError:
            continue


def _terminal_of(number: int, descriptor: str) -> str:
    """The number of the pseudo-terminal whose far end a descriptor is."""
    try:
        text = Path(f"/proc/{number}/fdinfo/{descriptor}").read_text("ascii")
    except OSError:
        return ""
    found = re.search(r"^tty-index:\s*(\d+)$", text, re.MULTILINE)
    return found[1] if found else ""


def _program(number: int) -> str:
    try:
        name = Path(f"/proc/{number}/comm").read_text("utf-8").strip()
    except OSError:
        name = "a program"
    return f"{name} (process {number})"
