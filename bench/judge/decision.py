"""Holding a reading against a limit: pass, fail or undecided, after JCGM 106 and ILAC-G8.

*Simple acceptance* passes whatever reads within the limit. *Guarded acceptance* passes only what reads within the limit
by a guard band; *guarded rejection* fails only what reads outside it by the same band. *Guarded* does both, and calls
everything between undecided; with one of the two alone, only its own side of the limit can be undecided. The guard
band is either t(p) times the standard uncertainty, so that a wrong pass has at most the chance 1 - p (t is the normal
z where the degrees of freedom are infinite; where the shapes of the components make that too short their convolved
distribution counts), or a factor r times the expanded uncertainty.

No resistance is less than nothing. Near zero that is knowledge (JCGM 106, 6.2 and 7.4: what can be is part of the
probability): a value that reads at or below zero says less than it seems to, so the chance of a wrong pass is taken
among what a resistance can be. What reads surely below zero passes nothing: the leads' zero holds no more.

Overload and not-a-number are readings with a meaning; see :class:`Overload` and :class:`NotANumber`.
"""

from __future__ import annotations

import math
from typing import Final, Literal, Self

import msgspec

from bench.judge.judge_error import JudgeError, base_unit, number, one_of, probability, same_unit
from bench.judge.limit import Limit
from bench.judge.spread import SAFE_FROM
from bench.judge.student import cumulative, quantile
from bench.judge.uncertainty import Budget
from bench.once import once
from bench.quantity import engineering, with_uncertainty
from bench.say.reading import asked

Verdict = Literal["pass", "fail", "undecided"]
Statement = Literal["pass", "conditional pass", "conditional fail", "fail"]

DEFAULT_CONFIDENCE: Final = 0.95
SURELY: Final = 0.999
"""Confidence at which a resistance is read below zero and believed no longer (common practice, no source)."""

KINDS: Final = ("simple", "guarded", "guarded-acceptance", "guarded-rejection")


class Rule(msgspec.Struct, frozen=True):
    """A decision rule. Use :meth:`simple`, :meth:`guarded` or :meth:`guarded_by_factor`.

    Attributes:
        kind: one of :data:`KINDS`.
        confidence: for a guard band by probability: the least chance that a pass, or a fail, is right.
        factor: for a guard band by factor: r in w = r U; None for the other kinds.

    Raises:
        JudgeError: not a kind, a confidence that is not between 0.5 and 1, a negative factor.
    """

    kind: str = "guarded"
    confidence: float = DEFAULT_CONFIDENCE
    factor: float | None = None

    def __post_init__(self) -> None:
        one_of("decision rule", self.kind, KINDS)
        probability("decision rule: confidence", self.confidence)
        number("decision rule: confidence", self.confidence, least=0.5)
        if self.factor is not None:
            number("decision rule: guard factor", self.factor, least=0.0)
            if self.kind == "simple":
                raise JudgeError("decision rule", "a guard factor with simple acceptance", "no factor")

    @classmethod
    def simple(cls) -> Self:
        """Return simple acceptance (JCGM 106, 8.2): no guard band."""
        return cls("simple")

    @classmethod
    def guarded(cls, confidence: float = DEFAULT_CONFIDENCE) -> Self:
        """Return guarded acceptance and guarded rejection at a probability (JCGM 106, 8.3)."""
        return cls("guarded", confidence)

    @property
    def guards_acceptance(self) -> bool:
        """Whether a pass needs the guard band."""
        return self.kind in ("guarded", "guarded-acceptance")

    @property
    def guards_rejection(self) -> bool:
        """Whether a fail needs the guard band."""
        return self.kind in ("guarded", "guarded-rejection")

    @classmethod
    def guarded_by_factor(cls, factor: float = 1.0) -> Self:
        """Return a guard band of ``factor`` times the expanded uncertainty; 1 is the rule of ILAC-G8."""
        return cls("guarded", factor=factor)

    def guard_band(self, budget: Budget) -> float:
        """Return the guard band w for a budget, in its unit."""
        if self.kind == "simple":
            return 0.0
        if self.factor is not None:
            return self.factor * budget.expanded_uncertainty
        return budget.guard(self.confidence)

    @property
    def sentence(self) -> str:
        """The rule in words."""
        if self.kind == "simple":
            return "Simple acceptance: what reads within the limit passes, whatever the uncertainty."
        if self.kind != "guarded":
            wrong, right = ("pass", "fails") if self.guards_acceptance else ("fail", "passes")
            side = "outside" if self.guards_acceptance else "within"
            band = (
                f"has at most {(1 - self.confidence) * 100:.3g} % chance"
                if self.factor is None
                else f"would have to bridge {self.factor:g} times the uncertainty"
            )
            return f"Guarded {self.kind[8:]}: a wrong {wrong} {band}; what reads {side} the limit {right}."
        if self.factor is not None:
            return (
                f"Guarded: a reading must clear the limit by {self.factor:g} times its uncertainty to pass or to fail."
            )
        return (
            f"Guarded: a reading must clear the limit so far that a wrong pass has at most "
            f"{(1 - self.confidence) * 100:.3g} % chance; the same for a fail."
        )


