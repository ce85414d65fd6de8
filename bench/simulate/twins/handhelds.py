"""Hand-held meters with a serial interface: they tell what their display shows, and a person turns their dial.

Three of a kind that differ in what they say and when:

* :class:`StreamingText` says a line of text each 0.4 s, without being asked;
* :class:`SevenSegment` sends the lit segments of its display, in binary frames, as often;
* :class:`PolledText` answers a single letter.

Each ranges by itself, unless a key holds it on a range; the first two tell that by a sign. What a meter shows has its
leads in it, a gain and an offset error that are drawn once for each range within its accuracy, a little noise, and the
rounding to its last digit. On ohms a voltage between the leads adds ``V / I`` with the range's test current ``I``: on a
live circuit it shows nonsense, as such meters do.

Written from what such meters send, and sharing no code with what reads them: the check sum is its own.
"""

from __future__ import annotations

import math
import random
import struct
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Final, Literal

from bench.roles import Reads
from bench.simulate.twins.paced import Paced
from bench.simulate.world.terminals import AMPS, HI, LO, MeterWorld

__all__ = ["DIAL_FOR", "Dial", "Handheld", "PolledText", "Scale", "SevenSegment", "Shown", "StreamingText", "scales"]

Dial = Literal["ohms", "volts dc", "volts ac", "amps dc"]
"""What the dial is on."""

DIAL_FOR: Final[dict[Reads, Dial]] = {
    "resistance": "ohms",
    "voltage": "volts dc",
    "ac-voltage": "volts ac",
    "current": "amps dc",
}
"""Where the dial belongs for what is to be read."""
PREFIXES: Final = ((1e-3, "m"), (1.0, ""), (1e3, "k"), (1e6, "M"))
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


@dataclass(frozen=True, slots=True)
class Scale:
    """One range of a display. Accuracy is ± (``percent`` of the reading + ``counts`` steps of the last digit).

    Attributes:
        step: one step of the last digit, in the base unit.
        full: the highest number of steps that it shows.
        percent: of the reading.
        counts: steps of the last digit, one at least, for the rounding.
    """

    step: float
    full: int
    percent: float
    counts: int

    @property
    def top(self) -> float:
        """The highest value, in the base unit."""
        return self.step * self.full

    @property
    def factor(self) -> float:
        """Of the unit that is shown: the smallest that takes three figures before the point."""
        return next(factor for factor, _ in PREFIXES if self.top < 1000.0 * factor)

    @property
    def prefix(self) -> str:
        """The letter of :attr:`factor`."""
        return dict(PREFIXES)[self.factor]

    @property
    def decimals(self) -> int:
        """Figures after the point."""
        return round(math.log10(self.factor / self.step))


def scales(step: float, ranges: int, full: int, percent: float, counts: int) -> tuple[Scale, ...]:
    """Ranges that follow each other by decades, from the lowest, whose last digit is ``step``."""
    return tuple(Scale(step * 10.0**place, full, percent, counts) for place in range(ranges))


@dataclass(frozen=True, slots=True)
class Shown:
    """What a display shows.

    Attributes:
        dial: what is measured.
        scale: the range that it is on.
        steps: of the last digit, without sign; None for over range.
        negative: whether a minus is lit.
    """

    dial: Dial
    scale: Scale
    steps: int | None
    negative: bool

    def figure(self, width: int) -> str:
        """The figure with its point, filled with zeros from the left; empty for over range."""
        if self.steps is None:
            return ""
        decimals = self.scale.decimals
        return f"{self.steps / 10**decimals:0{width}.{decimals}f}"


