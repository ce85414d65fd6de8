"""A SCPI relay matrix: every row may be put on any of a few buses, one relay for each crosspoint.

The crosspoint of bus ``b`` and row ``r`` is channel ``100 b + r``, or ``1000 b + r`` where there
are more than 99 rows: with two buses, ``(@101:110)`` puts rows 1 to 10 on the first bus and
``(@201:210)`` on the second.

A rule forbids crosspoints that would short what must stay apart. A command that would break it
closes nothing at all and is -221. The rule is asked about the relays' true state, so a welded
contact counts.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from typing import Any, ClassVar, Final, TypeAlias

import msgspec

from bench.instruments.profile.profile import Profile
from bench.simulate.scpi.instrument import Call, Channels, Command, ScpiError, ScpiInstrument, nr1
from bench.simulate.twins.figures import identity_of, shipped_profile
from bench.simulate.world.terminals import MatrixWorld

__all__ = ["MatrixTwin", "RowsApart", "Rule"]

OPERATE_S: Final = 0.005
"""Seconds that a relay takes to close."""
RELEASE_S: Final = 0.003
"""Seconds that a relay takes to open."""

Rule: TypeAlias = Callable[[frozenset[tuple[int, int]]], str | None]
"""Says why a set of (bus, row) crosspoints must not be closed together; None where it may."""


class RowsApart(msgspec.Struct, frozen=True):
    """The usual rule: no row joins two buses, and the rows of a group never share a bus.

    ``groups`` holds sets of rows of which no two may be joined, such as the two poles of a feed.
    """

    groups: tuple[frozenset[int], ...] = ()

    def __call__(self, closed: frozenset[tuple[int, int]]) -> str | None:
        """Why the crosspoints must not be closed together, or None."""
        bus_of: dict[int, int] = {}
        for bus, row in sorted(closed):
            if row in bus_of:
                return f"row {row} would join buses {bus_of[row]} and {bus}"
            bus_of[row] = bus
        for group in self.groups:
            taken: dict[int, int] = {}
            for row in sorted(group):
                bus = bus_of.get(row, 0)
                if bus and bus in taken:
                    return f"rows {taken[bus]} and {row} would meet on bus {bus}"
                taken[bus] = row
        return None


def _size(profile: Profile) -> tuple[int, int]:
    """Rows and buses of the crosspoints whose names the profile knows."""
    assert profile.switch is not None
    named = [number for number in range(10_000) if profile.switch.channel.match(str(number)) is not None]
    unit = 100 if max(named) < 1000 else 1000
    return max(number % unit for number in named), max(named) // unit


class MatrixTwin(ScpiInstrument):
    """The matrix of ``buses`` x ``rows``, all relays open at power-on and at ``*RST``.

    ``welded`` and ``dead`` are channels whose contacts never open and never close: faults, which
    the world sees and ``ROUTe:CLOSe?`` does not, since it tells what was commanded. Without ``rows`` it has as many as
    its profile has channels for.
    """

    PLAYS: ClassVar = "scpi-relay-matrix"

    def __init__(
        self,
        world: MatrixWorld,
        *,
        profile: Profile | None = None,
        rows: int | None = None,
        buses: int = 2,
        rule: Rule | None = None,
        welded: Iterable[int] = (),
        dead: Iterable[int] = (),
        identity: str = "",
        now: float = 0.0,
        **options: Any,
    ) -> None:
        told = profile or shipped_profile(self.PLAYS)
        if rows is None:
            rows, buses = _size(told)
        if not 1 <= rows <= 999 or not 1 <= buses <= 9:
            raise ValueError(f"a matrix has 1 to 999 rows and 1 to 9 buses, not {rows} and {buses}")
        self.world = world
        self.rule: Rule = rule or RowsApart()
        self._unit = 100 if rows <= 99 else 1000
        self.channels = frozenset(self.channel(bus, row) for bus in range(1, buses + 1) for row in range(1, rows + 1))
        self.welded = frozenset(welded)
        self.dead = frozenset(dead)
        if not (self.welded | self.dead) <= self.channels:
            raise ValueError("a welded or dead channel is not one of the matrix")
        self._commanded: frozenset[int] = frozenset()
        self._moves: deque[tuple[float, frozenset[int]]] = deque()
        super().__init__(identity or identity_of(told), now=now, **options)
        self.world.switched(self._contacts(self._commanded), now)

    def channel(self, bus: int, row: int) -> int:
        """The number of a crosspoint."""
        return bus * self._unit + row

    @property
    def closed(self) -> frozenset[int]:
        """The channels that are commanded closed."""
        return self._commanded

    def _contacts(self, commanded: frozenset[int]) -> frozenset[int]:
        return (commanded - self.dead) | self.welded

    # ---- moving relays -----------------------------------------------------------------------

    def reset(self, now: float) -> None:
        """``*RST``: all relays open."""
        self._move(frozenset(), now)

    def busy_until(self, now: float) -> float:
        """When the last relay has moved."""
        return self._moves[-1][0] if self._moves else now

    def next_event_at(self) -> float | None:
        """When a relay moves next."""
        return self._moves[0][0] if self._moves else None

    def refresh(self, now: float) -> None:
        """Tell the world of the relays that have moved."""
        while self._moves and self._moves[0][0] <= now:
            time, contacts = self._moves.popleft()
            self.world.switched(contacts, time)

    def _move(self, wanted: frozenset[int], now: float) -> float:
        """Open first, then close; returns when the relays have settled."""
        before, at = self._commanded, now
        kept = before & wanted
        if kept != before:
            at += RELEASE_S
            self._moves.append((at, self._contacts(kept)))
        if kept != wanted:
            at += OPERATE_S
            self._moves.append((at, self._contacts(wanted)))
        self._commanded = wanted
        return at

    def _checked(self, wanted: frozenset[int]) -> frozenset[int]:
        pairs = frozenset(divmod(channel, self._unit) for channel in self._contacts(wanted))
        # What is welded is closed whatever is done: it forbids nothing by itself.
        welded = frozenset(divmod(channel, self._unit) for channel in self.welded)
        if pairs != welded and (why := self.rule(pairs)) is not None:
            raise ScpiError(-221, why)
        return wanted

    def _listed(self, call: Call) -> frozenset[int]:
        return frozenset(self._known(call))

    def _known(self, call: Call) -> tuple[int, ...]:
        channels: tuple[int, ...] = call.args[0]
        for channel in channels:
            if channel not in self.channels:
                raise ScpiError(-222, f"channel {channel}")
        return channels

    # ---- commands ----------------------------------------------------------------------------

    def commands(self) -> Iterable[Command]:
        """The matrix's commands."""

        def close(call: Call) -> None:
            call.until = self._move(self._checked(self._commanded | self._listed(call)), call.now)

        def exclusive(call: Call) -> None:
            call.until = self._move(self._checked(self._listed(call)), call.now)

        def open_some(call: Call) -> None:
            call.until = self._move(self._commanded - self._listed(call), call.now)

        def open_all(call: Call) -> None:
            call.until = self._move(frozenset(), call.now)

        def states(closed: bool) -> Any:
            def query(call: Call) -> str:
                return ",".join(nr1((channel in self._commanded) is closed) for channel in self._known(call))

            return query

        def listed(call: Call) -> str:
            return "(@" + ",".join(str(channel) for channel in sorted(self._commanded)) + ")"

        some = (Channels(),)
        yield Command("ROUTe:CLOSe", close, states(True), some, some)
        yield Command("ROUTe:CLOSe:EXCLusive", exclusive, parameters=some)
        yield Command("ROUTe:CLOSe:STATe", query=listed)
        yield Command("ROUTe:OPEN", open_some, states(False), some, some)
        yield Command("ROUTe:OPEN:ALL", open_all)
