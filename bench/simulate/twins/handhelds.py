"""Hand-held meters with a serial interface: they tell what their display shows, and a person turns their dial.

Three of a kind that differ in what they say and when:

* :class:`StreamingText` says a line of text each 0.4 s, without being asked;
* :class:`SevenSegment` sends the lit segments of its display, in binary frames, as often;
* :class:`PolledText` answers a single letter.

Ranges, last digits, accuracy, and the words for function and unit are those of the profile that it answers to; the
shape of a line and of a frame is its own, so the check sum and the pictures of the figures are too. Each ranges by
itself, unless a key holds it on a range; the first two tell that by a sign. What a meter shows has its leads in it, a
gain and an offset error that are drawn once for each range within its accuracy, a little noise, and the rounding to its
last digit. On ohms a voltage between the leads adds ``V / I`` with the range's test current ``I``: on a live circuit it
shows nonsense, as such meters do.
"""

from __future__ import annotations

import math
import random
import struct
from collections import deque
from collections.abc import Mapping
from typing import Any, ClassVar, Final

import msgspec

from bench.instruments.profile.functions import Function, scale_of
from bench.instruments.profile.profile import Profile
from bench.roles import Reads
from bench.simulate.twins.figures import Scale, drawn_errors, scales, shipped_profile
from bench.simulate.twins.paced import Paced
from bench.simulate.world.terminals import AMPS, HI, LO, MeterWorld

__all__ = ["HandheldTwin", "PolledText", "SevenSegment", "Shown", "StreamingText"]

PREFIXES: Final = {1e-3: "m", 1.0: "", 1e3: "k", 1e6: "M"}
OHMS_VOLT: Final = 0.4
"""Across the leads at the end of an ohms range (common practice, no source)."""
INPUT_OHM: Final = 10e6
"""Of the voltage functions (common practice, no source)."""
SHUNT_OHM: Final = 0.1
"""Of the ampere socket (our own figure)."""
NOISE_COUNTS: Final = 0.15
"""Standard deviation of a reading, in steps of the last digit (our own figure)."""
MOST_BEHIND_S: Final = 60.0
"""A meter that talks by itself says no more than this of what it would have said while time jumped."""


class Shown(msgspec.Struct, frozen=True):
    """What a display shows.

    Attributes:
        function: what is measured, as the profile has it.
        scale: the range that it is on.
        steps: of the last digit, without sign; None for over range.
        negative: whether a minus is lit.
    """

    function: Function
    scale: Scale
    steps: int | None
    negative: bool

    @property
    def factor(self) -> float:
        """Of the unit that is shown: the smallest that takes three figures before the point."""
        return next(factor for factor in PREFIXES if self.scale.top < 1000.0 * factor)

    @property
    def unit(self) -> str:
        """How the profile names that unit in replies."""
        return next(
            text
            for text, unit in self.function.units.items()
            if math.isclose(scale_of(unit, self.function.reads), self.factor)
        )

    def figure(self, width: int) -> str:
        """The figure with its point, filled with zeros from the left; empty for over range."""
        if self.steps is None:
            return ""
        decimals = round(math.log10(self.factor / self.scale.step))
        return f"{self.steps / 10**decimals:0{width}.{decimals}f}"


