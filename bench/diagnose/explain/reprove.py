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
from bench.diagnose.explain.pin_map import Design, Index
from bench.diagnose.explain.sentences import conductors_of

Why = Literal["repaired", "neighbour", "same connector"]
_RANK: dict[str, int] = {"repaired": 0, "neighbour": 1, "same connector": 2}


class Proof(msgspec.Struct, frozen=True):
    """One thing to prove again.

    Attributes:
        conductor: the wire that has to be proven to get through, with its resistance.
        apart: wires from which it has to be proven apart.
        why: the nearest reason.
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
    found = _Again(design, worked)
    for cause in chosen:
        wires = [index.wire_number[name] for name in conductors_of(design, cause)]
        if isinstance(cause, ConnectorsExchanged | Shifted | Mirrored | CableTurned | Unplugged):
            found.after_plugs(wires)
        else:
            found.after_wires(wires)
        if isinstance(cause, HighResistance) and len(wires) > 1:
            found.all_fed_by({index.home[index.far[wire]] for wire in wires})
    return found.proofs()


class _Again:
    """Gathers which wires to prove again, from which others they must be apart, and the nearest reason for each.

    Args:
        design: the designed map.
        worked: the connectors at which hands worked; None where that is not known.
    """

    def __init__(self, design: Design, worked: set[str] | None) -> None:
        self._index = design.index
        self._worked = worked
        self._why: dict[int, Why] = {}
        self._apart: dict[int, set[int]] = {}

    def _note(self, wire: int, reason: Why) -> None:
        if wire not in self._why or _RANK[reason] < _RANK[self._why[wire]]:
            self._why[wire] = reason

    def _was_worked_at(self, plug: int) -> bool:
        return self._worked is None or self._index.connectors[plug].name in self._worked

    def all_fed_by(self, plugs: Iterable[int]) -> None:
        """Whole connectors."""
        for plug in plugs:
            for wire in self._index.fed[plug]:
                self._note(wire, "same connector")

    def after_plugs(self, wires: Sequence[int]) -> None:
        """Plugs were taken out that these wires end in."""
        index = self._index
        for wire in wires:
            self._note(wire, "same connector")
        plugs = {index.home[pin] for wire in wires for pin in (index.near[wire], index.far[wire])}
        self.all_fed_by(plug for plug in plugs if self._was_worked_at(plug))

    def after_wires(self, wires: Sequence[int]) -> None:
        """Single wires were repaired: those beside them and their mates may have been moved with them."""
        index = self._index
        for wire in wires:
            self._note(wire, "repaired")
            apart = self._apart.setdefault(wire, set())
            apart.update(wires)
            near = {
                other
                for pin in (index.near[wire], index.far[wire])
                if self._was_worked_at(index.home[pin])
                for other in _beside(index, pin)
            }
            if index.mate[wire] >= 0:
                near.add(index.mate[wire])
            for other in near.difference(wires):
                self._note(other, "neighbour")
            apart |= near
            apart.discard(wire)

    def proofs(self) -> tuple[Proof, ...]:
        """All of them, the repaired wires first."""
        names = self._index.names
        return tuple(
            Proof(names[wire], tuple(names[other] for other in sorted(self._apart.get(wire, ()))), self._why[wire])
            for wire in sorted(self._why, key=lambda wire: (_RANK[self._why[wire]], wire))
        )


def _beside(index: Index, pin: int) -> list[int]:
    """Wires at the pin itself and at those right beside it, in its own row and the next ones."""
    home, row, column = index.home[pin], index.row[pin], index.column[pin]
    pins = {index.grid[home].get((r, c)) for r in (row - 1, row, row + 1) for c in (column - 1, column, column + 1)}
    return [w for w in index.fed[home] if index.near[w] in pins or index.far[w] in pins]
