"""What people do to wiring: the causes that can explain a measured map.

A cause is data. `bench.diagnose.explain.forward` says what map a list of causes makes, `bits` says what it costs to
name one, and `bench.diagnose.explain.sentences` says what to do about it at the rack.

Causes at a connector speak of its plug and of sockets: a plug carries its wires with it when it
sits in the wrong socket, shifted or turned. Causes at a wire speak of the plug's contacts, by the
names that the design gives them, because that is where hands will work once the plug sits right.
Joins speak of the pins that a probe can touch.

The cost is a description length: a few bits for how common the cause is (common practice, no
source; the order matters, the exact figures do not) and log2 of the number of places where it could
be. So a more special name wins where it applies, and a cause that accounts for much is cheap.
"""

from __future__ import annotations

from math import lgamma, log, log2
from typing import Literal

import msgspec

from bench.diagnose.explain.pin_map import Index, Pin, Side

Along = Literal["row", "rows", "count"]
How = Literal["ends", "rows", "both"]
Order = Literal["moved along", "exchanged", "end for end", "neighbours", "counted across", "other list", "no order"]
"""How the wires of a part of a connector sit on each other's contacts."""


class ConnectorsExchanged(msgspec.Struct, frozen=True):
    """Each plug sits in the socket of the next one named; the last sits in the first's."""

    connectors: tuple[str, ...]


class Shifted(msgspec.Struct, frozen=True):
    """A connector sits `by` places off: along its rows, across its rows, or along the count.

    "count" follows the numbering order from the end of one row into the next, as happens when wires
    are landed one by one and one place was missed. What falls off the end connects to nothing.
    """

    connector: str
    by: int
    along: Along = "row"


class Mirrored(msgspec.Struct, frozen=True):
    """A connector sits mirrored: rows end for end, rows in reversed order, or both (half a turn)."""

    connector: str
    how: How


class CableTurned(msgspec.Struct, frozen=True):
    """The cable lies end for end: its near plugs are at the far side and its far plugs at the near.

    Only a cable with like connectors at both ends can be turned, and where the turned cable maps
    pin for pin like the right one nothing shows.
    """

    cable: str


class Unplugged(msgspec.Struct, frozen=True):
    """Nothing passes a connector: its plug is not mated, or the cable behind it is not there."""

    connector: str


class PinsExchanged(msgspec.Struct, frozen=True):
    """Two wires are exchanged at one end."""

    conductors: tuple[str, str]


class PairReversed(msgspec.Struct, frozen=True):
    """The two wires of one pair are exchanged at one end."""

    pair: str


class PairsSplit(msgspec.Struct, frozen=True):
    """One wire of each of two pairs is exchanged at one end, so both pairs are split.

    A split made alike at both ends leaves the map right and cannot be seen with a meter for direct
    current.
    """

    conductors: tuple[str, str]


class PairsExchanged(msgspec.Struct, frozen=True):
    """Two whole pairs are exchanged at one end; `crossed` when each also has its wires reversed."""

    pairs: tuple[str, str]
    crossed: bool = False


class Moved(msgspec.Struct, frozen=True):
    """Wires moved along at one end: each sits where the wire named before it belongs.

    The first sits on `onto`, or, when that is None, where the last one belongs (a closed round). One
    conductor with `onto` is a wire that is landed on a wrong pin.
    """

    conductors: tuple[str, ...]
    onto: Pin | None = None
    end: Side = "far"


class Relanded(msgspec.Struct, frozen=True):
    """Wires that were landed on each other's contacts in an order that hands make, as one mistake.

    A run of them sits some places on or back from where it belongs (``moved along``, as when one place was missed or
    taken twice; the wire at its end may sit at its beginning), or two runs are ``exchanged`` (the halves of a block,
    two groups of a cable, two tails). A run sits ``end for end``; every two ``neighbours`` are exchanged. A connector
    is ``counted across`` its rows in place of along them; its wires follow the ``other list``, the pins of the other
    end; or they are in ``no order``.

    Attributes:
        order: which of these.
        conductors: the wires, in the order of the contacts where they belong.
        onto: the contact that each sits on; None where it meets none.
        end: of the wires.
    """

    order: Order
    conductors: tuple[str, ...]
    onto: tuple[Pin | None, ...]
    end: Side = "far"


class Open(msgspec.Struct, frozen=True):
    """A wire does not get through."""

    conductor: str


class PartOpen(msgspec.Struct, frozen=True):
    """Wires that lie side by side at one connector and do not get through: a row, or some pins one after the other."""

    connector: str
    conductors: tuple[str, ...]


class Bridged(msgspec.Struct, frozen=True):
    """Pins of one connector are joined with each other."""

    pins: tuple[Pin, ...]


class StrayJoin(msgspec.Struct, frozen=True):
    """Pins are joined that have no business together and do not all sit side by side in one group.

    They lie on different connectors, or one of them carries no wire. More than two are one joint.
    """

    pins: tuple[Pin, ...]


class HighResistance(msgspec.Struct, frozen=True):
    """Wires that get through but read more than their limit; several when a connector is at fault."""

    conductors: tuple[str, ...]


PlugCause = ConnectorsExchanged | Shifted | Mirrored | CableTurned | Unplugged
WireCause = PinsExchanged | PairReversed | PairsSplit | PairsExchanged | Moved | Relanded
JoinCause = Bridged | StrayJoin
Cause = PlugCause | WireCause | Open | PartOpen | JoinCause | HighResistance


