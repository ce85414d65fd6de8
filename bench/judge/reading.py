"""The uncertainty budget of one reading of a meter, from everything that is known about how it was taken."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import isfinite

import msgspec

from bench.judge.accuracy import AccuracyError, AccuracyRow, PickedRow
from bench.judge.decision import Overload
from bench.judge.judge_error import JudgeError, number
from bench.judge.ohms import Leads, ThermalEmf, sensed
from bench.judge.typea import repeated
from bench.judge.uncertainty import Budget, Component, Shared, divisor_of, standard_from_half_width
from bench.once import once

ACCURACY = "the meter's accuracy"
RESOLUTION = "the last digit"
LEADS = "the test leads"
EMF = "thermal EMF"
ZERO = "the zero's drift"
SCATTER = "scatter of the readings"


def accuracy_component(error: AccuracyError) -> Component:
    """Return a meter's allowance as a component."""
    distribution, coverage = _shape_of(error.row)
    standard = standard_from_half_width(error.half_width, distribution, coverage)
    return Component(ACCURACY, standard, distribution, role="accuracy", basis=error.row.basis)


def _shape_of(row: AccuracyRow) -> tuple[str, float]:
    """Distribution and coverage of a row's allowance: hard limits are taken as rectangular, a sheet that states a
    coverage as normal at that coverage."""
    if row.spread == "limits":
        return "rectangular", 0.95
    return "normal", 0.95 if row.spread == "normal 95 %" else 0.99


# The same for every reading on a range, with the same leads, on one evening.


@lru_cache(maxsize=256)
def _resolution(step: float) -> Component:
    return Component.within(RESOLUTION, step / 2.0, role="resolution", basis="half a step either way")


@lru_cache(maxsize=256)
def _of_leads(half_width: float, method: str) -> Component:
    return Component.within(LEADS, half_width, role="leads", basis=method)


@lru_cache(maxsize=256)
def _of_emf(half_width: float, method: str) -> Component:
    return Component.within(EMF, half_width, role="emf", basis=f"compensation: {method}")


@lru_cache(maxsize=256)
def _of_zero(drift: float) -> Component:
    return Component.within(ZERO, drift, role="zero", basis="opening and closing proof of the bench")


def meter_components(
    value: float, row: AccuracyRow, temperature_c: float | None = None
) -> tuple[tuple[Component, ...], tuple[str, ...]]:
    """Components that the meter itself brings at a value: accuracy, and half a step of the last digit.

    Args:
        value: the reading, in the unit of the row.
        row: the line of the accuracy table in use.
        temperature_c: of the meter; None takes the row's own band, and notes it.

    Returns:
        The components, and what was assumed.

    Raises:
        JudgeError: the row does not cover the value or the temperature.
    """
    error = row.error_at(value, temperature_c)
    accuracy = accuracy_component(error)
    parts = (accuracy, _resolution(row.resolution)) if row.resolution > 0 else (accuracy,)
    return parts, error.notes


class Way(msgspec.Struct, frozen=True, dict=True):
    """How readings on one range of a meter are taken: what their budgets have in common.

    Attributes:
        picked: the line of the accuracy table in use.
        temperature_c: of the meter; None takes the row's own band and notes it.
        leads: how lead resistance was dealt with; the correction is taken off. For resistance only.
        emf: thermal EMF. For resistance only.
        drift: between the closing and the opening proof of the bench's zero, in the unit, not below zero.
        level: coverage probability of the expanded uncertainty.
        quantity: what is measured, for people.

    Raises:
        JudgeError: leads or EMF with something that is not a resistance.
    """

    picked: PickedRow
    temperature_c: float | None = None
    leads: Leads | None = None
    emf: ThermalEmf | None = None
    drift: float = 0.0
    level: float = 0.95
    quantity: str = "reading"

    def __post_init__(self) -> None:
        unit = self.picked.row.unit
        if (self.leads is not None or self.emf is not None) and unit != "Ω":
            found = f"a reading in {unit or 'no unit'}"
            raise JudgeError(f"{self.quantity}: leads and thermal EMF", found, "a resistance")

    def holds_for(self, shown: float) -> bool:
        """Whether a reading is taken in this way too: its range shows it, and the leads' correction goes off whole.

        Args:
            shown: the reading, in the row's unit.
        """
        row = self.picked.row
        return row.lowest <= abs(shown) <= row.top and (self.leads is None or shown >= self.leads.correction_ohm)

    def budget(self, shown: float) -> Budget:
        """The budget of one reading.

        Args:
            shown: the reading, in the row's unit.

        Raises:
            JudgeError: it lies outside the row, or far below what the leads alone would read.
        """
        row, notes = self.picked.row, self._notes
        size, beyond = abs(shown), self._beyond
        if beyond is not None and row.lowest <= size <= row.top:
            distribution, divisor = self._shape
            standard = row.half_width(size, beyond) / divisor
            own = Component(ACCURACY, standard, distribution, role="accuracy", basis=row.basis)
        else:
            error = row.error_at(shown, self.temperature_c)
            own, notes = accuracy_component(error), (*self.picked.notes, *error.notes)
        value = shown if self.leads is None else sensed(shown, self.leads)
        return Budget.sharing(value, row.unit, own, self._shared, self.level, self.quantity, notes)

    @once
    def _beyond(self) -> float | None:
        """Kelvin that the room is outside the row's band; None where nobody knows, or the row says nothing of it."""
        row, celsius = self.picked.row, self.temperature_c
        if type(celsius) is not float or not isfinite(celsius):
            return None
        beyond = row.beyond(celsius)
        return beyond if beyond == 0.0 or row.says_outside else None

    @once
    def _notes(self) -> tuple[str, ...]:
        row, beyond = self.picked.row, self._beyond
        return (*self.picked.notes, row.noted_outside(beyond)) if beyond else self.picked.notes

    @once
    def _shape(self) -> tuple[str, float]:
        """The distribution of the meter's allowance, and what that is divided by."""
        distribution, coverage = _shape_of(self.picked.row)
        return distribution, divisor_of(distribution, coverage)

    @once
    def _shared(self) -> Shared:
        row, leads, emf = self.picked.row, self.leads, self.emf
        parts = [_resolution(row.resolution)] if row.resolution > 0 else []
        if leads is not None and leads.half_width_ohm > 0:
            parts.append(_of_leads(leads.half_width_ohm, leads.method))
        if emf is not None and emf.half_width_ohm > 0:
            parts.append(_of_emf(emf.half_width_ohm, emf.method))
        if self.drift > 0:
            parts.append(_of_zero(self.drift))
        return Shared.of(parts)