class Overload(msgspec.Struct, frozen=True):
    """The meter showed overload: the value lies beyond what the range can show.

    Attributes:
        top: the highest value that the range can show, above zero.
        unit: base unit.
        standard_uncertainty: of a reading at the top, as the accuracy row gives it.
        negative: the overload has a minus sign (voltage, current).
        quantity: what was measured, for people.

    Raises:
        JudgeError: a top that is not above zero, a negative uncertainty, not a base unit.
    """

    top: float
    unit: str
    standard_uncertainty: float
    negative: bool = False
    quantity: str = "reading"

    def __post_init__(self) -> None:
        base_unit(f"{self.quantity}: unit", self.unit)
        number(f"{self.quantity}: top of the range", self.top, self.unit, above=0.0)
        number(f"{self.quantity}: uncertainty at the top", self.standard_uncertainty, self.unit, least=0.0)


class NotANumber(msgspec.Struct, frozen=True):
    """The meter answered, but with no number.

    Attributes:
        unit: base unit that was asked for.
        reason: what is known about why.
        quantity: what was measured, for people.

    Raises:
        JudgeError: not a base unit.
    """

    unit: str
    reason: str = "the meter gave no number"
    quantity: str = "reading"

    def __post_init__(self) -> None:
        base_unit(f"{self.quantity}: unit", self.unit)


Reading = Budget | Overload | NotANumber


class Decision(msgspec.Struct, frozen=True, dict=True):
    """A reading held against a limit: the verdict, and what it rests on.

    Attributes:
        verdict: ``pass``, ``fail`` or ``undecided``.
        told: the sentence where no value was read or the value cannot be; empty elsewhere.
        limit: what it was held against.
        rule: how.
        guard: guard band that was used, in the unit; None where the reading was no number.
        budget: of the value that was read; None where none was.
    """

    verdict: Verdict
    told: str
    limit: Limit
    rule: Rule
    guard: float | None = None
    budget: Budget | None = None

    @once
    def sentence(self) -> str:
        """The verdict with its reason, for a person at the rack."""
        if self.told or self.budget is None:
            return self.told
        budget, limit = self.budget, self.limit
        return value_sentence(
            self.verdict, budget.value, budget.expanded_uncertainty, limit.lower, limit.upper, budget.unit
        )

    @once
    def conformance(self) -> float | None:
        """Probability that the true value conforms; None where no value was read."""
        return None if self.budget is None else conformance_probability(self.budget, self.limit)

    @once
    def statement(self) -> Statement | None:
        """The four-way statement of ILAC-G8; None where no value was read."""
        if self.budget is None or self.guard is None:
            return None
        return four_way(self.budget.value, self.limit, self.guard or self.budget.expanded_uncertainty)


def conformance_probability(budget: Budget, limit: Limit) -> float:
    """Probability that the true value lies within the limit, given the reading (JCGM 106, clause 7).

    Takes the reading's scaled t distribution with the budget's degrees of freedom, which is the normal one when they
    are infinite; of a resistance the part of it that is not below zero. A reading without uncertainty gives 0 or 1.

    Raises:
        JudgeError: the units differ.
    """
    same_unit(f"{budget.quantity}: unit", budget.unit, limit.unit)
    u = budget.standard_uncertainty
    if u == 0.0:
        return 1.0 if limit.holds(budget.value) else 0.0
    too_low = 0.0 if limit.lower is None else cumulative(_clip((limit.lower - budget.value) / u), budget.dof)
    too_high = 0.0 if limit.upper is None else cumulative(_clip((budget.value - limit.upper) / u), budget.dof)
    if budget.unit == "Ω" and limit.lower is None:
        too_high = _among_what_can_be(too_high, cumulative(_clip(-budget.value / u), budget.dof))
    return min(1.0, max(0.0, 1.0 - too_low - too_high))