class Handheld(Paced):
    """What all three have in common: a dial, ranges, errors, and a display.

    Args:
        world: what the leads are on.
        seed: for errors and noise; the same seed gives the same readings in the same order.
        lead_ohms: both test leads together.
        error_scale: stretches the drawn errors: 1 keeps them within the accuracy, 0 leaves the rounding alone.
        dial: where it was left.
        now: when it was switched on.
    """

    BAUD: ClassVar[float]
    SCALES: ClassVar[Mapping[Dial, tuple[Scale, ...]]]

    def __init__(
        self,
        world: MeterWorld,
        *,
        seed: int = 0,
        lead_ohms: float = 0.2,
        error_scale: float = 1.0,
        dial: Dial = "volts dc",
        now: float = 0.0,
    ) -> None:
        super().__init__(self.BAUD, now)
        self.world = world
        self.lead_ohms = lead_ohms
        self.function: Dial = dial
        """What the dial is on."""
        self.marks = ""
        """``hold`` while the display is frozen, ``battery`` while that is nearly empty; both may stand in it."""
        self.held_on: int | None = None
        """The place among its ranges that a key holds it on; None: it ranges by itself."""
        self._error_scale = error_scale
        drawn = random.Random(f"errors {seed}")
        self._errors: dict[tuple[Dial, Scale], tuple[float, float]] = {
            (dial_, scale): (
                scale.percent / 100 * drawn.uniform(-1.0, 1.0),
                # the last step of those that are allowed is left to noise and rounding
                (scale.counts - 1) * scale.step * drawn.uniform(-1.0, 1.0),
            )
            for dial_, found in self.SCALES.items()
            for scale in found
        }
        self._noise = random.Random(f"noise {seed}")
        self._display: Shown | None = None

    def turn(self, reads: Reads) -> None:
        """A hand turns the dial to what is to be read.

        Raises:
            ValueError: it has no such position.
        """
        if reads not in DIAL_FOR:
            raise ValueError(f"found '{reads}', expected what the dial has: {', '.join(DIAL_FOR)}")
        self.function = DIAL_FOR[reads]

    def said(self, shown: Shown) -> bytes:
        """What is sent for a display."""
        raise NotImplementedError

    def look(self, time: float) -> Shown:
        """What the display shows for what is measured at a moment."""
        if self._display is None or "hold" not in self.marks:
            self._display = self._measured(time)
        return self._display

    def _measured(self, time: float) -> Shown:
        dial = self.function
        found, between = self._at_sockets(dial, time)
        ranges = self.SCALES[dial]
        if self.held_on is not None:
            ranges = (ranges[min(self.held_on, len(ranges) - 1)],)
        for scale in ranges:
            value = found + between * scale.top / OHMS_VOLT
            if not math.isfinite(value):
                continue
            gain, offset = self._errors[dial, scale]
            noise = max(-0.5, min(0.5, self._noise.gauss(0.0, NOISE_COUNTS))) * scale.step
            value += self._error_scale * (gain * value + offset + noise)
            steps = round(value / scale.step)
            if abs(steps) <= scale.full:
                return Shown(dial, scale, abs(steps), steps < 0)
        return Shown(dial, ranges[-1], None, found < 0)

    def _at_sockets(self, dial: Dial, time: float) -> tuple[float, float]:
        """What is measured, in the base unit: infinity for open leads on ohms. Then what disturbs ohms, in volts."""
        world = self.world
        if dial == "ohms":
            volts = world.voltage(HI, LO, time, math.inf)
            return world.resistance(HI, LO, time) + self.lead_ohms, 0.0 if math.isnan(volts) else volts
        if dial == "amps dc":
            return world.current(AMPS, LO, time, SHUNT_OHM + self.lead_ohms), 0.0
        volts = (world.voltage if dial == "volts dc" else world.ac_voltage)(HI, LO, time, INPUT_OHM)
        return 0.0 if math.isnan(volts) else volts, 0.0


