"""The settings of a search, read: values that are written as text in a sequence."""

from __future__ import annotations

import math

from bench.diagnose.diagnose_error import DiagnoseError
from bench.quantity import Resistance


def ohms_of(text: str, name: str) -> float:
    """A resistance above zero, in ohms.

    Args:
        text: as it is written.
        name: of the setting.

    Raises:
        DiagnoseError: it is none, or not above zero.
    """
    try:
        value = Resistance.parse(text).value
    except ValueError as error:
        raise DiagnoseError(f"setting '{name}': {error}") from error
    if not 0 < value < math.inf:
        raise DiagnoseError(f"setting '{name}': found {text}, expected more than 0 Ω")
    return value


def number_of(text: str, name: str, least: float, most: float) -> float:
    """A number between two bounds.

    Args:
        text: as it is written.
        name: of the setting.
        least: the lowest that is of use.
        most: the highest.

    Raises:
        DiagnoseError: it is none, or beyond the bounds.
    """
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not least <= value <= most:
        raise DiagnoseError(f"setting '{name}': found '{text}', expected a number from {least:g} to {most:g}")
    return value
