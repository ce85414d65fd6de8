"""Open wires that lie side by side at one connector, told as one part of it."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from bench.diagnose.explain.causes import Cause, JoinCause, Open, PartOpen, bits
from bench.diagnose.explain.forward import NOWHERE
from bench.diagnose.explain.pin_map import Index

_PART = 4
"""Fewest open wires side by side that are told as one part of a connector."""


def adrift(near: Sequence[int], far: Sequence[int]) -> set[int]:
    """Numbers of the wires that a plug or a landing leads nowhere.

    Args:
        near: the socket pin of each wire's near end, NOWHERE for none.
        far: of its far end.
    """
    if NOWHERE not in near and NOWHERE not in far:
        return set()
    return {wire for wire, ends in enumerate(zip(near, far, strict=True)) if NOWHERE in ends}


def together(index: Index, causes: Sequence[Cause], loose: Collection[int] = ()) -> list[Cause]:
    """The same causes, with open wires that lie side by side at one connector as one, where that is likelier.

    Side by side is one after the other in the numbering, or all of a row. Wires that meet nothing anyway lie among
    them, or at their ends where that makes the part a plainer one, such as a whole row.

    Args:
        index: of the design.
        causes: those found.
        loose: numbers of the wires that meet nothing anyway, see :func:`adrift`.
    """
    if sum(isinstance(cause, Open) for cause in causes) < _PART:
        return list(causes)
    opened = {index.wire_number[cause.conductor] for cause in causes if isinstance(cause, Open)}
    ends = [*range(index.near_connectors, len(index.connectors)), *range(index.near_connectors)]
    parts: list[Cause] = []
    for connector in ends:
        at: dict[int, list[int]] = {}
        for wire in index.fed[connector]:
            for pin in (index.near[wire], index.far[wire]):
                if index.home[pin] == connector:
                    at.setdefault(pin, []).append(wire)
        runs: list[list[int]] = [[]]
        for pin in index.order[connector]:
            wires = at.get(pin)
            if wires is None:
                continue
            if all(wire in opened or wire in loose for wire in wires):
                runs[-1] += wires
            else:
                runs.append([])
        for whole in runs:
            held = [at for at, wire in enumerate(whole) if wire in opened]
            if len(held) < _PART:
                continue
            name = index.connectors[connector].name
            some = (whole, whole[held[0] : held[-1] + 1], whole[: held[-1] + 1], whole[held[0] :])
            choices = [run for run in some if len(run) < len(index.fed[connector])]
            if not choices:
                continue
            part = min(
                (PartOpen(name, tuple(index.names[w] for w in run)) for run in choices),
                key=lambda one: bits(one, index),
            )
            run = [index.wire_number[wire] for wire in part.conductors if index.wire_number[wire] in opened]
            if bits(part, index) < sum(bits(Open(index.names[wire]), index) for wire in run):
                parts.append(part)
                opened -= set(run)
    left = {index.names[w] for w in opened}
    kept = [cause for cause in causes if not isinstance(cause, Open) or cause.conductor in left]
    first = next((at for at, cause in enumerate(kept) if isinstance(cause, Open | JoinCause)), len(kept))
    return [*kept[:first], *parts, *kept[first:]]
