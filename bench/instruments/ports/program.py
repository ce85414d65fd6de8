"""A program of the user's own as a port: its standard input and output are the line.

Any program that prints readings can be a meter this way: one that speaks to a device which is no serial port, or to a
service on the network. Its words are taken apart as a shell would, and no shell is started; what it writes to its
standard error stays on the terminal. It must flush what it prints, and it ends when its input ends.
"""

from __future__ import annotations

import contextlib
import os
import queue
import shlex
import subprocess
import threading
from time import monotonic
from typing import Final

from bench.instruments.ports.owned import SLICE, WRITE_TIME, OwnedPort
from bench.instruments.ports.trouble import InstrumentTrouble

BEGINS: Final = "program:"
"""How its address begins: ``program:python3 hygrometer.py --room 2``."""
ENDS_WITHIN: Final = 2.0
"""Seconds that it may take to end once its input has ended; then it is ended."""
_KEPT: Final = 1024
"""Pieces of what it printed that wait to be read; it waits where nobody reads."""


def words_of(text: str, windows: bool = os.name == "nt") -> list[str]:
    """The words that start a program.

    Args:
        text: what a bench file has.
        windows: a backslash is part of a path.

    Raises:
        ValueError: a quote is not closed.
    """
    if not windows:
        return shlex.split(text)
    return [word.strip("\"'") for word in shlex.split(text, posix=False)]


class ProgramPort(OwnedPort):
    """A program; see :class:`~bench.instruments.ports.transport.Transport`.

    Raises:
        InstrumentTrouble: ``busy``, ``lost`` (no such program).
    """

    stuck_hint = "The program does not read its input."

    def _open(self) -> None:
        try:
            words = words_of(self.address.removeprefix(BEGINS))
        except ValueError as error:
            raise InstrumentTrouble("lost", f"The address {self.address!r} names no program: {error}.") from error
        if not words:
            raise InstrumentTrouble(
                "lost", f"The address {self.address!r} names no program.", f"Write it as {BEGINS}python3 meter.py."
            )
        try:
            # its own session: a key pressed in this terminal is not meant for it
            self._process = subprocess.Popen(
                words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0, start_new_session=os.name != "nt"
            )
        except OSError as error:
            raise InstrumentTrouble(
                "lost",
                f"The program {words[0]!r} cannot be started: {error.strerror}.",
                "Is it installed, and named right?",
            ) from error
        self._came: queue.Queue[bytes] = queue.Queue(_KEPT)
        self._outbox: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._written = threading.Event()
        threading.Thread(target=self._listen, name="program's output", daemon=True).start()
        threading.Thread(target=self._feed, name="program's input", daemon=True).start()

    def _listen(self) -> None:
        out = self._process.stdout
        assert out is not None
        with contextlib.suppress(OSError, ValueError):
            while data := out.read(65536):
                self._came.put(data)
        self._came.put(b"")

    def _feed(self) -> None:
        into = self._process.stdin
        assert into is not None
        with contextlib.suppress(OSError, ValueError):
            while (data := self._outbox.get()) is not None:
                into.write(data)
                self._written.set()
        with contextlib.suppress(OSError, ValueError):
            into.close()

    def _close(self) -> None:
        self._outbox.put(None)
        try:
            self._process.wait(timeout=ENDS_WITHIN)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        if self._process.stdout is not None:
            self._process.stdout.close()

    def write(self, data: bytes) -> None:
        """See :meth:`~bench.instruments.ports.transport.Transport.write`."""
        self._check_abort()
        if self._process.poll() is not None:
            raise self._ended()
        self._written.clear()
        self._outbox.put(data)
        deadline = monotonic() + WRITE_TIME
        while not self._written.wait(SLICE):
            self._check_abort()
            if self._process.poll() is not None:
                raise self._ended()
            if monotonic() >= deadline:
                raise self._stuck()

    def read(self, deadline: float) -> bytes:
        """See :meth:`~bench.instruments.ports.transport.Transport.read`."""
        while True:
            self._check_abort()
            left = deadline - monotonic()
            try:
                data = self._came.get(timeout=min(max(left, 0.0), SLICE)) if left > 0 else self._came.get_nowait()
            except queue.Empty:
                if left <= 0:
                    return b""
                continue
            if not data:
                self._came.put(b"")  # whoever asks again hears it too
                raise self._ended()
            return data

    def _ended(self) -> InstrumentTrouble:
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(timeout=0.1)
        code = self._process.returncode
        said = f" with code {code}" if code else ""
        return InstrumentTrouble("lost", f"{self.address} has ended{said}.", "Look at what it wrote; then try again.")
