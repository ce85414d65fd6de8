"""A program on a real pseudo-terminal: its output is read all the time, its window may be closed at any moment."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import struct
import subprocess
import termios
import threading
from collections.abc import Callable, Mapping
from pathlib import Path

from tests.walks.tool import COMMAND, environment


class Window:
    """Starts the command on a terminal of a given size.

    Args:
        words: of the command.
        cwd: the folder to run it in.
        heard: takes every piece of output, on a thread of its own.
        size: columns and rows.
        more: more of the environment.
    """

    def __init__(
        self,
        *words: object,
        cwd: Path,
        heard: Callable[[bytes], None],
        size: tuple[int, int] = (80, 24),
        more: Mapping[str, str] | None = None,
    ) -> None:
        columns, rows = size
        self._master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        place = {"TERM": "xterm-256color", "COLUMNS": str(columns), "LINES": str(rows)}
        self.process = subprocess.Popen(
            [*COMMAND, *map(str, words)],
            cwd=cwd,
            env={**environment(), **place, **(more or {})},
            stdin=slave,
            stdout=slave,
            stderr=slave,
            start_new_session=True,
        )
        os.close(slave)
        self._heard = heard
        self._stop, self._told = os.pipe()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        while True:
            ready = select.select([self._master, self._stop], [], [])[0]
            if self._stop in ready:
                return
            try:
                data = os.read(self._master, 65536)
            except OSError:
                return
            if not data:
                return
            self._heard(data)

    def type(self, keys: str) -> None:
        """Press keys."""
        os.write(self._master, keys.encode())

    def drained(self, within: float = 1.0) -> None:
        """Wait until all that an ended program has said is heard."""
        self._reader.join(timeout=within)

    def close(self) -> None:
        """Close the window: no signal comes, since the program has no controlling terminal here.

        Nobody may be reading then: a read that waits keeps a terminal open until something comes.
        """
        os.write(self._told, b".")
        self._reader.join()
        for descriptor in (self._master, self._stop, self._told):
            os.close(descriptor)
