"""The way of a cable, stretch by stretch, and what of it lies at a distance from one end."""

from __future__ import annotations

import msgspec

from bench.plant.model import Plant
from bench.plant.things import Cable


class Stretch(msgspec.Struct, frozen=True):
    """A part of a cable's way.

    Attributes:
        name: the tray section; empty for what hangs between an end and the trays.
        text: where it is, in words.
        begin: metres from the near end.
        end: metres from the near end.
        guessed: whether its length is not given in the plant file.
    """

    name: str
    text: str
    begin: float
    end: float
    guessed: bool = False


def way(plant: Plant, cable: Cable) -> tuple[Stretch, ...]:
    """The stretches of a cable from its near end to its far end.

    What the trays do not account for hangs at the two ends, in equal parts; a section whose length is not known has
    as much of the rest as each of them.

    Args:
        plant: the plant.
        cable: one of its cables.
    """
    sections = [plant.sections[name] for name in cable.sections]
    given = sum(one.length_m or 0.0 for one in sections)
    unknown = sum(one.length_m is None for one in sections)
    # a cable that is shorter than its trays: the file is wrong somewhere, and all of it is stretched to fit
    stretch = min(1.0, cable.length_m / given) if given else 1.0
    each = max(0.0, cable.length_m - given * stretch) / (2 + unknown)
    near, far = (", ".join(owners) or f"the {side} end" for owners, side in ((cable.near, "near"), (cable.far, "far")))
    found = [Stretch("", f"between {near} and the tray" if sections else f"near {near}", 0.0, each, True)]
    for one in sections:
        begin = found[-1].end
        length = one.length_m * stretch if one.length_m is not None else each
        text = f"in tray {one.name}{f', {one.title}' if one.title else ''}"
        found.append(Stretch(one.name, text, begin, begin + length, one.length_m is None))
    text = f"between the tray and {far}" if sections else f"near {far}"
    found.append(Stretch("", text, found[-1].end, cable.length_m, True))
    return tuple(one for one in found if one.end > one.begin)


def where_words(stretches: tuple[Stretch, ...], low: float, middle: float, high: float) -> str:
    """Where a distance lies, in words: the stretch of its middle, and those that it reaches into.

    Args:
        stretches: of the cable.
        low: lower end, in metres.
        middle: the best figure.
        high: upper end.
    """
    held = [one for one in stretches if one.end >= low and one.begin <= high]
    at = next((one for one in stretches if one.begin <= middle <= one.end), stretches[-1])
    if len(held) <= 1:
        return at.text
    return f"likely {at.text}; from {held[0].text.removeprefix('in ')} to {held[-1].text.removeprefix('in ')}"
