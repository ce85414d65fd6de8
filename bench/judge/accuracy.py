"""What a meter promises: ±(% of reading + % of range + counts), by function, range, calibration age and temperature.

A row is one line of a meter's data sheet. A table picks the row that applies and says so when none does: too old a
calibration, too hot a room, a reading above the range.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import Final

import msgspec

from bench.judge.judge_error import JudgeError, base_unit, number, one_of
from bench.quantity import engineering

SPREADS: Final = ("limits", "normal 95 %", "normal 99 %")
"""How a data sheet's figure is meant: hard limits (a rectangular distribution), or a coverage of 95 % or 99 %."""
_MOST_PICKED: Final = 1000
"""Picked rows that a table keeps: a few for each day on which it was read with."""


class AccuracyRow(msgspec.Struct, frozen=True, dict=True):
    """One line of a meter's accuracy table.

    Attributes:
        function: what is measured, such as ``ohms 4w``; free text, the same in a request.
        unit: base unit of the reading.
        range_top: the range's nominal value, which ``percent_of_range`` refers to.
        percent_of_reading: in percent.
        percent_of_range: in percent.
        counts: in steps of the last digit.
        resolution: one step of the last digit, in the unit.
        good_for_days: calibration interval that the row holds for.
        highest: highest value the range can show; the range's top unless the meter ranges over.
        lowest: smallest magnitude that the row holds for.
        cold_c: lower end of the temperature band in °C.
        hot_c: upper end of the temperature band in °C.
        drift_percent_of_reading_per_k: added for each kelvin outside the band; None where the sheet says nothing.
        drift_percent_of_range_per_k: added for each kelvin outside the band.
        drift_part_per_k: part of the whole accuracy added for each kelvin outside the band, a handheld meter's way.
        test_current_a: current through the part on this range, for resistance; None where unknown or not applicable.
        spread: how the sheet means its figure, one of :data:`SPREADS`.
        source: where the row comes from.

    Raises:
        JudgeError: a negative figure, a range without a top, a row that promises no error at all.
    """

    function: str
    unit: str
    range_top: float
    percent_of_reading: float = 0.0
    percent_of_range: float = 0.0
    counts: float = 0.0
    resolution: float = 0.0
    good_for_days: float = 365.0
    highest: float | None = None
    lowest: float = 0.0
    cold_c: float = 18.0
    hot_c: float = 28.0
    drift_percent_of_reading_per_k: float | None = None
    drift_percent_of_range_per_k: float | None = None
    drift_part_per_k: float | None = None
    test_current_a: float | None = None
    spread: str = "limits"
    source: str = "accuracy table"

    def __post_init__(self) -> None:
        name = f"accuracy of {self.function}"
        base_unit(f"{name}: unit", self.unit)
        number(f"{name}: range", self.range_top, self.unit, above=0.0)
        number(f"{name}: percent of reading", self.percent_of_reading, "%", least=0.0, below=100.0)
        number(f"{name}: percent of range", self.percent_of_range, "%", least=0.0, most=100.0)
        number(f"{name}: counts", self.counts, least=0.0)
        number(f"{name}: resolution", self.resolution, self.unit, least=0.0, below=self.range_top)
        number(f"{name}: calibration interval", self.good_for_days, "days", above=0.0)
        number(f"{name}: lowest", self.lowest, self.unit, least=0.0, below=self.top)
        if self.highest is not None:
            number(f"{name}: highest", self.highest, self.unit, above=0.0)
        number(f"{name}: cold end", self.cold_c, "°C")
        number(f"{name}: hot end", self.hot_c, "°C", least=self.cold_c)
        for what, drift in (
            ("drift of reading", self.drift_percent_of_reading_per_k),
            ("drift of range", self.drift_percent_of_range_per_k),
            ("drift of accuracy", self.drift_part_per_k),
        ):
            if drift is not None:
                number(f"{name}: {what}", drift, "per K", least=0.0)
        if self.test_current_a is not None:
            number(f"{name}: test current", self.test_current_a, "A", above=0.0)
        one_of(f"{name}: spread", self.spread, SPREADS)
        if self.counts > 0 and self.resolution == 0:
            raise JudgeError(f"{name}: resolution", "0", "the size of one count, since counts are given")
        if self.percent_of_reading == self.percent_of_range == self.counts == 0:
            raise JudgeError(name, "no error at all", "some percent of reading, of range, or counts")

    @cached_property
    def top(self) -> float:
        """Highest value that the range can show; above it the meter says overload."""
        return self.range_top if self.highest is None else self.highest

    @cached_property
    def name(self) -> str:
        """The row's name: function and range."""
        return f"{self.function}, {engineering(self.range_top, self.unit)} range"

    @cached_property
    def basis(self) -> str:
        """What stands beside a figure that comes from this row: its name and where it comes from."""
        return f"{self.name}, {self.source}"

    def holds_for(self, value: float) -> bool:
        """Say whether a value can be shown on this range and the row covers it."""
        return self.lowest <= abs(value) <= self.top

    def half_width(self, size: float, beyond: float) -> float:
        """The whole of :meth:`error_at`, for a reading that the row covers.

        Args:
            size: of the reading, in the unit.
            beyond: kelvin that the room is outside the band; 0 where the row does not say what is added then.
        """
        of_reading = size * self.percent_of_reading / 100.0
        whole = of_reading + self.range_top * self.percent_of_range / 100.0 + self.counts * self.resolution
        return whole + self._of_temperature(size, whole, beyond) if beyond > 0 else whole

    def _of_temperature(self, size: float, inside: float, beyond: float) -> float:
        """What is added to the allowance inside the band, some kelvin outside of it."""
        per_kelvin = (
            size * (self.drift_percent_of_reading_per_k or 0.0) / 100.0
            + self.range_top * (self.drift_percent_of_range_per_k or 0.0) / 100.0
            + inside * (self.drift_part_per_k or 0.0)
        )
        return beyond * per_kelvin

    def beyond(self, temperature_c: float) -> float:
        """By how many kelvin a room is outside the band."""
        return max(self.cold_c - temperature_c, temperature_c - self.hot_c, 0.0)

    @property
    def says_outside(self) -> bool:
        """Whether the row says what is added outside the band."""
        return not (
            self.drift_percent_of_reading_per_k is None
            and self.drift_percent_of_range_per_k is None
            and self.drift_part_per_k is None
        )

    def noted_outside(self, beyond: float) -> str:
        """What is noted of a reading in a room outside the band."""
        return f"{beyond:g} K outside {self.cold_c:g} to {self.hot_c:g} °C"

    def error_at(self, value: float, temperature_c: float | None = None) -> AccuracyError:
        """Return the largest error that the row allows at a reading.

        Args:
            value: the reading, in the unit.
            temperature_c: of the meter; None takes the band that the row is stated for, and notes it.

        Raises:
            JudgeError: the reading lies outside the row, or the room is outside the temperature band of a row that
                says nothing about it.
        """
        if type(value) is not float or not math.isfinite(value):
            value = number(f"{self.name}: reading", value, self.unit)
        size = abs(value)
        if not self.holds_for(value):
            raise JudgeError(
                f"{self.name}: reading",
                engineering(value, self.unit),
                f"{engineering(self.lowest, self.unit)} to {engineering(self.top, self.unit)}",
            )
        of_reading = size * self.percent_of_reading / 100.0
        of_range = self.range_top * self.percent_of_range / 100.0
        of_counts = self.counts * self.resolution
        beyond = 0.0
        notes: tuple[str, ...] = ()
        if temperature_c is None:
            notes = (f"temperature not known, taken as {self.cold_c:g} to {self.hot_c:g} °C",)
        else:
            t = temperature_c
            if type(t) is not float or not math.isfinite(t):
                t = number(f"{self.name}: temperature", t, "°C")
            beyond = self.beyond(t)
        of_temperature = 0.0
        if beyond > 0:
            if not self.says_outside:
                raise JudgeError(
                    f"{self.name}: temperature",
                    f"{temperature_c:g} °C",
                    f"{self.cold_c:g} °C to {self.hot_c:g} °C, since the row gives no temperature coefficient",
                )
            of_temperature = self._of_temperature(size, of_reading + of_range + of_counts, beyond)
            notes = (self.noted_outside(beyond),)
        return AccuracyError(self, value, of_reading, of_range, of_counts, of_temperature, notes)


