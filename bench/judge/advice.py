"""What would decide an undecided reading: each remedy with the uncertainty that it would give.

The remedies act on the budget's components by their role, and the verdict is worked out anew for each, with the reading
taken as it stands. Those that decide come first, and of those the ones that are least work.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Final

import msgspec
from msgspec.structs import replace

from bench.judge.accuracy import MeterInUse
from bench.judge.decision import Rule, Verdict, decide
from bench.judge.judge_error import JudgeError, same_unit
from bench.judge.limit import Limit
from bench.judge.ohms import EMF_RESIDUAL, NULL_REPEATABILITY_OHM, UNKNOWN_LEADS_OHM, Leads
from bench.judge.reading import meter_components
from bench.judge.uncertainty import Budget, Component
from bench.quantity import engineering

ACTIONS: Final = (
    "null the leads",
    "another range",
    "more readings",
    "offset compensation",
    "four wires",
    "prove the bench again",
    "all of these",
    "margin",
    "better meter",
)
"""What can be done, in order of rising effort."""

MOST_READINGS: Final = 100
"""More repeats than this are not proposed: nobody holds probes that long."""

WORTHWHILE: Final = 0.95
"""Another range is proposed only when it brings the uncertainty below this part of what it was."""


class Advice(msgspec.Struct, frozen=True):
    """One remedy.

    Attributes:
        action: one of :data:`ACTIONS`.
        sentence: what to do and what it would give.
        expanded_uncertainty: that the reading would then have, in its unit.
        verdict: that the same reading would then get.
    """

    action: str
    sentence: str
    expanded_uncertainty: float
    verdict: Verdict

    @property
    def decides(self) -> bool:
        """Whether the reading would be decided."""
        return self.verdict != "undecided"


def what_would_decide(
    budget: Budget,
    limit: Limit,
    rule: Rule | None = None,
    *,
    meter: MeterInUse | None = None,
    null_repeatability_ohm: float = NULL_REPEATABILITY_OHM,
    emf_residual: float = EMF_RESIDUAL,
    margin: bool = False,
) -> tuple[Advice, ...]:
    """Return the remedies for a reading, best first; empty when it is already decided.

    Args:
        budget: the reading.
        limit: what it is held against.
        rule: how; guarded at 95 % when left out.
        meter: that the reading was taken with, to look for a better range than the one in use, and for whether four
            wires can be proposed; left out, no range is proposed and four wires are.
        null_repeatability_ohm: how well shorted leads would repeat.
        emf_residual: part of a thermal EMF that compensation leaves.
        margin: whether the limit is computed, so that whoever answers for the work may add a margin to it.

    Raises:
        JudgeError: units differ.
    """
    rule = rule or Rule.guarded()
    if decide(budget, limit, rule).verdict != "undecided":
        return ()
    found: list[Advice] = []
    remedies: list[tuple[str, str, Budget]] = []
    four_wires = meter is None or meter.four_wires
    remedies.extend(_lead_remedies(budget, null_repeatability_ohm, four_wires))
    if meter is not None:
        better = _better_range(budget, meter)
        if better is not None:
            remedies.append(better)
    remedies.extend(_emf_remedies(budget, emf_residual))
    remedies.extend(_zero_remedies(budget))
    readings = _more_readings(budget, limit, rule)
    if readings is not None:
        remedies.append(readings)
    for action, words, improved in remedies:
        advice = _advice(action, words, improved, limit, rule)
        # where two or three readings rule the budget, taking away what is known exactly leaves few degrees of freedom,
        # and by the formula of Welch and Satterthwaite a larger uncertainty: that is no remedy
        if advice.decides or advice.expanded_uncertainty < budget.expanded_uncertainty:
            found.append(advice)
    names = [action for action, _, _ in remedies if action != "null the leads" or not four_wires]
    if len(names) > 1 and not any(advice.decides for advice in found):
        words = f"Do all together: {', '.join(names)}."
        advice = _advice("all of these", words, _together(budget, remedies), limit, rule)
        if advice.decides or advice.expanded_uncertainty < budget.expanded_uncertainty:
            found.append(advice)
    if margin and not any(advice.decides for advice in found):
        found.extend(_margin(budget, limit, rule))
    if not any(advice.decides for advice in found if advice.action != "margin"):
        found.append(_better_meter(budget, limit, rule))
    return tuple(
        sorted(
            found,
            key=lambda advice: (
                not advice.decides,
                ACTIONS.index(advice.action) if advice.decides else advice.expanded_uncertainty,
            ),
        )
    )


def _advice(action: str, words: str, improved: Budget, limit: Limit, rule: Rule) -> Advice:
    verdict = decide(improved, limit, rule).verdict
    then = engineering(improved.expanded_uncertainty, improved.unit, digits=2)
    end = (
        f"Then the uncertainty is {then}, and this reading would be decided."
        if verdict != "undecided"
        else f"Then the uncertainty is {then}: still not enough for this reading."
    )
    return Advice(action, f"{words} {end}", improved.expanded_uncertainty, verdict)


def _changed(budget: Budget, role: str, change: Callable[[Component], Component | None]) -> Budget:
    """Return the budget with each component of a role changed, or left out where the change gives None."""
    kept = []
    for component in budget.components:
        new = change(component) if component.role == role else component
        if new is not None:
            kept.append(new)
    return budget.with_components(kept or [Component("nothing left", 0.0)])


def _lead_remedies(budget: Budget, repeatability_ohm: float, four_wires: bool) -> Iterator[tuple[str, str, Budget]]:
    if not budget.having("leads"):
        return
    nulled = Component.within("the test leads", Leads.nulled(0.0, repeatability_ohm).half_width_ohm, role="leads")
    if nulled.standard < min(part.standard for part in budget.having("leads")):
        yield (
            "null the leads",
            "Short the probes, press null, and read again.",
            _changed(budget, "leads", lambda part: replace(nulled, name=part.name)),
        )
    if four_wires:
        yield (
            "four wires",
            "Measure with four wires, the sense probes at the part.",
            _changed(budget, "leads", lambda part: None),
        )


def _emf_remedies(budget: Budget, residual: float) -> Iterator[tuple[str, str, Budget]]:
    if any(part.basis.endswith("none") for part in budget.having("emf")):
        yield (
            "offset compensation",
            "Turn on offset compensation, or read again with the probes reversed and take the mean.",
            _changed(budget, "emf", lambda part: replace(part, standard=part.standard * residual)),
        )


def _zero_remedies(budget: Budget) -> Iterator[tuple[str, str, Budget]]:
    if budget.having("zero"):
        yield (
            "prove the bench again",
            "Let the meter settle, prove its zero again, and read straight after.",
            _changed(budget, "zero", lambda part: None),
        )


def _more_readings(budget: Budget, limit: Limit, rule: Rule) -> tuple[str, str, Budget] | None:
    """Return the fewest readings that decide, or the most that make sense; None where scatter plays no part."""
    scatter = [part for part in budget.having("scatter") if part.standard > 0 and part.dof < math.inf]
    if not scatter:
        return None

    def with_count(count: int) -> Budget:
        def more(part: Component) -> Component:
            single = part.standard * math.sqrt(part.dof + 1.0)
            return replace(part, standard=single / math.sqrt(count), dof=count - 1.0)

        return _changed(budget, "scatter", more)

    have = int(max(part.dof for part in scatter)) + 1
    if have >= MOST_READINGS:
        return None
    # more readings never doubt more: halve the counts, since every decision on few readings takes its time
    too_few, enough = have, MOST_READINGS
    if decide(with_count(enough), limit, rule).verdict != "undecided":
        while enough - too_few > 1:
            middle = (too_few + enough) // 2
            if decide(with_count(middle), limit, rule).verdict == "undecided":
                too_few = middle
            else:
                enough = middle
    return "more readings", f"Take {enough} readings and use their mean.", with_count(enough)


def _better_range(budget: Budget, meter: MeterInUse) -> tuple[str, str, Budget] | None:
    """Return the range that gives the smallest uncertainty, when it clearly beats the one in use."""
    in_use = [part.basis for part in budget.having("accuracy")]
    # the meter shows the leads too, and the range must hold them
    shown = abs(budget.value) + (UNKNOWN_LEADS_OHM[1] if budget.having("leads") else 0.0)
    best: tuple[float, float, Budget] | None = None
    for top in meter.table.ranges(meter.function):
        if meter.range_top is not None and math.isclose(top, meter.range_top):
            continue
        try:
            row = replace(meter, range_top=top).pick(shown).row
            parts, _ = meter_components(shown, row, meter.temperature_c)
        except JudgeError:
            # a range that cannot show the value, or not in this room, is no remedy
            continue
        if any(basis.startswith(f"{row.name},") for basis in in_use):
            continue
        same_unit(f"{budget.quantity}: unit", row.unit, budget.unit)
        others = [part for part in budget.components if part.role not in ("accuracy", "resolution")]
        improved = budget.with_components([*parts, *others])
        if best is None or improved.expanded_uncertainty < best[0]:
            best = (improved.expanded_uncertainty, top, improved)
    if best is None or best[0] > WORTHWHILE * budget.expanded_uncertainty:
        return None
    return "another range", f"Use the {engineering(best[1], budget.unit)} range.", best[2]


def _together(budget: Budget, remedies: list[tuple[str, str, Budget]]) -> Budget:
    """Return the budget with every remedy applied; four wires outdo nulled leads."""
    chosen = {action: improved for action, _, improved in remedies}
    roles: dict[str, tuple[str, ...]] = {
        "another range": ("accuracy", "resolution"),
        "more readings": ("scatter",),
        "offset compensation": ("emf",),
        "null the leads": ("leads",) if "four wires" not in chosen else (),
        "four wires": ("leads",),
        "prove the bench again": ("zero",),
    }
    touched = {role for action in chosen for role in roles.get(action, ())}
    parts = [part for part in budget.components if part.role not in touched]
    for action, improved in chosen.items():
        parts.extend(part for part in improved.components if part.role in roles.get(action, ()))
    return budget.with_components(parts or [Component("nothing left", 0.0)])


def _margin(budget: Budget, limit: Limit, rule: Rule) -> Iterator[Advice]:
    """The margin on a computed upper bound with which a reading below it would pass, rounded up to two digits."""
    if limit.upper is None or limit.lower is not None or not limit.holds(budget.value):
        return
    missing = budget.value + rule.guard_band(budget) - limit.upper
    if missing <= 0:
        return
    place = 10.0 ** (math.floor(math.log10(missing)) - 1)
    for step in range(1, 4):
        wanted = (math.floor(missing / place) + step) * place
        if decide(budget, replace(limit, upper=limit.upper + wanted), rule).verdict == "pass":
            words = (
                f"Whoever answers for the work may allow a margin of {engineering(wanted, limit.unit, digits=2)} "
                "on this limit ('margin' in the sequence): then this reading passes."
            )
            yield Advice("margin", words, budget.expanded_uncertainty, "pass")
            return


def _better_meter(budget: Budget, limit: Limit, rule: Rule) -> Advice:
    """Say how good a meter would have to be, with all else as it is; leads and EMF taken as cured if need be."""
    distance = abs(budget.value - limit.nearest(budget.value))
    if distance == 0.0:
        words = "The reading lies on the limit itself: look at the limit or at the work, not at the meter."
        return _advice("better meter", words, budget, limit, rule)
    others = [part for part in budget.components if part.role not in ("accuracy", "resolution")]
    for rest, extra in (
        (others, ""),
        ([part for part in others if part.role == "other"], ", with four wires and no thermal EMF,"),
    ):

        def with_meter(half_width: float, rest: list[Component] = rest) -> Budget:
            meter = Component.within("a better meter", half_width, role="accuracy")
            return budget.with_components([meter, *rest])

        if decide(with_meter(0.0), limit, rule).verdict == "undecided":
            continue
        low, high = 0.0, 10.0 * distance
        for _ in range(60):
            middle = (low + high) / 2.0
            if decide(with_meter(middle), limit, rule).verdict == "undecided":
                high = middle
            else:
                low = middle
        if low == 0.0:
            continue
        # two digits, cut and not rounded: a promise must hold
        place = 10.0 ** (math.floor(math.log10(low)) - 1)
        low = math.floor(low / place) * place
        improved = with_meter(low)
        if decide(improved, limit, rule).verdict == "undecided":
            continue
        allowed = engineering(low, budget.unit, digits=2)
        where = engineering(budget.value, budget.unit)
        words = f"Use a meter that is good to ± {allowed} at {where}{extra} or better."
        return _advice("better meter", words, improved, limit, rule)
    return _advice(
        "better meter", "No meter alone would do: what else is in the budget must shrink.", budget, limit, rule
    )
