"""Causes run forward: what map they make, and where a measured map differs from it.

The order in which causes act is fixed: cables are turned, wires are landed on contacts, plugs are
mirrored, shifted and put into sockets, wires break, pins are joined. A plant then is a graph of pins
and wires, and two pins conduct when they lie in one part of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.explain.causes import (
    Bridged,
    CableTurned,
    Cause,
    ConnectorsExchanged,
    Mirrored,
    Moved,
    Open,
    PairReversed,
    PairsExchanged,
    PairsSplit,
    PartOpen,
    PinsExchanged,
    Relanded,
    Shifted,
    StrayJoin,
    Unplugged,
)
from bench.diagnose.explain.pin_map import Design, Index, Join, Measured, Pin
from bench.diagnose.explain.seen import Seen, gather

Mirror = Literal["", "ends", "rows", "both"]
"""How a plug is mirrored; nothing for not at all."""
NOWHERE = -1
"""Where a contact is that meets no socket pin: off the end, or not plugged."""


class Seat(msgspec.Struct, frozen=True):
    """How one plug sits: in which socket (a connector number), mirrored and shifted how.

    `rows` and `columns` are places of shift in the socket's panel, `count` places along its
    numbering; a seat uses the first two or the third.
    """

    socket: int
    mirror: Mirror = ""
    rows: int = 0
    columns: int = 0
    count: int = 0
    mated: bool = True


def place(index: Index, seat: Seat, contact: int) -> int:
    """The socket pin that a plug's contact meets in this seat, or NOWHERE."""
    if not seat.mated:
        return NOWHERE
    home = index.home[contact]
    row, column = index.row[contact], index.column[contact]
    if seat.mirror in ("ends", "both"):
        column = len(index.connectors[home].layout.grid[row]) - 1 - column
    if seat.mirror in ("rows", "both"):
        row = index.shape[home][0] - 1 - row
    if seat.count:
        pin = index.grid[home].get((row, column), NOWHERE)
        if pin == NOWHERE:
            return NOWHERE
        order = index.order[seat.socket]
        spot = index.place[pin] + seat.count
        return order[spot] if 0 <= spot < len(order) else NOWHERE
    return index.grid[seat.socket].get((row + seat.rows, column + seat.columns), NOWHERE)


def meets(index: Index, seat: Seat, plug: int) -> dict[int, int]:
    """Each contact of a plug with the socket pin that it meets in this seat, or NOWHERE; worked out once.

    Args:
        index: the design.
        seat: how the plug sits.
        plug: its connector number.
    """
    found = index.met.get((plug, seat))
    if found is None:
        found = index.met[plug, seat] = {contact: place(index, seat, contact) for contact in index.order[plug]}
    return found


def turned_ends(index: Index, cable: str) -> dict[int, tuple[int, int]]:
    """Where each wire of a cable ends when the cable lies end for end.

    The near connectors of the cable take the places of its far ones, in the order in which the design lists them.

    Args:
        index: the design.
        cable: its name.

    Returns:
        Wire to its near and its far pin.

    Raises:
        DiagnoseError: the design has no such cable, or its ends do not have like connectors.
    """
    wires = index.cables.get(cable)
    if wires is None:
        raise DiagnoseError(f"the design has no cable {cable}")
    near = sorted({index.home[index.near[w]] for w in wires})
    far = sorted({index.home[index.far[w]] for w in wires})
    shapes = [[index.connectors[c].layout.grid for c in side] for side in (near, far)]
    if [list(map(len, rows)) for rows in shapes[0]] != [list(map(len, rows)) for rows in shapes[1]]:
        raise DiagnoseError(f"cable {cable} cannot be turned: its ends do not have like connectors")
    to_far = dict(zip(near, far, strict=True))
    to_near = dict(zip(far, near, strict=True))
    ends = {}
    for wire in wires:
        n, f = index.near[wire], index.far[wire]
        ends[wire] = (
            index.grid[to_near[index.home[f]]][index.row[f], index.column[f]],
            index.grid[to_far[index.home[n]]][index.row[n], index.column[n]],
        )
    return ends


def seats_of(index: Index, causes: Iterable[Cause]) -> list[Seat]:
    """How every plug sits under these causes, by connector number.

    Raises:
        DiagnoseError: the design lacks a connector, or the exchange is across sides.
    """
    mirror: dict[int, Mirror] = {}
    shift: dict[int, tuple[int, int, int]] = {}
    out: set[int] = set()
    socket = list(range(len(index.connectors)))
    for cause in causes:
        match cause:
            case Mirrored(name, how):
                mirror[_connector(index, name)] = how
            case Shifted(name, by, along):
                number = _connector(index, name)
                r, c, s = shift.get(number, (0, 0, 0))
                match along:
                    case "row":
                        shift[number] = (r, c + by, s)
                    case "rows":
                        shift[number] = (r + by, c, s)
                    case "count":
                        shift[number] = (r, c, s + by)
            case Unplugged(name):
                out.add(_connector(index, name))
            case ConnectorsExchanged(names):
                numbers = [_connector(index, n) for n in names]
                if len({n < index.near_connectors for n in numbers}) != 1:
                    raise DiagnoseError(
                        f"connectors {', '.join(names)} are not on one side; expected an exchange within a side"
                    )
                to = dict(zip(numbers, numbers[1:] + numbers[:1], strict=True))
                socket = [to.get(s, s) for s in socket]
            case _:
                pass
    seats = []
    for number, at in enumerate(socket):
        r, c, s = shift.get(number, (0, 0, 0))
        seats.append(Seat(at, mirror.get(number, ""), r, c, s, number not in out))
    return seats


