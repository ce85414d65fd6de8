"""The meter of a bench that reads ohms, and how accurate its sheet says it is."""

from __future__ import annotations

from bench.diagnose.diagnose_error import DiagnoseError
from bench.judge.accuracy import AccuracyTable
from bench.roles import Ohmmeter, function_name
from bench.walk.facts import BenchFacts, InstrumentFacts


def ohms_accuracy(bench: BenchFacts, wires: int, role: Ohmmeter = "ohms") -> tuple[InstrumentFacts, AccuracyTable, str]:
    """The meter that fills the role ``ohms``, or that of the second ohmmeter, its accuracy table, and the name of the
    function in it.

    Raises:
        DiagnoseError: nothing fills the role, it does not read ohms so, or nothing is known of its accuracy.
    """
    facts = bench.for_role(role)
    if facts is None:
        raise DiagnoseError(f"{bench.name}: no instrument fills the role '{role}'")
    table, function = facts.table, facts.accuracy_of.get(function_name("resistance", wires))
    if table is None or function is None or function not in table.functions:
        raise DiagnoseError(f"{facts.name}: nothing is known of its accuracy for ohms with {wires} wires")
    return facts, table, function
