"""What is worked out once for many readings gives what each by itself would: to the last bit, by seeded draws."""

import math
import random

import pytest

from bench.judge import decision
from bench.judge.accuracy import AccuracyRow, PickedRow
from bench.judge.decision import Rule, decide
from bench.judge.judge_error import JudgeError
from bench.judge.limit import Limit
from bench.judge.ohms import Leads, ThermalEmf
from bench.judge.reading import Way, accuracy_component
from bench.judge.uncertainty import Budget

ROWS = [
    AccuracyRow("ohms 2w", "Ω", 100.0, 0.01, 0.004, resolution=1e-4, drift_percent_of_reading_per_k=0.0006,
                drift_percent_of_range_per_k=0.0005, test_current_a=1e-3, highest=120.0),
    AccuracyRow("ohms 2w", "Ω", 600.0, 0.9, counts=2.0, resolution=0.1, drift_part_per_k=0.1, lowest=0.0),
    AccuracyRow("ohms 2w", "Ω", 10.0, 0.05, 0.02, spread="normal 99 %"),
]  # fmt: skip


def ways(rng: random.Random) -> Way:
    """Some way to take a reading."""
    row = rng.choice(ROWS)
    leads = rng.choice([None, Leads.four_wires(), Leads.nulled(rng.uniform(0.0, 0.3)), Leads.not_nulled()])
    emf = rng.choice([None, ThermalEmf(2e-6, 1e-3)])
    drift = rng.choice([0.0, rng.uniform(0.0, 0.05)])
    notes = rng.choice([(), ("calibration overdue by 3 days",)])
    return Way(PickedRow(row, notes), rng.choice([23.0, 12.5, 18.0, 31.0, None]), leads, emf, drift)


def by_itself(way: Way, shown: float, told: Budget) -> Budget:
    """The same budget, with the accuracy looked up for this reading and everything put together anew."""
    error = way.picked.row.error_at(shown, way.temperature_c)
    parts = (accuracy_component(error), *told.components[1:])
    off = way.leads.correction_ohm if way.leads is not None else 0.0
    return Budget(shown - off, "Ω", parts, (), way.level, way.quantity, (*way.picked.notes, *error.notes))


def test_a_budget_that_shares_is_the_one_that_is_worked_out_alone() -> None:
    rng = random.Random(7)
    compared = 0
    for _ in range(400):
        way = ways(rng)
        try:
            # far above what the leads alone read, and what its range may not show
            shown = rng.uniform(0.0, 1.3) * way.picked.row.top
            told = way.budget(shown)
        except JudgeError as error:
            with pytest.raises(JudgeError) as alone:
                way.picked.row.error_at(shown, way.temperature_c)
                raise error  # the row is not what refuses it
            assert str(alone.value) == str(error)
            continue
        alone_made = by_itself(way, shown, told)
        assert told == alone_made and told.to_dict() == alone_made.to_dict()
        for name in ("variance", "standard_uncertainty", "effective_dof", "dof", "coverage_factor",
                     "expanded_uncertainty", "text"):  # fmt: skip
            assert getattr(told, name) == getattr(alone_made, name), name
        compared += 1
    assert compared > 200


def test_a_row_that_says_nothing_of_a_cold_room_refuses_there_as_ever() -> None:
    way = Way(PickedRow(ROWS[2]), 5.0)
    with pytest.raises(JudgeError, match="since the row gives no temperature coefficient"):
        way.budget(1.0)


@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
def test_one_bound_that_the_guard_band_keeps_is_kept_by_the_chances_too(
    confidence: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    rng = random.Random(11)
    cases = []
    for _ in range(300):
        way = ways(rng)
        shown = rng.uniform(0.0, 1.0) * way.picked.row.range_top
        try:
            budget = way.budget(shown)
        except JudgeError:
            continue
        near = budget.value + budget.standard_uncertainty * rng.choice([0.0, 1.6449, 1.65, 2.0, 5.0, -2.0, -1.6, 40.0])
        limit = Limit.at_most(near, "Ω", "test") if rng.random() < 0.6 else Limit.at_least(near, "Ω", "test")
        cases.append((budget, limit, Rule("guarded", confidence)))
    told = [decide(*case) for case in cases]
    monkeypatch.setattr(decision, "_one_is_all", lambda *_: False)
    assert [one.verdict for one in told] == [decide(*case).verdict for case in cases]
    assert {one.verdict for one in told} == {"pass", "fail", "undecided"} and len(told) > 200
    assert all(math.isfinite(one.guard or 0.0) for one in told)
