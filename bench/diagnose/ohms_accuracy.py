"""The meter of a bench that reads ohms, and how accurate its sheet says it is."""

from __future__ import annotations

from bench.diagnose.diagnose_error import DiagnoseError
from bench.judge.accuracy import AccuracyTable
from bench.roles import function_name
from bench.walk.facts import BenchFacts, InstrumentFacts


def ohms_accuracy(bench: BenchFacts, wires: int) -> tuple[InstrumentFacts, AccuracyTable, str]:
    """The meter that fills the role ``ohms``, its accuracy table, and the name of the function in it.

    Raises:
        DiagnoseError: nothing fills the role, it does not read ohms so, or nothing is known of its accuracy.
    """
    facts = bench.for_role("ohms")
    if facts is None:
        raise DiagnoseError(f"{bench.name}: no instrument fills the role 'ohms'")
    table, function = facts.table, facts.accuracy_of.get(function_name("resistance", wires))
    if table is None or function is None or function not in table.functions:
        raise DiagnoseError(f"{facts.name}: nothing is known of its accuracy for ohms with {wires} wires")
    return facts, table, function