class AccuracyError(msgspec.Struct, frozen=True, gc=False):
    """Largest error that a row allows at one reading.

    Attributes:
        row: the line of the table.
        value: the reading.
        of_reading: part in proportion to the reading, in the row's unit like all parts.
        of_range: part in proportion to the range.
        of_counts: part from the counts.
        of_temperature: part from working outside the temperature band.
        notes: what was assumed.
    """

    row: AccuracyRow
    value: float
    of_reading: float
    of_range: float
    of_counts: float
    of_temperature: float
    notes: tuple[str, ...] = ()

    @property
    def half_width(self) -> float:
        """The whole allowance, either way: the parts add up, as the sheet's plus signs say."""
        return self.of_reading + self.of_range + self.of_counts + self.of_temperature

    @property
    def parts_per_million(self) -> float:
        """The allowance against the reading, in ppm; infinite at a reading of zero."""
        return self.half_width / abs(self.value) * 1e6 if self.value else float("inf")

    @property
    def sentence(self) -> str:
        """The allowance in words."""
        unit = self.row.unit
        notes = f" ({'; '.join(self.notes)})" if self.notes else ""
        return (
            f"At {engineering(self.value, unit)} on the {engineering(self.row.range_top, unit)} range the meter may be "
            f"off by {engineering(self.half_width, unit, digits=3)} either way{notes}."
        )


