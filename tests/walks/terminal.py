"""A program at a terminal, and the person before it."""

from __future__ import annotations

import os
import pty
import re
import select
import subprocess
import time
from pathlib import Path

from tests.walks.tool import COMMAND, environment


class Terminal:
    """A program at a terminal, and the person before it."""

    def __init__(self, *words: object, cwd: Path) -> None:
        self._master, slave = pty.openpty()
        self.process = subprocess.Popen(
            [*COMMAND, *map(str, words)],
            cwd=cwd,
            env={**environment(), "TERM": "dumb"},
            stdin=slave,
            stdout=slave,
            stderr=slave,
            close_fds=True,
        )
        os.close(slave)
        self.seen = ""

    def expect(self, text: str, timeout: float = 30.0) -> None:
        """Read until a text has come; what came up to it is gone then."""
        until = time.monotonic() + timeout
        while text not in self.seen:
            if not select.select([self._master], [], [], max(0.0, until - time.monotonic()))[0]:
                raise AssertionError(f"{text!r} did not come; seen: {self.seen}")
            try:
                data = os.read(self._master, 65536)
            except OSError:
                data = b""
            if not data:
                raise AssertionError(f"the program ended before {text!r}: {self.seen}")
            self.seen += data.decode("utf-8", "replace")
        self.seen = self.seen[self.seen.index(text) + len(text) :]

    def until(self, pattern: str, timeout: float = 30.0) -> str:
        """Read until a pattern has come; returns what came up to its end.

        Raises:
            EOFError: the program ended before.
        """
        ends = time.monotonic() + timeout
        while (found := re.search(pattern, self.seen.replace("\r", ""))) is None:
            if not select.select([self._master], [], [], max(0.0, ends - time.monotonic()))[0]:
                raise AssertionError(f"{pattern!r} did not come; seen: {self.seen}")
            try:
                data = os.read(self._master, 65536)
            except OSError:
                data = b""
            if not data:
                raise EOFError(self.seen)
            self.seen += data.decode("utf-8", "replace")
        seen = self.seen.replace("\r", "")
        self.seen = seen[found.end() :]
        return seen[: found.end()]

    def type(self, text: str) -> None:
        """Type a line."""
        os.write(self._master, text.encode() + b"\n")

    def hang_up(self) -> None:
        """Close the terminal's window."""
        os.close(self._master)

    def end(self) -> int:
        """Read to the end; returns the exit code. What came last is in ``seen``."""
        while True:
            try:
                data = os.read(self._master, 65536)
            except OSError:
                break
            if not data:
                break
            self.seen += data.decode("utf-8", "replace")
        self.hang_up()
        return self.process.wait(timeout=20)
