"""Exit codes, the same for every command."""

from __future__ import annotations

from typing import Final

PASS: Final = 0
"""All is well; everything passed."""
NOT_PASSED: Final = 1
"""Something failed, is undecided or was skipped."""
BAD_INPUT: Final = 2
"""A file, a name or an option is wrong."""
STOPPED: Final = 3
"""Aborted, or trouble with an instrument, a port or a record."""
