"""The one error of this room: something outside the program went wrong with an instrument or its port."""

from __future__ import annotations

import errno
import os
import re
import sys
from pathlib import Path
from typing import Final, Literal, get_args

from bench.instruments.ports.address import port_key
from bench.instruments.wire_text import Pattern, show

Kind = Literal[
    "lost",
    "silent",
    "garbled",
    "busy",
    "denied",
    "refused",
    "stranger",
    "mismatch",
    "unable",
    "unsafe",
    "stuck",
    "aborted",
]
"""What kind of trouble.

lost: the port is gone. silent: no answer, or not all of it, in time. garbled: an answer that cannot be believed.
busy: somebody else has the port. denied: no permission. refused: the instrument reported an error. stranger: not the
instrument that was expected. mismatch: it measures something else, or on another range. unable: the profile cannot do
what was asked. unsafe: a safe state could not be confirmed.
stuck: it shows the same digits whatever it is on. aborted: stopped by :meth:`Transport.abort`.
"""

KINDS: Final[tuple[Kind, ...]] = get_args(Kind)


class InstrumentTrouble(Exception):
    """An instrument or its port gave trouble.

    Attributes:
        kind: one of :data:`KINDS`.
        what: what happened, in one sentence.
        advice: what a person can do about it; may be empty.
        raw: the bytes that were received in the matter, in order.
        effect_unknown: a command may or may not have reached the instrument; it must not simply be sent again.
        unmatched: the pattern that the last of ``raw`` should have matched, where that is the trouble.
    """

    def __init__(
        self,
        kind: Kind,
        what: str,
        advice: str = "",
        *,
        raw: tuple[bytes, ...] = (),
        effect_unknown: bool = False,
        unmatched: Pattern | None = None,
    ) -> None:
        super().__init__(f"{what} {advice}".rstrip())
        self.kind = kind
        self.what = what
        self.advice = advice
        self.raw = raw
        self.effect_unknown = effect_unknown
        self.unmatched = unmatched

    @property
    def shown(self) -> tuple[str, ...]:
        """The raw bytes as printable text, for a record."""
        return tuple(show(data) for data in self.raw)


class Yielded(InstrumentTrouble):
    """Something else was switched off over the line meanwhile: what was asked may have got no answer that counts."""

    def __init__(self, address: str) -> None:
        super().__init__("silent", f"The port {address} was needed to switch something else off.", "Try again.")


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
