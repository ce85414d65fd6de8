"""A program at a real terminal of a given size, and the eyes of who sits there: what stands on the glass, as text."""

from __future__ import annotations

import signal
import subprocess
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path

import pyte

from tests.walks.window import Window

WITHIN = 60.0
"""Seconds that anything may take to come up on a slow machine."""


class Glass:
    """Starts the command on a pseudo-terminal and keeps what it paints.

    Args:
        words: the command's words.
        cwd: the folder to run it in.
        size: columns and rows.
        more: more of the environment.
    """

    def __init__(
        self, *words: object, cwd: Path, size: tuple[int, int] = (80, 24), more: Mapping[str, str] | None = None
    ) -> None:
        self.raw = b""
        self._screen = pyte.Screen(*size)
        self._stream = pyte.ByteStream(self._screen)
        self._lock = threading.Lock()
        self._shown: str | None = None
        self._window = Window(*words, cwd=cwd, heard=self._hear, size=size, more=more)
        self.process = self._window.process

    def _hear(self, data: bytes) -> None:
        with self._lock:
            self.raw += data
            self._stream.feed(data)
            self._shown = None

    @property
    def text(self) -> str:
        """What stands on the glass now."""
        with self._lock:
            if self._shown is None:
                self._shown = "\n".join(self._screen.display)
            return self._shown

    @property
    def words(self) -> str:
        """The same across line ends, with single blanks."""
        return " ".join(self.text.split())

    def type(self, keys: str) -> None:
        """Press keys."""
        self._window.type(keys)

    def until(self, true: Callable[[], object], within: float = WITHIN) -> None:
        """Wait for something to become true."""
        end = time.monotonic() + within
        while not true():
            assert time.monotonic() < end, f"it never came true; the glass shows\n{self.text}\n{self.raw[-400:]!r}"
            time.sleep(0.02)

    def shows(self, *words: str, within: float = WITHIN) -> None:
        """Wait until all these words stand on it."""
        self.until(lambda: all(word in self.words for word in words), within)

    def press(self, keys: str, then: Callable[[], object], within: float = WITHIN) -> None:
        """Press keys as a person does who looks: again where nothing came of it, never faster than people do."""
        end = time.monotonic() + within
        while True:
            time.sleep(0.8)  # a key is for a page that was there long enough to be read
            if then():
                return
            self.type(keys)
            pause = time.monotonic() + 3.0
            while time.monotonic() < pause:
                if then():
                    return
                time.sleep(0.02)
            assert time.monotonic() < end, f"{keys!r} did nothing; the glass shows\n{self.text}"

    def kill(self) -> None:
        """Kill the program, as a crash or a flat battery does."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(timeout=30)

    def end(self, within: float = WITHIN) -> int:
        """Wait for its end; returns the exit code."""
        code = self.process.wait(timeout=within)
        self._window.drained()
        return code

    def close(self) -> None:
        """Close the terminal, and see to it that nothing stays behind."""
        if self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(timeout=20)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait(timeout=20)
        self._window.close()
