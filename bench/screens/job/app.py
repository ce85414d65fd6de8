"""The hall as a program: the screens around the walk, one page at a time.

It paints at once, reads the job in a thread, and gives the terminal up where a walk or a replay wants it: it ends with
a wish, and whoever opened it carries that out and opens it again where it was.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Final

from bench.screens.program.painted import PaintedApp
from bench.screens.program.settings import Settings

if TYPE_CHECKING:
    from bench.screens.job.data import Source, Wish
    from bench.screens.job.desk import HallDesk
    from bench.screens.job.view import Hall

TICK: Final = 0.1
"""Seconds between two looks at how far the work is."""


@dataclass(frozen=True, slots=True)
class Left:
    """How the hall was left.

    Attributes:
        wish: what is to be done with the terminal; None where it was left for good.
        hall: the moment, to open it again there; None where it never came to one.
        day: whether the screen was light.
    """

    wish: Wish | None
    hall: Hall | None
    day: bool


class HallApp(PaintedApp, inherit_bindings=False):
    """The screen as a program. Use :func:`open_hall`, or :meth:`App.run_test` in tests.

    Args:
        source: reads the job.
        settings: how the screen behaves.
        hall: the moment to begin with.
        now: time on the wall, with its zone.
    """

    def __init__(
        self,
        source: Source,
        settings: Settings | None = None,
        *,
        hall: Hall | None = None,
        now: Callable[[], datetime] = lambda: datetime.now().astimezone(),
    ) -> None:
        super().__init__(settings, TICK, "Opening the job ...")
        self.desk: HallDesk | None = None
        self.wish: Wish | None = None
        self._source, self._hall, self._now = source, hall, now

    @property
    def at_work(self) -> HallDesk | None:
        """The desk, once it is there."""
        return self.desk

    def begin(self) -> None:
        """Load the house, which the first picture did not wait for."""
        from bench.screens.job.desk import HallDesk

        self.desk = HallDesk(self, self._source, self._now, self._hall)
        self.desk.repaint()

    def told_to_end(self) -> None:
        """A signal came, or the terminal is gone."""
        self.leave()

    def pressed(self, key: str, character: str | None = None) -> None:
        """A key on the page."""
        if self._over:
            return
        if self.desk is not None:
            self.desk.pressed(key, character)
        elif key in ("q", "ctrl+c", "ctrl+q"):
            self.leave()

    def turn(self) -> None:
        """From dark to light, or back."""
        self.theme = "night" if self.theme == "day" else "day"

    def leave(self, wish: Wish | None = None) -> None:
        """End the screen, with what is to be done outside it."""
        if self._over:
            return
        self._over = True
        self.wish = wish
        if self.desk is not None:
            self.desk.close()
        self.exit()


def open_hall(source: Source, settings: Settings | None = None, hall: Hall | None = None) -> Left:
    """Show the hall until it is left.

    Args:
        source: reads the job.
        settings: how the screen behaves.
        hall: the moment to begin with.

    Returns:
        What is to be done next, and where it was left.

    Raises:
        Exception: what the source raised before there was anything to show, or a bug.
    """
    app = HallApp(source, settings, hall=hall)
    # the mouse is not needed, and terminals break keys over it when a session is taken up again elsewhere
    app.run(mouse=False)
    if app.bug is not None:
        raise app.bug
    return Left(app.wish, app.desk.hall if app.desk is not None else None, app.theme == "day")
