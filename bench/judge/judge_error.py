"""The one error of this room, and the checks that raise it."""

from __future__ import annotations

import math

from bench.quantity import SI_BASE_UNITS


class JudgeError(ValueError):
    """What was asked cannot be judged.

    Attributes:
        what: the thing that was wrong, such as ``length``.
        found: what it was, as text.
        expected: what it should have been, as text.
    """

    def __init__(self, what: str, found: str, expected: str) -> None:
        self.what = what
        self.found = found
        self.expected = expected
        super().__init__(f"{what}: found {found}, expected {expected}")


def number(
    what: str,
    value: float,
    unit: str = "",
    *,
    least: float | None = None,
    above: float | None = None,
    most: float | None = None,
    below: float | None = None,
) -> float:
    """Return a finite number that lies within the bounds that are given.

    It is called for every figure of every reading, so a text is made only where one is needed.

    Args:
        what: what the number is, for the error.
        value: the number.
        unit: of it, for the error.
        least: it may be this or more.
        above: it must be more than this.
        most: it may be this or less.
        below: it must be less than this.

    Raises:
        JudgeError: not a number, not finite, or out of bounds; the text names them.
    """
    if type(value) is not float and (isinstance(value, bool) or not isinstance(value, int | float)):
        raise JudgeError(what, repr(value), _bounds(unit, least, above, most, below))
    within = (
        -math.inf < value < math.inf
        and (least is None or value >= least)
        and (above is None or value > above)
        and (most is None or value <= most)
        and (below is None or value < below)
    )
    if not within:
        found = f"{value:g}{' ' + unit if unit else ''}"
        raise JudgeError(what, found, _bounds(unit, least, above, most, below))
    return float(value)


def _bounds(unit: str, *limits: float | None) -> str:
    """Bounds in words: at least, above, at most, below; only those that are given."""
    words = zip(("at least", "above", "at most", "below"), limits, strict=True)
    told = [f"{word} {bound:g}{' ' + unit if unit else ''}" for word, bound in words if bound is not None]
    return " and ".join(["a finite number", *told])


def base_unit(what: str, unit: str) -> str:
    """Return the unit if values may carry it.

    Raises:
        JudgeError: not a base unit. Prefixes such as ``kΩ`` are refused: every value here is in the base unit.
    """
    if unit not in SI_BASE_UNITS:
        known = ", ".join(known for known in SI_BASE_UNITS if known)
        raise JudgeError(what, repr(unit), f"a base unit without prefix ({known}, or '' for a plain number)")
    return unit


def same_unit(what: str, found: str, expected: str) -> None:
    """Refuse to compare values that are in different units.

    Args:
        what: what has the unit, for the error.
        found: its unit.
        expected: the unit of what it is compared with.

    Raises:
        JudgeError: the units differ.
    """
    if found != expected:
        raise JudgeError(what, found or "a plain number", f"the unit {expected or 'of a plain number'}")


def one_of(what: str, found: str, allowed: tuple[str, ...]) -> str:
    """Return the word if it is one of those allowed.

    Args:
        what: what the word is, for the error.
        found: the word.
        allowed: all that are.

    Raises:
        JudgeError: it is not; the text lists them.
    """
    if found not in allowed:
        raise JudgeError(what, repr(found), "one of " + ", ".join(allowed))
    return found


def probability(what: str, value: float) -> float:
    """Return a probability strictly between 0 and 1.

    Raises:
        JudgeError: it is not. 95 is refused: write 0.95.
    """
    return number(what, value, above=0.0, below=1.0)


def degrees_of_freedom(what: str, value: float) -> float:
    """Return degrees of freedom: at least one, or infinite.

    Raises:
        JudgeError: below one or not a number.
    """
    if isinstance(value, float) and value == math.inf:
        return value
    return number(what, value, least=1.0)
