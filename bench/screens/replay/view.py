"""What a replay shows at one moment."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from bench.record.read import BrokenRecord
from bench.screens.program.moment import Moment
from bench.screens.replay.playback import Playback, Snapshot, Timeline
from bench.screens.walk.view import View

FACES: Final = ("seen", "meter", "events")
"""What fills the screen, one after the other."""
SPEEDS: Final = (0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 100.0)
"""How fast it may play."""


class Reading(Moment, frozen=True, kw_only=True):
    """The record is being read.

    Attributes:
        record: the record.
        failed: why it cannot be shown; None where it can.
    """

    record: Path
    failed: BrokenRecord | None = None


class ReplayView(Moment, frozen=True, kw_only=True):
    """One moment of a replay; ``now`` is the time on the wall of then.

    Attributes:
        playback: the record.
        timeline: how its entries lie in playing time.
        at: the walk as it stood.
        face: one of :data:`FACES`.
        playing: whether it runs.
        speed: how fast.
        mirrored: connectors from their other side.
        long: whether the page is longer than its room.
        live: whether the walk is under way still.
    """

    playback: Playback
    timeline: Timeline
    at: Snapshot
    face: str = "seen"
    playing: bool = False
    speed: float = 1.0
    mirrored: bool = False
    long: bool = False
    live: bool = False

    @property
    def walk(self) -> View:
        """The moment as the walk's screen knows it, seen from the operator's seat."""
        at = self.at
        return View(
            state=at.state,
            you=at.state.seat,
            record=str(self.playback.record),
            mirrored=self.mirrored,
            scroll=self.scroll,
            scrolled_by="j and k",
            now=self.now,
            elapsed=max(0.0, self.now.timestamp() - at.since),
            left=at.left,
            glyphs=self.glyphs,
        )