class HandheldTwin(Paced):
    """What all three have in common: a dial, ranges, errors, and a display.

    Args:
        world: what the leads are on.
        seed: for errors and noise; the same seed gives the same readings in the same order.
        profile: what it answers to; by default the one that comes with the program.
        lead_ohms: both test leads together.
        error_scale: stretches the drawn errors: 1 keeps them within the accuracy, 0 leaves the rounding alone.
        dial: what it was left on.
        now: when it was switched on.
    """

    PLAYS: ClassVar[str]

    def __init__(
        self,
        world: MeterWorld,
        *,
        seed: int = 0,
        profile: Profile | None = None,
        lead_ohms: float = 0.2,
        error_scale: float = 1.0,
        dial: Reads = "voltage",
        now: float = 0.0,
    ) -> None:
        told = profile or shipped_profile(self.PLAYS)
        super().__init__(told.line.character_time, now)
        self.world = world
        self.lead_ohms = lead_ohms
        self.dial: Reads = dial
        """What the dial is on."""
        self.marks = ""
        """``hold`` while the display is frozen, ``battery`` while that is nearly empty; both may stand in it."""
        self.held_on: int | None = None
        """The place among its ranges that a key holds it on; None: it ranges by itself."""
        self._functions: dict[Reads, Function] = {one.reads: one for one in told.functions}
        self._ranges = {reads: scales(one) for reads, one in self._functions.items()}
        self._error_scale = error_scale
        draw = random.Random(f"errors {seed}")
        # of the steps that are allowed the last is left to noise and rounding
        self._errors = {reads: drawn_errors(ranges, draw, spare_steps=1) for reads, ranges in self._ranges.items()}
        self._noise = random.Random(f"noise {seed}")
        self._display: Shown | None = None

    def turn(self, reads: Reads) -> None:
        """A hand turns the dial to what is to be read.

        Raises:
            ValueError: it has no such position.
        """
        if reads not in self._functions:
            raise ValueError(f"found '{reads}', expected what the dial has: {', '.join(self._functions)}")
        self.dial = reads

    def said(self, shown: Shown) -> bytes:
        """What is sent for a display."""
        raise NotImplementedError

    def look(self, time: float) -> Shown:
        """What the display shows for what is measured at a moment."""
        if self._display is None or "hold" not in self.marks:
            self._display = self._measured(time)
        return self._display

    def _measured(self, time: float) -> Shown:
        function, ranges, errors = self._functions[self.dial], self._ranges[self.dial], self._errors[self.dial]
        found, between = self._at_sockets(time)
        places = range(len(ranges)) if self.held_on is None else [min(self.held_on, len(ranges) - 1)]
        for place in places:
            scale, (gain, offset) = ranges[place], errors[place]
            value = found + between * scale.top / OHMS_VOLT
            if not math.isfinite(value):
                continue
            noise = max(-0.5, min(0.5, self._noise.gauss(0.0, NOISE_COUNTS))) * scale.step
            value += self._error_scale * (gain * value + offset + noise)
            steps = round(value / scale.step)
            if abs(steps) <= round(scale.top / scale.step):
                return Shown(function, scale, abs(steps), steps < 0)
        return Shown(function, ranges[places[-1]], None, found < 0)

    def _at_sockets(self, time: float) -> tuple[float, float]:
        """What is measured, in the base unit: infinity for open leads on ohms. Then what disturbs ohms, in volts."""
        world = self.world
        if self.dial == "resistance":
            volts = world.voltage(HI, LO, time, math.inf)
            return world.resistance(HI, LO, time) + self.lead_ohms, 0.0 if math.isnan(volts) else volts
        if self.dial == "current":
            return world.current(AMPS, LO, time, SHUNT_OHM + self.lead_ohms), 0.0
        volts = (world.voltage if self.dial == "voltage" else world.ac_voltage)(HI, LO, time, INPUT_OHM)
        return 0.0 if math.isnan(volts) else volts, 0.0


class _Streaming(HandheldTwin):
    """Says a reading each 0.4 s; each is of the moment when the one before it was said."""

    PERIOD: ClassVar[float] = 0.4

    def __init__(self, world: MeterWorld, *, now: float = 0.0, **options: Any) -> None:
        super().__init__(world, now=now, **options)
        self._ready = self.look(now)
        self._next = now + 0.3 * self.PERIOD

    def next_step(self) -> float:
        """When it says the next reading."""
        return self._next

    def step(self, now: float) -> None:
        """Say the readings that are due, and take the next."""
        behind = now - self._next - MOST_BEHIND_S
        if behind > 0:
            self._next += math.ceil(behind / self.PERIOD) * self.PERIOD
        while self._next <= now:
            self.put(self.said(self._ready), self._next)
            self._ready = self.look(self._next)
            self._next += self.PERIOD


