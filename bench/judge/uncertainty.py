"""Uncertainty budgets: components, their combination and coverage, after JCGM 100 (the GUM).

A budget is plain data that a record can hold. Its standard uncertainty is the root of the summed squares of its
components, with their correlations; its effective degrees of freedom follow Welch and Satterthwaite and are cut to an
integer before the t value is looked up (GUM G.4.1, G.6.4).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, Self

import msgspec
from msgspec.structs import replace

from bench.judge.judge_error import (
    JudgeError,
    base_unit,
    degrees_of_freedom,
    number,
    one_of,
    probability,
)
from bench.judge.spread import SAFE_FROM, Part, distance_of, few_readings, shapes_matter, spread_of
from bench.judge.student import coverage_factor, known_tail, quantile
from bench.once import once
from bench.quantity import SI_BASE_UNITS, engineering, with_uncertainty

DISTRIBUTIONS: Final = ("normal", "rectangular", "triangular", "u-shaped")
ROLES: Final = ("accuracy", "resolution", "leads", "emf", "zero", "scatter", "other")
"""What a component stands for, so that advice knows what would shrink it."""

KINDS: Final = ("A", "B")
"""How a component was evaluated (GUM 2.3.2, 2.3.3): from repeated readings, or otherwise."""

_ROOT_3: Final = math.sqrt(3.0)
_DIVISORS: Final = {
    "rectangular": _ROOT_3,
    "triangular": math.sqrt(6.0),
    "u-shaped": math.sqrt(2.0),
}


def standard_from_half_width(half_width: float, distribution: str = "rectangular", coverage: float = 0.95) -> float:
    """Standard uncertainty of a quantity known to lie within ± ``half_width`` (GUM 4.3).

    Divides by √3 (rectangular), √6 (triangular), √2 (u-shaped), or by the normal quantile of ``coverage`` (1.96 at
    95 %).

    Args:
        half_width: not negative.
        distribution: one of :data:`DISTRIBUTIONS`.
        coverage: for the normal distribution only, the part of values within the half-width.

    Raises:
        JudgeError: negative half-width, or a distribution that is not known.
    """
    if distribution == "rectangular" and type(half_width) is float and 0.0 <= half_width < math.inf:
        return half_width / _ROOT_3  # as most are, and each reading has some
    half_width = number("half-width", half_width, least=0.0)
    return half_width / divisor_of(distribution, coverage)


def divisor_of(distribution: str, coverage: float = 0.95) -> float:
    """What a half-width is divided by for its standard uncertainty; see :func:`standard_from_half_width`.

    Raises:
        JudgeError: a distribution that is not known.
    """
    one_of("distribution", distribution, DISTRIBUTIONS)
    return coverage_factor(coverage, math.inf) if distribution == "normal" else _DIVISORS[distribution]


def dof_from_reliability(relative: float) -> float:
    """Degrees of freedom of an uncertainty that is itself known to ± ``relative`` (GUM G.4.2): ½ relative⁻².

    Raises:
        JudgeError: not above zero, or so large that less than one degree of freedom is left.
    """
    return degrees_of_freedom(
        "degrees of freedom from reliability", 0.5 / number("reliability", relative, above=0.0) ** 2
    )


class Component(msgspec.Struct, frozen=True, gc=False):
    """One contribution to an uncertainty.

    Attributes:
        name: unique within its budget.
        standard: standard uncertainty of the input, in the input's unit.
        distribution: shape of the input, one of :data:`DISTRIBUTIONS`.
        sensitivity: change of the result for a change of the input.
        dof: degrees of freedom of ``standard``; infinite where it is taken as exactly known.
        role: what it stands for, one of :data:`ROLES`.
        kind: ``A`` when evaluated from repeated readings, otherwise ``B``.
        basis: where the figure came from.

    Raises:
        JudgeError: a negative uncertainty, a distribution or role that is not known, less than one degree of freedom.
    """

    name: str
    standard: float
    distribution: str = "normal"
    sensitivity: float = 1.0
    dof: float = math.inf
    role: str = "other"
    kind: str = "B"
    basis: str = ""

    def __post_init__(self) -> None:
        # each reading makes some: what to say of a wrong one is put together only where one is wrong
        if not (
            type(self.standard) is type(self.sensitivity) is type(self.dof) is float
            and 0.0 <= self.standard < math.inf
            and -math.inf < self.sensitivity < math.inf
            and self.dof >= 1.0
            and self.distribution in DISTRIBUTIONS
            and self.role in ROLES
            and self.kind in KINDS
        ):
            self._refuse()

    def _refuse(self) -> None:
        number(f"{self.name}: standard uncertainty", self.standard, least=0.0)
        number(f"{self.name}: sensitivity", self.sensitivity)
        one_of(f"{self.name}: distribution", self.distribution, DISTRIBUTIONS)
        one_of(f"{self.name}: role", self.role, ROLES)
        one_of(f"{self.name}: kind", self.kind, KINDS)
        degrees_of_freedom(f"{self.name}: degrees of freedom", self.dof)

    @classmethod
    def within(
        cls,
        name: str,
        half_width: float,
        distribution: str = "rectangular",
        *,
        coverage: float = 0.95,
        sensitivity: float = 1.0,
        dof: float = math.inf,
        role: str = "other",
        basis: str = "",
    ) -> Self:
        """Return a component from limits ± ``half_width``; see :func:`standard_from_half_width`.

        Args:
            name: unique within its budget.
            half_width: ± limits of the input, in the input's unit.
            distribution: shape of the input, one of :data:`DISTRIBUTIONS`.
            coverage: for the normal distribution only, the part of values within the half-width.
            sensitivity: change of the result for a change of the input.
            dof: degrees of freedom of the half-width.
            role: what it stands for, one of :data:`ROLES`.
            basis: where it comes from.
        """
        standard = standard_from_half_width(half_width, distribution, coverage)
        return cls(name, standard, distribution, sensitivity, dof, role, "B", basis)

    @classmethod
    def from_expanded(
        cls,
        name: str,
        expanded: float,
        factor: float = 2.0,
        *,
        sensitivity: float = 1.0,
        dof: float = math.inf,
        role: str = "other",
        basis: str = "",
    ) -> Self:
        """Return a component from an expanded uncertainty and its coverage factor, as a certificate gives them.

        Args:
            name: unique within its budget.
            expanded: expanded uncertainty of the input, in the input's unit.
            factor: the coverage factor that it was stated with.
            sensitivity: change of the result for a change of the input.
            dof: degrees of freedom.
            role: what it stands for, one of :data:`ROLES`.
            basis: where it comes from.

        Raises:
            JudgeError: the factor is not above zero.
        """
        standard = number(f"{name}: expanded uncertainty", expanded, least=0.0) / number(
            f"{name}: coverage factor", factor, above=0.0
        )
        return cls(name, standard, "normal", sensitivity, dof, role, "B", basis)

    @property
    def contribution(self) -> float:
        """Standard uncertainty that it brings to the result, with the sign of its sensitivity."""
        return self.sensitivity * self.standard


class Correlation(msgspec.Struct, frozen=True):
    """Correlation of two components' inputs.

    Attributes:
        first: name of one component.
        second: name of the other.
        coefficient: between -1 and 1. Keep all digits: rounding to two can change the result by a percent.

    Raises:
        JudgeError: out of range, or a component with itself.
    """

    first: str
    second: str
    coefficient: float

    def __post_init__(self) -> None:
        number(f"correlation of {self.first} and {self.second}", self.coefficient, least=-1.0, most=1.0)
        if self.first == self.second:
            raise JudgeError("correlation", f"{self.first} with itself", "two different components")


class Shared(msgspec.Struct, frozen=True):
    """Components that many budgets have in common.

    Attributes:
        components: they.
        squares: of each the square of its contribution.
        exact: whether all of them are taken as exactly known.
    """

    components: tuple[Component, ...]
    squares: tuple[float, ...]
    exact: bool

    @classmethod
    def of(cls, components: Sequence[Component]) -> Self:
        """Return them, independent of one another."""
        squares = tuple([(part.sensitivity * part.standard) ** 2 for part in components])
        return cls(tuple(components), squares, all(part.dof == math.inf for part in components))


class Budget(msgspec.Struct, frozen=True, dict=True):
    """A value with everything that makes it uncertain.

    Attributes:
        value: best estimate, corrections applied, in the base unit.
        unit: base unit.
        components: all contributions.
        correlations: between components; those not named are independent.
        level: coverage probability of the expanded uncertainty.
        quantity: what was measured, for people.
        notes: what was assumed.

    Raises:
        JudgeError: no component, two of one name, a correlation of unknown names or an impossible set of correlations.
    """

    value: float
    unit: str
    components: tuple[Component, ...]
    correlations: tuple[Correlation, ...] = ()
    level: float = 0.95
    quantity: str = "reading"
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not (
            type(self.value) is type(self.level) is float
            and -math.inf < self.value < math.inf
            and self.unit in SI_BASE_UNITS
            and 0.0 < self.level < 1.0
            and 0 < len(self.components) == len({part.name for part in self.components})
        ):
            self._refuse([component.name for component in self.components])
        if self.correlations:
            self._check_correlations([component.name for component in self.components])

    @classmethod
    def sharing(
        cls,
        value: float,
        unit: str,
        own: Component,
        shared: Shared,
        level: float,
        quantity: str,
        notes: tuple[str, ...],
    ) -> Self:
        """Return a budget with one component of its own before those that it shares; all are independent.

        What follows from the shared ones is not worked out again.

        Raises:
            JudgeError: as for any budget.
        """
        budget = cls(value, unit, (own, *shared.components), (), level, quantity, notes)
        if shared.exact and own.dof == math.inf:
            known = budget.__dict__
            known["variance"] = variance = math.fsum(((own.sensitivity * own.standard) ** 2, *shared.squares))
            known["standard_uncertainty"] = standard = math.sqrt(variance)
            known["effective_dof"] = known["dof"] = math.inf
            known["expanded_uncertainty"] = coverage_factor(level, math.inf) * standard
        return budget

    def _refuse(self, names: Sequence[str]) -> None:
        number(f"{self.quantity}: value", self.value, self.unit)
        base_unit(f"{self.quantity}: unit", self.unit)
        probability(f"{self.quantity}: coverage level", self.level)
        if not names:
            raise JudgeError(f"{self.quantity}: budget", "no component", "at least one")
        for name in names:
            if names.count(name) > 1:
                raise JudgeError(f"{self.quantity}: budget", f"{name} twice", "one component for each name")

    def _check_correlations(self, names: Sequence[str]) -> None:
        seen: set[frozenset[str]] = set()
        for pair in self.correlations:
            for name in (pair.first, pair.second):
                if name not in names:
                    raise JudgeError(f"{self.quantity}: correlation", name, "one of " + ", ".join(names))
            key = frozenset((pair.first, pair.second))
            if key in seen:
                raise JudgeError(
                    f"{self.quantity}: correlation",
                    f"{pair.first} and {pair.second} twice",
                    "each pair once",
                )
            seen.add(key)
        if not _could_be_correlations(_matrix(names, self.correlations)):
            raise JudgeError(
                f"{self.quantity}: correlations",
                "a set that no quantities can have",
                "a positive semi-definite matrix",
            )

    @once
    def variance(self) -> float:
        """Square of the standard uncertainty (GUM equation 13)."""
        own = math.fsum([(part.sensitivity * part.standard) ** 2 for part in self.components])
        if not self.correlations:
            return own
        by_name = {component.name: component.contribution for component in self.components}
        shared = math.fsum(
            2.0 * by_name[pair.first] * by_name[pair.second] * pair.coefficient for pair in self.correlations
        )
        return max(0.0, own + shared)

    @once
    def standard_uncertainty(self) -> float:
        """Combined standard uncertainty, in the unit."""
        return math.sqrt(self.variance)

    @once
    def effective_dof(self) -> float:
        """Effective degrees of freedom (Welch and Satterthwaite, GUM equation G.2b), not yet cut.

        The formula holds for independent inputs only. Correlated components are therefore taken together as one, with
        the fewest degrees of freedom among them; for components read together (GUM H.2) that is exact.

        Where two or three readings rule the budget the formula is at its weakest: a further component that is known
        exactly then raises the degrees of freedom and may lower the expanded uncertainty. Take more readings.
        """
        total = self.variance
        if total == 0.0:
            return math.inf
        for component in self.components:
            if component.dof < math.inf:
                break
        else:
            return math.inf
        spread = math.fsum(variance * variance / dof for variance, dof in self._independent_groups() if dof < math.inf)
        return total * total / spread if spread > 0.0 else math.inf

    def _independent_groups(self) -> list[tuple[float, float]]:
        """Variance and degrees of freedom of each set of components that hang together by correlations."""
        if not self.correlations:
            return [(component.contribution**2, component.dof) for component in self.components]
        groups: list[set[str]] = [{component.name} for component in self.components]
        for pair in self.correlations:
            if pair.coefficient == 0.0:
                continue
            touched = [group for group in groups if pair.first in group or pair.second in group]
            groups = [group for group in groups if group not in touched]
            groups.append(set().union(*touched))
        result = []
        for group in groups:
            members = tuple(part for part in self.components if part.name in group)
            inside = tuple(pair for pair in self.correlations if pair.first in group)
            part = replace(self, components=members, correlations=inside)
            result.append((part.variance, min(member.dof for member in members)))
        return result

    @once
    def dof(self) -> float:
        """Degrees of freedom to use: the effective ones cut to an integer, at least 1, or infinite."""
        effective = self.effective_dof
        if effective == math.inf:
            return math.inf
        # 4.0 may arrive as 3.9999999999999996 after the arithmetic
        return float(max(1, math.floor(effective + 1e-7)))

    @property
    def coverage_factor(self) -> float:
        """Factor k at the budget's level, from Student's t."""
        return coverage_factor(self.level, self.dof)

    @once
    def expanded_uncertainty(self) -> float:
        """Half of the interval that holds the true value with the budget's level: k times the standard uncertainty."""
        return self.coverage_factor * self.standard_uncertainty

    def guard(self, confidence: float) -> float:
        """Return the distance that a one-sided statement at a confidence needs: t(confidence) times u.

        Where the components' shapes or few readings make that too short, the convolved distribution gives the distance
        (:mod:`bench.judge.spread`): a statement is then wrong at most as often as it says.

        Raises:
            JudgeError: the confidence is not a probability.
        """
        if not 0.0 < confidence < 1.0:
            probability("confidence", confidence)
        dof = self.dof
        plain = quantile(confidence, dof) * self.standard_uncertainty
        if dof == math.inf and confidence >= SAFE_FROM:
            return plain  # as most readings: the shapes add nothing there, see shapes_matter
        parts = self._parts
        return max(plain, distance_of(parts, confidence)) if shapes_matter(parts, confidence) else plain

    def beyond(self, distance: float, confidence: float) -> float:
        """Chance that the error exceeds a distance to one side, for a statement at a confidence.

        Args:
            distance: in the unit.
            confidence: of the statement; from 95 % on the normal distribution does, which promises less than it keeps.
        """
        u = self.standard_uncertainty
        if u == 0.0:
            return 1.0 if distance < 0 else 0.0
        dof = self.dof
        plain = known_tail(max(-1e150, min(1e150, distance / u)), dof)
        if dof == math.inf and confidence >= SAFE_FROM:
            return plain
        parts = self._parts
        return max(plain, spread_of(parts).beyond(distance)) if shapes_matter(parts, confidence) else plain

    @once
    def _parts(self) -> tuple[Part, ...]:
        """Shapes and sizes of what adds up; components that hang together by correlations count as one normal one."""
        if not self.correlations:
            return tuple([(part.distribution, abs(part.contribution), part.dof) for part in self.components])
        bound = {name for pair in self.correlations if pair.coefficient for name in (pair.first, pair.second)}
        free = [part for part in self.components if part.name not in bound]
        parts = [(part.distribution, abs(part.contribution), part.dof) for part in free]
        if bound:
            left = self.variance - math.fsum(standard**2 for _, standard, _ in parts)
            dof = min(part.dof for part in self.components if part.name in bound)
            parts.append(("normal", math.sqrt(max(0.0, left)), dof))
        return tuple(parts)

    @property
    def biggest(self) -> Component:
        """The component that contributes most."""
        return max(self.components, key=lambda component: abs(component.contribution))

    def share(self, component: Component) -> float:
        """Part of the variance that a component brings, 0 to 1; correlations are left out of the count."""
        total = math.fsum(part.contribution**2 for part in self.components)
        return component.contribution**2 / total if total else 0.0

    def having(self, role: str) -> tuple[Component, ...]:
        """Return the components of one role."""
        return tuple(component for component in self.components if component.role == role)

    def with_components(self, components: Iterable[Component]) -> Self:
        """Return the same budget with other components; correlations of names that are gone are dropped."""
        kept = tuple(components)
        names = {component.name for component in kept}
        pairs = tuple(pair for pair in self.correlations if pair.first in names and pair.second in names)
        return replace(self, components=kept, correlations=pairs)

    @once
    def text(self) -> str:
        """Value and expanded uncertainty: ``0.874 Ω ± 0.012 Ω``."""
        return with_uncertainty(self.value, self.expanded_uncertainty, self.unit)

    @property
    def sentence(self) -> str:
        """The result in words, with the biggest cause of doubt."""
        biggest = self.biggest
        return (
            f"{self.quantity[:1].upper()}{self.quantity[1:]}: {self.text} ({self._sure}). "
            f"Most of the doubt ({self.share(biggest) * 100:.0f} %) comes from {biggest.name}."
        )

    @property
    def _sure(self) -> str:
        if not few_readings(self._parts):
            return f"{self.level * 100:g} % sure"
        return f"{self.level * 100:g} % by the GUM's formula, which falls short where two or three readings rule"

    def table(self) -> str:
        """Return the budget as a table in plain text, one line for each component and the result below."""
        head = ("component", "u(input)", "shape", "sensitivity", "contribution", "share", "dof")
        lines = [head]
        for component in self.components:
            lines.append(
                (
                    component.name,
                    f"{component.standard:.3g}",
                    component.distribution,
                    f"{component.sensitivity:.4g}",
                    engineering(abs(component.contribution), self.unit, digits=3),
                    f"{self.share(component) * 100:.1f} %",
                    _dof_text(component.dof),
                )
            )
        widths = [max(len(line[column]) for line in lines) for column in range(len(head))]
        rows = [
            "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip() for line in lines
        ]
        rows.append(
            f"combined u = {engineering(self.standard_uncertainty, self.unit, digits=3)}, "
            f"effective dof = {_dof_text(self.effective_dof)}, used {_dof_text(self.dof)}, "
            f"k = {self.coverage_factor:.3f}"
        )
        rows.append(f"{self.quantity} = {self.text} at {self.level * 100:g} %")
        return "\n".join(rows)

    def to_dict(self) -> dict[str, Any]:
        """Return plain data for a record; infinite degrees of freedom are None."""
        return {
            "value": self.value,
            "unit": self.unit,
            "level": self.level,
            "quantity": self.quantity,
            "notes": list(self.notes),
            "components": [
                {
                    "name": component.name,
                    "standard": component.standard,
                    "distribution": component.distribution,
                    "sensitivity": component.sensitivity,
                    "dof": None if component.dof == math.inf else component.dof,
                    "role": component.role,
                    "kind": component.kind,
                    "basis": component.basis,
                }
                for component in self.components
            ],
            "correlations": [
                {"first": pair.first, "second": pair.second, "coefficient": pair.coefficient}
                for pair in self.correlations
            ],
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """Return the budget that :meth:`to_dict` wrote.

        Raises:
            JudgeError: a field is missing or is not of its kind.
        """
        try:
            components = tuple(
                Component(**{**part, "dof": math.inf if part["dof"] is None else part["dof"]})
                for part in data["components"]
            )
            return cls(
                value=data["value"],
                unit=data["unit"],
                components=components,
                correlations=tuple(Correlation(**pair) for pair in data["correlations"]),
                level=data["level"],
                quantity=data["quantity"],
                notes=tuple(data["notes"]),
            )
        except (KeyError, TypeError) as problem:
            raise JudgeError("uncertainty budget", str(problem), "the fields that a budget writes") from problem


def _matrix(names: Sequence[str], pairs: Sequence[Correlation]) -> list[list[float]]:
    index = {name: place for place, name in enumerate(names)}
    matrix = [[1.0 if row == column else 0.0 for column in index.values()] for row in index.values()]
    for pair in pairs:
        row, column = index[pair.first], index[pair.second]
        matrix[row][column] = matrix[column][row] = pair.coefficient
    return matrix


def _could_be_correlations(matrix: list[list[float]], slack: float = 1e-9) -> bool:
    """Say whether a symmetric matrix is positive semi-definite, by Cholesky steps that may meet zeros."""
    work = [row[:] for row in matrix]
    size = len(work)
    for k in range(size):
        pivot = work[k][k]
        if pivot < -slack:
            return False
        if pivot <= slack:
            if any(abs(work[i][k]) > math.sqrt(slack) for i in range(k + 1, size)):
                return False
            continue
        for i in range(k + 1, size):
            factor = work[i][k] / pivot
            for j in range(k + 1, size):
                work[i][j] -= factor * work[k][j]
    return True


def _dof_text(dof: float) -> str:
    return "inf" if dof == math.inf else f"{dof:.4g}"