def acceptance_zone(limit: Limit, guard: float) -> tuple[float | None, float | None]:
    """Bounds that a reading must keep to pass: each limit drawn in by the guard band.

    Returns:
        Lower and upper bound, None where the limit has none. The lower may exceed the upper: then nothing can pass.

    Raises:
        JudgeError: the guard band is negative.
    """
    guard = number("guard band", guard, limit.unit, least=0.0)
    return (
        None if limit.lower is None else limit.lower + guard,
        None if limit.upper is None else limit.upper - guard,
    )


def four_way(value: float, limit: Limit, guard: float) -> Statement:
    """Return the non-binary statement of ILAC-G8: pass, conditional pass, conditional fail or fail.

    Pass and conditional pass are parted by the acceptance limit, a guard band inside the limit; conditional fail and
    fail by the same distance outside it. A value on a boundary takes the milder word.

    Args:
        value: that was read, in the unit of the limit.
        limit: what is asked.
        guard: the guard band, in the same unit.

    Raises:
        JudgeError: the guard band is negative or the value is not finite.
    """
    value = number("value", value, limit.unit)
    low, high = acceptance_zone(limit, guard)
    if (low is None or value >= low) and (high is None or value <= high):
        return "pass"
    if limit.holds(value):
        return "conditional pass"
    return "fail" if _rejected(value, limit, guard) else "conditional fail"


def decide(reading: Reading, limit: Limit, rule: Rule | None = None) -> Decision:
    """Hold a reading against a limit.

    Args:
        reading: a budget, an overload, or no number.
        limit: what is asked.
        rule: how to decide; guarded at 95 % when left out.

    Raises:
        JudgeError: the reading and the limit are in different units.
    """
    rule = rule or Rule.guarded()
    if reading.unit != limit.unit:
        same_unit(f"{reading.quantity}: unit", reading.unit, limit.unit)
    if isinstance(reading, Budget):
        return _decide_value(reading, limit, rule)
    if isinstance(reading, Overload):
        return _decide_overload(reading, limit, rule)
    return Decision("undecided", f"Undecided: {reading.reason}. Take the reading again.", limit, rule)


def _decide_value(budget: Budget, limit: Limit, rule: Rule) -> Decision:
    guard = rule.guard_band(budget)
    lower, upper, value = limit.lower, limit.upper, budget.value
    if rule.guards_acceptance:
        accepted = (lower is None or value >= lower + guard) and (upper is None or value <= upper - guard)
        # two bounds close together could each be kept by the guard band and yet be broken together too often
        accepted = accepted and (
            rule.factor is not None
            or _one_is_all(budget, limit, guard, rule.confidence)
            or _sure(_kept(budget, limit, rule.confidence), rule.confidence)
        )
    else:
        accepted = limit.holds(value)
    verdict: Verdict = "undecided"
    if accepted:
        if budget.unit == "Ω" and value < 0.0 and value < -budget.guard(SURELY):
            return Decision("undecided", _below_nothing(budget), limit, rule, guard, budget)
        verdict = "pass"
    elif _rejected(value, limit, guard) if rule.guards_rejection else not limit.holds(value):
        verdict = "fail"
    return Decision(verdict, "", limit, rule, guard, budget)


def _decide_overload(reading: Overload, limit: Limit, rule: Rule) -> Decision:
    """Decide on a value that is only known to lie beyond the range's top.

    The top itself is uncertain. It is guarded by the rule's band and never by less than twice its standard uncertainty,
    since an overload cannot be looked at more closely.
    """
    u = reading.standard_uncertainty
    times = max(2.0, quantile(rule.confidence, math.inf), 2.0 * (rule.factor or 0.0))
    guard = times * u
    beyond = reading.top - guard
    shown = f"{'-' if reading.negative else ''}{engineering(reading.top, reading.unit)}"
    what = f"the meter shows overload, beyond {shown}"
    # mirrored, a negative overload is a positive one
    lower = limit.lower if not reading.negative else _negated(limit.upper)
    upper = limit.upper if not reading.negative else _negated(limit.lower)
    if upper is not None and beyond > upper:
        return Decision("fail", f"Fail: {what}; limit: {limit.asked}.", limit, rule, guard)
    if upper is None and lower is not None and beyond >= lower:
        return Decision("pass", f"Pass: {what}; limit: {limit.asked}.", limit, rule, guard)
    return Decision(
        "undecided",
        f"Undecided: {what}, which does not settle {limit.asked}. Take a higher range.",
        limit,
        rule,
        guard,
    )


