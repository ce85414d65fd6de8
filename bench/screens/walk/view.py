"""What there is to show at one moment: the folded state and the little that a screen adds to it."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import msgspec
from msgspec.structs import replace

from bench.screens.program.moment import Moment
from bench.screens.walk import sayings as words
from bench.walk import events as e
from bench.walk.state import OutOfTurn, Phase, Refused, State, accepts, start

if TYPE_CHECKING:
    from bench.runner.protocol import Live, Rise, Voltage
    from bench.screens.walk.follow import Lost


class Allowed(msgspec.Struct, frozen=True):
    """What the machine would take besides an answer: a key that is sure to be refused is not shown.

    Attributes:
        back: the step to go back to; -1 where there is none.
        again: the step whose reading can be taken again; -1 where there is none.
        skip: the step can be skipped.
        skip_search: the whole search can.
        pause: the walk can be paused.
    """

    back: int = -1
    again: int = -1
    skip: bool = False
    skip_search: bool = False
    pause: bool = False


def allowed(state: State) -> Allowed:
    """What the machine would take: worked out once for a state, since it is asked for each by trial."""

    def takes(event: e.Event) -> bool:
        try:
            accepts(state, event)
        except (OutOfTurn, Refused):
            return False
        return True

    number, back, last = state.number, words.back_to(state), words.last_reading(state)
    skip = words.may_skip(state)
    searches = skip and state.planned is not None and state.planned.kind == "seek"
    return Allowed(
        back=back if back >= 0 and takes(e.Went(number=number, to=back, then="go-on")) else -1,
        again=last.index if last is not None and takes(e.Went(number=number, to=last.index, then="return")) else -1,
        skip=skip,
        skip_search=searches and takes(e.Skipped(number=number, reason="a reason", whole=True)),
        pause=state.phase is not Phase.PAUSED and takes(e.Paused()),
    )


class View(Moment, frozen=True, kw_only=True, dict=True):
    """One moment of a walk.

    Attributes:
        state: the folded record.
        may: what the machine would take at that state; worked out where it is asked for if None.
        live: the live reading of the step under way, or None.
        you: the name under which the runner knows this screen.
        record: where the record is.
        failing: why the record cannot be written; empty where it can.
        lost: how the line to the runner ended; None while it stands.
        starting: what is waited for before there is a record; empty afterwards.
        mirrored: connectors are shown from their other side.
        stages: the stages of first power are open, over whatever is asked.
        earth: the earthing network is open, over whatever is asked.
        rise: the load that comes up, as it is now.
        voltage: an insulation test voltage, as it was heard of last; None where there is none.
        trend: seconds and amperes of its way so far.
        scrolled_by: the keys that move a long page, in words.
        elapsed: seconds since the open request came up.
        left: seconds that the rest will take; None where not known.
    """

    state: State = msgspec.field(default_factory=start)
    may: Allowed | None = None
    live: Live | None = None
    you: str = ""
    record: str = ""
    failing: str = ""
    lost: Lost | None = None
    starting: str = ""
    mirrored: bool = False
    stages: bool = False
    earth: bool = False
    rise: Rise | None = None
    voltage: Voltage | None = None
    trend: tuple[tuple[float, float], ...] = ()
    scrolled_by: str = "arrow keys"
    elapsed: float = 0.0
    left: float | None = None

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

    @property
    def kind(self) -> str:
        """Which page: ``help``, ``actions``, ``starting``, ``lost``, ``failing``, ``stages``, ``earth``, or another."""
        if self.help:
            return "help"
        if self.typed is not None:
            return "actions"
        if self.lost is not None and not (self.state.finished and not self.lost.broken):
            return "lost"
        if self.failing:
            return "failing"
        if self.starting and self.state.setting is None:
            return "starting"
        if self.page.kind in ("trouble", "energise"):
            return self.page.kind  # these are never hidden
        if self.page.kind == "measure" and words.volts_on(self.state):
            return "voltage"  # nor is this
        return "stages" if self.stages else "earth" if self.earth else self.page.kind

    @property
    def watching(self) -> bool:
        """Whether somebody else holds the operator's seat."""
        return bool(self.state.seat) and self.state.seat != self.you
