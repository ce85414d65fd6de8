"""The operator's screen: paints at once, then calls the runner, then shows what its record says.

The screen holds no truth of its own. It folds the record that the runner sends, and every key becomes a wish that the
runner records or refuses. What it must do quickly it does here; all words and drawing are pure functions elsewhere,
which are loaded behind the first picture.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, Final

from bench.screens.program.painted import PaintedApp
from bench.screens.program.settings import Ended, Settings, Why

if TYPE_CHECKING:
    from bench.screens.walk.desk import Desk
    from bench.screens.walk.link import Connect

TICK: Final = 0.05
"""Seconds between two looks at what came: nobody reads faster than twenty pictures a second."""


class WalkApp(PaintedApp, inherit_bindings=False):
    """The screen as a program. Use :func:`run`, or :meth:`App.run_test` in tests.

    Args:
        connect: makes the line to the runner; called in a thread of its own after the first picture.
        settings: how the screen behaves.
        clock: monotonic seconds.
        now: time on the wall, with its zone.
    """

    def __init__(
        self,
        connect: Connect,
        settings: Settings | None = None,
        *,
        clock: Callable[[], float] = time.monotonic,
        now: Callable[[], datetime] = lambda: datetime.now().astimezone(),
    ) -> None:
        super().__init__(settings, TICK, (settings or Settings()).starting)
        self.desk: Desk | None = None
        self.ended = Ended("left")
        self._connect, self._clock, self._now = connect, clock, now

    @property
    def at_work(self) -> Desk | None:
        """The desk, once it is there."""
        return self.desk

    def begin(self) -> None:
        """Connect, in a thread of its own."""
        threading.Thread(target=self._work, name="line to the runner", daemon=True).start()

    def told_to_end(self) -> None:
        """A signal came, or the terminal is gone."""
        self.leave("ended")

    def _work(self) -> None:
        """Load the rest of the screen and connect. Not a worker of Textual's: those outlive the screen."""
        try:
            from bench.screens.walk.desk import Desk

            desk = Desk(self, self._clock, self._now)
            link = self._connect(desk.follower.hear)
            desk.connected(link)
        except BaseException as error:
            # whatever it is, it belongs to who called run(), and the screen must not stay behind
            self.bug = error
            return
        self.desk = desk
        if self._over:
            desk.close()  # the line came too late

    def tick(self) -> None:
        """Look at what came, and show it."""
        if self.bug is not None and not self._over:
            self.leave("left")
        else:
            super().tick()

    def pressed(self, key: str, character: str | None = None) -> None:
        """A key on the page."""
        if self.desk is not None:
            self.desk.pressed(key.lower() if len(key) == 1 else key, typed=key)
        elif key in ("q", "ctrl+c", "ctrl+q"):
            self.leave("left")

    def leave(self, why: Why) -> None:
        """End the screen; the runner pauses by itself."""
        if self._over:
            return
        self._over = True
        self.ended = self.desk.ended(why) if self.desk is not None else Ended(why)
        if self.desk is not None:
            self.desk.close()
        self.exit()


def run(connect: Connect, settings: Settings | None = None) -> Ended:
    """Show the screen until it is left.

    Args:
        connect: makes the line to the runner, in a thread of its own; see :data:`bench.screens.walk.link.Connect`.
        settings: how the screen behaves.

    Returns:
        How it ended, with the last state.

    Raises:
        Exception: whatever ``connect`` raised; the terminal is itself again by then.
    """
    app = WalkApp(connect, settings)
    # the mouse is not needed, and terminals break keys over it when a session is taken up again elsewhere
    app.run(mouse=False)
    if app.bug is not None:
        raise app.bug
    return app.ended
