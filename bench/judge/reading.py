"""The uncertainty budget of one reading of a meter, from everything that is known about how it was taken."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import isfinite

from bench.judge.accuracy import AccuracyError, AccuracyRow, PickedRow
from bench.judge.decision import Overload
from bench.judge.judge_error import JudgeError, number
from bench.judge.ohms import Leads, ThermalEmf, sensed
from bench.judge.typea import repeated
from bench.judge.uncertainty import Budget, Component, standard_from_half_width

ACCURACY = "the meter's accuracy"
RESOLUTION = "the last digit"
LEADS = "the test leads"
EMF = "thermal EMF"
ZERO = "the zero's drift"
SCATTER = "scatter of the readings"


def accuracy_component(error: AccuracyError) -> Component:
    """Return a meter's allowance as a component.

    Hard limits are taken as rectangular; a sheet that states a coverage is taken as normal at that coverage.
    """
    spread = error.row.spread
    distribution, coverage = ("rectangular", 0.95)
    if spread != "limits":
        distribution, coverage = "normal", 0.95 if spread == "normal 95 %" else 0.99
    standard = standard_from_half_width(error.half_width, distribution, coverage)
    return Component(ACCURACY, standard, distribution, role="accuracy", basis=error.row.basis)


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
    line = picked.row
    if (leads is not None or emf is not None) and line.unit != "Ω":
        raise JudgeError(f"{quantity}: leads and thermal EMF", f"a reading in {line.unit or 'no unit'}", "a resistance")
    several = None
    if type(readings) is not float and isinstance(readings, Sequence):
        if not readings:
            raise JudgeError(quantity, "no reading", "at least one")
        several = repeated(readings, quantity) if len(readings) != 1 else None
        shown = several.mean if several is not None else number(quantity, readings[0], line.unit)
    else:
        shown = readings if type(readings) is float and isfinite(readings) else number(quantity, readings, line.unit)
    parts, notes = meter_components(shown, line, temperature_c)
    components = list(parts)
    value = shown
    if leads is not None:
        value = sensed(shown, leads)
        if leads.half_width_ohm > 0:
            components.append(_of_leads(leads.half_width_ohm, leads.method))
    if emf is not None and emf.half_width_ohm > 0:
        components.append(_of_emf(emf.half_width_ohm, emf.method))
    drift = abs(number("zero drift", zero_drift, line.unit)) if zero_drift else 0.0
    if drift > 0:
        components.append(_of_zero(drift))
    if several is not None:
        components.append(several.component(SCATTER))
    notes = (*picked.notes, *notes) if picked.notes else notes
    return Budget(value, line.unit, tuple(components), (), level, quantity, notes)


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
