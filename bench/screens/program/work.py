"""Something long, in a thread of its own, while the program goes on taking keys."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

Tell = Callable[[str, int, int], None]
"""Is told what is being done, how much of it is done and of how much (0: not known); raises :class:`Cancelled`."""


class Cancelled(Exception):
    """The work is not wanted any more."""


class Work:
    """Something long, in a thread of its own.

    Not a worker of Textual's: those outlive the screen. The thread looks whether it is still wanted each time that it
    tells how far it is, and ends then.

    Args:
        title: what is done, in words.
        call: does it.
        then: is given the result, on the screen's own thread.
    """

    def __init__(self, title: str, call: Callable[[Tell], Any], then: Callable[[Any], None]) -> None:
        self.title, self.done, self.of = title, 0, 0
        self.over = False
        self.error: BaseException | None = None
        self.cancelled = False
        self._then, self._result = then, None
        self._call = call
        threading.Thread(target=self._run, name=title, daemon=True).start()

    def _run(self) -> None:
        try:
            self._result = self._call(self._tell)
        except BaseException as error:
            # whatever it is, it belongs to the screen's own thread
            self.error = error
        self.over = True

    def _tell(self, title: str, done: int, of: int) -> None:
        if self.cancelled:
            raise Cancelled
        self.title, self.done, self.of = title, done, of

    def finish(self) -> None:
        """Hand over the result."""
        self._then(self._result)