class PickedRow(msgspec.Struct, frozen=True):
    """A row with what was assumed in picking it.

    Attributes:
        row: the line of the table.
        notes: what was assumed, such as a calibration that is out of date.
    """

    row: AccuracyRow
    notes: tuple[str, ...] = ()


class AccuracyTable(msgspec.Struct, frozen=True, dict=True):
    """All rows of one instrument.

    Attributes:
        instrument: what the table belongs to, for messages.
        rows: its lines, in any order.

    Raises:
        JudgeError: no rows, or rows of one function in different units.
    """

    instrument: str
    rows: tuple[AccuracyRow, ...]

    def __post_init__(self) -> None:
        if not self.rows:
            raise JudgeError(f"{self.instrument}: accuracy table", "no rows", "at least one row")
        for function in self.functions:
            units = {row.unit for row in self.rows if row.function == function}
            if len(units) > 1:
                raise JudgeError(f"{self.instrument}: units of {function}", ", ".join(sorted(units)), "one unit")

    @cached_property
    def _by_function(self) -> dict[str, tuple[AccuracyRow, ...]]:
        found: dict[str, list[AccuracyRow]] = {}
        for row in self.rows:
            found.setdefault(row.function, []).append(row)
        return {function: tuple(rows) for function, rows in found.items()}

    @cached_property
    def functions(self) -> tuple[str, ...]:
        """The functions that the table covers, in order of appearance."""
        return tuple(dict.fromkeys(row.function for row in self.rows))

    def ranges(self, function: str) -> tuple[float, ...]:
        """Return the range tops of a function, smallest first.

        Raises:
            JudgeError: the table has no such function.
        """
        return tuple(sorted({row.range_top for row in self._of(function)}))

    @cached_property
    def by_top(self) -> dict[str, tuple[AccuracyRow, ...]]:
        """Function to its rows, the range that shows least first."""
        return {name: tuple(sorted(rows, key=lambda row: row.top)) for name, rows in self._by_function.items()}

    def pick(
        self,
        function: str,
        value: float,
        *,
        range_top: float | None = None,
        calibrated_days_ago: float | None = None,
        allow_overdue: bool = False,
    ) -> PickedRow:
        """Return the row for a reading: the smallest range that shows it, with the shortest interval that still holds.

        Args:
            function: as in the rows.
            value: the reading, or the value that will be read.
            range_top: the range in use, when it is locked; None takes the best one.
            calibrated_days_ago: age of the calibration; None when not known, which takes the longest interval.
            allow_overdue: use the longest interval although the calibration is older, and note it.

        Raises:
            JudgeError: no row applies; the text says why and what the table has.
        """
        known = self._picked.get((function, range_top, calibrated_days_ago, allow_overdue))
        if known is not None and type(value) is float and known.row.lowest <= abs(value) <= known.row.top:
            return known
        rows = self._of(function)
        unit = rows[0].unit
        if type(value) is not float or not math.isfinite(value):
            number(f"{self.instrument}, {function}: value", value, unit)
        if range_top is not None:
            held = tuple([row for row in rows if _close(row.range_top, range_top)])
            if not held:
                raise JudgeError(
                    f"{self.instrument}, {function}: range",
                    engineering(range_top, unit),
                    "one of " + ", ".join(engineering(top, unit) for top in self.ranges(function)),
                )
            rows = held
        spans = {(row.lowest, row.top) for row in rows}
        size = abs(value)
        rows = tuple([row for row in rows if row.lowest <= size <= row.top])
        if not rows:
            tops = [row.top for row in self._of(function)] if range_top is None else [held[0].top]
            raise JudgeError(
                f"{self.instrument}, {function}: value",
                engineering(value, unit),
                f"a value that the range shows, at most {engineering(max(tops), unit)}",
            )
        notes: tuple[str, ...] = ()
        longest = max([row.good_for_days for row in rows])
        if calibrated_days_ago is None:
            rows = tuple(row for row in rows if row.good_for_days == longest)
            notes = (f"age of the calibration not known, taken as up to {longest:g} days",)
        else:
            age = number("age of the calibration", calibrated_days_ago, "days", least=0.0)
            fresh = tuple(row for row in rows if row.good_for_days >= age)
            if not fresh and not allow_overdue:
                raise JudgeError(
                    f"{self.instrument}: age of the calibration",
                    f"{age:g} days",
                    f"at most {longest:g} days, the longest interval of the table",
                )
            if not fresh:
                fresh = tuple(row for row in rows if row.good_for_days == longest)
                notes = (f"calibration overdue by {age - longest:g} days",)
            rows = fresh
        picked = PickedRow(rows[0] if len(rows) == 1 else min(rows, key=_preference), notes)
        if len(spans) == 1 and len(self._picked) < _MOST_PICKED:
            # every row of this range holds for the same values: the next reading on it has the same one
            self._picked[function, range_top, calibrated_days_ago, allow_overdue] = picked
        return picked

    def holds_alone(
        self, picked: PickedRow, function: str, range_top: float | None, calibrated_days_ago: float | None
    ) -> bool:
        """Whether a row that was picked, overdue or not, is picked for every value that it holds for.

        Args:
            picked: as :meth:`pick` gave it.
            function: as in the rows.
            range_top: the range in use.
            calibrated_days_ago: age of the calibration.
        """
        return self._picked.get((function, range_top, calibrated_days_ago, True)) is picked

    @cached_property
    def _picked(self) -> dict[tuple[str, float | None, float | None, bool], PickedRow]:
        """What was picked for a range, where that does not depend on the value."""
        return {}

    def _of(self, function: str) -> tuple[AccuracyRow, ...]:
        rows = self._by_function.get(function)
        if rows is None:
            raise JudgeError(f"{self.instrument}: function", repr(function), "one of " + ", ".join(self.functions))
        return rows


