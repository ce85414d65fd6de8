"""What has to be proven again after a repair: what it touched, and what it may have disturbed.

Hands that lift one wire move its neighbours, and a plug that was taken out and put back has made
every contact anew. So the list has three parts: the wires that were repaired, the wires at the
pins beside theirs, and all wires of a connector that was unmated. For each it says whether the
wire has to be proven to get through, and from which other it has to be proven apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal

import msgspec

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.explain.causes import (
    CableTurned,
    Cause,
    ConnectorsExchanged,
    HighResistance,
    Mirrored,
    Shifted,
    Unplugged,
)
from bench.diagnose.explain.pin_map import Design
from bench.diagnose.explain.sentences import conductors_of

Why = Literal["repaired", "neighbour", "same connector"]
_RANK: dict[str, int] = {"repaired": 0, "neighbour": 1, "same connector": 2}


class Proof(msgspec.Struct, frozen=True):
    """One thing to prove again.

    conductor: the wire that has to be proven to get through, with its resistance.
    apart: wires from which it has to be proven apart. why: the nearest reason.
    """

    conductor: str
    apart: tuple[str, ...]
    why: Why


def reprove(
    design: Design,
    causes: Sequence[Cause],
    repaired: Iterable[Cause] | None = None,
    ends: Iterable[str] | None = None,
) -> tuple[Proof, ...]:
    """What to prove again after some of the causes found were repaired; all of them by default.

    Repaired wires come first, then their neighbours, then the rest of a connector.

    Args:
        design: the designed map.
        causes: what was found.
        repaired: which of them were repaired.
        ends: the connectors at which hands worked, where that is known; otherwise both ends of every wire count.

    Raises:
        DiagnoseError: a repaired cause is not one of the causes, or a connector is unknown.
    """
    index = design.index
    chosen = list(causes if repaired is None else repaired)
    for cause in chosen:
        if cause not in causes:
            raise DiagnoseError(f"{cause} was not among the causes that were found")
    worked = None if ends is None else set(ends)
    if worked is not None and (unknown := worked - index.connector_number.keys()):
        raise DiagnoseError(f"the design has no connector {', '.join(sorted(unknown))}")
    why: dict[int, Why] = {}
    apart: dict[int, set[int]] = {}

    def note(wire: int, reason: Why) -> None:
        if wire not in why or _RANK[reason] < _RANK[why[wire]]:
            why[wire] = reason

    for cause in chosen:
        wires = [index.wire_number[n] for n in conductors_of(design, cause)]
        if isinstance(cause, ConnectorsExchanged | Shifted | Mirrored | CableTurned | Unplugged):
            for wire in wires:
                note(wire, "same connector")
            for plug in {index.home[p] for w in wires for p in (index.near[w], index.far[w])}:
                if worked is None or index.connectors[plug].name in worked:
                    for wire in index.fed[plug]:
                        note(wire, "same connector")
            continue
        for wire in wires:
            note(wire, "repaired")
            apart.setdefault(wire, set()).update(w for w in wires if w != wire)
            for end in (index.near[wire], index.far[wire]):
                if worked is not None and index.connectors[index.home[end]].name not in worked:
                    continue
                for other in _beside(design, end):
                    if other not in wires:
                        note(other, "neighbour")
                    apart[wire].add(other)
            mate = index.mate[wire]
            if mate >= 0 and mate not in wires:
                note(mate, "neighbour")
                apart[wire].add(mate)
            apart[wire].discard(wire)
        if isinstance(cause, HighResistance) and len(wires) > 1:
            for plug in {index.home[index.far[w]] for w in wires}:
                for wire in index.fed[plug]:
                    note(wire, "same connector")
    order = sorted(why, key=lambda w: (_RANK[why[w]], w))
    name = index.names
    return tuple(Proof(name[w], tuple(name[o] for o in sorted(apart.get(w, ()))), why[w]) for w in order)


def _beside(design: Design, pin: int) -> list[int]:
    """Wires at the pin itself and at those right beside it, in its own row and the next ones."""
    index = design.index
    home, row, column = index.home[pin], index.row[pin], index.column[pin]
    pins = {index.grid[home].get((r, c)) for r in (row - 1, row, row + 1) for c in (column - 1, column, column + 1)}
    return [w for w in index.fed[home] if index.near[w] in pins or index.far[w] in pins]
