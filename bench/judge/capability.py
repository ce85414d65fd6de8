"""Before anything is measured: can this bench prove this limit at all?

The room that a sound item leaves is compared with the expanded uncertainty. A ratio of four or more is common practice
in calibration (the 4:1 rule of old military specifications, as meter handbooks quote it). Less is marginal. When even
an item exactly as expected would come out undecided, the bench cannot prove the limit; with simple acceptance, when the
uncertainty is larger than the room.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, Literal

import msgspec

from bench.judge.accuracy import MeterInUse
from bench.judge.advice import Advice, what_would_decide
from bench.judge.decision import Rule, decide
from bench.judge.judge_error import JudgeError, number
from bench.judge.limit import Limit
from bench.judge.ohms import Leads, ThermalEmf
from bench.judge.reading import reading_budget
from bench.judge.uncertainty import Budget
from bench.quantity import engineering

Answer = Literal["can prove", "marginal", "cannot"]

GOOD_RATIO: Final = 4.0


class Capability(msgspec.Struct, frozen=True):
    """Whether a bench can prove a limit.

    Attributes:
        answer: ``can prove``, ``marginal`` or ``cannot``.
        ratio: room over expanded uncertainty at the limit; None where no reading is possible.
        room: how far a sound item stays from the limit, in the unit.
        expanded_uncertainty: of a reading at the limit; None where no reading is possible.
        sentence: the answer with its reason.
        advice: what would help, best first.
    """

    answer: Answer
    ratio: float | None
    room: float
    expanded_uncertainty: float | None
    sentence: str
    advice: tuple[Advice, ...] = ()


def room_in(limit: Limit, expected: float | None) -> float:
    """Return how far a sound item stays from the limit.

    With an expected value it is the distance to the nearest bound, negative when the value lies outside. Without one it
    is half the width of a two-sided limit (so that the ratio is the index C_m of JCGM 106, 7.6.3), and the bound's own
    size for a one-sided one.
    """
    if expected is not None:
        value = number("expected value", expected, limit.unit)
        distances = []
        if limit.lower is not None:
            distances.append(value - limit.lower)
        if limit.upper is not None:
            distances.append(limit.upper - value)
        return min(distances)
    if limit.lower is not None and limit.upper is not None:
        return (limit.upper - limit.lower) / 2.0
    return abs(limit.nearest(0.0))


def capability(
    limit: Limit,
    budget_at: Callable[[float], Budget],
    rule: Rule | None = None,
    *,
    expected: float | None = None,
    good_ratio: float = GOOD_RATIO,
    advise: Callable[[Budget], tuple[Advice, ...]] | None = None,
) -> Capability:
    """Say whether a bench can prove a limit.

    Args:
        limit: what is to be proven.
        budget_at: gives the budget of a reading of a value, or raises JudgeError where the bench cannot read it.
        rule: how readings will be decided; guarded at 95 % when left out.
        expected: what a sound item reads; None when it is not known.
        good_ratio: from where on the answer is ``can prove``.
        advise: what to propose for an undecided budget; :func:`bench.judge.advice.what_would_decide` when left out.

    Raises:
        JudgeError: units differ, or a ratio that is not above zero.
    """
    rule = rule or Rule.guarded()
    number("good ratio", good_ratio, above=0.0)
    room = room_in(limit, expected)
    bounds = [bound for bound in (limit.lower, limit.upper) if bound is not None]
    if room <= 0:
        return Capability(
            "cannot",
            None,
            room,
            None,
            f"Cannot prove {limit.asked}: what is expected ({engineering(expected or 0.0, limit.unit)}) does not keep "
            "the limit itself. Look at the limit.",
        )
    try:
        budgets = [budget_at(bound) for bound in bounds]
        widest = max(budgets, key=lambda budget: budget.expanded_uncertainty)
        probe = expected
        if probe is None and len(bounds) == 2:
            probe = sum(bounds) / 2.0
        at_expected = None if probe is None else _sound_reading(probe, limit, budget_at)
    except JudgeError as problem:
        return Capability(
            "cannot",
            None,
            room,
            None,
            f"Cannot prove {limit.asked}: this bench cannot take such a reading ({problem}).",
        )
    expanded = widest.expanded_uncertainty
    ratio = room / expanded if expanded > 0 else float("inf")
    doubt = engineering(expanded, limit.unit, digits=2)
    shown = f"the limit leaves {engineering(room, limit.unit)} of room, and a reading is known to ± {doubt}"
    # a sound item is read with the uncertainty at the limit or at its own value, whichever is worse
    sound = widest if at_expected is None else max(widest, at_expected, key=lambda b: b.standard_uncertainty)
    passes = room >= rule.guard_band(sound)
    if at_expected is not None:
        passes = passes and decide(at_expected, limit, rule).verdict == "pass"
    why = "even a sound item would be undecided"
    if rule.kind == "simple" and ratio < 1.0:
        # simple acceptance is never undecided, but a verdict then says next to nothing
        passes, why = False, "the uncertainty is larger than the room"
    if not passes:
        stuck = at_expected if at_expected is not None else widest
        proposals = advise(stuck) if advise is not None else what_would_decide(stuck, limit, rule)
        helps = f" {proposals[0].sentence}" if proposals else ""
        return Capability(
            "cannot",
            ratio,
            room,
            expanded,
            f"Cannot prove {limit.asked}: {why} ({shown}).{helps}",
            proposals,
        )
    if ratio < good_ratio:
        biggest = widest.biggest
        return Capability(
            "marginal",
            ratio,
            room,
            expanded,
            f"Marginal for {limit.asked}: {shown}; the room should be {good_ratio:g} times that. "
            f"Most of the doubt comes from {biggest.name}. Expect some readings to be undecided.",
        )
    return Capability("can prove", ratio, room, expanded, f"Can prove {limit.asked}: {shown}.")


def _sound_reading(value: float, limit: Limit, budget_at: Callable[[float], Budget]) -> Budget | None:
    """Return the budget of a sound item, or None where it shows overload and that is a pass."""
    try:
        return budget_at(value)
    except JudgeError:
        if limit.upper is None:
            return None
        raise


def bench_capability(
    limit: Limit,
    meter: MeterInUse,
    rule: Rule | None = None,
    *,
    expected: float | None = None,
    leads: Leads | None = None,
    emf_v: float = 0.0,
    emf_method: str = "none",
    level: float = 0.95,
    margin: bool = False,
) -> Capability:
    """Say whether a meter can prove a limit, from its accuracy table.

    Args:
        limit: what is to be proven.
        meter: the meter as it will be used.
        rule: how readings will be decided; guarded at 95 % when left out.
        expected: what a sound item reads; None when it is not known.
        leads: how leads will be dealt with; their correction plays no part here.
        emf_v: thermal EMF to expect, either way, in volts; needs the row's test current.
        emf_method: what will be done about it.
        level: coverage probability of the expanded uncertainty.
        margin: whether the limit is computed, so that a margin may be added to it.

    Raises:
        JudgeError: units differ or the function is not in the table.
    """
    meter.table.ranges(meter.function)

    def budget_at(value: float) -> Budget:
        picked = meter.pick(value)
        emf = None
        if emf_v > 0:
            if picked.row.test_current_a is None:
                raise JudgeError(picked.row.name, "no test current", "one, to count the thermal EMF")
            emf = ThermalEmf(emf_v, picked.row.test_current_a, emf_method)
        kept = None if leads is None else Leads(leads.method, 0.0, leads.half_width_ohm)
        return reading_budget(value, picked, temperature_c=meter.temperature_c, leads=kept, emf=emf, level=level)

    def advise(stuck: Budget) -> tuple[Advice, ...]:
        return what_would_decide(stuck, limit, rule, meter=meter, margin=margin)

    return capability(limit, budget_at, rule, expected=expected, advise=advise)
