"""The law of propagation of uncertainty: a result computed from uncertain inputs (GUM 5.1, 5.2)."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from bench.judge.judge_error import JudgeError, number
from bench.judge.typea import Estimate
from bench.judge.uncertainty import Budget, Component, Correlation


def partials_at(function: Callable[..., float], values: Sequence[float], scales: Sequence[float]) -> tuple[float, ...]:
    """Partial derivatives of a function by central differences, twice refined (Richardson).

    The function is called within one thousandth of each scale about the point, so it must be smooth there.

    Args:
        function: takes the values in order.
        values: the point.
        scales: size over which each input makes the function bend; its own magnitude is a good choice.

    Raises:
        JudgeError: the function gives something that is not finite.
    """
    result = []
    for place, (value, scale) in enumerate(zip(values, scales, strict=True)):
        step = (scale or 1.0) * 1e-3

        def slope(h: float, place: int = place, value: float = value) -> float:
            at = list(values)
            high, low = value + h, value - h
            at[place] = high
            above = function(*at)
            at[place] = low
            return float((above - function(*at)) / (high - low))

        coarse, middle, fine = slope(step), slope(step / 2), slope(step / 4)
        first = (4 * middle - coarse) / 3
        second = (4 * fine - middle) / 3
        result.append(number("partial derivative", (16 * second - first) / 15))
    return tuple(result)


def propagate(
    function: Callable[..., float],
    inputs: Sequence[Estimate],
    *,
    unit: str,
    quantity: str = "result",
    correlations: Sequence[Correlation] = (),
    partials: Sequence[float] | None = None,
    level: float = 0.95,
) -> Budget:
    """Return the budget of ``function(*inputs)`` to first order.

    Args:
        function: takes the inputs' values in order.
        inputs: the uncertain inputs, in the function's own units.
        unit: base unit of the result.
        quantity: what the result is, for people.
        correlations: between inputs, by name.
        partials: the derivatives at the inputs' values, where they are known; otherwise they are found numerically.
        level: coverage probability of the expanded uncertainty.

    Raises:
        JudgeError: no inputs, a number of partials that does not match, or a function that is not finite there.
    """
    if not inputs:
        raise JudgeError(quantity, "no inputs", "at least one")
    values = [estimate.value for estimate in inputs]
    if partials is None:
        scales = [max(abs(estimate.value), estimate.standard) for estimate in inputs]
        slopes = partials_at(function, values, scales)
    else:
        slopes = tuple(partials)
        if len(slopes) != len(inputs):
            raise JudgeError(quantity, f"{len(slopes)} partials", f"{len(inputs)}, one for each input")
    components = tuple(
        Component(
            estimate.name,
            estimate.standard,
            estimate.distribution,
            slope,
            estimate.dof,
            basis=f"input {estimate.value:.9g}",
        )
        for estimate, slope in zip(inputs, slopes, strict=True)
    )
    return Budget(function(*values), unit, components, tuple(correlations), level, quantity)


def covariance_between(first: Budget, second: Budget) -> float:
    """Covariance of two results that share inputs, matched by component name (GUM H.2.3).

    Both budgets must carry the same correlations and the same uncertainty for a shared name.

    Raises:
        JudgeError: a shared name has two different uncertainties, or a pair two different correlations.
    """
    shared: dict[str, Component] = {part.name: part for part in second.components}
    for part in first.components:
        other = shared.get(part.name)
        if other is not None and not math.isclose(other.standard, part.standard, rel_tol=1e-12):
            raise JudgeError(part.name, "two different uncertainties", "the same input in both budgets")
    pairs: dict[frozenset[str], float] = {}
    for pair in (*first.correlations, *second.correlations):
        key = frozenset((pair.first, pair.second))
        if pairs.setdefault(key, pair.coefficient) != pair.coefficient:
            raise JudgeError(f"{pair.first} and {pair.second}", "two different correlations", "one")
    terms = []
    for one in first.components:
        for two in second.components:
            if one.name == two.name:
                coefficient = 1.0
            else:
                coefficient = pairs.get(frozenset((one.name, two.name)), 0.0)
            terms.append(one.contribution * two.contribution * coefficient)
    return math.fsum(terms)


def correlation_between(first: Budget, second: Budget) -> float:
    """Correlation of two results that share inputs; see :func:`covariance_between`.

    Raises:
        JudgeError: as there, or one of the results has no uncertainty.
    """
    scale = first.standard_uncertainty * second.standard_uncertainty
    if scale == 0.0:
        raise JudgeError("correlation", "a result without uncertainty", "two uncertain results")
    return covariance_between(first, second) / scale
