"""The parts of a profile that say what an instrument measures, on which ranges and how accurately."""

from __future__ import annotations

import math
from typing import Literal

import msgspec

from bench.files import Inconsistent
from bench.instruments.profile.line import Register, seconds
from bench.instruments.profile.template import holes, plain_number
from bench.instruments.wire_text import Pattern
from bench.quantity import Amount, Current, Duration, QuantityError, Ratio, Temperature
from bench.roles import ROLE_OF, UNIT_OF, Reads, Role


def scale_of(unit: str, reads: Reads) -> float:
    """The factor from a unit such as ``kohm`` to the base unit of what is read.

    Raises:
        Inconsistent: not a unit of that dimension.
    """
    try:
        one = Amount.parse(f"1 {unit}")
    except QuantityError as error:
        raise Inconsistent(f"the unit {unit!r}", f"a unit of {reads} such as {UNIT_OF[reads]}") from error
    if one.unit != UNIT_OF[reads]:
        raise Inconsistent(f"the unit {unit!r}", f"a unit of {reads}, in {UNIT_OF[reads]} or a multiple")
    return one.value


class Check(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """A question whose answer must match, and whose group ``value`` must lie where it is said to."""

    ask: str
    reply: Pattern
    equals: str = ""
    """The setting that ``value`` must equal, or ``range`` for the range that was locked."""
    within: Ratio = msgspec.field(default_factory=lambda: Ratio(0.001))
    """How far ``value`` may be from it."""
    at_most: float | None = None
    """The largest magnitude of ``value``."""
    at_least: float | None = None
    unit: str = ""
    """Unit of ``value``, for people who watch it."""
    text: str = ""
    """What it means in words, for people: ``the output is off``."""

    def __post_init__(self) -> None:
        needs = bool(self.equals) or self.at_most is not None or self.at_least is not None
        if needs and "value" not in self.reply.groups:
            raise Inconsistent("a check of a value without the group 'value' in its reply", "(?P<value>...)")


class Choice(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """One value that a setting can have."""

    __shorthand__ = "value"

    value: str
    takes: Duration | None = None
    """How long a reading takes with it."""
    coarser: float = 1.0
    """How many times coarser the last digit is than the range's resolution says."""


class Setting(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """A placeholder besides ``range``: what it may be, and what it is where nobody says."""

    name: str
    unit: str = ""
    """Base unit of its number, for people; empty for words and plain numbers."""
    default: str = ""
    """Empty: it must be given."""
    choices: list[Choice] = []
    least: float | None = None
    most: float | None = None
    digits: int = 6
    """Significant digits that are sent of a number."""

    def __post_init__(self) -> None:
        bounded = self.least is not None and self.most is not None
        if bool(self.choices) == bounded:
            raise Inconsistent(f"the setting '{self.name}'", "'choices', or both 'least' and 'most'")
        if self.default:
            try:
                self.text_for(self.default)
            except ValueError as error:
                raise Inconsistent(f"the default {self.default!r} of '{self.name}'", str(error)) from error

    def text_for(self, wanted: str | float) -> str:
        """What is sent for a wanted value.

        Raises:
            ValueError: it may not have that value; the text says which it may.
        """
        number = _as_number(wanted)
        for choice in self.choices:
            if str(wanted) == choice.value or (number is not None and number == _as_number(choice.value)):
                return choice.value
        if self.choices:
            raise ValueError(f"one of {', '.join(choice.value for choice in self.choices)}")
        low, high = self.least, self.most
        assert low is not None and high is not None
        if number is None or not low <= number <= high:
            raise ValueError(f"{low:g} to {high:g} {self.unit}".rstrip())
        return plain_number(number, self.digits)

    def coarser(self, text: str) -> float:
        """How much coarser the last digit is with the value that is sent as ``text``."""
        return next((choice.coarser for choice in self.choices if choice.value == text), 1.0)

    def takes(self, text: str) -> float | None:
        """How long a reading takes with the value that is sent as ``text``; None where the profile does not say."""
        for choice in self.choices:
            if choice.value == text and choice.takes is not None:
                return choice.takes.value
        return None


def _as_number(value: str | float) -> float | None:
    try:
        number = float(value)
    except ValueError:
        return None
    return number if math.isfinite(number) else None


class Accuracy(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """One line of the data sheet: ± (of reading + of range + counts), how long after a calibration and where."""

    of_reading: Ratio = msgspec.field(default_factory=lambda: Ratio(0.0))
    of_range: Ratio = msgspec.field(default_factory=lambda: Ratio(0.0))
    counts: float = 0.0
    """Steps of the range's resolution."""
    good_for: Duration = seconds(365 * 86400.0)
    """Calibration interval that the line holds for."""
    cold: Temperature = msgspec.field(default_factory=lambda: Temperature(18.0))
    hot: Temperature = msgspec.field(default_factory=lambda: Temperature(28.0))
    of_reading_per_k: Ratio | None = None
    """Added for each kelvin outside ``cold`` to ``hot``."""
    of_range_per_k: Ratio | None = None
    part_per_k: float | None = None
    """Part of the whole allowance that is added for each kelvin, as handheld meters state it."""
    lowest: Amount | None = None
    """The smallest magnitude that the line holds for."""
    spread: Literal["limits", "normal 95 %", "normal 99 %"] = "limits"

    def __post_init__(self) -> None:
        if self.of_reading.value == self.of_range.value == self.counts == 0:
            raise Inconsistent("an accuracy of nothing at all", "'of-reading', 'of-range' or 'counts'")
        if min(self.of_reading.value, self.of_range.value, self.counts) < 0:
            raise Inconsistent("a negative accuracy", "figures of zero or more")
        if self.cold.value >= self.hot.value:
            raise Inconsistent(f"cold {self.cold} and hot {self.hot}", "a band from cold to hot")


class Range(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """One range of a function."""

    range: Amount
    """Its nominal value: full scale."""
    send: str = ""
    """What ``{range}`` stands for; by default the nominal value in the base unit, as a plain number."""
    mark: str = ""
    """How a reply names this range in its group ``range``."""
    highest: Amount | None = None
    """The highest value that it shows; full scale unless it ranges over."""
    resolution: Amount | None = None
    """One step of the last digit."""
    shown_with: Literal["", "G", "M", "k", "none", "m", "u"] = ""
    """The unit's prefix on the display, for one that a person reads; the usual one unless it is said: a range of 2 Mohm
    that shows 1161 has k."""
    test_current: Current | None = None
    """Current through the part, for resistance."""
    accuracy: list[Accuracy] = []

    def __post_init__(self) -> None:
        if self.range.value <= 0:
            raise Inconsistent(f"range {self.range}", "full scale above zero")
        for name, amount in (("highest", self.highest), ("resolution", self.resolution)):
            if amount is not None and (amount.unit != self.range.unit or amount.value <= 0):
                raise Inconsistent(f"{name} {amount}", f"a value above zero in {self.range.unit}")
        if self.resolution is None and any(line.counts for line in self.accuracy):
            raise Inconsistent("counts without 'resolution'", "'resolution': the size of one count")

    @property
    def top(self) -> float:
        """The highest value that it shows, in the base unit."""
        return self.range.value if self.highest is None else self.highest.value

    @property
    def sent(self) -> str:
        """What ``{range}`` stands for."""
        return self.send or plain_number(self.range.value)


class Says(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """One thing that an instrument without figures shows: a lamp, a tone. A person types its word."""

    word: str
    """``live``, ``dark``, ``beeps``, ``silent``."""
    at_most: Amount | None = None
    """What it reads is at most this, whichever sign it has."""
    at_least: Amount | None = None
    """What it reads is at least this, whichever sign it has."""

    def __post_init__(self) -> None:
        if not self.word.isalpha() or not 2 <= len(self.word) <= 16:
            raise Inconsistent(f"the word {self.word!r}", "one word of 2 to 16 letters")
        if (self.at_most is None) == (self.at_least is None):
            raise Inconsistent(f"the word '{self.word}'", "'at-most' or 'at-least': what it means")
        bound = self.at_most or self.at_least
        if bound is not None and bound.value <= 0:
            raise Inconsistent(f"{bound} of '{self.word}'", "a value above zero")


class Trace(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """The curve behind a distance, as a cable-fault reflectometer gives it: what comes back, by the way there.

    It is kept with the reading, and the reading is held against it: the first echo must stand where the figure says.
    """

    ask: str
    """The question for it, asked after the reading."""
    reply: Pattern
    """With the group ``points``: figures with commas between, the nearest first; above zero where the echo stands the
    same way up as the pulse, as at an open end, and below where it is turned over, as at a short."""
    step: Amount
    """Way between two points."""
    scale: float = 1.0
    """A figure times this is the part of the pulse that comes back, between -1 and 1."""
    blind: Amount | None = None
    """Within this distance an echo is the pulse itself and the instrument's own lead."""
    least: Ratio = msgspec.field(default_factory=lambda: Ratio(0.1))
    """A smaller echo is none: joints and noise."""

    def __post_init__(self) -> None:
        if "points" not in self.reply.groups:
            raise Inconsistent("a curve's reply without the group 'points'", "(?P<points>...)")
        for name, amount in (("step", self.step), ("blind", self.blind)):
            if amount is not None and (amount.unit != "m" or amount.value <= 0):
                raise Inconsistent(f"{name} {amount}", "a way above zero, in metres")
        if not 0 < self.least.value < 1:
            raise Inconsistent(f"least {self.least}", "above 0 % and below 100 %")


class Function(msgspec.Struct, frozen=True, kw_only=True, rename="kebab", omit_defaults=True):
    """One thing that the instrument measures."""

    name: str
    """The same in accuracy rows and readings: ``ohms 4w``."""
    reads: Reads
    wires: Literal[2, 4] = 2
    unit: str = ""
    """Unit of a bare number in replies; the base unit by default."""
    units: dict[str, str] = {}
    """How replies name units in their group ``unit``, and what each is: ``kOhm: kohm``."""
    marks: list[str] = []
    """How replies name this function in their group ``function``; any of these will do."""
    dial: str = ""
    """What the operator does at the instrument: select it where the wire cannot, or put a lead elsewhere."""
    configure: list[str] = []
    automatic: list[str] = []
    """Commands for automatic ranging."""
    lock: list[str] = []
    """Commands that lock it to ``{range}``."""
    confirm: list[Check] = []
    """Asked after configuring and after every reading: is it still on this function and range?"""
    settings: list[Setting] = []
    ranges: list[Range] = []
    says: list[Says] = []
    """What it shows in words, of an instrument that a person reads and that has no figures."""
    ranges_itself: bool = False
    """It always ranges by itself over all its ranges, and no key holds it on one: over range means beyond the highest.
    Where this is not said, over range of a range that nobody knows proves nothing above the lowest."""
    read: str = ""
    """The command that takes a reading; the dialogue's own by default."""
    register: Register | None = None
    reply: Pattern | None = None
    begin: list[str] = []
    """Sent before a reading, such as the start of an insulation test."""
    ready: list[Check] = []
    """Asked after ``begin`` and the wait, again and again until all hold, for as long as the function ``takes``."""
    running: list[Check] = []
    """Asked after ``begin`` and the wait, right before the reading: is the test still running?"""
    end: list[str] = []
    """Sent after a reading, whether it succeeded or not."""
    trace: Trace | None = None
    """The curve that it reads a distance from."""
    energises: bool = False
    """It puts a dangerous voltage or a strong current on the probes while it reads."""
    repeatable: bool = True
    """A reading that went wrong may simply be taken again."""
    settle: Duration = seconds(0.0)
    """Wait after configuring."""
    clamp: bool = False
    """It closes round a conductor: nothing is opened for it, and no lead touches anything."""
    takes: Duration = seconds(1.0)
    """How long a reading takes at most, at default settings."""
    renews: Duration = seconds(0.0)
    """How often it has a new value, where it may be asked more often than that: what it says in between is the same
    reading once more. Count with a clock how often its figure changes on a load that moves. 0: each reading is new."""

    def __post_init__(self) -> None:
        if self.renews.value < 0:
            raise Inconsistent(f"renews {self.renews}", "0 s or more")
        self._check_figures()
        self._check_commands()
        if self.trace is not None and self.reads != "distance":
            raise Inconsistent(f"'trace' of {self.reads}", "it with 'distance' only")
        if self.clamp and self.reads not in ("current", "ac-current"):
            raise Inconsistent(f"'clamp' of '{self.name}', which reads {self.reads}", "it for current only")
        if self.energises and self.repeatable:
            raise Inconsistent(f"'{self.name}' energises and may be repeated", "'repeatable: false'")
        if self.energises and not self.end:
            raise Inconsistent(f"'{self.name}' energises and has no 'end'", "'end': the commands that stop it")

    def _check_figures(self) -> None:
        """Units, ranges and words fit what is read."""
        for unit in [self.unit or UNIT_OF[self.reads], *self.units.values()]:
            scale_of(unit, self.reads)
        for part in self.ranges:
            if part.range.unit != UNIT_OF[self.reads]:
                raise Inconsistent(f"range {part.range} of '{self.name}'", f"a range in {UNIT_OF[self.reads]}")
        words = [one.word.casefold() for one in self.says]
        if len(set(words)) != len(words) or (words and self.ranges):
            raise Inconsistent(f"'says' of '{self.name}'", "each word once, and no 'ranges' beside them")
        for one in self.says:
            bound = one.at_most or one.at_least
            if bound is not None and bound.unit != UNIT_OF[self.reads]:
                raise Inconsistent(f"{bound} of '{one.word}'", f"a bound in {UNIT_OF[self.reads]}")
        tops = [part.range.value for part in self.ranges]
        if tops != sorted(set(tops)):
            raise Inconsistent(f"ranges of '{self.name}' out of order or repeated", "each range once, smallest first")
        if self.lock and not self.ranges:
            raise Inconsistent(f"'lock' of '{self.name}' without ranges", "the ranges it can be locked to")
        if self.ranges_itself and self.lock:
            raise Inconsistent(f"'{self.name}' always ranges by itself and has 'lock'", "one of the two")

    def _check_commands(self) -> None:
        """Commands name only what is known when they are sent."""
        known = {"range", *(setting.name for setting in self.settings)}
        asked = [check.ask for check in (*self.confirm, *self.ready, *self.running)]
        for command in (*self.configure, *self.automatic, *self.lock, *self.begin, *self.end, self.read, *asked):
            unknown = holes(command) - known
            if unknown:
                raise Inconsistent(f"{{{min(unknown)}}} in {command!r}", f"one of {', '.join(sorted(known))}")
        for command in (*self.configure, *self.automatic, *self.begin, *self.end, self.read):
            if "range" in holes(command):
                raise Inconsistent(f"{{range}} in {command!r}", "{range} in 'lock' only")
        for check in (*self.confirm, *self.ready, *self.running):
            if check.equals and check.equals not in known:
                raise Inconsistent(f"equals '{check.equals}'", f"one of {', '.join(sorted(known))}")

    @property
    def role(self) -> Role:
        """The role that it fills."""
        return ROLE_OF[self.reads]

    @property
    def base_unit(self) -> str:
        """The base unit of its readings."""
        return UNIT_OF[self.reads]

    @property
    def factor(self) -> float:
        """From a bare number of a reply to the base unit."""
        return scale_of(self.unit or self.base_unit, self.reads)

    def unit_factor(self, text: str) -> float | None:
        """From a number with this unit in its reply to the base unit; None for a unit that the function lacks."""
        unit = self.units.get(text)
        return None if unit is None else scale_of(unit, self.reads)

    def range_for(self, value: float) -> Range | None:
        """The smallest range that shows a value; None where none does."""
        return next((part for part in self.ranges if abs(value) <= part.top * (1 + 1e-9)), None)
