"""What is heard: the terminal's bell in patterns that differ, and a voice where one is wanted.

Sound only ever adds to what the screen shows, and nothing waits for it.
"""

from __future__ import annotations

import contextlib
import shlex
import subprocess
import threading
from collections.abc import Callable
from typing import Final, Protocol

QUICK: Final = 0.18
"""Seconds between two quick rings: ears count them, terminals do not merge them."""
SLOW: Final = 0.55
"""Seconds between two slow rings: nobody takes them for quick ones."""
PATTERNS: Final = {
    "contact": (),
    "settled": (QUICK,),
    "pass": (QUICK, QUICK),
    "fail": (SLOW,),
    "undecided": (SLOW, SLOW),
    "trouble": (SLOW, SLOW, SLOW),
    "lost": (SLOW, SLOW, SLOW, SLOW),
    "voltage": (QUICK,) * 5,
    "off": (QUICK, SLOW, QUICK),
    "discharged": (QUICK, QUICK, SLOW),
}
"""Seconds between the rings of each. One, two, three quick ones: touching, steady, passed; slow ones are not good."""
LEADS: Final = ("contact", "settled", "discharged")
"""What leads to a verdict: it is heard to its end before the verdict is."""
LONGEST: Final = 20.0
"""Seconds that a voice may speak, and as many more as a slow reader takes for the text."""
READS: Final = 8.0
"""Letters that a slow reader says in a second."""


class Later(Protocol):
    """Something that is called later, unless it is stopped."""

    def stop(self) -> None:
        """Do not call it."""


class Ringer:
    """Rings a bell in patterns; the newest pattern wins.

    Args:
        bell: rings once.
        later: calls something after some seconds.

    Attributes:
        rang: how often it rang.
        left: seconds before each ring that is still to come.
    """

    def __init__(self, bell: Callable[[], None], later: Callable[[float, Callable[[], None]], Later]) -> None:
        self.rang = 0
        self.left: tuple[float, ...] = ()
        self._bell, self._later = bell, later
        self._what = ""
        self._next: Later | None = None

    def ring(self, what: str) -> None:
        """Begin a pattern, one of :data:`PATTERNS`; anything else has none."""
        if what not in PATTERNS:
            return
        if self.left and self._what in LEADS and what not in LEADS:
            self.left = (*self.left, SLOW, *PATTERNS[what])
            self._what = what
            return
        self.stop()
        self._what, self.left = what, (0.0, *PATTERNS[what])
        self._ring()

    def stop(self) -> None:
        """Be silent."""
        self.left = ()
        if self._next is not None:
            self._next.stop()
            self._next = None

    def _ring(self) -> None:
        if not self.left:
            return  # it was stopped just then
        self.left = self.left[1:]
        self.rang += 1
        self._bell()
        self._next = self._later(self.left[0], self._ring) if self.left else None


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
            child.wait(LONGEST + len(text) / READS)
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
