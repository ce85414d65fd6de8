"""What there is to show at one moment: the folded state and the little that a screen adds to it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING

from bench.screens.program.glyphs import UNICODE, Glyphs
from bench.screens.walk import sayings as words
from bench.walk.state import State, start

if TYPE_CHECKING:
    from bench.runner.protocol import Live, Rise
    from bench.screens.walk.follow import Lost


@dataclass(frozen=True)
class View:
    """One moment.

    Attributes:
        state: the folded record.
        live: the live reading of the step under way, or None.
        you: the name under which the runner knows this screen.
        record: where the record is.
        note: something to tell the operator once.
        failing: why the record cannot be written; empty where it can.
        lost: how the line to the runner ended; None while it stands.
        starting: what is waited for before there is a record; empty afterwards.
        mirrored: connectors are shown from their other side.
        help: the help page is open.
        ladder: the ladder of first power is open, over whatever is asked.
        earth: the earthing network is open, over whatever is asked.
        rise: the load that comes up, as it is now.
        trend: seconds and amperes of its way so far.
        scroll: lines by which a long page is moved up.
        scrolled_by: the keys that move it, in words.
        now: the time on the wall.
        elapsed: seconds since the open request came up.
        left: seconds that the rest will take; None where not known.
        glyphs: the signs to draw with.
    """

    state: State = field(default_factory=start)
    live: Live | None = None
    you: str = ""
    record: str = ""
    note: str = ""
    failing: str = ""
    lost: Lost | None = None
    starting: str = ""
    mirrored: bool = False
    help: bool = False
    ladder: bool = False
    earth: bool = False
    rise: Rise | None = None
    trend: tuple[tuple[float, float], ...] = ()
    scroll: int = 0
    scrolled_by: str = "arrow keys"
    now: datetime = field(default_factory=lambda: datetime.now().astimezone())
    elapsed: float = 0.0
    left: float | None = None
    glyphs: Glyphs = UNICODE

    @cached_property
    def page(self) -> words.Page:
        """What is asked now, in words that this screen can write."""
        page = words.page(self.state, mirrored=self.mirrored)
        leads = tuple(
            replace(
                lead,
                label=self.say(lead.label),
                where=self.say(lead.where),
                spot=self.say(lead.spot),
                wire=self.say(lead.wire),
            )
            for lead in page.leads
        )
        return replace(
            page,
            title=self.say(page.title).replace("\n", " "),
            text=self.say(page.text),
            hint=self.say(page.hint),
            wanted=self.say(page.wanted),
            leads=leads,
        )

    def say(self, text: str) -> str:
        """A text as this screen may write it; see :meth:`bench.screens.program.glyphs.Glyphs.say`."""
        return self.glyphs.say(text)

    @property
    def kind(self) -> str:
        """Which page: ``help``, ``starting``, ``lost``, ``failing``, ``ladder``, ``earth``, or what is asked."""
        if self.help:
            return "help"
        if self.lost is not None and not (self.state.finished and not self.lost.broken):
            return "lost"
        if self.failing:
            return "failing"
        if self.starting and self.state.setting is None:
            return "starting"
        if self.page.kind in ("trouble", "energise"):
            return self.page.kind  # these are never hidden
        return "ladder" if self.ladder else "earth" if self.earth else self.page.kind

    @property
    def watching(self) -> bool:
        """Whether somebody else holds the operator's seat."""
        return bool(self.state.seat) and self.state.seat != self.you