def wires_of(index: Index, cause: Cause) -> set[int]:
    """Numbers of the wires that a cause touches; for joins those that the design lands on the joined pins.

    Args:
        index: of the design.
        cause: as told.
    """
    names: tuple[str, ...] = ()
    match cause:
        case ConnectorsExchanged(connectors):
            return {wire for name in connectors for wire in index.fed[index.connector_number[name]]}
        case Shifted(name) | Mirrored(name) | Unplugged(name):
            return set(index.fed[index.connector_number[name]])
        case CableTurned(cable):
            return set(index.cables[cable])
        case PairReversed(pair):
            return set(index.pair_wires[pair])
        case PairsExchanged(pairs):
            return {wire for pair in pairs for wire in index.pair_wires[pair]}
        case Bridged(pins) | StrayJoin(pins):
            numbers = {index.number[pin] for pin in pins}
            fed = {wire for pin in numbers for wire in index.fed[index.home[pin]]}
            return {wire for wire in fed if index.near[wire] in numbers or index.far[wire] in numbers}
        case Open(name):
            names = (name,)
        case PinsExchanged(names) | PairsSplit(names) | HighResistance(names):
            pass
        case Moved(names) | PartOpen(_, names) | Relanded(_, names):
            pass
    return {index.wire_number[name] for name in names}


def _choose(n: int, k: int) -> float:
    """log2 of the number of ways to choose k of n; 0 when there is one way or none."""
    if k <= 0 or k >= n:
        return 0.0
    return (lgamma(n + 1) - lgamma(k + 1) - lgamma(n - k + 1)) / log(2)


def _span_bits(index: Index, home: int, first: int, last: int) -> float:
    """Bits for where a part of a connector begins and ends: none for an end that is one of a row, or its middle.

    Where pins count down the columns, it is a column in place of a row.
    """
    place = log2(max(2, len(index.order[home])))
    half = len(index.order[home]) / 2
    begins = index.place[first] in {half, *(line.start for line in index.lines[home])}
    ends = index.place[last] + 1 in {half, *(line.stop for line in index.lines[home])}
    return (1.0 if begins else place) + (1.0 if ends else place)


def _relanded_bits(cause: Relanded, index: Index) -> float:
    """What it costs to name wires that were landed in another order: where they are, and which order it is."""
    contacts = index.far if cause.end == "far" else index.near
    own = [contacts[index.wire_number[name]] for name in cause.conductors]
    sits = [None if pin is None else index.number[pin] for pin in cause.onto]
    home = index.home[own[0]]
    there = len(index.order[home])
    which = log2(max(2, len(index.connectors)))
    place = log2(max(2, there))
    span = _span_bits(index, home, own[0], own[-1])
    match cause.order:
        case "moved along":
            steps = [index.place[to] - index.place[at] for at, to in zip(own, sits, strict=True) if to is not None]
            least = min(map(abs, steps), default=1)
            # a wire that sits at the other end is something more to say
            round_about = 2.5 if any(abs(step) != least for step in steps) else 0.0
            return 3 + which + span + 2 * log2(1 + least) + round_about
        case "exchanged":
            other = index.home[sits[0]] if sits[0] is not None else home
            return 3.5 + which * (1 if other == home else 2) + 2 * place + log2(max(2, len(own)))
        case "end for end":
            return 4 + which + span
        case "neighbours":
            return 3 + which + span
        case "counted across" | "other list":
            return 4 + which
        case "no order":
            return 5 + which + _choose(there, len(own)) + lgamma(len(own) + 1) / log(2)


def bits(cause: Cause, index: Index) -> float:
    """What it costs to name this cause in this plant, in bits: prior plus log2 of its places."""
    wires = max(2, len(index.wires))
    pairs = max(2, len(index.pair_wires))
    connectors = max(2, len(index.connectors))
    match cause:
        case ConnectorsExchanged(names):
            orders = lgamma(len(names)) / log(2)
            return 3.5 * (len(names) - 1) + _choose(connectors, len(names)) + orders
        case Shifted(_, by, along):
            # a plug cannot sit off along the count of several rows: only wires that were landed one by one can
            return (5 if along == "count" else 3) + log2(connectors) + 2 * log2(1 + abs(by))
        case Mirrored():
            return 3 + log2(connectors) + 2
        case CableTurned():
            return 3 + log2(max(2, len(index.cables)))
        case Unplugged():
            return 3 + log2(connectors)
        case PinsExchanged():
            return 2.5 + _choose(wires, 2)
        case PairReversed():
            return 2 + log2(pairs)
        case PairsSplit():
            return 2.2 + _choose(wires, 2)
        case PairsExchanged(_, crossed):
            return (6 if crossed else 3) + _choose(pairs, 2)
        case Moved(names, onto):
            length = len(names)
            places = length * log2(wires)
            if onto is None:
                return 4 + places - log2(length)
            return 4 + places + log2(max(2, len(index.pins)))
        case Relanded():
            return _relanded_bits(cause, index)
        case Open():
            return 2 + log2(wires)
        case PartOpen(name, conductors):
            home = index.connector_number[name]
            numbers = [index.wire_number[wire] for wire in conductors]
            ends = index.far if home >= index.near_connectors else index.near
            own = sorted((ends[number] for number in numbers), key=index.place.__getitem__)
            return 3.5 + log2(connectors) + _span_bits(index, home, own[0], own[-1])
        case Bridged(pins):
            return 2.5 + log2(wires) + (len(pins) - 1) * min(4.0, log2(wires))
        case StrayJoin(pins):
            return 3.5 + log2(max(2, len(index.pins))) * min(2, len(pins)) + 4.0 * max(0, len(pins) - 2)
        case HighResistance(names):
            return 2 + log2(wires) if len(names) == 1 else 3 + log2(connectors)
