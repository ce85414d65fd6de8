"""A relay matrix that is wired to the plant: which row goes to which place, and which channels join two places.

In the bench file, under the matrix:

    wired:
      meter: meter                  # whose two leads are on the two buses
      red: '1{row}'                 # the channel that puts a row on the red lead's bus
      black: '2{row}'               # and on the black lead's
      rows:
        J111.1-37: 01-37            # ranges run side by side
        J208.1-37: 38-74
        EARTH.1: 75
      together: [97, 98]            # two rows with a wire between them: the zero of leads and relays
      reference: [95, 96]           # two rows with the bench's reference resistor between them

A matrix stands in for a person who places probes, where all places of a reading are wired. It never carries a test
voltage, and by itself no more than ohms: ``reads`` must say so where volts may go through it.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from typing import Final, Literal

import msgspec

from bench.files import Inconsistent, Place, Places, Problem, near, one_of
from bench.instruments.profile.profile import Profile, Switch

ROW: Final = "{row}"
_RANGE: Final = re.compile(r"(?P<before>.*?)(?P<first>\d{1,4})-(?P<last>\d{1,4})")

TOGETHER: Final = "together"
"""Stands among places for two rows with a wire between them."""
REFERENCE: Final = "reference"
"""Stands among places for two rows with the reference resistor between them."""


class Wired(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """How a relay matrix is wired to the plant."""

    meter: str
    """The instrument whose two leads are on the two buses."""
    red: str
    """Name of the channel that puts a row on the red lead's bus; ``{row}`` stands for the row."""
    black: str
    """The same for the black lead's bus."""
    rows: dict[str, str]
    """Terminals of the plant to rows, one by one or range by range: ``J111.1-37: 01-37``."""
    together: tuple[str, str] | None = None
    """Two rows with a wire between them."""
    reference: tuple[str, str] | None = None
    """Two rows with the bench's reference resistor between them."""
    reads: list[Literal["resistance", "voltage"]] = msgspec.field(default_factory=lambda: ["resistance"])
    """What may be read through the relays."""

    def __post_init__(self) -> None:
        for name in ("red", "black"):
            if getattr(self, name).count(ROW) != 1:
                raise Inconsistent(f"{name} {getattr(self, name)!r}", f"a channel's name with {ROW} in it, once")
        if self.red == self.black:
            raise Inconsistent(f"'{self.red}' for both buses", "a channel for each bus")
        if not self.rows:
            raise Inconsistent("'rows' with nothing in it", "the places that are wired, such as J111.1-37: 01-37")

    @property
    def pairs(self) -> list[tuple[str, tuple[str, str]]]:
        """The rows that lead to no place of the plant, with what is between them."""
        known = ((TOGETHER, self.together), (REFERENCE, self.reference))
        return [(name, rows) for name, rows in known if rows is not None]


class Routes(msgspec.Struct, frozen=True):
    """What a matrix can join, checked.

    Attributes:
        switch: the matrix.
        meter: the instrument on its buses.
        most: how many channels may be closed at once.
        reads: what may be read through it.
        red: place to the channel that puts it on the red bus.
        black: place to the channel that puts it on the black bus.
        pairs: :data:`TOGETHER` and :data:`REFERENCE` to the two channels, where they are wired.
        at: place to where the bench file says so.
    """

    switch: str
    meter: str
    most: int
    reads: frozenset[str]
    red: Mapping[str, str]
    black: Mapping[str, str]
    pairs: Mapping[str, tuple[str, str]] = msgspec.field(default_factory=dict)
    at: Mapping[str, tuple[str, Place]] = msgspec.field(default_factory=dict)

    def closing(self, red: Collection[str], black: Collection[str]) -> tuple[str, ...] | None:
        """The channels that put some places on the red bus and others on the black one.

        Args:
            red: places for the red lead, one at least; several are joined on the bus while it is closed.
            black: the same for the black lead.

        Returns:
            The channels; None where a place is not wired, a place is on both sides, or they are too many at once.
        """
        if not red or not black or set(red) & set(black):
            return None
        if not (all(place in self.red for place in red) and all(place in self.black for place in black)):
            return None
        channels = dict.fromkeys([*(self.red[place] for place in red), *(self.black[place] for place in black)])
        return tuple(channels) if len(channels) <= self.most else None

    def misplaced(self, terminals: Collection[str]) -> list[Problem]:
        """The wired places that are no terminals of the plant."""
        return [
            Problem(place, where, f"'{name}'", "a terminal of the plant such as 'J101.12'", near(name, terminals))
            for name, (where, place) in self.at.items()
            if name not in terminals
        ]


