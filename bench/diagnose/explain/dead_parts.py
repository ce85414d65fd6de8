"""Open wires that lie side by side at one connector, told as one part of it."""

from __future__ import annotations

from collections.abc import Sequence

from bench.diagnose.explain.causes import Cause, JoinCause, Open, PartOpen, bits
from bench.diagnose.explain.pin_map import Index

_PART = 4
"""Fewest open wires side by side that are told as one part of a connector."""


def together(index: Index, causes: Sequence[Cause]) -> list[Cause]:
    """The same causes, with open wires that lie side by side at one connector as one, where that is likelier.

    Side by side is one after the other in the numbering, or all of a row.

    Args:
        index: of the design.
        causes: those found.
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
            if opened.issuperset(wires):
                runs[-1] += wires
            else:
                runs.append([])
        for run in runs:
            if len(run) < _PART or len(run) == len(index.fed[connector]):
                continue
            part = PartOpen(index.connectors[connector].name, tuple(index.names[w] for w in run))
            if bits(part, index) < sum(bits(Open(name), index) for name in part.conductors):
                parts.append(part)
                opened -= set(run)
    left = {index.names[w] for w in opened}
    kept = [cause for cause in causes if not isinstance(cause, Open) or cause.conductor in left]
    first = next((at for at, cause in enumerate(kept) if isinstance(cause, Open | JoinCause)), len(kept))
    return [*kept[:first], *parts, *kept[first:]]