class Landing(msgspec.Struct):
    """Where the wires end: contacts on the plugs and pins of the sockets, by wire number."""

    near_contact: list[int]
    far_contact: list[int]
    near: list[int]
    far: list[int]
    cut: set[int]


def land(index: Index, causes: Sequence[Cause]) -> Landing:
    """Land every wire under these causes.

    Raises:
        DiagnoseError: the design lacks a name.
    """
    near, far = list(index.near), list(index.far)
    cut: set[int] = set()
    for cause in causes:
        if isinstance(cause, CableTurned):
            for wire, (n, f) in turned_ends(index, cause.cable).items():
                near[wire], far[wire] = n, f
    for cause in causes:
        match cause:
            case PinsExchanged((a, b)) | PairsSplit((a, b)):
                i, j = _wire(index, a), _wire(index, b)
                far[i], far[j] = far[j], far[i]
            case PairReversed(pair):
                i, j = _pair(index, pair)
                far[i], far[j] = far[j], far[i]
            case PairsExchanged((p, q), crossed):
                (i, j), (k, m) = _pair(index, p), _pair(index, q)
                if crossed:
                    k, m = m, k
                far[i], far[k] = far[k], far[i]
                far[j], far[m] = far[m], far[j]
            case Moved(names, onto, end):
                wires = [_wire(index, n) for n in names]
                contacts = far if end == "far" else near
                first = contacts[wires[-1]] if onto is None else _pin(index, onto)
                where = [first, *(contacts[w] for w in wires[:-1])]
                for wire, contact in zip(wires, where, strict=True):
                    contacts[wire] = contact
            case Relanded(_, names, onto, end):
                contacts = far if end == "far" else near
                for name, to in zip(names, onto, strict=True):
                    contacts[_wire(index, name)] = NOWHERE if to is None else _pin(index, to)
            case Open(name):
                cut.add(_wire(index, name))
            case PartOpen(_, names):
                cut |= {_wire(index, name) for name in names}
            case _:
                pass
    seats = seats_of(index, causes)
    return Landing(near, far, seated(index, seats, near), seated(index, seats, far), cut)


def seated(index: Index, seats: Sequence[Seat], contacts: Sequence[int]) -> list[int]:
    """The socket pins that some contacts meet.

    Args:
        index: the design.
        seats: how every plug sits.
        contacts: by wire; NOWHERE stays so.
    """
    met: dict[int, int] = {}
    for number, seat in enumerate(seats):
        if seat.socket != number or seat != Seat(number):
            met.update(meets(index, seat, number))
    return [met.get(contact, contact) for contact in contacts] if met else list(contacts)


def labels(index: Index, causes: Sequence[Cause], landing: Landing | None = None) -> list[int]:
    """A label for every pin under these causes: two pins conduct when their labels are the same.

    Args:
        index: of the design.
        causes: what was done.
        landing: where these causes land the wires, where that is known.
    """
    landing = land(index, causes) if landing is None else landing
    links = [
        (n, f)
        for wire, (n, f) in enumerate(zip(landing.near, landing.far, strict=True))
        if n != NOWHERE and f != NOWHERE and wire not in landing.cut
    ]
    for cause in causes:
        if isinstance(cause, Bridged | StrayJoin):
            pins = [_pin(index, p) for p in cause.pins]
            links += [(pins[0], p) for p in pins[1:]]
    return gather(len(index.pins), links)


def predict(design: Design, causes: Sequence[Cause] = ()) -> frozenset[Join]:
    """Every near pin with every far pin that it conducts to under these causes.

    Raises:
        DiagnoseError: a cause names something that the design does not have.
    """
    index = design.index
    members: dict[int, tuple[list[Pin], list[Pin]]] = {}
    for pin, label in enumerate(labels(index, causes)):
        sides = members.setdefault(label, ([], []))
        sides[pin >= index.near_pins].append(index.pins[pin])
    return frozenset((n, f) for near, far in members.values() for n in near for f in far)


class Difference(msgspec.Struct, frozen=True):
    """One pair of pins where a prediction and the measurement differ."""

    pins: Join
    joined: bool
    """What was measured."""

    def __str__(self) -> str:
        was = "conducts" if self.joined else "does not conduct"
        return f"{self.pins[0]} to {self.pins[1]} {was}"


def differences(design: Design, measured: Measured, causes: Sequence[Cause] = ()) -> tuple[Difference, ...]:
    """Every tested pair that the causes, run forward, do not reproduce.

    Raises:
        DiagnoseError: a cause or the map names something that the design does not have.
    """
    index = design.index
    seen = Seen(index, measured)
    return tuple(
        Difference((index.pins[a], index.pins[b]), joined) for a, b, joined in seen.differences(labels(index, causes))
    )


def _connector(index: Index, name: str) -> int:
    if name not in index.connector_number:
        raise DiagnoseError(f"the design has no connector {name}")
    return index.connector_number[name]


def _wire(index: Index, name: str) -> int:
    if name not in index.wire_number:
        raise DiagnoseError(f"the design has no conductor {name}")
    return index.wire_number[name]


def _pair(index: Index, name: str) -> tuple[int, int]:
    if name not in index.pair_wires:
        raise DiagnoseError(f"the design has no pair {name}")
    return index.pair_wires[name]


def _pin(index: Index, pin: Pin) -> int:
    if pin not in index.number:
        raise DiagnoseError(f"the design has no pin {pin}")
    return index.number[pin]