class _Streaming(Handheld):
    """Says a reading each 0.4 s; each is of the moment when the one before it was said."""

    PERIOD: ClassVar[float] = 0.4

    def __init__(
        self,
        world: MeterWorld,
        *,
        seed: int = 0,
        lead_ohms: float = 0.2,
        error_scale: float = 1.0,
        dial: Dial = "volts dc",
        now: float = 0.0,
    ) -> None:
        super().__init__(world, seed=seed, lead_ohms=lead_ohms, error_scale=error_scale, dial=dial, now=now)
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

    BAUD = 2400.0
    SCALES: ClassVar[Mapping[Dial, tuple[Scale, ...]]] = {
        "ohms": (
            *scales(0.1, 1, 6000, 0.9, 5),
            *scales(1.0, 3, 6000, 0.9, 3),
            *scales(1e3, 1, 6000, 1.2, 3),
            *scales(10e3, 1, 6000, 2.5, 5),
        ),
        "volts dc": (*scales(1e-4, 1, 6000, 0.5, 5), *scales(1e-3, 3, 6000, 0.5, 3)),
        "volts ac": scales(1e-3, 3, 6000, 1.0, 5),
        "amps dc": (*scales(1e-4, 1, 6000, 1.0, 5), *scales(1e-3, 1, 6000, 1.2, 5), *scales(1e-2, 1, 1000, 1.2, 5)),
    }
    WORDS: ClassVar[Mapping[Dial, tuple[str, str]]] = {
        "ohms": ("RES", "Ohm"),
        "volts dc": ("VDC", "V"),
        "volts ac": ("VAC", "V"),
        "amps dc": ("ADC", "A"),
    }

    def said(self, shown: Shown) -> bytes:
        """One line."""
        word, unit = self.WORDS[shown.dial]
        sign, figure = "-" if shown.negative else "+", shown.figure(6) or "OL"
        marks = (
            ("A" if self.held_on is None else "-")
            + ("H" if "hold" in self.marks else "-")
            + ("B" if "battery" in self.marks else "-")
        )
        return f"{word} {sign}{figure:>6} {shown.scale.prefix + unit:<5}{marks}\r\n".encode("ascii")


class SevenSegment(_Streaming):
    """A 10000-count meter that sends ten bytes: start, length, function and prefix, signs, four digits, check sum."""

    BAUD = 2400.0
    SCALES: ClassVar[Mapping[Dial, tuple[Scale, ...]]] = {
        "ohms": (
            *scales(0.1, 1, 9999, 0.5, 5),
            *scales(1.0, 3, 9999, 0.5, 3),
            *scales(1e3, 1, 9999, 1.0, 3),
            *scales(10e3, 1, 9999, 2.0, 5),
        ),
        "volts dc": (*scales(1e-4, 1, 9999, 0.3, 5), *scales(1e-3, 3, 9999, 0.3, 3)),
        "volts ac": scales(1e-3, 3, 9999, 1.0, 5),
        "amps dc": scales(1e-4, 2, 9999, 1.0, 5),
    }
    CODES: ClassVar[Mapping[Dial, int]] = {"ohms": 0x00, "volts dc": 0x10, "volts ac": 0x20, "amps dc": 0x30}
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
        code = self.CODES[shown.dial] | self.PREFIX_CODES[shown.scale.prefix]
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


class PolledText(Handheld):
    """A 4000-count meter that answers the letter D with fourteen characters after 0.2 s: ``R 0123.40    \\r``."""

    BAUD = 1200.0
    TAKES: ClassVar[float] = 0.2
    SCALES: ClassVar[Mapping[Dial, tuple[Scale, ...]]] = {
        "ohms": (*scales(0.1, 4, 4000, 1.0, 4), *scales(1e3, 1, 4000, 1.5, 4), *scales(10e3, 1, 4000, 3.0, 5)),
        "volts dc": scales(1e-4, 4, 4000, 0.7, 4),
        "volts ac": scales(1e-3, 3, 4000, 1.5, 5),
        "amps dc": (*scales(1e-4, 1, 4000, 1.5, 5), *scales(1e-2, 1, 1000, 2.0, 5)),
    }
    LETTERS: ClassVar[Mapping[Dial, str]] = {"ohms": "R", "volts dc": "V", "volts ac": "W", "amps dc": "A"}

    def __init__(
        self,
        world: MeterWorld,
        *,
        seed: int = 0,
        lead_ohms: float = 0.2,
        error_scale: float = 1.0,
        dial: Dial = "volts dc",
        now: float = 0.0,
    ) -> None:
        super().__init__(world, seed=seed, lead_ohms=lead_ohms, error_scale=error_scale, dial=dial, now=now)
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
        return f"{self.LETTERS[shown.dial]}{sign}{figure:>7} {shown.scale.prefix or ' '}{marks}\r".encode("ascii")
