"""Seats of plugs as causes: what it takes for all plugs to sit as they do."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bench.diagnose.explain.causes import (
    CableTurned,
    Cause,
    ConnectorsExchanged,
    Mirrored,
    Shifted,
    Unplugged,
    bits,
)
from bench.diagnose.explain.forward import Seat
from bench.diagnose.explain.pin_map import Index


def seat_causes(index: Index, connector: int, seat: Seat) -> list[Cause]:
    """The causes that put one plug into its seat, but for the socket that it sits in."""
    name = index.connectors[connector].name
    causes: list[Cause] = []
    if seat.mirror:
        causes.append(Mirrored(name, seat.mirror))
    if seat.rows:
        causes.append(Shifted(name, seat.rows, "rows"))
    if seat.columns:
        causes.append(Shifted(name, seat.columns, "row"))
    if seat.count:
        causes.append(Shifted(name, seat.count, "count"))
    if not seat.mated:
        causes.append(Unplugged(name))
    return causes


def rounds(seats: Sequence[Seat]) -> list[list[int]]:
    """Rounds of plugs that sit in each other's sockets."""
    found = []
    done: set[int] = set()
    for plug, seat in enumerate(seats):
        if plug in done or seat.socket == plug:
            continue
        ring = [plug]
        while (follow := seats[ring[-1]].socket) != plug:
            ring.append(follow)
        done |= set(ring)
        found.append(ring)
    return found


def rounds_bits(index: Index, seats: Sequence[Seat]) -> float:
    """What it costs to name all exchanges of plugs, in bits."""
    return sum(
        bits(ConnectorsExchanged(tuple(index.connectors[c].name for c in ring)), index) for ring in rounds(seats)
    )


def plug_causes(index: Index, seats: Sequence[Seat], turned: Iterable[str]) -> list[Cause]:
    """The causes that make plugs sit like this, in the order in which they act."""
    causes: list[Cause] = [CableTurned(cable) for cable in sorted(turned)]
    for connector, seat in enumerate(seats):
        causes += seat_causes(index, connector, seat)
    for ring in rounds(seats):
        causes.append(ConnectorsExchanged(tuple(index.connectors[c].name for c in ring)))
    return causes
