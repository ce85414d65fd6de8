"""What a bench's ohmmeter can tell of an earthing network: its standard uncertainty, from its own data sheet."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bench.diagnose.diagnose_error import DiagnoseError
from bench.diagnose.earth.fit import Meter
from bench.diagnose.ohms_accuracy import ohms_accuracy
from bench.judge.accuracy import AccuracyTable
from bench.judge.judge_error import JudgeError
from bench.judge.ohms import Leads, ThermalEmf
from bench.judge.reading import reading_budget
from bench.network.cases import Floats
from bench.quantity import engineering
from bench.roles import Ohmmeter
from bench.walk.facts import BenchFacts, InstrumentFacts
from bench.walk.two_ohmmeters import OPEN_OHM, Wires

_LEAST, _STEPS = 1e-6, 160


class BenchMeter(Meter, frozen=True):
    """An ohmmeter as its accuracy table has it.

    Attributes:
        name: of the instrument.
        knots: ohms at which the table was worked out, rising.
        values: its standard uncertainty there, in ohm.
        wires: that it reads with.
    """

    name: str = ""
    knots: tuple[float, ...] = ()
    values: tuple[float, ...] = ()
    wires: Wires = 4

    def u(self, ohms: Floats | float) -> Floats:
        """Standard uncertainty in ohm of readings of ``ohms``, of the same shape."""
        return np.asarray(np.interp(np.abs(ohms), self.knots, self.values), dtype=np.float64)

    def words(self, *values: float) -> str:
        """How good it is, in words: ``low-ohm meter: ± 14 µΩ at 1 mΩ ...`` (95 %)."""
        told = [
            f"± {engineering(2.0 * float(self.u(ohms)), 'Ω', digits=2)} at {engineering(ohms, 'Ω', digits=2)}"
            for ohms in values
        ]
        return f"{self.name}: {', '.join(told)} (95 %)"


def bench_meter(bench: BenchFacts, celsius: float, wires: Wires, at: str = "", role: Ohmmeter = "ohms") -> BenchMeter:
    """The ohmmeter of a bench.

    Args:
        bench: the bench.
        celsius: of the meter.
        wires: 4, or 2 with the leads' share taken off.
        at: time of day, for the age of its calibration.
        role: that it fills, where there are two.

    Raises:
        DiagnoseError: nothing fills the role, it does not read ohms so, or nothing is known of its accuracy.
    """
    facts, table, function = ohms_accuracy(bench, wires, role)
    top = min(max(row.top for row in table.rows if row.function == function), OPEN_OHM)
    knots = np.geomspace(_LEAST, top, _STEPS).tolist()
    leads = Leads.four_wires() if wires == 4 else Leads.nulled(0.0)
    values = _standard(facts, table, function, knots, celsius, leads, at)
    return BenchMeter(open_above=top, name=facts.title or facts.name, knots=tuple(knots), values=values, wires=wires)


def _standard(
    facts: InstrumentFacts,
    table: AccuracyTable,
    function: str,
    knots: Sequence[float],
    celsius: float,
    leads: Leads,
    at: str,
) -> tuple[float, ...]:
    found = []
    age = facts.days_since_calibration(at)
    for ohms in knots:
        try:
            picked = table.pick(function, ohms, calibrated_days_ago=age, allow_overdue=True)
            amps = picked.row.test_current_a
            emf = ThermalEmf(facts.emf_volt, amps) if facts.emf_volt > 0 and amps is not None else None
            budget = reading_budget(ohms, picked, temperature_c=celsius, leads=leads, emf=emf)
        except JudgeError as error:
            raise DiagnoseError(f"{facts.name}: {error}") from error
        found.append(budget.standard_uncertainty)
    return tuple(found)