def value_sentence(
    verdict: str, value: float, expanded: float, lower: float | None, upper: float | None, unit: str
) -> str:
    """The verdict on a value that was held against a limit, in words.

    Args:
        verdict: the verdict.
        value: that was read, corrected, in ``unit``.
        expanded: its expanded uncertainty.
        lower: smallest value that conforms, or None.
        upper: largest value that conforms, or None; one of the two there is.
        unit: base unit of all.
    """
    text = with_uncertainty(value, expanded, unit)
    if verdict == "pass":
        return f"Pass: {text}; limit: {asked(lower, upper, unit)}."
    if verdict == "fail":
        return f"Fail: {text} {_is_wrong(value, lower, upper)}; limit: {asked(lower, upper, unit)}."
    nearest = min([bound for bound in (lower, upper) if bound is not None], key=lambda bound: abs(bound - value))
    bound = engineering(nearest, unit)
    return f"Undecided: {text} lies too close to the limit of {bound} for this reading to tell on which side it is."


def _is_wrong(value: float, lower: float | None, upper: float | None) -> str:
    """How a reading breaks its limit, in words: of a negative feed a battery that is run down reads higher."""
    if lower is not None and upper is not None and lower < 0.0 < upper:
        return "is there, where nothing should be"
    if lower is not None and upper is not None and upper < 0.0:
        if value > -0.5 * upper:
            return "is the wrong way round"
        return "is too little" if value > upper else "is too much"
    return "is too low" if lower is not None and value < lower else "is too high"


def _rejected(value: float, limit: Limit, guard: float) -> bool:
    return (limit.lower is not None and value < limit.lower - guard) or (
        limit.upper is not None and value > limit.upper + guard
    )


_FAR: Final = 5.0
"""Standard uncertainties from zero at which nothing of what a reading allows lies below it: a part of 3e-7."""
_FINE: Final = 1e-9
"""Of a bound: a guard band that is narrower is lost in the rounding of it."""


def _one_is_all(budget: Budget, limit: Limit, guard: float, confidence: float) -> bool:
    """Whether there is one bound alone, and the normal distribution's guard band keeps it: there is no more to ask.

    What :func:`_kept` gives is the confidence then, or more.
    """
    bound = limit.upper if limit.lower is None else limit.lower if limit.upper is None else None
    if bound is None or budget.dof < math.inf or confidence < SAFE_FROM or guard < _FINE * abs(bound):
        return False
    return budget.unit != "Ω" or limit.lower is not None or budget.value > _FAR * budget.standard_uncertainty


def _kept(budget: Budget, limit: Limit, confidence: float) -> float:
    """Least chance that the true value keeps both bounds."""
    low = 0.0 if limit.lower is None else budget.beyond(budget.value - limit.lower, confidence)
    high = 0.0 if limit.upper is None else budget.beyond(limit.upper - budget.value, confidence)
    if budget.unit == "Ω" and limit.lower is None:
        high = _among_what_can_be(high, budget.beyond(budget.value, confidence))
    return 1.0 - low - high


def _among_what_can_be(too_high: float, below_zero: float) -> float:
    """Chance that a resistance is too high, where a part of what the reading allows lies below zero and cannot be."""
    return min(1.0, too_high / (1.0 - below_zero)) if below_zero < 1.0 else 1.0


def _below_nothing(budget: Budget) -> str:
    return (
        f"Undecided: {budget.text} is less than nothing. The leads' zero does not hold, or the sense leads are crossed."
        " Read the leads shorted again, then this."
    )


def _sure(chance: float, confidence: float) -> bool:
    # a reading exactly on the acceptance limit has exactly the confidence, but for rounding and the quadrature
    return chance >= confidence - 1e-5


def _negated(bound: float | None) -> float | None:
    return None if bound is None else -bound


def _clip(t: float) -> float:
    return max(-1e150, min(1e150, t))