class MeterInUse(msgspec.Struct, frozen=True):
    """One function of a meter as it is used for a reading: what the reading's uncertainty goes by.

    Attributes:
        table: the meter's accuracy.
        function: that is used, as in the table.
        range_top: the range, when the step locks it; None lets the meter choose for each value.
        calibrated_days_ago: age of the calibration; older than the table's longest interval is noted, not refused.
        temperature_c: of the meter; None where nobody knows it.
        four_wires: whether it can read with four wires at all; one with two terminals cannot.
    """

    table: AccuracyTable
    function: str
    range_top: float | None = None
    calibrated_days_ago: float | None = None
    temperature_c: float | None = None
    four_wires: bool = True

    def pick(self, value: float) -> PickedRow:
        """The row for a value, overdue or not.

        Args:
            value: the reading, in the unit of the function.

        Raises:
            JudgeError: no range holds the value.
        """
        return self.table.pick(
            self.function,
            value,
            range_top=self.range_top,
            calibrated_days_ago=self.calibrated_days_ago,
            allow_overdue=True,
        )


def _preference(row: AccuracyRow) -> tuple[float, float, float]:
    return (row.range_top, row.good_for_days, -row.lowest)


def _close(one: float, other: float) -> bool:
    return abs(one - other) <= 1e-9 * abs(one)
