"""A connector as a picture in text: each pin, and whose wire sits on it under a cause."""

from __future__ import annotations

from bench.diagnose.explain.causes import Cause, HighResistance, JoinCause
from bench.diagnose.explain.forward import NOWHERE, land
from bench.diagnose.explain.pin_map import Design

_ACROSS = 13
"""Pins in one line of a picture."""


def picture(design: Design, cause: Cause) -> list[str]:
    """The connectors on which wires sit elsewhere than they belong, as lines; none for a cause that moves no wire.

    Under each pin stands the pin where the wire on it belongs: ``=`` where that is this pin itself, ``-`` where no wire
    sits, the connector with it where that is another one.

    Args:
        design: the design.
        cause: what was done.
    """
    if isinstance(cause, JoinCause | HighResistance):
        return []
    index = design.index
    landing = land(index, [cause])
    lines: list[str] = []
    for before, after in ((index.far, landing.far), (index.near, landing.near)):
        held: dict[int, int] = {}
        touched: set[int] = set()
        for wire, (own, now) in enumerate(zip(before, after, strict=True)):
            if now != NOWHERE and wire not in landing.cut:
                held[now] = own
            if own != now:
                touched |= {index.home[pin] for pin in (own, now) if pin != NOWHERE}
        if not touched and landing.cut and before is index.far:
            touched = {index.home[before[wire]] for wire in landing.cut}
        for connector in sorted(touched):
            lines += _panel(design, connector, held)
    return lines


def _panel(design: Design, connector: int, held: dict[int, int]) -> list[str]:
    index = design.index
    name = index.connectors[connector].name
    cells: list[list[tuple[str, str]]] = []
    for row, names in enumerate(index.connectors[connector].layout.grid):
        line = []
        for column, pin_name in enumerate(names):
            pin = index.grid[connector][row, column]
            line.append((pin_name, _held(design, pin, held.get(pin))))
        cells += [line[at : at + _ACROSS] for at in range(0, len(line), _ACROSS)]
    width = max(len(text) for line in cells for cell in line for text in cell) + 1
    first, second = f"{name} pin", "has wire of"
    head = max(len(first), len(second))
    lines = []
    for line in cells:
        lines.append(f"{first:{head}} " + "".join(f"{top:>{width}}" for top, _ in line))
        lines.append(f"{second:{head}} " + "".join(f"{below:>{width}}" for _, below in line))
    return lines


def _held(design: Design, pin: int, own: int | None) -> str:
    index = design.index
    if own is None:
        return "-"
    if own == pin:
        return "="
    there = index.pins[own]
    return there.name if index.home[own] == index.home[pin] else str(there)