def reading_budget(
    readings: float | Sequence[float],
    row: AccuracyRow | PickedRow,
    *,
    temperature_c: float | None = None,
    leads: Leads | None = None,
    emf: ThermalEmf | None = None,
    zero_drift: float = 0.0,
    level: float = 0.95,
    quantity: str = "reading",
) -> Budget:
    """Return the budget of a reading.

    Args:
        readings: the reading in the row's unit, or several of the same thing; their mean is taken and their scatter
            becomes a component.
        row: the line of the accuracy table in use, picked or given.
        temperature_c: of the meter; None takes the row's own band and notes it.
        leads: how lead resistance was dealt with; the correction is taken off. For resistance only.
        emf: thermal EMF. For resistance only.
        zero_drift: difference between the closing and the opening proof of the bench's zero, in the unit; the reading
            lay somewhere between, so the whole of it is allowed either way.
        level: coverage probability of the expanded uncertainty.
        quantity: what was measured, for people.

    Raises:
        JudgeError: no reading, a reading outside the row, leads or EMF with something that is not a resistance.
    """
    picked = row if isinstance(row, PickedRow) else PickedRow(row)
    drift = abs(number("zero drift", zero_drift, picked.row.unit)) if zero_drift else 0.0
    way = Way(picked, temperature_c, leads, emf, drift, level, quantity)
    several, unit = None, picked.row.unit
    if type(readings) is not float and isinstance(readings, Sequence):
        if not readings:
            raise JudgeError(quantity, "no reading", "at least one")
        several = repeated(readings, quantity) if len(readings) != 1 else None
        shown = several.mean if several is not None else number(quantity, readings[0], unit)
    else:
        shown = readings if type(readings) is float and isfinite(readings) else number(quantity, readings, unit)
    budget = way.budget(shown)
    return budget if several is None else budget.with_components((*budget.components, several.component(SCATTER)))


def with_drift(budget: Budget, drift: float) -> Budget:
    """The same reading's budget with the drift of the bench's zero, which was not known when it was taken.

    Args:
        budget: without one.
        drift: difference between the closing and the opening proof, in the unit, not below zero.
    """
    if drift <= 0.0:
        return budget
    scatter = [part for part in budget.components if part.role == "scatter"]
    others = [part for part in budget.components if part.role != "scatter"]
    return budget.with_components((*others, _of_zero(drift), *scatter))


def overload_reading(
    row: AccuracyRow | PickedRow,
    *,
    temperature_c: float | None = None,
    negative: bool = False,
    quantity: str = "reading",
) -> Overload:
    """Return an overload on a range, with the uncertainty that a reading at its top would have.

    Args:
        row: the line of the accuracy table in use.
        temperature_c: of the meter; None takes the row's own band.
        negative: the overload carries a minus sign.
        quantity: what was measured, for people.

    Raises:
        JudgeError: the room is outside the temperature band of a row that says nothing about it.
    """
    line = row.row if isinstance(row, PickedRow) else row
    parts, _ = meter_components(line.top, line, temperature_c)
    at_top = Budget(line.top, line.unit, parts, quantity=quantity)
    return Overload(line.top, line.unit, at_top.standard_uncertainty, negative, quantity)
