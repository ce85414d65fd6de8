"""What the wiring questions raise when they are given something that cannot be right."""

from __future__ import annotations


class DiagnoseError(ValueError):
    """Bad input from a person, a file or a meter: says what was found and what was expected.

    Any other exception out of these modules is a bug of ours.
    """
