"""How far the ohmmeter of a bench may be off, as tags need it: a part of the reading, and some ohms besides."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.identify.tags import Meter
from bench.diagnose.ohms_accuracy import ohms_accuracy
from bench.judge.accuracy import AccuracyTable
from bench.judge.judge_error import JudgeError
from bench.judge.ohms import Leads, ThermalEmf
from bench.roles import function_name
from bench.walk.facts import BenchFacts, InstrumentFacts

STAYS_UP: Final = 0.9
"""A meter that ranges by itself may still show this part of a lower range's top on the range above (own choice)."""


def scale_of(bench: BenchFacts, highest: float, wires: int = 2, zeroed: bool = True) -> Meter:
    """The bounds of the meter that fills the role ``ohms``, for every reading up to a highest one.

    Each line of its accuracy table is a part of the reading and a fixed part. The fixed part of the lowest range stays
    as ohms; what the other ranges have more of it is counted as a part of the least reading that they are used for.

    Args:
        bench: the bench.
        highest: the highest reading that matters, in ohms.
        wires: 2 or 4.
        zeroed: whether the leads were shorted and read before.

    Raises:
        DiagnoseError: nothing fills the role, or nothing is known of its accuracy, or it does not read so high.
    """
    facts, table, function = ohms_accuracy(bench, wires)
    tops = sorted({row.top for row in table.rows if row.function == function})
    if highest > tops[-1]:
        raise DiagnoseError(f"{facts.name} reads up to {tops[-1]:g} ohm; {highest:g} ohm are wanted")
    if wires == 4:
        leads = Leads.four_wires()
    elif zeroed or facts.nulls_itself:
        leads = Leads.nulled(0.0)
    else:
        leads = Leads.not_nulled(*facts.leads_ohm) if facts.leads_ohm is not None else Leads.not_nulled()
    try:
        offset = _off(facts, table, function, 0.0, tops[0])
        gain = max(_part(facts, table, function, tops[0], tops[0], offset), 0.0)
        for below, top in pairwise(tops):
            if below >= highest:
                break
            for ohms in (STAYS_UP * below, top):
                gain = max(gain, _part(facts, table, function, ohms, top, offset))
    except JudgeError as error:
        raise DiagnoseError(f"{facts.name}: {error}") from error
    return Meter(gain, offset + leads.half_width_ohm)


def top_of(bench: BenchFacts, wires: int = 2) -> float | None:
    """The most that the ohmmeter of a bench shows, in ohms; None where that is not known."""
    facts = bench.for_role("ohms")
    function = facts.accuracy_of.get(function_name("resistance", wires)) if facts is not None else None
    return max((row.top for row in facts.rows if row.function == function), default=None) if facts is not None else None


def _part(facts: InstrumentFacts, table: AccuracyTable, function: str, ohms: float, top: float, offset: float) -> float:
    return (_off(facts, table, function, ohms, top) - offset) / ohms


def _off(facts: InstrumentFacts, table: AccuracyTable, function: str, ohms: float, top: float) -> float:
    """By how much a reading may be off on the range with this top, its thermal voltages counted in."""
    rows = [row for row in table.rows if row.function == function and row.top == top]
    row = table.pick(function, ohms, range_top=rows[0].range_top, allow_overdue=True).row
    emf = 0.0
    if facts.emf_volt > 0 and row.test_current_a is not None:
        emf = ThermalEmf(facts.emf_volt, row.test_current_a).half_width_ohm
    return row.error_at(ohms).half_width + emf