def routes_of(
    matrix: str,
    wired: Wired,
    at: str,
    others: Collection[str],
    profiles: Mapping[str, Profile],
    places: Places,
    problems: list[Problem],
) -> Routes | None:
    """Check one matrix's wiring.

    Args:
        matrix: its name.
        wired: how it is wired.
        at: where it stands in the bench file.
        others: names of the other instruments.
        profiles: instrument name to profile, of those that could be read.
        places: of the file.
        problems: what is wrong is added here.

    Returns:
        The routes; None where something is wrong.
    """
    before = len(problems)
    at = f"{at}.wired"

    def say(path: tuple[str, ...], found: str, expected: str, hint: str = "") -> None:
        problems.append(Problem(places.of(wired, *path), ".".join((at, *path)), found, expected, hint))

    if wired.meter not in others:
        say(("meter",), f"the instrument '{wired.meter}'", one_of(others), near(wired.meter, others))
    elif wired.meter in profiles and not ({"ohms", "volts"} & set(profiles[wired.meter].roles)):
        say(("meter",), f"'{wired.meter}', which reads neither ohms nor volts", "the meter on the matrix's buses")
    profile = profiles.get(matrix)
    if profile is None:
        return None
    switch = profile.switch
    if switch is None:
        say((), f"'wired' at '{matrix}', whose profile switches no channels", "it at a relay matrix only")
        return None
    red: dict[str, str] = {}
    black: dict[str, str] = {}
    by_row: dict[str, str] = {}
    marks: dict[str, tuple[str, Place]] = {}

    def take(path: tuple[str, ...], place: str, row: str) -> None:
        if place in red and place not in (TOGETHER, REFERENCE):
            say(path, f"the place '{place}' again", "each place on one row")
        elif row in by_row:
            say(path, f"the row '{row}' again", "a row for each place", f"'{by_row[row]}' is on it already")
        for template, side in ((wired.red, red), (wired.black, black)):
            channel = template.replace(ROW, row)
            if switch.channel.match(channel) is None:
                say(
                    path,
                    f"the channel '{channel}'",
                    f"a channel such as {switch.channel.text}",
                    _zeros(switch, template, row),
                )
            side[place] = channel
        by_row.setdefault(row, place)
        marks[place] = (".".join((at, *path)), places.of(wired, *path))

    for key, value in wired.rows.items():
        try:
            listed = list(side_by_side(key, value))
        except ValueError as error:
            say(("rows", key), f"'{key}: {value}'", str(error))
            continue
        for place, row in listed:
            take(("rows", key), place, row)
    pairs: dict[str, tuple[str, str]] = {}
    for name, (first, second) in wired.pairs:
        take((name,), name, first)
        channel = red[name]
        take((name,), name, second)
        pairs[name] = (channel, black[name])
        del red[name], black[name], marks[name]
    if len(problems) > before:
        return None
    return Routes(matrix, wired.meter, switch.most, frozenset(wired.reads), red, black, pairs, marks)


def _zeros(switch: Switch, template: str, row: str) -> str:
    """Most slips are a leading zero that is missing."""
    padded = (row.zfill(width) for width in (2, 3, 4))
    fits = next((text for text in padded if switch.channel.match(template.replace(ROW, text)) is not None), "")
    return f"did you mean row '{fits}'?" if fits else ""


def side_by_side(place: str, row: str) -> Iterable[tuple[str, str]]:
    """One place with its row, or a range of places with as many rows. Numbers keep the width that the first one has.

    Raises:
        ValueError: two ranges of different length, or a range beside a single one; the sentence says what is expected.
    """
    left, right = _RANGE.fullmatch(place), _RANGE.fullmatch(row)
    if right is None:
        if left is not None:
            raise ValueError("as many rows as places, such as J111.1-37: 01-37")
        return [(place, row)]
    if left is None:
        raise ValueError("as many places as rows, such as J111.1-37: 01-37")
    both = []
    for one in (left, right):
        first, last = one["first"], one["last"]
        numbers = range(int(first), int(last) + 1)
        both.append([one["before"] + str(number).zfill(len(first)) for number in numbers])
    if len(both[0]) != len(both[1]) or not both[0]:
        raise ValueError(f"two ranges of the same length; these are of {len(both[0])} and {len(both[1])}")
    return list(zip(*both, strict=True))
