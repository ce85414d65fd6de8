"""The big mistakes that people make with cables, as faults of a plant's circuit: pins exchanged, conductors open.

Nothing here knows the explainer: an order of landing is written as the pin that each wire sits on.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence

from bench.plant import faults as k


def landed(connector: str, order: Mapping[int, int], other: str = "") -> list[k.Fault]:
    """What belongs on each pin sits on another, as exchanges of what is on two pins, one after the other.

    Args:
        connector: whose pins are meant; a number below 0 is a pin of the other connector.
        order: pin where a wire belongs, to the pin that it sits on: a permutation.
        other: the other connector.
    """

    def pin(number: int) -> str:
        return f"{connector}.{number}" if number > 0 else f"{other}.{-number}"

    faults: list[k.Fault] = []
    # what is on each pin now, by the pin where it belongs
    on = {spot: spot for spot in order}
    sits = {to: own for own, to in order.items()}
    assert set(sits) == set(order), "a permutation"
    for spot in order:
        wanted = sits[spot]
        where = next(at for at, own in on.items() if own == wanted)
        if where != spot:
            faults.append(k.Exchanged(pins=(pin(spot), pin(where))))
            on[spot], on[where] = on[where], on[spot]
    return faults


def moved_along(
    connector: str, cable: str, first: int, last: int, by: int, names: Mapping[tuple[int, int], str] | None = None
) -> list[k.Fault]:
    """From first to last every wire sits one place on or back; the one that has no place left leads nowhere."""
    wires = list(range(first, last + 1))
    turned = wires[-1:] + wires[:-1] if by < 0 else wires[1:] + wires[:1]
    lost = last if by > 0 else first
    name = f"{cable}.{lost}" if names is None else names[int(cable[1:]), lost]
    return [*landed(connector, dict(zip(wires, turned, strict=True))), k.Open(conductor=name)]


def exchanged_runs(connector: str, one: Sequence[int], two: Sequence[int], other: str = "") -> list[k.Fault]:
    """Two runs of pins whose wires are exchanged as a whole; of the other connector where it is named."""
    there = [-pin for pin in two] if other else list(two)
    order = dict(zip(one, there, strict=True)) | dict(zip(there, one, strict=True))
    return landed(connector, order, other)


def end_for_end(connector: str, first: int, last: int) -> list[k.Fault]:
    """A run of wires landed the other way round."""
    return landed(connector, {pin: first + last - pin for pin in range(first, last + 1)})


def neighbours(connector: str, pins: int) -> list[k.Fault]:
    """Every two neighbours exchanged: 1 with 2, 3 with 4, and so on."""
    return landed(connector, {pin: pin + 1 if pin % 2 else pin - 1 for pin in range(1, pins - pins % 2 + 1)})


def counted_across(connector: str, pins: int, rows: int) -> list[k.Fault]:
    """The list counted along the rows, the hands across them."""
    columns = pins // rows
    across = [row * columns + column + 1 for column in range(columns) for row in range(rows)]
    return landed(connector, dict(enumerate(across, 1)))


def no_order(connector: str, pins: Sequence[int], seed: int) -> list[k.Fault]:
    """An order lost altogether: no wire of these is where it belongs."""
    draw = random.Random(seed)
    while True:
        there = list(pins)
        draw.shuffle(there)
        if all(a != b for a, b in zip(pins, there, strict=True)):
            return landed(connector, dict(zip(pins, there, strict=True)))
