"""What is heard: the terminal's bell in patterns that differ, and a voice where one is wanted.

Sound only ever adds to what the screen shows, and nothing waits for it.
"""

from __future__ import annotations

import contextlib
import shlex
import subprocess
import threading
from typing import Final

PATTERNS: Final = {"pass": 1, "fail": 2, "undecided": 3, "trouble": 4, "lost": 5, "voltage": 6}
"""How often the bell rings."""
APART: Final = 0.18
"""Seconds between two rings of one pattern: ears count them, terminals do not merge them."""
LONGEST: Final = 20.0
"""Seconds that a voice may speak, and as many more as a slow reader takes for the text."""
SLOW: Final = 8.0
"""Letters that a slow reader says in a second."""


class Speaker:
    """Hands texts to an outside program, such as a speech synthesiser; the newest text wins.

    Args:
        command: the program with its options; the text becomes its last argument. Nothing is run through a shell.

    Attributes:
        trouble: why nothing is heard; empty as long as all is well.
    """

    def __init__(self, command: str) -> None:
        self._words = shlex.split(command)
        self._lock = threading.Lock()
        self._child: subprocess.Popen[bytes] | None = None
        self.trouble = "" if self._words else "the speech command is empty"

    def say(self, text: str) -> None:
        """Speak, without waiting; what is being said is cut off."""
        spoken = text.strip().lstrip("-")
        if spoken and self._words:
            threading.Thread(target=self._speak, args=(spoken,), name="voice", daemon=True).start()

    def close(self) -> None:
        """Be silent."""
        with self._lock:
            self._hush()

    def _speak(self, text: str) -> None:
        with self._lock:
            self._hush()
            try:
                child = self._child = subprocess.Popen(
                    [*self._words, text],
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                )
            except OSError as error:
                self.trouble = f"{self._words[0]} cannot be started: {error.strerror}"
                return
        try:
            child.wait(LONGEST + len(text) / SLOW)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()

    def _hush(self) -> None:
        child = self._child
        self._child = None
        if child is not None and child.poll() is None:
            child.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                child.wait(0.5)