class StreamingText(_Streaming):
    """A 6000-count meter that says lines of twenty characters: ``RES +0123.4 Ohm  A--``."""

    PLAYS = "streaming-text-meter"

    def said(self, shown: Shown) -> bytes:
        """One line."""
        word = shown.function.marks[0]
        sign, figure = "-" if shown.negative else "+", shown.figure(6) or "OL"
        marks = (
            ("A" if self.held_on is None else "-")
            + ("H" if "hold" in self.marks else "-")
            + ("B" if "battery" in self.marks else "-")
        )
        return f"{word} {sign}{figure:>6} {shown.unit:<5}{marks}\r\n".encode("ascii")


class SevenSegment(_Streaming):
    """A 10000-count meter that sends ten bytes: start, length, function and prefix, signs, four digits, check sum."""

    PLAYS = "seven-segment-frames"
    CODES: ClassVar[Mapping[Reads, int]] = {
        "resistance": 0x00,
        "voltage": 0x10,
        "ac-voltage": 0x20,
        "current": 0x30,
    }
    PREFIX_CODES: ClassVar[Mapping[str, int]] = {"": 0, "k": 1, "M": 2, "m": 3}
    # lit segments, from the picture of a display: a top, b and c right, d bottom, e and f left, g middle
    LIT: ClassVar[Mapping[str, str]] = {
        "0": "abcdef", "1": "bc", "2": "abdeg", "3": "abcdg", "4": "bcfg", "5": "acdfg", "6": "acdefg", "7": "abc",
        "8": "abcdefg", "9": "abcdfg", "L": "def", " ": "",
    }  # fmt: skip
    POINT: ClassVar[int] = 0x80

    def said(self, shown: Shown) -> bytes:
        """One frame."""
        signs = (0x01 if shown.negative else 0) | (0x02 if "hold" in self.marks else 0)
        signs |= (0x04 if "battery" in self.marks else 0) | (0x08 if self.held_on is None else 0)
        code = self.CODES[shown.function.reads] | self.PREFIX_CODES[PREFIXES[shown.factor]]
        frame = bytes([0xA5, 10, code, signs, *self._lit(shown.figure(5) or " 0L ")])
        total = 0
        for byte in frame:
            total = (total + byte) % 65536
        return frame + struct.pack("<H", total)

    def _lit(self, figure: str) -> list[int]:
        lit: list[int] = []
        for character in figure:
            if character == ".":
                lit[-1] |= self.POINT
            else:
                lit.append(sum(1 << "abcdefg".index(segment) for segment in self.LIT[character]))
        return lit


class PolledText(HandheldTwin):
    """A 4000-count meter that answers the letter D with fourteen characters after 0.2 s: ``R 00123.4    \\r``."""

    PLAYS = "polled-text-meter"
    TAKES: ClassVar[float] = 0.2

    def __init__(self, world: MeterWorld, **options: Any) -> None:
        super().__init__(world, **options)
        self._asked: deque[float] = deque()

    def receive(self, data: bytes, now: float) -> None:
        """Be asked; any other letter means nothing to it."""
        self._asked.extend(now + self.TAKES for byte in data if byte == ord("D"))

    def next_step(self) -> float | None:
        """When it answers."""
        return self._asked[0] if self._asked else None

    def step(self, now: float) -> None:
        """Answer what is due, with a reading of that moment."""
        while self._asked and self._asked[0] <= now:
            at = self._asked.popleft()
            self.put(self.said(self.look(at)), at)

    def said(self, shown: Shown) -> bytes:
        """One answer."""
        sign, figure = "-" if shown.negative else " ", shown.figure(7) or "OVER"
        marks = ("H" if "hold" in self.marks else " ") + ("L" if "battery" in self.marks else " ")
        return f"{shown.function.marks[0]}{sign}{figure:>7} {shown.unit or ' '}{marks}\r".encode("ascii")
